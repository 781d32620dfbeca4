"""What the statements of cues come to."""

from __future__ import annotations

import pytest
from rig_text import cue, good, loaded, marked_text, names, with_rig

from sim.model import (
    BLACK,
    MINIMUM_JERK,
    UNIFORM,
    Effect,
    Fade,
    Hold,
    InTurn,
    Law,
    Move,
    Repeat,
    Step,
    StripLight,
    Throw,
    Together,
)
from sim.score.laws import coefficients


def steps(*lines: str) -> tuple[Step, ...]:
    body = good(cue(*lines)).show.score.cues[0].body
    assert isinstance(body, InTurn)
    return body.children


def only(*lines: str) -> Step:
    (step,) = steps(*lines)
    return step


def test_a_move_has_its_law_and_its_places() -> None:
    found = good(cue("jaw to 30.004 deg in 1.5 s, modified  sine"))
    (move,) = found.show.score.cues[0].body.children
    assert move == Move("jaw", 30.0, 1500, Law("modified sine"), move.mark)
    parts = {
        "name": "jaw",
        "target": "30.004 deg",
        "pace": "in 1.5 s",
        "duration": "1.5 s",
        "law": "modified  sine",
    }
    assert {part: marked_text(found, move.mark, part) for part in parts} == parts
    assert marked_text(found, move.mark) == "jaw to 30.004 deg in 1.5 s, modified  sine"
    assert "speed" not in dict(found.origins[move.mark].parts)


def test_parts_in_one_statement_start_and_end_together() -> None:
    block = only("jaw and fin to 30 deg, lure fade to 40 % in 2 s")
    assert isinstance(block, Together)
    assert block.interval_ms == 0
    assert [(s.output, s.duration_ms) for s in block.children] == [
        ("jaw", 2000),
        ("fin", 2000),
        ("lure", 2000),
    ]
    assert [s.law for s in block.children] == [MINIMUM_JERK, MINIMUM_JERK, UNIFORM]


LAWS = {
    "uniform": Law("uniform"),
    "parabolic": Law("parabolic"),
    "trapezoid 1/3": Law("trapezoid", 1 / 3),
    "trapezoid 40 %": Law("trapezoid", 0.4),
    "trapezoid 0.25": Law("trapezoid", 0.25),
    "harmonic": Law("harmonic"),
    "cycloidal": Law("cycloidal"),
    "3-4-5": Law("3-4-5"),
    "4-5-6-7": Law("4-5-6-7"),
    "modified sine": Law("modified sine"),
    "modified trapezoid": Law("modified trapezoid"),
    "double-S 1/4, 1/2": Law("double-S", 0.25, 0.5),
}


@pytest.mark.parametrize("text", LAWS)
def test_every_law_has_its_name(text: str) -> None:
    assert only(f"jaw to 30 deg in 1 s, {text}").law == LAWS[text]


def test_a_speed_is_the_top_speed_of_the_move() -> None:
    _, second = steps("jaw to 40 deg in 1 s", "jaw to 10 deg at 90 deg/s, cycloidal")
    # Cycloidal: peak velocity is 2 h / T (handbook coefficient Cv = 2).
    assert second.duration_ms == 667
    assert coefficients(second.law).cv * 30.0 / 0.667 <= 90.0 < 2 * 30.0 / 0.666


def test_a_duration_that_a_speed_gives_exactly_is_not_rounded_up() -> None:
    assert (
        steps("jaw to 40 deg in 1 s", "jaw to 10 deg at 120 deg/s, uniform")[1].duration_ms == 250
    )


def test_limits_give_the_fastest_double_s() -> None:
    # Cruise reached: T = h/v + v/a + a/j = 30/60 + 60/600 + 600/12000 s (textbook relation).
    move = steps("jaw to 40 deg in 1 s", "jaw to 10 deg within 60 deg/s, 600 deg/s2, 12000 deg/s3")[
        1
    ]
    assert move.duration_ms == 650
    assert move.law.name == "double-S"


