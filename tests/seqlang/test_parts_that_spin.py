"""A part that turns round and round, as the language says it: its places are speeds."""

from __future__ import annotations

import pytest

from firmware_gen.listing.disassemble import disassemble_board, listing
from seqlang.command.size import as_text
from seqlang.loading import load_text
from seqlang.meaning.write_show import text_of, without_marks
from seqlang.text.source import Source
from sim.model import Move, Press, Servo
from sim.pictures.creature import creature
from sim.pictures.plot_data import plotted
from sim.pictures.plot_plane import plane_figure
from sim.pictures.plot_servo import servo_figure
from sim.rehearsal.rehearse import rehearse
from sim.score.tree import acts
from sim.strain.sizing import size
from tests.seqlang.show_text import applied, checked, findings

ROTOR = """    pulse 1300 us at -60 rpm, 1500 us at 0 rpm, 1700 us at 60 rpm
    travel -50 rpm to 50 rpm
    rating 110 rpm, 4 kgf.cm, 1.8 A at 6 V
    load plate 20 g, 80 mm by 80 mm, from -40 mm
    friction 10 mN.m
"""
WHIRL = """    rotor to 40 rpm in 800 ms
    rotor to 0 rpm at 60 rpm/s
"""


def show(rotor: str = ROTOR, whirl: str = WHIRL, rig: str = "", pose: str = "") -> str:
    return (
        'show "Round"\n'
        "supply wall\n    source adapter 6 V, 8 A\n"
        "board body: atmega328p, address 1\n    feed wall\n"
        f"servo rotor: body pin PB1\n{rotor}{rig}{pose}cue whirl\n{whirl}"
        "remote\n    button 1: go whirl\n    stop button 2\n"
    )


def names(text: str) -> list[str]:
    return [one.name for one in findings(text) if one.severity != "advice"]


def rotor_of(text: str) -> Servo:
    made = load_text(Source("x.cues", text)).show
    assert made is not None
    one = made.rig.outputs[0]
    assert isinstance(one, Servo)
    return one


def moves_of(text: str) -> list[Move]:
    made = load_text(Source("x.cues", text)).show
    assert made is not None
    return [act for act in acts(made.score.cues[0].body) if isinstance(act, Move)]


def test_a_travel_in_turns_a_minute_makes_a_part_that_turns_round_and_round() -> None:
    one = rotor_of(show())
    assert one.load.spins
    assert (one.travel_deg, one.safe_deg) == ((-50.0, 50.0), 0.0)
    assert [point.angle_deg for point in one.points] == [-60.0, 0.0, 60.0]
    assert names(show()) == []


def test_other_units_of_speed_are_the_same_speeds() -> None:
    other = ROTOR.replace("travel -50 rpm to 50 rpm", "travel -300 deg/s to 300 deg/s")
    assert rotor_of(show(other)).travel_deg == (-50.0, 50.0)
    (first, _) = moves_of(show(whirl="    rotor to 180 deg/s in 1 s\n    rotor to 0 rpm in 1 s\n"))
    assert first.angle_deg == 30.0


@pytest.mark.parametrize("rise", ["60 rpm/s", "360 deg/s2"])
def test_at_a_rise_the_steepest_of_the_law_is_that(rise: str) -> None:
    """3-4-5: 15/8 of 40 rpm over T is 60 rpm/s in 1.25 s."""
    text = show(whirl=f"    rotor to 40 rpm at {rise}\n    rotor to 0 rpm in 1 s\n")
    assert moves_of(text)[0].duration_ms == 1250


def test_as_fast_as_it_can_is_the_shortest_that_passes() -> None:
    text = show(whirl="    rotor to 50 rpm as fast as it can\n    rotor to 0 rpm in 1 s\n")
    assert names(text) == []
    lasts = moves_of(text)[0].duration_ms
    shorter = text.replace("as fast as it can", f"in {lasts - 1} ms")
    assert names(shorter) == ["servo-torque"]


