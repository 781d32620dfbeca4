"""Mirrored sides: what is written once for both, what differs, and what is said of mistakes."""

from __future__ import annotations

import pytest
from rig_text import good, loaded, names

from firmware_gen.compiler.show import compile_show
from seqlang.check import check
from seqlang.loading import Loaded, load_string
from seqlang.meaning.write_show import without_marks
from sim.model import Move, Servo
from sim.score.tree import walk

SUPPLY = """\
supply pack
    source adapter 6 V, 10 A
"""
LINES = """\
        travel 0 deg to 60 deg
        rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
        load rod 40 g, 150 mm
"""
WINGS = (
    SUPPLY
    + """\
mirror left, right
    board wing: atmega328p, address (left: 1, right: 2)
        feed pack, 300 mm of 20 AWG
    servo root: wing pin (left: PB1, right: PB2)
        pulse 900 us at 0 deg, 2000 us at 90 deg
"""
    + LINES
)


def servo(found: Loaded, name: str) -> Servo:
    assert found.show is not None
    one = next(output for output in found.show.rig.outputs if output.name == name)
    assert isinstance(one, Servo)
    return one


def pulses(found: Loaded, name: str) -> list[float]:
    return [point.pulse_us for point in servo(found, name).points]


def cue(*lines: str, rig: str = WINGS) -> Loaded:
    return loaded(rig + "cue act\n" + "".join(f"    {line}\n" for line in lines))


def moved(found: Loaded, cue_name: str = "act") -> list[tuple[str, float]]:
    """Every move of a cue: the part and its target."""
    assert found.show is not None
    body = next(one.body for one in found.show.score.cues if one.name == cue_name)
    return [(s.output, s.angle_deg) for s in walk(body) if isinstance(s, Move)]


# -- the image in the mirror -----------------------------------------------------------------------


def test_the_pulses_of_the_second_side_are_mirrored_and_its_angles_are_not() -> None:
    found = good(loaded(WINGS))
    assert pulses(found, "left_root") == [900, 2000]
    assert pulses(found, "right_root") == [2100, 1000]
    assert [p.angle_deg for p in servo(found, "right_root").points] == [0, 90]
    assert servo(found, "right_root").travel_deg == servo(found, "left_root").travel_deg


def test_a_servo_that_sits_the_same_way_round_is_as_written() -> None:
    found = good(
        loaded(WINGS.replace("90 deg\n        travel", "90 deg, not mirrored\n        travel"))
    )
    assert pulses(found, "right_root") == [900, 2000]


def test_a_pulse_given_for_each_side_is_as_written() -> None:
    given = WINGS.replace("pulse 900 us", "pulse (left: 900 us, right: 2130 us)")
    assert pulses(good(loaded(given)), "right_root") == [2130, 1000]


def test_a_trim_is_added_to_the_pulses_of_its_own_side() -> None:
    trimmed = WINGS.replace(
        "        travel", "        trim (left: 12 us, right: -8 us)\n        travel"
    )
    found = good(loaded(trimmed))
    assert pulses(found, "left_root") == [912, 2012]
    assert pulses(found, "right_root") == [2092, 992]


def test_a_trim_is_for_servos_that_exist_once_as_well() -> None:
    found = good(
        loaded(
            SUPPLY
            + "board body: atmega328p, address 1\n    feed pack\nservo jaw: body pin PB1\n"
            + "    pulse 900 us at 0 deg, 2000 us at 90 deg\n    trim -8 us\n"
            + LINES.replace("        ", "    ")
        )
    )
    assert pulses(found, "jaw") == [892, 1992]


@pytest.mark.parametrize(("trim", "passes"), [("200 us", True), ("201 us", False)])
def test_a_trim_has_a_limit(trim: str, passes: bool) -> None:
    found = loaded(WINGS.replace("        travel", f"        trim {trim}\n        travel"))
    assert names(found) == ([] if passes else ["number-out-of-range"])


def test_a_trim_that_leads_out_of_all_pulses_is_told_with_the_side_it_is_for() -> None:
    far = WINGS.replace("pulse 900 us", "pulse 450 us").replace(
        "        travel", "        trim 100 us\n        travel"
    )
    (one,) = loaded(far).findings
    assert "with its trim this pulse of `right_root` is 2650 us" in one.message
    assert [way.words for way in one.trail] == ["on the right side"]


def test_a_rod_comes_out_on_both_sides_with_the_same_pulses() -> None:
    rods = SUPPLY + (
        "board body: atmega328p, address 1\n    feed pack\n"
        "mirror left, right\n    servo rod: body pin (left: PB1, right: PB2)\n"
        "        pulse 1000 us at 0 mm, 1800 us at 40 mm\n        travel 0 mm to 40 mm\n"
        "        rating 20 mm/s, 40 N, 800 mA at 6 V\n        load 200 g\n"
    )
    assert pulses(good(loaded(rods)), "right_rod") == [1000, 1800]


