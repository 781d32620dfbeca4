"""`bellcrank spare FILE`: a board has died, and a blank one becomes it, in one command."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import click

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import FIRMWARE_VERSION, NO_ADDRESS
from seqlang.command import BoardFailed, ShowFailed, WrongUse
from seqlang.command._board import (
    VIRTUAL,
    connected,
    end,
    owner_of_ports,
    port_options,
)
from seqlang.command._first_flash import FirstFlash
from seqlang.command._form import say
from seqlang.command._progress import Bar
from seqlang.command._show import demanded, read_and_check
from seqlang.command._show_on import telling
from seqlang.command._upload import CAUTION, Destination, boot_options, chosen, put_firmware

if TYPE_CHECKING:
    from firmware_gen.build.uploader import UploadWay
    from firmware_gen.compiler.show import CompiledBoard, CompiledShow
    from firmware_gen.link.board_link import BoardLink
    from firmware_gen.link.protocol import Hello
    from firmware_gen.link.transfer import ShowOn
    from seqlang.check import CheckedShow
    from seqlang.command._all_ports import FoundBoard

_NO_FIRMWARE: Final = frozenset({"no-answer", "garbage", "wrong-version"})
"""What a board says, or does not say, that has no firmware or another version's."""


@click.command(name="spare")
@click.argument("file", type=click.Path(dir_okay=False))
@port_options
@click.option(
    "--board",
    metavar="NAME",
    help="Which board of the show it becomes. Without this option: the only one that is missing.",
)
@boot_options()
def command(
    file: str,
    port: str | None,
    baud: int,
    board: str | None,
    way: UploadWay | None,
    boot_baud: int | None,
) -> None:
    """Make the spare that is plugged in the board that is missing.

    It finds the port, and which board of the show does not answer. It checks the show, the chip and
    the address before anything changes. It installs the firmware if the spare has none, or another
    version's. Then it transfers the table, verifies it, and sees that it plays.

    Parts move to the safe pose at the end: keep clear of them.

    Example: bellcrank spare first.cues --port virtual
    """
    begun = time.monotonic()
    loaded, checked = read_and_check(file)
    show = demanded(file, loaded, checked, quiet=True)
    first = FirstFlash(file, loaded, checked)
    first.warn(port)
    place = _virtual(show, port, board) if _is_virtual(port) else _look(show, port, baud, board)
    _must_fit(place.board)
    if place.needs_firmware:
        _put_firmware(place, baud, way, boot_baud)
    with (
        telling(file, port, "text") as show_on,
        connected(place.port, baud, virtual_speed=10.0) as (link, hello),
    ):
        _become(show, place.board, link, hello, show_on)
        first.remember(port)
        say(f"board `{place.board.name}` is back after {time.monotonic() - begun:.0f} s")


@dataclass(frozen=True, slots=True)
class _SparePlace:
    """Where the spare is, and what it is to become."""

    port: str
    board: CompiledBoard
    needs_firmware: bool


def _is_virtual(port: str | None) -> bool:
    return (port or "").partition(":")[0] == VIRTUAL


def _virtual(show: CheckedShow, port: str | None, name: str | None) -> _SparePlace:
    return _SparePlace(str(port), chosen(show, name), False)


# -- what is there -----------------------------------------------------------------------------


def _look(show: CheckedShow, port: str | None, baud: int, name: str | None) -> _SparePlace:
    """Ask on every port: the spare is where no board of the show answers."""
    from seqlang.command._all_ports import PluggedPort, all_ports, asked

    try:
        owner = owner_of_ports()
        if owner is None:
            raise BoardFailed("only the process that owns the ports can look on all of them")
        with owner:
            ports = all_ports(owner, baud)
            if port is not None and port not in {each.port for each in ports}:
                ports.append(PluggedPort(port, "", baud, ()))
            found = {each.port: one for each, one in asked(owner, ports)}
        return _placed(show.compiled, found, port, name)
    except LinkFailure as failure:
        end(failure)


def _placed(
    show: CompiledShow,
    found: dict[str, FoundBoard | LinkFailure],
    port: str | None,
    name: str | None,
) -> _SparePlace:
    """Which port has the spare, and which board it becomes.

    Raises:
        LinkFailure: no-port, several-ports, board-unclear, refused, or the port's own.
    """
    here = {where: board for where, one in found.items() if (board := _of_show(show, one))}
    if port is None:
        port = _only_spare(show, found, here)
    elif port in here and name in (None, here[port].name):
        return _SparePlace(port, here[port], False)  # it is that board already: it is only verified
    elif port in here:
        raise LinkFailure(
            "refused",
            f"board `{here[port].name}` of this show is on {port}: it is not a spare",
            "name the spare's port with `--port`",
        )
    missing = [each for each in show.boards if each not in here.values()]
    board = _missing(show, missing, here, name)
    one = found[port]
    if isinstance(one, LinkFailure):
        if one.reason not in _NO_FIRMWARE:
            raise one
        return _SparePlace(port, board, True)
    version = (one.hello.firmware_major, one.hello.firmware_minor)
    return _SparePlace(port, board, version != FIRMWARE_VERSION)


