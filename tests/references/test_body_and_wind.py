"""What pushes a part beside its weight, against published figures and a Lagrangian.

Ground forces in body weights, less the weight itself: aerobic dance 1.96 to 2.62 (Ricard and Veatch
1994, read), landings in ball games up to 5 (Sensors 2020, 20, 740, quoting others, read). Upper
body of walking people up to 0.8 g (Bouten 1997, quoting others; from memory). Plate across the
flow: Cd 1.14 (square) to 1.50 (1 to 20) by 1.10 + 0.02 (r + 1/r) (Cengel, from memory), long plates
1.98 to 2.05 (read). Beaufort bands: read; dynamic pressure at their tops: recomputed.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import sympy as sp
from hypothesis import given
from hypothesis import strategies as st

from sim.model import (
    Box,
    Coupled,
    Gear,
    JointLimits,
    Link,
    Load,
    Plate,
    PointMass,
    Rod,
    Servo,
    Wearer,
)
from sim.rig import load
from sim.rig.disturbance import (
    AIR_KG_M3,
    LONG_DRAG,
    SWAY_G,
    drag_coefficient,
    drag_n,
    push_nm,
    settled,
    upright,
)
from sim.rig.holding_torque import holding_nm, worst_hold

G = 9.80665


def test_the_wearer_s_accelerations_are_the_published_ones() -> None:
    assert SWAY_G["stands"] == 0.0
    assert SWAY_G["walks"] == 0.8
    assert SWAY_G["dances"] == pytest.approx(2.62 - 1.0)
    assert SWAY_G["jumps"] == pytest.approx(5.0 - 1.0)


@pytest.mark.parametrize(
    ("ratio", "drag"), [(1.0, 1.14), (5.0, 1.204), (10.0, 1.302), (20.0, 1.501)]
)
def test_a_plate_s_drag_grows_with_the_ratio_of_its_sides(ratio: float, drag: float) -> None:
    assert drag_coefficient(ratio, 1.0) == pytest.approx(drag, abs=6e-4)
    assert drag_coefficient(1.0, ratio) == pytest.approx(drag, abs=6e-4)
    assert drag_coefficient(1000.0, 1.0) == LONG_DRAG == 2.0


@pytest.mark.parametrize(
    ("top_m_s", "pascal"),
    [(1.5, 1.38), (3.3, 6.67), (5.4, 17.86), (7.9, 38.23), (10.7, 70.13), (13.8, 116.64)],
)
def test_the_wind_s_pressure_at_the_top_of_each_force(top_m_s: float, pascal: float) -> None:
    assert AIR_KG_M3 * top_m_s**2 / 2.0 == pytest.approx(pascal, abs=0.006)
    force = drag_n(1.0, 1.0, top_m_s)
    assert force == pytest.approx(drag_coefficient(1.0, 1.0) * pascal, rel=5e-3)


def test_a_fin_in_a_moderate_breeze() -> None:
    """0.3 m by 0.5 m at 8 m/s: with Cd 1.2 7.056 N, and 1.764 N.m at 0.25 m (recomputed)."""
    force = drag_n(0.5, 0.3, 8.0)
    assert force == pytest.approx(7.056 * drag_coefficient(0.5, 0.3) / 1.2)
    fin = Load((Plate(0.05, 0.5, 0.3, flat=True),))
    assert push_nm(fin, Wearer(wind_m_s=8.0)) == pytest.approx(0.25 * force)
    assert push_nm(fin, Wearer(wind_m_s=16.0)) == pytest.approx(4 * 0.25 * force)
    assert push_nm(fin, Wearer(wind_m_s=1.0)) == pytest.approx(0.25 * force / 64)
    slips = (Plate(0.05, 0.5, 0.3), PointMass(0.1, 0.2), Rod(0.1, 0.3))
    assert push_nm(Load(slips), Wearer(wind_m_s=8.0)) == 0.0
    box = Load((Box(0.1, 0.2, 0.1, 0.05, start_m=0.1),))
    assert push_nm(box, Wearer(wind_m_s=8.0)) == pytest.approx(drag_n(0.2, 0.05, 8.0) * 0.2)


def test_a_shaken_hinge_pulls_as_a_lagrangian_with_a_moving_base_says() -> None:
    """Rod-less mass on a hinge whose base accelerates by (ax, ay): torque of the inertia force."""
    t, m, r, g = sp.symbols("t m r g", positive=True)
    q, x, y = (sp.Function(name)(t) for name in "qxy")
    px, py = x + r * sp.cos(q), y + r * sp.sin(q)
    lagrangian = m * (px.diff(t) ** 2 + py.diff(t) ** 2) / 2 - m * g * py
    torque = sp.simplify(lagrangian.diff(q.diff(t)).diff(t) - lagrangian.diff(q))
    a, angle = sp.symbols("a angle")
    worst = 0.0
    for way in np.radians(np.arange(0.0, 360.0, 1.0)):
        still = {q.diff(t, 2): 0, q.diff(t): 0}
        shaken = {x.diff(t, 2): a * np.cos(way), y.diff(t, 2): a * np.sin(way)}
        value = torque.subs(still).subs(shaken).subs(q, angle)
        worst = max(worst, float(value.subs({m: 0.2, r: 0.1, g: G, a: 1.62 * G, angle: 0.3})))
    part = Load((PointMass(0.2, 0.1),))
    held = holding_nm(one(part), np.degrees(0.3), Wearer(gait="dances"))
    assert float(held) == pytest.approx(worst, rel=1e-4)


def one(part: Load) -> Servo:
    return Servo("s", "b", 1, (), (-60.0, 60.0), (), load=part, drive=Gear(1.0))


@given(
    st.sampled_from(sorted(SWAY_G)),
    st.floats(0.0, 20.0),
    st.floats(0.0, 90.0),
    st.floats(-60.0, 60.0),
    st.booleans(),
)
def test_no_pose_is_easier_to_hold_for_a_wearer_who_moves_in_wind(
    gait: str, wind: float, tilt: float, angle: float, sideways: bool
) -> None:
    part = Load(
        (Plate(0.1, 0.2, 0.1, flat=True),), level_deg=5.0, axis="upright" if sideways else "level"
    )
    still = Wearer(tilt_deg=tilt)
    moving = replace(still, gait=gait, wind_m_s=wind)  # type: ignore[arg-type]
    more = push_nm(part, moving)
    held, shaken = (float(holding_nm(one(part), angle, w)) for w in (still, moving))
    assert shaken == pytest.approx(held + more)
    assert worst_hold(one(part), moving).torque_nm == pytest.approx(
        worst_hold(one(part), still).torque_nm + more
    )
    low, high = load.needed_nm(part, angle, 10.0, 20.0, tilt)
    lower, higher = load.needed_nm(part, angle, 10.0, 20.0, tilt, more)
    assert (float(low - lower), float(higher - high)) == pytest.approx((more, more))


def test_an_upright_hinge_feels_a_wearer_who_moves() -> None:
    head = Load((PointMass(0.2, 0.05),), axis="upright")
    assert float(holding_nm(one(head), 0.0, Wearer())) == pytest.approx(0.0, abs=1e-12)
    shaken = float(holding_nm(one(head), 0.0, Wearer(gait="walks")))
    assert shaken == pytest.approx(0.2 * 0.05 * 0.8 * G)


def test_a_part_that_carries_another_is_shaken_with_all_of_it_stretched_out() -> None:
    root = Link("root", None, 1.0, 0.0, 0j, 0.2, 0.02 + 0j, 0.003)
    tip = Link("tip", 0, 1.0, 0.0, 0.15 + 0j, 0.1, 0.005 + 0j, 0.0004)
    reach = JointLimits((-60.0, 60.0), 0.0, 0.0)
    dances = Wearer(gait="dances")
    carrying = Load((), coupled=Coupled((root, tip), 0, (reach, reach)))
    carried = Load((), coupled=Coupled((root, tip), 1, (reach, reach)))
    assert push_nm(carrying, dances) == pytest.approx((0.02 + 0.1 * 0.15 + 0.005) * 1.62 * G)
    assert push_nm(carried, dances) == pytest.approx(0.005 * 1.62 * G)


def test_jolts_do_not_heat_but_the_wind_does_and_energy_sees_neither() -> None:
    wearer = Wearer(tilt_deg=20.0, gait="jumps", wind_m_s=5.0)
    assert settled(wearer) == Wearer(tilt_deg=20.0, wind_m_s=5.0)
    assert upright(wearer) == Wearer()