def test_a_wheel_goes_forwards_on_both_sides_by_mirrored_pulses() -> None:
    wheels = SUPPLY + (
        "board body: atmega328p, address 1\n    feed pack\n"
        "mirror left, right\n    servo wheel: body pin (left: PB1, right: PB2)\n"
        "        pulse 1300 us at -60 rpm, 1500 us at 0 rpm, 1700 us at 60 rpm\n"
        "        travel -60 rpm to 60 rpm\n"
        "        rating 110 rpm, 4 kgf.cm, 1.8 A at 6 V\n        load 60 g at 20 mm\n"
    )
    found = loaded(wheels)
    assert pulses(found, "left_wheel") == [1300, 1500, 1700]
    assert pulses(found, "right_wheel") == [1700, 1500, 1300]


def test_the_sides_have_the_names_that_the_maker_gives_them() -> None:
    ship = WINGS.replace("left", "port").replace("right", "starboard")
    assert pulses(good(loaded(ship)), "starboard_root") == [2100, 1000]


def test_a_chain_stands_on_the_part_of_its_own_side() -> None:
    tips = WINGS + (
        "    servo tip: wing pin PB3\n        on root at 150 mm, weighs 20 g\n"
        "        pulse 900 us at -90 deg, 2100 us at 0 deg\n        travel -80 deg to 0 deg\n"
        "        rating 0.12 s/60deg, 2.5 kgf.cm, 0.8 A at 6 V\n        load rod 10 g, 80 mm\n"
    )
    found = good(loaded(tips))
    for side in ("left", "right"):
        mount = servo(found, f"{side}_tip").mount
        assert mount is not None
        assert mount.on == f"{side}_root"


def test_each_side_may_have_a_supply_of_its_own() -> None:
    own = WINGS.removeprefix(SUPPLY).replace(
        "mirror left, right\n",
        "mirror left, right\n    supply pack\n        source adapter 6 V, 5 A\n",
    )
    found = good(loaded(own))
    assert found.show is not None
    assert [(b.name, b.supply) for b in found.show.rig.boards] == [
        ("left_wing", "left_pack"),
        ("right_wing", "right_pack"),
    ]


# -- what cues say of sides ------------------------------------------------------------------------


def test_a_name_without_a_side_means_both() -> None:
    assert moved(cue("root to 30 deg in 1 s")) == [("left_root", 30), ("right_root", 30)]


def test_a_name_with_a_side_means_one() -> None:
    assert moved(cue("right_root to 30 deg in 1 s")) == [("right_root", 30)]


def test_values_in_brackets_go_to_their_sides() -> None:
    said = "root to (left: 30 deg, right: 40 deg) in 1 s"
    assert moved(cue(said)) == [("left_root", 30), ("right_root", 40)]


def test_sides_come_one_after_the_other_in_the_order_that_is_written() -> None:
    found = cue(
        "stagger 200 ms along right, left", "    root to 30 deg in 1 s", "    root to 0 deg in 1 s"
    )
    by_hand = cue(
        *("stagger 200 ms", "    in turn", "        right_root to 30 deg in 1 s"),
        *("        right_root to 0 deg in 1 s", "    in turn"),
        *("        left_root to 30 deg in 1 s", "        left_root to 0 deg in 1 s"),
    )
    assert found.show is not None
    assert by_hand.show is not None
    assert without_marks(found.show) == without_marks(by_hand.show)


def test_in_turn_along_sides_waits_for_the_end_of_each() -> None:
    found = cue("in turn along left, right", "    root to 30 deg in 1 s")
    by_hand = cue("in turn", "    left_root to 30 deg in 1 s", "    right_root to 30 deg in 1 s")
    assert found.show is not None
    assert by_hand.show is not None
    assert without_marks(found.show) == without_marks(by_hand.show)


BEATS = WINGS + (
    "    pose up\n        root 40 deg\n    cue beat\n        pose up in 1 s\n"
    "        root to 5 deg in 1 s\n"
)


def test_a_cue_of_a_mirror_is_for_one_side_or_for_both() -> None:
    found = cue("play left_beat", "play beat", rig=BEATS)
    both = [("left_root", 40), ("right_root", 40), ("left_root", 5), ("right_root", 5)]
    assert moved(found) == [("left_root", 40), ("left_root", 5), *both]


def test_only_the_versions_of_a_cue_that_are_used_are_made() -> None:
    found = cue("play left_beat", rig=BEATS)
    assert found.show is not None
    assert [one.name for one in found.show.score.cues] == ["left_beat", "act"]


