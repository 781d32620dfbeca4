"""Parts on parts against Lagrange's equations, derived anew by sympy, and against energy.

Sources: the two-link arm's closed equations in Spong, Hutchinson and Vidyasagar, Robot Modeling and
Control, 2006 (the book was not opened: equations by a public copy, recomputed three ways); the
static torques of cases A1 to A3 are printed in the unit tests of an open robotics library. All
other numbers are recomputed by sympy here.
"""

from __future__ import annotations

import numpy as np
import pytest
import sympy as sp
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from sim.model import Link
from sim.rig.chain import Chain, Motion
from tests.references.koenig import energy_j

Array = NDArray[np.float64]


def link(
    name: str,
    carrier: int | None,
    mount_m: complex,
    mass_kg: float,
    centre_m: complex,
    centre_kg_m2: float = 0.0,
    sense: float = 1.0,
    straight_deg: float = 0.0,
) -> Link:
    inertia = centre_kg_m2 + mass_kg * abs(centre_m) ** 2
    moment = mass_kg * centre_m
    return Link(name, carrier, sense, straight_deg, mount_m, mass_kg, moment, inertia)


def two(m: Array, l1: float, lc: Array, inertia: Array) -> Chain:
    first = link("first", None, 0j, m[0], complex(lc[0]), inertia[0])
    return Chain((first, link("second", 0, complex(l1), m[1], complex(lc[1]), inertia[1])))


def torques(chain: Chain, q: Array, qd: Array, qdd: Array, gravity: float) -> Array:
    """Of all joints, for angles in radians."""
    motion = Motion(np.degrees(q), np.degrees(qd), np.degrees(qdd))
    sense = np.array([one.sense for one in chain.links])
    return chain.moving_nm(motion) + sense * gravity * chain.borne_moments_kg_m(motion).real


UNIT = two(np.ones(2), 1.0, np.full(2, 0.5), np.zeros(2))
RODS = two(np.ones(2), 1.0, np.full(2, 0.5), np.full(2, 1 / 12))
COSTUME = two(
    np.array([0.25, 0.15]),
    0.2,
    np.array([0.1, 0.07]),
    np.array([0.25 * 0.2**2 / 12, 0.15 * 0.15**2 / 12]),
)
CASES = {
    "A1 stretched level": (UNIT, (0, 0), (0, 0), (0, 0), 9.81, (19.62, 4.905)),
    "A2 second upright": (UNIT, (0, 90), (0, 0), (0, 0), 9.81, (14.715, 0.0)),
    "A3 straight up": (UNIT, (90, 0), (0, 0), (0, 0), 9.81, (0.0, 0.0)),
    "A4 in motion": (
        UNIT,
        (np.degrees(1), np.degrees(2)),
        (3, 4),
        (5, 6),
        9.81,
        (-9.42048799387, 0.945558133523),
    ),
    "B1 rods": (RODS, (30, 45), (1, 2), (3, -1), 9.81, (17.6190777278, 3.35038764527)),
    "C1 costume": (
        COSTUME,
        (30, 45),
        (2, -3),
        (10, -15),
        9.80665,
        (0.593886470469, 0.0423582411478),
    ),
    "C2 costume, level": (COSTUME, (0, 0), (0, 0), (0, 0), 9.80665, (0.642335575, 0.102969825)),
}


@pytest.mark.parametrize("case", CASES)
def test_a_two_part_chain_needs_the_torques_of_the_two_link_arm(case: str) -> None:
    chain, q_deg, qd, qdd, gravity, expected = CASES[case]
    rows = (np.radians(np.array(q_deg, float)), np.array(qd, float), np.array(qdd, float))
    assert torques(chain, *rows, gravity) == pytest.approx(expected, rel=1e-9, abs=1e-9)


TREE = Chain(
    (
        link("root", None, 0j, 0.31, 0.06 + 0.02j, 2e-4, straight_deg=12.0),
        link("middle", 0, 0.15 - 0.03j, 0.12, 0.05 + 0.01j, 5e-5, sense=-1.0, straight_deg=-20.0),
        link("tip", 1, 0.11 + 0.02j, 0.05, 0.04 + 0j, 1e-5, straight_deg=8.0),
        link("fin", 0, 0.08 + 0.05j, 0.04, 0.03 - 0.02j, 2e-5, sense=-1.0),
    )
)
"""Three in a row and a branch, some turning down as they open, hinges off their carriers' lines."""


