"""Parts that slide on parts that turn, and the other way round, against Lagrange's equations.

Lagrange's equations are derived anew by sympy from the places of every mass. By hand: a bead on a
turning rod has r'' - r w2 along it and r w' + 2 r' w across (plane polar coordinates, any textbook
of mechanics: Meriam and Kraige, from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
import sympy as sp
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from sim.model import JointLimits, Link
from sim.rig.chain import Chain, Motion
from sim.rig.slide import PINION_M
from sim.rig.sliding_chain import SlidingChain, chain_of
from tests.references.test_chain_lagrange import TREE, link, turned

Array = NDArray[np.float64]
G = 9.80665


def slide(name: str, carrier: int | None, mount_m: complex, way_deg: float, kg: float) -> Link:
    way = complex(np.exp(1j * np.radians(way_deg)))
    return Link(name, carrier, 1.0, 0.0, mount_m, kg, 0j, 0.0, way=way, reach_m=0.3)


BEAD = SlidingChain((link("rod", None, 0j, 0.2, 0.1 + 0j, 1e-4), slide("bead", 0, 0j, 0.0, 0.05)))
HEAD = SlidingChain(
    (
        slide("head", None, 0j, 70.0, 0.4),
        link("jaw", 0, 0.06 + 0.01j, 0.12, 0.05 - 0.01j, 5e-5, sense=-1.0, straight_deg=10.0),
        slide("tongue", 1, 0.03 + 0.01j, 15.0, 0.03),
        link("tip", 2, 0.02 + 0j, 0.01, 0.015 + 0j, 1e-6, straight_deg=5.0),
    )
)
"""A head on a slope, a jaw on it that sinks, a tongue that slides in it, and a tip that curls."""
CROSS = SlidingChain(
    (
        link("root", None, 0j, 0.3, 0.06 + 0.02j, 2e-4, straight_deg=12.0),
        slide("x", 0, 0.05 + 0.02j, 30.0, 0.1),
        slide("y", 1, 0.01 - 0.02j, 120.0, 0.06),
        link("claw", 2, 0.03 + 0j, 0.05, 0.04 + 0.01j, 2e-5, sense=-1.0),
        link("side", 0, 0.08 - 0.01j, 0.04, 0.03 + 0j, 1e-5),
    )
)
"""Two slides across one another on a part that turns, a claw on them, another part beside."""
CHAINS = {"bead": BEAD, "head": HEAD, "cross": CROSS}


def is_slide(chain: Chain) -> NDArray[np.bool_]:
    return np.array([one.way is not None for one in chain.links])


def motion_of(chain: Chain, q: Array, qd: Array, qdd: Array) -> Motion:
    """From rad and m to the model's deg and mm."""
    unit = np.where(is_slide(chain), 1000.0, np.degrees(1.0)).reshape(-1, *[1] * (q.ndim - 1))
    return Motion(q * unit, qd * unit, qdd * unit)


def efforts(chain: Chain, q: Array, qd: Array, qdd: Array, gravity: float = G) -> Array:
    """Torques (N.m) and forces (N) of all joints."""
    motion = motion_of(chain, q, qd, qdd)
    ends = [
        chain.needed_nm(n, motion, gravity, 0.0, upright=False) for n in range(len(chain.links))
    ]
    for low, high in ends:
        assert low == pytest.approx(high, abs=1e-9)
    per = np.where(is_slide(chain), PINION_M, 1.0)
    return np.array([low for low, _ in ends]) / per.reshape(-1, *[1] * (q.ndim - 1))


def lagrange(chain: Chain, gravity: float):  # type: ignore[no-untyped-def]
    """Efforts by sympy: d/dt dL/dq' - dL/dq, with the places of all masses written out."""
    t = sp.Symbol("t")
    q = [sp.Function(f"q{n}")(t) for n in range(len(chain.links))]
    phis: list[sp.Expr] = []
    origins: list[tuple[sp.Expr, sp.Expr]] = []
    energy = sp.Integer(0)
    for n, one in enumerate(chain.links):
        face = sp.Integer(0) if one.carrier is None else phis[one.carrier]
        x, y = (sp.Integer(0), sp.Integer(0)) if one.carrier is None else origins[one.carrier]
        dx, dy = turned(one.mount_m, face)
        if one.way is not None:
            wx, wy = turned(one.way, face)
            dx, dy = dx + q[n] * wx, dy + q[n] * wy
            phis.append(face)
        else:
            phis.append(face + one.sense * (q[n] - sp.rad(sp.Float(one.straight_deg, 30))))
        origins.append((x + dx, y + dy))
        centre = one.moment_kg_m / one.mass_kg
        cx, cy = turned(centre, phis[n])
        cx, cy = origins[n][0] + cx, origins[n][1] + cy
        own = one.inertia_kg_m2 - one.mass_kg * abs(centre) ** 2
        moving = one.mass_kg * (sp.diff(cx, t) ** 2 + sp.diff(cy, t) ** 2)
        energy += (moving + own * sp.diff(phis[n], t) ** 2) / 2 - one.mass_kg * gravity * cy
    found = [sp.diff(sp.diff(energy, sp.diff(one, t)), t) - sp.diff(energy, one) for one in q]
    plain = [sp.symbols(f"q{n} qd{n} qdd{n}") for n in range(len(q))]
    for one, (at, speed, accel) in zip(q, plain, strict=True):
        for old, new in ((sp.diff(one, t, 2), accel), (sp.diff(one, t), speed), (one, at)):
            found = [expression.subs(old, new) for expression in found]
    return sp.lambdify([*zip(*plain, strict=True)], found, "numpy")


