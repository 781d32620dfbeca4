"""cord-slack: a part on a cord needs a push.

What: at each instant of a move, wherever a stop or another cue cuts it short, and in each place at
which the part can stand, a part that a drum pulls by its cord is pulled back by its weight or a
spring, in every posture (a warning).

Why: a cord cannot push. It goes slack, jumps off its drum, and comes tight with a jerk.

Example:

    servo curtain: body pin PB1
        load      40 g
        slope     0 deg
        drum      20 mm

Instead: a spring or a weight that pulls the cord tight:

        spring    0.05 N/mm, neutral at -40 mm

Source of the limit: Newton's second law along the line (`sim/rig/slide.py`); a cord bears no
pressure (statics, any handbook).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from seqlang.checks.context import Context
from seqlang.checks.figures import figure
from seqlang.text.findings import Finding
from sim.arrays import Array
from sim.model import Servo
from sim.rig import load
from sim.rig.disturbance import push_nm
from sim.rig.slide import PINION_M, pulls_only
from sim.strain.envelope import passage

_PLACES = 65

LEAST_N = 1e-6
"""A smaller force is a rounding error."""


def check(context: Context) -> Iterator[Finding]:
    for name in sorted(context.sound):
        servo = context.servos[name]
        if pulls_only(servo):
            yield from _slack(context, servo)


def _slack(context: Context, servo: Servo) -> Iterator[Finding]:
    """The move, or the standing, in which the cord would have to push hardest."""
    stands = np.array(context.states.stands_deg[servo.name])
    still = np.zeros_like(stands)
    cases = [(context.span(servo.mark, "name"), (stands, still, still))]
    work = context.work.get(servo.name)
    if work is not None:
        for planned, index in zip(work.asked, work.way_of, strict=True):
            _, *motion = passage(*work.ways[index])
            span = context.span(planned.move.mark, "name")
            cases.append((span, (motion[0], motion[1], motion[2])))
    forces = [_least_n(context, servo, motion) for _, motion in cases]
    cut = None
    if servo.name in context.states.in_motion and all(f.min() >= -LEAST_N for f in forces):
        cut = len(cases)
        cases.append((context.span(servo.mark, "name"), _cut_short(context, servo)))
        forces.append(_least_n(context, servo, cases[cut][1]))
    least = min(range(len(cases)), key=lambda n: float(forces[n].min()))
    worst = float(forces[least].min())
    span, (places, _, _) = cases[least]
    where = float(places[int(np.argmin(forces[least]))])
    when = ", when a stop or another cue cuts a move short" if least == cut else ""
    if worst >= -LEAST_N:
        return
    yield Finding(
        "warning",
        "cord-slack",
        f"`{servo.name}` hangs on a cord, and needs a push of {figure(-worst)} N at "
        f"{figure(where)} mm{when}",
        span,
        label="a cord cannot push",
        related=((context.span(servo.drive.mark), "winds a cord"),),
        help="let more weight or a spring pull the cord tight, move the part more gently, or take "
        "a rack",
        asked=-worst,
        limit=0.0,
        unit="N",
    )


def _cut_short(context: Context, servo: Servo) -> tuple[Array, Array, Array]:
    """All that a motion that is cut short may be: anywhere that the show takes the part, at the
    speed and the acceleration of its table. What is between does not pull less: the force is affine
    in the place, but for other parts of a chain, and in the acceleration."""
    speed, accel = context.states.in_motion[servo.name]
    places = np.linspace(*context.states.reaches[servo.name].angle_deg, _PLACES)
    at, way, hard = np.meshgrid(places, [-speed, speed], [-accel, accel])
    return at.ravel(), way.ravel(), hard.ravel()


def _least_n(context: Context, servo: Servo, motion: tuple[Array, Array, Array]) -> Array:
    """The least force (N) with which the cord pulls, in any posture."""
    wearer = context.show.rig.wearer
    push = push_nm(servo.load, wearer)
    low, _ = load.needed_nm(servo.load, *motion, wearer.tilt_deg, push)
    return np.asarray(low / PINION_M)
