"""RMS torque against the motion laws' own figures, and duty cycles by hand.

RMS acceleration of a law, in h / T2: recomputed by integrating the closed forms (400,001 points a
segment, equal to 1e-6); drive sizing handbooks use them for the heating of a motor: from memory.
RMS over a cycle is sqrt(sum T2 t / sum t): drive sizing handbooks, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from sim.model import Board, CalibrationPoint, Law, Load, PointMass, Rating, Rig, Servo, Wearer
from sim.strain.envelope import asked_of_horn, assess, passage

RMS = {
    Law("parabolic"): 4.0,
    Law("trapezoid", 1 / 3): 3.67423,
    Law("harmonic"): 3.48943,
    Law("cycloidal"): 4.44288,
    Law("3-4-5"): 4.14039,
    Law("4-5-6-7"): 5.04525,
    Law("modified sine"): 3.90886,
    Law("modified trapezoid"): 4.23324,
}
PEAK = {
    Law("parabolic"): 4.0,
    Law("trapezoid", 1 / 3): 4.5,
    Law("harmonic"): 4.934802,
    Law("cycloidal"): 6.283185,
    Law("3-4-5"): 5.773503,
    Law("4-5-6-7"): 7.513188,
    Law("modified sine"): 5.527957,
    Law("modified trapezoid"): 4.888124,
}
POWER = {
    Law("parabolic"): 8.0,
    Law("trapezoid", 1 / 3): 6.75,
    Law("harmonic"): 3.87578,
    Law("cycloidal"): 8.1621,
    Law("3-4-5"): 6.69427,
    Law("4-5-6-7"): 10.7502,
    Law("modified sine"): 5.45775,
    Law("modified trapezoid"): 8.08998,
}
"""Greatest speed times acceleration, h2 / T3: VDI 2143 lists 8.16, 5.46, 6.69 and 8.09 (from
memory), recomputed."""

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))
WHEEL = Servo(
    "wheel",
    "b",
    1,
    POINTS,
    (0.0, 90.0),
    (Rating(6.0, 9000.0, 50.0, 2.0),),
    load=Load((PointMass(0.2, 0.1), PointMass(0.2, 0.1, 180.0))),
)
RIG = Rig(boards=(Board("b", "atmega328p", 1),), outputs=(WHEEL,))
INERTIA = 2 * 0.2 * 0.1**2


@pytest.mark.parametrize("law", RMS, ids=lambda law: law.name)
def test_a_balanced_wheel_is_heated_by_its_law_s_rms_acceleration(law: Law) -> None:
    found = assess(RIG, WHEEL, 0.0, 90.0, 400.0, law, 6.0)
    scale = INERTIA * np.radians(90.0) / 0.4**2
    assert float(found.rms_torque_nm[0]) == pytest.approx(RMS[law] * scale, rel=2e-3)
    assert float(found.peak_torque_nm[0]) == pytest.approx(PEAK[law] * scale, rel=1e-3)


@pytest.mark.parametrize("law", POWER, ids=lambda law: law.name)
def test_the_greatest_power_is_the_law_s_dynamic_torque_coefficient(law: Law) -> None:
    _, angle, speed, accel = passage(0.0, 90.0, 400.0, law)
    torque, _, horn = asked_of_horn(WHEEL, angle, speed, accel, Wearer())
    watts = float(np.abs(torque * np.radians(horn)).max())
    scale = INERTIA * np.radians(90.0) ** 2 / 0.4**3
    assert watts == pytest.approx(POWER[law] * scale, rel=4e-3)
