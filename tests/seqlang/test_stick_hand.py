"""A stick that turns a servo: rules by example, and under any sticks at any times."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seqlang.jogging import IDLE_S, act, begin, waited
from seqlang.stick_hand import NEAR_US, TREMBLE_US, StickHand, moved, released
from sim.model import CalibrationPoint, Servo

POINTS = (CalibrationPoint(0.0, 1000.0), CalibrationPoint(100.0, 2000.0))
SERVO = Servo("flap", "box", 0, POINTS, (0.0, 100.0), (), pulse_range_us=(900.0, 2100.0))
HAND = StickHand((1000.0, 2000.0))


def test_a_part_does_not_run_to_where_the_stick_stands() -> None:
    hand, jog = moved(HAND, begin(SERVO, 1800.0, 0.0), 0.1, 1.0)
    hand, jog = moved(hand, jog, 0.3, 1.1)
    assert (jog.pulse_us, hand.holds) == (1800.0, False)


@pytest.mark.parametrize("shares", [(0.1, 0.85), (0.95, 0.75)])
def test_a_stick_that_comes_past_the_part_takes_it_along(shares: tuple[float, float]) -> None:
    hand, jog = HAND, begin(SERVO, 1800.0, 0.0)
    for number, share in enumerate(shares):
        hand, jog = moved(hand, jog, share, 1.0 + number)
    assert hand.holds
    assert jog.pulse_us == 1000 + 1000 * shares[1]


def test_near_is_as_good_as_past_and_a_little_farther_is_not() -> None:
    for beside_us, holds in ((NEAR_US, True), (NEAR_US + 1.0, False)):
        hand, jog = moved(HAND, begin(SERVO, 1500.0, 0.0), 0.2, 1.0)
        hand, jog = moved(hand, jog, (500.0 - beside_us) / 1000.0, 1.1)
        assert hand.holds == holds


def test_after_a_key_the_stick_has_to_come_past_the_part_again() -> None:
    hand, jog = moved(HAND, begin(SERVO, 1500.0, 0.0), 0.4, 1.0)
    hand, jog = moved(hand, jog, 0.6, 1.1)
    jog = act(jog, "coarse", 1.2)
    jog = act(jog, "up", 1.3)
    assert jog.pulse_us == 1650.0
    hand, jog = moved(released(hand), jog, 0.55, 1.4)
    assert (jog.pulse_us, hand.holds) == (1650.0, False)
    hand, jog = moved(hand, jog, 0.7, 1.5)
    assert (jog.pulse_us, hand.holds) == (1700.0, True)


def test_a_lost_stick_that_held_ends_the_pulses_and_one_that_did_not_ends_nothing() -> None:
    hand, jog = moved(HAND, begin(SERVO, 1500.0, 0.0), 0.4, 1.0)
    lost, still = moved(hand, jog, None, 1.1)
    assert not still.is_limp
    assert lost.at_us is None
    hand, jog = moved(hand, jog, 0.6, 1.2)
    lost, jog = moved(hand, jog, None, 1.3)
    assert jog.is_limp
    assert not lost.holds


def test_a_stick_that_comes_back_turns_nothing_before_it_comes_past_the_part() -> None:
    hand, jog = moved(HAND, begin(SERVO, 1500.0, 0.0), None, 1.0)
    hand, jog = moved(hand, jog, 0.9, 1.1)
    assert (jog.pulse_us, hand.holds) == (1500.0, False)


def test_a_limp_servo_stays_so_and_frees_the_stick() -> None:
    hand, jog = moved(HAND, begin(SERVO, 1500.0, 0.0), 0.4, 1.0)
    hand, jog = moved(hand, jog, 0.6, 1.1)
    jog = act(jog, "limp", 1.2)
    hand, jog = moved(hand, jog, 0.8, 1.3)
    assert jog.is_limp
    assert jog.held_us == 1600.0
    assert not hand.holds


def test_a_stick_that_only_trembles_is_no_hand_and_one_that_moves_is() -> None:
    for by_us, ends in ((TREMBLE_US - 0.5, True), (TREMBLE_US + 0.5, False)):
        hand, jog = HAND, begin(SERVO, 1500.0, 0.0)
        for number in range(round(2 * IDLE_S)):
            hand, jog = moved(hand, jog, 0.2 + number % 2 * by_us / 1000.0, float(number))
            jog = waited(jog, float(number))
        assert jog.is_limp == ends


def test_a_slow_turn_of_the_stick_is_not_taken_for_trembling() -> None:
    hand, jog = HAND, begin(SERVO, 1100.0, 0.0)
    for number in range(1000):
        hand, jog = moved(hand, jog, 0.05 + number / 2000.0, number / 10.0)
    assert jog.held_us == pytest.approx(1549.5, abs=TREMBLE_US + 0.5)


shares = st.none() | st.floats(-0.5, 1.5)


@settings(max_examples=200)
@given(start_us=st.floats(1000.0, 2000.0), said=st.lists(shares, max_size=30))
def test_no_part_goes_farther_than_its_stick_or_beyond_its_travel(
    start_us: float, said: list[float | None]
) -> None:
    hand, jog = HAND, begin(SERVO, start_us, 0.0)
    held = [jog.held_us]
    for number, share in enumerate(said):
        before = hand.at_us
        hand, jog = moved(hand, jog, share, number / 10.0)
        held.append(jog.held_us)
        gone = abs(held[-1] - held[-2])
        if gone:
            assert before is not None
            assert hand.at_us is not None
            # what trembling and nearness leave, and the half microsecond of a pulse
            assert gone <= abs(hand.at_us - before) + NEAR_US + TREMBLE_US + 0.5
    assert all(1000.0 <= one <= 2000.0 for one in held[1:] if one != start_us)
