"""`bellcrank firmware`: how to put the firmware on a chip, and doing it on request."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import click

from firmware_gen.build import image as images
from firmware_gen.build.uploader import UPLOADER, Upload, UploadWay, uploads
from firmware_gen.chips import CHIPS, FIRST
from seqlang.command import BoardFailed, WrongUse
from seqlang.command._board import chips_like, lent
from seqlang.command._first_flash import FirstFlash
from seqlang.command._form import say
from seqlang.command._show import demanded, read_and_check
from seqlang.command._upload import CAUTION, chosen, install, write_merged

if TYPE_CHECKING:
    from seqlang.check import CheckedShow

PORT_TO_FILL_IN = "PORT"
PROGRAMMER_TO_FILL_IN = "PROGRAMMER"


@click.command(name="firmware")
@click.option("--port", help="Serial port of the board. Without it: the only USB serial port.")
@click.option(
    "--way",
    type=click.Choice(get_args(UploadWay)),
    default="serial",
    show_default=True,
    help="`serial`, `urclock`: by boot loader. `isp`: by a programmer on the six-pin header.",
)
@click.option(
    "--baud",
    type=click.IntRange(min=1),
    help="Rate of the boot loader. Without it: the usual rate of the chip "
    f"({FIRST.title}: {FIRST.tools.boot_baud}, older ones {FIRST.tools.old_boot_baud}).",
)
@click.option(
    "--programmer",
    help=f"With --way isp: the programmer's name (`{UPLOADER} -c ?` lists them).",
)
@click.option(
    "--chip",
    default=FIRST.name,
    show_default=True,
    shell_complete=chips_like,
    help="Chip of the board.",
)
@click.option(
    "--with",
    "show",
    type=click.Path(dir_okay=False),
    help="Merge this show's table into the image: for shows larger than a slot. "
    "`bellcrank flash FILE --merged` does that and uploads it.",
)
@click.option("--board", help="Which board of the show, if it has several.")
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Where the merged image goes. Default: SHOW-BOARD.hex in this folder.",
)
@click.option("--run", "now", is_flag=True, help=f"Call {UPLOADER} now.")
def command(
    port: str | None,
    way: UploadWay,
    baud: int | None,
    programmer: str | None,
    chip: str,
    show: str | None,
    board: str | None,
    out: Path | None,
    now: bool,
) -> int:
    """Say how to put the firmware on a board, or install it.

    Example: bellcrank firmware --port COM3
    """
    if show is None and (board is not None or out is not None):
        raise WrongUse("`--board` and `--out` go with `--with`, which merges a show into the image")
    if way == "isp" and programmer is None and now:
        raise WrongUse(f"say with `--programmer` which one it is (`{UPLOADER} -c ?` lists them)")
    first: FirstFlash | None = None
    try:
        if show is None:
            image = images.shipped(chip)
        else:
            loaded, checked = read_and_check(show)
            image, chip = merged(show, demanded(show, loaded, checked), board, out, way)
            first = FirstFlash(show, loaded, checked)
            first.warn(port)
    except images.ImageError as error:
        raise WrongUse(str(error)) from error
    found = _port(port, way, now)
    steps = uploads(
        chip, image, way, found, baud=baud, programmer=programmer or PROGRAMMER_TO_FILL_IN
    )
    _explain(image, steps, way)
    if now:
        with nullcontext() if way == "isp" else lent(found):
            install(steps, CHIPS[chip])
        if first is not None:
            first.remember(port)
    return 0


def merged(
    show: str, checked: CheckedShow, name: str | None, out: Path | None, way: UploadWay
) -> tuple[Path, str]:
    """Write the image with a show's table behind the firmware; its path and the board's chip."""
    board = chosen(checked, name)
    path = out or Path(f"{Path(show).stem}-{board.name}.hex")
    write_merged(checked.tables[board.name], path, boot_loader=way != "isp")
    click.echo(f"merged   {len(board.data)} bytes of board `{board.name}` into {path}")
    if board.fits:
        slot = board.chip.slot_bytes
        click.echo(f"         (it also fits a slot of {slot} bytes: `bellcrank flash` is enough)")
    return path, board.chip.name


def _port(port: str | None, way: UploadWay, now: bool) -> str:
    """The port given, else the only one there is; a word to fill in if none is needed yet."""
    from firmware_gen.link.failures import LinkFailure
    from firmware_gen.link.ports import find_port

    if port is not None or way == "isp":
        return port or PORT_TO_FILL_IN
    try:
        return find_port()
    except LinkFailure as error:
        if not now:
            return PORT_TO_FILL_IN
        raise BoardFailed(f"{error.message}\n  help: {error.help}") from error


def _explain(image: Path, steps: tuple[Upload, ...], way: UploadWay) -> None:
    click.echo(f"image    {image}")
    for step in steps:
        click.echo(f"{step.purpose}:\n    {step.line()}")
    for what, word in (("port", PORT_TO_FILL_IN), ("programmer's name", PROGRAMMER_TO_FILL_IN)):
        if any(word in step.words for step in steps):
            click.echo(f"put the {what} in the place of {word}")
    if way == "isp":
        click.echo("this removes a boot loader; shows stored on the board stay")
    say(f"caution: {CAUTION}")