@pytest.mark.parametrize(
    ("words", "name", "message"),
    [
        ("rotor to 30 deg in 1 s", "unit-mismatch", "a speed of turning"),
        ("rotor to 30 mm in 1 s", "unit-mismatch", "a speed of turning"),
        ("rotor to 30 in 1 s", "missing-unit", "unit"),
        ("rotor to 30 rpm at 60 rpm", "unit-mismatch", "a rise of speed"),
        ("rotor to 30 rpm within 60 rpm/s, 90 deg/s3, 90 deg/s3", "wrong-kind", "has none"),
        ("rotor to 400 rpm in 1 s", "number-out-of-range", "327 rpm at most"),
        ("rotor fade to 30 % in 1 s", "wrong-kind", "cannot fade"),
    ],
)
def test_words_that_are_for_ways_are_refused_in_plain_words(
    words: str, name: str, message: str
) -> None:
    found = findings(show(whirl=f"    {words}\n    rotor to 0 rpm in 1 s\n"))
    assert found[0].name == name
    assert message in found[0].message


@pytest.mark.parametrize(
    "line",
    [
        "level at 10 deg",
        "slope 30 deg",
        "spring 3 N.mm/deg, neutral at 4 deg",
        "backlash 1 deg",
        "acceleration 4000 deg/s2",
        "nip at 10 mm",
        "grips 2 N at 40 mm, past 5 rpm, for 1 s",
        "levers horn 20 mm, arm 24 mm",
        "ram ground 80 mm, arm 25 mm",
    ],
)
def test_lines_that_are_for_angles_are_refused(line: str) -> None:
    found = [one for one in findings(show(f"{ROTOR}    {line}\n")) if one.name == "wrong-kind"]
    assert len(found) == 1
    assert "turns round and round" in found[0].message
    assert f"`{line.split()[0]}` does not apply to it" in found[0].label


def test_it_stands_on_nothing_and_carries_nothing() -> None:
    hinged = ROTOR.replace("rpm", "deg").replace("110 deg", "110 rpm")
    on_it = f"servo tip: body pin PB2\n    on rotor at 40 mm\n{hinged}"
    found = [one for one in findings(show(rig=on_it)) if one.name == "wrong-kind"]
    assert "`rotor` turns round and round" in found[0].message
    carrier = f"servo arm: body pin PB2\n{hinged}"
    found = findings(show(f"{ROTOR}    on arm at 40 mm\n", rig=carrier))
    assert "wrong-kind" in [one.name for one in found]


def test_it_can_have_a_gear_and_an_upright_shaft() -> None:
    assert names(show(f"{ROTOR}    gear 1.2, efficiency 90 %\n    axis upright\n")) == []


def test_without_a_pulse_of_standstill_it_is_no_use() -> None:
    (found,) = findings(show(ROTOR.replace("1500 us at 0 rpm, ", "")))
    assert found.name == "no-standstill"
    assert "`1500 us at 0 rpm`" in str(found.help)


def test_a_travel_that_never_comes_to_rest_is_refused() -> None:
    found = findings(show(ROTOR.replace("travel -50 rpm", "travel 10 rpm")))
    assert found[0].name == "no-standstill"
    assert "never stand still" in found[0].message


def test_a_rod_turns_nothing() -> None:
    found = findings(show(ROTOR.replace("110 rpm, 4 kgf.cm", "40 mm/s, 60 N")))
    assert found[0].name == "wrong-kind"
    assert "`rating 110 rpm" in str(found[0].help)


def test_one_way_is_enough() -> None:
    assert names(show(ROTOR.replace("travel -50 rpm", "travel 0 rpm"))) == []


def test_parts_of_different_kinds_have_no_speed_in_common() -> None:
    hinged = (
        "servo arm: body pin PB2\n    pulse 1000 us at 0 deg, 2000 us at 90 deg\n"
        "    travel 0 deg to 60 deg\n    rating 110 rpm, 4 kgf.cm, 1.8 A at 6 V\n"
    )
    whirl = "    rotor to 30 rpm, arm to 30 deg at 60 deg/s\n    rotor to 0 rpm in 1 s\n"
    assert "wrong-kind" in names(show(rig=hinged, whirl=whirl))
    together = "    rotor to 30 rpm, arm to 30 deg in 800 ms\n    rotor to 0 rpm in 1 s\n"
    assert names(show(rig=hinged, whirl=together)) == []