def _of_show(show: CompiledShow, one: FoundBoard | LinkFailure) -> CompiledBoard | None:
    """The board of the show that it is already."""
    if isinstance(one, LinkFailure):
        return None
    return next((each for each in show.boards if each.data == one.table), None)


def _only_spare(
    show: CompiledShow,
    found: dict[str, FoundBoard | LinkFailure],
    here: dict[str, CompiledBoard],
) -> str:
    spares = [where for where in found if where not in here]
    if len(spares) == 1:
        return spares[0]
    if spares:
        raise LinkFailure(
            "several-ports",
            f"no board of this show answers on {', '.join(spares)}",
            "name the spare's port with `--port`",
        )
    if here and len(here) == len(show.boards):
        raise LinkFailure(
            "refused", "every board of this show answers", "unplug the one that fails"
        )
    raise LinkFailure(
        "no-port",
        "no spare is plugged in" if here else "no USB serial port is plugged in",
        "plug the spare in with a cable that carries data, then repeat",
    )


def _missing(
    show: CompiledShow,
    missing: list[CompiledBoard],
    here: dict[str, CompiledBoard],
    name: str | None,
) -> CompiledBoard:
    """The board that the spare becomes."""
    names = ", ".join(f"`{each.name}`" for each in show.boards)
    if name is not None and name not in {each.name for each in show.boards}:
        raise WrongUse(f"the show has no board `{name}`; it has {names}")
    taken = {board.name: where for where, board in here.items()}
    if name in taken:
        raise LinkFailure(
            "refused",
            f"board `{name}` answers on {taken[name]}",
            "unplug it first: two boards with one address would both move",
        )
    wanted = [each for each in missing if name in (None, each.name)]
    if len(wanted) != 1:
        left = ", ".join(f"`{each.name}`" for each in wanted)
        raise LinkFailure(
            "board-unclear",
            f"boards {left} are missing" if wanted else "no board of the show is missing",
            "say with `--board` which one the spare becomes",
        )
    return wanted[0]


def _must_fit(board: CompiledBoard) -> None:
    if not board.fits:
        raise ShowFailed(
            f"the table of board `{board.name}` takes {len(board.data)} bytes, and a slot holds "
            f"{board.chip.slot_bytes}\n"
            f"  help: `bellcrank flash FILE --merged --board {board.name}` writes it together with "
            "the firmware"
        )


# -- what is done ------------------------------------------------------------------------------


def _put_firmware(
    place: _SparePlace, baud: int, way: UploadWay | None, boot_baud: int | None
) -> None:
    """Have the uploader write the firmware of the board's chip."""
    from firmware_gen.build import image as images

    if "://" in place.port:
        raise BoardFailed(
            f"nothing of ours answers on {place.port}, and firmware goes only over a serial port"
        )
    say(f"the spare on {place.port} has no firmware of this version")
    say(f"caution: {CAUTION}")
    try:
        put_firmware(
            Destination(place.port, baud, place.board.chip, way, boot_baud),
            lambda chip: images.shipped(chip.name),
        )
    except LinkFailure as failure:
        end(failure)


def _become(
    show: CheckedShow, board: CompiledBoard, link: BoardLink, hello: Hello, show_on: ShowOn
) -> None:
    """Transfer, verify, read back. Nothing is sent to a board of another chip."""
    from firmware_gen.link.transfer import transfer

    if hello.show and link.table() == board.data:
        say(f"board {link.address} on {link.name} is board `{board.name}` already, byte for byte")
        show_on.fact = "new"
        return
    was = "blank" if link.address == NO_ADDRESS else f"board {link.address}"
    say(f"the spare on {link.name} was {was}, and becomes board `{board.name}`")
    with Bar("bytes") as bar:
        done = transfer(
            link, show.tables[board.name], readdress=True, progress=bar.show, show_on=show_on
        )
    what = f"{done.length} bytes, CRC {done.crc:04X} verified and read back"
    say(f"{what}; it has address {done.address}")
