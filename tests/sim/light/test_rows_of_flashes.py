"""Rows of flashes, counted by hand: how long they go on, and when a pause ends them.

30 s at a time at most: guidance for strobe lights at public events, as others report it. That
flashes within half a second of one another are one row is the project's own reading.
"""

from __future__ import annotations

from math import inf

import numpy as np
import pytest

from sim.light.sequences import Row, longest_row


def every(gap_ms: float, count: int, first_ms: float = 0.0) -> np.ndarray:
    return first_ms + gap_ms * np.arange(count)


@pytest.mark.parametrize("count", [0, 1, 2])
def test_less_than_one_flash_and_a_half_is_no_row(count: int) -> None:
    assert longest_row(every(100.0, count)) is None


def test_a_row_lasts_from_its_first_change_to_its_last() -> None:
    """Eleven changes 200 ms apart: five flashes in two seconds."""
    row = longest_row(every(200.0, 11, 700.0))
    assert row == Row(700.0, 2700.0, 2.5)
    assert row is not None
    assert row.lasts_s == 2.0


@pytest.mark.parametrize(("gap_ms", "is_row"), [(250.0, True), (250.1, False)])
def test_flashes_follow_one_another_within_half_a_second(gap_ms: float, is_row: bool) -> None:
    assert (longest_row(every(gap_ms, 9)) is not None) == is_row


def test_a_pause_ends_a_row_and_the_longer_one_counts() -> None:
    short, long = every(100.0, 5), every(200.0, 6, 2000.0)
    assert longest_row(np.concatenate([short, long])) == Row(2000.0, 3000.0, 2.5)
    late = every(100.0, 5, 4000.0)
    assert longest_row(np.concatenate([long, late])) == Row(2000.0, 3000.0, 2.5)
    # the change after the pause is no part of the row, whose own last one is
    assert longest_row(np.concatenate([long, [9000.0]])) == Row(2000.0, 3000.0, 2.5)


@pytest.mark.parametrize(("until_ms", "end_ms"), [(3000.0, inf), (3001.0, 2000.0)])
def test_a_row_within_a_second_of_what_was_seen_goes_on(until_ms: float, end_ms: float) -> None:
    row = longest_row(every(200.0, 11), until_ms)
    assert row is not None
    assert (row.end_ms, row.rate) == (end_ms, 2.5)


def test_changes_at_one_instant_make_no_endless_rate() -> None:
    row = longest_row(np.zeros(3))
    assert row is not None
    assert row.rate == pytest.approx(1000.0)
