"""Gestures below `mirror` and `row`: written once, played for a side, a thing, or for all."""

from __future__ import annotations

import pytest
from rig_text import good, loaded, names

from firmware_gen.compiler.show import compile_show
from seqlang.check import check
from seqlang.editor.completion import proposals
from seqlang.editor.naming import ShowNames, renamed
from seqlang.loading import Loaded, load_text
from seqlang.text.source import Source
from sim.model import Hold, Move
from sim.score.tree import walk

SERVO = """\
    servo {name}: wing pin {pin}
        pulse 900 us at 0 deg, 2100 us at 90 deg
        travel 0 deg to 70 deg
        rating 0.12 s/60deg, 5 kgf.cm, 1.5 A at 6 V
        load rod 16 g, 90 mm
"""
WINGS = (
    """\
supply pack
    source adapter 6 V, 20 A
mirror left, right
    board wing: atmega328p, address (left: 1, right: 2)
        feed pack, 300 mm of 18 AWG
"""
    + SERVO.format(name="root", pin="PB1")
    + SERVO.format(name="tip", pin="PB2")
)
FINGERS = """\
supply pack
    source adapter 6 V, 20 A
board hand: atmega328p, address 1
    feed pack, 300 mm of 18 AWG
row of 3
    servo finger: hand pin (PB1, PB2, PB3)
        pulse 900 us at 0 deg, 2100 us at 90 deg
        travel 0 deg to 70 deg
        rating 0.12 s/60deg, 5 kgf.cm, 1.5 A at 6 V
        load rod 16 g, 90 mm
"""
BEAT = ("gesture beat: reach 40 deg", "    root to reach in 1 s")
ALONG = "stagger 100 ms along left, right", "    play beat"


def text(gesture: tuple[str, ...], *lines: str, rig: str = WINGS) -> str:
    below = "".join(f"    {line}\n" for line in gesture)
    return f"{rig}{below}cue act\n" + "".join(f"    {line}\n" for line in lines) + "idle: go act\n"


def played(gesture: tuple[str, ...], *lines: str, rig: str = WINGS) -> Loaded:
    return loaded(text(gesture, *lines, rig=rig))


def moves(found: Loaded) -> list[tuple[str, float]]:
    assert found.show is not None
    assert not found.findings
    (act,) = found.show.score.cues
    return [(one.output, one.angle_deg) for one in walk(act.body) if isinstance(one, Move)]


# -- what is played --------------------------------------------------------------------------------


def test_a_gesture_of_a_mirror_is_played_for_one_side_or_for_both() -> None:
    found = played(BEAT, "play left_beat", "play right_beat, reach 50 deg", "play beat")
    assert moves(found) == [
        *(("left_root", 40), ("right_root", 50)),
        *(("left_root", 40), ("right_root", 40)),
    ]


def test_along_the_sides_a_gesture_is_that_of_each_side() -> None:
    found = played(BEAT, "in turn along right, left", "    play beat")
    assert moves(found) == [("right_root", 40), ("left_root", 40)]


def test_a_cue_of_the_side_plays_the_gesture_of_the_side() -> None:
    found = played((*BEAT, "cue flap", "    play beat, reach 20 deg"), "play right_flap")
    assert found.show is not None
    assert not found.findings
    flap = next(one for one in found.show.score.cues if one.name == "right_flap")
    assert [one.output for one in walk(flap.body) if isinstance(one, Move)] == ["right_root"]


def test_a_gesture_of_the_side_plays_another_one_of_the_side() -> None:
    twice = (*BEAT, "gesture twice", "    play beat", "    play beat, reach 10 deg")
    assert moves(played(twice, "play left_twice")) == [("left_root", 40), ("left_root", 10)]


def test_a_value_for_each_side_may_be_given_at_the_play() -> None:
    found = played(BEAT, "play beat, reach (left: 20 deg, right: 30 deg)")
    assert moves(found) == [("left_root", 20), ("right_root", 30)]


def test_a_usual_value_may_be_one_for_each_side() -> None:
    nod = ("gesture nod: reach (left: 20 deg, right: 30 deg)", "    root to reach in 1 s")
    both = [("left_root", 20), ("right_root", 30)]
    assert moves(played(nod, "play nod")) == both
    assert moves(played(nod, "play right_nod")) == both[1:]


