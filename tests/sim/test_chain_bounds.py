"""What a joint of a chain may need, whatever the others do: a bound that is true and of use."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.model import JointLimits, Link, Load, PointMass
from sim.rig.chain import Chain, Motion
from sim.rig.intervals import cosine, squares_apart
from sim.rig.load import gravity_nm

GRAVITY = 9.80665


@st.composite
def chains(draw: st.DrawFn) -> Chain:
    count = draw(st.integers(1, 4))
    size = st.floats(-0.2, 0.2)
    links = []
    for index in range(count):
        carrier = None if index == 0 else draw(st.integers(0, index - 1))
        mass = draw(st.floats(0.005, 0.5))
        centre = complex(draw(size), draw(size))
        own = draw(st.floats(0.0, 1e-3))
        mount = 0j if carrier is None else complex(draw(size), draw(size))
        sense = draw(st.sampled_from((1.0, -1.0)))
        straight = draw(st.floats(-90, 90))
        inertia = own + mass * abs(centre) ** 2
        links.append(
            Link(f"p{index}", carrier, sense, straight, mount, mass, mass * centre, inertia)
        )
    return Chain(tuple(links))


def reaches(chance: np.random.Generator, count: int) -> list[JointLimits]:
    found = []
    for _ in range(count):
        low = chance.uniform(-120, 90)
        high = low + chance.uniform(0, 150)
        found.append(JointLimits((low, high), chance.uniform(0, 600), chance.uniform(0, 9000)))
    return found


def played(chance: np.random.Generator, others: list[JointLimits], many: int) -> Motion:
    """Random motions within the reaches, half of them at an end of each."""
    rows = []
    for reach in others:
        ends = np.array([reach.angle_deg, (-reach.speed_deg_s, reach.speed_deg_s)])
        ends = np.vstack([ends, (-reach.accel_deg_s2, reach.accel_deg_s2)])
        share = chance.random((3, many))
        share = np.where(chance.random((3, many)) < 0.5, np.round(share), share)
        rows.append(ends[:, :1] + (ends[:, 1:] - ends[:, :1]) * share)
    return Motion(*np.stack(rows, axis=1))


def needed(chain: Chain, motion: Motion, joint: int) -> np.ndarray:
    sense = chain.links[joint].sense
    moment = chain.borne_moments_kg_m(motion)[joint]
    return chain.moving_nm(motion)[joint] + sense * GRAVITY * moment.real


@settings(deadline=None, max_examples=80)
@given(chains(), st.integers(0, 2**32 - 1))
def test_no_play_of_the_other_joints_needs_more_than_the_bound(chain: Chain, seed: int) -> None:
    chance = np.random.default_rng(seed)
    others = reaches(chance, len(chain.links))
    motion = played(chance, others, 200)
    for joint in range(len(chain.links)):
        own = motion.angle_deg[joint], motion.speed_deg_s[joint], motion.accel_deg_s2[joint]
        low, high = chain.bounds_nm(joint, own, others, GRAVITY)
        torque = needed(chain, motion, joint)
        slack = 1e-9 * (1.0 + np.abs(torque))
        assert (low - slack <= torque).all()
        assert (torque <= high + slack).all()


WING = Chain(
    (
        Link("root", None, 1.0, 0.0, 0j, 0.2, 0.2 * 0.15 + 0j, 0.2 * 0.15**2 * 4 / 3),
        Link("tip", 0, 1.0, 0.0, 0.3 + 0j, 0.1, 0.1 * 0.15 + 0j, 0.1 * 0.15**2 * 4 / 3),
    )
)
FOLD = [JointLimits((-20.0, 60.0), 150.0, 900.0), JointLimits((-90.0, 0.0), 300.0, 2000.0)]


@pytest.mark.parametrize("joint", [0, 1])
def test_some_play_of_a_wing_comes_near_its_bound(joint: int) -> None:
    chance = np.random.default_rng(joint)
    motion = played(chance, FOLD, 50_000)
    own = motion.angle_deg[joint], motion.speed_deg_s[joint], motion.accel_deg_s2[joint]
    low, high = WING.bounds_nm(joint, own, FOLD, GRAVITY)
    torque = needed(WING, motion, joint)
    assert torque.max() > 0.85 * high.max()
    assert torque.min() < 0.85 * low.min()


def test_a_joint_alone_needs_just_what_it_needs() -> None:
    alone = Chain(WING.links[:1])
    own = np.array([10.0, 40.0]), np.array([100.0, 0.0]), np.array([500.0, -900.0])
    low, high = alone.bounds_nm(0, own, FOLD[:1], GRAVITY)
    torque = needed(alone, Motion(*(row[None] for row in own)), 0)
    assert low == pytest.approx(torque)
    assert high == pytest.approx(torque)


def test_a_leaning_wearer_widens_the_bound_as_a_single_part_s() -> None:
    part = Load((PointMass(0.2, 0.15, 30.0),), level_deg=20.0)
    moment = 0.2 * 0.15 * np.exp(1j * np.radians(30.0))
    alone = Chain((Link("part", None, 1.0, 20.0, 0j, 0.2, complex(moment), 0.2 * 0.15**2),))
    angles = np.linspace(-200.0, 200.0, 401)
    for tilt in (0.0, 25.0, 90.0, 180.0):
        low, high = gravity_nm(part, angles, tilt)
        still = np.zeros_like(angles)
        bound = alone.bounds_nm(0, (angles, still, still), FOLD[:1], GRAVITY, tilt)
        assert bound[0] == pytest.approx(-high, abs=1e-12)
        assert bound[1] == pytest.approx(-low, abs=1e-12)


# -- intervals ------------------------------------------------------------------------------------

ENDS = st.tuples(st.floats(-6.0, 6.0), st.floats(0.0, 6.0)).map(lambda e: (e[0], e[0] + e[1]))


@given(ENDS, ENDS)
def test_the_difference_of_two_squares_is_bounded_just_by_its_extremes(
    below: tuple[float, float], more: tuple[float, float]
) -> None:
    """w**2 - (w + m)**2 over a fine grid of both."""
    w, m = np.meshgrid(np.linspace(*below, 81), np.linspace(*more, 801))
    every = w**2 - (w + m) ** 2
    low, high = squares_apart(
        (np.array(below[0]), np.array(below[1])), (np.array(more[0]), np.array(more[1]))
    )
    assert float(low) == pytest.approx(every.min(), abs=1e-9)
    assert every.max() - 1e-9 <= float(high) <= every.max() + 1e-3


@given(ENDS, st.floats(-7.0, 7.0))
def test_a_cosine_is_bounded_just_by_its_extremes(a: tuple[float, float], ahead: float) -> None:
    every = np.cos(np.linspace(*a, 4001) + ahead)
    low, high = cosine((np.array(a[0]), np.array(a[1])), ahead)
    assert every.min() - 2e-6 <= float(low) <= every.min() + 1e-9
    assert every.max() - 1e-9 <= float(high) <= every.max() + 2e-6
