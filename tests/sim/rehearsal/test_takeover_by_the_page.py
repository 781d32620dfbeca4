"""The rule of takeover in whole numbers, worked by hand from TABLE.md 3.2."""

from __future__ import annotations

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.model import Law
from sim.rehearsal.takeover import (
    INTEGERS,
    POSITIONS_PER_DEG,
    ServoLimits,
    _filled,
    least_time,
    take_over,
)
from sim.score.law_numbers import law_numbers

QUICK = ServoLimits(400, 20_000, 0, 60 * POSITIONS_PER_DEG)
MINIMUM_JERK = law_numbers(Law("3-4-5"))


@pytest.mark.parametrize(("speed", "brake"), [(0, 0), (255, 0), (256, 1)])
def test_a_part_too_slow_for_a_brake_starts_as_if_it_stood(speed: int, brake: int) -> None:
    """tb = 625 v / (8 am) is 0.996 at v = 255, so 0, and 1 at 256. Without a brake 60 deg take
    Nv = 7680 * 6000 * 5 / (8 * 400) = 72000; with one Nv 256 / K = 72000 * 256 / 216 = 85333."""
    found = take_over(0, speed, 60 * POSITIONS_PER_DEG, 0, MINIMUM_JERK, QUICK, INTEGERS)
    assert (found.brake, found.wait) == (brake, 0)
    assert found.duration == pytest.approx(85333 if brake else 72000, abs=1)


@pytest.mark.parametrize(("peak", "more"), [(0.5, 0), (0.3, 1)])
def test_a_short_way_ahead_is_as_slow_as_its_brake_up_to_the_peak(peak: float, more: int) -> None:
    """200 deg/s at 2000 deg/s2 brake in 25,600 units of the clock, over 10 deg. Half a degree
    behind that is quick by itself: T = B = 65536 tb / M, and 1 more unless the peak is half-way."""
    law = law_numbers(Law("3-4-5", peak=peak))
    limits = QUICK._replace(acceleration_deg_s2=2000)
    found = take_over(0, 655_360, round(10.5 * POSITIONS_PER_DEG), 0, law, limits, INTEGERS)
    assert (found.brake, found.wait) == (25_600, 0)
    assert found.duration == 65536 * 25_600 // law.peak + more


@given(
    st.integers(100, 60_000),
    st.integers(10, 28).flatmap(lambda n: st.integers(1 << n, 2 << n)),
    st.sampled_from([20_022, 23_649, 30_775]),
)
def test_a_move_takes_no_less_than_its_acceleration_asks_and_hardly_more(
    limit: int, distance: int, ca: int
) -> None:
    """Na is the root of Ca |D| 625 / (128 am), one more than rounded down, in 16 bits or so."""
    root = sqrt(ca * distance * 625.0 / (128.0 * limit))
    assert -1e-4 * root - 0.1 < least_time(limit, distance, ca) - root <= 1.0


@pytest.mark.parametrize(
    ("bits", "fours"), [(1, 15), (2, 15), (3, 14), (29, 1), (30, 1), (31, 0), (32, 0)]
)
def test_as_many_fours_go_in_as_leave_32_bits(bits: int, fours: int) -> None:
    for value in (1 << (bits - 1), (1 << bits) - 1):
        assert _filled(value) == (value << 2 * fours, fours)
        assert _filled(value)[0] < 1 << 32