def test_of_several_parts_the_one_with_farthest_to_go_sets_the_time() -> None:
    block = steps(
        "jaw and fin to 10 deg in 1 s", "jaw to 20 deg, fin to 40 deg at 60 deg/s, uniform"
    )[1]
    assert {step.duration_ms for step in block.children} == {500}


def test_the_first_move_of_a_cue_starts_from_the_farthest_place_a_part_can_be_left_at() -> None:
    found = good(
        with_rig(
            "safe pose s",
            "    jaw 5 deg",
            "cue far",
            "    jaw to 50 deg in 1 s",
            "    jaw to 45 deg in 1 s",
            "cue near",
            "    jaw to 15 deg at 30 deg/s, uniform",
        )
    )
    # Left at 5 (safe), 45 (end of `far`; 50 is only passed through) or 15 deg: 30 deg to go.
    assert found.show.score.cues[1].body.children[0].duration_ms == 1000


def test_in_a_loop_a_move_may_come_from_the_end_of_the_loop() -> None:
    repeat = steps(
        "jaw to 10 deg in 1 s",
        "repeat 3 times",
        "    jaw to 20 deg at 60 deg/s, uniform",
        "    jaw to 50 deg in 1 s",
    )[1]
    assert repeat.body.children[0].duration_ms == 500


def test_after_a_block_side_by_side_each_part_is_where_its_branch_left_it() -> None:
    last = steps(
        "together",
        "    jaw to 20 deg in 1 s",
        "    fin to 50 deg in 1 s",
        "jaw and fin to 40 deg at 40 deg/s, uniform",
    )[1]
    assert last.children[0].duration_ms == 500


def test_a_played_cue_tells_where_its_parts_end() -> None:
    found = good(
        with_rig(
            "cue up",
            "    jaw to 50 deg in 1 s",
            "cue a",
            "    play up",
            "    jaw to 20 deg at 60 deg/s, uniform",
        )
    )
    assert found.show.score.cues[1].body.children[1].duration_ms == 500


def test_as_fast_as_it_can_is_what_the_servo_can_do() -> None:
    from sim.strain.envelope import assess

    found = good(cue("jaw to 10 deg in 1 s", "jaw to 50 deg as fast as it can, cycloidal"))
    rig = found.show.rig
    move = found.show.score.cues[0].body.children[1]
    tried = assess(
        rig, rig.outputs[0], 10.0, 50.0, [move.duration_ms, move.duration_ms - 1], move.law
    )
    assert list(tried.passes) == [True, False]


def test_a_move_that_no_duration_allows_is_a_finding() -> None:
    found = with_rig(
        "servo x: body pin PB4",
        "    pulse 900 us at 0 deg, 2100 us at 90 deg",
        "    travel 0 deg to 60 deg",
        "    rating 0.17 s/60deg, 1 kgf.cm, 2.1 A at 6 V",
        "    load 2 kg at 200 mm",
        "cue a",
        "    x to 50 deg as fast as it can",
    )
    assert names(found) == ["impossible-move"]


def test_fades_take_levels_and_colours() -> None:
    lure, orange, tint, off = steps(
        "lure fade to 33.3 % in 1 s",
        "belly fade to orange in 1 s",
        "belly fade to #102030 40 % in 1 s, cycloidal",
        "belly fade to off in 1 s",
    )
    assert lure.light == 33.5
    assert orange.light == StripLight((255, 165, 0), 100.0)
    assert (tint.light, tint.law) == (StripLight((16, 32, 48), 40.0), Law("cycloidal"))
    assert off.light == BLACK


def test_instants_of_lights_and_switches() -> None:
    cut, on, off, lamp, both = steps(
        "belly cut to red 50 %", "fan on", "fan off", "lure on", "lure and belly off"
    )
    assert cut == Fade("belly", StripLight((255, 0, 0), 50.0), 10, UNIFORM, cut.mark)
    assert (on, off) == (Throw("fan", True, on.mark), Throw("fan", False, off.mark))
    assert (lamp.light, lamp.duration_ms) == (100.0, 10)
    assert [step.light for step in both.children] == [0.0, BLACK]


