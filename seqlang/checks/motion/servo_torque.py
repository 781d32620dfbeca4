"""servo-torque: a move, or the pose it ends in, asks for more torque than the servo has.

What: at each instant of a move, the torque for weight (in the worst posture of the wearer), for
inertia, springs and friction stays under what the servo's line leaves at that speed, with the
margin kept.

Why: a servo that stalls draws its full current, heats up within seconds and strips its gears.

Example:

    load       400 g at 120 mm
    jaw to 55 deg in 200 ms

Instead:

    jaw to 55 deg in 520 ms

or a lighter part, a counterweight spring, a stronger servo or a higher gear ratio.

Source of the limit: the servo's `rating` line (straight torque-speed line; MIT, Understanding D.C.
Motor Characteristics); Newton's second law about the hinge; the margin is the rig's own.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figures
from seqlang.checks.motion import failing_moves
from seqlang.text.findings import Finding


def check(context: Context) -> Iterator[Finding]:
    for failure in context.once(failing_moves.failures):
        if failure.trouble == "torque":
            yield _finding(context, failure)


def _finding(context: Context, failure: failing_moves.Failure) -> Finding:
    asked, way, move = failure.work.assessment, failure.way, failure.planned.move
    torque, left = abs(float(asked.torque_nm[way])), float(asked.allowed_nm[way])
    torque_text, left_text = figures(torque, left)
    fix = None
    if failure.shortest_ms is not None:
        fix = failing_moves.slower(context, move, failure.shortest_ms)
    mark = failure.work.servo.load.mark
    return Finding(
        "error",
        "servo-torque",
        f"`{move.output}` would have to give {torque_text} N.m, and has {left_text} N.m there",
        failing_moves.pace_span(context, move),
        label="too much for this load" if failure.impossible else "too quick for this load",
        related=(
            *failing_moves.start_places(context, failure.planned),
            (context.span(mark), f"what `{move.output}` carries"),
        ),
        notes=(failing_moves.instant(context, failure),),
        help=failing_moves.advice(failure, fix),
        fix=fix,
        asked=torque,
        limit=left,
        unit="N.m",
    )
