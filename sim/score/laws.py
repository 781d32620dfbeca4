"""Motion laws: how a part travels from rest to rest.

Every law is normalised: the stroke is 1 and the duration is 1. With a stroke h and a duration T,
position is `h s`, velocity `h v / T`, acceleration `h a / T**2` and jerk `h j / T**3`. The laws
of the handbooks are symmetric, s(1 - x) = 1 - s(x), so the piecewise ones are written for the first
half alone. A law whose peak of speed lies elsewhere (`Law.peak`) has the same two halves: the first
takes that share of the duration and of the stroke, so the speed where they meet is one.

The forms are those of the cam handbooks (VDI 2143; Norton, Cam Design; Rothbart, Cam Design
Handbook); the double-S is the jerk-limited profile of Biagiotti and Melchiorri, section 3.4.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, partial
from math import cbrt, inf, pi, sqrt
from typing import Final, NamedTuple, TypeAlias, get_args

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import Array
from sim.model import Law, LawName

_Form: TypeAlias = Callable[[Array, int], list[Array]]
"""Position and derivatives up to an order, at shares from 0 to 1 (or of the first half)."""

LAW_NAMES: Final[tuple[LawName, ...]] = get_args(LawName)


class Shape(NamedTuple):
    """Normalised position, velocity, acceleration and jerk, arrays of one shape.

    At a jump of acceleration or jerk the value of the later side stands, at x = 1 that of the
    earlier. Infinite spikes (of acceleration for `uniform`, of jerk where the acceleration jumps)
    are left out: they last no time. `coefficients` names them.
    """

    s: Array
    v: Array
    a: Array
    j: Array


class Coefficients(NamedTuple):
    """Peaks of velocity, acceleration and jerk: v = cv h/T, a = ca h/T**2, j = cj h/T**3."""

    cv: float
    ca: float
    cj: float


def shape(law: Law, x: ArrayLike) -> Shape:
    """The law at the shares `x` of its duration; at rest before 0 and after 1.

    Raises ValueError where `alpha` or `beta` is outside its range.
    """
    check(law)
    share = np.asarray(x, dtype=np.float64)
    resting = (share < 0.0) | (share > 1.0)
    if not resting.any():
        return Shape(*forms(law, share, 3))
    s, *rates = forms(law, np.clip(share, 0.0, 1.0), 3)
    return Shape(s, *(np.where(resting, 0.0, rate) for rate in rates))


def position(law: Law, x: ArrayLike) -> Array:
    """The normalised position alone; 0 before 0 and 1 after 1."""
    check(law)
    return forms(law, np.clip(np.asarray(x, dtype=np.float64), 0.0, 1.0), 0)[0]


def forms(law: Law, x: Array, order: int) -> list[Array]:
    """Position and its derivatives up to `order` (at most 3) at shares from 0 to 1, unchecked."""
    if law.peak == 0.5 or law.name == "uniform":
        return _even_forms(law, x, order)
    rising = x < law.peak
    stretch = 2.0 * np.where(rising, law.peak, 1.0 - law.peak)
    s, *rates = _even_forms(law, np.where(rising, x / stretch, 1.0 - (1.0 - x) / stretch), order)
    found = [np.where(rising, stretch * s, 1.0 - stretch * (1.0 - s))]
    return found + [rate / stretch**n for n, rate in enumerate(rates)]


def at_share(law: Law, even: ArrayLike) -> Array:
    """Where in the duration lies what the same law with its peak in the middle has at `even`."""
    share = np.asarray(even, dtype=np.float64)
    return np.where(
        share <= 0.5, 2.0 * law.peak * share, 1.0 - 2.0 * (1.0 - law.peak) * (1.0 - share)
    )


def _even_forms(law: Law, x: Array, order: int) -> list[Array]:
    if law.name in _WHOLE:
        return _WHOLE[law.name](x, order)
    beyond = x - 0.5
    found = _first_half(law)(0.5 - np.abs(beyond), order)
    found[0] = 0.5 + np.copysign(0.5 - found[0], beyond)
    if order > 1:
        found[2] = np.copysign(found[2], -beyond)
    return found


def check(law: Law) -> None:
    """Raise ValueError unless the law's parameters are in their ranges (see `sim.model.Law`)."""
    if law.name in ("trapezoid", "double-S") and not 0.0 < law.alpha <= 0.5:
        raise ValueError(f"alpha of {law.name} is {law.alpha}, but must be over 0 and at most 1/2")
    if law.name == "double-S" and not 0.0 < law.beta <= 0.5:
        raise ValueError(f"beta of double-S is {law.beta}, but must be over 0 and at most 1/2")
    if not 0.0 < law.peak < 1.0:
        raise ValueError(f"the peak of {law.name} is at {law.peak}, but must lie between 0 and 1")


