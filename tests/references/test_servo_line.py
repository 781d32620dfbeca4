"""The torque-speed line against published worked examples of brushed motors.

Source: MIT, Understanding D.C. Motor Characteristics (lancet.mit.edu/motor/motors3.html and
motors4.html): status: read; power recomputed from the page's stall torque and no-load speed. The
page rounds the torques at greatest power (0.163, 0.0361, 0.80 N.m). Proportion of both ends of the
line to the voltage: same source.
"""

from __future__ import annotations

from math import radians

import numpy as np
import pytest

from sim.model import CalibrationPoint, Rating, Servo
from sim.rig import servo

MOTORS = {
    "small": (0.325, 600.0, 300.0, 0.163, 5.105088),
    "fast": (0.0722, 3750.0, 1875.0, 0.0361, 7.088218),
    "geared": (1.6, 92.0, 46.0, 0.80, 3.853687),
}
"""Stall N.m, no-load rpm; at greatest power: rpm, N.m, W."""

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))


def rated(*ratings: Rating) -> Servo:
    return Servo("s", "b", 1, POINTS, (0.0, 90.0), ratings, idle_a=0.0)


@pytest.mark.parametrize("name", MOTORS)
def test_power_is_greatest_at_half_of_torque_and_speed(name: str) -> None:
    stall_nm, rpm, at_rpm, at_nm, watts = MOTORS[name]
    line = servo.line(rated(Rating(6.0, rpm * 6.0, stall_nm, 1.0)), 6.0)
    torque = np.linspace(0.0, stall_nm, 4001)
    power = torque * np.radians(servo.speed_at_deg_s(line, torque))
    best = int(np.argmax(power))
    assert power[best] == pytest.approx(watts, rel=1e-6)
    assert float(servo.greatest_power_w(line)) == pytest.approx(watts, rel=1e-6)
    assert torque[best] == pytest.approx(at_nm, rel=0.004)
    assert float(servo.speed_at_deg_s(line, at_nm)) / 6.0 == pytest.approx(at_rpm, rel=0.004)


def test_a_ten_kilogram_servo_at_two_fifths_of_its_torque_runs_at_three_fifths_of_its_speed() -> (
    None
):
    """10 kgf.cm, 0.15 s/60deg, 40 % load: recomputed from the straight line w = w0 (1 - T / Ts)."""
    line = servo.line(rated(Rating(6.0, 60.0 / 0.15, 10 * servo.KGF_CM_NM, 2.0)), 6.0)
    speed = float(servo.speed_at_deg_s(line, 0.4 * 0.980665))
    assert speed == pytest.approx(240.0, rel=1e-12)
    assert 60.0 / speed == pytest.approx(0.25, rel=1e-12)
    assert 0.4 * 0.980665 * radians(speed) == pytest.approx(1.6431199784707384, rel=1e-12)
    assert float(servo.greatest_power_w(line)) == pytest.approx(1.711583310907019, rel=1e-12)
    assert float(servo.share(line, 0.4 * 0.980665, 240.0)) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize(
    ("torque_nm", "speed_deg_s", "share"),
    [
        *((0.5, 100.0, 0.75), (-0.5, -100.0, 0.75), (0.25, 300.0, 1.0)),  # driving: the sum
        *((-0.5, 100.0, 0.5), (0.5, -100.0, 0.5), (-0.25, 300.0, 0.75), (0.25, -500.0, 1.25)),
        *((1.0, 0.0, 1.0), (0.0, 400.0, 1.0), (0.0, 0.0, 0.0)),
    ],
)
def test_a_part_that_is_braked_takes_the_greater_of_the_two_shares(
    torque_nm: float, speed_deg_s: float, share: float
) -> None:
    """1 N.m and 400 deg/s. The gears carry no more than the stall torque, whichever way it acts."""
    line = servo.line(rated(Rating(6.0, 400.0, 1.0, 2.0)), 6.0)
    assert float(servo.share(line, torque_nm, speed_deg_s)) == pytest.approx(share, rel=1e-12)


def test_both_ends_of_the_line_follow_the_voltage() -> None:
    """A brushed motor's stall torque and no-load speed are proportional to its voltage (MIT)."""
    line = servo.line(rated(Rating(6.0, 360.0, 1.0, 2.0)), [3.0, 6.0, 0.0])
    assert line.stall_nm == pytest.approx([0.5, 1.0, 0.0])
    assert line.speed_deg_s == pytest.approx([180.0, 360.0, 0.0])
    assert line.stall_a == pytest.approx([1.0, 2.0, 0.0])


def test_two_ratings_are_met_exactly_and_promise_the_lesser_outside() -> None:
    one = rated(Rating(4.8, 300.0, 0.9, 1.6), Rating(6.0, 400.0, 1.1, 2.0))
    line = servo.line(one, [4.8, 5.4, 6.0])
    assert line.stall_nm == pytest.approx([0.9, 1.0, 1.1])
    assert line.speed_deg_s == pytest.approx([300.0, 350.0, 400.0])
    outside = servo.line(one, [2.4, 7.2])
    straight = np.array([0.9 - 2.4 / 6.0, 1.1 + 0.2])
    proportional = np.array([0.45, 1.32])
    assert outside.stall_nm == pytest.approx(np.minimum(straight, proportional))


