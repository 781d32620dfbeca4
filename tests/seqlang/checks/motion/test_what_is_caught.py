"""How hard and fast a part of a show meets what it catches: figures worked out here.

A mass on a lever has the kinetic energy m (r w)**2 / 2 (any textbook of mechanics). By minimum jerk
a part goes 15/8 of its mean speed (Flash and Hogan 1985). A turn a minute is 2 pi / 60 rad/s.
"""

from __future__ import annotations

from math import pi, radians

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seqlang.checks.motion.pinch_over_limit import pinches
from sim.rig.pinch import Pinch
from tests.seqlang.show_text import checked, findings, servo, show

SPUN = {
    "pulse": "1300 us at -60 rpm, 1500 us at 0 rpm, 1700 us at 60 rpm",
    "travel": "-50 rpm to 50 rpm",
    "rating": "110 rpm, 4 kgf.cm, 1.8 A at 6 V",
    "load": "20 g at 40 mm",
}
CORD = {
    "pulse": "900 us at 0 mm, 2100 us at 60 mm",
    "travel": "0 mm to 55 mm",
    "rating": "0.16 s/60deg, 9 kgf.cm, 2 A at 6 V",
    "load": "150 g",
    "drum": "30 mm",
}


def caught(text: str) -> tuple[Pinch, ...]:
    found = checked(text)
    assert found.context is not None
    return pinches(found.context)


few = settings(max_examples=8, deadline=None)


@few
@given(st.integers(20, 120), st.integers(20, 80), st.integers(600, 1400))
def test_a_part_that_swings_has_the_energy_of_its_quickest_move(
    grams: int, lever_mm: int, duration_ms: int
) -> None:
    """A cue is not held to what it does alone: a speed of up to 3 deg/s more may be taken."""
    (one,) = caught(
        show(
            jaw={"load": f"{grams} g at {lever_mm} mm", "level": "at 0 deg"},
            cues={"snap": f"jaw to 40 deg in {duration_ms} ms\njaw to 0 deg in 4 s"},
        )
    )
    fastest = 1.875 * 40 / duration_ms * 1000
    inertia = grams / 1000 * (lever_mm / 1000) ** 2
    least, most = (inertia * radians(speed) ** 2 / 2 for speed in (fastest, fastest + 3))
    assert least * 0.999 <= one.energy_j <= most


@few
@given(st.integers(-50, 50), st.integers(-50, 50))
def test_a_part_that_spins_has_the_energy_of_its_highest_speed_either_way_round(
    first: int, then: int
) -> None:
    body = f"jaw to {first} rpm in 3 s\njaw to {then} rpm in 6 s\njaw to 0 rpm in 3 s"
    (one,) = caught(show(jaw=SPUN, cues={"snap": body}))
    highest = 2 * pi / 60 * max(abs(first), abs(then))
    assert one.energy_j == pytest.approx(0.020 * (0.040 * highest) ** 2 / 2, abs=1e-12)
    assert one.jump_j == 0.0  # its first pulse is that of standstill


def test_the_part_that_presses_hardest_comes_first() -> None:
    """Both have the same servo; the longer part presses with less."""
    for jaw_mm, fin_mm, first in ((50, 90, "jaw"), (90, 50, "fin")):
        text = show(
            jaw={"load": f"20 g at {jaw_mm} mm"},
            rig=servo("fin", "PB2", {"load": f"20 g at {fin_mm} mm"}),
            cues={"snap": "jaw to 40 deg in 2 s\nfin to 40 deg in 2 s\njaw to 0 deg in 2 s"},
        )
        assert caught(text)[0].servo == first


@pytest.mark.parametrize(
    ("slope", "pushes"), [("0.01 deg", False), ("0 deg", False), ("-0.01 deg", True)]
)
def test_a_cord_that_bears_nothing_at_all_does_not_push(slope: str, pushes: bool) -> None:
    """The part stands: m g sin(slope) pulls at its cord."""
    found = findings(show(jaw={**CORD, "slope": slope}, cues={"snap": "hold 1 s"}), "cord-slack")
    assert bool(found) is pushes
    for one in found:
        assert one.asked == pytest.approx(0.150 * 9.80665 * radians(0.01), rel=1e-3)
