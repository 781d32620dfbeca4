"""Parts on parts in a rig: what hangs together, and that no play beats what the checks take."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.model import (
    Board,
    CalibrationPoint,
    Cue,
    InTurn,
    JointLimits,
    Law,
    Load,
    Mount,
    Move,
    Plate,
    PointMass,
    Press,
    Rating,
    Rig,
    Rod,
    Score,
    Servo,
    Show,
    Spring,
    Together,
    Wearer,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.rig import load
from sim.rig.chain import Motion
from sim.rig.disturbance import push_nm
from sim.rig.holding_torque import worst_hold
from sim.rig.pinch import pinch
from sim.score.planned_moves import planned_moves
from sim.score.tree import ready_ms
from sim.strain.coupling import chains, coupled_rig, coupled_show, links, show_reaches
from sim.strain.hardest_torque import hardest_torques
from sim.strain.torque_and_current import work
from tests.references.koenig import energy_j

RATING = (Rating(6.0, 300.0, 1.5, 3.0),)


def servo(name: str, pin: int, travel: tuple[float, float], carried: Load, **more: object) -> Servo:
    points = (CalibrationPoint(-95.0, 800.0), CalibrationPoint(95.0, 2200.0))
    return Servo(name, "body", pin, points, travel, RATING, carried, **more)  # type: ignore[arg-type]


BODY = Board("body", "atmega328p", 1)
ROOT = servo("root", 1, (-20.0, 60.0), Load((Rod(0.060, 0.300),)))
MIDDLE = servo(
    "middle",
    2,
    (-90.0, 0.0),
    Load((Rod(0.030, 0.250),), springs=(Spring(0.02, -40.0),)),
    mount=Mount("root", 0.300, mass_kg=0.020),
)
TIP = servo(
    "tip",
    3,
    (-60.0, 60.0),
    Load((PointMass(0.01, 0.1, 20.0),), lowers=True),
    mount=Mount("middle", 0.250, 5.0, 10.0, 0.009),
)
CUES = (
    Cue(
        "flap",
        "",
        InTurn(
            (
                Together((Move("root", 55.0, 700), Move("middle", -80.0, 500))),
                Together((Move("root", -15.0, 600), Move("tip", 50.0, 300))),
            )
        ),
    ),
    Cue("fold", "", InTurn((Move("middle", -5.0, 400), Move("tip", -50.0, 250)))),
)
WING = coupled_show(
    Show(Rig(boards=(BODY,), outputs=(ROOT, MIDDLE, TIP)), Score("Wing", CUES, stop_button=3))
)


def test_a_stretched_wing_hangs_on_its_root_with_all_its_weight() -> None:
    """By hand: every mass times its distance from the root's hinge, times g."""
    straight = replace(MIDDLE, load=Load((Rod(0.030, 0.250),)), travel_deg=(-1e-9, 0.0))
    show = coupled_show(Show(Rig(boards=(BODY,), outputs=(ROOT, straight)), Score("", ())))
    root = show.rig.outputs[0]
    assert isinstance(root, Servo)
    moment = 0.060 * 0.150 + 0.020 * 0.300 + 0.030 * (0.300 + 0.125)
    assert worst_hold(root, Wearer()).torque_nm == pytest.approx(moment * 9.80665, rel=1e-6)
    alone = worst_hold(ROOT, Wearer()).torque_nm
    assert alone == pytest.approx(0.060 * 0.150 * 9.80665, rel=1e-9)


def test_a_root_stands_against_the_wind_on_all_that_it_carries() -> None:
    """By hand: 1.225 / 2 * 10**2 Pa on 0.2 m by 0.1 m, Cd 1.15, its middle at 0.4 m."""
    sail = replace(MIDDLE, load=Load((Plate(0.03, 0.2, 0.1, flat=True),)))
    show = coupled_show(Show(Rig(boards=(BODY,), outputs=(ROOT, sail)), Score("", ())))
    root = show.rig.outputs[0]
    assert isinstance(root, Servo)
    pushed = 1.225 / 2.0 * 10.0**2 * (1.10 + 0.02 * 2.5) * 0.2 * 0.1 * 0.4
    assert push_nm(root.load, Wearer(wind_m_s=10.0)) == pytest.approx(pushed, rel=1e-9)


def test_what_hangs_together_is_one_chain_each_part_behind_its_carrier() -> None:
    apart = servo("ear", 4, (0.0, 30.0), Load())
    rig = Rig(boards=(BODY,), outputs=(TIP, apart, MIDDLE, ROOT))
    assert [[one.name for one in chain] for chain in chains(rig)] == [["root", "middle", "tip"]]
    show = coupled_show(Show(rig, Score("", ())))
    assert [o.load.coupled is None for o in show.rig.outputs if isinstance(o, Servo)] == [
        False,
        True,
        False,
        False,
    ]