def coefficients(law: Law) -> Coefficients:
    """The handbook coefficients, exact; `inf` where a peak is infinite."""
    check(law)
    even = _even_coefficients(law)
    steeper = 1.0 / (2.0 * min(law.peak, 1.0 - law.peak))
    return Coefficients(even.cv, even.ca * steeper, even.cj * steeper**2)


def _even_coefficients(law: Law) -> Coefficients:
    if law.name in _COEFFICIENTS:
        return _COEFFICIENTS[law.name]
    cv = 1.0 / (1.0 - law.alpha)
    if law.name == "trapezoid":
        return Coefficients(cv, cv / law.alpha, inf)
    ca = cv / (law.alpha * (1.0 - law.beta))
    return Coefficients(cv, ca, ca / (law.alpha * law.beta))


@lru_cache(maxsize=256)
def overlap_factor(law: Law) -> float:
    """How much of the speed limit a move may use while a brake from the limit still dies away.

    The least of y / g(y) for 0 < y <= 1, where g(y) is the velocity at the share y of the time up
    to its peak, as a share of that peak; never over 1; 0 for `uniform`, whose velocity starts with
    a jump. With K the factor, (1 - y) + K g(y) <= 1 throughout, which is what keeps the sum of a
    linear brake and a swelling move under the limit.
    """
    if law.name == "uniform":
        return 0.0
    peak = coefficients(law).cv
    low, high = 0.0, 1.0
    least = 1.0
    for _ in range(6):
        y = np.linspace(low, high, 1002)[1:]
        ratio = y * peak / shape(law, y * law.peak).v
        at = int(np.argmin(ratio))
        least = min(least, float(ratio[at]))
        step = float(y[1] - y[0])
        low, high = max(0.0, float(y[at]) - step), min(1.0, float(y[at]) + step)
    return least


def double_s(stroke: float, v_max: float, a_max: float, j_max: float) -> tuple[float, Law]:
    """The fastest rest-to-rest double-S over `stroke` within the three limits.

    Any unit of length, with seconds. Returns the duration in seconds and the law whose `alpha` and
    `beta` give that profile. Where neither velocity nor acceleration reaches its limit, the move
    is all jerk. Raises ValueError for a limit that is not positive.
    """
    for name, limit in (("v_max", v_max), ("a_max", a_max), ("j_max", j_max)):
        if not limit > 0.0:
            raise ValueError(f"{name} is {limit}, but must be over 0")
    way = abs(stroke)
    if way == 0.0:
        return 0.0, Law("double-S", 0.5, 0.5)
    rise = min(a_max / j_max, sqrt(v_max / j_max))
    ramp = rise + max(v_max / a_max, rise)
    if way / v_max < ramp:
        rise = min(a_max / j_max, cbrt(way / (2.0 * j_max)))
        half = a_max / (2.0 * j_max)
        longer = half + sqrt(half * half + way / a_max)
        ramp = longer if way >= 2.0 * a_max**3 / j_max**2 else 2.0 * rise
        duration = 2.0 * ramp
    else:
        duration = ramp + way / v_max
    return duration, Law("double-S", min(0.5, ramp / duration), min(0.5, rise / ramp))