def test_a_cue_that_another_cue_stops_again_is_only_advised() -> None:
    left = show(whirl="    rotor to 40 rpm in 800 ms\n")
    (found,) = findings(left, "left-spinning")
    assert found.severity == "warning"
    halt = "cue halt\n    rotor to 0 rpm in 800 ms\n"
    both = left.replace("remote\n", f"{halt}remote\n    button 3: go halt\n")
    (found,) = findings(both, "left-spinning")
    assert found.severity == "advice"
    assert "`halt`" in found.message


def test_a_cue_that_nobody_can_start_stops_nothing() -> None:
    left = show(whirl="    rotor to 40 rpm in 800 ms\n")
    halt = "cue halt\n    rotor to 0 rpm in 800 ms\n"
    (found,) = findings(left.replace("remote\n", f"{halt}remote\n"), "left-spinning")
    assert found.severity == "warning"
    assert "until a stop" in found.message


def test_idle_that_takes_the_part_back_leaves_nothing_turning() -> None:
    left = show(whirl="    rotor to 40 rpm in 800 ms\n")
    calm = "cue calm\n    rotor to 0 rpm in 800 ms\n    hold 5 s\nidle: go calm\n"
    assert findings(left.replace("remote\n", f"{calm}remote\n"), "left-spinning") == []


def test_what_an_endless_cue_turns_is_told_of_once() -> None:
    """It never ends, so it leaves nothing turning; but nothing takes it back."""
    body = "    repeat for ever\n        rotor to 40 rpm in 1 s\n        rotor to 30 rpm in 1 s\n"
    assert names(show(whirl=body)) == ["endless-cue"]


def test_a_calibration_that_runs_against_its_speed_is_told_in_rpm() -> None:
    found = findings(show(ROTOR.replace("1700 us", "1400 us")))
    assert found[0].name == "calibration-order"
    assert "60 rpm" in str(found[0])


def test_it_is_the_same_show_when_written_again() -> None:
    first = load_text(Source("x.cues", show(f"{ROTOR}    axis upright\n"))).show
    assert first is not None
    again = load_text(Source("y.cues", text_of(first))).show
    assert again is not None
    assert without_marks(again) == without_marks(first)


# -- what is told of it ------------------------------------------------------------------------


def test_the_listing_of_the_table_tells_its_speeds_in_rpm() -> None:
    sealed = checked(show()).show
    assert sealed is not None
    (board,) = sealed.compiled.boards
    words = listing(disassemble_board(board))
    assert "1500 us at 0 rpm" in words
    assert "rotor to 40 rpm in 800 ms" in words
    assert " rpm/s2; safe 0 rpm" in words
    assert " deg" not in words


def test_sizes_tell_its_speeds_in_rpm() -> None:
    made = load_text(Source("x.cues", show())).show
    assert made is not None
    words = as_text(size(made), made)
    assert "110 rpm" in words
    assert "40 rpm" in words
    assert "deg" not in words.split("supply")[0]


def test_a_plot_has_an_axis_of_speed_and_the_page_turns_it() -> None:
    made = load_text(Source("x.cues", show())).show
    assert made is not None
    run = rehearse(made, (Press(1000, button=1),), 4000)
    figure = servo_figure(plotted(run), "rotor")
    shown = [text.get_text() for axes in figure.axes for text in axes.texts]
    shown += [axes.get_ylabel() for axes in figure.axes]
    assert any("rpm" in words for words in shown)
    assert not any("deg" in words for words in shown)
    plane = plane_figure(plotted(run), "rotor").axes[0]
    assert plane.get_ylabel() == "speed, rpm"
    assert 40.0 < plane.get_ylim()[1] < 110.0
    limits = "\n".join(text.get_text() for text in plane.texts)
    assert "unloaded: 88 rpm less the margin, 110 in all" in limits
    assert [part.spins for part in creature(made)] == [True]


def test_heads_of_sizes_say_what_stands_below_them() -> None:
    rod = (
        "servo crest: body pin PB2\n    pulse 1000 us at 0 mm, 2000 us at 50 mm\n"
        "    travel 2 mm to 48 mm\n    rating 40 mm/s, 60 N, 800 mA at 6 V\n    load 100 g\n"
    )
    whirl = f"{WHIRL}    crest to 40 mm in 3 s\n"
    both = load_text(Source("x.cues", show(rig=rod, whirl=whirl))).show
    assert both is not None
    words = as_text(size(both), both)
    assert "torque or force" in words
    assert "peak torque or force" in words
    assert " mm " in words


