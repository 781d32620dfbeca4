"""speed-jump: a heavy part is moved by the `uniform` law.

What: a move with the uniform law starts and stops with a jump of speed. Advice where that jump
takes over a fifth of the servo's stall torque.

Why: the jump hammers on gears and glue at every start and stop, however slow the middle is.

Example:

    jaw to 50 deg in 900 ms, uniform

Instead:

    jaw to 50 deg in 900 ms, 3-4-5

Source of the limit: common practice, no source. The jump is taken to happen within one frame
(20 ms), as the pulses come.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figures
from seqlang.checks.workload import ServoWorkload
from seqlang.text.findings import Finding, Fix
from sim.model import MINIMUM_JERK, Servo
from sim.rig import servo as lines
from sim.rig.slide import of_horn
from sim.score.planned_moves import PlannedMove
from sim.strain.envelope import assess

HEAVY = 0.2
"""Share of the stall torque from which a jump of speed is called heavy."""


def check(context: Context) -> Iterator[Finding]:
    for work in context.work.values():
        seen: set[int] = set()
        for planned, way in zip(work.asked, work.way_of, strict=True):
            mark = planned.move.mark
            uniform = work.ways[way].law.name == "uniform" and work.assessment.passes[way]
            if not uniform or mark in seen:
                continue
            share = _jump_share(context, work, way)
            if share > HEAVY:
                seen.add(mark)
                yield _finding(context, work.servo, planned, share)


def _jump_share(context: Context, work: ServoWorkload, way: int) -> float:
    """Peak torque of the jumping move, less that of the same move without jumps, over stall."""
    asked = work.ways[way]
    smooth = assess(
        context.sound_show.rig, work.servo, asked.from_deg, asked.to_deg, 60_000.0, MINIMUM_JERK
    )
    extra = float(work.assessment.peak_torque_nm[way] - smooth.peak_torque_nm[0])
    stall = float(lines.line(work.servo, work.assessment.voltage_v[way]).stall_nm)
    return extra / max(stall, 1e-12)


def _finding(context: Context, servo: Servo, planned: PlannedMove, share: float) -> Finding:
    move = planned.move
    span = context.span(move.mark, "law")
    smooth = assess(
        context.sound_show.rig,
        servo,
        planned.from_deg,
        move.angle_deg,
        float(move.duration_ms),
        MINIMUM_JERK,
    )
    asked, limit = figures(100 * share, 100 * HEAVY)
    return Finding(
        "advice",
        "speed-jump",
        f"`{servo.name}` starts with a jump of speed by the law `uniform`: the jump takes "
        f"{asked} % of the {of_horn(servo).strength}, and more than {limit} % is heavy",
        span,
        label="starts and stops with a jump of speed",
        help="a law that starts and stops softly protects the gears: `3-4-5`",
        fix=Fix(span, "3-4-5") if smooth.passes[0] else None,
        asked=100 * share,
        limit=100 * HEAVY,
        unit="%",
    )
