"""Following: what must hold whatever the servo."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.model import (
    Board,
    CalibrationPoint,
    Gear,
    Law,
    Load,
    PointMass,
    Rating,
    Rig,
    Servo,
)
from sim.score.laws import position
from sim.strain import response

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))

JAW = Servo(
    "jaw",
    "b",
    1,
    POINTS,
    (0.0, 80.0),
    (Rating(6.0, 350.0, 0.92, 2.1),),
    load=Load((PointMass(0.1, 0.08),), level_deg=10.0),
)


def rig_of(*servos: Servo) -> Rig:
    return Rig(boards=(Board("b", "atmega328p", 1),), outputs=servos)


def move(start: float, end: float, milliseconds: int, after: int = 1000) -> np.ndarray:
    x = np.arange(milliseconds) / milliseconds
    way = start + (end - start) * position(Law("3-4-5"), x)
    return np.concatenate([way, np.full(after, end)])[:, None]


def followed(one: Servo, command: np.ndarray, volts: float = 6.0) -> response.Response:
    return response.follow(rig_of(one), [one], command, volts)


def test_a_slow_move_is_followed_to_within_its_dead_band_and_lag() -> None:
    found = followed(JAW, move(5.0, 60.0, 1500))
    assert np.abs(found.error_deg[-1, 0]) <= 4.0 / 2.0 * 90.0 / 1200.0 + 1e-3
    peak_speed = 1.875 * 55.0 / 1.5
    lag = peak_speed * response.FULL_DRIVE_DEG / 350.0
    assert np.abs(found.error_deg).max() == pytest.approx(lag, abs=0.6)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 2.0])
def test_a_servo_drives_fully_at_one_error_of_its_horn_whatever_the_gear(ratio: float) -> None:
    """A slow steady motion is followed v / gain behind, and gain is per degree of the horn."""
    geared = replace(JAW, drive=Gear(ratio), load=Load(), dead_band_us=0.0, travel_deg=(0.0, 80.0))
    command = (5.0 + 40.0 * np.arange(1500) / 1000.0)[:, None]
    behind = followed(geared, command).error_deg[-1, 0]
    horn_speed = ratio * 40.0
    assert ratio * behind == pytest.approx(
        horn_speed * response.FULL_DRIVE_DEG / 350.0, abs=0.05 * ratio
    )


def test_no_part_is_faster_than_its_no_load_speed() -> None:
    found = followed(JAW, move(5.0, 75.0, 100))
    assert np.abs(found.speed_deg_s).max() <= 350.0 * (1.0 + 1e-3)
    assert found.error_deg.max() > 20.0
    assert np.abs(found.error_deg[-1, 0]) < 1.0


def test_a_part_that_its_weight_pulls_down_is_held_to_the_speed_of_its_servo() -> None:
    """300 g at 80 mm beside 0.92 N.m: the servo brakes what would fall faster."""
    heavy = replace(JAW, load=Load((PointMass(0.3, 0.08),), level_deg=10.0))
    command = np.concatenate([np.full(50, 80.0), np.full(700, 0.0)])[:, None]
    speed = followed(heavy, command).speed_deg_s
    assert -350.0 * 1.02 <= speed.min() <= -350.0 * 0.95


def test_a_lower_voltage_follows_later() -> None:
    errors = [
        float(np.abs(followed(JAW, move(5.0, 60.0, 400), v).error_deg).max())
        for v in (6.0, 5.0, 4.0)
    ]
    assert errors == sorted(errors)


def test_a_servo_that_cannot_carry_its_part_sinks() -> None:
    heavy = replace(JAW, load=Load((PointMass(2.0, 0.08),), level_deg=10.0))
    found = followed(heavy, np.full((1500, 1), 40.0))
    assert found.angle_deg[-1, 0] < 20.0


def test_a_step_within_the_dead_band_moves_nothing() -> None:
    wide = replace(JAW, dead_band_us=40.0)
    half = 20.0 * 90.0 / 1200.0
    command = np.full((400, 1), 30.0)
    command[100:] += 0.9 * half
    assert np.ptp(followed(wide, command).angle_deg) < 1e-6
    command[100:] += 0.3 * half
    assert np.ptp(followed(wide, command).angle_deg) > 0.05 * half


def test_servos_follow_as_they_would_alone() -> None:
    weak = replace(JAW, name="weak", ratings=(Rating(6.0, 200.0, 0.2, 0.5),))
    rig = rig_of(JAW, weak)
    command = np.concatenate([move(5.0, 60.0, 500), move(70.0, 20.0, 500)], axis=1)
    both = response.follow(rig, [JAW, weak], command, 6.0)
    for n, one in enumerate((JAW, weak)):
        alone = response.follow(rig, [one], command[:, n : n + 1], 6.0)
        assert both.angle_deg[:, n] == pytest.approx(alone.angle_deg[:, 0], abs=2e-3)


def test_pulses_come_once_a_frame() -> None:
    command = np.arange(100.0)[:, None]
    seen = response.held(command)
    assert seen[:20, 0].tolist() == [0.0] * 20
    assert seen[20:40, 0].tolist() == [20.0] * 20
    assert response.held(command, 0.005)[:5, 0].tolist() == [0.0, 0.0, 0.0, 0.0, 4.0]


def test_a_long_rest_is_carried_over_as_it_stands() -> None:
    """Hours of rest would need a run of every stretch if rests were not carried over."""
    command = np.concatenate([move(5.0, 60.0, 700), np.full((60_000, 1), 60.0)])
    found = followed(JAW, command)
    assert np.ptp(found.angle_deg[3000:]) < 2e-3
    assert found.angle_deg[-1, 0] == pytest.approx(found.angle_deg[3000, 0], abs=2e-3)
