"""Motion laws and lightness in the integers of the chip (TABLE.md, sections 3.1 and 3.3).

`x` and `s` are Q16 (0 to 65536), slopes are Q14, `Qn` meaning n fractional bits. The laws' lists
are rounded from the closed forms of `sim`; everything after that is integer arithmetic which every
implementation repeats to the bit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate
from math import floor
from typing import Final

import numpy as np

from sim.model import Law, LawName
from sim.rulebook import (
    ALPHA_RANGE,
    BETA_RANGE,
    LEVEL_BITS,
    LEVEL_MAX,
    SHARE_ONE,
    SLOPE_ONE,
)
from sim.score.law_numbers import law_numbers
from sim.score.laws import shape

ONE: Final = SHARE_ONE
HALF: Final = SHARE_ONE // 2

LAW_IDS: Final[dict[LawName, int]] = {
    "uniform": 0,
    "parabolic": 1,
    "trapezoid": 2,
    "harmonic": 3,
    "cycloidal": 4,
    "3-4-5": 5,
    "4-5-6-7": 6,
    "modified sine": 7,
    "modified trapezoid": 8,
    "double-S": 9,
}
LAWS_BY_ID: Final[dict[int, LawName]] = {number: name for name, number in LAW_IDS.items()}
UNIFORM_ID: Final = LAW_IDS["uniform"]
MINIMUM_JERK_ID: Final = LAW_IDS["3-4-5"]
LISTED: Final = (3, 4, 5, 6, 7, 8)
"""Ids of the laws held as lists of numbers; the others are computed."""

LIST_STEPS: Final = 24
"""Steps of a list over the first half of the duration."""
LIST_GRAIN: Final = 6
"""Gains of a list are multiples of it: what they change by from one to the next fits in a byte."""
LIST_START_GRAIN: Final = 18
"""The first is a multiple of this."""
_KEPT: Final = 64
_FINE: Final = 32
"""Places in a step at which a list is fitted to its law."""
_SIXTH: Final = 10923
_THIRD: Final = 21846

LEVEL_TOP: Final = LEVEL_MAX << LEVEL_BITS
"""The highest light level, Q8."""

LIGHTNESS_GROWTH: Final = 6780
CUBE_START: Final = 4520
CUBE_OFFSET: Final = 9039
"""CIE 15: Y = ((L* + 16) / 116)^3 above L* 8; chosen so that duties are nearest (2.6 of 65535)."""


@dataclass(frozen=True, slots=True)
class FixedLaw:
    """A law as the player uses it; `alpha` and `beta` are Q16 and 0 where the law has none."""

    law_id: int
    alpha: int
    beta: int
    cv: int
    """Peak speed for stroke 1 and duration 1, Q12, rounded up."""
    ca: int
    """Peak acceleration, Q12, rounded up; 0 for `uniform`."""
    overlap: int
    """Overlap factor, Q8, rounded down; 0 where the move may not overlap a brake."""

    def shape(self, x: int) -> tuple[int, int]:
        """Position (Q16) and slope (Q14) at a progress `x`."""
        if self.law_id == UNIFORM_ID:
            return x, SLOPE_ONE
        if x > HALF:
            s, slope = self._first_half(ONE - x)
            return ONE - s, slope
        return self._first_half(x)

    def position(self, x: int) -> int:
        """Position alone (Q16)."""
        return x if self.law_id == UNIFORM_ID else self.shape(x)[0]

    def _first_half(self, x: int) -> tuple[int, int]:
        if self.law_id in LISTED:
            return _listed_shape(x, law_list(self.law_id))
        return _ramp_shape(x, self.alpha, self.beta)


@lru_cache(maxsize=256)
def fixed_law(law_id: int, alpha: int = 0, beta: int = 0) -> FixedLaw:
    """The law with its coefficients. `parabolic` takes no parameters; they follow from its id."""
    name = LAWS_BY_ID[law_id]
    if name not in ("trapezoid", "double-S"):
        alpha = HALF if name == "parabolic" else 0
    if name != "double-S":
        beta = 0
    cv, ca, overlap = law_numbers(Law(name, alpha / ONE, beta / ONE))
    return FixedLaw(law_id, alpha, beta, cv, ca, overlap)


def law_parameters(law: Law) -> tuple[int, int, int]:
    """Id, alpha and beta (Q16) of a law as a table holds it."""
    alpha = beta = 0
    if law.name in ("trapezoid", "double-S"):
        alpha = min(max(round(law.alpha * ONE), ALPHA_RANGE[0]), ALPHA_RANGE[1])
    if law.name == "double-S":
        beta = min(max(round(law.beta * ONE), BETA_RANGE[0]), BETA_RANGE[1])
    return LAW_IDS[law.name], alpha, beta


@lru_cache(maxsize=len(LISTED))
def law_list(law_id: int) -> tuple[int, ...]:
    """A listed law's gains of speed at x = 0, 1/48 .. 24/48: from step to step, way in 2^-20.

    Between them the acceleration is a straight line, so that speed and position are smooth. They
    are the least squares' fit to the law's speed, from rest to an even speed at half-way.
    """
    steps = np.arange(LIST_STEPS * _FINE + 1) / _FINE
    speeds = shape(Law(LAWS_BY_ID[law_id]), steps / (2 * LIST_STEPS)).v / (2 * LIST_STEPS)
    # Column k: what a gain of 1 at step k, falling to 0 at both neighbours, adds to the speed.
    u = np.clip(steps[:, None] - np.arange(LIST_STEPS), -1.0, 1.0)
    added = np.where(u < 0.0, (1.0 + u) ** 2, 2.0 - (1.0 - u) ** 2) / 2.0
    added[:, 0] -= 0.5
    gains = np.linalg.lstsq(added, speeds, rcond=None)[0]
    if gains[0] < 0.0:
        gains[0] = 0.0
        gains[1:] = np.linalg.lstsq(added[:, 1:], speeds, rcond=None)[0]
    # Thousandths, so that the choice is the same with every library behind numpy.
    return _grained([round(gain, 3) for gain in (2.0**20 * gains).tolist()])


def _grained(gains: Sequence[float]) -> tuple[int, ...]:
    """Gains as multiples of their grain, then 0.

    Speeds have the least squares of errors, among those with which the way ends half-way.
    """
    first = LIST_START_GRAIN * floor(gains[0] / LIST_START_GRAIN + 0.5)
    more = first - gains[0]
    ends = sum(accumulate(gains)) - (len(gains) / 2.0 + 1.0 / 6.0) * gains[0] - 2.0**19
    # Squares so far, how much speed and way are too much, the gains; the best of them go on.
    chosen: list[tuple[float, float, float, tuple[int, ...]]] = [
        (0.0, more / 2.0, ends - more / 6.0, (first,))
    ]
    for gain in gains[1:]:
        low = LIST_GRAIN * floor(gain / LIST_GRAIN)
        chosen = sorted(
            (squares + (speed + g - gain) ** 2, speed + g - gain, way + speed + g - gain, (*row, g))
            for squares, speed, way, row in chosen
            for g in (low, low + LIST_GRAIN)
        )[:_KEPT]
    return (*min(chosen, key=lambda one: one[0] + 10.0 * one[2] ** 2)[3], 0)


def lightness_of(level: int) -> int:
    """A light level (Q8 of half percents, 0 to 51200) as lightness: L* with 116 as 65535."""
    return level + ((level * LIGHTNESS_GROWTH) >> 16)


def duty_of(lightness: int) -> int:
    """Duty (0 to 65535) of a lightness (0 to 56496): CIE's cube above L* 8, its line below."""
    if lightness < CUBE_START:
        return ((lightness * 33) >> 8) - (lightness >> 11)
    root = lightness + CUBE_OFFSET
    return ((((root * root) >> 16) * root) >> 16) + 2


