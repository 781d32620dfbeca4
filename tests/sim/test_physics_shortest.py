"""Shortest durations: the least that passes, and from there on every longer one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sim.model import (
    Board,
    FourBar,
    Gear,
    Law,
    LeverPair,
    Load,
    PointMass,
    Rig,
    Servo,
    Spring,
    Wearer,
)
from sim.rig.supply import FallingVoltage
from sim.strain.envelope import assess
from sim.strain.shortest import FEED_MORE, STARVED, Impossible, shortest_duration_ms
from tests.sim.jaw import JAW

LAWS = ["uniform", "parabolic", "harmonic", "cycloidal", "3-4-5", "modified sine"]


def rig_of(one: Servo, tilt: float = 20.0) -> Rig:
    return Rig((), (Board("b", "atmega328p", 1),), (one,), wearer=Wearer(tilt_deg=tilt))


@settings(max_examples=40)
@given(
    st.sampled_from([Gear(), Gear(2.0), FourBar(0.06, 0.02, 0.063, 0.03, arm_zero_deg=55.0)]),
    st.floats(0.02, 0.5),
    st.floats(0.02, 0.15),
    st.floats(-40.0, 80.0),
    st.floats(0.0, 60.0),
    st.floats(0.0, 60.0),
    st.sampled_from(LAWS),
    st.floats(0.0, 40.0),
)
def test_one_millisecond_less_fails_and_every_longer_duration_passes(
    drive: Gear | FourBar,
    mass: float,
    radius: float,
    level: float,
    start: float,
    end: float,
    law_name: str,
    tilt: float,
) -> None:
    assume(abs(end - start) > 1.0)
    part = Load((PointMass(mass, radius),), level, friction_nm=0.005)
    one = replace(JAW, drive=drive, load=part)
    rig, law = rig_of(one, tilt), Law(law_name)  # type: ignore[arg-type]
    try:
        shortest = shortest_duration_ms(rig, one, start, end, law, 6.0)
    except Impossible:
        return
    longer = np.unique(
        np.concatenate([shortest + np.arange(40), np.geomspace(shortest, 60000, 300).astype(int)])
    )
    assert assess(rig, one, start, end, longer, law, 6.0).passes.all()
    if shortest > 1:
        assert not assess(rig, one, start, end, shortest - 1, law, 6.0).passes[0]


def test_the_answer_is_that_of_trying_every_millisecond() -> None:
    rig = rig_of(JAW)
    for name in LAWS:
        law = Law(name)  # type: ignore[arg-type]
        row = np.arange(1, 2001)
        fails = ~assess(rig, JAW, 3.0, 52.0, row, law, 5.6).passes
        assert shortest_duration_ms(rig, JAW, 3.0, 52.0, law, 5.6) == row[fails][-1] + 1


def test_a_part_too_heavy_to_carry_is_impossible_and_the_reason_says_by_how_much() -> None:
    heavy = replace(JAW, load=Load((PointMass(1.5, 0.12),), level_deg=10.0))
    with pytest.raises(Impossible) as caught:
        shortest_duration_ms(rig_of(heavy, 0.0), heavy, 0.0, 50.0, Law(), 6.0)
    assert "at 10 deg" in caught.value.reason
    assert "1.765 N.m" in caught.value.reason
    assert "0.736 N.m" in caught.value.reason


def test_a_drive_that_cannot_reach_is_impossible() -> None:
    stuck = replace(JAW, drive=LeverPair(0.01, 0.03))
    with pytest.raises(Impossible, match="the drive cannot bring the part there"):
        shortest_duration_ms(rig_of(stuck), stuck, 0.0, 55.0, Law(), 6.0)


def test_a_move_of_no_length_takes_one_millisecond_if_the_pose_can_be_held() -> None:
    assert shortest_duration_ms(rig_of(JAW), JAW, 20.0, 20.0, Law(), 6.0) == 1


def test_a_spring_against_the_weight_makes_a_move_quicker() -> None:
    law = Law("cycloidal")
    heavy = replace(JAW, load=Load((PointMass(0.45, 0.1),), level_deg=25.0))
    helped = replace(heavy, load=replace(heavy.load, springs=(Spring(0.02, 1200.0),)))
    without = shortest_duration_ms(rig_of(heavy, 0.0), heavy, 0.0, 50.0, law, 6.0)
    assert shortest_duration_ms(rig_of(helped, 0.0), helped, 0.0, 50.0, law, 6.0) < without


def test_less_voltage_needs_more_time() -> None:
    times = [shortest_duration_ms(rig_of(JAW), JAW, 0, 50, Law(), v) for v in (4.8, 5.4, 6.0)]
    assert times == sorted(times, reverse=True)
    assert len(set(times)) == 3


@pytest.mark.parametrize("volts", [4.8, 7.4, 9.0])
def test_more_voltage_than_the_board_has_by_itself_counts_as_it_is_given(volts: float) -> None:
    """Rated at 6 V alone: torque and speed go with the voltage that is said to arrive."""
    light = replace(JAW, load=Load((PointMass(0.002, 0.05),)), rotor_kg_m2=0.0)
    rig, law = rig_of(light), Law("uniform")
    row = np.arange(1, 1001)
    fails = ~assess(rig, light, 0.0, 55.0, row, law, volts).passes
    found = shortest_duration_ms(rig, light, 0.0, 55.0, law, volts)
    assert found == row[fails][-1] + 1
    # the margin kept, it goes its way at four fifths of the no-load speed
    assert found == pytest.approx(1000.0 * 55.0 / (0.8 * 353.0 * volts / 6.0), rel=0.06)


def test_friction_makes_a_part_too_heavy_to_lift_but_not_to_let_down() -> None:
    """0.92 N.m, four fifths of it to use: 0.736 N.m beside 0.70 of weight and 0.06 of friction."""
    weight = PointMass(0.70 / (9.80665 * 0.12), 0.12)
    rubbing = replace(JAW, load=Load((weight,), level_deg=10.0, friction_nm=0.06))
    rig = rig_of(rubbing, 0.0)
    with pytest.raises(Impossible, match=r"at 10 deg needs 0\.760 N\.m"):
        shortest_duration_ms(rig, rubbing, 0.0, 20.0, Law(), 6.0)
    assert shortest_duration_ms(rig, rubbing, 20.0, 0.0, Law(), 6.0) < 60_000
    sinking = replace(rubbing, load=replace(rubbing.load, lowers=True))
    with pytest.raises(Impossible, match=r"needs 0\.760 N\.m"):
        shortest_duration_ms(rig_of(sinking, 0.0), sinking, 20.0, 0.0, Law(), 6.0)


def test_a_servo_that_needs_over_a_minute_is_too_slow() -> None:
    slow = replace(
        JAW, ratings=(replace(JAW.ratings[0], speed_deg_s=1.0),), load=Load(), rotor_kg_m2=0.0
    )
    with pytest.raises(Impossible, match="even 60 s is too short"):
        shortest_duration_ms(rig_of(slow), slow, 0.0, 50.0, Law("uniform"), 6.0)
    found = shortest_duration_ms(rig_of(slow), slow, 0.0, 47.0, Law("uniform"), 6.0)
    assert found == pytest.approx(58_750, abs=60)


def test_what_is_not_said_to_arrive_is_what_the_board_has_by_itself() -> None:
    """Rated at 6 V, and no supply is stated."""
    rig = rig_of(JAW)
    given = shortest_duration_ms(rig, JAW, 0.0, 50.0, Law(), 6.0)
    assert shortest_duration_ms(rig, JAW, 0.0, 50.0, Law()) == given
    falling = FallingVoltage(np.array([0.0, 1.0]), np.array([6.0, 6.0]))
    assert shortest_duration_ms(rig, JAW, 0.0, 50.0, Law(), falling) == given


@pytest.mark.parametrize("start", [0.0, 50.0])
@pytest.mark.parametrize("load", [Load(), JAW.load])
def test_where_nothing_arrives_the_supply_is_blamed(load: Load, start: float) -> None:
    """Neither at once nor as soon as the servo takes something; the move's way does not matter."""
    one = replace(JAW, load=load)
    none_left = FallingVoltage(np.array([0.0, 1e-9]), np.array([6.0, 0.0]))
    for feed in (0.0, none_left if load.bodies else 0.0):
        for end in (0.0, 50.0):
            with pytest.raises(Impossible) as caught:
                shortest_duration_ms(rig_of(one), one, start, end, Law(), feed)
            assert (caught.value.reason, caught.value.remedy) == (STARVED, FEED_MORE)