def test_a_cue_of_a_mirror_that_nobody_uses_is_there_once() -> None:
    found = cue("root to 3 deg in 1 s", rig=BEATS)
    assert found.show is not None
    assert [one.name for one in found.show.score.cues] == ["beat", "act"]


def test_below_a_side_a_cue_is_that_of_the_side() -> None:
    found = cue("in turn along right, left", "    play beat", rig=BEATS)
    assert [name for name, _ in moved(found)] == ["right_root"] * 2 + ["left_root"] * 2


def test_a_safe_pose_may_stand_in_the_mirror_and_is_one_for_both() -> None:
    found = good(loaded(WINGS + "    safe pose shut\n        root 3 deg\n"))
    assert servo(found, "left_root").safe_deg == servo(found, "right_root").safe_deg == 3


def test_a_mirrored_cue_that_plays_itself_is_a_circle() -> None:
    found = loaded(WINGS + "    cue beat\n        root to 3 deg in 1 s\n        play left_beat\n")
    assert names(found) == ["cue-calls-itself"]


def test_where_a_loop_leaves_a_part_is_known_for_each_side() -> None:
    """The text of a loop stands once, and the sides end where each of them ends."""
    swing = WINGS + (
        "    cue swing\n        repeat 2 times\n"
        "            root to (left: 50 deg, right: 20 deg) in 1 s\n"
        "            root to 0 deg at 60 deg/s\n"
    )
    found = cue("play left_swing", "play right_swing", rig=swing)
    by_hand = cue(
        "repeat 2 times",
        *("    left_root to 50 deg in 1 s", "    left_root to 0 deg at 60 deg/s"),
        "repeat 2 times",
        *("    right_root to 20 deg in 1 s", "    right_root to 0 deg at 60 deg/s"),
    )
    assert found.show is not None
    assert by_hand.show is not None
    act = next(one for one in found.show.score.cues if one.name == "act")
    hand = by_hand.show.score.cues[0]
    assert [s.duration_ms for s in walk(act.body) if isinstance(s, Move)] == [
        s.duration_ms for s in walk(hand.body) if isinstance(s, Move)
    ]


# -- what is said of mistakes ----------------------------------------------------------------------


def test_what_is_wrong_on_both_sides_is_said_once_and_names_both() -> None:
    (one,) = (
        f
        for f in check(cue("root to 50 deg in 1 s", "root to 0 deg in 90 ms")).findings
        if f.name == "servo-speed"
    )
    assert one.message.startswith("`root` must turn")
    assert one.notes[-1] == "on both sides: `left_root` and `right_root`"
    assert one.fix is not None


def test_what_is_wrong_on_one_side_names_it() -> None:
    heavy = WINGS.replace("rod 40 g, 150", "rod (left: 40 g, right: 900 g), 150")
    found = [
        f for f in check(cue("root to 50 deg in 1 s", rig=heavy)).findings if f.severity == "error"
    ]
    assert found
    assert all("right_" in f.message for f in found)
    assert not any("left_" in f.message for f in found)


def test_a_finding_without_a_name_says_the_side_beside_it() -> None:
    found = loaded(WINGS.replace("150 mm", "(left: 150 mm, right: 0 mm)"))
    (one,) = found.findings
    assert [way.words for way in one.trail] == ["on the right side"]


def test_what_reading_finds_on_both_sides_says_so() -> None:
    (one,) = loaded(WINGS.replace("150 mm", "0 mm")).findings
    assert [way.words for way in one.trail] == ["on the left side"]
    assert one.notes == ("the same on the right side",)


def test_a_fix_changes_the_one_text_and_passes_for_both_sides() -> None:
    text = WINGS + (
        "cue act\n    root to 50 deg in 1 s\n    root to 0 deg in 90 ms\n"
        "remote\n    button 1: go act\n    stop button 2\n"
    )
    from seqlang.remedy_rounds import Rounds

    rounds = Rounds("test.cues", text)
    for offer in rounds.offers():
        rounds.take(offer)
    assert not check(load_string(rounds.text, "test.cues")).failed
    assert rounds.text.count("root to 0 deg in ") == 1


