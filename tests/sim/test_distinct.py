"""Distinct values against numpy's own."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sim.distinct import distinct


@given(st.lists(st.integers(-5, 5)))
def test_distinct_whole_numbers_are_numpys(values: list[int]) -> None:
    row = np.array(values, dtype=int)
    assert distinct(row).tolist() == np.unique(row).tolist()
    assert distinct(row).dtype == row.dtype


@given(st.lists(st.floats(allow_nan=False)))
def test_distinct_numbers_are_numpys(values: list[float]) -> None:
    assert distinct(np.array(values)).tolist() == np.unique(np.array(values)).tolist()


def test_what_is_given_stays_as_it_is() -> None:
    row = np.array([3, 1, 3])
    assert distinct(row).tolist() == [1, 3]
    assert row.tolist() == [3, 1, 3]
