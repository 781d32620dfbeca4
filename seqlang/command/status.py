"""`bellcrank status`: what a board is doing, and what has gone wrong on it."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from firmware_gen.link.protocol import MERGED_SLOT, NO_SLOT, ReportedMode, ResetCause
from seqlang.command._board import connected, named, port_options
from seqlang.command._form import format_option
from seqlang.command._show import passed
from sim.rulebook import CUES, FRAME_S

if TYPE_CHECKING:
    from collections.abc import Mapping

    from firmware_gen.compiler.show import CompiledShow
    from firmware_gen.link.protocol import Hello, State


@click.command(name="status")
@port_options
@click.option(
    "--show",
    "file",
    type=click.Path(dir_okay=False),
    help="Compare with this show, and call cues by their names in it.",
)
@format_option
def command(port: str | None, baud: int, file: str | None, form: str) -> None:
    """Say what the connected board plays and what went wrong on it.

    Example: bellcrank status --port virtual --show first.cues
    """
    show = None if file is None else passed(file, quiet=True).compiled
    with connected(port, baud) as (link, hello):
        state = link.state()
        table = link.table()
        if form == "json":
            record = {"address": link.address, "hello": asdict(hello), "state": asdict(state)}
            click.echo(json.dumps(record, indent=2))
            return
        click.echo(named(link))
        for title, words in report(hello, state, table, show):
            click.echo(f"  {title:<12} {words}")


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
    return rows + _counters(state)


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
