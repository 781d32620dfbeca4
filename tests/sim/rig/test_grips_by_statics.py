"""Grips by statics: force times lever through chains of parts, gears and levers, by hand.

A force at a distance is a torque; what a carrier bears is the force on the whole length from its
hinge, stretched; a drive of ratio n asks its horn for 1 / n of the part's torque (virtual work;
Hibbeler, Engineering Mechanics: Statics, chapters 4 and 11, from memory). Levers: ratio
k cos p / sqrt(1 - k**2 sin(p)**2) from square.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.model import (
    Board,
    CalibrationPoint,
    Gear,
    Grip,
    LeverPair,
    Load,
    Mount,
    PointMass,
    Rating,
    Rig,
    Rod,
    Servo,
    Spring,
    Wearer,
)
from sim.rig.grip import greatest_force_n, gripping, horn_nm, longest_s, presses
from sim.rig.holding_torque import holding_nm

POINTS = (CalibrationPoint(-90.0, 600.0), CalibrationPoint(90.0, 2400.0))
RATING = Rating(6.0, 400.0, 1.0, 2.0)
"""Stalls at 1 N.m."""
PALM = Servo("palm", "hand", 1, POINTS, (-40.0, 40.0), (RATING,))
BONE = replace(PALM, name="bone", pin=2, mount=Mount("palm", 0.09))
TIP = replace(
    BONE, name="tip", pin=3, mount=Mount("bone", 0.05), grip=Grip(10.0, 1, 2.0, 8.0, 0.03)
)


def rig(*servos: Servo) -> Rig:
    return Rig((), (Board("hand", "any", 1), Board("foot", "any", 2)), servos)


def levers(k: float, at_deg: float | np.ndarray) -> np.ndarray:
    p = np.radians(at_deg)
    return np.asarray(k * np.cos(p) / np.sqrt(1.0 - (k * np.sin(p)) ** 2))


def borne(*servos: Servo) -> dict[str, list[tuple[str, float, float]]]:
    found = presses(rig(*servos))
    return {
        name: [(g.gripper.name, g.part_nm, g.stall_nm) for g in of] for name, of in found.items()
    }


def test_each_carrier_bears_the_force_on_the_length_out_to_it() -> None:
    """8 N at 30 mm of the tip, 80 mm from the bone's hinge, 170 mm from the palm's."""
    found = borne(PALM, BONE, TIP)
    assert found == {
        "tip": [("tip", pytest.approx(0.24), 0.0)],
        "bone": [("tip", pytest.approx(0.64), 0.0)],
        "palm": [("tip", pytest.approx(1.36), 0.0)],
    }


def test_friction_is_the_gripping_parts_own() -> None:
    rubbing = Load(friction_nm=0.05)
    found = borne(replace(PALM, load=rubbing), BONE, replace(TIP, load=rubbing))
    assert found["tip"][0][1] == pytest.approx(0.29)
    assert found["palm"][0][1] == pytest.approx(1.36)


def test_two_fingers_of_one_palm_add_up_there() -> None:
    """Each 8 N at 30 mm of a finger whose hinge is 90 mm out: 0.96 N.m, and 0.24 of its own."""
    fingers = [replace(TIP, name=f"f{n}", mount=Mount("palm", 0.09)) for n in range(2)]
    found = borne(PALM, *fingers)
    assert found["palm"] == [("f0", pytest.approx(0.96), 0.0), ("f1", pytest.approx(0.96), 0.0)]
    whole = gripping(rig(PALM, *fingers), PALM)
    assert whole is not None
    assert (whole.torque_nm, whole.stalls) == (pytest.approx(1.92), False)


def test_without_a_rating_or_a_mount_in_the_rig_nothing_presses_on() -> None:
    assert borne(PALM, BONE, replace(TIP, ratings=())) == {}
    assert list(borne(BONE, TIP)) == ["tip", "bone"]


@pytest.mark.parametrize("ratio", [1.0, 2.0, -0.5])
def test_a_stall_presses_with_the_gear_times_the_stall_torque(ratio: float) -> None:
    stalls = replace(TIP, grip=Grip(10.0, 1, 2.0), tip_m=0.04, drive=Gear(ratio))
    found = borne(PALM, BONE, stalls)
    torque = abs(ratio)
    assert found["tip"] == [("tip", pytest.approx(torque), 1.0)]
    force_n = torque / 0.04
    assert found["bone"] == [("tip", pytest.approx(force_n * 0.09), 0.0)]
    assert found["palm"] == [("tip", pytest.approx(force_n * 0.18), 0.0)]


def test_a_stall_acts_at_the_far_end_where_no_tip_is_stated_and_at_10_mm_without_a_part() -> None:
    stalls = replace(TIP, grip=Grip(10.0, 1, 2.0), load=Load((Rod(0.01, 0.08),)))
    assert borne(BONE, stalls)["bone"] == [("tip", pytest.approx(0.13 / 0.08), 0.0)]
    bare = replace(stalls, load=Load())
    assert borne(BONE, bare)["bone"] == [("tip", pytest.approx(0.06 / 0.01), 0.0)]


@pytest.mark.parametrize(("side", "contact"), [(1, 10.0), (-1, 10.0), (1, -25.0), (-1, -25.0)])
def test_a_stall_through_levers_presses_by_the_greatest_ratio_past_the_contact(
    side: int, contact: float
) -> None:
    """Horn levers shorter than the arm's: the ratio grows away from square."""
    stalls = replace(
        TIP, grip=Grip(contact, side, 2.0), drive=LeverPair(0.02, 0.03, square_deg=0.0)
    )
    past = np.linspace(contact, 40.0 * side, 20001)
    (own,) = borne(stalls)["tip"]
    assert own[1] == pytest.approx(levers(1.5, past).max(), rel=1e-6)


