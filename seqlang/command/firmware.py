"""`bellcrank firmware`: how to put the firmware on a board, and doing it on request."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from firmware_gen.build import image as images
from firmware_gen.build.uploader import UPLOADER, Upload, UploadWay, uploads
from firmware_gen.chips import CHIPS, FIRST
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import BAUD
from seqlang.command import WrongUse
from seqlang.command._board import chip_named, chips_like, end
from seqlang.command._first_flash import FirstFlash
from seqlang.command._form import say
from seqlang.command._show import demanded, read_and_check
from seqlang.command._upload import (
    CAUTION,
    Destination,
    OnPort,
    boot_options,
    chosen,
    install,
    on_all_ports,
    port_for_firmware,
    put_firmware,
    write_merged,
)

if TYPE_CHECKING:
    from firmware_gen.chips import Chip
    from seqlang.check import CheckedShow

PORT_TO_FILL_IN = "PORT"
PROGRAMMER_TO_FILL_IN = "PROGRAMMER"


@click.command(name="firmware")
@click.option("--port", help="Serial port of the board. Without it: the only USB serial port.")
@boot_options(isp=True)
@click.option(
    "--programmer",
    help=f"With --way isp: the programmer's name (`{UPLOADER} -c ?` lists them).",
)
@click.option(
    "--chip",
    shell_complete=chips_like,
    help="Chip of the board. Without this option board and boot loader are asked.",
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
@click.option("--run", "now", is_flag=True, help="Install it now, and verify it.")
def command(
    port: str | None,
    way: UploadWay | None,
    boot_baud: int | None,
    programmer: str | None,
    chip: str | None,
    show: str | None,
    board: str | None,
    out: Path | None,
    now: bool,
) -> None:
    """Say how to put the firmware on a board, or install it (--run).

    With --run it finds the port, asks which boot loader answers there and which chip it is on,
    writes the firmware of that chip, verifies it, and sees that it runs. With several boards
    plugged in it says what is on each port, and wants --port.

    Example: bellcrank firmware --port COM3
    """
    if show is None and (board is not None or out is not None):
        raise WrongUse("`--board` and `--out` go with `--with`, which merges a show into the image")
    if way == "isp" and programmer is None and now:
        raise WrongUse(f"say with `--programmer` which one it is (`{UPLOADER} -c ?` lists them)")
    wanted = None if chip is None else chip_named(chip)
    first: FirstFlash | None = None
    image: Path | None = None
    if show is not None:
        loaded, checked = read_and_check(show)
        try:
            image, wanted = merged(show, demanded(show, loaded, checked), board, out, way)
        except images.ImageError as error:
            raise WrongUse(str(error)) from error
        first = FirstFlash(show, loaded, checked)
        first.warn(port)
    try:
        if now and way != "isp":
            _put(Destination(port_for_firmware(port, BAUD), BAUD, wanted, way, boot_baud), image)
        else:
            _say_how(port, way, boot_baud, programmer, wanted, image, now)
    except images.ImageError as error:
        raise WrongUse(str(error)) from error
    except LinkFailure as failure:
        end(failure)
    if now and first is not None:
        first.remember(port)


def _put(to: Destination, image: Path | None) -> None:
    if "://" in to.port:
        raise WrongUse("firmware goes over a serial port: only a real board has a boot loader")
    say(f"caution: {CAUTION}")
    put_firmware(to, lambda chip: image or images.shipped(chip.name))


def _say_how(
    port: str | None,
    way: UploadWay | None,
    boot_baud: int | None,
    programmer: str | None,
    wanted: Chip | None,
    image: Path | None,
    now: bool,
) -> None:
    """The uploader's command lines, after a look at what is plugged in; `now`: call it."""
    found = [] if way == "isp" else _looked(port)
    for each in found:
        say(f"port     {each.port}: {each.words}")
    one = found[0] if len(found) == 1 else None
    chip = wanted or _chip_on(one) or FIRST
    steps = uploads(
        chip.name,
        image or images.shipped(chip.name),
        way or "serial",
        port or (one.port if one else PORT_TO_FILL_IN),
        baud=boot_baud,
        programmer=programmer or PROGRAMMER_TO_FILL_IN,
    )
    _explain(image or images.shipped(chip.name), chip, steps, way)
    if now:
        install(steps)
    elif way != "isp":
        say("`bellcrank firmware --run` finds out the port and the boot loader, and does it")


def _looked(port: str | None) -> list[OnPort]:
    """What is plugged in, as far as anything can be said of it."""
    try:
        return on_all_ports(BAUD, port)
    except LinkFailure:
        return []


def _chip_on(one: OnPort | None) -> Chip | None:
    if one is None or one.hello is None:
        return None
    number = one.hello.chip_id
    return next((each for each in CHIPS.values() if each.chip_id == number), None)


def merged(
    show: str, checked: CheckedShow, name: str | None, out: Path | None, way: UploadWay | None
) -> tuple[Path, Chip]:
    """Write the image with a show's table behind the firmware; its path and the board's chip."""
    board = chosen(checked, name)
    path = out or Path(f"{Path(show).stem}-{board.name}.hex")
    write_merged(checked.tables[board.name], path, boot_loader=way != "isp")
    click.echo(f"merged   {len(board.data)} bytes of board `{board.name}` into {path}")
    if board.fits:
        slot = board.chip.slot_bytes
        click.echo(f"         (it also fits a slot of {slot} bytes: `bellcrank flash` is enough)")
    return path, board.chip


def _explain(image: Path, chip: Chip, steps: tuple[Upload, ...], way: UploadWay | None) -> None:
    click.echo(f"image    {image}")
    click.echo(f"chip     {chip.title}")
    for step in steps:
        click.echo(f"{step.purpose}:\n    {step.line()}")
    for what, word in (("port", PORT_TO_FILL_IN), ("programmer's name", PROGRAMMER_TO_FILL_IN)):
        if any(word in step.words for step in steps):
            click.echo(f"put the {what} in the place of {word}")
    if way == "isp":
        click.echo("this removes a boot loader; shows stored on the board stay")
    say(f"caution: {CAUTION}")
