"""`bellcrank ports`: what is plugged in, who answers, and what is on it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import BAUD, NO_ADDRESS, ReportedMode
from seqlang.command import BoardFailed
from seqlang.command._board import end, owner_of_ports
from seqlang.command._form import format_option, say
from seqlang.command._show import passed

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import TypeAlias

    from firmware_gen.compiler.show import CompiledShow
    from firmware_gen.link.owner.client import OwnerConnection
    from seqlang.command._all_ports import FoundBoard, PluggedPort

    LedBoard: TypeAlias = tuple[int, FoundBoard | LinkFailure]


@click.command(name="ports")
@click.option("--listed", is_flag=True, help="Only list them: open no port, ask no board.")
@click.option(
    "--baud",
    type=click.IntRange(300, 4_000_000),
    default=BAUD,
    show_default=True,
    help="Rate of the lines that are not in use.",
)
@click.option(
    "--show",
    "file",
    type=click.Path(dir_okay=False),
    help="Say which boards play this show.",
)
@format_option
def command(listed: bool, baud: int, file: str | None, form: str) -> None:
    """Say which ports there are, and what is on each of their boards.

    Looks at USB serial ports, and at those that other commands use. Behind a board that leads it
    tells of those that answer it. Opening a port may restart what is plugged in there, also if it
    is no board of yours; --listed opens none.

    Example: bellcrank ports --listed
    """
    from seqlang.command._all_ports import all_ports, asked

    show = None if file is None else passed(file, quiet=True).compiled
    try:
        owner = owner_of_ports()
        if owner is None:
            raise BoardFailed("ports cannot be listed without the process that owns them")
        with owner:
            ports = all_ports(owner, baud)
            found = [(each, None) for each in ports] if listed else list(asked(owner, ports))
            led = [_led(owner, port, board) for port, board in found]
    except LinkFailure as failure:
        end(failure)
    if form == "json":
        records = [
            {
                **_record(port, board, show),
                "answering": [_board_record(one, address, show) for address, one in behind],
            }
            for (port, board), behind in zip(found, led, strict=True)
        ]
        click.echo(json.dumps(records, indent=2))
        return
    for (port, board), behind in zip(found, led, strict=True):
        _tell(port, board, behind, show)
    if not found:
        say("no USB serial port is plugged in, and no command uses another port")


def _led(
    owner: OwnerConnection, port: PluggedPort, board: FoundBoard | LinkFailure | None
) -> list[LedBoard]:
    """The boards that answer the one behind a port."""
    from seqlang.command._led_boards import led_behind

    if board is None:
        return []
    return [(address, one) for address, _, one in led_behind(owner, port, board)]


def _tell(
    port: PluggedPort,
    board: FoundBoard | LinkFailure | None,
    behind: Sequence[LedBoard],
    show: CompiledShow | None,
) -> None:
    click.echo(f"{port.port}  {port.description}".rstrip())
    if isinstance(board, LinkFailure):
        say(f"  no board answers: {board.message}  ({board.reason})")
    elif board is not None:
        say(f"  {_named(board)}, {_mode(board)}, {_table(board, show)}")
    for address, one in behind:
        if isinstance(one, LinkFailure):
            say(f"  through it: board {address} does not answer  ({one.reason})")
        else:
            say(f"  through it: {_named(one)}, {_mode(one)}, {_table(one, show)}")
    if port.in_use:
        say(f"  in use by {', '.join(port.in_use)}")


def _named(board: FoundBoard) -> str:
    return "a blank board" if board.address == NO_ADDRESS else f"board {board.address}"


def _mode(board: FoundBoard) -> str:
    mode = board.state.mode
    return ReportedMode(mode).name.lower() if mode in set(ReportedMode) else f"mode {mode}"


def _table(board: FoundBoard, show: CompiledShow | None) -> str:
    if not board.table:
        return "no show on it"
    words = f"show {board.hello.show:08x}, {len(board.table)} bytes"
    if show is None:
        return words
    name = _plays(board, show)
    return words + (f": this file's board `{name}`" if name else ": not this file")


def _plays(board: FoundBoard, show: CompiledShow | None) -> str | None:
    """The board of the show whose table it plays."""
    boards = () if show is None else show.boards
    return next((each.name for each in boards if each.data == board.table), None)


def _record(
    port: PluggedPort, board: FoundBoard | LinkFailure | None, show: CompiledShow | None
) -> dict[str, object]:
    """A port, for a program."""
    address = None if board is None or isinstance(board, LinkFailure) else board.address
    return {
        "port": port.port,
        "description": port.description,
        "in_use": list(port.in_use),
        **_board_record(board, address, show),
    }


def _board_record(
    board: FoundBoard | LinkFailure | None, address: int | None, show: CompiledShow | None
) -> dict[str, object]:
    answers = board if board is not None and not isinstance(board, LinkFailure) else None
    return {
        "failure": board.reason if isinstance(board, LinkFailure) else None,
        "address": address,
        "chip": answers and answers.hello.chip_id,
        "mode": answers and _mode(answers),
        "show": f"{answers.hello.show:08x}" if answers and answers.table else None,
        "bytes": answers and len(answers.table),
        "board": _plays(answers, show) if answers else None,
    }
