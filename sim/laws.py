"""Motion laws: how a part travels from rest to rest.

Every law is normalised: the stroke is 1 and the duration is 1. With a stroke h and a duration T,
position is `h s`, velocity `h v / T`, acceleration `h a / T**2` and jerk `h j / T**3`. All laws
are symmetric, s(1 - x) = 1 - s(x), so the piecewise ones are written for the first half alone.

The forms are those of the cam handbooks (VDI 2143; Norton, Cam Design; Rothbart, Cam Design
Handbook); the double-S is the jerk-limited profile of Biagiotti and Melchiorri, section 3.4.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import cbrt, inf, pi, sqrt
from typing import Final, NamedTuple, TypeAlias, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.model import Law, LawName

Array: TypeAlias = NDArray[np.float64]

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
    inside = np.clip(share, 0.0, 1.0)
    if law.name in _WHOLE:
        whole = _WHOLE[law.name](inside)
    else:
        late = inside > 0.5
        s, v, a, j = _first_half(law)(np.where(late, 1.0 - inside, inside))
        whole = Shape(np.where(late, 1.0 - s, s), v, np.where(late, -a, a), j)
    resting = (share < 0.0) | (share > 1.0)
    if not resting.any():
        return whole
    s, v, a, j = whole
    return Shape(s, *(np.where(resting, 0.0, part) for part in (v, a, j)))


def position(law: Law, x: ArrayLike) -> Array:
    """The normalised position alone."""
    return shape(law, x).s


def check(law: Law) -> None:
    """Raise ValueError unless the law's parameters are in their ranges (see `sim.model.Law`)."""
    if law.name in ("trapezoid", "double-S") and not 0.0 < law.alpha <= 0.5:
        raise ValueError(f"alpha of {law.name} is {law.alpha}, but must be over 0 and at most 1/2")
    if law.name == "double-S" and not 0.0 < law.beta <= 0.5:
        raise ValueError(f"beta of double-S is {law.beta}, but must be over 0 and at most 1/2")


