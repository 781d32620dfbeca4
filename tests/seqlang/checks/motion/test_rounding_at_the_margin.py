"""What takes just the margin passes, and what takes a little more does not.

Binary fractions do not hold 0.8 of a stall torque to the last digit, so a millionth of the servo's
line is let pass (own limit; of a grip's force a billionth). Figures by hand: 10 kgf.cm are
0.980665 N.m exactly (NIST SP 811, B.8), and 9.80665 m/s2 stands for gravity, so four fifths of the
stall torque hold just 0.08 kg m.
"""

from __future__ import annotations

import pytest

from tests.seqlang.show_text import findings, show

CHANNEL = "channel stick: body pin PB0\n"


def held(load: str) -> str:
    """A part that no cue moves, and that lies level where it rests."""
    return show(
        jaw={"load": load, "level": "at 0 deg"},
        rig="lamp lure: body pin PD3\n    leds 1 of 3.0 V, 20 mA\n",
        cues={"snap": "lure fade to 50 % in 2 s"},
        supply=None,
    )


def gripped(force: str) -> str:
    return show(
        jaw={"load": None, "grips": f"{force} at 80 mm, past 40 deg, for 0.5 s"},
        cues={"close": "jaw to 60 deg in 2 s", "open": "jaw to 0 deg in 2 s"},
        remote="button 1: go close\nbutton 3: go open\nstop button 2",
        supply=None,
    )


@pytest.mark.parametrize(
    ("name", "passes", "fails"),
    [
        ("servo-torque", held("800 g at 100 mm"), held("800.01 g at 100 mm")),
        ("grip-too-weak", gripped("9.80665 N"), gripped("9.80666 N")),
    ],
)
def test_four_fifths_of_the_stall_torque_pass_and_a_hundred_thousandth_more_does_not(
    name: str, passes: str, fails: str
) -> None:
    assert findings(passes, name) == []
    (one,) = findings(fails, name)
    assert one.limit == pytest.approx(0.8 * 0.980665)


def followed(friction_nm: float) -> str:
    text = show(
        jaw={
            "load": None,
            "friction": f"{1000 * friction_nm:.7f} mN.m",
            "follows": "stick from 1000 us to 2000 us, 0 deg to 50 deg, in 20 s",
        },
        cues={"snap": "jaw to 0 deg in 20 s"},
        supply=None,
        rig="channel stick: body pin PL0\n",
    )
    return text.replace("atmega328p", "atmega2560").replace("PB1", "PA0")


def share_of(friction_nm: float) -> float:
    (one,) = findings(followed(friction_nm), "follow-overload")
    assert one.asked is not None
    return one.asked


def test_a_part_that_follows_may_take_a_millionth_of_its_line_over_the_margin() -> None:
    """The share rises evenly with the friction: on a straight line, by its part of the stall."""
    much = 0.9 * 0.980665
    at_much = share_of(much)
    assert share_of(0.95 * 0.980665) - at_much == pytest.approx(0.05)
    for over, count in ((-2e-6, 0), (0.7e-6, 0), (2e-6, 1)):
        friction_nm = much + (0.8 + over - at_much) * 0.980665
        assert len(findings(followed(friction_nm), "follow-overload")) == count
