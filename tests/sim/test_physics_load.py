"""Weight in any posture, against gravity as a vector in space."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from sim.model import Box, Load, Plate, PointMass, Rod, Spring
from sim.rig import load

Vectors = NDArray[np.float64]


def directions_within(tilt_deg: float, count: int = 4000) -> Vectors:
    """Unit vectors spread evenly over the cone about straight down, its rim included."""
    n = np.arange(count)
    z = 1.0 - (1.0 - np.cos(np.radians(tilt_deg))) * (n + 0.5) / count
    turn = n * np.pi * (3.0 - 5.0**0.5)
    rim = np.linspace(0.0, 2.0 * np.pi, 721)
    z = np.concatenate([z, np.full(rim.size, np.cos(np.radians(tilt_deg)))])
    turn = np.concatenate([turn, rim])
    flat = np.sqrt(np.maximum(1.0 - z**2, 0.0))
    return np.stack([flat * np.cos(turn), flat * np.sin(turn), -z], axis=1)


def torques_in_space(part: Load, angle_deg: float, tilt_deg: float) -> Vectors:
    """Torque of the weight along growing angle for gravity anywhere in the cone.

    Level hinge along y: the part swings in the x-z plane and rises with its angle. Upright hinge
    along z: it swings in the x-y plane. Torque = axis . (arm x force).
    """
    gravity = 9.80665 * directions_within(tilt_deg)
    total = np.zeros(gravity.shape[0])
    for body in part.bodies:
        assert isinstance(body, PointMass)
        a = np.radians(angle_deg - part.level_deg + body.offset_deg)
        if part.axis == "upright":
            axis, arm = np.array([0.0, 0.0, 1.0]), np.array([np.cos(a), np.sin(a), 0.0])
        else:
            axis, arm = np.array([0.0, -1.0, 0.0]), np.array([np.cos(a), 0.0, np.sin(a)])
            if part.lowers:
                axis, arm = -axis, np.array([np.cos(a), 0.0, -np.sin(a)])
        total += np.cross(body.radius_m * arm, body.mass_kg * gravity) @ axis
    return total


parts = st.builds(
    Load,
    bodies=st.lists(
        st.builds(PointMass, st.floats(0.01, 0.5), st.floats(0.01, 0.3), st.floats(-180.0, 180.0)),
        min_size=1,
        max_size=3,
    ).map(tuple),
    level_deg=st.floats(-90.0, 90.0),
    axis=st.sampled_from(["level", "upright"]),
    springs=st.lists(
        st.builds(Spring, st.floats(0.0, 2.0), st.floats(-90.0, 90.0)), max_size=1
    ).map(tuple),
    lowers=st.booleans(),
)


@settings(max_examples=60)
@given(parts, st.floats(-180.0, 180.0), st.floats(0.0, 180.0))
def test_the_worst_posture_is_that_of_gravity_anywhere_in_the_cone(
    part: Load, angle: float, tilt: float
) -> None:
    low, high = load.gravity_nm(part, angle, tilt)
    seen = torques_in_space(part, angle, tilt)
    whole = load.mass(part).moment_kg_m * 9.80665
    assert seen.min() >= float(low) - 1e-9
    assert seen.max() <= float(high) + 1e-9
    # the cone is sampled finely: its extremes come within a little of the closed form
    assert seen.min() - float(low) <= 2e-2 * whole + 1e-12
    assert float(high) - seen.max() <= 2e-2 * whole + 1e-12


@settings(max_examples=80)
@given(parts, st.floats(-120.0, 60.0), st.floats(1.0, 200.0), st.floats(0.0, 120.0))
def test_the_hardest_pose_is_found_not_sampled(
    part: Load, low_deg: float, wide: float, tilt: float
) -> None:
    found, at = load.worst_hold_nm(part, low_deg, low_deg + wide, tilt)
    angles = np.linspace(low_deg, low_deg + wide, 20001)
    low, high = load.needed_nm(part, angles, 0.0, 0.0, tilt)
    sampled = np.maximum(np.abs(low), np.abs(high)).max()
    assert found >= sampled - 1e-9
    assert found <= sampled * (1.0 + 1e-6) + 1e-7
    assert low_deg <= at <= low_deg + wide


@pytest.mark.parametrize(("lowers", "at_deg"), [(False, 30.0), (True, -30.0)])
def test_a_spring_of_half_the_weight_makes_thirty_degrees_the_hardest_pose(
    lowers: bool, at_deg: float
) -> None:
    """W cos(a) + k a, k half of W, is steepest no more where sin(a) = k / W; 1 rad of it is 0.5 W.

    At 0 deg W, at 30 deg W (cos 30 + 0.5 pi / 6) = 1.128 W, at 90 deg 0.785 W.
    """
    weight = 0.5 * 0.2 * 9.80665
    part = Load((PointMass(0.5, 0.2),), springs=(Spring(weight / 2.0, 0.0),), lowers=lowers)
    ends = sorted((0.0, 3.0 * at_deg))
    found, at = load.worst_hold_nm(part, ends[0], ends[1], 0.0)
    assert at == pytest.approx(at_deg)
    assert found == pytest.approx(weight * (np.cos(np.pi / 6.0) + np.pi / 12.0))


@given(st.floats(-90.0, 90.0))
def test_an_upright_hinge_feels_no_weight_until_the_wearer_tilts(angle: float) -> None:
    part = Load((Rod(0.2, 0.3),), axis="upright")
    low, high = load.gravity_nm(part, angle, 0.0)
    assert abs(float(low)) < 1e-12
    assert abs(float(high)) < 1e-12
    low, high = load.gravity_nm(part, angle, 30.0)
    assert np.isclose(float(high), 0.2 * 0.15 * 9.80665 * 0.5)
    assert np.isclose(float(low), -float(high))


def test_a_sinking_part_is_pulled_the_other_way() -> None:
    rising = Load((PointMass(0.2, 0.1),), level_deg=10.0)
    sinking = Load((PointMass(0.2, 0.1),), level_deg=10.0, lowers=True)
    angles = np.linspace(-60.0, 60.0, 7)
    assert np.allclose(load.gravity_nm(rising, angles)[0], -load.gravity_nm(sinking, angles)[0])
    assert (load.gravity_nm(rising, angles)[0] < 0.0).all()


def test_friction_opposes_motion_and_is_not_counted_on_to_hold() -> None:
    part = Load((PointMass(0.1, 0.1),), friction_nm=0.02)
    up, down, still = (float(load.needed_nm(part, 0.0, v, 0.0)[0]) for v in (1.0, -1.0, 0.0))
    assert np.isclose(up - still, 0.02)
    assert np.isclose(still - down, 0.02)


def test_a_spring_pulls_back_to_its_neutral_angle() -> None:
    part = Load(springs=(Spring(0.5, 20.0),))
    torque = load.spring_nm(part, [20.0, 20.0 + np.degrees(0.1), 20.0 - np.degrees(0.1)])
    assert np.allclose(torque, [0.0, -0.05, 0.05])


def test_the_far_end_counts_corners() -> None:

    assert np.isclose(load.far_end_m(Load((Plate(0.1, 0.3, 0.8),))), 0.5)
    assert np.isclose(load.far_end_m(Load((Plate(0.1, 0.3, 0.8, flat=True),))), 0.3)
    assert load.far_end_m(Load()) == 0.0


@given(parts, st.floats(-120.0, 60.0), st.floats(1.0, 200.0), st.floats(0.0, 120.0))
@settings(max_examples=60)
def test_angles_a_whole_turn_on_are_the_same_pose(
    part: Load, low_deg: float, wide: float, tilt: float
) -> None:
    """Whole turns of the level line, or of travel and springs together, change no torque."""
    torque, _ = load.worst_hold_nm(part, low_deg, low_deg + wide, tilt)
    for turn in (-720.0, 360.0, 1080.0):
        turned = replace(part, level_deg=part.level_deg + turn)
        found, _ = load.worst_hold_nm(turned, low_deg, low_deg + wide, tilt)
        assert np.isclose(found, torque, rtol=1e-9, atol=1e-12)
        springs = tuple(replace(one, neutral_deg=one.neutral_deg + turn) for one in part.springs)
        moved = replace(part, springs=springs)
        found, where = load.worst_hold_nm(moved, low_deg + turn, low_deg + wide + turn, tilt)
        assert np.isclose(found, torque, rtol=1e-9, atol=1e-12)
        assert low_deg + turn <= where <= low_deg + wide + turn


@given(parts, st.floats(-180.0, 180.0), st.floats(0.0, 90.0), st.floats(0.0, 0.5))
def test_what_pushes_a_part_widens_what_it_needs_both_ways(
    part: Load, angle: float, tilt: float, push: float
) -> None:
    for asked in (load.held_nm, lambda *a: load.needed_nm(*a[:2], 20.0, 300.0, *a[2:])):
        low, high = asked(part, angle, tilt, 0.0)
        lower, higher = asked(part, angle, tilt, push)
        assert np.isclose(lower, low - push)
        assert np.isclose(higher, high + push)
        assert low <= high + 1e-12


def test_all_bodies_together_are_one_mass_with_one_centre() -> None:
    """100 g at 60 mm and 200 g at 90 deg and 40 mm: 6 and 8 g.m at right angles make 10."""
    two = Load((PointMass(0.1, 0.06), PointMass(0.2, 0.04, 90.0)))
    whole = load.mass(two)
    assert np.isclose(whole.mass_kg, 0.3)
    assert np.isclose(whole.inertia_kg_m2, 0.1 * 0.06**2 + 0.2 * 0.04**2)
    assert np.isclose(whole.moment_kg_m, 0.010)
    assert np.isclose(whole.offset_deg, np.degrees(np.arctan2(8.0, 6.0)))
    assert load.mass(Load()) == load.Mass(0, 0, 0.0, 0.0)
    assert load.inertia_borne_kg_m2(two) == whole.inertia_kg_m2


def test_far_ends_of_rods_and_boxes_count_from_either_side_of_the_hinge() -> None:
    """Half widths count across; what starts behind the hinge may reach farther there."""
    assert np.isclose(load.far_end_m(Load((Rod(0.1, 0.5, start_m=-0.3),))), 0.3)
    assert np.isclose(load.far_end_m(Load((Rod(0.1, 0.5, start_m=-0.1),))), 0.4)
    box = Box(0.1, 0.4, 0.6, 0.1)
    assert np.isclose(load.far_end_m(Load((box,))), np.hypot(0.4, 0.3))