def test_a_servo_without_voltage_stands_without_a_torque_and_takes_none() -> None:
    """Both ends of its line are 0 there (MIT): no torque is no share of it, any other is beyond."""
    dead = servo.line(rated(Rating(6.0, 360.0, 1.0, 2.0)), 0.0)
    found = servo.share(dead, [0.0, 1.0, 0.0, 0.01], [0.0, 0.0, 1.0, 0.01])
    assert found.tolist() == [0.0, np.inf, np.inf, np.inf]
    assert servo.current_a(dead, [0.0, 1.0]).tolist() == [0.0, 0.0]
    assert servo.allowed_torque_nm(dead, [0.0, 1.0], 0.2).tolist() == [0.0, 0.0]


SHEETS = {
    "standard, 4.8 V": (0.160, 0.7),
    "standard, 6.0 V": (0.180, 0.8),
    "2 kgf.cm mini, 4.8 V": (0.070, 0.8),
    "2 kgf.cm mini, 6.0 V": (0.090, 0.9),
    "9 g metal gear, 5.0 V": (0.350, 1.0),
    "9 g metal gear, 6.0 V": (0.400, 1.2),
    "9 g fast, 4.8 V": (0.400, 1.3),
    "9 g fast, 6.0 V": (0.500, 1.6),
}
"""Hobby servos' sheets (read): no-load and stall current, A."""


def test_the_usual_no_load_current_is_the_most_that_a_sound_sheet_has() -> None:
    assert max(running / stall for running, stall in SHEETS.values()) == servo.NO_LOAD


def test_a_servo_in_motion_draws_its_no_load_current_at_least() -> None:
    plain = rated(Rating(6.0, 360.0, 1.0, 2.0))
    line = servo.line(plain, 6.0)
    assert servo.current_a(line, [0.0, 0.5, 1.0], 1.0) == pytest.approx([0.7, 1.35, 2.0])
    measured = rated(Rating(6.0, 360.0, 1.0, 2.0, 0.2))
    line = servo.line(measured, 6.0)
    assert servo.current_a(line, [0.0, 0.5, 1.0], 1.0) == pytest.approx([0.2, 1.1, 2.0])
    assert servo.current_a(line, [0.0, 0.5, 1.0], 0.0) == pytest.approx([0.0, 1.0, 2.0])


def test_a_servo_alone_comes_to_speed_by_its_time_constant() -> None:
    """dw/dt = (Ts / J) (1 - w / w0), solved: after tau 63.2 % of the no-load speed (Newton)."""
    rating = Rating(6.0, 353.0, 0.92, 2.1)
    inertia, w0 = servo.rotor_kg_m2((rating,), 0.02), radians(353.0)
    times = np.linspace(0.0, 0.02, 20001)
    speed = 0.0
    for step in np.diff(times):
        speed += step * 0.92 / inertia * (1.0 - speed / w0)
    assert speed / w0 == pytest.approx(1.0 - np.exp(-1.0), rel=1e-3)
    small, large = Rating(6.0, 500.0, 0.18, 0.8), Rating(6.0, 353.0, 2.0, 3.0)
    assert servo.rotor_kg_m2((small,)) < servo.rotor_kg_m2((large,))
    assert servo.rotor_kg_m2((small, large)) == servo.rotor_kg_m2((large,))


def test_a_servo_thrown_back_at_full_speed_draws_up_to_twice_its_stall_current() -> None:
    """2 Is - I0 of two sheets: 1.24 A (standard, 4.8 V) and 2.7 A (9 g fast, 6.0 V), recomputed."""
    standard = rated(Rating(4.8, 60.0 / 0.19, 3.0 * servo.KGF_CM_NM, 0.7, 0.16))
    fast = rated(Rating(6.0, 60.0 / 0.08, 2.2 * servo.KGF_CM_NM, 1.6, 0.5))
    assert servo.reversal_a(standard, 4.8) == pytest.approx(1.24)
    assert servo.reversal_a(fast, 6.0) == pytest.approx(2.7)


def test_current_runs_from_idle_to_stall_and_no_further() -> None:
    one = Servo("s", "b", 1, POINTS, (0, 90), (Rating(6.0, 360.0, 1.0, 2.0),), idle_a=0.1)
    current = servo.current_a(servo.line(one, 6.0), [0.0, 0.5, 1.0, 3.0])
    assert current == pytest.approx([0.1, 1.05, 2.0, 2.0])


def test_a_servo_that_runs_on_more_than_it_stalls_with_still_draws_its_stall_current() -> None:
    """2 Is - I0 would be less than Is where I0 is more."""
    odd = rated(Rating(6.0, 360.0, 1.0, 2.0, 2.5))
    assert servo.reversal_a(odd, 6.0) == pytest.approx(2.0)
    assert servo.reversal_a(rated(Rating(6.0, 360.0, 1.0, 2.0, 0.5)), 6.0) == pytest.approx(3.5)