@pytest.mark.parametrize("name", CHAINS)
def test_a_chain_with_slides_needs_what_lagrange_s_equations_say(name: str) -> None:
    chain = CHAINS[name]
    exact = lagrange(chain, G)
    chance, count = np.random.default_rng(4), len(chain.links)
    for _ in range(25):
        q = chance.uniform(-3, 3, count) * np.where(is_slide(chain), 0.1, 1.0)
        qd = chance.uniform(-9, 9, count) * np.where(is_slide(chain), 0.1, 1.0)
        qdd = chance.uniform(-90, 90, count) * np.where(is_slide(chain), 0.1, 1.0)
        assert efforts(chain, q, qd, qdd) == pytest.approx(exact(q, qd, qdd), rel=1e-9, abs=1e-9)


def test_a_bead_on_a_turning_rod_feels_the_polar_accelerations() -> None:
    r, rd, rdd, w, wd = 0.12, 0.4, 3.0, 5.0, 20.0
    q, qd, qdd = np.array([0.7, r]), np.array([w, rd]), np.array([wd, rdd])
    torque, force = efforts(BEAD, q, qd, qdd, gravity=0.0)
    assert force == pytest.approx(0.05 * (rdd - r * w**2))
    rod = (1e-4 + 0.2 * 0.1**2) * wd
    assert torque == pytest.approx(rod + 0.05 * r * (r * wd + 2.0 * rd * w))


def test_a_head_on_a_slide_bears_the_weight_of_its_jaw() -> None:
    q = np.zeros(4)
    force = efforts(HEAD, q, q, q)[0]
    assert force == pytest.approx((0.4 + 0.12 + 0.03 + 0.01) * G * np.sin(np.radians(70.0)))


def test_chains_without_slides_are_the_chains_they_were() -> None:
    assert type(chain_of(TREE.links)) is Chain
    assert type(chain_of(BEAD.links)) is SlidingChain
    same = SlidingChain(TREE.links)
    chance = np.random.default_rng(7)
    rows = [chance.uniform(-2, 2, (4, 5)) for _ in range(3)]
    motion = motion_of(TREE, *rows)
    assert same.moving_nm(motion) == pytest.approx(TREE.moving_nm(motion))
    assert same.borne_moments_kg_m(motion) == pytest.approx(TREE.borne_moments_kg_m(motion))


@pytest.mark.parametrize("name", CHAINS)
def test_let_go_a_chain_with_slides_keeps_its_energy(name: str) -> None:
    """Without drives and friction: the work of all joints is nothing, the energy stays."""
    chain = CHAINS[name]
    count = len(chain.links)

    def slope(_: float, state: Array) -> Array:
        q, qd = state[:count], state[count:]
        still = efforts(chain, q, qd, np.zeros(count))
        columns = [efforts(chain, q, qd, unit) - still for unit in np.eye(count)]
        return np.concatenate([qd, np.linalg.solve(np.array(columns).T, -still)])

    start = np.concatenate([np.full(count, 0.05), np.full(count, 0.3)])
    run = solve_ivp(slope, (0.0, 0.25), start, rtol=1e-9, atol=1e-10)
    energies = [energy_j(chain, y[:count], y[count:]) for y in run.y.T]
    assert np.ptp(run.y[0]) > 0.05, "it must really move"
    assert np.ptp(energies) < 1e-6 * max(1.0, np.max(np.abs(energies)))


def energy_j(chain: Chain, q: Array, qd: Array) -> float:
    """Kinetic energy and height by small steps of every centre of mass."""
    step = 1e-6
    before, after = (places(chain, q + sign * step * qd) for sign in (-1.0, 1.0))
    here = places(chain, q)
    total = 0.0
    for one, (a, pa), (b, pb), (c, _) in zip(chain.links, before, after, here, strict=True):
        speed, spin = abs(b - a) / (2 * step), (pb - pa) / (2 * step)
        centre = one.moment_kg_m / one.mass_kg
        own = one.inertia_kg_m2 - one.mass_kg * abs(centre) ** 2
        total += one.mass_kg * (speed**2 / 2 + G * c.imag) + own * spin**2 / 2
    return total


