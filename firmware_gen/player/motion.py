"""A servo's motion in integers: TABLE.md, sections 3.1 and 3.2.

Which brake, overlap and stretch a move gets is the rule of takeover (`sim.rehearsal.takeover`).
Positions are 0.01 deg with 15 fractional bits, speeds the same per ms, times 1/256 ms. Times here
do not wrap; a chip's do, with the same result, because compared times lie close together.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from firmware_gen.table.records import ServoRecord
from sim.rehearsal.takeover import INTEGERS, ServoLimits, take_over
from sim.rulebook import ANGLE_BITS
from sim.score.fixed_laws import FixedLaw, progress


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
        """Position and speed at a time before the end."""
        v = 0
        elapsed = time - self.start
        x = progress(elapsed, self.duration) if 0 < elapsed < self.duration else 0
        if x > 0:
            v = _speed(self.way, self.law.shape(x)[1], self.duration)
        left = self.brake - (time - self.brake_start)
        if left > 0:
            v += _speed(self.residual, progress(left, self.brake) >> 1, self.brake)
        return self.position(time), v


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


def servo_limits(servo: ServoRecord) -> ServoLimits:
    """What a table states of a servo's motion; the travel in positions."""
    low, high = (angle << ANGLE_BITS for angle in servo.travel)
    return ServoLimits(servo.speed_limit, servo.acceleration_limit, low, high)


class PulseLine:
    """A servo's calibration: from a position to the width of its pulse, in ticks of 0.5 us."""

    def __init__(self, servo: ServoRecord) -> None:
        self._low = servo.travel[0] << ANGLE_BITS
        self._high = servo.travel[1] << ANGLE_BITS
        self._segments = [
            (angle << ANGLE_BITS, pulse, 2 * (next_pulse - pulse), (next_angle - angle) << 7)
            for (angle, pulse), (next_angle, next_pulse) in pairwise(servo.points)
        ]

    def ticks(self, p: int) -> int:
        p = min(max(p, self._low), self._high)
        for segment in reversed(self._segments):
            if segment[0] <= p:
                break
        angle, pulse, half_ticks, width = segment
        share = progress((p - angle) >> 8, width)
        return pulse + ((((half_ticks * share) >> 16) + 1) >> 1)
