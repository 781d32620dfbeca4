"""servo-speed: a move asks for more speed than the servo has.

What: at each instant of a move, the speed stays under what the servo's torque-speed line leaves at
the torque needed there, at the servo's voltage, with the rig's margin kept.

Why: a servo that cannot follow falls behind, and then arrives late and with full force.

Example:

    jaw to 55 deg in 100 ms

Instead:

    jaw to 55 deg in 367 ms

Source of the limit: the servo's `rating` line; a brushed motor's speed falls in a straight line
with its torque (MIT, Understanding D.C. Motor Characteristics); the margin is the rig's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures, seconds
from seqlang.checks.motion import failing_moves
from seqlang.text.findings import Finding
from sim.rig.slide import of_horn, of_part

_NOTHING_LEFT: Final = ": to speed up so quickly takes all its strength"


def check(context: Context) -> Iterator[Finding]:
    for failure in context.once(failing_moves.failures):
        if failure.trouble == "speed":
            yield _finding(context, failure)


def _finding(context: Context, failure: failing_moves.Failure) -> Finding:
    asked, way, move = failure.work.assessment, failure.way, failure.planned.move
    told = of_horn(failure.work.servo)
    speed = told.of_speed(abs(float(asked.speed_deg_s[way])))
    left = told.of_speed(failing_moves.speed_left_deg_s(context, failure))
    speed_text, left_text = figures(speed, left)
    fix = None
    if failure.shortest_ms is not None:
        fix = failing_moves.slower(context, move, failure.shortest_ms)
    return Finding(
        "error",
        "servo-speed",
        f"`{move.output}` must {told.verb} at {speed_text} {told.speed}, and can do "
        f"{left_text} {told.speed}{'' if left > 0.0 else _NOTHING_LEFT}",
        failing_moves.pace_span(context, move),
        label=f"{figure(abs(move.angle_deg - failure.planned.from_deg))} "
        f"{of_part(failure.work.servo).place} in {seconds(move.duration_ms)}",
        related=failing_moves.start_places(context, failure.planned),
        notes=(failing_moves.instant(context, failure),),
        help=failing_moves.advice(failure, fix),
        fix=fix,
        asked=speed,
        limit=left,
        unit=told.speed,
    )
