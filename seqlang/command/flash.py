"""`bellcrank flash`: check a show and put it on a board, verified."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from firmware_gen.build.uploader import UPLOADER
from firmware_gen.link.failures import LinkFailure
from seqlang.command import ShowFailed, WrongUse
from seqlang.command._board import VIRTUAL, connected, named, port_options
from seqlang.command._first_flash import FirstFlash
from seqlang.command._form import format_option, say
from seqlang.command._progress import Bar
from seqlang.command._set_of_boards import SetOfBoards
from seqlang.command._show import demanded, read_and_check
from seqlang.command._show_on import telling
from seqlang.command._upload import boot_options

if TYPE_CHECKING:
    from firmware_gen.build.uploader import UploadWay
    from firmware_gen.compiler.show import CompiledBoard
    from firmware_gen.link.board_link import BoardLink
    from firmware_gen.link.transfer import ShowOn, Transferred
    from seqlang.check import CheckedShow

_VIRTUAL_SPEED = 10.0
"""A virtual board stores bytes as slowly as a real one; nobody need wait for that."""


@click.command(name="flash")
@click.argument("file", type=click.Path(dir_okay=False))
@port_options
@click.option("--board", metavar="NAME", help="Which board of the show is connected.")
@click.option(
    "--readdress",
    is_flag=True,
    help="Give the board the table's address even if it has another one. So a spare board replaces "
    "another.",
)
@click.option(
    "--merged",
    is_flag=True,
    help="For a show larger than a slot: write it together with the firmware, by the board's boot "
    f"loader. Calls {UPLOADER}.",
)
@boot_options()
@format_option
def command(
    file: str,
    port: str | None,
    baud: int,
    board: str | None,
    readdress: bool,
    merged: bool,
    way: UploadWay | None,
    boot_baud: int | None,
    form: str,
) -> None:
    """Check a show, put it on the connected board, and verify it.

    The board plays its old show until the new one is stored and verified; then the new one starts
    from its safe pose: keep clear of the parts. With --merged it plays nothing meanwhile. Before
    the first flash of a show its cautions stand in full. Of a show with several boards it says
    which to plug in next: each is known by its address, and what it was given is remembered. Exit
    status 1 if the show has errors, 3 if board or link fail.

    Example: bellcrank flash first.cues --port virtual
    """
    if merged and form != "text":
        raise WrongUse("`--merged` has no output for programs: leave out --format")
    if not merged and (way is not None or boot_baud is not None):
        raise WrongUse("`--way` and `--boot-baud` are about the boot loader: add `--merged`")
    loaded, checked = read_and_check(file)
    show = demanded(file, loaded, checked)
    first = FirstFlash(file, loaded, checked)
    first.warn(port)
    if merged:
        from seqlang.command._merged import put_merged

        put_merged(show, board, port, baud, way, boot_baud)
        first.remember(port)
        return
    with (
        telling(file, port, form) as show_on,
        connected(port, baud, virtual_speed=_VIRTUAL_SPEED) as (link, _),
    ):
        spare = readdress or port == VIRTUAL
        done = put(link, show, board, spare, quiet=form == "json", show_on=show_on)
        first.remember(port)
        boards = SetOfBoards(file, show.compiled)
        if port is None or port.partition(":")[0] != VIRTUAL:
            boards.remember(done.address)
        left = boards.left(done.address)
        if form == "json":
            click.echo(json.dumps(_record(done, [each.name for each in left]), indent=2))
            return
        say(_account(link, done))
        for words in boards.words(done.address):
            say(words)


def put(
    link: BoardLink,
    show: CheckedShow,
    board: str | None = None,
    readdress: bool = False,
    *,
    quiet: bool = False,
    show_on: ShowOn | None = None,
) -> Transferred:
    """Choose the connected board's table and transfer it, with progress.

    `quiet`: do not say which table goes where. `show_on`: learns which show the board has.

    Raises:
        LinkFailure: any reason of a transfer.
    """
    from firmware_gen.link.transfer import choose_table, transfer

    boards = show.compiled.boards
    tables = show.tables
    if not tables:
        raise LinkFailure("board-unclear", "the show has no board", "add one: `board NAME: ...`")
    known = link.address in {each.table.address for each in boards}
    name = choose_table(tables, link.address, board, readdress=readdress and not known)
    chosen = next(each for each in boards if each.name == name)
    if not chosen.fits:
        raise ShowFailed(
            f"the table of board `{name}` takes {len(chosen.data)} bytes, and a slot holds "
            f"{chosen.chip.slot_bytes}\n"
            "  help: `--merged` writes it together with the firmware; `bellcrank check` says what "
            "takes the bytes"
        )
    if not quiet:
        say(f"table of board `{name}`: {len(chosen.data)} bytes, to {_receiver(link, chosen)}")
    with Bar("bytes") as bar:
        return transfer(link, tables[name], readdress=readdress, progress=bar.show, show_on=show_on)


def _receiver(link: BoardLink, chosen: CompiledBoard) -> str:
    """The board that gets a table; what it becomes, where that gives it another address."""
    address = chosen.board.address
    becomes = "" if link.address == address else f", which becomes board {address}"
    return named(link) + becomes


def _record(done: Transferred, left: list[str]) -> dict[str, object]:
    """What was done, for a program; `left`: the show's other boards."""
    return {
        "show_on": "new",
        "address": done.address,
        "bytes": done.length,
        "slot": done.slot,
        "crc": f"{done.crc:04X}",
        "repeats": done.repeats,
        "restarts": done.restarts,
        "left": left,
    }


def _account(link: BoardLink, done: Transferred) -> str:
    """What was done, in one line."""
    troubles = [
        f"{count} {one if count == 1 else many}"
        for count, one, many in (
            (done.repeats, "frame sent again", "frames sent again"),
            (done.restarts, "new start", "new starts"),
        )
        if count
    ]
    return (
        f"{named(link)} plays the new show: {done.length} bytes in slot {done.slot}, "
        f"CRC {done.crc:04X} verified and read back" + "".join(f", {text}" for text in troubles)
    )