def test_effects_with_their_options() -> None:
    ember, run, steady = steps(
        "belly ember every 2 s, seed 7, depth 40 %",
        "belly run every 1.6 s, width 8",
        "belly steady",
    )
    assert ember == Effect("belly", "ember", 2000, 40.0, 7, 1, ember.mark)
    assert run == Effect("belly", "run", 1600, 100.0, 0, 8, run.mark)
    assert steady == Effect("belly", "steady", mark=steady.mark)


def test_blocks_nest() -> None:
    repeat = only(
        "repeat 2 times",
        "    stagger 80 ms",
        "        jaw to 3 deg in 1 s",
        "        in turn",
        "            hold 100 ms",
        "            together",
        "                fin to 3 deg in 1 s",
    )
    assert isinstance(repeat, Repeat)
    (stagger,) = repeat.body.children
    assert (stagger.interval_ms, repeat.times) == (80, 2)
    turn = stagger.children[1]
    assert isinstance(turn, InTurn)
    assert isinstance(turn.children[0], Hold)
    assert isinstance(turn.children[1], Together)


def test_the_three_kinds_of_repeat() -> None:
    forever, held, counted = steps(
        *("repeat for ever", "    hold 1 s", "repeat while held", "    hold 1 s"),
        *("repeat 7 times", "    hold 1 s"),
    )
    assert (forever.times, forever.while_held) == (None, False)
    assert (held.times, held.while_held) == (None, True)
    assert (counted.times, counted.while_held) == (7, False)


def test_taking_a_pose_moves_everything_it_names() -> None:
    found = good(
        with_rig(
            "pose up",
            "    jaw and fin 40 deg",
            "    belly red, lure 10 %, fan on",
            "cue a",
            "    pose up in 2 s, cycloidal",
        )
    )
    (block,) = found.show.score.cues[0].body.children
    assert [step.output for step in block.children] == ["jaw", "fin", "belly", "lure", "fan"]
    assert {s.duration_ms for s in block.children if not isinstance(s, Throw)} == {2000}
    assert marked_text(found, block.children[0].mark, "target") == "40 deg"
    assert marked_text(found, block.children[0].mark, "duration") == "2 s"


@pytest.mark.parametrize(
    ("back", "name"),
    [("6 s", "number-out-of-range"), ("300", "missing-unit"), ("3 deg", "unit-mismatch")],
)
def test_a_way_back_into_idle_that_cannot_be_is_told_at_its_place(back: str, name: str) -> None:
    found = with_rig("cue a", "    hold 1 s", f"idle: go a, back in {back}")
    assert names(found) == [name]
    span = found.findings[0].span
    assert found.sources[span.path].text[span.start : span.end] == back


def test_remote_idle_and_usage() -> None:
    found = good(
        with_rig(
            *("cue a", "    hold 1 s", "cue b", "    hold 1 s"),
            "remote",
            "    button 1: go a",
            "    button 2: go b while held",
            "    lost 2.5 s: go b",
            "    stop button 4",
            "    stop in 900 ms",
            "idle: go a, back in 0.4 s",
            "usage",
            "    a 20 per hour",
            "    run time 90 min",
        )
    )
    score = found.show.score
    assert [(b.button, b.cue, b.while_held) for b in score.bindings] == [
        (1, "a", False),
        (2, "b", True),
    ]
    assert (score.lost_ms, score.lost_cue, score.stop_button, score.stop_ms) == (2500, "b", 4, 900)
    assert (score.idle, score.glide_ms) == (("a",), 400)
    assert (score.usage[0].per_hour, score.run_time_h) == (20.0, 1.5)
    assert set(found.places) == {"remote", "idle", "lost", "stop", "stop time", "run time"}


def test_conflict_and_title() -> None:
    found = good(
        with_rig(
            'cue a "A title", if busy wait', "    hold 1 s", "cue b, if busy refuse", "    hold 1 s"
        )
    )
    assert [(c.title, c.conflict) for c in found.show.score.cues] == [
        ("A title", "wait"),
        ("", "refuse"),
    ]


