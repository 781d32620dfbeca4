"""Gripping: lever and virtual work by hand, a winding's heat against a numeric solution.

Torque of a force is force times lever arm, through a drive by virtual work (statics, any textbook:
Hibbeler, Engineering Mechanics: Statics, chapters 4 and 11, from memory). The winding: one heat
capacity, losses constant, flow to the case proportional to its excess: C dT/dt = P - T / R; the
duty types S1 and S2 of IEC 60034-1 rest on that (from memory). Solved here by scipy's integrator.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from sim.model import (
    Board,
    CalibrationPoint,
    FourBar,
    Gear,
    Grip,
    LeverPair,
    Load,
    Mount,
    PointMass,
    Rating,
    Rig,
    Score,
    Servo,
    Show,
    Wearer,
)
from sim.rig import drive
from sim.rig.grip import greatest_force_n, gripping, presses, pressing
from sim.rig.pinch import pinch
from sim.strain.heat import CONTINUOUS, WINDING_S, grip_heats, longest_s

POINTS = (CalibrationPoint(-90.0, 600.0), CalibrationPoint(90.0, 2400.0))
RATING = Rating(6.0, 400.0, 1.0, 2.0)
FINGER = Servo(
    *("finger", "hand", 1, POINTS, (0.0, 80.0), (RATING,)),
    grip=Grip(50.0, 1, 2.0, 8.0, 0.06),
)


def rig(*servos: Servo, wearer: Wearer | None = None) -> Rig:
    return Rig((), (Board("hand", "any", 1),), servos, wearer=wearer or Wearer())


def hard_nm(*servos: Servo, wearer: Wearer | None = None) -> float:
    found = gripping(rig(*servos, wearer=wearer), servos[0])
    assert found is not None
    return found.torque_nm


def test_a_force_at_a_distance_is_a_torque() -> None:
    """8 N at 60 mm: 0.48 N.m."""
    assert hard_nm(FINGER) == pytest.approx(0.48)


@pytest.mark.parametrize(
    ("changes", "torque_nm"),
    [
        ({"drive": Gear(2.0)}, 0.24),
        ({"drive": Gear(-2.0)}, 0.24),
        ({"drive": Gear(2.0), "drive_efficiency": 0.8}, 0.3),
        ({"load": Load(friction_nm=0.02)}, 0.5),
        # 100 g at 50 mm, at its hardest where it lies level, which it does at 60 deg
        ({"load": Load((PointMass(0.1, 0.05),), level_deg=60.0)}, 0.48 + 0.1 * 9.80665 * 0.05),
    ],
)
def test_gears_losses_friction_and_weight_count(
    changes: dict[str, object], torque_nm: float
) -> None:
    assert hard_nm(replace(FINGER, **changes)) == pytest.approx(torque_nm, rel=1e-4)  # type: ignore[arg-type]


def test_a_jump_of_the_wearer_adds_to_the_grip() -> None:
    """A landing shakes with 4 g beside the weight (PHYSICS.md): five times the weight's torque."""
    one = replace(FINGER, load=Load((PointMass(0.1, 0.05),), level_deg=60.0))
    weight = 0.1 * 9.80665 * 0.05
    jumping = hard_nm(one, wearer=Wearer(gait="jumps"))
    assert jumping == pytest.approx(0.48 + 5.0 * weight, rel=1e-4)


@pytest.mark.parametrize(
    "linkage", [LeverPair(0.02, 0.015), FourBar(0.06, 0.02, 0.06, 0.02, arm_zero_deg=50.0)]
)
def test_through_a_linkage_the_work_at_the_horn_is_the_work_at_the_part(
    linkage: LeverPair | FourBar,
) -> None:
    """Virtual work: T_horn dh = F r dp, with dh by differences of the horn's angle."""
    one = replace(FINGER, drive=linkage)
    found = gripping(rig(one), one)
    assert found is not None
    # the hardest place may be an end of the travel: go inward for both sides of the difference
    inward = np.clip(found.angle_deg, 50.0 + 1e-3, 80.0 - 1e-3)
    horn = drive.horn(one, np.array([inward - 1e-3, inward + 1e-3])).angle_deg
    ratio = abs(float(np.diff(horn)[0])) / 2e-3
    assert found.torque_nm * ratio == pytest.approx(8.0 * 0.06, rel=1e-3)


def test_a_carrier_bears_the_grip_on_the_whole_length() -> None:
    """8 N at 60 mm, on a hinge 100 mm out: 8 N at 160 mm on the root."""
    root = Servo("root", "hand", 2, POINTS, (0.0, 80.0), (RATING,))
    tip = replace(FINGER, mount=Mount("root", 0.1))
    assert hard_nm(root, tip) == pytest.approx(8.0 * 0.16)
    both = replace(root, grip=Grip(50.0, 1, 2.0, 3.0, 0.05))
    assert hard_nm(both, tip) == pytest.approx(8.0 * 0.16 + 3.0 * 0.05)


