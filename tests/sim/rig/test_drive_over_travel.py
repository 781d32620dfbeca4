"""Where a linkage locks, how flat its rod lies, and what is missed between calibration points.

Levers with sin(horn) = k sin(part) from square have the ratio k cos(part) / cos(horn) (the loop
closed; derivative by hand). It ends in a dead point of the horn where sin(part) = 1 / k, and of the
part at 90 deg.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.model import CalibrationPoint, Drive, FourBar, Gear, LeverPair, Ram, Servo
from sim.rig.drive import (
    LEAST_TRANSMISSION_DEG,
    calibration_gap,
    horn,
    reach,
    transmission_deg,
)


def part(drive: Drive, low: float, high: float, *angles: float) -> Servo:
    points = tuple(CalibrationPoint(a, 1000.0 + 10.0 * a) for a in angles or (low, high))
    return Servo("s", "b", 1, points, (low, high), (), drive=drive)


FAST = LeverPair(0.02, 0.04, square_deg=0.0)
"""k = 2: the horn's dead point is at 30 deg."""
SLOW = LeverPair(0.04, 0.02, square_deg=0.0)
"""k = 1/2: the part's own is at 90 deg."""


def test_a_horn_is_stuck_where_it_turns_a_thousand_times_as_fast() -> None:
    # 0.0001 deg before 30 deg the ratio is 704, 0.00001 deg before it 2228 (by the formula above)
    assert reach(part(FAST, 0.0, 29.9999)).stuck_deg is None
    assert reach(part(FAST, 0.0, 29.99999)).stuck_deg == pytest.approx(29.99999)


@pytest.mark.parametrize("way_round", [1.0, -1.0])
def test_a_horn_is_stuck_beyond_a_thousand_and_below_a_thousandth_either_way_round(
    way_round: float,
) -> None:
    for ratio, sound in ((999.0, True), (1001.0, False), (0.00101, True), (0.00099, False)):
        found = reach(part(Gear(way_round * ratio), 0.0, 40.0))
        assert (found.stuck_deg is None) is sound
        if sound:
            assert found.ratios == pytest.approx((ratio, ratio))


def test_a_horn_is_stuck_where_it_turns_a_thousandth_as_fast() -> None:
    # ratio 0.5 cos(p) / cos(30 deg): 0.00302 at 89.7 deg, 0.0005 at 89.95 deg
    assert reach(part(SLOW, 0.0, 89.7)).stuck_deg is None
    assert reach(part(SLOW, 0.0, 89.95)).stuck_deg == pytest.approx(89.95)


def test_a_dead_point_inside_the_travel_is_found_at_the_first_angle_behind_it() -> None:
    found = reach(part(FAST, -20.0, 60.0))
    assert found.stuck_deg == pytest.approx(30.0, abs=0.11)
    assert reach(part(FAST, -60.0, 20.0)).stuck_deg == -60.0


def test_a_four_bar_that_turns_its_horn_back_is_stuck() -> None:
    # horn and rod fold over: ground 100, horn 100, rod 20, arm 40 reverses the horn on its way
    back = FourBar(0.100, 0.060, 0.100, 0.030, arm_zero_deg=100.0)
    at = horn(part(back, 0.0, 150.0), np.linspace(0.0, 150.0, 1501)).ratio
    turns = np.flatnonzero(np.diff(np.sign(at[np.isfinite(at)])))
    assert turns.size
    stuck = reach(part(back, 0.0, 150.0)).stuck_deg
    assert stuck == pytest.approx(0.1 * (turns[0] + 1), abs=0.2)


def test_the_ratios_of_a_travel_are_its_least_and_greatest() -> None:
    found = reach(part(FAST, -10.0, 20.0))
    assert found.ratios[0] == pytest.approx(2.0, rel=1e-4)
    p = np.radians(20.0)
    greatest = 2.0 * np.cos(p) / np.sqrt(1.0 - (2.0 * np.sin(p)) ** 2)
    assert found.ratios[1] == pytest.approx(greatest, rel=1e-9)
    assert reach(part(Gear(-1.5), 0.0, 60.0)).ratios == (1.5, 1.5)
    assert found.transmission_deg is None
    assert found.flattest_deg is None


def test_the_rod_of_a_parallelogram_stands_to_the_arm_at_the_arms_angle() -> None:
    bar = FourBar(0.06, 0.025, 0.06, 0.025, arm_zero_deg=30.0)
    one = part(bar, 5.0, 80.0)
    angles = np.array([10.0, 40.0, 60.0, 80.0])
    acute = [40.0, 70.0, 90.0, 70.0]
    assert transmission_deg(bar, one, angles) == pytest.approx(acute, abs=1e-6)
    found = reach(one)
    assert found.transmission_deg == pytest.approx(35.0, abs=1e-6)
    assert found.flattest_deg == 5.0


def missed(servo: Servo, low: float, high: float, left: float, right: float) -> float:
    """The miss by inverting the linkage on a fine grid: the part's angle at the horn's straight."""
    angles = np.linspace(low, high, 2001)
    ends = horn(servo, [left, right]).angle_deg
    straight = ends[0] + (angles - left) / (right - left) * (ends[1] - ends[0])
    fine = np.linspace(left, right, 20001)
    reached = np.interp(straight, horn(servo, fine).angle_deg, fine)
    return float(np.max(np.abs(reached - angles)))


