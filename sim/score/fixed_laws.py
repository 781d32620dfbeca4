"""Motion laws in the integers that a board moves by: TABLE.md, section 3.1.

`x` and `s` are Q16 (0 to 65536), slopes are Q14, `Qn` meaning n fractional bits. Every player of a
table repeats this arithmetic to the bit, and a rehearsal plans with it: what a board decides must
come out alike. Only plots and samples evaluate the closed forms (`sim.score.laws`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Final

from sim.model import Law, LawName
from sim.rulebook import PEAK_MIDDLE, SHARE_ONE, SLOPE_ONE
from sim.score.law_numbers import law_numbers, table_law
from sim.score.laws import ramp_shares

ONE: Final = SHARE_ONE
HALF: Final = SHARE_ONE // 2

LIST_STEPS: Final = 24
"""Steps of a list over the first half of the duration."""

# fmt: off
LAW_LISTS: Final[Mapping[LawName, tuple[int, ...]]] = MappingProxyType(
    {
        "harmonic": (
            2250, 2238, 2232, 2202, 2166, 2130, 2076, 2016, 1944, 1866, 1788, 1686, 1590, 1482,
            1368, 1248, 1122, 996, 858, 720, 582, 438, 294, 150, 0,
        ),
        "cycloidal": (
            0, 372, 744, 1092, 1434, 1746, 2022, 2274, 2478, 2646, 2766, 2838, 2862, 2844, 2766,
            2646, 2478, 2274, 2022, 1746, 1428, 1098, 738, 378, 0,
        ),
        "3-4-5": (
            0, 540, 1008, 1404, 1746, 2022, 2244, 2412, 2532, 2604, 2628, 2616, 2568, 2472, 2352,
            2202, 2028, 1824, 1596, 1362, 1110, 840, 564, 288, 0,
        ),
        "4-5-6-7": (
            0, 54, 276, 570, 924, 1320, 1716, 2100, 2466, 2778, 3036, 3234, 3372, 3420, 3408, 3312,
            3150, 2922, 2634, 2280, 1884, 1452, 984, 492, 0,
        ),
        "modified sine": (
            0, 654, 1266, 1788, 2190, 2448, 2526, 2502, 2484, 2430, 2364, 2280, 2184, 2058, 1932,
            1782, 1614, 1446, 1260, 1062, 858, 654, 438, 222, 0,
        ),
        "modified trapezoid": (
            0, 582, 1116, 1584, 1932, 2166, 2232, 2220, 2226, 2226, 2226, 2220, 2226, 2226, 2226,
            2226, 2220, 2226, 2232, 2160, 1938, 1584, 1116, 582, 0,
        ),
    }
)
# fmt: on
"""Gains of speed at x = 0, 1/48 .. 24/48: from step to step, way in 2^-20; other laws are computed.

Between them the acceleration is a straight line, so that speed and position are smooth.
`firmware_gen.build.fit_laws` fits them to the closed forms; that is too slow to do at each start.
"""

_RAMPED: Final = ("parabolic", "trapezoid", "double-S")
_SIXTH: Final = 10923
_THIRD: Final = 21846


@dataclass(frozen=True, slots=True)
class FixedLaw:
    """A law as the player uses it; `alpha` and `beta` are Q16 and 0 where the law has none."""

    name: LawName
    alpha: int
    beta: int
    cv: int
    """Peak speed for stroke 1 and duration 1, Q12, rounded up."""
    ca: int
    """Peak acceleration, Q12, rounded up; 0 for `uniform`."""
    overlap: int
    """Overlap factor, Q8, rounded down; 0 where the move may not overlap a brake."""
    peak: int = PEAK_MIDDLE
    """Share of the duration at which it is fastest, Q16."""

    def shape(self, x: int) -> tuple[int, int]:
        """Position (Q16) and slope (Q14) at a progress `x`."""
        if self.name == "uniform":
            return x, SLOPE_ONE
        peak = self.peak
        if x > peak:
            s, slope = self._up_to_peak(ONE - x, ONE - peak)
            return ONE - s, slope
        return self._up_to_peak(x, peak)

    def position(self, x: int) -> int:
        """Position alone (Q16)."""
        return x if self.name == "uniform" else self.shape(x)[0]

    def _up_to_peak(self, x: int, peak: int) -> tuple[int, int]:
        """At `x` of a half that takes `peak` of the duration and of the stroke."""
        if peak == HALF:
            return self._first_half(x)
        s, slope = self._first_half(((x << 16) // peak + 1) >> 1)
        return (s * peak) >> 15, slope

    def _first_half(self, x: int) -> tuple[int, int]:
        gains = LAW_LISTS.get(self.name)
        if gains is not None:
            return _listed_shape(x, gains)
        return _ramp_shape(x, self.alpha, self.beta)


@lru_cache(maxsize=256)
def fixed_law(law: Law) -> FixedLaw:
    """The law with its parameters as a table holds them, and its coefficients."""
    shares = ramp_shares(table_law(law)) if law.name in _RAMPED else (0.0, 0.0)
    alpha, beta = (round(ONE * share) for share in shares)
    return FixedLaw(law.name, alpha, beta, *law_numbers(law))


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
