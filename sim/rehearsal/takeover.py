"""One motion of a servo: a move from wherever the part is, with brake, overlap and stretch.

The rules are those of the table's specification, section 3.2, in ideal arithmetic: shapes come from
the closed forms, angles are real numbers. Only the times are taken in whole 1/256 ms by the
specification's own integers, because what a board decides (when a stretched move ends, and so when
the next begins) must come out alike in both.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import floor, isqrt
from typing import Final, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from sim.model import MINIMUM_JERK, Law
from sim.rulebook import (
    AHEAD_BITS,
    ANGLE_BITS,
    ANGLE_STEPS_PER_DEG,
    CLOCK_PER_MS,
    LEAST_OVERLAP,
    OVERLAP_ONE,
    SHARE_ONE,
)
from sim.score.laws import overlap_factor, ramp_shares, shape
from sim.score.tree import table_coefficients, table_law

Array: TypeAlias = NDArray[np.float64]

TICKS_PER_MS: Final = CLOCK_PER_MS

_PER_DEG: Final = ANGLE_STEPS_PER_DEG << ANGLE_BITS
"""The player's positions in a degree."""

_AHEAD: Final = 1 << AHEAD_BITS
AHEAD_DEG: Final = _AHEAD / _PER_DEG
"""A target nearer to the brake's end than this (0.32 deg) does not lie ahead of it."""


class Limits(NamedTuple):
    """What a table states of a servo's motion."""

    speed_deg_s: int
    acceleration_deg_s2: int
    travel_deg: tuple[float, float]


class State(NamedTuple):
    """Angle in degrees and speed in deg/ms at an instant."""

    angle_deg: float
    speed_deg_ms: float


@dataclass(frozen=True, slots=True)
class Motion:
    """A move as it is carried out: valid from `start_ms` until the next motion starts.

    The part swells to its target by `way_deg`, which begins at `begin_ms` and lasts `duration_ms`;
    at the same time `residual_deg`, where the brake of what went before would have ended, dies
    away over `brake_ms` from `start_ms`. `asked_ms` is the duration the score asked for; a motion
    that had to brake or to keep a limit ends later than `start_ms + asked_ms`.
    """

    start_ms: float
    target_deg: float
    way_deg: float = 0.0
    begin_ms: float = 0.0
    duration_ms: float = 0.0
    law: Law = MINIMUM_JERK
    residual_deg: float = 0.0
    brake_ms: float = 0.0
    end_ms: float = 0.0
    asked_ms: float = 0.0
    cue: str | None = None

    @property
    def stretched_ms(self) -> float:
        """How much later than asked the motion ends."""
        return max(0.0, self.end_ms - self.start_ms - self.asked_ms)


def resting(start_ms: float, angle_deg: float) -> Motion:
    """A part that stands still from `start_ms` on."""
    return Motion(start_ms, angle_deg, begin_ms=start_ms, end_ms=start_ms)


def state(motion: Motion, time_ms: float) -> State:
    """Where a motion is at a time; before its start, where it starts."""
    time_ms = max(time_ms, motion.start_ms)
    if time_ms >= motion.end_ms:
        return State(motion.target_deg, 0.0)
    angle, speed = motion.target_deg - motion.way_deg, 0.0
    since = time_ms - motion.begin_ms
    if since >= motion.duration_ms:
        angle = motion.target_deg
    elif since > 0.0:
        form = shape(motion.law, since / motion.duration_ms)
        angle += motion.way_deg * float(form.s)
        speed = motion.way_deg * float(form.v) / motion.duration_ms
    left = motion.brake_ms - (time_ms - motion.start_ms)
    if left > 0.0:
        share = left / motion.brake_ms
        angle -= motion.residual_deg * share * share
        speed += 2.0 * motion.residual_deg * share / motion.brake_ms
    return State(angle, speed)


def begin(
    at: State, start: int, target_deg: float, asked: int, law: Law, limits: Limits, cue: str | None
) -> Motion:
    """Start a move. `start` and `asked` are in 1/256 ms, as the player's clock counts."""
    residual, brake = _brake(at, limits)
    way = target_deg - (at.angle_deg + residual)
    numbers = table_numbers(law)
    distance = abs(round(way * _PER_DEG))
    slow = ((numbers.cv * distance * 5) // (8 * limits.speed_deg_s)) >> 15
    soft = _ceiling_sqrt((numbers.ca * (distance >> 8) * 1250) // limits.acceleration_deg_s2)
    ahead = way * at.speed_deg_ms > 0.0 and distance >= _AHEAD
    if brake > 0 and ahead and numbers.overlap > 0:
        first = start
        lasts = max(asked, soft, slow * OVERLAP_ONE // numbers.overlap, 2 * brake)
    else:
        first = start + brake
        lasts = max(asked - brake, soft, slow, TICKS_PER_MS)
    return Motion(
        start_ms=start / TICKS_PER_MS,
        target_deg=target_deg,
        way_deg=way,
        begin_ms=first / TICKS_PER_MS,
        duration_ms=lasts / TICKS_PER_MS,
        law=law,
        residual_deg=residual,
        brake_ms=brake / TICKS_PER_MS,
        end_ms=max(first + lasts, start + brake) / TICKS_PER_MS,
        asked_ms=asked / TICKS_PER_MS,
        cue=cue,
    )


def _brake(at: State, limits: Limits) -> tuple[float, int]:
    """How far a part goes on while it brakes at the limit, and for how long (1/256 ms)."""
    speed = abs(at.speed_deg_ms) * _PER_DEG
    brake = floor(speed * 625.0 / (8.0 * limits.acceleration_deg_s2))
    if brake == 0:
        return 0.0, 0
    residual = at.speed_deg_ms * brake / (2.0 * TICKS_PER_MS)
    low, high = limits.travel_deg
    end = at.angle_deg + residual
    if low <= end <= high:
        return residual, brake
    residual = (low if end < low else high) - at.angle_deg
    if residual * at.speed_deg_ms <= 0.0:
        return 0.0, 0
    brake = floor(2.0 * TICKS_PER_MS * residual / at.speed_deg_ms)
    return (residual, brake) if brake else (0.0, 0)


class TableNumbers(NamedTuple):
    """A law's Cv and Ca in 1/4096 and overlap factor in 1/256, as a table's player has them."""

    cv: int
    ca: int
    overlap: int


@lru_cache(maxsize=256)
def table_numbers(law: Law) -> TableNumbers:
    """The integers of the specification, section 3.1."""
    held = table_law(law)
    cv, ca = table_coefficients(law)
    if law.name in ("parabolic", "trapezoid", "double-S"):
        alpha, beta = (round(share * SHARE_ONE) for share in ramp_shares(held))
        bend = isqrt((1 << 32) - 2 * beta * (SHARE_ONE - beta))
        overlap = (alpha * (SHARE_ONE + bend)) >> 24
    else:
        overlap = floor(OVERLAP_ONE * overlap_factor(held) + 1e-6)
    return TableNumbers(cv, ca, min(OVERLAP_ONE, overlap) if overlap >= LEAST_OVERLAP else 0)


def _ceiling_sqrt(value: int) -> int:
    return isqrt(value - 1) + 1 if value > 0 else 0
