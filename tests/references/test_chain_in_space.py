"""Parts whose hinge lines are turned from their carriers', against Lagrange's equations by sympy.

Nothing of the model is used here but the numbers of the parts: each part is a few point masses in
its own frame, placed by rotation matrices, and the torques are d/dt dL/dq' - dL/dq. Energy of a
falling chain is taken from the same points. (Lagrange's equations: any handbook of mechanics.)
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import sympy as sp
from scipy.integrate import solve_ivp

from sim.arrays import Array
from sim.model import Box, JointLimits, Link, Load, Plate, PointMass, Rod
from sim.rig.chain import Chain, Motion
from sim.rig.load import inertia_kg_m2, second_moments_kg_m2
from sim.rig.skew_chain import SkewChain
from sim.rig.sliding_chain import chain_of

G = 9.80665
POINTS = {
    "root": ((0.12, (0.06, 0.02, 0.0)), (0.05, (0.1, -0.03, 0.02)), (0.05, (0.1, -0.03, -0.02))),
    "tip": ((0.08, (0.09, 0.01, 0.0)), (0.02, (0.15, 0.0, 0.03)), (0.02, (0.15, 0.0, -0.03))),
    "fin": ((0.04, (-0.03, 0.05, 0.0)),),
}
"""Mass (kg) and place (m) in the part's frame; its centre lies in the plane in which it turns."""

HINGES = {
    "root": (None, 0j, 0.0, 1.0, 12.0),
    "tip": (0, 0.15 - 0.03j, 90.0, -1.0, -20.0),
    "fin": (1, 0.11 + 0.02j, -35.0, 1.0, 8.0),
}
"""Carrier, place on it, how far the hinge line is turned, sense, and the straight angle."""


def link(name: str) -> Link:
    carrier, mount, turned, sense, straight = HINGES[name]
    rows = [(m, np.array(p)) for m, p in POINTS[name]]
    s = np.sum([m * np.outer(p, p) for m, p in rows], axis=0)
    return Link(
        name,
        carrier,
        sense,
        straight,
        mount,
        sum(m for m, _ in rows),
        complex(sum(m * p[0] for m, p in rows), sum(m * p[1] for m, p in rows)),
        float(s[0, 0] + s[1, 1]),
        turned_deg=turned,
        spread_kg_m2=(float(s[0, 0]), float(s[1, 1]), float(s[0, 1])),
        flank_kg_m2=float(s[2, 2]),
    )


CHAIN = chain_of(tuple(map(link, HINGES)))


def about_z(q: sp.Expr) -> sp.Matrix:
    return sp.Matrix([[sp.cos(q), -sp.sin(q), 0], [sp.sin(q), sp.cos(q), 0], [0, 0, 1]])


def about_x(q: float) -> sp.Matrix:
    c, s = sp.cos(sp.rad(q)), sp.sin(sp.rad(q))
    return sp.Matrix([[1, 0, 0], [0, c, -s], [0, s, c]])


def places(q: list[sp.Expr]) -> list[tuple[float, sp.Matrix]]:
    frames: list[sp.Matrix] = []
    hinges: list[sp.Matrix] = []
    found = []
    for n, (name, (carrier, mount, turned, sense, straight)) in enumerate(HINGES.items()):
        turn = about_z(sense * (q[n] - sp.rad(straight)))
        if carrier is None:
            frames.append(turn)
            hinges.append(sp.zeros(3, 1))
        else:
            frames.append(frames[carrier] * about_x(turned) * turn)
            d = sp.Matrix([mount.real, mount.imag, 0])
            hinges.append(hinges[carrier] + frames[carrier] * d)
        found += [(m, hinges[n] + frames[n] * sp.Matrix(p)) for m, p in POINTS[name]]
    return found


def lagrange(up: tuple[int, int, int]):  # type: ignore[no-untyped-def]
    t = sp.Symbol("t")
    q = [sp.Function(f"q{n}")(t) for n in range(3)]
    kinetic, height = sp.Integer(0), sp.Integer(0)
    for m, at in places(q):
        speed = at.diff(t)
        kinetic += m * speed.dot(speed) / 2
        height += m * at.dot(sp.Matrix(up))
    whole = kinetic - G * height
    found = [sp.diff(sp.diff(whole, sp.diff(one, t)), t) - sp.diff(whole, one) for one in q]
    plain = [sp.symbols(f"q{n} qd{n} qdd{n}") for n in range(3)]
    rows = [*found, kinetic + G * height]
    for one, (at, speed, accel) in zip(q, plain, strict=True):
        for old, new in ((sp.diff(one, t, 2), accel), (sp.diff(one, t), speed), (one, at)):
            rows = [row.subs(old, new) for row in rows]
    return sp.lambdify([*zip(*plain, strict=True)], rows, "numpy", cse=True)


@pytest.fixture(scope="module")
def level():  # type: ignore[no-untyped-def]
    return lagrange((0, 1, 0))


