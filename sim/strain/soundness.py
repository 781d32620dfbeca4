"""What of a show physics can be asked about while some of its lines make no sense.

Servos without a rating, a calibration or a linkage that reaches through their travel are left out;
each of those faults is a finding of its own.
"""

from __future__ import annotations

from dataclasses import replace

from sim.model import Gear, Servo, Show, Strip
from sim.rig.drive import reach
from sim.rig.supply import PIXEL_IDLE_A
from sim.score.planned_moves import PlannedMove, planned_moves
from sim.strain.sag import brightest


def is_sound(servo: Servo) -> bool:
    """Whether physics can be asked about the servo at all."""
    low, high = servo.travel_deg
    if not servo.ratings or len(servo.points) < 2 or low >= high:
        return False
    angles = [point.angle_deg for point in servo.points]
    if not (angles[0] <= low and high <= angles[-1]):
        return False
    return isinstance(servo.drive, Gear) or reach(servo).stuck_deg is None


def sound_show(show: Show) -> Show:
    """The show as physics is asked about it.

    A strip is capped at the most that the score ever makes of it: what it could draw is for
    `strip_over_supply` to say.
    """
    most = brightest(show)
    outputs = tuple(
        replace(o, cap_a=_lit_a(o, most[o.name])) if isinstance(o, Strip) else o
        for o in show.rig.outputs
        if not isinstance(o, Servo) or is_sound(o)
    )
    return replace(show, rig=replace(show.rig, outputs=outputs))


def sound_moves(show: Show) -> tuple[PlannedMove, ...]:
    """Every planned move, from every angle it can start from, that physics can be asked about.

    A linkage may end where its travel does; a gear goes on.
    """
    servos = {o.name: o for o in show.rig.outputs if isinstance(o, Servo) and is_sound(o)}

    def can_be_asked(one: PlannedMove) -> bool:
        servo = servos.get(one.move.output)
        if servo is None:
            return False
        low, high = servo.travel_deg
        inside = low <= one.from_deg <= high and low <= one.move.angle_deg <= high
        return inside or isinstance(servo.drive, Gear)

    return tuple(one for one in planned_moves(show) if can_be_asked(one))


def _lit_a(strip: Strip, most_a: float) -> float:
    """What the lit pixels draw of a strip's `most_a`; a hair for one that is never lit."""
    return max(most_a - strip.pixels * PIXEL_IDLE_A, 1e-6)
