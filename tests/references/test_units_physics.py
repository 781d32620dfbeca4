"""Torque and speed units of hobby servos against their definitions.

Source of the torque factors: NIST SP 811 (2008), App. B.8 (kgf.m = 9.806 65 N.m exactly; ozf.in
= 7.061 552 E-03 N.m); status: the numbers were seen in a public unit table that quotes NIST, and
recomputed. Seconds per 60 deg are a definition (60 / t deg/s).
"""

from __future__ import annotations

from math import radians

import pytest

from sim.rig.load import GRAVITY_M_S2
from sim.rig.servo import KGF_CM_NM

KGF_CM = {1: 0.0980665, 1.8: 0.1765197, 2.5: 0.24516625, 9.4: 0.9218251, 25: 2.4516625}
OZF_IN_PER_KGF_CM = 13.887386594322999
S_PER_60_DEG = {0.06: 1000.0, 0.12: 500.0, 0.17: 352.941176470588, 0.23: 260.869565217391}


def test_a_kilogram_force_centimetre_is_exactly_that_many_newton_metres() -> None:
    assert KGF_CM_NM == 0.0980665
    assert GRAVITY_M_S2 == 9.80665
    for kgf_cm, newton_metres in KGF_CM.items():
        assert kgf_cm * KGF_CM_NM == pytest.approx(newton_metres, rel=1e-12)


def test_ounce_force_inches_agree_with_the_exact_pound_and_inch() -> None:
    ozf_in = 0.45359237 / 16 * 9.80665 * 0.0254
    assert KGF_CM_NM / ozf_in == pytest.approx(OZF_IN_PER_KGF_CM, rel=1e-12)


@pytest.mark.parametrize(("seconds", "deg_s"), S_PER_60_DEG.items())
def test_seconds_per_60_deg_are_a_speed(seconds: float, deg_s: float) -> None:
    assert 60.0 / seconds == pytest.approx(deg_s, rel=1e-12)
    assert radians(60.0 / seconds) * 9.549296585513721 == pytest.approx(deg_s / 6.0, rel=1e-12)
