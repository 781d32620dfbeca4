"""voltage-sag: a move passes by itself, but not at the voltage left while other parts move too.

What: each move still keeps its margin while all other parts are at their hardest, as when a stop
or another cue interrupts them, and the battery is at the end of its charge. At each instant the
move's own current is the one that it asks for there.

Why: a servo's speed and torque fall with its voltage; then two cues started together both
lag.

Example: a fast move planned to the last millisecond, and a second cue that loads the same pack.

Instead:

    jaw to 55 deg in 420 ms

Source of the limit: as for `servo-speed`, at the voltage of `sim/strain/sag.py`.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite

import numpy as np

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.motion import failing_moves
from seqlang.checks.supply.sagging import cues_running, while_running
from seqlang.checks.workload import ServoWorkload
from seqlang.text.findings import Finding, Fix
from sim.score.planned_moves import PlannedMove
from sim.strain.envelope import assess
from sim.strain.sag import Sag

STEEPEST = 2.0
"""A share grows at most with this power of the fall in voltage: one rating gives 1, two ratings a
little more. Moves that even this leaves within the margin need not be assessed again."""


def check(context: Context) -> Iterator[Finding]:
    by_board = {sag.board: sag for sag in context.sags if sag.cues and not sag.collapsed}
    for work in context.work.values():
        sag = by_board.get(work.servo.board)
        if sag is not None:
            yield from _starved(context, work, sag)


def _starved(context: Context, work: ServoWorkload, sag: Sag) -> Iterator[Finding]:
    """Written moves that pass alone but not at the sagging voltage, each from its worst start."""
    limit = 1.0 - context.show.rig.wearer.margin
    alone = work.assessment
    fall = np.maximum(alone.voltage_v / max(sag.voltage_v, 1e-3), 1.0)
    rows = np.flatnonzero(alone.passes & (alone.peak_share * fall**STEEPEST > limit))
    if not rows.size:
        return
    volts = context.beside_others(work.servo)
    if volts is None:
        return
    low = assess(
        context.sound_show.rig,
        work.servo,
        [work.ways[row].from_deg for row in rows],
        [work.ways[row].to_deg for row in rows],
        [work.ways[row].duration_ms for row in rows],
        [work.ways[row].law for row in rows],
        volts,
    )
    shares = {
        int(row): (float(share), float(at_v))
        for row, share, at_v, passes in zip(
            rows, low.peak_share, low.voltage_v, low.passes, strict=True
        )
        if not passes
    }
    failing = {one.planned.move.mark for one in context.once(failing_moves.failures)}
    starts: dict[int, failing_moves.Starts] = {}
    for planned, way in zip(work.asked, work.way_of, strict=True):
        if planned.move.mark not in failing:  # else its finding says a duration that passes here
            starts.setdefault(planned.move.mark, []).append((planned, way))
    for those in starts.values():
        if any(way in shares for _, way in those):
            planned, way = max(those, key=lambda start: shares.get(start[1], (0.0, 0.0)))
            # it must go on passing by itself as well, and from everywhere it can start
            shortest = failing_moves.shortest_at_ms(context, work, those, volts)
            fix = (
                None if shortest is None else failing_moves.slower(context, planned.move, shortest)
            )
            yield _finding(context, planned, sag, *shares[way], fix)


def _finding(
    context: Context,
    planned: PlannedMove,
    sag: Sag,
    share: float,
    volts: float,
    fix: Fix | None,
) -> Finding:
    move = planned.move
    limit = 1.0 - context.show.rig.wearer.margin
    asked_text, limit_text = figures(100 * share, 100 * limit)
    left = f"at the {figure(volts)} V left {while_running(sag)}"
    return Finding(
        "warning",
        "voltage-sag",
        f"`{move.output}` would go to {asked_text} % of its torque-speed line {left}, and "
        f"{limit_text} % keeps the margin"
        if isfinite(share)
        else f"`{move.output}` cannot move at all {left}",
        failing_moves.pace_span(context, move),
        label="passes by itself, not beside other parts",
        related=cues_running(context, sag),
        help="use thicker or shorter wire, or a stronger supply"
        if fix is None
        else f"`{fix.text}` passes at that voltage; thicker or shorter wire, or a stronger supply, "
        "helps too",
        fix=fix,
        asked=share,
        limit=limit,
        unit="of the servo's line",
    )