BROKEN = {
    "wrong-kind": ["jaw fade to 30 % in 1 s"],
    "unknown-name": ["jwa to 30 deg in 1 s"],
    "unit-mismatch": ["jaw to 30 deg in 1 A"],
    "missing-unit": ["hold 300"],
    "number-out-of-range": ["jaw to 30 deg in 1 s, trapezoid 2/3"],
    "division-by-zero": ["jaw to 30 deg in 1 s, trapezoid 1/0"],
    "duplicate-line": ["belly ember every 1 s, depth 30 %, depth 40 %"],
    "repeat-too-long": ["repeat 60000 times", "    hold 1 min"],
    "not-a-number": ["hold NaN"],
    "not-whole": ["repeat 2.5 times", "    hold 1 s"],
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_wrong_statement_has_the_finding_that_is_named_for_it(name: str) -> None:
    assert names(cue(*BROKEN[name])) == [name]


@pytest.mark.parametrize(
    "name", ["unknown-name", "missing-unit", "repeat-too-long", "number-out-of-range"]
)
def test_a_proposed_change_to_a_statement_makes_its_finding_go_away(name: str) -> None:
    found = cue(*BROKEN[name])
    fix = found.findings[0].fix
    text = found.sources["test.cues"].text
    assert names(loaded(text[: fix.span.start] + fix.text + text[fix.span.end :])) == []


WRONG_KINDS = [
    "fan fade to 30 % in 1 s",
    "fan to 30 deg in 1 s",
    "lure to 30 deg in 1 s",
    "lure fade to orange in 1 s",
    "belly fade to 40 % in 1 s",
    "belly on",
    "jaw on",
    "fan breathe every 2 s",
    "belly steady, seed 3",
    "lure fade to 30 % at 30 deg/s",
    "lure fade to 30 % as fast as it can",
]


@pytest.mark.parametrize("line", WRONG_KINDS)
def test_an_output_is_asked_only_for_what_its_kind_can_do(line: str) -> None:
    assert names(cue(line)) == ["wrong-kind"]


def test_a_name_that_nothing_is_near_to_is_one_finding_however_often_it_is_used() -> None:
    found = cue(*["tail to 3 deg in 1 s"] * 9)
    (finding,) = found.findings
    assert len(finding.related) == 3
    assert finding.notes == ("and 5 more places",)


def test_a_misspelt_name_is_one_finding_whose_change_reaches_every_use() -> None:
    found = cue(*["jwa to 3 deg in 1 s"] * 9)
    (finding,) = found.findings
    assert finding.notes == ("and 5 more places",)
    assert finding.fix is not None
    assert [text for _, text in finding.fix.places] == ["jaw"] * 9


def test_a_cue_that_plays_itself_is_shown_with_its_circle() -> None:
    found = loaded("cue a\n    play b\ncue b\n    hold 1 s\n    play c\ncue c\n    play a\n")
    assert names(found) == ["cue-calls-itself"]
    (finding,) = found.findings
    assert finding.message == "the cue `a` would never end: `a` plays `b` plays `c` plays `a`"
    assert len(finding.related) == 2
    assert names(loaded("cue a\n    play a\n")) == ["cue-calls-itself"]


def test_cues_that_play_each_other_in_two_circles_are_both_found() -> None:
    text = "cue a\n    play a\n    play b\ncue b\n    play b\n    hold 1 s\n"
    assert names(loaded(text)) == ["cue-calls-itself"] * 2


def test_no_step_of_a_played_cue_stands_in_two_places() -> None:
    found = good(loaded("cue a\n    hold 1 s\ncue b\n    play a\n    play a\n"))
    first, second = found.show.score.cues[1].body.children
    assert first == second
    assert first is not second
    assert first.children[0] is not second.children[0]


def test_a_wrong_statement_in_a_played_cue_is_found_once() -> None:
    assert names(
        with_rig("cue a", "    play b", "    play b", "cue b", "    jaw to 1 V in 1 s")
    ) == ["unit-mismatch"]