def places(chain: Chain, q: Array) -> list[tuple[complex, float]]:
    """Each centre of mass, and the direction of its part."""
    found: list[tuple[complex, float]] = []
    at: list[complex] = []
    faces: list[float] = []
    for one, own in zip(chain.links, q, strict=True):
        start, face = (0j, 0.0) if one.carrier is None else (at[one.carrier], faces[one.carrier])
        step = one.mount_m + (0j if one.way is None else own * one.way)
        at.append(start + np.exp(1j * face) * step)
        turn = 0.0 if one.way is not None else one.sense * (own - np.radians(one.straight_deg))
        faces.append(face + turn)
        centre = one.moment_kg_m / one.mass_kg
        found.append((at[-1] + np.exp(1j * faces[-1]) * centre, faces[-1]))
    return found


# -- bounds ----------------------------------------------------------------------------------


@settings(max_examples=60)
@given(st.sampled_from(sorted(CHAINS)), st.integers(0, 2**31), st.floats(0.0, 40.0), st.booleans())
def test_no_state_within_the_reaches_needs_more_than_the_bound(
    name: str, seed: int, tilt: float, upright: bool
) -> None:
    chain, chance = CHAINS[name], np.random.default_rng(seed)
    count, slides = len(chain.links), is_slide(CHAINS[name])
    wide = np.where(slides, 60.0, 80.0)
    low = chance.uniform(-1.0, 0.5, count) * wide
    high = low + chance.uniform(0.0, 1.0, count) * wide
    speed = chance.uniform(0.0, 300.0, count)
    accel = chance.uniform(0.0, 3000.0, count)
    reaches = tuple(
        JointLimits((float(a), float(b)), float(v), float(w))
        for a, b, v, w in zip(low, high, speed, accel, strict=True)
    )
    # corners of the reaches are where the worst is, so they come up as often as what lies between
    many = (count, 200)
    angle = np.where(
        chance.random(many) < 0.5,
        np.where(chance.random(many) < 0.5, low[:, None], high[:, None]),
        chance.uniform(low[:, None], high[:, None], many),
    )
    fast = speed[:, None] * np.clip(chance.uniform(-2.0, 2.0, many), -1.0, 1.0)
    hard = accel[:, None] * np.clip(chance.uniform(-2.0, 2.0, many), -1.0, 1.0)
    motion = Motion(angle, fast, hard)
    for joint in range(count):
        own = angle[joint], fast[joint], hard[joint]
        least, most = chain.bounds_nm(joint, own, reaches, G, tilt, upright)
        needs = chain.needed_nm(joint, motion, G, tilt, upright=upright)
        slack = 1e-9 + 1e-9 * np.abs(most)
        assert np.all(least - slack <= needs[0])
        assert np.all(needs[1] <= most + slack)


def test_the_bound_of_a_known_motion_is_the_motion() -> None:
    """Where nothing is left open but the joint itself, least and most are what it needs."""
    chain, chance = HEAD, np.random.default_rng(3)
    q = np.array([20.0, 25.0, 12.0, 30.0])
    reaches = tuple(JointLimits((float(place),) * 2, 0.0, 0.0) for place in q)
    for joint in range(4):
        speed, accel = np.zeros((4, 1)), np.zeros((4, 1))
        speed[joint], accel[joint] = chance.uniform(-90, 90), chance.uniform(-900, 900)
        motion = Motion(q[:, None], speed, accel)
        needs, _ = chain.needed_nm(joint, motion, G, 0.0, upright=False)
        own = (q[joint : joint + 1], speed[joint], accel[joint])
        least, most = chain.bounds_nm(joint, own, reaches, G)
        assert least == pytest.approx(needs, rel=1e-9)
        assert most == pytest.approx(needs, rel=1e-9)


@pytest.mark.parametrize("claw_deg", [20.0, -20.0, 60.0, 120.0])
def test_a_claw_on_a_slide_is_felt_by_how_it_stands(claw_deg: float) -> None:
    """Coriolis: 2 m w v times how far ahead along the slide the claw's mass lies (Meriam and
    Kraige, from memory). The slide goes in and out at 0.1 m/s at most, the root turns at 90 deg/s.
    """
    chain = SlidingChain(
        (
            link("root", None, 0j, 1e-9, 0j, 0.0),
            slide("out", 0, 0j, 0.0, 1e-9),
            link("claw", 1, 0j, 0.05, 0.04 + 0j, 0.0),
        )
    )
    reaches = (
        JointLimits((0.0, 0.0), 90.0, 0.0),
        JointLimits((0.0, 0.0), 100.0, 0.0),
        JointLimits((claw_deg, claw_deg), 0.0, 0.0),
    )
    own = np.array([0.0]), np.array([90.0]), np.array([0.0])
    least, most = chain.bounds_nm(0, own, reaches, 0.0)
    felt = 2.0 * 0.05 * np.radians(90.0) * 0.1 * 0.04 * abs(np.cos(np.radians(claw_deg)))
    assert (least[0], most[0]) == pytest.approx((-felt, felt), rel=1e-6)


