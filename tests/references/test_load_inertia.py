"""Moments of inertia and weight against handbook formulas.

Source: moment-of-inertia tables of physics handbooks (e.g. Young and Freedman, University Physics,
14th ed., table 9.2); status: the formulas were read on pages that quote that table, the numbers
are recomputed from them with g = 9.80665 m/s2.
"""

from __future__ import annotations

from math import cos, radians

import numpy as np
import pytest

from sim.model import Body, Box, Load, Plate, PointMass, Rod
from sim.rig.load import far_end_m, gravity_nm, inertia_kg_m2, mass, needed_nm

HANDBOOK: dict[str, tuple[Body, float]] = {
    "rod about its centre, m L2 / 12": (Rod(0.3, 0.4, start_m=-0.2), 0.004),
    "rod about its end, m L2 / 3": (Rod(0.3, 0.4), 0.016),
    "plate normal to the axis, about its centre": (Plate(0.2, 0.1, 0.06, -0.05), 2.2666666667e-4),
    "plate in the axis' plane, about its edge, m a2 / 3": (
        Plate(0.2, 0.1, 0.06, flat=True),
        6.6666666667e-4,
    ),
    "plate in the axis' plane, about its middle, m a2 / 12": (
        Plate(0.2, 0.1, 0.06, start_m=-0.05, flat=True),
        1.6666666667e-4,
    ),
    "box about its middle, m (L2 + W2) / 12": (Box(0.2, 0.1, 0.06, 0.5, -0.05), 2.2666666667e-4),
    "point, m r2": (PointMass(0.25, 0.12), 0.0036),
}


@pytest.mark.parametrize("name", HANDBOOK)
def test_inertia_is_the_handbook_s(name: str) -> None:
    body, expected = HANDBOOK[name]
    assert inertia_kg_m2(body) == pytest.approx(expected, rel=1e-9)


def test_the_parallel_axis_theorem_carries_a_rod_to_any_axis() -> None:
    """I = I_cm + m d2; 0.004 + 0.3 * 0.2**2 = 0.016 kg.m2."""
    for start in (0.0, 0.1, 0.35):
        moved = inertia_kg_m2(Rod(0.3, 0.4, start_m=start))
        assert moved == pytest.approx(0.004 + 0.3 * (start + 0.2) ** 2, rel=1e-12)


def test_a_plate_turned_about_a_corner_has_the_handbook_s_inertia() -> None:
    """m (a2 + b2) / 3, by the parallel-axis theorem from our own centre form; 0.00090667 kg.m2."""
    centre = inertia_kg_m2(Plate(0.2, 0.1, 0.06, start_m=-0.05))
    assert centre + 0.2 * (0.05**2 + 0.03**2) == pytest.approx(9.0666666667e-4, rel=1e-9)


def test_a_rod_with_a_tip_mass_needs_the_worked_example_s_torques() -> None:
    """0.3 kg rod of 0.4 m with 0.15 kg at its tip, level: I 0.04 kg.m2, weight 1.176798 N.m.

    60 deg in 0.5 s by 3-4-5: I Ca h / T2 with Ca = 10 / sqrt(3) is 0.96735966 N.m, and the bound of
    both together 2.14415766 N.m (the peaks need not coincide).
    """
    part = Load((Rod(0.3, 0.4), PointMass(0.15, 0.4)))
    assert mass(part).inertia_kg_m2 == pytest.approx(0.04, rel=1e-12)
    low, high = needed_nm(part, 0.0, 0.0, 0.0)
    assert float(low) == float(high) == pytest.approx(1.176798, rel=1e-9)
    peak = 10.0 / 3.0**0.5 * 60.0 / 0.5**2
    moving, _ = needed_nm(part, 0.0, 0.0, peak)
    assert float(moving) - 1.176798 == pytest.approx(0.9673596609249162, rel=1e-9)
    assert float(moving) == pytest.approx(2.144157660924916, rel=1e-9)


@pytest.mark.parametrize(("angle", "expected"), [(0.0, 0.2941995), (30.0, 0.2547842407)])
def test_weight_at_an_angle_is_m_g_r_cosine(angle: float, expected: float) -> None:
    """0.25 kg at 0.12 m: tau = m g r cos(theta from level)."""
    part = Load((PointMass(0.25, 0.12),))
    torque = float(needed_nm(part, angle, 0.0, 0.0)[0])
    assert torque == pytest.approx(expected, rel=1e-9)
    assert torque == pytest.approx(0.25 * 9.80665 * 0.12 * cos(radians(angle)), rel=1e-12)


def test_a_counterweight_opposite_takes_the_weight_away_and_adds_inertia() -> None:
    balanced = Load((PointMass(0.1, 0.2), PointMass(0.2, 0.1, offset_deg=180.0)))
    low, high = gravity_nm(balanced, np.linspace(-90.0, 90.0, 19), 40.0)
    assert np.abs(low).max() < 1e-15
    assert np.abs(high).max() < 1e-15
    assert mass(balanced).inertia_kg_m2 == pytest.approx(0.1 * 0.04 + 0.2 * 0.01, rel=1e-12)


def test_a_mass_on_the_other_side_of_the_hinge_reaches_as_far() -> None:
    assert far_end_m(Load((PointMass(0.1, -0.12), PointMass(0.1, 0.05)))) == 0.12
