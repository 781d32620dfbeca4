"""watch-unfit: a board cannot watch its battery in this way.

What: a battery feeds the board. A divider at a pin stays within the chip's supply when the battery
is full, and the pin looks into 10 kohm at most. `watch direct` is for a chip that runs from the
battery itself, a divider for one that does not.

Why: more than the chip's supply on a pin harms it. Behind more than 10 kohm the converter reads too
little. Where the chip's supply sinks with the battery, a divider reads the same all the time.

Example:

    watch pin PF1, divider 10 kohm over 22 kohm

Instead:

    watch pin PF1, divider 22 kohm over 15 kohm

Source of the limit: the chip's data sheet, absolute maximum ratings and analog input circuitry
(from memory), as stated in `sim/rig/watch.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figure
from seqlang.text.findings import Finding, Fix, Span
from sim.model import Board, Divider
from sim.rig.watch import SOURCE_OHM, Watched, divider_for, watched
from sim.rulebook import WORD_MAX


def check(context: Context) -> Iterator[Finding]:
    for board in context.show.rig.boards:
        if board.watch is None:
            continue
        one = watched(context.show.rig, board)
        if one is None and context.partial:
            continue  # the battery may stand in a line that could not be read
        if one is None:
            yield _unfit(
                f"board `{board.name}` watches a battery, and none feeds it",
                context.span(board.watch.mark),
                "nothing to watch",
                "give the board a `feed` from a supply whose `source` is cells, or leave the line "
                "out",
            )
        elif (board.watch.divider is None) != one.follows_battery:
            yield _wrong_way(context, board, one)
        elif board.watch.divider is not None:
            yield from _divider(context, board, one, board.watch.divider)


def _unfit(message: str, span: Span, label: str, help: str, fix: Fix | None = None) -> Finding:
    return Finding("error", "watch-unfit", message, span, label=label, help=help, fix=fix)


def _wrong_way(context: Context, board: Board, one: Watched) -> Finding:
    assert board.watch is not None
    span = context.span(board.watch.mark)
    if board.watch.divider is None:
        return _unfit(
            f"the chip of `{board.name}` runs from {figure(one.chip_v)} V behind a regulator",
            span,
            "its own supply says nothing of the battery",
            f"bring the battery to a pin: `watch pin PF1, {_words(_best(one))}`, or state "
            "`logic direct` if the chip runs from the battery itself",
        )
    return _unfit(
        f"the chip of `{board.name}` runs from the battery itself: both sink together",
        span,
        "this divider reads the same all the time",
        "write `watch direct`, which needs no divider; or state the board's regulator, such as "
        "`logic 5 V`",
    )


def _best(one: Watched) -> Divider:
    return divider_for(one.full_v, one.chip_v)


def _words(divider: Divider) -> str:
    upper, lower = (f"{ohm / 1000:g} kohm" for ohm in (divider.upper_ohm, divider.lower_ohm))
    return f"divider {upper} over {lower}"


def _divider(context: Context, board: Board, one: Watched, divider: Divider) -> Iterator[Finding]:
    span = context.span(divider.mark)
    fix = Fix(span, _words(_best(one)))
    help = f"`{fix.text}` fits, of resistors of the E24 series"
    at_pin = one.full_v * divider.share
    if at_pin > one.chip_v:
        yield _unfit(
            f"a full battery brings {figure(at_pin)} V to the pin, and the chip runs from "
            f"{figure(one.chip_v)} V",
            span,
            f"the pin can take {figure(one.chip_v)} V",
            help,
            fix,
        )
    elif divider.source_ohm > SOURCE_OHM:
        yield _unfit(
            f"the pin looks into {figure(divider.source_ohm / 1000)} kohm, and the converter reads "
            f"right up to {figure(SOURCE_OHM / 1000)} kohm",
            span,
            "both resistors in parallel",
            help,
            fix,
        )
    elif one.scale_v * 1000.0 > WORD_MAX:
        yield _unfit(
            f"at the pin's full reading the battery would have {figure(one.scale_v)} V, and a "
            f"table states {figure(WORD_MAX / 1000)} V at most",
            span,
            "lets too little through",
            help,
            fix,
        )
