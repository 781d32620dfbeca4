"""watch-limits: a board acts on its battery too late, too early, or the wrong way round.

What: the warning comes before the stop. A full battery is above the warning. A lithium battery's
cells are not harmed by the time the board stops, however far off the reading is. Until then the
chip's regulator still holds its voltage, which a divider's reading is held against.

Why: a cell that is drawn too low is lost, and may burn when it is charged again. A warning that a
full battery gives is no warning.

Example:

    watch pin PF1, divider 22 kohm over 15 kohm, stops below 2.7 V

Instead:

    watch pin PF1, divider 22 kohm over 15 kohm, stops below 3.2 V

Source of the limit: cells as in `sim/rig/battery.py`; tolerances as in `sim/rig/watch.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil

from seqlang.checks.context import Context
from seqlang.checks.figures import figure
from seqlang.text.findings import Finding, Fix
from sim.rig import battery
from sim.rig.watch import REFERENCE_V, USUAL_REFERENCE_V, Watched, watched


def check(context: Context) -> Iterator[Finding]:
    for board in context.show.rig.boards:
        one = watched(context.show.rig, board)
        # one that is in the wrong place has a finding of its own
        if one is not None and (one.watch.divider is None) == one.follows_battery:
            yield from _wrong_way_round(context, one)
            yield from _too_early(context, one)
            yield from list(_sinks(context, one)) or _too_late(context, one)


def _finding(context: Context, one: Watched, part: str, message: str, **more: object) -> Finding:
    mark = one.watch.mark
    stated = part if context.has_part(mark, part) else None
    return Finding("error", "watch-limits", message, context.span(mark, stated), **more)  # type: ignore[arg-type]


def _wrong_way_round(context: Context, one: Watched) -> Iterator[Finding]:
    if one.warn_v < one.stop_v:
        yield _finding(
            *(context, one, "warns" if one.watch.warn_v is not None else "stops"),
            f"the board stops below {figure(one.stop_v)} V a cell, and warns below "
            f"{figure(one.warn_v)} V",
            label="the warning comes after the stop",
            help="the limits are those of one cell; the warning's is the higher one",
            asked=one.warn_v,
            limit=one.stop_v,
            unit="V",
        )


def _too_early(context: Context, one: Watched) -> Iterator[Finding]:
    kind = battery.CHEMISTRIES[one.cells.chemistry]
    full_v = kind.rest_v[-1]
    stated = (("warns", one.watch.warn_v), ("stops", one.watch.stop_v))
    high = [(part, volts) for part, volts in stated if volts is not None and volts >= full_v]
    if not high:
        return
    help = f"a full {one.cells.chemistry} cell has {figure(full_v)} V; limits are of one cell"
    series, mark = one.cells.series, one.watch.mark
    fix = None
    if series > 1 and all(kind.harm_v < volts / series < full_v for _, volts in high):
        (span, text), *more = (
            (context.span(mark, part), f"{volts / series:.3g} V") for part, volts in high
        )
        fix = Fix(span, text, tuple(more))
        help += "".join(
            f", and {figure(volts)} V of {series} are {figure(volts / series)} V of each"
            for _, volts in high
        )
    (part, volts), *also = high
    yield _finding(
        *(context, one, part),
        f"a full battery is below this limit of {figure(volts)} V a cell",
        label="always reached",
        related=tuple((context.span(mark, part), "and this one") for part, _ in also),
        help=help,
        fix=fix,
        asked=volts,
        limit=full_v,
        unit="V",
    )


def _sinks(context: Context, one: Watched) -> Iterator[Finding]:
    if one.watch.divider is None or one.watch.stop_v is None or one.stop_v >= one.held_v:
        return
    least = ceil(100.0 * one.held_v) / 100.0
    yield _finding(
        *(context, one, "stops"),
        f"the chip's regulator holds {figure(one.chip_v)} V as long as a cell has "
        f"{figure(one.held_v, 3)} V, and the board is to stop below {figure(one.stop_v)} V",
        label="never reached: below that cell voltage the reading stays the same",
        help=f"stop below {figure(least)} V or more",
        fix=Fix(context.span(one.watch.mark, "stops"), f"{least:g} V"),
        asked=one.stop_v,
        limit=one.held_v,
        unit="V",
    )


def _too_late(context: Context, one: Watched) -> Iterator[Finding]:
    kind = battery.CHEMISTRIES[one.cells.chemistry]
    if not kind.lithium or one.lowest_stop_v >= kind.harm_v:
        return
    least = ceil(100.0 * kind.harm_v / (1.0 - one.off)) / 100.0
    by_reference = one.watch.divider is None and one.watch.reference_v is None
    help = f"stop below {figure(least)} V or more"
    if by_reference:
        low, high = REFERENCE_V
        help += (
            f", or measure the chip's reference ({figure(low)} to {figure(high)} V, taken for "
            f"{figure(USUAL_REFERENCE_V)} V) and state it: `reference 1.08 V`"
        )
    stated = one.watch.stop_v is not None
    fix = Fix(context.span(one.watch.mark, "stops"), f"{least:g} V") if stated else None
    yield _finding(
        *(context, one, "stops"),
        f"the board stops below {figure(one.stop_v)} V a cell, and a reading may be off by "
        f"{figure(100.0 * one.off)} %: a cell may have {figure(one.lowest_stop_v, 3)} V then",
        label=f"harmed below {figure(kind.harm_v)} V",
        help=help,
        fix=fix,
        asked=one.lowest_stop_v,
        limit=kind.harm_v,
        unit="V",
    )
