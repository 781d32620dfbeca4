"""The rules of turning a servo by keys, by example and under any keys at any times."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seqlang.calibration import read_points
from seqlang.jogging import (
    IDLE_S,
    SHORTEST_GAP_S,
    STEPS_US,
    Action,
    Jog,
    act,
    begin,
    estimated_place,
    mark,
    resumed,
    slid,
    typing,
    waited,
)
from sim.model import CalibrationPoint, Servo
from sim.rulebook import PULSE_RANGE_US

POINTS = (CalibrationPoint(0.0, 1000.0), CalibrationPoint(90.0, 2000.0))
SERVO = Servo("flap", "box", 0, POINTS, (0.0, 70.0), (), pulse_range_us=(900.0, 2100.0))
END_US = 1777.5  # 1000 + 1000 * 70 / 90 = 1777.8: the last half microsecond before it


def pressed(jog: Jog, *actions: Action, start_s: float = 1.0) -> Jog:
    """Keys of an unhurried hand, five a second."""
    for number, action in enumerate(actions):
        jog = act(jog, action, start_s + 0.2 * number)
    return jog


def test_it_starts_at_the_pulse_that_the_servo_gets() -> None:
    assert begin(SERVO, 1234.5, 0.0).pulse_us == 1234.5


@pytest.mark.parametrize(("step", "us"), [("fine", 1), ("usual", 10), ("coarse", 50)])
def test_a_key_is_one_step(step: Action, us: float) -> None:
    jog = pressed(begin(SERVO, 1500.0, 0.0), step, "up")
    assert jog.pulse_us == 1500 + us
    assert pressed(jog, "down", "down", start_s=2.0).pulse_us == 1500 - us


def test_an_end_of_travel_holds_until_it_is_passed_on_purpose() -> None:
    jog = pressed(begin(SERVO, 1770.0, 0.0), "up")
    assert (jog.pulse_us, jog.stopped) == (END_US, 1)
    assert pressed(jog, "up", "up", start_s=2.0).pulse_us == END_US
    passing = pressed(jog, "pass", "up", "up", start_s=2.0)
    assert passing.pulse_us == END_US + 20


def test_the_lower_end_of_travel_holds_as_the_upper_one_does() -> None:
    """10 deg are 1111.1 us: the first half microsecond behind it is 1111.5."""
    jog = pressed(begin(replace(SERVO, travel_deg=(10.0, 70.0)), 1120.0, 0.0), "down")
    assert (jog.pulse_us, jog.stopped) == (1111.5, -1)
    assert pressed(jog, "down", "down", start_s=2.0).pulse_us == 1111.5
    passing = pressed(jog, "pass", "down", "down", start_s=2.0)
    assert passing.pulse_us == 1111.5 - 20
    assert pressed(passing, "up", "up", "up", "down", "down", start_s=4.0).pulse_us == 1111.5


def test_a_travel_beyond_the_limits_of_the_servo_ends_at_them_on_half_microseconds() -> None:
    servo = replace(SERVO, travel_deg=(0.0, 90.0), pulse_range_us=(1200.2, 1700.3))
    jog = begin(servo, 1500.0, 0.0)
    assert jog.ends_us == ((1200.5,), (1700.0,))
    keys: list[Action] = ["coarse", *(["up"] * 8 + ["pass"]) * 2]
    assert pressed(jog, *keys).pulse_us == 1700.0
    keys = ["coarse", *(["down"] * 8 + ["pass"]) * 2]
    assert pressed(jog, *keys).pulse_us == 1200.5


@pytest.mark.parametrize(("travel_deg", "only_us"), [((80.0, 90.0), 1500.0), ((0.0, 10.0), 1200.0)])
def test_a_travel_that_lies_beyond_the_limits_moves_none_of_them(
    travel_deg: tuple[float, float], only_us: float
) -> None:
    jog = begin(replace(SERVO, travel_deg=travel_deg, pulse_range_us=(1200.0, 1500.0)), 1400.0, 0.0)
    assert all(1200.0 <= end <= 1500.0 for row in jog.ends_us for end in row)
    assert only_us in jog.ends_us[0]
    assert only_us in jog.ends_us[1]


@pytest.mark.parametrize("start_us", PULSE_RANGE_US)
def test_it_starts_at_the_outermost_pulses_and_not_beyond_them(start_us: int) -> None:
    assert begin(SERVO, float(start_us), 0.0).pulse_us == start_us
    with pytest.raises(ValueError, match="boards make pulses of 400 us to 2600 us"):
        begin(SERVO, start_us + (0.5 if start_us == PULSE_RANGE_US[1] else -0.5), 0.0)


def test_an_end_cannot_be_passed_before_the_part_is_there() -> None:
    early = pressed(begin(SERVO, 1500.0, 0.0), "pass", *["up"] * 40)
    assert early.pulse_us == END_US
    turned_away = pressed(early, "down", "pass", "up", "up", start_s=20.0)
    assert turned_away.pulse_us == END_US


def test_the_last_end_is_never_passed() -> None:
    keys: list[Action] = ["coarse", *(["up"] * 8 + ["pass"]) * 6]
    assert pressed(begin(SERVO, 1500.0, 0.0), *keys).pulse_us == 2100
    down: list[Action] = ["coarse", *(["down"] * 12 + ["pass"]) * 6]
    assert pressed(begin(SERVO, 1500.0, 0.0), *down).pulse_us == 900


def test_an_end_holds_again_once_the_part_came_back() -> None:
    jog = pressed(begin(SERVO, 1770.0, 0.0), "up", "pass", "up", "up", "down", "down")
    assert jog.pulse_us == END_US
    assert pressed(jog, "up", start_s=3.0).pulse_us == END_US


def test_a_servo_that_starts_beyond_an_end_does_not_jump_to_it() -> None:
    for start_us in (2050.0, 2300.0):
        jog = begin(SERVO, start_us, 0.0)
        assert pressed(jog, "down").pulse_us == start_us - 10
    assert pressed(begin(SERVO, 2300.0, 0.0), "up").pulse_us == 2300
    with pytest.raises(ValueError, match="9000 us"):
        begin(SERVO, 9000.0, 0.0)


def test_a_heap_of_keys_is_one_key() -> None:
    jog = begin(SERVO, 1500.0, 0.0)
    for n in range(50):
        jog = act(jog, "up", 1.0 + n * SHORTEST_GAP_S / 60)
    assert jog.pulse_us == 1510
    assert act(jog, "up", 1.5).pulse_us == 1520


def test_nobody_there_means_limp_and_the_next_step_moves_nothing() -> None:
    jog = begin(SERVO, 1500.0, 0.0)
    assert waited(jog, IDLE_S - 0.01).pulse_us == 1500
    assert waited(jog, IDLE_S).pulse_us is None
    late = act(jog, "up", IDLE_S)
    assert (late.pulse_us, late.held_us) == (None, 1500)
    assert act(late, "hold", IDLE_S + 1).pulse_us == 1500
    awake = typing(jog, IDLE_S - 1)
    assert waited(awake, IDLE_S + 5).pulse_us == 1500
    assert typing(jog, IDLE_S + 5).pulse_us is None


def test_a_computer_that_slept_finds_the_servo_limp() -> None:
    assert act(begin(SERVO, 1500.0, 0.0), "coarse", 3600.0).is_limp


def test_marks_become_calibration_points() -> None:
    jog = mark(pressed(begin(SERVO, 1500.0, 0.0), "up"), "44 deg", 2.0)
    jog = mark(pressed(jog, *["down"] * 3, start_s=3.0), "41 deg", 5.0)
    assert jog.points == ("1480 us at 41 deg", "1510 us at 44 deg")
    assert [float(point.pulse_us) for point in read_points(jog.points)] == [1480, 1510]
    again = mark(jog, "41.5 deg", 6.0)
    assert again.points == ("1480 us at 41.5 deg", "1510 us at 44 deg")
    assert act(again, "back", 7.0).points == ("1510 us at 44 deg",)


def test_pulses_come_back_where_the_servo_is_now_with_the_ends_that_it_has_passed() -> None:
    limp = act(pressed(begin(SERVO, 1770.0, 0.0), "up"), "limp", 2.0)
    inside = resumed(limp, 1400.0, 3.0)
    assert (inside.pulse_us, inside.stopped, inside.passed) == (1400.0, 0, (0, 0))
    assert inside.room_us == (1000.0, END_US)
    assert waited(inside, 3.0 + IDLE_S - 0.01).pulse_us == 1400.0
    beyond = resumed(limp, 1800.0, 3.0)
    assert (beyond.passed, beyond.room_us) == ((0, 1), (1000.0, 2100.0))
    below = resumed(limp, 950.0, 3.0)
    assert (below.passed, below.room_us) == ((1, 0), (900.0, END_US))


@pytest.mark.parametrize("far_us", [850.0, 2200.0])
def test_a_servo_that_somebody_turned_beyond_its_limits_goes_no_further(far_us: float) -> None:
    outward: Action = "down" if far_us < 1500 else "up"
    inward: Action = "up" if outward == "down" else "down"
    jog = resumed(act(begin(SERVO, 1500.0, 0.0), "limp", 1.0), far_us, 2.0)
    assert pressed(jog, outward, "pass", outward, start_s=3.0).pulse_us == far_us
    assert abs(pressed(jog, inward, start_s=3.0).pulse_us - far_us) == STEPS_US["usual"]  # type: ignore[operator]


def test_a_limp_servo_has_no_end_to_pass() -> None:
    limp = act(pressed(begin(SERVO, 1770.0, 0.0), "up"), "limp", 2.0)
    assert pressed(limp, "pass", start_s=3.0).passed == (0, 0)


def test_a_limp_part_has_no_mark() -> None:
    jog = mark(act(begin(SERVO, 1500.0, 0.0), "limp", 1.0), "44 deg", 2.0)
    assert jog.marks == ()
    assert mark(begin(SERVO, 1500.0, 0.0), "44 deg", IDLE_S + 1).marks == ()


def test_the_place_beside_the_pulse_follows_the_present_points() -> None:
    assert estimated_place(POINTS, 1500.0) == pytest.approx(45.0)
    assert estimated_place(POINTS, 2100.0) == pytest.approx(99.0)
    falling = (CalibrationPoint(0.0, 2000.0), CalibrationPoint(90.0, 1000.0))
    assert estimated_place(falling, 1250.0) == pytest.approx(67.5)
    assert estimated_place((CalibrationPoint(0.0, 1500.0),), 1600.0) == 0.0


ANY_KEYS = st.lists(
    st.tuples(st.sampled_from(get_args(Action)), st.sampled_from([0.001, 0.05, 0.3, 5.0, 60.0])),
    max_size=120,
)


@settings(deadline=None)
@given(st.integers(1000, 5000).map(lambda halves: halves / 2), ANY_KEYS)
def test_whatever_is_pressed_no_pulse_jumps_or_leaves_the_ends(
    start_us: float, keys: list[tuple[Action, float]]
) -> None:
    jog, now_s = begin(SERVO, start_us, 0.0), 0.0
    low, high = min(900.0, start_us), max(2100.0, start_us)
    for action, gap_s in keys:
        before, now_s = jog, now_s + gap_s
        jog = act(jog, action, now_s)
        assert low <= jog.held_us <= high
        change = abs(jog.held_us - before.held_us)
        assert change <= STEPS_US[before.step]
        if action not in ("up", "down") or before.is_limp or gap_s >= IDLE_S:
            assert change == 0
        if gap_s >= IDLE_S and action != "hold":
            assert jog.is_limp
        assert not before.is_limp or jog.is_limp or action == "hold"


@settings(deadline=None)
@given(st.integers(2000, 3555).map(lambda halves: halves / 2), ANY_KEYS)
def test_without_the_key_for_it_no_end_of_travel_is_passed(
    start_us: float, keys: list[tuple[Action, float]]
) -> None:
    jog, now_s = begin(SERVO, start_us, 0.0), 0.0
    for action, gap_s in keys:
        now_s += gap_s
        if action != "pass":
            jog = act(jog, action, now_s)
        assert 1000 <= jog.held_us <= END_US


def test_a_slider_stops_at_ends_that_hold_and_turns_no_limp_servo() -> None:
    jog = begin(SERVO, 1500, 0.0)
    low, high = jog.room_us
    for asked, reached, stopped in (
        (1510.3, 1510.5, 0),
        (high, high, 0),
        (high + 0.5, high, 1),
        (low - 0.5, low, -1),
        (low, low, 0),
    ):
        jog = slid(jog, asked, 1.0)
        assert (jog.held_us, jog.stopped) == (reached, stopped)
    limp = act(jog, "limp", 2.0)
    assert slid(limp, 1400.0, 3.0).held_us == low
    assert slid(jog, 1400.0, 1.0 + IDLE_S).is_limp
    assert not slid(slid(jog, 1400.0, IDLE_S), 1400.0, 1.5 * IDLE_S).is_limp
