"""A turning servo that moves a part along a line, against elementary mechanics.

Force at a drum: torque over radius. Way in a turn: pi times the diameter; of a pinion pi times
module times teeth (ISO 54 and handbooks of gears: Shigley, from memory).
"""

from __future__ import annotations

from dataclasses import replace
from math import pi, radians, sin

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.model import (
    Board,
    CalibrationPoint,
    Drum,
    Gear,
    Law,
    Load,
    Rack,
    Rating,
    Rig,
    Servo,
    Slide,
    Wearer,
)
from sim.rig.holding_torque import worst_hold
from sim.rig.pinch import pinch
from sim.rig.slide import HINGED, STRAIGHT, of_horn, of_part, ratio_of
from sim.strain.envelope import asked_of_horn, assess
from tests.seqlang.show_text import findings

G = 9.80665
RATING = Rating(6.0, 360.0, 0.6, 2.0, 0.0)
"""One turn in a second, 0.6 N.m."""


def flag(winds: Drum | Rack, mass_kg: float = 0.3, rotor: float = 0.0) -> Servo:
    points = (CalibrationPoint(0.0, 1000.0), CalibrationPoint(60.0, 2000.0))
    return Servo(
        *("flag", "b", 1, points, (0.0, 58.0), (RATING,)),
        load=Load(slide=Slide(mass_kg)),
        drive=Gear(ratio_of(winds), winds=winds),
        rotor_kg_m2=rotor,
    )


RIG = Rig((), (Board("b", "any", 1),), ())


@given(st.floats(5.0, 100.0))
def test_a_drum_takes_force_times_radius(diameter_mm: float) -> None:
    one = flag(Drum(diameter_mm / 1000.0))
    assert worst_hold(one, Wearer()).torque_nm == pytest.approx(0.3 * G * diameter_mm / 2000.0)


def test_a_turn_of_a_drum_is_its_circumference() -> None:
    _, _, turns = asked_of_horn(flag(Drum(0.030)), 10.0, pi * 30.0, 0.0, Wearer())
    assert float(turns) == pytest.approx(360.0)


def test_a_pinion_of_module_one_and_twenty_teeth_moves_its_rack_by_pi_times_twenty() -> None:
    _, _, turns = asked_of_horn(flag(Rack(pi * 0.020)), 10.0, 62.831853, 0.0, Wearer())
    assert float(turns) == pytest.approx(360.0)
    assert worst_hold(flag(Rack(pi * 0.020)), Wearer()).torque_nm == pytest.approx(0.3 * G * 0.01)


def test_newton_s_law_at_the_drum_and_in_the_motor() -> None:
    """0.3 kg at 2 m/s2 on 15 mm, and the rotor at 2 / 0.015 rad/s2."""
    low, _, _ = asked_of_horn(flag(Drum(0.030), rotor=5e-4), 10.0, 0.0, 2000.0, Wearer())
    assert float(low) == pytest.approx(0.3 * (G + 2.0) * 0.015 + 5e-4 * 2.0 / 0.015)


def test_what_is_caught_feels_the_stall_torque_over_the_radius() -> None:
    found = pinch(flag(Drum(0.030)), 6.0)
    assert found is not None
    assert found.straight
    assert found.tip.force_n == pytest.approx(0.6 / 0.015 + 0.3 * G)


def test_a_move_s_speed_is_held_against_the_turns_that_the_servo_has() -> None:
    """Without a load: 40 mm in 3-4-5 at 15/8 of the mean speed, one turn a second less a fifth."""
    one = replace(flag(Drum(0.030)), load=Load(slide=Slide(0.0)))
    fastest = 0.8 * pi * 30.0
    exact_ms = 1000.0 * 1.875 * 40.0 / fastest
    found = assess(RIG, one, 5.0, 45.0, [exact_ms * 0.999, exact_ms * 1.001], Law("3-4-5"), 6.0)
    assert found.passes.tolist() == [False, True]


def test_it_is_told_of_in_mm_and_its_servo_in_turns() -> None:
    assert of_part(flag(Drum(0.03))) is STRAIGHT
    assert of_horn(flag(Drum(0.03))) is HINGED


SHOW = """
supply pack
    source adapter 6 V, 5 A
board body: atmega328p, address 1
    feed pack
servo flag: body pin PB1
    pulse 1000 us at 0 mm, 2000 us at 60 mm
    travel 0 mm to 55 mm
    rating 0.16 s/60deg, 9 kgf.cm, 2 A at 6 V
    load 150 g
{lines}
cue up
    flag to 50 mm in 1.5 s
    flag to 0 mm in 1.5 s
remote
    button 1: go up
    stop button 2
"""


def show(*lines: str) -> str:
    return SHOW.format(lines="\n".join(f"    {line}" for line in lines))


def drive_of(*lines: str) -> Gear:
    made = load_text(Source("x.cues", show(*lines))).show
    assert made is not None
    (one,) = made.rig.outputs
    assert isinstance(one, Servo)
    assert isinstance(one.drive, Gear)
    return one.drive


