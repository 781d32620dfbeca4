"""Motion laws and lightness in the integers of the chip (TABLE.md, sections 3.1 and 3.3).

`x` and `s` are Q16 (0 to 65536), slopes are Q14, `Qn` meaning n fractional bits. The tables are
rounded from the closed forms of `sim`; everything after that is integer arithmetic which every
implementation repeats to the bit.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import ceil, floor, isqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sim.laws import coefficients, overlap_factor, shape
from sim.light import luminance
from sim.model import Law, LawName
from sim.values import dataclass

ONE: Final = 65536
HALF: Final = 32768

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

LIST_STEPS: Final = 128
"""Steps of a list over the first half of the stroke."""

ALPHA_RANGE: Final = (64, HALF)
"""Of a law in a table, Q16."""
BETA_RANGE: Final = (1, HALF)

LEVEL_TOP: Final = 200 << 8
"""The highest light level."""

AHEAD_BITS: Final = 20
"""A target lies ahead of a brake's end if it is at least 2^20 (0.32 deg, in 0.01 deg Q15) away."""

LEAST_OVERLAP: Final = 128
"""An overlap factor below this (Q8) counts as 0: such a move waits for the brake."""


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
            return x, 16384
        if x > HALF:
            s, slope = self._first_half(ONE - x)
            return ONE - s, slope
        return self._first_half(x)

    def position(self, x: int) -> int:
        """Position alone (Q16)."""
        return x if self.law_id == UNIFORM_ID else self.shape(x)[0]

    def _first_half(self, x: int) -> tuple[int, int]:
        if self.law_id in LISTED:
            positions, slopes = law_lists(self.law_id)
            return _between(positions, x), _between(slopes, x)
        return _ramp_shape(x, self.alpha, self.beta)


@lru_cache(maxsize=256)
def fixed_law(law_id: int, alpha: int = 0, beta: int = 0) -> FixedLaw:
    """The law with its coefficients. `parabolic` takes no parameters; they follow from its id."""
    name = LAWS_BY_ID[law_id]
    if law_id == UNIFORM_ID:
        return FixedLaw(law_id, 0, 0, 4096, 0, 0)
    if law_id in LISTED:
        cv, ca, _ = coefficients(Law(name))
        overlap = floor(256.0 * overlap_factor(Law(name)) + 1e-6)
        return FixedLaw(law_id, 0, 0, ceil(4096.0 * cv), ceil(4096.0 * ca), _usable(overlap))
    if name == "parabolic":
        alpha, beta = HALF, 0
    elif name == "trapezoid":
        beta = 0
    cruise, swell = ONE - alpha, ONE - beta
    cv = -(-(4096 << 16) // cruise)
    ca = -(-(1 << 60) // (cruise * alpha * swell))
    bend = isqrt((1 << 32) - 2 * beta * swell)
    return FixedLaw(law_id, alpha, beta, cv, ca, _usable((alpha * (ONE + bend)) >> 24))


def law_parameters(law: Law) -> tuple[int, int, int]:
    """Id, alpha and beta (Q16) of a law as a table holds it."""
    alpha = beta = 0
    if law.name in ("trapezoid", "double-S"):
        alpha = min(max(round(law.alpha * ONE), ALPHA_RANGE[0]), ALPHA_RANGE[1])
    if law.name == "double-S":
        beta = min(max(round(law.beta * ONE), BETA_RANGE[0]), BETA_RANGE[1])
    return LAW_IDS[law.name], alpha, beta


@lru_cache(maxsize=len(LISTED))
def law_lists(law_id: int) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Positions (Q16) and slopes (Q14) of a listed law at x = 0, 1/256 .. 128/256."""
    form = shape(Law(LAWS_BY_ID[law_id]), np.arange(LIST_STEPS + 1) / (2.0 * LIST_STEPS))
    return _rounded(form.s, 65536.0), _rounded(form.v, 16384.0)


@lru_cache(maxsize=1)
def lightness_list() -> tuple[int, ...]:
    """Duty (u16) at CIE L* of 0, 1 .. 100 percent."""
    return _rounded(luminance(np.arange(101.0)), 65535.0)


def duty_of(level: int) -> int:
    """Duty (0 to 65535) of a light level (Q8 of half percents, 0 to 51200)."""
    duties = lightness_list()
    i, f = level >> 9, level & 511
    low = duties[i]
    return low if f == 0 else low + (((duties[i + 1] - low) * f) >> 9)


@lru_cache(maxsize=1)
def channel_bytes() -> bytes:
    """Byte of a strip's channel at every light level (Q8 of half percents)."""
    level = np.arange(LEVEL_TOP + 1)
    duties = np.asarray((*lightness_list(), 65535))
    low = duties[level >> 9]
    duty = low + (((duties[(level >> 9) + 1] - low) * (level & 511)) >> 9)
    return bytes(((duty * 255 + 32767) >> 16).astype(np.uint8))


def progress(elapsed: int, total: int) -> int:
    """Share `elapsed / total` as Q16, both in 1/256 ms, 0 <= elapsed <= total, total > 0."""
    k = max(0, total.bit_length() - 16)
    return ((elapsed >> k) << 16) // (total >> k)


def ceiling_sqrt(value: int) -> int:
    """The least integer whose square is at least `value`."""
    return isqrt(value - 1) + 1 if value > 0 else 0


def truncated(numerator: int, denominator: int) -> int:
    """Quotient rounded toward zero, as C divides; the denominator is positive."""
    return numerator // denominator if numerator >= 0 else -(-numerator // denominator)


def _between(values: Sequence[int], x: int) -> int:
    i, f = x >> 8, x & 255
    low = values[i]
    return low if f == 0 else low + (((values[i + 1] - low) * f + 128) >> 8)


def _ramp_shape(x: int, alpha: int, beta: int) -> tuple[int, int]:
    v = (1 << 32) // (ONE - alpha)
    if x >= alpha:
        return (v * (2 * x - alpha)) >> 17, v >> 2
    rise, r = _ramp((x << 16) // alpha, beta)
    return (((v * alpha) >> 16) * rise) >> 16, (v * r) >> 18


def _ramp(u: int, beta: int) -> tuple[int, int]:
    """Way and speed within the ramp of a double-S, `u` of its duration, all Q16."""
    if beta == 0:
        return (u * u) >> 17, u
    w = (1 << 32) // (ONE - beta)
    if u < beta:
        q = (u << 16) // beta
        square = (q * u) >> 16
        return (((((square * u) >> 16) * w) >> 16) // 6, (square * w) >> 17)
    if u <= ONE - beta:
        area = (u * u) // 2 - (beta * u) // 2 + (beta * beta) // 6
        return ((area >> 16) * w) >> 16, ((u - beta // 2) * w) >> 16
    left = ONE - u
    square = (((left << 16) // beta) * left) >> 16
    return (
        u - HALF + ((((square * left) >> 16) * w) >> 16) // 6,
        ONE - ((square * w) >> 17),
    )


def _usable(overlap: int) -> int:
    return min(256, overlap) if overlap >= LEAST_OVERLAP else 0


def _rounded(values: NDArray[np.float64], scale: float) -> tuple[int, ...]:
    """Nearest integers of `scale * values`, halves up."""
    return tuple(np.floor(scale * values + 0.5).astype(int).tolist())