def test_a_usual_part_is_the_one_of_the_side() -> None:
    nod = ("gesture nod: part tip", "    part to 20 deg in 1 s")
    assert moves(played(nod, "play right_nod")) == [("right_tip", 20)]
    assert moves(played(nod, "play nod")) == [("left_tip", 20), ("right_tip", 20)]


def test_a_part_that_is_given_to_one_side_is_that_of_the_side() -> None:
    nod = ("gesture nod: part servo", "    part to 20 deg in 1 s")
    assert moves(played(nod, "play right_nod, part root")) == [("right_root", 20)]
    both = [("left_root", 20), ("right_root", 20)]
    assert moves(played(nod, "play nod, part root")) == both


def test_a_parameter_hides_a_part_of_the_same_name() -> None:
    nod = ("gesture nod: root servo", "    root to 20 deg in 1 s")
    assert moves(played(nod, "play left_nod, root tip")) == [("left_tip", 20)]


def test_a_constant_stands_before_a_part_of_its_name() -> None:
    nod = ("gesture nod: reach tip", "    root to reach in 1 s")
    found = played(nod, "play nod", rig=f"given tip = 25 deg\n{WINGS}")
    assert moves(found) == [("left_root", 25), ("right_root", 25)]


def test_a_play_above_the_mirror_knows_what_differs_below() -> None:
    nod = ("gesture nod: reach (left: 20 deg, right: 30 deg)", "    root to reach in 1 s")
    whole = text(nod, "play nod")
    cue = whole[whole.index("cue act") :]
    assert moves(loaded(cue + whole.removesuffix(cue))) == [("left_root", 20), ("right_root", 30)]


def test_a_gesture_of_a_row_is_played_for_one_thing_or_for_all() -> None:
    curl = ("gesture curl: reach 40 deg", "    finger to reach in 1 s")
    found = played(curl, "play curl_2", "play curl", rig=FINGERS)
    every = [("finger_1", 40), ("finger_2", 40), ("finger_3", 40)]
    assert moves(found) == [("finger_2", 40), *every]
    found = played(curl, "stagger 50 ms along finger", "    play curl", rig=FINGERS)
    assert moves(found) == every


def test_each_thing_of_a_row_may_be_given_its_own_value() -> None:
    curl = ("gesture curl: reach 40 deg", "    finger to reach in 1 s")
    found = played(curl, "play curl, reach (10 deg, step 5 deg)", rig=FINGERS)
    assert moves(found) == [("finger_1", 10), ("finger_2", 15), ("finger_3", 20)]


def test_holds_in_a_gesture_may_differ_by_side() -> None:
    wait = ("gesture wait", "    root to 20 deg in 1 s", "    hold (left: 1 s, right: 2 s)")
    found = played(wait, "in turn along left, right", "    play wait")
    assert found.show is not None
    (act,) = found.show.score.cues
    assert [s.duration_ms for s in walk(act.body) if isinstance(s, Hold)] == [1000, 2000]


def test_a_gesture_of_a_mirror_gives_the_table_of_one_written_twice() -> None:
    once = good(played(BEAT, "play left_beat", "play right_beat"))
    by_hand = good(played((), "left_root to 40 deg in 1 s", "right_root to 40 deg in 1 s"))
    assert once.show is not None
    assert by_hand.show is not None
    tables = [[b.data for b in compile_show(one.show).boards] for one in (once, by_hand)]
    assert tables[0] == tables[1]


# -- what is said ----------------------------------------------------------------------------------


def test_a_finding_in_a_gesture_of_one_side_shows_the_line_the_play_and_the_side() -> None:
    source = Source("x.cues", text(BEAT, "play beat", "play left_beat, reach 90 deg"))
    (one,) = [f for f in check(load_text(source)).findings if f.severity == "error"]
    assert "`left_root`" in one.message
    (call,) = one.trail
    assert call.words == "in the gesture `left_beat`, played here"
    assert call.span is not None
    assert source.text[call.span.start : call.span.end] == "play left_beat, reach 90 deg"


def test_a_finding_on_both_sides_is_one_and_shows_the_play() -> None:
    source = Source(
        "x.cues", text(BEAT, *ALONG, "play beat, reach 5 deg", "play beat, reach 90 deg")
    )
    (one,) = [f for f in check(load_text(source)).findings if f.severity == "error"]
    assert "on both sides: `left_root` and `right_root`" in one.notes
    (call,) = one.trail
    assert call.span is not None
    assert source.text[call.span.start : call.span.end] == "play beat, reach 90 deg"