def test_the_most_inertia_is_that_of_the_stretched_chain() -> None:
    assert HEAD.greatest_inertia_kg_m2(0) == pytest.approx(0.56 * PINION_M**2)
    stretched = BEAD.greatest_inertia_kg_m2(0)
    assert stretched == pytest.approx(1e-4 + 0.2 * 0.1**2 + 0.05 * 0.3**2)


def test_no_motion_has_more_energy_than_the_greatest() -> None:
    chance = np.random.default_rng(11)
    for chain in CHAINS.values():
        count, slides = len(chain.links), is_slide(chain)
        speeds = chance.uniform(10.0, 200.0, count)
        bound = chain.greatest_energy_j(0, speeds.tolist())
        for _ in range(50):
            q = chance.uniform(-1, 1, count) * np.where(slides, 0.3, 3.0)
            qd = chance.uniform(-1, 1, count) * speeds * np.where(slides, 1e-3, np.radians(1.0))
            moving = energy_j(chain, q, qd) - energy_j(chain, q, 0.0 * qd)
            assert moving <= bound + 1e-9


@pytest.mark.parametrize("centre_m", [0.05, -0.05, 0.03 + 0.04j, 0.03 - 0.04j])
def test_a_part_that_turns_on_a_slide_adds_its_speed_to_the_slide_s(centre_m: complex) -> None:
    """Koenig: m v2 / 2 + I w2 / 2 about the hinge, and v w m r where r stands square to the way."""
    turning = link("jaw", 0, 0j, 0.12, complex(centre_m), 5e-5)
    chain = SlidingChain((slide("head", None, 0j, 90.0, 0.4), turning))
    jaw = chain.links[1]
    v, w = 0.5, np.radians(200.0)
    moving = (0.4 + 0.12) * v**2 / 2 + jaw.inertia_kg_m2 * w**2 / 2
    both = moving + v * w * abs(jaw.moment_kg_m)
    found = chain.greatest_energy_j(0, [500.0, 200.0])
    assert isinstance(found, float)
    assert found == pytest.approx(both)
    assert abs(jaw.moment_kg_m) == pytest.approx(0.12 * 0.05)


@pytest.mark.parametrize(
    ("ends_mm", "nearest_m", "farthest_m"),
    [
        ((-80.0, 60.0), 0.0, 0.08),
        ((0.0, 60.0), 0.0, 0.06),
        ((-60.0, 0.0), 0.0, 0.06),
        ((10.0, 60.0), 0.01, 0.06),
        ((-60.0, -10.0), 0.01, 0.06),
    ],
)
def test_a_bead_that_may_slide_through_the_hinge_resists_least_there(
    ends_mm: tuple[float, float], nearest_m: float, farthest_m: float
) -> None:
    """Turned at w' from rest, without weight: (I + m r2) w', the bead anywhere on its way."""
    wd = 20.0
    turned_up = (np.zeros(1), np.zeros(1), np.full(1, np.degrees(wd)))
    reach = (JointLimits((0.0, 0.0), 0.0, 0.0), JointLimits(ends_mm, 0.0, 0.0))
    least, most = BEAD.bounds_nm(0, turned_up, reach, 0.0)
    rod = 1e-4 + 0.2 * 0.1**2
    assert least == pytest.approx((rod + 0.05 * nearest_m**2) * wd)
    assert most == pytest.approx((rod + 0.05 * farthest_m**2) * wd)


@pytest.mark.parametrize(("tilt_deg", "share"), [(30.0, 0.5), (90.0, 1.0), (120.0, 1.0)])
def test_a_level_slide_feels_as_much_weight_as_the_wearer_leans(
    tilt_deg: float, share: float
) -> None:
    """Leant past the level, the wearer has been level on the way: all of the weight."""
    chain = SlidingChain((slide("x", None, 0j, 0.0, 0.4),))
    still = (np.zeros(1), np.zeros(1), np.zeros(1))
    reach = (JointLimits((0.0, 10.0), 0.0, 0.0),)
    least, most = chain.bounds_nm(0, still, reach, G, tilt_deg, upright=True)
    assert most == pytest.approx(share * 0.4 * G * PINION_M)
    assert least == pytest.approx(-most)
