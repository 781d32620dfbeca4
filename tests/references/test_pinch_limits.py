"""Contact limits as published, and the pinch force's arithmetic.

ISO/TS 15066:2016 table A.2, quasi-static force and pressure by body region. Forces: from memory,
corroborated once by a public source file with the same twelve numbers; not seen in the standard.
Pressures (N/cm2, of a region's points the least): from memory; forehead, neck, sternum and
masticatory muscle corroborated once. Kinetic energy of a low-energy door: ANSI/BHMA A156.19-1997 by
a door maker's manual (read).
"""

from __future__ import annotations

from dataclasses import replace
from math import degrees, radians, sin

import pytest

from sim.model import (
    CalibrationPoint,
    Coupled,
    Gear,
    JointLimits,
    Link,
    Load,
    PointMass,
    Rating,
    Servo,
    Spring,
    Wearer,
)
from sim.rig.pinch import FINGER_M, LOW_ENERGY_J, excesses, pinch
from sim.rig.regions import REGIONS, STATUS

FORCES_N = {
    "skull": 130,
    "face": 65,
    "neck": 150,
    "back": 210,
    "chest": 140,
    "abdomen": 110,
    "pelvis": 180,
    "upper_arm": 150,
    "lower_arm": 160,
    "hand": 140,
    "thigh": 220,
    "lower_leg": 130,
}
PRESSURES_N_CM2 = {
    "skull": (130, 110),  # middle of forehead, temple
    "face": (110,),  # masticatory muscle
    "neck": (140, 210),  # muscle, seventh vertebra
    "back": (160, 210),  # shoulder joint, fifth lumbar vertebra
    "chest": (120, 170),  # sternum, pectoral muscle
    "abdomen": (140,),
    "pelvis": (210,),
    "upper_arm": (190, 220),  # deltoid, humerus
    "lower_arm": (190, 180, 180),  # radial bone, forearm muscle, arm nerve
    "hand": (300, 270, 280, 220, 200, 260, 260, 200, 190),
    "thigh": (250, 220),  # muscle, kneecap
    "lower_leg": (220, 210),  # shin, calf
}


def jaw(**changes: object) -> Servo:
    points = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))
    plain = Servo("jaw", "b", 1, points, (0.0, 55.0), (Rating(6.0, 353.0, 1.0, 2.0),), tip_m=0.1)
    return replace(plain, **changes)  # type: ignore[arg-type]


def test_the_regions_carry_the_published_numbers() -> None:
    for name, newtons in FORCES_N.items():
        assert REGIONS[name].force_n == newtons
        assert REGIONS[name].pressure_n_cm2 == min(PRESSURES_N_CM2[name])


def test_the_whole_head_and_a_shoulder_have_the_limits_of_what_they_are_part_of() -> None:
    parts = (REGIONS["skull"], REGIONS["face"])
    assert REGIONS["head"].force_n == min(one.force_n for one in parts)
    assert REGIONS["head"].pressure_n_cm2 == min(one.pressure_n_cm2 for one in parts)
    assert REGIONS["shoulder"] == REGIONS["back"]


def test_the_status_of_the_limits_is_said_and_no_verdict_given() -> None:
    assert "from memory" in STATUS
    assert "does not say that a part near people is safe" in STATUS


def test_force_at_the_tip_is_stall_torque_over_its_distance() -> None:
    found = pinch(jaw(), 6.0)
    assert found is not None
    assert found.tip.force_n == pytest.approx(10.0)
    assert excesses(found, "face") == ()


def test_force_grows_towards_the_hinge_and_pressure_with_a_thinner_edge() -> None:
    found = pinch(jaw(nip_m=0.005, nip_edge_m=(0.02, 0.004)), 6.0)
    assert found is not None
    assert found.nip is not None
    assert found.nip_stated
    assert found.nip.force_n == pytest.approx(1.0 / 0.005)
    assert found.nip.pressure_n_cm2 == pytest.approx(200.0 / (2.0 * 0.4))


def test_without_a_stated_nip_it_is_where_a_finger_still_gets_in() -> None:
    found = pinch(jaw(), 6.0)
    assert found is not None
    assert found.nip is not None
    assert not found.nip_stated
    # the chord of the opening at that distance is the finger's gap
    assert 2.0 * found.nip.at_m * sin(radians(55.0 / 2.0)) == pytest.approx(FINGER_M)
    assert pinch(jaw(travel_deg=(0.0, 4.0)), 6.0).nip is None  # type: ignore[union-attr]
    assert pinch(jaw(travel_deg=(0.0, 4.1)), 6.0).nip is not None  # type: ignore[union-attr]


