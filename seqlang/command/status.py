"""`bellcrank status`: what a board is doing, and what has gone wrong on it."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Final

import click

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import (
    BATTERY_BLIND,
    BATTERY_EMPTY,
    BATTERY_LOW,
    MERGED_SLOT,
    NO_ADDRESS,
    NO_SLOT,
    ReportedMode,
    ResetCause,
)
from seqlang.command import BOARD_FAILURE, BoardFailed, WrongUse
from seqlang.command._all_ports import FoundBoard
from seqlang.command._board import connected, end, named, owner_of_ports, port_options, told
from seqlang.command._form import format_option, say
from seqlang.command._led_boards import boards_led, led_behind
from seqlang.command._set_of_boards import SetOfBoards, mixed_among, mixed_with
from seqlang.command._show import passed
from seqlang.text.render import broken, columns_of
from sim.rulebook import BUTTONS, CUES, FRAME_S, STUCK_FRAMES

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from firmware_gen.compiler.show import CompiledShow
    from firmware_gen.link.owner.client import OwnerConnection
    from firmware_gen.link.protocol import Hello, State
    from seqlang.command._all_ports import PluggedPort


_A_FEW: Final = 10
"""Bad frames that a plug may cause when it goes in."""


@click.command(name="status")
@port_options
@click.option(
    "--show",
    "file",
    type=click.Path(dir_okay=False),
    help="Compare with this show, and call cues by their names in it.",
)
@click.option("--all", "everywhere", is_flag=True, help="Every board on every port.")
@format_option
def command(port: str | None, baud: int, file: str | None, everywhere: bool, form: str) -> int:
    """Say what the connected board plays, and what to do.

    For a board that leads, it also tells of the boards that answer that one.

    With --all every board is asked. The exit status is 3 if no board answers on a port, if one that
    should answer the leader does not, or if boards have different versions of one show. This counts
    the boards that answer, and with --show those that this computer saw or flashed before.

    Example: bellcrank status --port virtual --show first.cues

    Example: bellcrank status --all
    """
    show = None if file is None else passed(file, quiet=True).compiled
    if everywhere:
        if port is not None:
            raise WrongUse("`--all` asks on every port: leave out `--port`")
        return _all(baud, file, show, form)
    with connected(port, baud) as (link, hello):
        here = FoundBoard(link.address, hello, link.state(), link.table())
        if form != "json":
            _print(named(link), report(hello, here.state, here.table, show))
        led = []
        for address, way, one in boards_led(link, here.table):
            led.append((address, one))
            if form != "json":
                _tell_board(f"board {address} on {way.name}", one, show)
    if form == "json":
        answers = {"answering": [_led_record(*one) for one in led]} if led else {}
        click.echo(json.dumps({**_board_record(here), **answers}, indent=2))
    found = [here, *(one for _, one in led if not isinstance(one, LinkFailure))]
    status = _tell_mixed(_mixed_of(file, show, found))
    return BOARD_FAILURE if len(found) <= len(led) else status


def _mixed_of(
    file: str | None, show: CompiledShow | None, found: Sequence[FoundBoard]
) -> LinkFailure | None:
    """Whether these boards, which answer now, or others of their show are of different versions."""
    playing = [one for one in found if one.table]
    mixed = _mixed(file, show, [(one.address, one.hello.show) for one in playing])
    if mixed is None and file is None:
        number = found[0].hello.show
        mixed = mixed_with(number, sum(one.hello.show == number for one in playing))
    roles = [(f"board {one.address}", _role(one.table), one.hello.show) for one in playing]
    return mixed_among(roles) or mixed


def _tell_board(head: str, found: FoundBoard | LinkFailure, show: CompiledShow | None) -> None:
    if isinstance(found, LinkFailure):
        told(found)
    else:
        _print(head, report(found.hello, found.state, found.table, show))


def _led_record(address: int, found: FoundBoard | LinkFailure) -> dict[str, object]:
    if isinstance(found, LinkFailure):
        return {"address": address, "failure": found.reason}
    return _board_record(found)


def _board_record(found: FoundBoard) -> dict[str, object]:
    hello, state = asdict(found.hello), asdict(found.state)
    return {"address": found.address, "hello": hello, "state": state}


def _mixed(
    file: str | None, show: CompiledShow | None, seen: Sequence[tuple[int, int]]
) -> LinkFailure | None:
    """Whether the show's boards are known to have different versions, with those that answer now:
    their addresses and shows."""
    if file is None or show is None:
        return None
    boards = SetOfBoards(file, show)
    for address, number in seen:
        boards.saw(address, number)
    return boards.mixed()


def _tell_mixed(mixed: LinkFailure | None) -> int:
    if mixed is None:
        return 0
    told(mixed)
    return BOARD_FAILURE


def _role(table: bytes) -> int:
    """Of a board, from its table; one without a table that can be read is alone."""
    from firmware_gen.table.decode import decode
    from firmware_gen.table.layout import ALONE, TableError

    try:
        return decode(table).role if table else ALONE
    except TableError:
        return ALONE


def _all(baud: int, file: str | None, show: CompiledShow | None, form: str) -> int:
    """Every board on every port; the command's exit status."""
    from seqlang.command._all_ports import all_ports, asked

    try:
        owner = owner_of_ports()
        if owner is None:
            raise BoardFailed("only the process that owns the ports can ask them all")
        with owner:
            found = [
                (name, one)
                for port, first in asked(owner, all_ports(owner, baud))
                for name, one in _all_behind(owner, port, first)
            ]
    except LinkFailure as failure:
        end(failure)
    if form == "json":
        click.echo(json.dumps([_record(port, one) for port, one in found], indent=2))
    elif not found:
        say("no USB serial port is plugged in, and no command uses another port")
    else:
        for port, one in found:
            blank = isinstance(one, FoundBoard) and one.address == NO_ADDRESS
            who = "blank board" if blank or isinstance(one, LinkFailure) else f"board {one.address}"
            _tell_board(f"{who} on {port}", one, show)
    here = [one for _, one in found if not isinstance(one, LinkFailure)]
    mixed = _mixed(file, show, [(one.address, one.hello.show) for one in here if one.table])
    roles = [(f"board {one.address}", _role(one.table), one.hello.show) for one in here]
    is_mixed = _tell_mixed(mixed or mixed_among(roles))
    return BOARD_FAILURE if len(here) < len(found) else is_mixed


