"""The rule of takeover: how a servo starts a move from wherever it is, with brake and stretch.

TABLE.md 3.2 in one body of code for everything in Python. A table's player and a rehearsal call it
with the board's integers (`sim.rehearsal.fixed_motion`), the search over interruptions with arrays
of real numbers (`sim.strain.interruption`); an `Arithmetic` holds the few steps in which these
differ.

Positions are in the player's unit, 0.01 deg in Q15, speeds in that per ms.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import reduce
from math import isqrt
from operator import floordiv, truediv
from typing import Any, Final, NamedTuple, Protocol, TypeAlias

import numpy as np

from sim.rulebook import (
    AHEAD_BITS,
    ANGLE_BITS,
    ANGLE_STEPS_PER_DEG,
    BRAKE_SLACK_BITS,
    OVERLAP_ONE,
    PEAK_MIDDLE,
    SHARE_ONE,
    SHORTEST_MOTION_CLOCK,
)

Number: TypeAlias = Any
"""A number, or an array of numbers, of the kind that an `Arithmetic` is for."""

POSITIONS_PER_DEG: Final = ANGLE_STEPS_PER_DEG << ANGLE_BITS


class LawFigures(Protocol):
    """What the rule asks of a law (`sim.score.law_numbers.LawNumbers`)."""

    @property
    def cv(self) -> int: ...
    @property
    def ca(self) -> int: ...
    @property
    def overlap(self) -> int: ...
    @property
    def peak(self) -> int: ...


class ServoLimits(NamedTuple):
    """A servo's limits as a table states them; its travel in positions."""

    speed_deg_s: int
    acceleration_deg_s2: int
    low: Number
    high: Number


class Takeover(NamedTuple):
    """A motion from its takeover on; times count from there.

    The part goes `way` to its target, by the law, over `duration` after `wait`; laid over that,
    `residual`, the way of the brake, dies away over `brake`. At `end` the move is over, and so is
    the brake.
    """

    way: Number
    residual: Number
    brake: Number
    wait: Number
    duration: Number
    end: Number

    def scaled(self, angle: float, time: float) -> Takeover:
        """The same in other units: so many of them in a position, and in a unit of the clock."""
        ways = (self.way * angle, self.residual * angle)
        times = (self.brake, self.wait, self.duration, self.end)
        return Takeover(*ways, *(one * time for one in times))


@dataclass(frozen=True, slots=True)
class Arithmetic:
    """Where a search and a board's integers differ."""

    quotient: Callable[[Number, Number], Number]
    """A duration in units of the clock."""
    part: Callable[[Number, int], Number]
    """A way divided by a number."""
    least_time: Callable[[int, Number, int], Number]
    """How long a distance takes at least under an acceleration limit, for a law's Ca."""
    choose: Callable[[Number, Number, Number], Number]
    """The second where the first is true, else the third."""
    greatest: Callable[..., Number]
    slack: int
    """Positions by which a part may seem nearer to the end of its travel than it is."""


def take_over(
    position: Number,
    speed: Number,
    target: Number,
    asked: Number,
    law: LawFigures,
    limits: ServoLimits,
    by: Arithmetic,
) -> Takeover:
    """Start a move to `target` over `asked` units of the clock, from a part that may be in motion.

    The brake's acceleration is the limit, and its way ends within the travel. A target ahead of
    where it ends is approached while the brake dies; another one after it.
    """
    residual, brake = brake_from(position, speed, limits, by)
    way = target - (position + residual)
    distance = abs(way)
    by_speed = by.quotient(law.cv * distance * 5, limits.speed_deg_s << ANGLE_BITS + 3)
    by_acceleration = by.least_time(limits.acceleration_deg_s2, distance, law.ca)

    far = distance >= 1 << AHEAD_BITS
    ahead = (brake > 0) & (way * speed > 0) & far & (law.overlap > 0)
    by_sum = by.quotient(by_speed * OVERLAP_ONE, max(law.overlap, 1))
    rise = by.quotient(brake * SHARE_ONE, law.peak) + (law.peak != PEAK_MIDDLE)
    swelling = by.greatest(asked, by_acceleration, by_sum, rise)
    following = by.greatest(asked - brake, by_acceleration, by_speed, SHORTEST_MOTION_CLOCK)

    wait = by.choose(ahead, 0, brake)
    duration = by.choose(ahead, swelling, following)
    return Takeover(way, residual, brake, wait, duration, wait + duration)


def brake_from(
    position: Number, speed: Number, limits: ServoLimits, by: Arithmetic
) -> tuple[Number, Number]:
    """The brake's way, in the direction of `speed`, and its duration."""
    pace, down = abs(speed), speed < 0
    brake = by.quotient(pace * 625, 8 * limits.acceleration_deg_s2)
    reach = by.part(pace * brake, 512)
    room = by.greatest(by.choose(down, position - limits.low, limits.high - position), 0)
    short = reach > room + by.slack
    reach = by.choose(short, room, reach)
    brake = by.choose(short, by.quotient(512 * reach, by.choose(short, pace, 1)), brake)
    reach = by.choose(brake > 0, reach, 0)
    return by.choose(down, -reach, reach), brake


def least_time(limit: int, distance: int, ca: int) -> int:
    """The least time by an acceleration limit, in the integers of TABLE.md.

    The root of Ca distance 625 / (128 limit), in the products of 32 bits that a small chip has:
    what they are divided is multiplied by as many fours before as go in.
    """
    distance, fours = _filled(distance)
    share, more = _filled(625 * distance // (2048 * limit))
    return (isqrt((ca * share >> 24) << 28) >> (fours + more)) + 1


def _filled(value: int) -> tuple[int, int]:
    fours = min(15, (32 - value.bit_length()) // 2)
    return value << 2 * fours, fours


# -- the kinds of numbers -------------------------------------------------------------------------


def _chosen(condition: bool, one: Number, other: Number) -> Number:
    return one if condition else other


def _each_quotient(one: Number, other: Number) -> Number:
    """Not rounded, but what is shorter than a unit of the clock is nothing, as on a board."""
    return np.where(one < other, 0.0, one / other)


INTEGERS: Final = Arithmetic(floordiv, floordiv, least_time, _chosen, max, 1 << BRAKE_SLACK_BITS)
"""One motion as a board reckons it."""

REAL_ARRAYS: Final = Arithmetic(
    _each_quotient,
    truediv,
    lambda limit, distance, ca: np.sqrt(ca * distance * 625.0 / (128.0 * limit)),
    np.where,
    lambda *values: reduce(np.maximum, values),
    0,
)
"""Many motions as arrays that go together, with real durations: where a brake of a few units of the
clock were rounded, its acceleration would be a multiple of what the part feels."""