def test_limits_hold_up_to_the_published_number_and_not_beyond() -> None:
    at = pinch(jaw(nip_m=1.0 / 140.0, nip_edge_m=(0.1, 0.1)), 6.0)
    beyond = pinch(jaw(nip_m=1.0 / 140.1, nip_edge_m=(0.1, 0.1)), 6.0)
    assert at is not None
    assert beyond is not None
    assert excesses(at, "hand") == ()
    (over,) = excesses(beyond, "hand")
    assert (over.quantity, over.where, over.limit) == ("force", "nip", 140.0)
    assert over.value == pytest.approx(140.1)


def test_a_thin_edge_goes_over_the_pressure_long_before_the_force() -> None:
    found = pinch(jaw(nip_m=0.02, nip_edge_m=(0.01, 0.001)), 6.0)  # 50 N on 0.1 cm2
    assert found is not None
    (over,) = excesses(found, "hand")
    assert (over.quantity, over.unit) == ("pressure", "N/cm2")
    assert over.value == pytest.approx(500.0)


def test_a_distance_that_only_a_finger_reaches_says_nothing_of_a_chest() -> None:
    found = pinch(jaw(drive=Gear(2.0)), 6.0)
    assert found is not None
    assert found.nip is not None
    assert found.nip.force_n > REGIONS["chest"].force_n
    assert excesses(found, "chest") == ()
    assert excesses(found, "hand") != ()


def test_a_geared_part_pinches_as_many_times_harder_and_its_weight_helps() -> None:
    geared = pinch(jaw(drive=Gear(8.0)), 6.0)
    assert geared is not None
    assert geared.tip.force_n == pytest.approx(80.0)
    assert {over.where for over in excesses(geared, "face")} == {"tip"}
    heavy = pinch(jaw(load=Load((PointMass(0.5, 0.08),))), 6.0)
    assert heavy is not None
    assert heavy.tip.force_n == pytest.approx(10.0 + 0.5 * 9.80665 * 0.08 / 0.1)


def test_force_grows_with_the_voltage_by_the_greater_of_two_readings() -> None:
    found = pinch(jaw(), 7.4)
    assert found is not None
    assert found.tip.force_n == pytest.approx(10.0 * 7.4 / 6.0)
    # at 7.4 V in proportion 12.33 N; on in a straight line 11.4 N and 17 N
    flat = jaw(ratings=(Rating(5.0, 300.0, 0.9, 1.8), Rating(6.0, 353.0, 1.0, 2.0)))
    steep = jaw(ratings=(Rating(5.0, 300.0, 0.5, 1.8), Rating(6.0, 353.0, 1.0, 2.0)))
    assert pinch(flat, 7.4).tip.force_n == pytest.approx(12.333, abs=0.001)  # type: ignore[union-attr]
    assert pinch(steep, 7.4).tip.force_n == pytest.approx(17.0)  # type: ignore[union-attr]


def test_kinetic_energy_is_half_the_inertia_times_the_square_of_the_speed() -> None:
    heavy = jaw(load=Load((PointMass(0.5, 0.08),)), drive=Gear(2.0), rotor_kg_m2=1e-4)
    found = pinch(heavy, 6.0, speed_deg_s=200.0)
    assert found is not None
    inertia = 0.5 * 0.08**2 + 1e-4 * 2.0**2
    assert found.energy_j == pytest.approx(inertia * radians(200.0) ** 2 / 2.0)
    assert LOW_ENERGY_J == 1.69


def test_a_part_without_a_tip_pinches_nobody() -> None:
    assert pinch(jaw(tip_m=None), 6.0) is None


def test_a_finger_gets_in_as_far_out_as_the_tip_and_no_farther() -> None:
    """At 10 deg the gap of 7 mm lies 40.16 mm from the hinge: 0.007 / (2 sin 5 deg)."""
    at_m = FINGER_M / (2.0 * sin(radians(5.0)))
    for tip_m, gets_in in ((at_m, True), (at_m * (1.0 - 1e-9), False)):
        found = pinch(jaw(travel_deg=(0.0, 10.0), tip_m=tip_m), 6.0)
        assert found is not None
        assert (found.nip is not None) is gets_in


