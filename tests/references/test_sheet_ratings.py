"""Servo sheets against what a motor can do, from ten printed sheets.

Stall torque (kgf.cm), s/60 deg, no-load and stall current (A) at a voltage: sheets read; the ratio
Ts w0 / (V Is) and the most it can be, (1 - I0/Is)**2: recomputed. The last two rows belong to a
sheet whose stall current is far too low.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.model import Rating
from sim.rig.ratings import SOUND, claim, sound_stall_a
from sim.rig.servo import KGF_CM_NM

SHEETS = {
    "standard, 4.8 V": (4.8, 3.0, 0.19, 0.160, 0.7, 0.483),
    "standard, 6.0 V": (6.0, 3.5, 0.15, 0.180, 0.8, 0.499),
    "2 kgf.cm mini, 4.8 V": (4.8, 1.8, 0.14, 0.070, 0.8, 0.344),
    "2 kgf.cm mini, 6.0 V": (6.0, 2.0, 0.12, 0.090, 0.9, 0.317),
    "9 g metal gear, 5.0 V": (5.0, 2.2, 0.13, 0.350, 1.0, 0.348),
    "9 g metal gear, 6.0 V": (6.0, 2.5, 0.11, 0.400, 1.2, 0.324),
    "9 g fast, 4.8 V": (4.8, 2.0, 0.09, 0.400, 1.3, 0.366),
    "9 g fast, 6.0 V": (6.0, 2.2, 0.08, 0.500, 1.6, 0.294),
}
BROKEN = {
    "15 kgf.cm, 5.0 V": (5.0, 13.5, 0.16, 0.080, 1.3, 1.333),
    "15 kgf.cm, 7.2 V": (7.2, 15.0, 0.14, 0.100, 1.5, 1.019),
}


def rating(sheet: tuple[float, ...]) -> Rating:
    volts, torque, seconds, running, stall, _ = sheet
    return Rating(volts, 60.0 / seconds, torque * KGF_CM_NM, stall, running)


@pytest.mark.parametrize("name", SHEETS)
def test_a_sound_sheet_can_be(name: str) -> None:
    found = claim(rating(SHEETS[name]))
    assert found.claimed == pytest.approx(SHEETS[name][-1], abs=6e-4)
    assert found.can_be
    assert found.claimed <= SOUND


@pytest.mark.parametrize(("name", "most"), [("15 kgf.cm, 5.0 V", 0.88), ("15 kgf.cm, 7.2 V", 0.87)])
def test_a_sheet_with_too_little_current_cannot_be(name: str, most: float) -> None:
    found = claim(rating(BROKEN[name]))
    assert found.claimed == pytest.approx(BROKEN[name][-1], abs=6e-4)
    assert found.most == pytest.approx(most, abs=0.006)
    assert not found.can_be


def test_without_a_no_load_current_only_what_no_motor_can_do_is_told() -> None:
    whole = Rating(5.0, np.degrees(5.0), 1.0, 1.0)
    assert claim(whole).claimed == pytest.approx(1.0)
    assert claim(whole).can_be
    assert not claim(Rating(5.0, np.degrees(5.001), 1.0, 1.0)).can_be


@given(st.floats(3.0, 12.0), st.floats(0.2, 20.0), st.floats(0.0, 0.9), st.floats(1e-3, 0.1))
def test_the_bound_is_a_motor_s_own_line(
    volts: float, ohm: float, free: float, constant: float
) -> None:
    """A motor by its own equations: V = I R + k w, torque k (I - I0)."""
    stall = volts / ohm
    speed = (volts - free * stall * ohm) / constant
    torque = constant * (stall - free * stall)
    found = claim(Rating(volts, float(np.degrees(speed)), torque, stall, free * stall))
    assert found.claimed == pytest.approx(found.most, rel=1e-9)


def test_the_likely_stall_current_is_that_of_a_sound_sheet() -> None:
    sheet = rating(BROKEN["15 kgf.cm, 5.0 V"])
    likely = Rating(sheet.voltage_v, sheet.speed_deg_s, sheet.stall_nm, sound_stall_a(sheet))
    assert claim(likely).claimed == pytest.approx(SOUND)


@pytest.mark.parametrize("no_load_a", [0.0, 0.5, 3.0, 7.0, 10.0, 30.0])
def test_the_likely_stall_current_is_one_that_can_be_beside_the_stated_no_load_current(
    no_load_a: float,
) -> None:
    """6 V, 1 N.m and 60 rad/s: a = 10 A. Either as a sound sheet has it, or at its very bound."""
    sheet = Rating(6.0, float(np.degrees(60.0)), 1.0, 1.0, no_load_a)
    likely = claim(replace(sheet, stall_a=sound_stall_a(sheet)))
    assert likely.can_be
    assert likely.claimed == pytest.approx(min(SOUND, likely.most))
    assert sound_stall_a(replace(sheet, no_load_a=10.0)) == pytest.approx(10.0 * 2.618034, rel=1e-6)
    assert sound_stall_a(sheet) >= 20.0 - 1e-9
