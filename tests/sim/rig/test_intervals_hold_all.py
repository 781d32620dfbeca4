"""Intervals hold all that can be made of what they hold, and no more, against very many points.

Interval arithmetic: R. E. Moore, Interval Analysis, 1966, from memory.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sim.arrays import Array
from sim.rig.intervals import (
    Interval,
    cosine,
    plus,
    product,
    square,
    squares_apart,
    sum_of,
    times,
)

POINTS = 401
numbers = st.integers(-40, 40).map(lambda n: n / 8)
ends = st.tuples(numbers, numbers).map(lambda pair: (min(pair), max(pair)))


def interval(pair: tuple[float, float]) -> Interval:
    return np.array([pair[0]]), np.array([pair[1]])


def points(pair: tuple[float, float]) -> Array:
    return np.linspace(*pair, POINTS)


def assert_spans(found: Interval, values: Array, miss: float = 1e-9) -> None:
    """Nothing lies outside, and the ends are reached to within `miss`."""
    low, high = (float(end[0]) for end in found)
    assert low <= values.min() + 1e-9
    assert values.max() - 1e-9 <= high
    assert low == pytest.approx(values.min(), abs=miss)
    assert high == pytest.approx(values.max(), abs=miss)


@given(ends, ends)
def test_sums(a: tuple[float, float], b: tuple[float, float]) -> None:
    values = np.add.outer(points(a), points(b))
    assert_spans(plus(interval(a), interval(b)), values)
    assert_spans(sum_of([interval(a), interval(b)]), values)


@given(ends, numbers)
@example((-1.0, 2.0), -0.5)
def test_products_with_a_number(a: tuple[float, float], factor: float) -> None:
    assert_spans(times(interval(a), factor), points(a) * factor)


@given(ends, ends)
@example((-2.0, 1.0), (-3.0, 1.0))
def test_products_of_two_that_know_nothing_of_one_another(
    a: tuple[float, float], b: tuple[float, float]
) -> None:
    assert_spans(product(interval(a), interval(b)), np.multiply.outer(points(a), points(b)))


@given(ends)
@example((-3.0, 1.0))
@example((-1.0, 3.0))
@example((-3.0, -1.0))
@example((1.0, 3.0))
def test_squares(a: tuple[float, float]) -> None:
    # the grid's nearest point to zero is at most half a step off
    step = (a[1] - a[0]) / (POINTS - 1)
    assert_spans(square(interval(a)), points(a) ** 2, miss=1e-9 + step**2)


@given(ends, ends)
@example((-2.0, 1.0), (-3.0, 3.0))
@example((1.0, 2.0), (-4.0, -1.0))
def test_differences_of_squares_of_two_that_are_a_difference_apart(
    v: tuple[float, float], more: tuple[float, float]
) -> None:
    """v**2 - u**2 with u = v + more."""
    step = (more[1] - more[0]) / (POINTS - 1)
    w, m = points(v)[:, None], points(more)[None]
    assert_spans(
        squares_apart(interval(v), interval(more)), w**2 - (w + m) ** 2, miss=1e-9 + step**2
    )


@given(ends, st.integers(-8, 8).map(lambda n: n / 4))
@example((0.0, 0.0), 0.0)
@example((-4.0, 4.0), 0.0)
def test_cosines(a: tuple[float, float], ahead: float) -> None:
    step = (a[1] - a[0]) / (POINTS - 1)
    assert_spans(cosine(interval(a), ahead), np.cos(points(a) + ahead), miss=1e-9 + step**2)


@pytest.mark.parametrize(
    ("make", "least", "most"),
    [
        (lambda x: cosine(x, 0.0), -1.0, 1.0),
        (lambda x: cosine(x, np.pi / 2.0), -1.0, 1.0),
    ],
)
def test_a_whole_turn_has_every_cosine(
    make: Callable[[Interval], Interval], least: float, most: float
) -> None:
    for start in np.linspace(-9.0, 9.0, 37):
        low, high = make(interval((start, start + 2.0 * np.pi)))
        assert (float(low[0]), float(high[0])) == pytest.approx((least, most), abs=1e-12)