@pytest.mark.parametrize(
    ("old", "new", "finding", "says"),
    [
        ("(left: 1, right: 2)", "(left: 1)", "syntax", ""),
        ("(left: 1, right: 2)", "(left: 1, left: 2)", "values-do-not-fit", "one for `right`"),
        ("(left: 1, right: 2)", "(1, 2)", "values-do-not-fit", "several values"),
        ("(left: 1, right: 2)", "(left: 1, 2)", "values-do-not-fit", "some are not"),
        ("(left: 1, right: 2)", "(left: 1, rihgt: 2)", "unknown-name", "no side `rihgt`"),
        (
            "(left: PB1, right: PB2)",
            "(left: PB1, right: (1 + 2))",
            "wrong-kind",
            "a name is needed",
        ),
        ("(left: 1, right: 2)", "(left: 1, right: off)", "wrong-kind", "`off` is written"),
        ("mirror left, right", "mirror left, left", "duplicate-name", "both sides are called"),
        ("mirror left, right", "mirror left, in", "reserved-word", "`in` is a word"),
        ("servo root", "servo in", "reserved-word", "cannot name"),
    ],
)
def test_a_slip_in_a_mirror_has_its_answer(old: str, new: str, finding: str, says: str) -> None:
    found = loaded(WINGS.replace(old, new)).findings
    assert finding in {one.name for one in found}
    assert any(says in one.message for one in found)


def test_two_values_without_sides_are_put_right_with_their_names() -> None:
    found = loaded(WINGS.replace("(left: 1, right: 2)", "(1, 2)"))
    assert found.findings[0].help == "say which is for which side: `(left: 1, right: 2)`"


def test_a_part_called_like_one_of_a_side_is_one_too_many() -> None:
    more = "servo left_root: left_wing pin PB3\n    pulse 900 us at 0 deg, 2000 us at 90 deg\n"
    found = loaded(WINGS + more + LINES.replace("        ", "    "))
    assert names(found) == ["duplicate-name"]


def test_a_name_for_both_sides_cannot_be_that_of_something_else() -> None:
    found = loaded(WINGS + "lamp root: left_wing pin PD6\n")
    assert names(found) == ["duplicate-name"]
    assert found.findings[0].related


def test_a_part_outside_cannot_stand_on_both_sides_at_once() -> None:
    found = loaded(WINGS + "lamp glow: wing pin PD6\n")
    (one,) = found.findings
    assert one.name == "several-meant"
    assert one.help == "write which one, such as `left_wing`"


def test_values_for_sides_outside_of_a_mirror_are_an_error() -> None:
    found = loaded(WINGS + "lamp glow: left_wing pin (left: PD6, right: PD7)\n")
    assert names(found) == ["values-do-not-fit"]


def test_not_mirrored_outside_of_a_mirror_is_an_error() -> None:
    text = SUPPLY + (
        "board body: atmega328p, address 1\n    feed pack\nservo jaw: body pin PB1\n"
        "    pulse 900 us at 0 deg, 2000 us at 90 deg, not mirrored\n"
    )
    assert names(loaded(text + LINES.replace("        ", "    "))) == ["values-do-not-fit"]


def test_a_line_that_cannot_be_read_in_a_mirror_is_one_finding() -> None:
    for old, new in (
        ("servo root: wing pin", "servo root wing pin"),
        ("pulse 900 us at", "pulse 900 us to"),
        ("board wing: atmega328p,", "board wing atmega328p,"),
        ("mirror left, right", "mirror left right"),
    ):
        found = loaded(WINGS.replace(old, new) + "cue act\n    left_root to 30 deg in 1 s\n")
        assert names(found) == ["syntax"], (new, found.findings)


def test_a_mirrored_show_is_the_same_table_by_bytes_as_one_written_twice() -> None:
    hand = SUPPLY
    for side, number, pin, points in (
        ("left", 1, "PB1", "900 us at 0 deg, 2000 us at 90 deg"),
        ("right", 2, "PB2", "2100 us at 0 deg, 1000 us at 90 deg"),
    ):
        hand += (
            f"board {side}_wing: atmega328p, address {number}\n    feed pack, 300 mm of 20 AWG\n"
            f"servo {side}_root: {side}_wing pin {pin}\n    pulse {points}\n"
        ) + LINES.replace("        ", "    ")
    act = "cue act\n    {} to 30 deg in 1 s\n    right_root to 10 deg at 40 deg/s\n"
    found = good(loaded(WINGS + act.format("root")))
    written = good(loaded(hand + act.format("left_root and right_root")))
    assert found.show is not None
    assert written.show is not None
    assert without_marks(found.show) == without_marks(written.show)
    assert [b.data for b in compile_show(found.show).boards] == [
        b.data for b in compile_show(written.show).boards
    ]


def test_the_fastest_place_of_a_move_may_differ_by_side() -> None:
    found = cue(
        "root to (left: 20 deg, right: 30 deg) in 1 s, fastest at (left: 40 %, right: 60 %)"
    )
    assert names(found) == ["values-do-not-fit"]
    along = (
        "in turn along left, right",
        "    root to 20 deg in 1 s, fastest at (left: 40 %, right: 60 %)",
    )
    assert names(cue(*along)) == []
