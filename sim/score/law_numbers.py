"""A law's whole numbers: its parameters and coefficients as every player of a table has them.

TABLE.md 3.1. What plays a table and what rehearses a show both take them, because a duration that a
limit stretches must come out alike.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from math import ceil, floor, inf, isqrt
from typing import NamedTuple

from sim.model import Law
from sim.rulebook import (
    ALPHA_RANGE,
    BETA_RANGE,
    COEFFICIENT_ONE,
    LEAST_OVERLAP,
    OVERLAP_ONE,
    PEAK_MIDDLE,
    PEAK_RANGE,
    SHARE_ONE,
)
from sim.score.laws import coefficients, overlap_factor, ramp_shares


class LawNumbers(NamedTuple):
    """What the rule of takeover asks of a law."""

    cv: int
    """Peak speed for stroke 1 and duration 1, Q12, rounded up."""
    ca: int
    """Peak acceleration, Q12, rounded up; 0 for `uniform`."""
    overlap: int
    """Overlap factor, Q8, rounded down; 0 where a move may not overlap a brake."""
    peak: int = PEAK_MIDDLE
    """Share of the duration at which it is fastest, Q16."""


@lru_cache(maxsize=256)
def law_numbers(law: Law) -> LawNumbers:
    """The numbers of a law."""
    even = _even_numbers(replace(law, peak=0.5))
    peak = _peak(law)
    if peak == PEAK_MIDDLE:
        return even
    return even._replace(ca=even.ca * PEAK_MIDDLE // min(peak, SHARE_ONE - peak) + 1, peak=peak)


def _even_numbers(law: Law) -> LawNumbers:
    held = table_law(law)
    if law.name in ("parabolic", "trapezoid", "double-S"):
        alpha, beta = (round(share * SHARE_ONE) for share in ramp_shares(held))
        cruise, swell = (-(-(1 << 32) // (SHARE_ONE - share)) for share in (alpha, beta))
        one_more = beta > 0 or alpha < SHARE_ONE // 2
        bend = isqrt((1 << 32) - 2 * beta * (SHARE_ONE - beta))
        return LawNumbers(
            (cruise + 15) >> 4,
            cruise * swell // (16 * alpha) + one_more,
            _usable((alpha * (SHARE_ONE + bend)) >> 24),
        )
    cv, ca, _ = coefficients(held)
    # a grain under the rounding's own error keeps exact values from going up a whole step
    cv, ca = cv * COEFFICIENT_ONE - 1e-9, 0.0 if ca == inf else ca * COEFFICIENT_ONE * (1 - 1e-14)
    return LawNumbers(ceil(cv), ceil(ca), _usable(floor(OVERLAP_ONE * overlap_factor(held) + 1e-6)))


def table_law(law: Law) -> Law:
    """The law with its parameters as a table holds them."""
    alpha, peak = _share(law.alpha, ALPHA_RANGE), _peak(law) / SHARE_ONE
    if law.name == "trapezoid":
        return Law(law.name, alpha, peak=peak)
    if law.name == "double-S":
        return Law(law.name, alpha, _share(law.beta, BETA_RANGE), peak)
    return replace(law, peak=peak)


def _peak(law: Law) -> int:
    if law.name == "uniform":
        return PEAK_MIDDLE
    return round(SHARE_ONE * _share(law.peak, PEAK_RANGE))


def _share(share: float, limits: tuple[int, int]) -> float:
    return min(max(round(share * SHARE_ONE), limits[0]), limits[1]) / SHARE_ONE


def _usable(overlap: int) -> int:
    return min(OVERLAP_ONE, overlap) if overlap >= LEAST_OVERLAP else 0
