"""Contact limits as published, and the pinch force's arithmetic.

ISO/TS 15066:2016 table A.2, quasi-static force by body region: from memory, corroborated once by a
public source file with the same twelve numbers; not seen in the standard.
"""

from __future__ import annotations

import pytest

from sim.model import CalibrationPoint, Gear, Load, PointMass, Rating, Servo
from sim.rig.pinch import QUASI_STATIC_N, STATUS, pinch

REGIONS = {
    "skull and forehead": 130,
    "face": 65,
    "neck": 150,
    "back and shoulders": 210,
    "chest": 140,
    "abdomen": 110,
    "pelvis": 180,
    "upper arms and elbow joints": 150,
    "lower arms and wrist joints": 160,
    "hands and fingers": 140,
    "thighs and knees": 220,
    "lower legs": 130,
}


def jaw(**changes: object) -> Servo:
    plain: dict[str, object] = {"tip_m": 0.1}
    points = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))
    rating = (Rating(6.0, 353.0, 1.0, 2.0),)
    return Servo("jaw", "b", 1, points, (0.0, 55.0), rating, **{**plain, **changes})  # type: ignore[arg-type]


def test_the_regions_carry_the_published_numbers() -> None:
    assert QUASI_STATIC_N == REGIONS


def test_the_status_of_the_limits_is_said_and_no_verdict_given() -> None:
    assert "from memory" in STATUS
    assert "not a verdict" in STATUS


def test_force_at_the_tip_is_stall_torque_over_its_distance() -> None:
    found = pinch(jaw(), 6.0, "face")
    assert found is not None
    assert found.force_n == pytest.approx(10.0)
    assert found.limit_n == 65.0
    assert not found.over_limit


def test_a_geared_part_pinches_as_many_times_harder_and_its_weight_helps() -> None:
    geared = pinch(jaw(drive=Gear(8.0)), 6.0, "face")
    assert geared is not None
    assert geared.force_n == pytest.approx(80.0)
    assert geared.over_limit
    heavy = pinch(jaw(load=Load((PointMass(0.5, 0.08),))), 6.0, "face")
    assert heavy is not None
    assert heavy.force_n == pytest.approx(10.0 + 0.5 * 9.80665 * 0.08 / 0.1)


def test_force_grows_with_the_voltage_and_an_unknown_region_has_no_limit() -> None:
    found = pinch(jaw(), 7.4, "tail")
    assert found is not None
    assert found.force_n == pytest.approx(10.0 * 7.4 / 6.0)
    assert found.limit_n is None
    assert not found.over_limit


def test_a_part_without_a_tip_pinches_nobody() -> None:
    assert pinch(jaw(tip_m=None), 6.0, "face") is None
