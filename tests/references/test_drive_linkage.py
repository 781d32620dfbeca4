"""Linkages against worked examples of a machine design handbook and against Lagrange's equation.

Source: Norton, Design of Machinery, examples 4-1 (position), 6-7 (velocity), 7-1 (acceleration):
four-bar with ground 100, crank 40, coupler 120, rocker 80 mm, crank at 40 deg, 25 rad/s, 15 rad/s2.
Status: from memory; every figure agrees with an independent solution of the loop to all its digits.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from sim.model import CalibrationPoint, Drive, FourBar, Gear, LeverPair, Servo
from sim.rig import drive


def servo_with(one: Drive, low: float, high: float, rotor: float = 0.0) -> Servo:
    return Servo("s", "b", 1, (), (low, high), (), drive=one, rotor_kg_m2=rotor)


def arm_at_crank_40(crossed: bool, low: float, high: float) -> tuple[Servo, float]:
    bar = FourBar(0.100, 0.040, 0.120, 0.080, crossed=crossed)
    one = servo_with(bar, low, high)
    return one, brentq(lambda p: float(drive.horn(one, p).angle_deg) - 40.0, low, high)


def test_the_open_four_bar_stands_where_the_handbook_says() -> None:
    """Example 4-1: rocker at 57.33 deg for the open assembly."""
    _, arm = arm_at_crank_40(False, 56.0, 60.0)
    assert arm == pytest.approx(57.33, abs=0.006)


def test_the_crossed_four_bar_stands_where_the_handbook_says() -> None:
    """Example 4-1: rocker at -98.01 deg for the crossed assembly."""
    _, arm = arm_at_crank_40(True, -99.0, -97.0)
    assert arm == pytest.approx(-98.01, abs=0.006)


def test_the_four_bar_s_ratio_gives_the_handbook_s_velocity_and_acceleration() -> None:
    """Example 6-7: rocker 6.998 rad/s at crank 25 rad/s. Example 7-1: 470.134 rad/s2 at 15."""
    one, arm = arm_at_crank_40(False, 56.0, 60.0)
    at = drive.horn(one, arm)
    speed = 25.0 / float(at.ratio)
    assert speed == pytest.approx(6.998, abs=0.0005)
    acceleration = (15.0 - float(at.bend) * speed**2) / float(at.ratio)
    assert acceleration == pytest.approx(470.134, abs=0.001)


@settings(max_examples=150)
@given(
    *[st.floats(0.01, 0.1)] * 4,
    st.floats(-180.0, 180.0),
    st.booleans(),
)
def test_the_horn_never_jumps_along_a_travel(
    ground: float, horn: float, rod: float, arm: float, zero: float, crossed: bool
) -> None:
    """Its angle is the integral of its ratio, wherever the linkage can be: no turn is added."""
    assume(abs(ground - arm) > 0.05 * ground)  # else the joint runs over the horn's own pivot
    one = servo_with(FourBar(ground, horn, rod, arm, zero, crossed), -90.0, 90.0)
    parts = np.linspace(-90.0, 90.0, 3601)
    at = drive.horn(one, parts)
    steps = np.diff(at.angle_deg)
    steep = np.maximum(np.abs(at.ratio[1:]), np.abs(at.ratio[:-1]))
    sure = np.isfinite(steps) & (steep < 50.0)
    assert np.all(np.abs(steps[sure]) < 10.0)


def test_a_crossed_four_bar_s_horn_goes_on_through_half_a_turn() -> None:
    bar = FourBar(0.06, 0.025, 0.075, 0.03, arm_zero_deg=-95.0, crossed=True)
    one = servo_with(bar, -25.0, 25.0)
    parts = np.linspace(-25.0, 25.0, 51)
    at = drive.horn(one, parts)
    assert float(np.abs(np.diff(at.angle_deg)).max()) < 4.0
    points = tuple(CalibrationPoint(p, 1500.0 + 10.0 * p) for p in (-25.0, 25.0))
    assert drive.calibration_gap(replace(one, points=points)).worst_deg < 12.0


def test_a_parallelogram_turns_its_arm_as_its_horn() -> None:
    one = servo_with(FourBar(0.05, 0.02, 0.05, 0.02, arm_zero_deg=90.0), -60.0, 60.0)
    at = drive.horn(one, np.linspace(-60.0, 60.0, 13))
    assert at.angle_deg == pytest.approx(np.linspace(30.0, 150.0, 13), abs=1e-9)
    assert at.ratio == pytest.approx(np.ones(13), abs=1e-9)
    assert at.bend == pytest.approx(np.zeros(13), abs=1e-9)


def test_a_lever_pair_of_equal_levers_is_a_gear_of_one() -> None:
    at = drive.horn(servo_with(LeverPair(0.02, 0.02), -40.0, 40.0), [-40.0, 0.0, 25.0])
    assert at.angle_deg == pytest.approx([-40.0, 0.0, 25.0], abs=1e-9)
    assert at.ratio == pytest.approx([1.0, 1.0, 1.0], abs=1e-12)


@settings(max_examples=60)
@given(
    st.sampled_from(
        [
            Gear(-2.5),
            LeverPair(0.03, 0.02),
            LeverPair(0.02, 0.021, square_deg=10.0),
            FourBar(0.06, 0.02, 0.063, 0.03, arm_zero_deg=85.0),
            FourBar(0.06, 0.025, 0.075, 0.03, arm_zero_deg=-95.0, crossed=True),
        ]
    ),
    st.floats(-30.0, 30.0),
)
def test_ratio_and_bend_are_the_derivatives_of_the_horn_s_angle(one: Drive, part: float) -> None:
    servo = servo_with(one, -35.0, 35.0)
    step = 1e-4
    left, at, right = (drive.horn(servo, part + d) for d in (-step, 0.0, step))
    assume(np.isfinite(float(left.ratio + at.ratio + right.ratio)) and abs(float(at.ratio)) < 20.0)
    slope = (float(right.angle_deg) - float(left.angle_deg)) / (2.0 * step)
    curve = (float(right.ratio) - float(left.ratio)) / np.radians(2.0 * step)
    assert float(at.ratio) == pytest.approx(slope, rel=1e-5, abs=1e-6)
    assert float(at.bend) == pytest.approx(curve, rel=1e-4, abs=1e-4)


@settings(max_examples=40)
@given(st.floats(-25.0, 25.0), st.floats(-400.0, 400.0), st.floats(-5000.0, 5000.0))
def test_horn_torque_is_lagrange_s_equation_for_the_reflected_inertia(
    part: float, speed: float, accel: float
) -> None:
    """I_h h'' + (1/2) dI_h/dh h'**2, with h'' = n p'' + n' p'**2, equals I p'' / n."""
    one = servo_with(FourBar(0.06, 0.02, 0.063, 0.03, arm_zero_deg=85.0), -35.0, 35.0)
    at = drive.horn(one, part)
    inertia, rate = drive.reflected_inertia_kg_m2(at, 0.002)
    p1, p2 = np.radians(speed), np.radians(accel)
    h1, h2 = at.ratio * p1, at.ratio * p2 + at.bend * p1**2
    lagrange = float(inertia * h2 + 0.5 * rate * h1**2)
    ours = float(drive.horn_torque_nm(at, 0.0, 0.002 * p2, speed, accel))
    assert ours == pytest.approx(lagrange, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(("part_nm", "speed"), [(0.4, 100.0), (-0.4, -100.0)])
def test_a_lossy_gear_asks_for_more_while_the_horn_drives_and_never_for_less(
    part_nm: float, speed: float
) -> None:
    """Power in times efficiency is power out (definition of efficiency)."""
    at = drive.horn(servo_with(Gear(2.0), -60.0, 60.0), 0.0)
    driving = float(drive.horn_torque_nm(at, 0.0, part_nm, speed, 0.0, 0.8))
    assert driving * 2.0 * speed * 0.8 == pytest.approx(part_nm * speed)
    for held_back in (-speed, 0.0):
        braking = float(drive.horn_torque_nm(at, 0.0, part_nm, held_back, 0.0, 0.8))
        assert braking == pytest.approx(part_nm / 2.0)


def test_energy_is_kept_through_a_four_bar() -> None:
    """Work done by the horn torque equals the kinetic energy of part and servo at every instant.

    Integrated by `scipy.integrate.solve_ivp` along a prescribed motion of the part.
    """
    one = servo_with(FourBar(0.06, 0.02, 0.063, 0.03, arm_zero_deg=85.0), -35.0, 35.0, rotor=1e-4)
    inertia, w = 0.002, 2.0 * np.pi / 0.8

    def motion(t: float) -> tuple[float, float, float]:
        return 25.0 * np.sin(w * t), 25.0 * w * np.cos(w * t), -25.0 * w * w * np.sin(w * t)

    def power(t: float, _: np.ndarray) -> list[float]:
        angle, speed, accel = motion(t)
        at = drive.horn(one, angle)
        torque = drive.horn_torque_nm(at, 1e-4, inertia * np.radians(accel), speed, accel)
        return [float(torque * at.ratio * np.radians(speed))]

    times = np.linspace(0.0, 0.7, 29)
    work = solve_ivp(power, (0.0, 0.7), [0.0], t_eval=times, rtol=1e-9, atol=1e-12).y[0]

    def kinetic(t: float) -> float:
        angle, speed, _ = motion(t)
        n = float(drive.horn(one, angle).ratio)
        return 0.5 * (inertia + 1e-4 * n * n) * np.radians(speed) ** 2

    energy = np.array([kinetic(t) for t in times])
    assert work == pytest.approx(energy - energy[0], abs=2e-9)


def test_a_linkage_that_cannot_reach_its_travel_is_told() -> None:
    stuck = drive.reach(servo_with(FourBar(0.05, 0.015, 0.05, 0.025, arm_zero_deg=80.0), -40, 60))
    assert stuck.stuck_deg == pytest.approx(-40.0)
    assert drive.reach(servo_with(LeverPair(0.015, 0.03), -40.0, 40.0)).stuck_deg is not None
    good = drive.reach(servo_with(FourBar(0.06, 0.02, 0.063, 0.03, arm_zero_deg=85.0), -30, 30))
    assert good.stuck_deg is None
    assert good.transmission_deg is not None
    assert good.transmission_deg > drive.LEAST_TRANSMISSION_DEG


def test_the_transmission_angle_is_the_one_between_rod_and_arm() -> None:
    """Against the joints' own coordinates: acute angle of the vectors P - Q and P - pivot."""
    bar = FourBar(0.06, 0.02, 0.063, 0.03, arm_zero_deg=85.0)
    one = servo_with(bar, -30.0, 30.0)
    for part in (-30.0, -5.0, 20.0):
        arm, h = np.radians(part + 85.0), np.radians(float(drive.horn(one, part).angle_deg))
        joint = np.array([0.06 + 0.03 * np.cos(arm), 0.03 * np.sin(arm)])
        rod = joint - 0.02 * np.array([np.cos(h), np.sin(h)])
        lever = joint - np.array([0.06, 0.0])
        cosine = abs(rod @ lever) / np.linalg.norm(rod) / np.linalg.norm(lever)
        assert np.linalg.norm(rod) == pytest.approx(0.063, rel=1e-9)
        ours = float(drive.transmission_deg(bar, one, part))
        assert ours == pytest.approx(np.degrees(np.arccos(cosine)), abs=1e-6)
