"""press-beyond-chip: a board's chip cannot tell this kind of press, or this use of a button.

What: on each board that hears the remote itself and plays a cue of such a button, the chip knows
`long`, `twice` and `let go`, `until pressed again`, `next of`, `settles`, and a radio's channels.
A board that follows hears no button.

Why: the smaller chip has no room for it. It would start the cue as the button goes down, or never.

Example:

    board box: atmega328p, address 1
    remote
        button 1 long: go chew

Instead:

    board box: atmega2560, address 1
    remote
        button 1 long: go chew

Source of the limit: the chip's entry in `firmware_gen/chips` (senses).
"""

from __future__ import annotations

from collections.abc import Iterator

from firmware_gen.chips import CHIPS
from seqlang.checks.context import Context
from seqlang.checks.wiring.pins import chip_instead
from seqlang.text.findings import Finding, Fix
from sim.model import Binding, Board
from sim.rulebook import SETTLE_MS
from sim.score.threads import cues_on


def check(context: Context) -> Iterator[Finding]:
    rig, score = context.show.rig, context.show.score
    for board in rig.boards:
        follows = rig.leader is not None and not board.leads
        if CHIPS[board.chip].senses or follows:
            continue
        played = {cue.name for cue in cues_on(context.show, board.name)}
        buttons = {one.button for one in score.bindings if one.cue in played}
        seen: set[int] = set()
        for one in score.bindings:
            if one.button in buttons and not one.is_plain and one.mark not in seen:
                seen.add(one.mark)
                yield _finding(context, board, one)
        for wire in rig.inputs:
            if wire.board == board.name and wire.settle_ms > SETTLE_MS:
                yield _slow(context, board, wire.mark)
        for channel in rig.channels:
            if channel.board == board.name:
                yield _no_channel(context, board, channel.mark)


def _finding(context: Context, board: Board, one: Binding) -> Finding:
    part = {"next": "list", "toggle": "toggle"}.get(one.manner, "press")
    what = {
        "press": "tell this kind of press",
        "list": "keep a list of cues",
        "toggle": "let a cue go by a second press",
    }[part]
    return Finding(
        "error",
        "press-beyond-chip",
        f"board `{board.name}` plays `{one.cue}`, and the {CHIPS[board.chip].title} cannot {what}",
        context.span(one.mark, part),
        label="asks for a chip that can",
        related=((context.span(board.mark, "chip"), "this chip"),),
        help=f"{_ways(context, board)}, or bind the cue to a button of its own: "
        f"`button N: go {one.cue}`",
        fix=_other_chip(context, board),
    )


def _slow(context: Context, board: Board, mark: int) -> Finding:
    return Finding(
        "error",
        "press-beyond-chip",
        f"the {CHIPS[board.chip].title} looks at each contact alike: a level counts after "
        f"{SETTLE_MS} ms",
        context.span(mark, "settles"),
        label="asks for a chip that waits longer",
        related=((context.span(board.mark, "chip"), "this chip"),),
        help=f"{_ways(context, board)}, or leave out `settles` and put a filter at the contact",
        fix=_other_chip(context, board),
    )


def _no_channel(context: Context, board: Board, mark: int) -> Finding:
    return Finding(
        "error",
        "press-beyond-chip",
        f"the {CHIPS[board.chip].title} has no timer left that measures the pulses of a channel",
        context.span(mark, "pin"),
        label="asks for a chip that has",
        related=((context.span(board.mark, "chip"), "this chip"),),
        help=_ways(context, board),
        fix=_other_chip(context, board),
    )


def _other_chip(context: Context, board: Board) -> Fix | None:
    """The chip that knows presses, where nothing else of the board has to change for it."""
    leads = context.show.rig.leader is not None or any(
        CHIPS[other.chip].senses for other in context.show.rig.boards
    )
    swap = None if leads else chip_instead(context, board, lambda chip: chip.senses)
    return None if swap is None else swap[1]


def _ways(context: Context, board: Board) -> str:
    able = " or ".join(f"`{name}`" for name, chip in CHIPS.items() if chip.senses)
    leader = next((b for b in context.show.rig.boards if CHIPS[b.chip].senses), None)
    lead = f", or let board `{leader.name}` lead" if leader is not None else ""
    return f"give `{board.name}` the chip {able}{lead}"