def needed(q: Array, qd: Array, qdd: Array, upright: bool = False) -> list[float]:
    motion = Motion(*(np.degrees(row)[:, None] for row in (q, qd, qdd)))
    ends = [CHAIN.needed_nm(n, motion, G, 0.0, upright) for n in range(3)]
    assert all(low[0] == pytest.approx(high[0], rel=1e-6, abs=1e-7) for low, high in ends)
    return [float(low[0] + high[0]) / 2.0 for low, high in ends]


def random_motion(chance: np.random.Generator) -> tuple[Array, Array, Array]:
    return chance.uniform(-3, 3, 3), chance.uniform(-9, 9, 3), chance.uniform(-90, 90, 3)


def test_hinges_turned_across_need_what_lagrange_s_equations_say(level) -> None:  # type: ignore[no-untyped-def]
    chance = np.random.default_rng(7)
    for _ in range(25):
        row = random_motion(chance)
        assert needed(*row) == pytest.approx(level(*row)[:3], rel=1e-6, abs=1e-7)


def test_the_motion_alone_needs_what_lagrange_s_equations_say_less_the_weight(level) -> None:  # type: ignore[no-untyped-def]
    chance = np.random.default_rng(17)
    zero = np.zeros(3)
    for _ in range(10):
        q, qd, qdd = random_motion(chance)
        motion = Motion(*(np.degrees(row)[:, None] for row in (q, qd, qdd)))
        alone = np.array(level(q, qd, qdd)[:3]) - np.array(level(q, zero, zero)[:3])
        assert CHAIN.moving_nm(motion)[:, 0] == pytest.approx(alone, rel=1e-6, abs=1e-7)


def test_parts_across_have_no_moments_in_one_plane() -> None:
    motion = Motion(*(np.zeros((3, 1)) for _ in range(3)))
    with pytest.raises(TypeError, match="no directions in one plane"):
        CHAIN.borne_moments_kg_m(motion)


def test_no_motion_of_parts_across_has_more_energy_than_its_bound(level) -> None:  # type: ignore[no-untyped-def]
    chance = np.random.default_rng(18)
    zero, most = np.zeros(3), np.array([400.0, 300.0, 500.0])
    bound = CHAIN.greatest_energy_j(0, most.tolist())
    found = 0.0
    for _ in range(300):
        q, signs = chance.uniform(-3, 3, 3), chance.choice((-1.0, 1.0), 3)
        moving = level(q, np.radians(most * signs), zero)[3] - level(q, zero, zero)[3]
        found = max(found, float(moving))
    assert 0.5 * bound < found <= bound


def test_a_part_that_is_deep_along_its_hinge_line_has_its_energy_about_others() -> None:
    """Two points at +-0.1 m on the hinge line of a tip, which the root turns end over end."""
    root = Link("root", None, 1.0, 0.0, 0j, 0.0, 0j, 0.0)
    tip = Link("tip", 0, 1.0, 0.0, 0j, 0.2, 0j, 0.0, turned_deg=90.0, flank_kg_m2=0.002)
    bound = chain_of((root, tip)).greatest_energy_j(0, [np.degrees(5.0), 0.0])
    assert bound == pytest.approx(0.002 * 5.0**2 / 2.0)


def test_on_an_upright_hinge_the_weight_pulls_along_it() -> None:
    exact = lagrange((0, 0, 1))
    chance = np.random.default_rng(8)
    for _ in range(10):
        row = random_motion(chance)
        assert needed(*row, upright=True) == pytest.approx(exact(*row)[:3], rel=1e-6, abs=1e-7)


def test_a_falling_chain_across_keeps_its_energy(level) -> None:  # type: ignore[no-untyped-def]
    def accelerations(q: Array, qd: Array) -> Array:
        zero = np.zeros(3)
        still = np.array(needed(q, qd, zero))
        columns = [np.array(needed(q, qd, unit)) - still for unit in np.eye(3)]
        return np.linalg.solve(np.array(columns).T, -still)

    def slope(_: float, state: Array) -> Array:
        return np.concatenate([state[3:], accelerations(state[:3], state[3:])])

    start = np.array([0.4, -0.3, 0.6, 1.0, -2.0, 0.5])
    run = solve_ivp(slope, (0.0, 0.6), start, rtol=1e-8, atol=1e-9)
    energy = [level(y[:3], y[3:], np.zeros(3))[3] for y in run.y.T]
    assert np.ptp(np.degrees(run.y[0])) > 45.0, "the chain must really swing"
    assert np.ptp(energy) < 1e-5


