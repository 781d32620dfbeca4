"""Motion along a line and by a ram against elementary mechanics and a numeric reference.

Newton's second law on an inclined plane, springs, power F v; the lever arm of a cylinder between
two pins: law of cosines and virtual work (statics and dynamics, any textbook: Meriam and Kraige,
from memory). Derivatives by differences.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import cos, pi, radians, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqlang.text.units import PINION, SLIDING
from sim.model import (
    Board,
    CalibrationPoint,
    Grip,
    Law,
    Load,
    PointMass,
    Ram,
    Rating,
    Rig,
    Servo,
    Slide,
    Spring,
    Wearer,
)
from sim.rig import drive, load
from sim.rig.grip import gripping
from sim.rig.holding_torque import worst_hold
from sim.rig.pinch import pinch
from sim.rig.ratings import claim
from sim.rig.servo import current_a, line, speed_at_deg_s
from sim.rig.slide import PINION_M, STRAIGHT, of_horn, of_part
from sim.strain.envelope import asked_of_horn, assess, passage

G = 9.80665
RATING = Rating(6.0, 40.0, 60.0 * PINION_M, 2.0, 0.0)
"""40 mm/s, 60 N, 2 A."""

POINTS = (CalibrationPoint(0.0, 1000.0), CalibrationPoint(50.0, 2000.0))
CREST = Servo(
    *("crest", "b", 1, POINTS, (2.0, 48.0), (RATING,)),
    load=Load(slide=Slide(0.4, 30.0)),
    idle_a=0.0,
    linear=True,
)
RIG = Rig((), (Board("b", "any", 1),), (CREST,))


def force_n(torque_nm: object) -> np.ndarray:
    return np.asarray(torque_nm) / PINION_M


def needed_n(one: Servo, mm: float, mm_s: float, mm_s2: float, tilt: float = 0.0) -> np.ndarray:
    return force_n(load.needed_nm(one.load, mm, mm_s, mm_s2, tilt))


def test_the_pinion_turns_a_degree_on_a_millimetre() -> None:
    assert PINION_M * radians(1.0) == pytest.approx(0.001, rel=1e-15)
    assert float(PINION) == pytest.approx(PINION_M, rel=1e-15)
    assert Fraction(SLIDING.rate.scale) == PINION**2


def test_force_and_speed_stay_on_the_straight_line_of_the_sheet() -> None:
    """At half the force half the speed and half the current; power F v / 4 at the most."""
    at = line(CREST, 6.0)
    assert float(speed_at_deg_s(at, 30.0 * PINION_M)) == pytest.approx(20.0)
    assert float(current_a(at, 30.0 * PINION_M)) == pytest.approx(1.0)
    watts = float(at.stall_nm) * radians(float(at.speed_deg_s))
    assert watts == pytest.approx(60.0 * 0.040)


@pytest.mark.parametrize(("slope", "share"), [(90.0, 1.0), (30.0, 0.5), (0.0, 0.0), (-90.0, -1.0)])
def test_the_weight_on_a_slope_is_m_g_times_the_sine(slope: float, share: float) -> None:
    one = replace(CREST, load=Load(slide=Slide(0.4, slope)))
    low, high = needed_n(one, 20.0, 0.0, 0.0)
    assert low == pytest.approx(0.4 * G * share, abs=1e-12)
    assert high == pytest.approx(0.4 * G * share, abs=1e-12)


@given(st.floats(-90, 90), st.floats(0, 60), st.floats(-180, 180), st.floats(0, 1))
def test_no_posture_within_the_tilt_takes_more_or_less(
    slope: float, tilt: float, toward: float, lean: float
) -> None:
    """Gravity as a vector, leaned by a share of the tilt toward any side, dotted with the line."""
    one = replace(CREST, load=Load(slide=Slide(0.4, slope)))
    t, side = radians(lean * tilt), radians(toward)
    gravity = G * np.array([sin(t) * cos(side), sin(t) * sin(side), -cos(t)])
    way = np.array([cos(radians(slope)), 0.0, sin(radians(slope))])
    pulls = -0.4 * float(gravity @ way)
    low, high = needed_n(one, 20.0, 0.0, 0.0, tilt)
    assert low - 1e-9 <= pulls <= high + 1e-9


def test_the_worst_posture_is_reached() -> None:
    """A slope of 30 deg, leaned by 25 deg more: m g sin 55 deg."""
    low, high = needed_n(CREST, 20.0, 0.0, 0.0, 25.0)
    assert high == pytest.approx(0.4 * G * sin(radians(55.0)))
    assert low == pytest.approx(0.4 * G * sin(radians(5.0)))


def test_newton_s_law_spring_and_friction_along_the_line() -> None:
    """0.4 kg at 2 m/s2, 0.1 N/mm from 5 mm, 2 N of friction, at 20 mm on a slope of 30 deg."""
    spring = Spring(0.1 * 1000.0 * PINION_M**2, 5.0)
    carried = Load(slide=Slide(0.4, 30.0), springs=(spring,), friction_nm=2.0 * PINION_M)
    one = replace(CREST, load=carried)
    low, high = needed_n(one, 20.0, 10.0, 2000.0)
    expected = 0.4 * 2.0 + 0.4 * G * 0.5 + 0.1 * 15.0 + 2.0
    assert low == pytest.approx(expected)
    assert high == pytest.approx(expected)
    down, _ = needed_n(one, 20.0, -10.0, 0.0)
    assert down == pytest.approx(0.4 * G * 0.5 + 1.5 - 2.0)


@pytest.mark.parametrize(("gait", "g"), [("walks", 0.8), ("dances", 1.62), ("jumps", 4.0)])
def test_a_wearer_who_moves_shakes_the_mass_along_the_line(gait: str, g: float) -> None:
    held = worst_hold(CREST, Wearer(gait=gait))  # type: ignore[arg-type]
    assert force_n(held.torque_nm) == pytest.approx(0.4 * G * (0.5 + g))


def test_a_move_takes_the_law_s_acceleration_times_the_mass() -> None:
    """3-4-5: peak acceleration 5.7735 h / T2 (VDI 2143, from memory), on a level line."""
    one = replace(CREST, load=Load(slide=Slide(0.4, 0.0)))
    found = assess(RIG, one, 5.0, 45.0, 4000.0, Law("3-4-5"), 6.0)
    peak = force_n(found.peak_torque_nm[0])
    assert peak == pytest.approx(0.4 * 5.7735 * 0.040 / 16.0, rel=1e-3)
    assert float(found.peak_speed_deg_s[0]) == pytest.approx(1.875 * 40.0 / 4.0)


def test_a_rod_presses_with_its_force_everywhere() -> None:
    found = pinch(CREST, 6.0, 30.0)
    assert found is not None
    assert found.straight
    assert found.nip is None
    assert found.tip.force_n == pytest.approx(60.0 + 0.4 * G * 0.5)
    assert found.energy_j == pytest.approx(0.4 * 0.030**2 / 2.0)


def test_a_rod_grips_with_its_declared_force() -> None:
    one = replace(CREST, load=Load(slide=Slide(0.4, 0.0)), grip=Grip(40.0, 1, 2.0, 8.0, PINION_M))
    found = gripping(Rig((), RIG.boards, (one,)), one)
    assert found is not None
    assert force_n(found.torque_nm) == pytest.approx(8.0)


def test_a_sheet_that_promises_more_than_its_power_cannot_be() -> None:
    """60 N at 40 mm/s are 2.4 W; 6 V times 2 A are 12 W."""
    assert claim(RATING).claimed == pytest.approx(2.4 / 12.0)


LID = Servo(
    *("lid", "b", 2, (CalibrationPoint(0.0, 1000.0), CalibrationPoint(80.0, 2000.0))),
    travel_deg=(0.0, 70.0),
    ratings=(RATING,),
    load=Load((PointMass(0.1, 0.15),)),
    drive=Ram(0.080, 0.030, 50.0),
    linear=True,
)


def test_a_ram_is_as_long_as_the_pins_are_apart() -> None:
    for part in (0.0, 35.0, 70.0):
        a = radians(part + 50.0)
        pins = np.hypot(0.030 * cos(a) - 0.080, 0.030 * sin(a))
        assert float(drive.horn(LID, part).angle_deg) == pytest.approx(1000.0 * pins)


@given(st.floats(0.02, 0.2), st.floats(0.02, 0.2), st.floats(10.0, 170.0))
def test_a_ram_s_ratio_and_bend_are_the_derivatives_of_its_length(
    ground: float, arm: float, part: float
) -> None:
    one = replace(LID, drive=Ram(ground, arm))
    step = 1e-3
    at = drive.horn(one, np.array([part - step, part, part + step]))
    slope = (at.angle_deg[2] - at.angle_deg[0]) / (2.0 * step)
    assert float(at.ratio[1]) == pytest.approx(slope, rel=1e-5, abs=1e-7)
    bend = (at.ratio[2] - at.ratio[0]) / radians(2.0 * step)
    assert float(at.bend[1]) == pytest.approx(bend, rel=1e-4, abs=1e-5)


def test_force_times_lever_arm_is_the_torque() -> None:
    """The lever arm is the distance of the rod's line from the hinge, by the triangle's area."""
    part = 20.0
    a = radians(part + 50.0)
    length = float(drive.horn(LID, part).angle_deg) / 1000.0
    arm_m = 0.080 * 0.030 * sin(a) / length
    rod = drive.horn_torque_nm(drive.horn(LID, part), 0.0, 1.5, 0.0, 0.0)
    assert force_n(rod) == pytest.approx(1.5 / arm_m)


def test_a_ram_at_its_dead_point_is_stuck() -> None:
    assert drive.reach(LID).stuck_deg is None
    folded = replace(LID, travel_deg=(-60.0, 70.0))
    assert drive.reach(folded).stuck_deg == pytest.approx(-50.0, abs=0.11)


def test_power_at_the_rod_is_power_at_the_lid() -> None:
    """Without a rotor and losses, at every instant: F v = T w."""
    bare = replace(LID, rotor_kg_m2=0.0)
    _, angle, speed, accel = passage(5.0, 65.0, 3000.0, Law("3-4-5"))
    low, _, horn = asked_of_horn(bare, angle, speed, accel, Wearer())
    part, _ = load.needed_nm(bare.load, angle, speed, accel)
    rod_w = force_n(low) * horn / 1000.0
    assert rod_w == pytest.approx(part * np.radians(speed), abs=1e-9)


def test_what_is_told_has_the_units_of_its_kind() -> None:
    assert of_part(CREST) is of_horn(CREST) is of_horn(LID) is STRAIGHT
    assert of_part(LID).place == "deg"
    assert STRAIGHT.of_torque(60.0 * PINION_M) == pytest.approx(60.0)
    assert pi == pytest.approx(0.18 / PINION_M)