@pytest.mark.parametrize(
    ("travel", "points", "between"),
    [
        ((0.0, 40.0), (0.0, 40.0), (0.0, 40.0)),
        ((5.0, 35.0), (0.0, 40.0), (0.0, 40.0)),
        ((0.0, 18.0), (0.0, 20.0, 40.0), (0.0, 20.0)),
        ((22.0, 40.0), (0.0, 20.0, 40.0), (20.0, 40.0)),
        ((0.0, 40.0), (0.0, 30.0, 40.0), (0.0, 30.0)),
        ((0.0, 40.0), (0.0, 10.0, 40.0), (10.0, 40.0)),
    ],
)
def test_the_miss_between_points_is_the_greatest_within_the_travel(
    travel: tuple[float, float], points: tuple[float, ...], between: tuple[float, float]
) -> None:
    square = replace(FAST, square_deg=20.0)
    one = part(square, *travel, *points)
    found = calibration_gap(one)
    assert found.between_deg == between
    low, high = max(travel[0], between[0]), min(travel[1], between[1])
    # the gap is first order, and takes 65 angles
    assert found.worst_deg == pytest.approx(missed(one, low, high, *between), rel=0.15)
    assert low < found.at_deg < high


def test_a_part_that_only_moves_near_the_middle_misses_less() -> None:
    wide = calibration_gap(part(replace(FAST, square_deg=20.0), 0.0, 40.0)).worst_deg
    square = replace(FAST, square_deg=20.0)
    narrow = calibration_gap(part(square, 18.0, 22.0, 0.0, 40.0)).worst_deg
    assert narrow < wide / 3.0


def test_gears_miss_nothing() -> None:
    assert calibration_gap(part(Gear(2.0), 0.0, 40.0)).worst_deg == pytest.approx(0.0, abs=1e-9)


def test_levers_without_a_stated_square_stand_square_in_the_middle_of_the_travel() -> None:
    one = part(LeverPair(0.02, 0.04), 10.0, 40.0)
    at = horn(one, [15.0, 25.0, 35.0])
    assert at.ratio[1] == pytest.approx(2.0)
    assert at.angle_deg[1] == 25.0
    assert at.ratio[0] == pytest.approx(at.ratio[2])
    assert at.ratio[0] > 2.0


@pytest.mark.parametrize(("angle", "is_there"), [(89.9, True), (90.1, False), (120.0, False)])
def test_a_part_gets_no_farther_than_its_own_dead_point_either_way(
    angle: float, is_there: bool
) -> None:
    found = horn(part(SLOW, -150.0, 150.0), [-angle, angle])
    assert np.isfinite(found.ratio).tolist() == [is_there, is_there]


@pytest.mark.parametrize(
    "bar",
    [
        # the arm longer than the ground: its joint goes round the horn's pivot
        FourBar(0.020, 0.060, 0.055, 0.050),
        FourBar(0.020, 0.060, 0.055, 0.050, crossed=True),
        FourBar(0.060, 0.020, 0.055, 0.030),
    ],
    ids=["drag link", "crossed", "crank"],
)
def test_the_rod_keeps_its_length_and_the_horn_never_jumps(bar: FourBar) -> None:
    """The loop closed: ground, horn, rod and arm, over a whole turn of the arm."""
    one = part(bar, -170.0, 170.0)
    angles = np.linspace(-170.0, 170.0, 3401)
    found = horn(one, angles)
    ground, horn_m, rod, arm = bar.ground_m, bar.horn_m, bar.rod_m, bar.arm_m
    turned = np.radians(angles + bar.arm_zero_deg)
    joint = ground + arm * np.exp(1j * turned)
    tip = horn_m * np.exp(1j * np.radians(found.angle_deg))
    there = np.isfinite(found.angle_deg)
    assert there.mean() > 0.3
    assert np.abs(joint - tip)[there] == pytest.approx(rod)
    steps = np.abs(np.diff(found.angle_deg))
    assert np.nanmax(steps) < 5.0
    slope = np.gradient(found.angle_deg, angles)
    calm = np.isfinite(slope) & (np.abs(found.ratio) < 3.0)
    calm[:2] = calm[-2:] = False
    assert found.ratio[calm] == pytest.approx(slope[calm], abs=0.02)


def test_a_rod_should_stand_no_flatter_than_is_common() -> None:
    """40 to 45 deg (common practice in linkage design; from memory)."""
    assert LEAST_TRANSMISSION_DEG == 40.0


def test_a_ram_that_passes_its_dead_point_between_two_looks_is_stuck_behind_it() -> None:
    """Looked at 0.05 deg before the pins are in one line and 0.05 deg behind."""
    ram = Ram(0.100, 0.050)
    found = reach(part(ram, -10.05, 10.05))
    assert found.stuck_deg == pytest.approx(0.05, abs=1e-6)
    assert reach(part(ram, 1.0, 10.0)).stuck_deg is None


def test_a_drive_that_reaches_no_pose_has_no_ratios() -> None:
    found = reach(part(FAST, 40.0, 60.0))
    assert found.stuck_deg == 40.0
    assert found.ratios == (0.0, 0.0)
    assert (found.transmission_deg, found.flattest_deg) == (None, None)


def test_a_short_travel_is_looked_at_in_its_middle_too() -> None:
    """0.02 deg about the dead point of the horn: both ends are sound, the middle is not."""
    square = replace(FAST, square_deg=0.0)
    assert reach(part(square, 29.98, 29.99)).stuck_deg is None
    crossing = part(Ram(0.100, 0.050), -0.09, 0.09)
    assert reach(crossing).stuck_deg == 0.0