def test_a_joint_reaches_as_far_as_the_safe_pose_and_the_cues_take_it() -> None:
    reach = show_reaches(WING)["middle"]
    assert reach.angle_deg == (-80.0, 0.0)
    assert reach.speed_deg_s > 75.0 / 0.4
    assert reach.accel_deg_s2 > 75.0 / 0.4**2


@pytest.mark.parametrize("seed", range(12))
def test_no_play_needs_more_torque_than_the_bound_that_checks_take(seed: int) -> None:
    chance = np.random.default_rng(seed)
    presses = [
        Press(int(at), cue=str(chance.choice(["flap", "fold"])))
        for at in np.cumsum(chance.integers(60, 900, 14)) + 800
    ]
    if seed % 3 == 0:
        presses.append(Press(int(chance.integers(1500, 6000)), button=3))
    length = max(press.at_ms for press in presses) + 2500
    times = np.arange(0.0, length, 2.0)
    samples = sample(rehearse(WING, presses, int(length)), times)
    done = work(WING.rig, samples)
    for one in WING.rig.outputs:
        assert isinstance(one, Servo)
        seen = samples.servos[one.name]
        low, high = load.needed_nm(
            one.load, seen.angle_deg, seen.velocity_deg_s, seen.acceleration_deg_s2
        )
        most = np.maximum(np.abs(low), np.abs(high))
        assert (np.abs(done.servos[one.name].torque_nm) <= most + 1e-9).all()
        assert np.abs(done.servos[one.name].torque_nm).max() > 0.1 * most.max()


def test_a_link_has_its_own_bodies_and_the_servos_that_sit_on_it() -> None:
    """By hand: m l / 2 and m l2 / 3 of a rod, m r and m r2 of a point and of each hinge on it."""
    root, middle, tip = links((ROOT, MIDDLE, TIP))
    ahead = np.exp(1j * np.radians(5.0))
    assert root.mass_kg == pytest.approx(0.060 + 0.020)
    assert root.moment_kg_m == pytest.approx(0.060 * 0.150 + 0.020 * 0.300)
    assert root.inertia_kg_m2 == pytest.approx(0.060 * 0.300**2 / 3 + 0.020 * 0.300**2)
    assert middle.mass_kg == pytest.approx(0.030 + 0.009)
    assert middle.moment_kg_m == pytest.approx(0.030 * 0.125 + 0.009 * 0.250 * ahead)
    assert middle.inertia_kg_m2 == pytest.approx(0.030 * 0.250**2 / 3 + 0.009 * 0.250**2)
    # it sinks as its angle grows: what lies ahead lies below
    assert tip.moment_kg_m == pytest.approx(0.01 * 0.1 * np.exp(-1j * np.radians(20.0)))
    assert tip.inertia_kg_m2 == pytest.approx(0.01 * 0.1**2)
    assert [one.mount_m for one in (root, middle, tip)] == pytest.approx([0.0, 0.3, 0.25 * ahead])


def test_a_link_s_second_moments_are_those_of_its_bodies_where_they_lie() -> None:
    """By hand: x x, y y and x y of each mass; m l2 / 3 of a rod along x."""
    for link, rod, points in zip(
        links((ROOT, MIDDLE, TIP)),
        (0.060 * 0.300**2 / 3, 0.030 * 0.250**2 / 3, 0.0),
        ((0.020, 0.300, 0.0), (0.009, 0.250, 5.0), (0.01, 0.1, -20.0)),
        strict=True,
    ):
        mass, far, turned = points
        x, y = far * np.cos(np.radians(turned)), far * np.sin(np.radians(turned))
        assert link.spread_kg_m2 == pytest.approx((rod + mass * x * x, mass * y * y, mass * x * y))
        assert link.flank_kg_m2 == 0.0


@pytest.mark.parametrize(("moved", "to_deg"), [("root", 50.0), ("middle", -60.0), ("tip", 50.0)])
def test_a_part_that_stands_gives_no_more_than_foretold_while_another_of_its_chain_moves(
    moved: str, to_deg: float
) -> None:
    cue = Cue("go", "", InTurn((Move(moved, to_deg, 300), Move(moved, 0.0, 300))))
    show = coupled_show(replace(WING, score=Score("Wing", (cue,), stop_button=3)))
    ready = ready_ms(show)
    times = np.arange(float(ready), ready + 700.0)
    done = work(show.rig, sample(rehearse(show, [Press(ready, cue="go")], ready + 900), times))
    foretold = hardest_torques(show, planned_moves(show))
    for name, seen in done.servos.items():
        assert np.abs(seen.torque_nm).max() <= foretold[name].torque_nm * (1.0 + 1e-9)
    standing = {name for name, one in foretold.items() if not one.moves}
    assert standing == {"root", "middle", "tip"} - {moved}