# -- laws written over the whole of 0 to 1 --------------------------------------------------------


def _uniform(x: Array, order: int) -> list[Array]:
    rates = [np.ones_like(x), np.zeros_like(x), np.zeros_like(x)]
    return [x.copy(), *rates[:order]]


def _harmonic(x: Array, order: int) -> list[Array]:
    sine, cosine = np.sin(pi / 2 * x), np.cos(pi / 2 * x)
    found = [sine * sine]
    if order > 0:
        found += [pi * sine * cosine]
    if order > 1:
        found += [pi**2 / 2 * (cosine - sine) * (cosine + sine)]
    if order > 2:
        found += [-(pi**3) * sine * cosine]
    return found


def _cycloidal(x: Array, order: int) -> list[Array]:
    sine = np.sin(2.0 * pi * x)
    found = [x - sine / (2.0 * pi)]
    if order > 0:
        cosine = np.cos(2.0 * pi * x)
        found += [1.0 - cosine]
    if order > 1:
        found += [2.0 * pi * sine]
    if order > 2:
        found += [4.0 * pi**2 * cosine]
    return found


def _polynomial_345(x: Array, order: int) -> list[Array]:
    found = [x * x * x * (10.0 + x * (6.0 * x - 15.0))]
    if order > 0:
        both = x - x * x
        found += [30.0 * both * both]
    if order > 1:
        found += [both * (60.0 - 120.0 * x)]
    if order > 2:
        found += [60.0 - 360.0 * both]
    return found


def _polynomial_4567(x: Array, order: int) -> list[Array]:
    square = x * x
    found = [square * square * (35.0 + x * (x * (70.0 - 20.0 * x) - 84.0))]
    if order > 0:
        both = x - square
        twice = both * both
        found += [140.0 * both * twice]
    if order > 1:
        found += [twice * (420.0 - 840.0 * x)]
    if order > 2:
        found += [840.0 * both * (1.0 - 5.0 * both)]
    return found


# -- laws written over the first half -------------------------------------------------------------


def _modified_sine(x: Array, order: int) -> list[Array]:
    early = x < 0.125
    turn = np.where(early, 4.0 * pi * x, 4.0 * pi / 3.0 * x + pi / 3.0)
    sine = np.sin(turn)
    scale = 1.0 / (4.0 + pi)
    found = [scale * (pi * x + np.where(early, -0.25 * sine, 2.0 - 2.25 * sine))]
    if order > 0:
        cosine = np.cos(turn)
        found += [scale * pi * (1.0 - np.where(early, cosine, 3.0 * cosine))]
    if order > 1:
        found += [scale * 4.0 * pi**2 * sine]
    if order > 2:
        found += [scale * 16.0 * pi**3 * np.where(early, cosine, cosine / 3.0)]
    return found


def _modified_trapezoid(x: Array, order: int) -> list[Array]:
    ca = 8.0 * pi / (2.0 + pi)
    v1 = 1.0 / (4.0 * pi)
    s1 = 1.0 / (32.0 * pi) - 1.0 / (16.0 * pi**2)
    v2, s2 = v1 + 0.25, s1 + v1 * 0.25 + 0.03125
    early, late = x < 0.125, x >= 0.375
    turn = 4.0 * pi * x - np.where(late, 1.5 * pi, 0.0)
    sine, cosine = np.sin(turn), np.cos(turn)

    def either(at_first: Array, between: Array | float, at_last: Array) -> Array:
        return ca * np.where(early, at_first, np.where(late, at_last, between))

    flat, last = x - 0.125, x - 0.375
    found = [
        either(
            x * v1 - sine / (16.0 * pi**2),
            s1 + flat * (v1 + 0.5 * flat),
            s2 + v2 * last + (1.0 - cosine) / (16.0 * pi**2),
        )
    ]
    if order > 0:
        found += [either((1.0 - cosine) * v1, v1 + flat, v2 + sine * v1)]
    if order > 1:
        found += [either(sine, 1.0, cosine)]
    if order > 2:
        found += [4.0 * pi * either(cosine, 0.0, -sine)]
    return found