@pytest.mark.parametrize(("rotor_rpm", "wheel_rpm"), [(40, 20), (20, 40)])
def test_the_caution_of_what_turns_names_the_fastest(rotor_rpm: int, wheel_rpm: int) -> None:
    whirl = "".join(
        f"    {name} to {rpm} rpm in 800 ms\n    {name} to 0 rpm at 60 rpm/s\n"
        for name, rpm in (("rotor", rotor_rpm), ("wheel", wheel_rpm))
    )
    text = show(rig=f"servo wheel: body pin PB2\n{ROTOR}", whirl=whirl)
    (one,) = findings(text, "caution-turning")
    assert f"`{'rotor' if rotor_rpm > wheel_rpm else 'wheel'}` at 40 rpm" in one.message


def test_a_part_turns_backwards_too_and_what_is_asked_is_how_fast() -> None:
    (found,) = findings(show(whirl="    rotor to -40 rpm in 800 ms\n"), "left-spinning")
    assert "goes on turning at -40 rpm" in found.message
    assert (found.asked, found.limit, found.unit) == (40.0, 0.0, "rpm")
    assert findings(show(), "left-spinning") == []


FAN = """servo fan: body pin PB2
    pulse 1300 us at -60 rpm, 1500 us at 0 rpm, 1700 us at 60 rpm
    travel -50 rpm to 50 rpm
    rating 110 rpm, 4 kgf.cm, 1.8 A at 6 V
    load plate 20 g, 80 mm by 80 mm, from -40 mm
    friction 10 mN.m
"""


@pytest.mark.parametrize(
    ("other", "severity"),
    [
        # beside other moves, one that brings the part to rest is enough
        ("rotor to 20 rpm in 800 ms\n    rotor to 0 rpm in 800 ms", "advice"),
        ("fan to 30 rpm in 1 s\n    rotor to 0 rpm, fan to 0 rpm in 1 s", "advice"),
        # another part at rest, or this one at another speed, stops nothing
        ("fan to 30 rpm in 1 s\n    fan to 0 rpm in 1 s", "warning"),
    ],
)
def test_only_a_move_that_brings_this_very_part_to_rest_stops_it(other: str, severity: str) -> None:
    left = show(whirl="    rotor to 40 rpm in 800 ms\n", rig=FAN)
    text = left.replace("remote\n", f"cue halt\n    {other}\nremote\n    button 3: go halt\n")
    (found,) = findings(text, "left-spinning")
    assert found.severity == severity
    assert ("until `halt` or a stop" in found.message) is (severity == "advice")


def test_a_cue_that_nobody_starts_leaves_nothing_turning() -> None:
    spare = "cue spare\n    rotor to 30 rpm in 800 ms\n"
    assert findings(show().replace("remote\n", f"{spare}remote\n"), "left-spinning") == []


@pytest.mark.parametrize("rpm", [30, -30])
def test_a_safe_pose_in_which_a_part_turns_is_an_error(rpm: int) -> None:
    text = show(pose=f"safe pose still\n    rotor {rpm} rpm\n")
    (found,) = findings(text, "safe-pose-spins")
    assert found.severity == "error"
    assert found.message == (
        f"`rotor` would turn at {rpm} rpm in the safe pose: at power-up and after a stop"
    )
    assert text[found.span.start : found.span.end] == f"{rpm} rpm"
    assert (found.asked, found.limit, found.unit) == (30.0, 0.0, "rpm")
    assert findings(applied(text, found), "safe-pose-spins") == []
    assert "rotor 0 rpm" in applied(text, found)


def test_a_hinged_part_may_stand_anywhere_in_the_safe_pose() -> None:
    hinged = (
        "servo arm: body pin PB2\n    pulse 1000 us at 0 deg, 2000 us at 90 deg\n"
        "    travel 0 deg to 60 deg\n    rating 110 rpm, 4 kgf.cm, 1.8 A at 6 V\n"
    )
    text = show(rig=hinged, pose="safe pose still\n    rotor 0 rpm\n    arm 20 deg\n")
    assert findings(text, "safe-pose-spins") == []