def test_the_worst_of_two_plays_of_one_side_does_not_hide_the_other() -> None:
    swing = (
        "gesture swing: pace 1 s",
        "    left_root to 60 deg in pace",
        "    root to 5 deg in 1 s",
    )
    lines = ("play swing", "play swing, pace 20 ms", "play swing, pace 30 ms")
    found = check(played(swing, *lines)).findings
    calls = [f.trail[-1].span for f in found if f.name == "servo-torque"]
    assert len(set(calls)) == 2


@pytest.mark.parametrize(
    ("gesture", "lines", "finding", "says"),
    [
        (BEAT, ("play beat", "play left_beet"), "unknown-name", "did you mean `left_beat`?"),
        (BEAT, ("play beat, rech 3 deg",), "unknown-name", "did you mean `reach`?"),
        (BEAT, ("play left_beat 3 deg",), "syntax", "write `play left_beat, reach 3 deg`"),
        (
            ("gesture nod: part servo", "    part to 3 deg in 1 s"),
            ("play left_nod",),
            "missing-value",
            "such as `play left_nod, part NAME`",
        ),
        (
            ("gesture nod: part servo", "    part too 3 deg in 1 s"),
            ("play left_nod, part root",),
            "syntax",
            "did you mean `to`?",
        ),
        (
            ("gesture nod: a (left: 3 deg, rigt: 4 deg)", "    root to a in 1 s"),
            ("play nod",),
            "unknown-name",
            "did you mean `right`?",
        ),
        (
            ("gesture wait", "    hold (left: 1 s, right: 2 s)"),
            ("play wait",),
            "values-do-not-fit",
            "write `hold 1 s`, and what follows below `stagger 1 s along left, right`",
        ),
    ],
)
def test_a_mistake_has_its_answer(
    gesture: tuple[str, ...], lines: tuple[str, ...], finding: str, says: str
) -> None:
    found = played(gesture, *lines)
    assert names(found) == [finding]
    assert found.findings[0].help == says


def test_a_gesture_that_no_cue_plays_is_told_once() -> None:
    found = played(BEAT, "root to 20 deg in 1 s")
    assert names(found) == ["gesture-unplayed"]
    assert "`beat`" in found.findings[0].message


@pytest.mark.parametrize("other", ["cue beat", "cue left_beat", "gesture right_beat"])
def test_a_gesture_shares_its_names_with_cues_and_other_gestures(other: str) -> None:
    found = loaded(f"{text(BEAT, 'play beat')}{other}\n    hold 1 s\n")
    twice = [one for one in check(found).findings if one.name == "duplicate-name"]
    assert [one.message.split(" called ")[0] for one in twice] == ["there are two cues or gestures"]


def test_what_starts_cues_starts_no_gesture_of_a_side() -> None:
    found = loaded(text(BEAT, "play beat").replace("idle: go act", "idle: go left_beat"))
    assert "there is no cue `left_beat`: left_beat is a gesture" in [
        one.message for one in found.findings
    ]


def test_a_gesture_of_a_side_that_plays_itself_is_a_circle() -> None:
    assert names(played(("gesture beat", "    play beat"), "play beat")) == ["cue-calls-itself"]


# -- in an editor ----------------------------------------------------------------------------------


def test_an_editor_renames_gesture_and_parameter_with_all_sides() -> None:
    whole = text(BEAT, "play left_beat, reach 50 deg", "play beat")
    shown = load_text(Source("x.cues", whole))
    for old, new in (("beat", "flap"), ("reach", "lift")):
        one = ShowNames(shown.items).at(whole.index(old))
        assert one is not None
        made = whole
        for place in reversed(renamed(shown, one, new)):
            made = made[: place.start] + new + made[place.end :]
        assert made == whole.replace(old, new)


def test_an_editor_offers_gestures_of_sides_and_their_parameters() -> None:
    whole = text(BEAT, "play beat", "play left_beat, reach 3 deg")
    shown = ShowNames(load_text(Source("x.cues", whole)).items)
    cut = whole.index("left_beat, ")
    for before, wanted in (
        (whole[: cut + len("left_beat, ")], {"reach"}),
        (whole[:cut], {"beat", "right_beat"}),
    ):
        found = proposals(Source("x.cues", before + "\n"), len(before), shown).all
        assert wanted <= {one.text for one in found}