def test_the_language_says_drums_and_racks() -> None:
    assert drive_of("drum 3 cm").winds == Drum(0.03)
    assert drive_of("drum 3 cm").ratio == pytest.approx(360.0 / (pi * 30.0))
    assert drive_of("rack 60 mm per turn").winds == Rack(0.06)
    assert drive_of("rack module 1 mm, 20 teeth").ratio == pytest.approx(360.0 / (pi * 20.0))
    assert [f.name for f in findings(show("drum 30 mm")) if f.severity != "advice"] == []


@pytest.mark.parametrize(
    ("lines", "name"),
    [
        ((), "wrong-kind"),
        (("gear 4",), "wrong-kind"),
        (("drum 0 mm",), "number-out-of-range"),
        (("rack module 1 mm, 2 teeth",), "number-out-of-range"),
        (("drum 30 mm", "rack 60 mm per turn"), "duplicate-line"),
        (("drum 30 deg",), "unit-mismatch"),
    ],
)
def test_what_a_line_needs_is_said(lines: tuple[str, ...], name: str) -> None:
    assert findings(show(*lines))[0].name == name


def test_a_drum_on_a_hinge_and_on_a_rod_is_refused() -> None:
    hinged = show("drum 30 mm").replace(" mm,", " deg,").replace("60 mm\n", "60 deg\n")
    hinged = hinged.replace("0 mm to 55 mm", "0 deg to 55 deg").replace("load 150 g", "tip at 9 mm")
    assert "wrong-kind" in [one.name for one in findings(hinged)]
    rod = show("drum 30 mm").replace("0.16 s/60deg, 9 kgf.cm", "60 mm/s, 50 N")
    assert "wrong-kind" in [one.name for one in findings(rod)]


@pytest.mark.parametrize(("slope", "slack"), [("10 deg", False), ("0 deg", True), ("-5 deg", True)])
def test_a_cord_must_be_pulled_tight_wherever_the_part_is(slope: str, slack: bool) -> None:
    """Slowly, so that only the weight pulls: 150 g on 10 deg are 0.26 N, on 0 deg none."""
    text = show("drum 30 mm", f"slope {slope}").replace("in 1.5 s", "in 8 s")
    assert bool(findings(text, "cord-slack")) is slack
    assert findings(text.replace("drum 30 mm", "rack 94 mm per turn"), "cord-slack") == []


def test_a_cord_must_be_pulled_tight_however_the_wearer_leans() -> None:
    """On a slope of 10 deg the weight still pulls at a lean of 9 deg, and pushes at 11 deg."""
    text = show("drum 30 mm", "slope 10 deg").replace("in 1.5 s", "in 8 s")
    leaning = {lean: f"wearer\n    tilt {lean} deg\n{text}" for lean in (9, 11)}
    assert findings(leaning[9], "cord-slack") == []
    (found,) = findings(leaning[11], "cord-slack")
    # 50 mm in 8 s by 3-4-5
    let_down = 10.0 / 3.0**0.5 * 0.05 / 8.0**2
    assert found.asked == pytest.approx(0.15 * (9.80665 * sin(radians(1.0)) + let_down), rel=1e-3)


def test_a_cord_must_be_pulled_tight_however_the_wearer_moves() -> None:
    """Straight up: a walker's body falls at 0.8 g, a dancer's at 1.62 g (`SWAY_G`)."""
    text = show("drum 30 mm").replace("in 1.5 s", "in 8 s")
    assert findings(f"wearer\n    walks\n{text}", "cord-slack") == []
    (found,) = findings(f"wearer\n    dances\n{text}", "cord-slack")
    assert found.asked == pytest.approx(0.15 * 9.80665 * 0.62, rel=0.01)


def test_a_cord_goes_slack_when_its_part_is_let_down_faster_than_it_falls() -> None:
    """50 mm down in 0.17 s by 3-4-5: 5.77 h / T2 is 10 m/s2, and g is 9.8."""
    quick = show("drum 30 mm").replace("0 mm in 1.5 s", "0 mm in 170 ms")
    slower = show("drum 30 mm").replace("0 mm in 1.5 s", "0 mm in 173 ms")
    assert findings(quick, "cord-slack") != []
    assert findings(slower, "cord-slack") == []


@pytest.mark.parametrize(("accel", "slack"), [("9700", False), ("9900", True)])
def test_a_cord_goes_slack_where_a_stop_brakes_its_rise_harder_than_it_falls(
    accel: str, slack: bool
) -> None:
    """No move as written does more than 2 m/s2, but the board may brake as hard as is stated; a
    load of any mass flies on above g = 9.80665 m/s2."""
    text = show("drum 30 mm", f"acceleration {accel} mm/s2")
    found = [one.message for one in findings(text) if one.name == "cord-slack"]
    assert [message.split(", ")[-1] for message in found] == (
        ["when a stop or another cue cuts a move short"] if slack else []
    )


def test_a_cord_that_goes_slack_as_written_is_told_by_that_move() -> None:
    """A stop would brake twice as hard as it falls; the written move is what has to change."""
    text = show("drum 30 mm", "acceleration 20000 mm/s2")
    (found,) = findings(text.replace("0 mm in 1.5 s", "0 mm in 170 ms"), "cord-slack")
    assert "cuts a move short" not in found.message
    (cut,) = findings(text, "cord-slack")
    assert "cuts a move short" in cut.message