def channel_byte(duty: int) -> int:
    """Byte of a strip's channel (0 to 255) for a duty."""
    return (duty - (duty >> 8) + 128) >> 8


@lru_cache(maxsize=1)
def channel_bytes() -> bytes:
    """Byte of a strip's channel at every lightness."""
    return bytes(channel_byte(duty_of(n)) for n in range(lightness_of(LEVEL_TOP) + 1))


def progress(elapsed: int, total: int) -> int:
    """Share `elapsed / total` as Q16, both in 1/256 ms, 0 <= elapsed <= total, total > 0.

    To the nearest, but 1 at the end alone. Rounded down, parts would trail behind, and a move that
    takes over would be stretched by that too.
    """
    if elapsed >= total:
        return ONE
    k = max(0, total.bit_length() - 16)
    nearest = (elapsed + (1 << k >> 1)) >> k
    return min(ONE - 1, ((nearest << 17) // (total >> k) + 1) >> 1)


def _listed_shape(x: int, gains: Sequence[int]) -> tuple[int, int]:
    step, t = divmod(2 * LIST_STEPS * x, ONE)
    speed = -(gains[0] >> 1)
    way = -_product(gains[0], _SIXTH)
    for gain in gains[:step]:
        speed += gain
        way += speed
    here, ahead = (*gains, 0)[step : step + 2]
    speed += here - (here >> 1)
    risen = _product(here, t)
    bent = _product(3 * here - risen + _product(ahead, t), t)
    way += _product(speed, t) + _product(here + _product(bent, t), _SIXTH)
    speed += (bent - risen) >> 1
    return (way + 8) >> 4, speed - (speed >> 2)


def _product(a: int, b: int) -> int:
    return (a * b) >> 16


def _ramp_shape(x: int, alpha: int, beta: int) -> tuple[int, int]:
    way, speed = 2 * x - alpha, ONE - 1
    if x < alpha:
        way, speed = _ramp((x << 16) // alpha, beta)
        way = _product(way, alpha)
    return _over_rest(way, alpha) >> 1, _over_rest(speed, alpha) >> 2


def _ramp(u: int, beta: int) -> tuple[int, int]:
    """Twice the way and the speed within the ramp of a double-S, `u` of its duration, all Q16."""
    near = u if u < HALF else ONE - u
    if near < beta:
        bend = _over_rest(_product((near << 16) // beta, near), beta)
        way, speed = _product(_product(bend, near), _THIRD), bend >> 1
    else:
        area = _product(near, near - beta) + _product(_product(beta, beta), _THIRD)
        way, speed = _over_rest(area, beta), _over_rest(near - (beta >> 1), beta)
    return (way, speed) if u < HALF else (2 * u - ONE + way, ONE - 1 - speed)


def _over_rest(value: int, d: int) -> int:
    """`value / (1 - d)`, all Q16."""
    return value + _product(value, (d << 16) // (ONE - d))