def test_a_part_that_carries_another_closes_hardest_where_that_one_weighs_least() -> None:
    """A spring shuts it against the weight, which is least with the carried part turned to 60 deg.

    Level: 0.02 kg.m of its own, 0.1 kg at 0.15 m, and 0.005 kg.m cos 60 deg of the carried part.
    """
    carrier = Link("jaw", None, 1.0, 0.0, 0j, 0.2, 0.02 + 0j, 0.003)
    carried = Link("tip", 0, 1.0, 0.0, 0.15 + 0j, 0.1, 0.005 + 0j, 0.0004)
    reaches = (JointLimits((-60.0, 60.0), 0.0, 0.0),) * 2
    part = Load((), springs=(Spring(0.5, degrees(1.0)),))
    part = replace(part, coupled=Coupled((carrier, carried), 0, reaches))
    weak = Rating(6.0, 353.0, 0.1, 2.0)
    found = pinch(jaw(load=part, travel_deg=(-0.05, 0.05), ratings=(weak,)), 6.0)
    assert found is not None
    weight_nm = (0.02 + 0.1 * 0.15 + 0.005 / 2) * 9.80665
    assert found.tip.force_n == pytest.approx((0.1 + 0.5 - weight_nm) / 0.1, rel=5e-3)


def test_a_part_that_opens_beyond_half_a_turn_lets_a_finger_in_no_farther_out() -> None:
    """Half a turn opens the widest gap, twice the distance from the hinge."""
    for opening in (180.0, 270.0):
        found = pinch(jaw(travel_deg=(0.0, opening)), 6.0)
        assert found is not None
        assert found.nip is not None
        assert found.nip.at_m == pytest.approx(FINGER_M / 2.0)


def test_nothing_is_caught_beyond_the_part() -> None:
    """A nip stated farther out than the tip presses like the tip."""
    found = pinch(jaw(nip_m=10.0), 6.0)
    assert found is not None
    assert found.nip is not None
    assert found.nip.at_m == found.tip.at_m
    assert found.nip.force_n == pytest.approx(found.tip.force_n)


def test_a_leaning_wearer_and_a_jump_at_power_up_press_harder() -> None:
    """Straight up 0.5 kg at 80 mm weigh nothing on the hinge; leaning 30 deg, m g r sin 30 deg."""
    up = jaw(load=Load((PointMass(0.5, 0.08),), level_deg=-90.0), travel_deg=(-0.05, 0.05))
    straight, leaning = (pinch(up, 6.0, 100.0, Wearer(tilt_deg=t), 300.0) for t in (0.0, 30.0))
    assert straight is not None
    assert leaning is not None
    more = 0.5 * 9.80665 * 0.08 * 0.5
    assert (leaning.tip.force_n - straight.tip.force_n) * 0.1 == pytest.approx(more, rel=5e-3)
    assert straight.jump_j == pytest.approx(9.0 * straight.energy_j)


def test_a_part_that_states_no_tip_reaches_as_far_as_the_hinges_on_it() -> None:
    """A hinge 0.15 m out on the part, or as far behind it; one on what it carries does not count,
    and what it has itself lies nearer, at 0.05 m."""
    root = Link("jaw", None, 1.0, 0.0, 0j, 0.2, 0.01 + 0j, 0.003)
    reaches = (JointLimits((-5.0, 5.0), 0.0, 0.0),) * 3
    for mount_m in (0.15 + 0j, -0.15 + 0j, 0.12 - 0.09j):
        held = Link("tip", 0, 1.0, 0.0, mount_m, 0.1, 0.005 + 0j, 0.0004)
        beyond = Link("barb", 1, 1.0, 0.0, 0.4 + 0j, 0.01, 0.0001 + 0j, 0.00001)
        coupled = Coupled((root, held, beyond), 0, reaches)
        found = pinch(jaw(tip_m=None, load=Load((PointMass(0.2, 0.05),), coupled=coupled)), 6.0)
        assert found is not None
        assert found.tip.at_m == pytest.approx(0.15)


def test_a_hardest_posture_in_the_midst_of_the_travel_is_found() -> None:
    """A weight on level ground pulls hardest at 0 deg, which lies a third up the travel.

    Angles half a degree apart miss it by a quarter of a degree at the most.
    """
    found = pinch(jaw(load=Load((PointMass(0.5, 0.08),)), travel_deg=(-30.1, 60.3)), 6.0)
    assert found is not None
    assert abs(found.angle_deg) <= 0.25
    assert found.tip.force_n == pytest.approx(10.0 + 0.5 * 9.80665 * 0.08 / 0.1, rel=1e-5)
