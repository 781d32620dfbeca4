"""A servo's motion in integers: TABLE.md, sections 3.1 and 3.2.

Positions are 0.01 deg with 15 fractional bits, speeds the same per ms, times 1/256 ms. Times here
do not wrap; a chip's do, with the same result, because compared times lie close together.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import isqrt
from typing import Final

from firmware_gen.table.fixed_point import FixedLaw, progress
from firmware_gen.table.records import ServoRecord
from sim.rulebook import AHEAD_BITS, ANGLE_BITS, SHORTEST_MOTION_CLOCK

NO_RUN: Final = -1


@dataclass(frozen=True, slots=True)
class Motion:
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


def brake(p: int, v: int, limits: tuple[int, int], acceleration: int) -> tuple[int, int]:
    """Way and duration of the brake from position `p` at speed `v`, within the travel `limits`."""
    if v == 0:
        return 0, 0
    speed, sign = abs(v), 1 if v > 0 else -1
    duration = speed * 625 // (8 * acceleration)
    residual = sign * ((speed * duration) >> 9)
    low, high = limits
    if not low <= p + residual <= high:
        residual = (high if p + residual > high else low) - p
        if residual * sign < 0:
            residual = 0
        duration = 512 * abs(residual) // speed
    return (residual, duration) if duration else (0, 0)


def time_by(limit: int, way: int, ca: int) -> int:
    """How long a way takes at least under a limit of acceleration.

    In products of 32 bits: what they are divided is multiplied by as many fours before as go in.
    """
    way, fours = _normalised(way)
    share, more = _normalised(625 * way // (2048 * limit))
    return (isqrt((ca * share >> 24) << 28) >> (fours + more)) + 1


def _normalised(value: int) -> tuple[int, int]:
    fours = min(15, (32 - value.bit_length()) // 2)
    return value << 2 * fours, fours


def start_motion(
    servo: ServoRecord, p: int, v: int, time: int, target: int, nominal: int, law: FixedLaw
) -> Motion:
    """The motion that a move begins at `time`, from position `p` and speed `v`.

    `target` is a position, `nominal` the duration asked for in 1/256 ms.
    """
    low, high = servo.travel
    limits = low << ANGLE_BITS, high << ANGLE_BITS
    residual, braking = brake(p, v, limits, servo.acceleration_limit)
    way = target - (p + residual)
    by_speed = (law.cv * abs(way) * 5 // (8 * servo.speed_limit)) >> 15
    by_acceleration = time_by(servo.acceleration_limit, abs(way), law.ca)
    if braking and way * v > 0 and abs(way) >> AHEAD_BITS and law.overlap:
        start = time
        duration = max(nominal, by_acceleration, (by_speed << 8) // law.overlap, 2 * braking)
    else:
        start = time + braking
        duration = max(nominal - braking, by_acceleration, by_speed, SHORTEST_MOTION_CLOCK)
    end = max(start + duration, time + braking)
    return Motion(target, way, start, duration, law, residual, time, braking, end)


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
