"""Holding torque at the horn: through gears either way round, through levers, at its hardest.

A weight of 140 g at 80 mm, level at 0 deg, takes m g r cos(angle) = 0.10983 N.m cos(angle).
"""

from __future__ import annotations

from dataclasses import replace
from math import cos, radians

import numpy as np
import pytest

from sim.model import CalibrationPoint, FourBar, Gear, LeverPair, Load, PointMass, Servo, Wearer
from sim.rig.holding_torque import holding_nm, worst_hold

LEVEL_NM = 0.14 * 9.80665 * 0.08
STILL = Wearer()
POINTS = (CalibrationPoint(-90.0, 900.0), CalibrationPoint(90.0, 2100.0))
JAW = Servo("jaw", "b", 1, POINTS, (20.0, 60.0), (), load=Load((PointMass(0.14, 0.08),)))
LEVERS = LeverPair(0.02, 0.04, square_deg=40.0)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 2.0, -2.0])
def test_a_gear_divides_the_torque_by_its_ratio(ratio: float) -> None:
    geared = replace(JAW, drive=Gear(ratio))
    expected = LEVEL_NM * cos(radians(20.0)) / abs(ratio)
    hardest = worst_hold(geared, STILL)
    assert hardest.torque_nm == pytest.approx(expected, rel=1e-9)
    assert hardest.angle_deg == 20.0
    assert float(holding_nm(geared, 20.0, STILL)) == pytest.approx(expected, rel=1e-9)


def test_levers_of_one_to_two_halve_the_torque_where_they_stand_square() -> None:
    by_levers = replace(JAW, drive=LEVERS)
    square = LEVEL_NM * cos(radians(40.0)) / 2.0
    assert float(holding_nm(by_levers, 40.0, STILL)) == pytest.approx(square, rel=1e-9)


@pytest.mark.parametrize(
    "drive", [LEVERS, FourBar(0.06, 0.03, 0.055, 0.03, arm_zero_deg=50.0)], ids=["levers", "bar"]
)
@pytest.mark.parametrize("travel", [(20.0, 60.0), (35.0, 55.0)])
@pytest.mark.parametrize("level_deg", [0.0, 40.0, 100.0])
def test_the_hardest_pose_of_a_linkage_is_the_hardest_of_all(
    drive: LeverPair | FourBar, travel: tuple[float, float], level_deg: float
) -> None:
    part = replace(JAW, drive=drive, travel_deg=travel, load=replace(JAW.load, level_deg=level_deg))
    angles = np.linspace(*travel, 4001)
    every = holding_nm(part, angles, STILL)
    hardest = worst_hold(part, STILL)
    assert hardest.torque_nm >= every.max() * (1.0 - 1e-9)
    assert hardest.torque_nm <= every.max() * (1.0 + 1e-4)
    assert travel[0] <= hardest.angle_deg <= travel[1]
    assert float(holding_nm(part, hardest.angle_deg, STILL)) == pytest.approx(hardest.torque_nm)


def test_only_the_poses_between_two_angles_are_looked_at() -> None:
    by_levers = replace(JAW, drive=LEVERS)
    hardest = worst_hold(by_levers, STILL, (50.0, 55.0))
    assert 50.0 <= hardest.angle_deg <= 55.0
    every = holding_nm(by_levers, np.linspace(50.0, 55.0, 2001), STILL)
    assert hardest.torque_nm == pytest.approx(every.max(), rel=1e-5)
    geared = replace(JAW, drive=Gear(2.0))
    assert worst_hold(geared, STILL, (50.0, 55.0)).angle_deg == 50.0


def test_a_load_that_pulls_either_way_is_held_by_the_greater() -> None:
    """Leaning 30 deg either way from 80 deg: 50 deg is harder than 110 deg."""
    leaning = replace(STILL, tilt_deg=30.0)
    found = float(holding_nm(JAW, 80.0, leaning))
    assert found == pytest.approx(LEVEL_NM * cos(radians(50.0)), rel=1e-9)
    other = replace(JAW, load=replace(JAW.load, lowers=True))
    assert float(holding_nm(other, 80.0, leaning)) == pytest.approx(found, rel=1e-9)


def test_a_pose_that_the_linkage_cannot_reach_takes_endless_torque() -> None:
    locked = replace(JAW, drive=LeverPair(0.01, 0.04, square_deg=40.0))
    assert np.isinf(holding_nm(locked, 60.0, STILL))
    assert np.isfinite(holding_nm(locked, 50.0, STILL))
