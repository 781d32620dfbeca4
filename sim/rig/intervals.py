"""Intervals of reals, as arrays: the least and the greatest that something can be.

Every function gives an interval that holds all that its operands can make (interval arithmetic,
R. E. Moore, 1966, from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from sim.arrays import Array

if TYPE_CHECKING:
    from collections.abc import Iterable

Interval: TypeAlias = "tuple[Array, Array]"
"""The least and the greatest, arrays of one shape."""


def plus(a: Interval, b: Interval) -> Interval:
    """Of a sum."""
    return a[0] + b[0], a[1] + b[1]


def sum_of(row: Iterable[Interval]) -> Interval:
    """Of the sum of several."""
    lows, highs = zip(*row, strict=True)
    return np.asarray(sum(lows)), np.asarray(sum(highs))


def times(a: Interval, factor: float) -> Interval:
    """Of a product with a number."""
    low, high = a[0] * factor, a[1] * factor
    return (low, high) if factor >= 0.0 else (high, low)


def product(a: Interval, b: Interval) -> Interval:
    """Of a product of two that know nothing of one another."""
    ends = [x * y for x in a for y in b]
    return np.minimum.reduce(ends), np.maximum.reduce(ends)


def square(a: Interval) -> Interval:
    """Of a square."""
    ends = a[0] ** 2, a[1] ** 2
    over_zero = (a[0] <= 0.0) & (a[1] >= 0.0)
    return np.where(over_zero, 0.0, np.minimum(*ends)), np.maximum(*ends)


def squares_apart(below: Interval, more: Interval) -> Interval:
    """omega_v**2 - omega_u**2, where omega_u is omega_v and `more`.

    It is -more (2 omega_v + more): linear in omega_v, and in `more` a parabola whose peak,
    omega_v**2, lies at -omega_v.
    """
    ends = [-m * (2.0 * w + m) for w in below for m in more]
    low, high = np.minimum.reduce(ends), np.maximum.reduce(ends)
    for w in below:
        high = np.where((more[0] <= -w) & (-w <= more[1]), np.maximum(high, w**2), high)
    return low, high


def cosine(a: Interval, ahead: float) -> Interval:
    """cos(x + ahead) over an interval of x (rad)."""
    low, high = a[0] + ahead, a[1] + ahead
    ends = np.cos(low), np.cos(high)
    turn = 2.0 * np.pi
    has_peak = np.floor(high / turn) >= np.ceil(low / turn)
    has_dip = np.floor(high / turn - 0.5) >= np.ceil(low / turn - 0.5)
    return (
        np.where(has_dip, -1.0, np.minimum(*ends)),
        np.where(has_peak, 1.0, np.maximum(*ends)),
    )
