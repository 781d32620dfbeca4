"""The rule of takeover: worked cases, and one body for arrays of reals and for integers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.model import Law
from sim.rehearsal.takeover import (
    INTEGERS,
    POSITIONS_PER_DEG,
    REAL_ARRAYS,
    ServoLimits,
    Takeover,
    take_over,
)
from sim.rulebook import BRAKE_SLACK_BITS, CLOCK_PER_MS
from sim.score.law_numbers import LawNumbers, law_numbers
from sim.score.laws import LAW_NAMES

LIMITS = ServoLimits(400, 2000, 0, 60 * POSITIONS_PER_DEG)
MINIMUM_JERK = law_numbers(Law("3-4-5"))
LAWS = st.builds(Law, st.sampled_from(LAW_NAMES), st.floats(0.05, 0.5), st.floats(0.05, 0.5)).map(
    law_numbers
)
POSITIONS = st.integers(0, 60 * POSITIONS_PER_DEG)
SPEEDS = st.integers(-400, 400).map(lambda deg_s: deg_s * POSITIONS_PER_DEG // 1000)
ASKED = st.integers(0, 3000).map(lambda ms: ms * CLOCK_PER_MS)


def moved(
    at_deg: float, speed_deg_s: float, target_deg: float, asked_ms: float, law: LawNumbers
) -> Takeover:
    """A board's takeover in degrees and milliseconds."""
    run = take_over(
        round(at_deg * POSITIONS_PER_DEG),
        round(speed_deg_s * POSITIONS_PER_DEG / 1000.0),
        round(target_deg * POSITIONS_PER_DEG),
        round(asked_ms * CLOCK_PER_MS),
        law,
        LIMITS,
        INTEGERS,
    )
    return run.scaled(1.0 / POSITIONS_PER_DEG, 1.0 / CLOCK_PER_MS)


# -- worked by hand: 2000 deg/s2 stop 200 deg/s in 100 ms and 10 deg ------------------------------


def test_a_part_at_rest_just_moves() -> None:
    run = moved(10.0, 0.0, 30.0, 500.0, MINIMUM_JERK)
    assert run == (20.0, 0.0, 0.0, 0.0, 500.0, 500.0)


def test_a_target_behind_waits_for_the_brake() -> None:
    run = moved(20.0, 200.0, 10.0, 500.0, MINIMUM_JERK)
    assert run == pytest.approx((-20.0, 10.0, 100.0, 100.0, 400.0, 500.0))


def test_a_target_ahead_is_approached_while_the_brake_dies() -> None:
    run = moved(20.0, 200.0, 50.0, 500.0, MINIMUM_JERK)
    assert run == pytest.approx((20.0, 10.0, 100.0, 0.0, 500.0, 500.0))


def test_a_target_ahead_by_less_than_a_third_of_a_degree_waits() -> None:
    near, far = (moved(20.0, 200.0, 30.0 + ahead, 500.0, MINIMUM_JERK) for ahead in (0.31, 0.33))
    assert (near.wait, far.wait) == pytest.approx((100.0, 0.0))


def test_a_law_that_starts_with_a_jump_waits() -> None:
    assert moved(20.0, 200.0, 50.0, 500.0, law_numbers(Law("uniform"))).wait == 100.0


def test_a_brake_ends_within_the_travel() -> None:
    """With 5 deg of room 200 deg/s are stopped in 50 ms."""
    run = moved(55.0, 200.0, 10.0, 500.0, MINIMUM_JERK)
    assert (run.residual, run.brake) == pytest.approx((5.0, 50.0))
    assert moved(60.0, 200.0, 10.0, 500.0, MINIMUM_JERK)[1:3] == (0.0, 0.0)


@pytest.mark.parametrize(("beyond", "braked"), [(2**16, True), (2**16 + 1, False)])
def test_a_board_lets_a_brake_pass_the_end_of_travel_by_its_rounding(
    beyond: int, braked: bool
) -> None:
    """Without that a part rounded onto the end would not brake at all, and start at once."""
    speed = 200 * POSITIONS_PER_DEG // 1000
    free = take_over(0, speed, 0, 0, MINIMUM_JERK, LIMITS, INTEGERS)
    at = LIMITS.high - free.residual + beyond
    run = take_over(at, speed, 0, 0, MINIMUM_JERK, LIMITS, INTEGERS)
    assert run.residual == (free.residual if braked else free.residual - beyond)
    assert (run.brake == free.brake) == braked


def test_a_move_over_the_brake_takes_two_brakes_at_least() -> None:
    assert moved(20.0, 200.0, 30.5, 0.0, MINIMUM_JERK).duration == pytest.approx(200.0)


def test_a_move_is_stretched_to_its_limits() -> None:
    """T = Cv h / v, and T = sqrt(Ca h / a): Cv = 1.875, Ca = 10 / sqrt(3)."""
    quick = moved(0.0, 0.0, 60.0, 0.0, law_numbers(Law("3-4-5")))
    by_speed, by_acceleration = 1.875 * 60.0 / 400.0, (10.0 / 3.0**0.5 * 60.0 / 2000.0) ** 0.5
    assert quick.duration == pytest.approx(1000.0 * max(by_speed, by_acceleration), rel=1e-3)
    short = moved(0.0, 0.0, 1.0, 0.0, MINIMUM_JERK)
    assert short.duration == pytest.approx(1000.0 * (10.0 / 3.0**0.5 / 2000.0) ** 0.5, rel=1e-3)


def test_the_speeds_of_brake_and_move_together_keep_the_limit() -> None:
    """A move over a brake is stretched by the law's overlap factor K: T = Cv h / (v K)."""
    limits = LIMITS._replace(acceleration_deg_s2=20_000)
    speed = 399 * POSITIONS_PER_DEG // 1000
    way = 40 * POSITIONS_PER_DEG
    run = take_over(0, speed, way, 0, MINIMUM_JERK, limits, INTEGERS)
    assert run.wait == 0
    wanted = 1.875 * run.way / POSITIONS_PER_DEG / 400.0 / (MINIMUM_JERK.overlap / 256.0)
    assert run.duration / CLOCK_PER_MS == pytest.approx(1000.0 * wanted, rel=1e-3)


# -- one body, two kinds of numbers ---------------------------------------------------------------


@settings(max_examples=100)
@given(st.lists(st.tuples(POSITIONS, SPEEDS, POSITIONS, ASKED), min_size=1, max_size=20), LAWS)
def test_an_array_plans_what_a_board_does(
    rows: list[tuple[int, int, int, int]], law: LawNumbers
) -> None:
    """But for the brake's last unit of the clock, and what a board lets a brake pass the end."""
    at, speed, target, asked = np.array(rows, dtype=np.float64).T
    many = take_over(at, speed, target, asked, law, LIMITS, REAL_ARRAYS)
    for n, row in enumerate(rows):
        one = take_over(*row, law, LIMITS, INTEGERS)
        pace = abs(row[1])
        passed = 2 ** (BRAKE_SLACK_BITS + 9) / max(pace, 1)
        longer = abs(many.brake[n] - one.brake)
        assert longer < 1.0 + passed
        slack = pace / 512 + 1.0 + 2**BRAKE_SLACK_BITS
        assert many.residual[n] == pytest.approx(one.residual, abs=slack)
        ahead = one.way * many.way[n] > 0 and min(abs(one.way), abs(many.way[n])) > 2**20
        if ahead or one.way * row[1] < 0:
            assert many.wait[n] == pytest.approx(one.wait, abs=longer)
            assert many.duration[n] == pytest.approx(one.duration, rel=1e-3, abs=8.0 + 2 * longer)