def test_a_stall_is_the_stall_torque_whatever_the_gear() -> None:
    stalls = replace(FINGER, grip=Grip(50.0, 1, 2.0), drive=Gear(3.0))
    assert hard_nm(stalls) == pytest.approx(1.0)


def test_a_carrier_bears_a_stalled_tip_s_force() -> None:
    """A stall of 1 N.m over a tip at 50 mm is 20 N; on a hinge 100 mm out 20 N at 150 mm."""
    root = Servo("root", "hand", 2, POINTS, (0.0, 80.0), (RATING,))
    tip = replace(FINGER, grip=Grip(50.0, 1, 2.0), tip_m=0.05, mount=Mount("root", 0.1))
    assert hard_nm(root, tip) == pytest.approx(3.0)


def test_a_stalled_part_that_says_nothing_of_its_size_presses_near_its_hinge() -> None:
    """1 N.m over 10 mm is 100 N; on a hinge 100 mm out 100 N at 110 mm."""
    root = Servo("root", "hand", 2, POINTS, (0.0, 80.0), (RATING,))
    tip = replace(FINGER, grip=Grip(50.0, 1, 2.0), load=Load(), mount=Mount("root", 0.1))
    assert hard_nm(root, tip) == pytest.approx(11.0)


def test_a_part_presses_past_its_contact_only() -> None:
    assert pressing(Grip(50.0, 1, 1.0), [49.0, 50.0, 51.0]).tolist() == [False, False, True]
    assert pressing(Grip(50.0, -1, 1.0), [49.0, 50.0, 51.0]).tolist() == [True, False, False]


def test_a_rig_without_grips_presses_on_nothing() -> None:
    bare = replace(FINGER, grip=None)
    assert presses(rig(bare)) == {}
    assert gripping(rig(bare), bare) is None


@given(st.floats(0.05, 1.0), st.floats(0.5, 3.0), st.floats(0.5, 1.0))
def test_the_greatest_force_takes_just_the_torque_it_was_asked_for(
    torque_nm: float, ratio: float, efficiency: float
) -> None:
    load = Load((PointMass(0.02, 0.04),), level_deg=60.0, friction_nm=0.001)
    one = replace(FINGER, load=load, drive=Gear(ratio), drive_efficiency=efficiency)
    force_n = greatest_force_n(rig(one), one, torque_nm)
    assert FINGER.grip is not None
    again = replace(one, grip=replace(FINGER.grip, force_n=force_n))
    assert hard_nm(again) == pytest.approx(torque_nm)


def test_the_declared_force_stands_beside_the_stall_s() -> None:
    found = pinch(replace(FINGER, tip_m=0.08), 6.0)
    assert found is not None
    assert found.grip is not None
    assert found.grip.force_n == pytest.approx(8.0)
    assert found.grip.at_m == pytest.approx(0.06)
    assert found.tip.force_n == pytest.approx(1.0 / 0.08)


@pytest.mark.parametrize("share", [0.4, 0.5, 0.75, 1.0, 1.3])
def test_a_grip_lasts_until_the_winding_is_as_hot_as_it_may_be_for_ever(share: float) -> None:
    """Losses go with the square of the torque: T' = share**2 - T in time constants."""
    hot = solve_ivp(
        lambda _, t: share**2 - t,
        (0.0, 50.0),
        [0.0],
        events=lambda _, t: t[0] - CONTINUOUS**2,
        rtol=1e-10,
        atol=1e-12,
    )
    assert longest_s(share) == pytest.approx(WINDING_S * hot.t_events[0][0], rel=1e-6)


def test_a_third_of_the_stall_torque_lasts_for_ever() -> None:
    assert longest_s(CONTINUOUS) == inf
    assert longest_s(0.1) == inf
    assert longest_s(1.0) == pytest.approx(1.178, abs=1e-3)


def test_of_several_grips_the_longest_heats_with_the_torque_of_all() -> None:
    root = Servo(
        *("root", "hand", 2, POINTS, (0.0, 80.0), (RATING,)), grip=Grip(50.0, 1, 1.0, 2.0, 0.05)
    )
    show_rig = rig(root, replace(FINGER, mount=Mount("root", 0.1)))
    found = {heat.servo: heat for heat in grip_heats(Show(show_rig, Score("s", ())))}
    assert found["root"].gripper == "finger"
    assert found["root"].lasts_s == 2.0
    assert found["root"].share == pytest.approx(8.0 * 0.16 + 0.1)
    assert found["finger"].share == pytest.approx(0.48)