def _trapezoid(x: Array, order: int, alpha: float) -> list[Array]:
    cv = 1.0 / (1.0 - alpha)
    ca = cv / alpha
    ramp = np.minimum(x, alpha)
    found = [ca / 2.0 * ramp * ramp + cv * (x - ramp)]
    if order > 0:
        found += [ca * ramp]
    if order > 1:
        found += [np.where(x < alpha, ca, 0.0)]
    if order > 2:
        found += [np.zeros_like(x)]
    return found


def _double_s(x: Array, order: int, alpha: float, beta: float) -> list[Array]:
    cv = 1.0 / (1.0 - alpha)
    ca = cv / (alpha * (1.0 - beta))
    rise = alpha * beta
    cj = ca / rise
    ramp = np.minimum(x, alpha)
    left = alpha - ramp
    rising, easing = ramp < rise, left < rise

    def either(up: Array | float, steady: Array | float, down: Array | float) -> Array:
        return np.where(rising, up, np.where(easing, down, steady))

    up, steady = cj / 6.0 * ramp * ramp * ramp, ca * (0.5 * ramp * (ramp - rise) + rise**2 / 6.0)
    down = cv * (ramp - alpha / 2.0) + cj / 6.0 * left * left * left
    found = [either(up, steady, down) + cv * (x - ramp)]
    if order > 0:
        down = cv - cj / 2.0 * left * left
        found += [either(cj / 2.0 * ramp * ramp, ca * (ramp - rise / 2.0), down)]
    if order > 1:
        found += [np.asarray(np.minimum(cj * np.minimum(ramp, left), ca))]
    if order > 2:
        found += [np.where(rising, cj, np.where(easing & (x < alpha), -cj, 0.0))]
    return found


def _first_half(law: Law) -> _Form:
    if law.name in _HALF:
        return _HALF[law.name]
    alpha, beta = ramp_shares(law)
    if beta == 0.0:
        return partial(_trapezoid, alpha=alpha)
    return partial(_double_s, alpha=alpha, beta=beta)


def ramp_shares(law: Law) -> tuple[float, float]:
    """`alpha` and `beta` of the family parabolic, trapezoid, double-S."""
    if law.name == "parabolic":
        return 0.5, 0.0
    return law.alpha, law.beta if law.name == "double-S" else 0.0


_WHOLE: Final[dict[LawName, _Form]] = {
    "uniform": _uniform,
    "harmonic": _harmonic,
    "cycloidal": _cycloidal,
    "3-4-5": _polynomial_345,
    "4-5-6-7": _polynomial_4567,
}

_HALF: Final[dict[LawName, _Form]] = {
    "modified sine": _modified_sine,
    "modified trapezoid": _modified_trapezoid,
}

_COEFFICIENTS: Final[dict[LawName, Coefficients]] = {
    "uniform": Coefficients(1.0, inf, inf),
    "parabolic": Coefficients(2.0, 4.0, inf),
    "harmonic": Coefficients(pi / 2, pi**2 / 2, inf),
    "cycloidal": Coefficients(2.0, 2.0 * pi, 4.0 * pi**2),
    "3-4-5": Coefficients(15.0 / 8.0, 10.0 / sqrt(3.0), 60.0),
    "4-5-6-7": Coefficients(35.0 / 16.0, 84.0 * sqrt(5.0) / 25.0, 52.5),
    "modified sine": Coefficients(
        4.0 * pi / (4.0 + pi), 4.0 * pi**2 / (4.0 + pi), 16.0 * pi**3 / (4.0 + pi)
    ),
    "modified trapezoid": Coefficients(2.0, 8.0 * pi / (2.0 + pi), 32.0 * pi**2 / (2.0 + pi)),
}