@pytest.mark.parametrize("tilt", [0.0, 20.0, 120.0])
def test_no_play_of_joints_across_beats_their_bound(tilt: float) -> None:
    chance = np.random.default_rng(int(tilt))
    near = 0.0
    for _ in range(25):
        lows = chance.uniform(-90, 60, 3)
        reaches = [
            JointLimits((low, low + chance.uniform(5, 90)), chance.uniform(0, 500), 5000.0)
            for low in lows
        ]
        many = 120
        angle = np.stack([chance.uniform(*one.angle_deg, many) for one in reaches])
        sign = chance.choice((-1.0, 0.0, 1.0), (2, 3, many))
        speed = sign[0] * np.array([[one.speed_deg_s] for one in reaches])
        accel = sign[1] * np.array([[one.accel_deg_s2] for one in reaches])
        motion = Motion(angle, speed, accel)
        for joint in range(3):
            own = angle[joint], speed[joint], accel[joint]
            low, high = CHAIN.bounds_nm(joint, own, reaches, G, tilt)
            least, most = CHAIN.needed_nm(joint, motion, G, tilt, False)
            assert (low <= least + 1e-7).all()
            assert (most <= high + 1e-7).all()
            near = max(near, float((most / np.maximum(high, 1e-9)).max()))
    assert near > 0.8, "the bound is of use"


def test_a_wide_reach_of_another_joint_hardly_loosens_a_bound() -> None:
    """The bound over 240 deg of the tip against the widest of those over 2 deg of it each."""
    own = np.array([20.0]), np.array([0.0]), np.array([300.0])
    pair = chain_of(tuple(map(link, ("root", "tip"))))

    def most_nm(low: float, high: float) -> float:
        reaches = [JointLimits((0.0, 60.0), 0.0, 0.0), JointLimits((low, high), 300.0, 2000.0)]
        return float(pair.bounds_nm(0, own, reaches, G)[1][0])

    narrow, wide = max(most_nm(low, low + 2.0) for low in range(-120, 120, 2)), most_nm(-120, 120)
    assert narrow <= wide < 1.03 * narrow


@pytest.mark.parametrize("turned", [-90.0, -1.0, 0.0, 1.0, 45.0, 90.0, 180.0])
def test_a_hinge_line_that_is_turned_a_little_more_needs_a_little_else(turned: float) -> None:
    """No angle is a special case: half-way between its neighbours, to the square of a hundredth."""

    def at(angle: float) -> Array:
        links = (link("root"), replace(link("tip"), turned_deg=angle), link("fin"))
        chain = SkewChain(links)
        return np.array([chain.needed_nm(n, motion, G, 0.0, False) for n in range(3)])

    chance = np.random.default_rng(11)
    for _ in range(5):
        motion = Motion(*(np.degrees(row)[:, None] for row in random_motion(chance)))
        between = (at(turned - 0.01) + at(turned + 0.01)) / 2.0
        assert at(turned) == pytest.approx(between, abs=1e-6)


def test_lines_that_are_turned_by_nothing_come_out_as_parallel_ones() -> None:
    flat = tuple(
        Link(
            one.name,
            one.carrier,
            one.sense,
            one.straight_deg,
            one.mount_m,
            one.mass_kg,
            one.moment_kg_m,
            one.inertia_kg_m2,
            spread_kg_m2=one.spread_kg_m2,
            flank_kg_m2=one.flank_kg_m2,
        )
        for one in CHAIN.links
    )
    assert type(chain_of(flat)) is Chain
    chance = np.random.default_rng(9)
    motion = Motion(*(np.degrees(row)[:, None] for row in random_motion(chance)))
    for joint in range(3):
        for tilt in (0.0, 30.0):
            skew = SkewChain(flat).needed_nm(joint, motion, G, tilt, False)
            plain = Chain(flat).needed_nm(joint, motion, G, tilt, False)
            assert np.array(skew) == pytest.approx(np.array(plain), rel=1e-6, abs=1e-8)


BODIES = (
    PointMass(0.1, 0.08, 30.0),
    Rod(0.05, 0.2, 0.03, -20.0),
    Plate(0.04, 0.2, 0.1, 0.0, 15.0),
    Plate(0.04, 0.2, 0.1, 0.0, 15.0, True),
    Box(0.06, 0.1, 0.05, 0.03, 0.02, 70.0),
)


@pytest.mark.parametrize("body", BODIES, ids=lambda body: type(body).__name__)
def test_second_moments_are_those_of_very_many_points(body) -> None:  # type: ignore[no-untyped-def]
    """Midpoints of a fine grid through the body; the inertia about the hinge is two of them."""
    n = (np.arange(60) + 0.5) / 60 - 0.5
    length = 0.0 if isinstance(body, PointMass) else body.length_m
    wide = body.width_m if isinstance(body, Plate | Box) else 0.0
    deep = body.depth_m if isinstance(body, Box) else 0.0
    if isinstance(body, Plate) and body.flat:
        wide, deep = deep, wide
    middle = body.radius_m if isinstance(body, PointMass) else body.start_m + body.length_m / 2
    u, v, w = np.meshgrid(middle + length * n, wide * n, deep * n, indexing="ij")
    c, s = np.cos(np.radians(body.offset_deg)), np.sin(np.radians(body.offset_deg))
    x, y = c * u - s * v, s * u + c * v
    found = [body.mass_kg * float(np.mean(q)) for q in (x * x, y * y, x * y, w * w)]
    own = second_moments_kg_m2(Load((body,)))
    assert own == pytest.approx(found, rel=1e-3, abs=1e-9)
    assert own[0] + own[1] == pytest.approx(inertia_kg_m2(body))