def test_a_joint_that_starts_within_a_frame_shakes_its_chain_so_hard() -> None:
    """A uniform move has its whole speed after 20 ms: 60 deg in 600 ms, 5000 deg/s2."""
    cue = Cue("go", "", Move("tip", 60.0, 600, Law("uniform")))
    reach = show_reaches(replace(WING, score=Score("Wing", (cue,))))["tip"]
    assert reach.accel_deg_s2 >= 60.0 / 0.6 / 0.020


@pytest.mark.parametrize("seed", range(4))
def test_no_play_of_a_chain_has_more_energy_than_what_is_told_of_its_parts(seed: int) -> None:
    chance = np.random.default_rng(seed)
    reaches = show_reaches(WING)
    rows = [reaches[name] for name in ("root", "middle", "tip")]
    angle = np.stack([chance.uniform(*row.angle_deg, 2000) for row in rows])
    speed = np.stack([row.speed_deg_s * chance.choice((-1.0, 1.0), 2000) for row in rows])
    root = next(o for o in WING.rig.outputs if o.name == "root")
    assert isinstance(root, Servo)
    assert root.load.coupled is not None
    moving = Motion(angle, speed, np.zeros_like(angle))
    energy = energy_j(root.load.coupled.links, moving, 0.0)
    found = pinch(root, 6.0, rows[0].speed_deg_s)
    assert found is not None
    assert energy.max() <= found.energy_j
    assert energy.max() >= 0.5 * found.energy_j


def test_the_energy_of_a_carried_part_counts_what_carries_it() -> None:
    """By hand: a rod of 30 g and 250 mm, its hinge on an arm of 300 mm, both at 90 deg/s."""
    arm, rod = replace(ROOT, rotor_kg_m2=0.0), replace(MIDDLE, rotor_kg_m2=0.0)
    rig = Rig(boards=(BODY,), outputs=(arm, rod))
    reach = JointLimits((-40.0, 0.0), 90.0, 0.0)
    _, seen = coupled_rig(rig, {"root": reach, "middle": reach}).outputs
    assert isinstance(seen, Servo)
    found = pinch(seen, 6.0, 90.0)
    assert found is not None
    w, h = np.pi, np.pi / 2.0 * 0.300
    kinetic = 0.030 * (h**2 + h * w * 0.250 + w**2 * 0.250**2 / 3.0) / 2.0
    assert found.energy_j == pytest.approx(kinetic)


def test_a_root_without_a_load_of_its_own_still_pinches() -> None:
    bare = replace(ROOT, load=Load())
    show = coupled_show(Show(Rig(boards=(BODY,), outputs=(bare, MIDDLE)), Score("", ())))
    root = show.rig.outputs[0]
    assert isinstance(root, Servo)
    found = pinch(root, 6.0)
    assert found is not None
    assert found.tip.at_m == pytest.approx(0.300)


@pytest.mark.parametrize("angle", [-20.0, 0.0, 35.0, 60.0])
def test_at_rest_a_root_feels_the_weight_of_its_folded_chain_and_nothing_else(angle: float) -> None:
    """By hand: 60 g at 150 mm, 20 g of hinge at 300 mm, and 30 g another 125 mm on, 40 deg back."""
    folded = replace(
        MIDDLE,
        load=Load((Rod(0.030, 0.250),)),
        mount=Mount("root", 0.300, straight_deg=40.0, mass_kg=0.020),
        travel_deg=(-30.0, 0.0),
    )
    show = coupled_show(Show(Rig(boards=(BODY,), outputs=(ROOT, folded)), Score("", ())))
    root, tip = show.rig.outputs
    assert isinstance(root, Servo)
    assert isinstance(tip, Servo)
    level, back = np.cos(np.radians([angle, angle - 40.0]))
    own = 0.060 * 0.150 + (0.020 + 0.030) * 0.300
    expected = -9.80665 * (own * level + 0.030 * 0.125 * back)
    for end in load.gravity_nm(root.load, angle):
        assert float(end) == pytest.approx(expected, rel=1e-9)
    low, high = load.held_nm(root.load, angle, 0.0, 0.01)
    assert float(low) == pytest.approx(-expected - 0.01, rel=1e-9)
    assert float(high) == pytest.approx(-expected + 0.01, rel=1e-9)