def _all_behind(
    owner: OwnerConnection, port: PluggedPort, first: FoundBoard | LinkFailure
) -> Iterator[tuple[str, FoundBoard | LinkFailure]]:
    """What is behind a port: the board there, and those that answer it, each with the way to it."""
    yield port.port, first
    for _, way, one in led_behind(owner, port, first):
        yield way.name, one


def _record(port: str, found: FoundBoard | LinkFailure) -> dict[str, object]:
    if isinstance(found, LinkFailure):
        return {"port": port, "failure": found.reason}
    return {"port": port, **_board_record(found)}


def _print(head: str, rows: list[tuple[str, str]]) -> None:
    click.echo(head)
    for title, words in rows:
        line = broken(f"  {title:<12} {words}", columns_of(sys.stdout), 15)
        click.echo(line)


def report(
    hello: Hello, state: State, table: bytes, show: CompiledShow | None = None
) -> list[tuple[str, str]]:
    """What a board says of itself, as titles and words."""
    from firmware_gen.chips import CHIPS_BY_ID

    chip = CHIPS_BY_ID.get(hello.chip_id)
    firmware = f"{hello.firmware_major}.{hello.firmware_minor}"
    rows = [
        ("firmware", f"{firmware}, {chip.title if chip else f'unknown chip {hello.chip_id}'}"),
        ("show", _show(hello, state, table)),
        ("mode", _mode(state.mode)),
    ]
    if show is not None:
        rows.append(("compared", _compared(table, show)))
    if state.running_cues:
        rows.append(("running", ", ".join(_running(state, table, show))))
    rows.append(("last reset", _reset(state)))
    rows.append(("playing for", f"{state.frames * FRAME_S:.1f} s ({state.frames} frames)"))
    if state.battery:
        rows.append(("battery", _battery(state)))
    if state.stuck:
        rows.append(("held down", f"{_stuck(state)}: for more than {STUCK_FRAMES * FRAME_S:g} s"))
    return [*rows, *_counters(state), ("to do", "; ".join(_to_do(state, table, show)))]


