"""One motion after another: continuous, within the limits, inside the travel, at any moment.

Pieces are planned in the board's integers and evaluated in closed forms, which differ by some
1/65536 of the way: `ROUNDING_DEG` and `ROUNDING_DEG_S`. A brake may pass the end of the travel by
such a rounding (TABLE.md 3.2), `SLACK_DEG`; the board clamps the pulse there.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from one_motion import limits_by_deg, state

from firmware_gen.table.laws import law_by_id, law_parameters
from sim.model import Law
from sim.rehearsal.motion import MotionPiece, begin, resting
from sim.rehearsal.sampling import motion
from sim.rehearsal.takeover import POSITIONS_PER_DEG, ServoLimits
from sim.rulebook import BRAKE_SLACK_BITS, CLOCK_PER_MS, PEAK_SHARES
from sim.score.law_numbers import law_numbers
from sim.score.laws import LAW_NAMES

TRAVEL = (-60.0, 60.0)
ROUNDING_DEG = 0.01
ROUNDING_DEG_S = 0.1
SLACK_DEG = 2**BRAKE_SLACK_BITS / POSITIONS_PER_DEG
SMOOTH = tuple(name for name in LAW_NAMES if name != "uniform")


def laws(names: tuple[str, ...]) -> st.SearchStrategy[Law]:
    shares = st.floats(0.02, 0.5)
    peaks = st.just(0.5) | st.floats(*PEAK_SHARES)
    return st.builds(Law, st.sampled_from(names), shares, shares, peaks)


@st.composite
def rows(draw: st.DrawFn, names: tuple[str, ...] = SMOOTH) -> tuple[list[MotionPiece], ServoLimits]:
    """A part that is sent here and there, each time before it has arrived."""
    limits = limits_by_deg(draw(st.integers(20, 900)), draw(st.integers(100, 9000)), TRAVEL)
    row = [resting(0, draw(st.floats(*TRAVEL)))]
    now = 0
    for _ in range(draw(st.integers(1, 7))):
        now += draw(st.integers(1, 700 * CLOCK_PER_MS))
        target, asked = draw(st.floats(*TRAVEL)), draw(st.integers(20, 1500)) * CLOCK_PER_MS
        row.append(begin(row[-1], now, target, asked, draw(laws(names)), limits, None))
    return row, limits


def _times(row: list[MotionPiece]) -> np.ndarray:
    """A grid with the instants around every seam."""
    seams = [edge for one in row for edge in (one.start_ms, one.begin_ms, one.end_ms)]
    seams += [one.start_ms + one.brake_ms for one in row]
    near = [seam + shift for seam in seams for shift in (-1e-6, 0.0, 1e-6)]
    return np.unique(np.clip(np.concatenate([near, np.linspace(0.0, max(seams), 1500)]), 0.0, None))


@settings(max_examples=150)
@given(rows())
def test_travel_holds_whatever_the_moment_of_an_interruption(case: tuple) -> None:
    row, _ = case
    angle, *_ = motion(row, _times(row))
    assert angle.min() >= TRAVEL[0] - SLACK_DEG
    assert angle.max() <= TRAVEL[1] + SLACK_DEG


@settings(max_examples=150)
@given(rows(LAW_NAMES))
def test_travel_holds_for_uniform_moves_too(case: tuple) -> None:
    row, _ = case
    angle, *_ = motion(row, _times(row))
    assert angle.min() >= TRAVEL[0] - SLACK_DEG
    assert angle.max() <= TRAVEL[1] + SLACK_DEG


@settings(max_examples=150)
@given(rows())
def test_speed_stays_within_its_limit(case: tuple) -> None:
    row, limits = case
    _, speed, _ = motion(row, _times(row))
    # times are whole 1/256 ms, and a move lasts 1 ms or more
    assert np.abs(speed).max() <= limits.speed_deg_s * (1.0 + 1.0 / CLOCK_PER_MS) + 1e-6


@settings(max_examples=150)
@given(rows())
def test_acceleration_stays_within_its_limit(case: tuple) -> None:
    row, limits = case
    times = _times(row)
    _, _, acceleration = motion(row, times)
    # a brake of less than 1 ms is rounded to whole 1/256 ms, which matters to no servo
    for one in row:
        if 0.0 < one.brake_ms < 1.0:
            short = (times >= one.start_ms) & (times <= one.start_ms + one.brake_ms)
            acceleration[short] = 0.0
    most = limits.acceleration_deg_s2
    assert np.abs(acceleration).max() <= most * (1.0 + 2.0 / CLOCK_PER_MS) + 1e-6


@settings(max_examples=150)
@given(rows())
def test_position_and_speed_are_continuous_at_an_interruption(case: tuple) -> None:
    row, limits = case
    for before, after in pairwise(row):
        was, becomes = state(before, after.start_ms), state(after, after.start_ms)
        assert becomes.angle_deg == pytest.approx(was.angle_deg, abs=ROUNDING_DEG)
        # a speed that one tick of the brake takes away may be left out
        one_tick = limits.acceleration_deg_s2 / CLOCK_PER_MS / 1e6
        assert abs(becomes.speed_deg_ms - was.speed_deg_ms) <= one_tick + ROUNDING_DEG_S / 1000.0


@settings(max_examples=150)
@given(rows())
def test_a_board_goes_on_exactly_where_it_was(case: tuple) -> None:
    row, _ = case
    for before, after in pairwise(row):
        time = after.planned.brake_start
        assert abs(after.planned.position(time) - before.planned.state(time)[0]) <= 1


@settings(max_examples=150)
@given(rows(LAW_NAMES))
def test_a_piece_has_the_numbers_that_the_board_planned(case: tuple) -> None:
    row, _ = case
    for one in row:
        board = one.planned
        assert one.start_ms * CLOCK_PER_MS == board.brake_start
        assert one.begin_ms * CLOCK_PER_MS == board.start
        assert one.duration_ms * CLOCK_PER_MS == board.duration
        assert one.brake_ms * CLOCK_PER_MS == board.brake
        assert one.end_ms * CLOCK_PER_MS == board.end
        ways = one.target_deg, one.way_deg, one.residual_deg
        assert [round(way * POSITIONS_PER_DEG) for way in ways] == [
            board.target,
            board.way,
            board.residual,
        ]


@settings(max_examples=100)
@given(rows(LAW_NAMES))
def test_every_motion_ends_at_rest_at_its_target(case: tuple) -> None:
    row, _ = case
    for one in row:
        assert state(one, one.end_ms) == (one.target_deg, 0.0)
        just_before = state(one, one.end_ms - 1e-6)
        assert just_before.angle_deg == pytest.approx(one.target_deg, abs=1e-3)


def test_a_move_that_needs_no_brake_lasts_what_was_asked() -> None:
    limits = limits_by_deg(400, 4000, TRAVEL)
    one = begin(resting(0, 0.0), 0, 40.0, 500 * 256, Law(), limits, None)
    assert (one.duration_ms, one.end_ms, one.stretched_ms) == (500.0, 500.0, 0.0)


def test_a_move_too_fast_for_the_limits_is_stretched() -> None:
    limits = limits_by_deg(100, 100_00, TRAVEL)
    one = begin(resting(0, 0.0), 0, 40.0, 100 * 256, Law(), limits, None)
    # T = Cv h / v with Cv = 1.875
    assert one.duration_ms == pytest.approx(1.875 * 40.0 / 100.0 * 1000.0, rel=1e-3)
    assert one.stretched_ms == pytest.approx(one.duration_ms - 100.0)


def test_a_target_behind_is_reached_after_a_halt() -> None:
    limits = limits_by_deg(400, 2000, TRAVEL)
    first = begin(resting(0, 0.0), 0, 40.0, 400 * 256, Law(), limits, None)
    at = state(first, 200.0)
    turn = begin(first, 200 * 256, -20.0, 600 * 256, Law(), limits, None)
    halt = state(turn, turn.begin_ms)
    assert turn.brake_ms == pytest.approx(at.speed_deg_ms * 1e6 / 2000.0, abs=0.01)
    assert abs(halt.speed_deg_ms) < 1e-9
    assert halt.angle_deg > at.angle_deg
    assert turn.end_ms == 800.0


def test_a_target_ahead_is_reached_without_a_halt() -> None:
    limits = limits_by_deg(400, 4000, TRAVEL)
    first = begin(resting(0, -40.0), 0, 0.0, 400 * 256, Law(), limits, None)
    on = begin(first, 200 * 256, 50.0, 500 * 256, Law(), limits, None)
    assert on.begin_ms == on.start_ms
    speeds = [state(on, time).speed_deg_ms for time in np.linspace(200.0, on.end_ms - 5.0, 200)]
    assert min(speeds) > 0.0


@given(laws(LAW_NAMES))
def test_a_law_has_the_numbers_of_its_table(law: Law) -> None:
    fixed = law_by_id(*law_parameters(law))
    assert law_numbers(law) == (fixed.cv, fixed.ca, fixed.overlap, fixed.peak)