def lagrange(chain: Chain, gravity: float):  # type: ignore[no-untyped-def]
    """Joint torques by sympy: d/dt dL/dq' - dL/dq, positions of every mass written out."""
    t = sp.Symbol("t")
    q = [sp.Function(f"q{n}")(t) for n in range(len(chain.links))]
    phis: list[sp.Expr] = []
    hinges: list[tuple[sp.Expr, sp.Expr]] = []
    lagrangian = sp.Integer(0)
    for index, one in enumerate(chain.links):
        turn = one.sense * (q[index] - sp.rad(sp.Float(one.straight_deg, 30)))
        if one.carrier is None:
            phis.append(turn)
            hinges.append((sp.Integer(0), sp.Integer(0)))
        else:
            phis.append(phis[one.carrier] + turn)
            x, y = hinges[one.carrier]
            dx, dy = turned(one.mount_m, phis[one.carrier])
            hinges.append((x + dx, y + dy))
        centre = one.moment_kg_m / one.mass_kg
        dx, dy = turned(centre, phis[index])
        x, y = hinges[index][0] + dx, hinges[index][1] + dy
        own = one.inertia_kg_m2 - one.mass_kg * abs(centre) ** 2
        moving = one.mass_kg * (sp.diff(x, t) ** 2 + sp.diff(y, t) ** 2)
        lagrangian += (moving + own * sp.diff(phis[index], t) ** 2) / 2
        lagrangian -= one.mass_kg * gravity * y
    found = [
        sp.diff(sp.diff(lagrangian, sp.diff(one, t)), t) - sp.diff(lagrangian, one) for one in q
    ]
    plain = [sp.symbols(f"q{n} qd{n} qdd{n}") for n in range(len(q))]
    for one, (at, speed, accel) in zip(q, plain, strict=True):
        for old, new in ((sp.diff(one, t, 2), accel), (sp.diff(one, t), speed), (one, at)):
            found = [expression.subs(old, new) for expression in found]
    return sp.lambdify([*zip(*plain, strict=True)], found, "numpy")


def turned(place: complex, phi: sp.Expr) -> tuple[sp.Expr, sp.Expr]:
    x, y = place.real, place.imag
    return x * sp.cos(phi) - y * sp.sin(phi), x * sp.sin(phi) + y * sp.cos(phi)


def test_a_tree_of_parts_in_motion_needs_what_lagrange_s_equations_say() -> None:
    exact = lagrange(TREE, 9.80665)
    chance = np.random.default_rng(20)
    for _ in range(40):
        q, qd, qdd = chance.uniform(-3, 3, 4), chance.uniform(-9, 9, 4), chance.uniform(-90, 90, 4)
        assert torques(TREE, q, qd, qdd, 9.80665) == pytest.approx(exact(q, qd, qdd), rel=1e-9)


def test_a_falling_chain_keeps_its_energy() -> None:
    """Let go and without friction, kinetic energy and height together stay as they were."""
    gravity, count = 9.80665, len(TREE.links)

    def accelerations(q: Array, qd: Array) -> Array:
        still = torques(TREE, q, qd, np.zeros(count), gravity)
        columns = [torques(TREE, q, qd, unit, gravity) - still for unit in np.eye(count)]
        return np.linalg.solve(np.array(columns).T, -still)

    def slope(_: float, state: Array) -> Array:
        q, qd = state[:count], state[count:]
        return np.concatenate([qd, accelerations(q, qd)])

    start = np.array([0.4, -0.3, 0.6, 0.2, 1.0, -2.0, 0.5, 3.0])
    run = solve_ivp(slope, (0.0, 2.0), start, rtol=1e-10, atol=1e-10)
    motion = Motion(
        np.degrees(run.y[:count]), np.degrees(run.y[count:]), np.zeros((count, run.t.size))
    )
    energy = energy_j(TREE.links, motion, gravity)
    swing = np.ptp(np.degrees(run.y[0]))
    assert swing > 45.0, "the chain must really swing"
    assert np.ptp(energy) < 1e-7