def _to_do(state: State, table: bytes, show: CompiledShow | None) -> list[str]:
    """What helps, the most urgent first."""
    found = {
        ReportedMode.BLANK: ["put a show on it with `bellcrank flash FILE`"],
        ReportedMode.STARTING: ["keep clear: its servos start one after another"],
        ReportedMode.STOPPING: ["keep clear until it is limp"],
        ReportedMode.LIMP: ["`bellcrank standby` gets it ready again; keep clear of the parts"],
    }.get(ReportedMode(state.mode) if state.mode in set(ReportedMode) else ReportedMode.READY, [])
    if state.battery & BATTERY_EMPTY:
        found = ["charge or change the battery: it is empty, so the board stays limp"]
    elif state.battery & BATTERY_BLIND:
        found.append("look at the lead from the battery to the watch's divider: it reads nothing")
    elif state.battery & BATTERY_LOW:
        found.append("charge or change the battery soon")
    if state.brown_out_resets:
        found.append("charge or change the pack, and look at its plug and wires")
    if state.watchdog_resets:
        found.append("install the firmware again with `bellcrank firmware`")
    if state.lost_bytes or state.bad_frames > _A_FEW:
        found.append("look at the cable of the link and keep it away from servo wires")
    if state.stuck:
        found.append(f"look whether {_stuck(state)} is stuck, or its wire is torn or short")
    if state.overruns:
        found.append("start fewer cues at once")
    if show is not None and table and all(each.data != table for each in show.boards):
        found.append("it plays another show: `bellcrank flash` puts this one there")
    return found or ["nothing"]


def _battery(state: State) -> str:
    """Its voltage, and how it is."""
    if state.battery & BATTERY_BLIND:
        return "there is no reading of it"
    volts = f"{(state.battery_mv or 0) / 1000:.2f} V"
    if state.battery & BATTERY_EMPTY:
        return f"{volts}, empty: no standby until it has recovered"
    return f"{volts}, low" if state.battery & BATTERY_LOW else volts


def _stuck(state: State) -> str:
    numbers = [n for n in BUTTONS if (state.stuck or 0) >> n & 1]
    return f"button {' and '.join(map(str, numbers))}"


def _show(hello: Hello, state: State, table: bytes) -> str:
    from firmware_gen.table.layout import REASONS

    if not table:
        reason = REASONS.get(state.refusal, f"code {state.refusal}")
        return f"none (its memory holds no table that it can play: {reason})"
    where = {NO_SLOT: "", MERGED_SLOT: " merged behind the firmware"}.get(
        hello.current_slot, f" in slot {hello.current_slot}"
    )
    return f"{hello.show:08x}{where}, {len(table)} bytes"


def _mode(mode: int) -> str:
    return ReportedMode(mode).name.lower() if mode in set(ReportedMode) else f"unknown ({mode})"


def _compared(table: bytes, show: CompiledShow) -> str:
    for board in show.boards:
        if board.data == table:
            return f"this is the file's table for board `{board.name}`"
    return "it does not play this file: `bellcrank flash` puts it there"


def _running(state: State, table: bytes, show: CompiledShow | None) -> list[str]:
    names = _cue_names(table, show)
    return [
        names.get(number, f"cue {number}")
        for number in range(CUES)
        if state.running_cues >> number & 1
    ]


def _cue_names(table: bytes, show: CompiledShow | None) -> Mapping[int, str]:
    for board in show.boards if show else ():
        if board.data == table:
            return {number: f"`{cue.name}`" for number, cue in enumerate(board.cues)}
    return {}


def _reset(state: State) -> str:
    causes = [
        cause.name.lower().replace("_", "-") for cause in ResetCause if state.reset_cause & cause
    ]
    return ", ".join(causes) or "unknown"


def _counters(state: State) -> list[tuple[str, str]]:
    """Each counter; those that are not 0 with what they mean."""
    meaning = (
        ("brown-outs", state.brown_out_resets, "its supply sagged: look at pack, wire, servos"),
        ("watchdog", state.watchdog_resets, "its program hung and was started again"),
        ("refused", state.refused, "requests that found no room or no such cue"),
        ("overruns", state.overruns, "frames with too much to do"),
        ("bad frames", state.bad_frames, "noise on the link"),
        ("lost bytes", state.lost_bytes, "bytes that came too fast"),
    )
    return [(title, f"{count} ({words})" if count else "0") for title, count, words in meaning]
