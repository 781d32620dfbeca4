"""Alternating changes of a light, worked by hand, and the same however finely it is sampled."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.light.flash import zigzag


def extremes(values: list[float], least: float) -> list[tuple[float, float]]:
    """Of each change the values it came from and went on to."""
    value = np.array(values)
    _, start, end = zigzag(np.arange(value.size, dtype=float), value, least)
    return list(zip(value[start].tolist(), value[end].tolist(), strict=True))


@pytest.mark.parametrize(
    ("values", "changes"),
    [
        ([0.5], []),
        ([0.5, 0.5, 0.5], []),
        ([0.0, 0.25], []),
        ([0.0, 0.3], [(0.0, 0.3)]),
        ([0.3, 0.0], [(0.3, 0.0)]),
        ([0.0, 1.0, 0.0, 1.0, 0.5], [(0.0, 1.0), (1.0, 0.0), (0.0, 1.0), (1.0, 0.5)]),
        # a small dip on the way up is none
        ([0.0, 0.5, 0.4, 1.0], [(0.0, 1.0)]),
        # many small steps one way are one change
        ([0.0, 0.1, 0.2, 0.3, 0.4, 0.3, 0.2, 0.1], [(0.0, 0.4), (0.4, 0.1)]),
        # it starts flat, stands still at the top, and ends on the way down
        ([0.2, 0.2, 0.9, 0.9, 0.9, 0.5], [(0.2, 0.9), (0.9, 0.5)]),
        # what comes last counts, and so does what comes first
        ([0.9, 0.1, 0.9], [(0.9, 0.1), (0.1, 0.9)]),
        # lower yet before it rises: the change goes on to the lowest
        ([1.0, 0.6, 0.7, 0.2, 0.5], [(1.0, 0.2), (0.2, 0.5)]),
    ],
)
def test_changes_alternate_between_extremes(
    values: list[float], changes: list[tuple[float, float]]
) -> None:
    assert extremes(values, 0.3) == changes


@given(st.lists(st.integers(0, 20), min_size=1, max_size=40))
def test_finer_samples_of_the_same_light_show_the_same_changes(steps: list[int]) -> None:
    """Samples doubled, and with others in between: no change comes or goes."""
    values = [step / 16 for step in steps]
    found = extremes(values, 0.25)
    doubled = [value for value in values for _ in range(2)]
    assert extremes(doubled, 0.25) == found
    at = np.arange(2 * len(values) - 1) / 2
    between = np.interp(at, np.arange(len(values)), values).tolist()
    assert extremes(between, 0.25) == found


@given(st.lists(st.integers(0, 20), min_size=1, max_size=40))
def test_changes_are_large_enough_and_follow_on_one_another(steps: list[int]) -> None:
    found = extremes([step / 16 for step in steps], 0.25)
    for start, end in found:
        assert abs(end - start) >= 0.25
    for (_, end), (start, _) in pairwise(found):
        assert start == end
    ups = [end > start for start, end in found]
    assert all(one != other for one, other in pairwise(ups))


def test_a_change_counts_from_the_sample_at_which_it_is_large_enough() -> None:
    values = np.array([0.0, 0.1, 0.2, 0.3, 0.4, 0.2, 0.0])
    at, _, _ = zigzag(np.arange(7) * 20.0, values, 0.3)
    assert at.tolist() == [60.0, 120.0]