def coefficients(law: Law) -> Coefficients:
    """The handbook coefficients, exact; `inf` where a peak is infinite."""
    check(law)
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

    The least of y / g(y) for 0 < y <= 1, where g(y) is the velocity at half-way share y = 2x as a
    share of its peak; never over 1; 0 for `uniform`, whose velocity starts with a jump. With K the
    factor, (1 - y) + K g(y) <= 1 throughout, which is what keeps the sum of a linear brake and a
    swelling move under the limit.
    """
    if law.name == "uniform":
        return 0.0
    peak = coefficients(law).cv
    low, high = 0.0, 1.0
    least = 1.0
    for _ in range(6):
        y = np.linspace(low, high, 1002)[1:]
        ratio = y * peak / shape(law, y / 2.0).v
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


def _uniform(x: Array) -> Shape:
    zero = np.zeros_like(x)
    return Shape(x, np.ones_like(x), zero, zero)


def _harmonic(x: Array) -> Shape:
    sine, cosine = np.sin(pi * x), np.cos(pi * x)
    return Shape(np.sin(pi / 2 * x) ** 2, pi / 2 * sine, pi**2 / 2 * cosine, -(pi**3) / 2 * sine)


def _polynomial_345(x: Array) -> Shape:
    rest = 1.0 - x
    return Shape(
        x**3 * (10.0 + x * (6.0 * x - 15.0)),
        30.0 * (x * rest) ** 2,
        60.0 * x * rest * (rest - x),
        60.0 + 360.0 * x * (x - 1.0),
    )


def _polynomial_4567(x: Array) -> Shape:
    both = x * (1.0 - x)
    turn = 1.0 - 2.0 * x
    return Shape(
        x**4 * (35.0 + x * (x * (70.0 - 20.0 * x) - 84.0)),
        140.0 * both**3,
        420.0 * both**2 * turn,
        840.0 * both * (1.0 - 5.0 * both),
    )


# -- laws written over the first half -------------------------------------------------------------


def _cycloidal(x: Array) -> Shape:
    turn = 2.0 * pi * x
    sine, cosine = np.sin(turn), np.cos(turn)
    # the difference of two nearly equal numbers near 0 is harmless: its error stays under 1e-17
    return Shape(x - sine / (2.0 * pi), 1.0 - cosine, 2.0 * pi * sine, 4.0 * pi**2 * cosine)


def _modified_sine(x: Array) -> Shape:
    early = x < 0.125
    turn = np.where(early, 4.0 * pi * x, 4.0 * pi / 3.0 * x + pi / 3.0)
    sine, cosine = np.sin(turn), np.cos(turn)
    scale = 1.0 / (4.0 + pi)
    return Shape(
        scale * (pi * x + np.where(early, -0.25 * sine, 2.0 - 2.25 * sine)),
        scale * pi * (1.0 - np.where(early, 1.0, 3.0) * cosine),
        scale * 4.0 * pi**2 * sine,
        scale * 16.0 * pi**3 * np.where(early, 1.0, 1.0 / 3.0) * cosine,
    )


def _modified_trapezoid(x: Array) -> Shape:
    ca = 8.0 * pi / (2.0 + pi)
    early, late = x < 0.125, x >= 0.375
    sine = np.sin(4.0 * pi * np.where(late, x - 0.375, x))
    cosine = np.cos(4.0 * pi * np.where(late, x - 0.375, x))
    flat, last = x - 0.125, x - 0.375
    v1 = 1.0 / (4.0 * pi)
    s1 = 1.0 / (32.0 * pi) - 1.0 / (16.0 * pi**2)
    v2, s2 = v1 + 0.25, s1 + v1 * 0.25 + 0.03125
    s_late = s2 + v2 * last + (1.0 - cosine) / (16.0 * pi**2)
    s_early = x / (4.0 * pi) - sine / (16.0 * pi**2)
    s_flat = s1 + flat * (v1 + flat / 2.0)
    v_late = v2 + sine / (4.0 * pi)
    v_early = (1.0 - cosine) / (4.0 * pi)
    return Shape(
        ca * np.where(early, s_early, np.where(late, s_late, s_flat)),
        ca * np.where(early, v_early, np.where(late, v_late, v1 + flat)),
        ca * np.where(early, sine, np.where(late, cosine, 1.0)),
        4.0 * pi * ca * np.where(early, cosine, np.where(late, -sine, 0.0)),
    )


def _ramps(x: Array, alpha: float, beta: float) -> Shape:
    """The double-S; a trapezoid of velocity where `beta` is 0."""
    cv = 1.0 / (1.0 - alpha)
    ca = cv / (alpha * (1.0 - beta))
    rise = alpha * beta
    cj = ca / rise if rise > 0.0 else 0.0
    cruising, rising = x >= alpha, x < rise
    easing = (x >= alpha - rise) & ~cruising
    left = alpha - x
    s = np.where(rising, cj * x**3 / 6.0, ca * (x * (x - rise) / 2.0 + rise**2 / 6.0))
    s = np.where(easing, cv * (x - alpha / 2.0) + cj * left**3 / 6.0, s)
    v = np.where(rising, cj * x**2 / 2.0, ca * (x - rise / 2.0))
    v = np.where(easing, cv - cj * left**2 / 2.0, v)
    a = np.where(rising, cj * x, np.where(easing, cj * left, ca))
    j = np.where(rising, cj, np.where(easing, -cj, 0.0))
    return Shape(
        np.where(cruising, cv * (x - alpha / 2.0), s),
        np.where(cruising, cv, v),
        np.where(cruising, 0.0, a),
        np.where(cruising, 0.0, j),
    )


def _first_half(law: Law) -> Callable[[Array], Shape]:
    if law.name in _HALF:
        return _HALF[law.name]
    alpha, beta = ramp_shares(law)
    return lambda x: _ramps(x, alpha, beta)


def ramp_shares(law: Law) -> tuple[float, float]:
    """`alpha` and `beta` of the family parabolic, trapezoid, double-S."""
    if law.name == "parabolic":
        return 0.5, 0.0
    return law.alpha, law.beta if law.name == "double-S" else 0.0


_WHOLE: Final[dict[LawName, Callable[[Array], Shape]]] = {
    "uniform": _uniform,
    "harmonic": _harmonic,
    "3-4-5": _polynomial_345,
    "4-5-6-7": _polynomial_4567,
}

_HALF: Final[dict[LawName, Callable[[Array], Shape]]] = {
    "cycloidal": _cycloidal,
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
