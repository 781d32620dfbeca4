"""servo-torque: a move, or the pose it ends in, asks for more torque than the servo has.

What: at each instant of a move, the torque for weight (in the worst posture of the wearer), for
inertia, springs and friction stays under what the servo's line leaves at that speed, with the
margin kept. So does the torque that holds a part which no cue moves, against its weight, the
wearer's movement, the wind and the other parts of its chain.

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

import numpy as np

from seqlang.checks.context import Context
from seqlang.checks.figures import figures
from seqlang.checks.motion import failing_moves
from seqlang.text.findings import Finding
from sim.model import Servo
from sim.rig.slide import of_horn, of_part
from sim.score.planned_moves import rest_angles
from sim.strain.envelope import TOLERANCE, operate
from sim.strain.shortest import FEED_MORE, STARVED


def check(context: Context) -> Iterator[Finding]:
    for failure in context.once(failing_moves.failures):
        if failure.trouble == "torque":
            yield _finding(context, failure)
    rest = rest_angles(context.sound_show)
    for name in sorted(context.sound - set(context.work)):
        yield from _held(context, context.servos[name], rest[name])


def _held(context: Context, servo: Servo, rest_deg: tuple[float, ...]) -> Iterator[Finding]:
    """A part that no cue moves, but other parts, the wearer or the wind may."""
    rig = context.sound_show.rig
    volts = context.rated_v.get(servo.board)
    asked = operate(rig, servo, np.array(rest_deg), 0.0, 0.0, volts)
    worst = int(np.argmax(asked.share))
    if float(asked.share[worst]) <= 1.0 - rig.wearer.margin + TOLERANCE:
        return
    torque, left = abs(float(asked.torque_nm[worst])), float(asked.allowed_nm[worst])
    part, told = of_part(servo), of_horn(servo)
    torque_text, left_text = figures(told.of_torque(torque), told.of_torque(left))
    starved = float(asked.voltage_v[worst]) <= 0.0
    yield Finding(
        "error",
        "servo-torque",
        f"`{servo.name}` must hold {rest_deg[worst]:g} {part.place} with {torque_text} "
        f"{told.effort}, and can give {left_text} {told.effort}"
        + (f": {STARVED}" if starved else ""),
        context.span(servo.mark, "name"),
        label="no cue moves it, and it must stand",
        help=FEED_MORE
        if starved
        else "take a lighter part, a counterweight spring, a stronger servo or a higher gear ratio"
        + (", or let the other parts of its chain move more slowly" if servo.load.coupled else ""),
        asked=told.of_torque(torque),
        limit=told.of_torque(left),
        unit=told.effort,
    )


def _finding(context: Context, failure: failing_moves.Failure) -> Finding:
    asked, way, move = failure.work.assessment, failure.way, failure.planned.move
    torque, left = abs(float(asked.torque_nm[way])), float(asked.allowed_nm[way])
    told = of_horn(failure.work.servo)
    torque_text, left_text = figures(told.of_torque(torque), told.of_torque(left))
    fix = None
    if failure.shortest_ms is not None:
        fix = failing_moves.slower(context, move, failure.shortest_ms)
    mark = failure.work.servo.load.mark
    return Finding(
        "error",
        "servo-torque",
        f"`{move.output}` must give {torque_text} {told.effort}, and can give {left_text} "
        f"{told.effort} there",
        failing_moves.pace_span(context, move),
        label="too much for this load" if failure.impossible else "too quick for this load",
        related=(
            *failing_moves.start_places(context, failure.planned),
            (context.span(mark), f"what `{move.output}` carries"),
        ),
        notes=(failing_moves.instant(context, failure),),
        help=failing_moves.advice(failure, fix),
        fix=fix,
        asked=told.of_torque(torque),
        limit=told.of_torque(left),
        unit=told.effort,
    )