@pytest.mark.parametrize("lowers", [False, True])
def test_what_a_part_needs_is_told_as_an_amount_whichever_way_it_pulls(lowers: bool) -> None:
    """1.5 kg at 120 mm, level at 10 deg: 1.765 N.m, less than nothing where turning lowers it."""
    load = Load((PointMass(1.5, 0.12),), level_deg=10.0, lowers=lowers)
    heavy = replace(JAW, load=load)
    for start, end in ((0.0, 50.0), (50.0, 0.0), (10.0, 10.0)):
        with pytest.raises(Impossible, match=r"at 10 deg needs 1\.765 N\.m of torque"):
            shortest_duration_ms(rig_of(heavy, 0.0), heavy, start, end, Law(), 6.0)


def test_without_load_and_margin_an_even_move_is_as_fast_as_the_servo_turns() -> None:
    """60 deg at the no-load speed on average, and no faster at any instant."""
    free = replace(JAW, load=Load((PointMass(1e-9, 0.01),)), drive=Gear())
    rig = Rig((), (Board("b", "atmega328p", 1),), (free,), wearer=Wearer(margin=0.0))
    quickest = 1000.0 * 60.0 / free.ratings[0].speed_deg_s
    found = shortest_duration_ms(rig, free, 0.0, 60.0, Law("uniform"), free.ratings[0].voltage_v)
    assert quickest <= found <= 1.02 * quickest + 1.0
