"""servo-acceleration: a move accelerates the part more than the servo's `acceleration` line allows.

What: where a servo states an acceleration, no move's law exceeds it.

Why: the maker states one because the part, its glue or its linkage cannot take more.

Example:

    acceleration 2000 deg/s2
    ...
    jaw to 55 deg in 200 ms

Instead:

    jaw to 55 deg in 384 ms

Source of the limit: the servo's own `acceleration` line; the law's peak Ca h / T2 (cam handbooks).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures, seconds
from seqlang.checks.motion import failing_moves
from seqlang.text.findings import Finding
from sim.rig.slide import of_part


def check(context: Context) -> Iterator[Finding]:
    for failure in context.once(failing_moves.failures):
        if failure.trouble == "acceleration":
            yield _finding(context, failure)


def _finding(context: Context, failure: failing_moves.Failure) -> Finding:
    servo, move = failure.work.servo, failure.planned.move
    asked = float(failure.work.assessment.peak_accel_deg_s2[failure.way])
    limit = servo.accel_deg_s2 or 0.0
    asked_text, limit_text = figures(asked, limit)
    unit = of_part(servo).place
    fix = None
    if failure.shortest_ms is not None:
        fix = failing_moves.slower(context, move, failure.shortest_ms)
    return Finding(
        "error",
        "servo-acceleration",
        f"`{move.output}` would accelerate at {asked_text} {unit}/s2, and its limit is "
        f"{limit_text} {unit}/s2",
        failing_moves.pace_span(context, move),
        label=f"{figure(abs(move.angle_deg - failure.planned.from_deg))} {unit} in "
        f"{seconds(move.duration_ms)}",
        related=(
            *failing_moves.start_places(context, failure.planned),
            (context.span(servo.mark, "acceleration"), f"the acceleration of `{servo.name}`"),
        ),
        help=failing_moves.advice(failure, fix),
        fix=fix,
        asked=asked,
        limit=limit,
        unit=f"{unit}/s2",
    )