@given(st.floats(-39.0, 39.0), st.floats(0.5, 1.5), st.floats(0.5, 1.0), st.floats(0.001, 3.0))
def test_the_horn_gives_the_part_s_torque_over_ratio_and_losses(
    angle: float, k: float, efficiency: float, part_nm: float
) -> None:
    one = replace(
        PALM, drive=LeverPair(0.02, 0.02 * k, square_deg=0.0), drive_efficiency=efficiency
    )
    expected = part_nm / (float(levers(k, angle)) * efficiency)
    assert float(horn_nm(one, angle, part_nm)) == pytest.approx(expected, rel=1e-9)
    assert float(horn_nm(one, angle, part_nm, 0.7)) == 0.7


def test_nothing_presses_without_a_torque_and_no_torque_presses_through_a_locked_drive() -> None:
    locked = replace(PALM, drive=LeverPair(0.01, 0.04, square_deg=0.0))
    found = horn_nm(locked, [30.0, 30.0, 0.0], [0.0, 0.5, 0.5])
    assert found.tolist() == [0.0, np.inf, pytest.approx(0.125)]
    assert horn_nm(locked, [30.0, 0.0], 0.5, [0.2, 0.0]).tolist() == [0.2, pytest.approx(0.125)]


def test_a_grip_is_hardest_where_the_ratio_past_its_contact_is_least() -> None:
    """Arm levers shorter than the horn's: the ratio falls away from square, least at 40 deg."""
    down = replace(
        TIP, drive=LeverPair(0.03, 0.02, square_deg=0.0), grip=replace(TIP.grip, side=-1)
    )
    up = replace(down, grip=TIP.grip)
    for one, worst in ((up, 40.0), (down, -40.0)):
        found = gripping(rig(one), one)
        assert found is not None
        assert found.torque_nm == pytest.approx(0.24 / float(levers(2.0 / 3.0, 40.0)))
        assert found.angle_deg == worst


def test_a_part_s_weight_is_taken_against_its_grip_but_adds_nothing_to_a_stall() -> None:
    """100 g at 50 mm, level at 30 deg within the pressing part of the travel: 0.049 N.m."""
    heavy = Load((PointMass(0.1, 0.05),), level_deg=30.0)
    weighed = replace(TIP, load=heavy)
    found = gripping(rig(weighed), weighed)
    assert found is not None
    assert found.torque_nm == pytest.approx(0.24 + 0.1 * 9.80665 * 0.05, rel=1e-5)
    assert found.angle_deg == pytest.approx(30.0, abs=0.5)
    stalls = replace(weighed, grip=Grip(10.0, 1, 2.0))
    found = gripping(rig(stalls), stalls)
    assert found is not None
    assert (found.torque_nm, found.stalls) == (1.0, True)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("ratio", [1.0, -2.0])
