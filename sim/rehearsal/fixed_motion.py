"""A servo's motion in integers: TABLE.md, sections 3.1 and 3.2.

A table's player moves by it, and a rehearsal plans by it (`sim.rehearsal.motion`), so that both
start, brake and end alike. Which brake, overlap and stretch a move gets is the rule of takeover
(`sim.rehearsal.takeover`).

Positions are 0.01 deg with 15 fractional bits, speeds the same per ms, times 1/256 ms. Times here
do not wrap; a chip's do, with the same result, because compared times lie close together.
"""

from __future__ import annotations

from dataclasses import dataclass

from sim.model import MINIMUM_JERK, UNIFORM, Servo
from sim.rehearsal.takeover import INTEGERS, ServoLimits, brake_from, take_over
from sim.rulebook import ANGLE_BITS, ANGLE_STEPS_PER_DEG
from sim.score.fixed_laws import FixedLaw, fixed_law, progress


@dataclass(frozen=True, slots=True)
class FixedMotion:
    """One move and the brake that it began with."""

    target: int
    way: int
    start: int
    duration: int
    law: FixedLaw
    residual: int
    brake_start: int
    brake: int
    """Duration of the brake; 0: none."""
    end: int

    def position(self, time: int) -> int:
        """Where the part is at a time before the end."""
        elapsed = time - self.start
        if elapsed <= 0:
            p = self.target - self.way
        elif elapsed >= self.duration:
            p = self.target
        else:
            s = self.law.position(progress(elapsed, self.duration))
            p = self.target - self.way + ((self.way * s) >> 16)
        left = self.brake - (time - self.brake_start)
        if left > 0:
            y = progress(left, self.brake)
            p -= (self.residual * ((y * y) >> 16)) >> 16
        return p

    def state(self, time: int) -> tuple[int, int]:
        """Position and speed at a time; at rest from the end on."""
        if time >= self.end:
            return self.target, 0
        v = 0
        elapsed = time - self.start
        x = progress(elapsed, self.duration) if 0 < elapsed < self.duration else 0
        if x > 0:
            v = _speed(self.way, self.law.shape(x)[1], self.duration)
        left = self.brake - (time - self.brake_start)
        if left > 0:
            v += _speed(self.residual, progress(left, self.brake) >> 1, self.brake)
        return self.position(time), v


def angle_steps(angle_deg: float) -> int:
    """An angle in the steps of a table."""
    return round(ANGLE_STEPS_PER_DEG * angle_deg)


def servo_limits(
    speed_deg_s: int, acceleration_deg_s2: int, travel: tuple[int, int]
) -> ServoLimits:
    """What a table states of a servo's motion; `travel` in its steps."""
    low, high = (angle << ANGLE_BITS for angle in travel)
    return ServoLimits(speed_deg_s, acceleration_deg_s2, low, high)


def limits_of(servo: Servo, limits: tuple[int, int]) -> ServoLimits:
    """The same of a show's servo; `limits`: its speed (deg/s) and acceleration (deg/s2)."""
    low, high = servo.travel_deg
    return servo_limits(*limits, (angle_steps(low), angle_steps(high)))


def at_rest(position: int, time: int) -> FixedMotion:
    """A part that stands still from a time on."""
    return FixedMotion(position, 0, time, 0, fixed_law(UNIFORM), 0, time, 0, time)


def _speed(way: int, slope: int, duration: int) -> int:
    """Of a part that would go `way` in `duration` at slope 1 (Q14)."""
    size = ((abs(way) * slope) >> 16) * 1024 // duration
    return size if way >= 0 else -size


def start_motion(
    limits: ServoLimits, p: int, v: int, time: int, target: int, nominal: int, law: FixedLaw
) -> FixedMotion:
    """The motion that a move begins at `time`, from position `p` and speed `v`.

    `target` is a position, `nominal` the duration asked for in 1/256 ms.
    """
    run = take_over(p, v, target, nominal, law, limits, INTEGERS)
    start, end = time + run.wait, time + run.end
    return FixedMotion(
        target, run.way, start, run.duration, law, run.residual, time, run.brake, end
    )


def halt_motion(limits: ServoLimits, p: int, v: int, time: int) -> FixedMotion:
    """The motion of a part that brakes from position `p` and speed `v`, and stays there.

    It ends at the whole step of a table's angles that is next to where the brake ends.
    """
    residual, _ = brake_from(p, v, limits, INTEGERS)
    target = (p + residual + (1 << ANGLE_BITS - 1)) >> ANGLE_BITS << ANGLE_BITS
    target = min(max(target, limits.low), limits.high)
    return start_motion(limits, p, v, time, target, 0, fixed_law(MINIMUM_JERK))
