"""`bellcrank flash`: check a show and put it on a board, verified."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import click

from firmware_gen.build.uploader import UPLOADER
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import NO_ADDRESS
from seqlang.command import BoardFailed, ShowFailed, WrongUse
from seqlang.command._board import VIRTUAL, connected, named, port_options, told
from seqlang.command._first_flash import FirstFlash
from seqlang.command._form import format_option, say
from seqlang.command._progress import Bar
from seqlang.command._set_of_boards import SetOfBoards
from seqlang.command._show import demanded, read_and_check
from seqlang.command._show_on import telling, words
from seqlang.command._upload import boot_options

if TYPE_CHECKING:
    from firmware_gen.build.uploader import UploadWay
    from firmware_gen.compiler.show import CompiledBoard
    from firmware_gen.link.board_link import BoardLink
    from firmware_gen.link.transfer import ShowOn, Transferred
    from seqlang.check import CheckedShow

_ENDS_ALL: Final = ("overtaken", "port-lost", "owner-lost")
"""After a stop, or without a port, no further board is looked for."""
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
    the first flash of a show its cautions stand in full.

    If the show has several boards, it says which to plug in next. It knows each by its address, and
    remembers what each was given. Boards that answer the one that leads get their tables through
    that one. Exit status 1 if the show has errors, 3 if board or link fail.

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
        is_quiet = form == "json"
        boards = SetOfBoards(file, show.compiled)
        board_link = _link_to(link, show, board)
        spare = readdress or port == VIRTUAL
        done = put(board_link, show, board, spare, quiet=is_quiet, show_on=show_on)
        first.remember(port)
        is_virtual = (port or "").partition(":")[0] == VIRTUAL
        if not is_virtual:
            boards.remember(done.address)
        if not is_quiet:
            say(_account(board_link, done))
        led: list[PutThrough] = []
        if board is None and not is_virtual:
            led = put_through(
                *(link, show, boards),
                quiet=is_quiet,
                show_on=show_on,
                where=lambda known: words(known, file, port),
            )
        left = boards.left(done.address)
        if is_quiet:
            names = [each.name for each in left]
            click.echo(json.dumps(_record(done, names, led), indent=2))
        else:
            for line in boards.words(done.address):
                say(line)
    if any(one.is_missed for one in led):
        raise BoardFailed("")


def _link_to(link: BoardLink, show: CheckedShow, wanted: str | None) -> BoardLink:
    """To the board that was asked for: the one on the port, or one that answers it."""
    leader = show.show.rig.leader
    chosen = next((one for one in show.show.rig.boards if one.name == wanted), None)
    is_led = leader is not None and chosen is not None and chosen.answers and chosen != leader
    if leader is None or chosen is None or not is_led or link.address != leader.address:
        return link
    led = link.through(chosen.address)
    led.greet()
    return led


@dataclass(frozen=True, slots=True)
class PutThrough:
    """What came of a table for a board that is reached through the one that leads."""

    board: CompiledBoard
    show_on: str
    failure: LinkFailure | None
    is_missed: bool
    """It had a version of the show, so it should answer, or the transfer failed."""


def put_through(
    link: BoardLink,
    show: CheckedShow,
    boards: SetOfBoards,
    *,
    quiet: bool,
    show_on: ShowOn,
    where: Callable[[ShowOn], str],
) -> list[PutThrough]:
    """Give their tables to all boards that answer the one behind the link, if that leads the show.

    One that fails holds up no other. One that never had a version of this show cannot answer yet.
    `where`: says which show a board has.
    """
    leader = show.show.rig.leader
    if leader is None or link.address != leader.address:
        return []
    found = []
    for one in show.compiled.boards:
        if not one.board.answers or not one.fits:
            continue
        was_known = boards.knows(one.name)
        show_on.begin(one.name)
        failure = _failure_of_putting(link.through(one.board.address), show, one, quiet, show_on)
        is_missed = failure is not None and (was_known or failure.reason != "no-answer")
        if failure is None:
            boards.remember(one.board.address)
        elif is_missed:
            told(failure)
            click.echo(where(show_on), err=True)
        elif not quiet:
            say(f"board `{one.name}` does not answer through `{leader.name}` yet")
        found.append(PutThrough(one, show_on.fact, failure, is_missed))
    return found


def _failure_of_putting(
    link: BoardLink, show: CheckedShow, one: CompiledBoard, quiet: bool, show_on: ShowOn
) -> LinkFailure | None:
    try:
        link.greet()
        done = put(link, show, one.name, quiet=quiet, show_on=show_on)
    except LinkFailure as failure:
        if failure.reason in _ENDS_ALL:
            raise
        return failure
    if not quiet:
        say(_account(link, done))
    return None


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
        say(
            f"table of board `{name}`: {len(chosen.data)} bytes, to "
            f"{_receiver(link, chosen, readdress)}"
        )
    with Bar("bytes") as bar:
        return transfer(link, tables[name], readdress=readdress, progress=bar.show, show_on=show_on)


def _receiver(link: BoardLink, chosen: CompiledBoard, readdress: bool) -> str:
    """The board that gets a table; what it becomes, where that gives it another address.

    A board that has another address refuses the table unless `readdress`.
    """
    address = chosen.board.address
    changes = link.address != address and (readdress or link.address == NO_ADDRESS)
    becomes = f", which becomes board {address}" if changes else ""
    return named(link) + becomes


def _record(done: Transferred, left: list[str], led: Sequence[PutThrough]) -> dict[str, object]:
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
        "led": [
            {
                "address": one.board.board.address,
                "show_on": one.show_on,
                "failure": one.failure and one.failure.reason,
            }
            for one in led
        ],
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