def test_a_spring_that_opens_a_part_costs_its_servo_and_one_that_closes_it_spares_it(
    side: int, ratio: float
) -> None:
    """Moments about the hinge: what the servo gives is force times lever less the spring's own.

    0.1 N.m/rad stretched by 60 deg where the part meets the thing at once is 0.1047 N.m; the grip
    takes 0.24 N.m. A stiffer one, 0.4 N.m/rad, closes harder than the grip: it is held back.
    """
    grip = Grip(40.0 * side, side, 2.0, 8.0, 0.03)
    far = 40.0 * side

    def asked(rate: float, neutral_deg: float) -> float:
        load = Load(springs=(Spring(rate, neutral_deg),))
        one = replace(TIP, load=load, grip=grip, drive=Gear(ratio), travel_deg=(-40.0, 40.0))
        found = gripping(rig(one), one)
        assert found is not None
        return found.torque_nm * abs(ratio)

    pull = np.radians(60.0)
    assert asked(0.1, far - 60.0 * side) == pytest.approx(0.24 + 0.1 * pull)
    assert asked(0.1, far + 60.0 * side) == pytest.approx(0.24 - 0.1 * pull)
    assert asked(0.4, far + 60.0 * side) == pytest.approx(0.4 * pull - 0.24)


def test_losses_are_paid_on_what_the_servo_gives_and_not_counted_on_to_hold_back() -> None:
    """Efficiency 0.5, hinge friction 0.02 N.m, a spring of 0.1 N.m or of 0.4 N.m at the contact."""
    grip = Grip(40.0, 1, 2.0, 8.0, 0.03)

    def asked(pull_nm: float) -> float:
        load = Load(
            springs=(Spring(abs(pull_nm) / np.radians(60.0), 40.0 + 60.0 * np.sign(pull_nm)),),
            friction_nm=0.02,
        )
        one = replace(TIP, load=load, grip=grip, drive_efficiency=0.5, travel_deg=(-40.0, 40.0))
        found = gripping(rig(one), one)
        assert found is not None
        return found.torque_nm

    assert asked(-0.1) == pytest.approx((0.24 + 0.02 + 0.1) / 0.5)
    assert asked(0.1) == pytest.approx((0.24 + 0.02 - 0.1) / 0.5)
    assert asked(0.4) == pytest.approx(0.4 - 0.24)


def test_a_servo_that_the_rig_does_not_have_grips_nothing() -> None:
    assert gripping(rig(PALM), TIP) is None


@given(st.floats(0.3, 3.0), st.booleans())
def test_the_greatest_force_is_the_one_that_takes_the_torque(
    torque_nm: float, carries: bool
) -> None:
    """Solved the other way round: with that force the hardest point takes that torque."""
    own = replace(
        BONE,
        grip=Grip(-20.0, 1, 2.0, 5.0, 0.04),
        load=Load((PointMass(0.02, 0.03),), friction_nm=0.01),
        drive=Gear(1.6),
        drive_efficiency=0.8,
    )
    others = (replace(TIP, grip=Grip(10.0, 1, 1.0, 2.0, 0.03)),) if carries else ()
    force_n = greatest_force_n(rig(PALM, own, *others), own, torque_nm)
    assert own.grip is not None
    grips = replace(own, grip=replace(own.grip, force_n=force_n))
    found = gripping(rig(PALM, grips, *others), grips)
    assert found is not None
    assert found.torque_nm == pytest.approx(torque_nm, rel=1e-6)


def test_only_a_stated_force_can_be_asked_for_its_greatest() -> None:
    assert greatest_force_n(rig(PALM), PALM, 1.0) == 0.0
    stalls = replace(TIP, grip=Grip(10.0, 1, 2.0))
    assert greatest_force_n(rig(stalls), stalls, 1.0) == 0.0


def test_the_longest_grip_is_that_of_the_boards_asked_for() -> None:
    short = replace(TIP, grip=replace(TIP.grip, lasts_s=0.4))
    long = replace(TIP, name="toe", board="foot", grip=replace(TIP.grip, lasts_s=7.0))
    whole = rig(PALM, short, long)
    assert longest_s(whole, ["hand"]) == 0.4
    assert longest_s(whole, ["foot"]) == 7.0
    assert longest_s(whole, ["hand", "foot"]) == 7.0
    assert longest_s(whole, []) == 0.0
    assert longest_s(rig(PALM), ["hand"]) == 0.0


def test_a_part_of_no_weight_takes_nothing_to_hold_but_out_of_reach_nothing_holds_it() -> None:
    locked = replace(PALM, drive=LeverPair(0.01, 0.04, square_deg=0.0))
    assert holding_nm(locked, [0.0, 10.0, 60.0], Wearer()).tolist() == [0.0, 0.0, np.inf]
