"""What is read off a score: lengths, planned moves, limits, overlaps, the default rehearsal."""

from __future__ import annotations

from math import inf

import pytest
from hypothesis import given, settings
from one_motion import limits_by_deg
from small_shows import FIN, JAW, move, show_of, shows

from sim.model import (
    Cue,
    Effect,
    Fade,
    Hold,
    InTurn,
    Repeat,
    Step,
    Throw,
    Together,
)
from sim.rehearsal.motion import begin, resting
from sim.score.laws import coefficients
from sim.score.overlaps import overlaps
from sim.score.planned_moves import REST_ANGLES_KEPT, motion_limits, planned_moves, rest_angles
from sim.score.tree import duration_ms, outputs_used, timeline


def cue(*steps: Step, name: str = "one") -> Cue:
    return Cue(name, "", steps[0] if len(steps) == 1 else InTurn(steps))


# -- lengths --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("step", "ms"),
    [
        (Hold(70), 70),
        (InTurn((move("jaw", 20, 300), Hold(50), move("jaw", 10, 200))), 550),
        (Together((move("jaw", 20, 300), move("fin", 0, 900))), 900),
        (Together((move("jaw", 20, 300), move("fin", 0, 100)), interval_ms=400), 500),
        (Repeat(move("jaw", 20, 300), 4), 1200),
        (Repeat(move("jaw", 20, 300), 0), 0),
        (Repeat(move("jaw", 20, 300), None), inf),
        (Repeat(move("jaw", 20, 300), None, while_held=True), 300),
        (Repeat(Throw("fan", True), None), inf),
        (Throw("fan", True), 0),
        (InTurn(()), 0),
        (Together(()), 0),
    ],
)
def test_length_of_a_step(step: Step, ms: float) -> None:
    assert duration_ms(step) == ms


def test_starts_are_known_for_every_statement() -> None:
    body = InTurn((Hold(100), Together((move("jaw", 20), move("fin", 5)), interval_ms=40), Hold(5)))
    starts = [(start, type(step).__name__) for start, step in timeline(body)]
    assert starts == [
        (0, "InTurn"),
        (0, "Hold"),
        (100, "Together"),
        (100, "Move"),
        (140, "Move"),
        (1140, "Hold"),
    ]


def test_a_score_nested_five_thousand_deep_is_read() -> None:
    body: Step = move("jaw", 20, 10)
    for level in range(5000):
        body = InTurn((body,)) if level % 2 else Together((body, Hold(1)))
    show = show_of(cue(body))
    assert duration_ms(body) == 10
    assert outputs_used(body) == {"jaw"}
    assert len(planned_moves(show)) == 2
    assert overlaps(show.score.cues[0]) == ()


def test_ten_thousand_moves_are_read_in_one_go() -> None:
    body = InTurn(tuple(move("jaw", 10 + n % 40, 50) for n in range(10_000)))
    planned = planned_moves(show_of(cue(body)))
    assert len(planned) == 10_001
    assert planned[-1].start_ms == 9_999 * 50


# -- planned moves --------------------------------------------------------------------------------


def test_inside_a_cue_a_move_starts_where_the_last_one_ended() -> None:
    planned = planned_moves(show_of(cue(move("jaw", 50), Hold(10), move("jaw", 20))))
    inner = [(p.from_deg, p.move.angle_deg, p.start_ms) for p in planned if not p.entry]
    assert inner == [(50, 20, 1010)]


def test_a_cue_may_start_from_wherever_the_show_leaves_the_part() -> None:
    show = show_of(cue(move("jaw", 50), move("jaw", 20), name="a"), cue(move("jaw", 30), name="b"))
    assert rest_angles(show)["jaw"] == (4.0, 20, 30)
    entries = [(p.cue, p.from_deg) for p in planned_moves(show) if p.entry]
    assert entries == [("a", 4.0), ("a", 20), ("a", 30), ("b", 4.0), ("b", 20), ("b", 30)]


def test_idle_may_be_left_anywhere() -> None:
    idle = cue(Repeat(InTurn((move("jaw", 10), move("jaw", 40))), None), name="idle")
    show = show_of(cue(move("jaw", 20), name="a"), idle, idle=("idle",))
    assert rest_angles(show)["jaw"] == (4.0, 10, 20, 40)


def test_the_second_pass_of_a_repeat_starts_from_its_end() -> None:
    body = InTurn((move("jaw", 10, 100), move("fin", 5, 100), move("jaw", 40, 100)))
    planned = planned_moves(show_of(cue(Hold(50), Repeat(body, 3))))
    returns = [(p.move.output, p.from_deg, p.start_ms) for p in planned if p.start_ms >= 350]
    assert returns == [("jaw", 40, 350), ("fin", 5, 450)]


def test_nested_repeats_return_from_their_own_ends() -> None:
    inner = Repeat(InTurn((move("jaw", 10, 100), move("jaw", 20, 100))), 2)
    planned = planned_moves(show_of(cue(Repeat(InTurn((move("jaw", 50, 100), inner)), 2))))
    ways = {(p.from_deg, p.move.angle_deg) for p in planned if not p.entry}
    assert ways == {(50, 10), (10, 20), (20, 10), (20, 50)}


def test_a_servo_with_very_many_rest_angles_keeps_its_extremes() -> None:
    cues = [cue(move("fin", angle), name=f"c{angle}") for angle in range(-35, 36)]
    kept = rest_angles(show_of(*cues))["fin"]
    assert len(kept) == REST_ANGLES_KEPT
    assert {0.0, -35, 35} <= set(kept)


# -- limits ---------------------------------------------------------------------------------------


def test_limits_are_the_largest_planned_rounded_up_plus_one() -> None:
    show = show_of(cue(move("jaw", 50, 500)))  # 4 to 50 deg and 50 to 50 deg
    cv, ca, _ = coefficients(move("jaw", 0).law)
    speed, acceleration = motion_limits(show)["jaw"]
    assert speed == int(cv * 46 / 0.5) + 2
    assert acceleration == int(ca * 46 / 0.25) + 2


def test_a_stated_acceleration_is_the_limit() -> None:
    from dataclasses import replace

    show = show_of(cue(move("jaw", 50, 500)))
    rig = replace(show.rig, outputs=(replace(JAW, accel_deg_s2=750.0),))
    assert motion_limits(replace(show, rig=rig))["jaw"][1] == 751


def test_uniform_moves_leave_an_acceleration_to_brake_with() -> None:
    assert motion_limits(show_of(cue(move("jaw", 50, 500, "uniform"))))["jaw"][1] > 1000


@settings(max_examples=60)
@given(shows())
def test_no_planned_move_is_stretched_where_no_acceleration_is_stated(show) -> None:
    from dataclasses import replace

    outputs = tuple(
        replace(output, accel_deg_s2=None)
        if output in show.rig.outputs and hasattr(output, "accel_deg_s2")
        else output
        for output in show.rig.outputs
    )
    show = replace(show, rig=replace(show.rig, outputs=outputs))
    limits = motion_limits(show)
    for planned in planned_moves(show):
        speed, acceleration = limits[planned.move.output]
        if 65535 in (speed, acceleration):
            continue
        start = resting(0, planned.from_deg)
        asked = planned.move.duration_ms * 256
        bounds = limits_by_deg(speed, acceleration, (-90.0, 90.0))
        one = begin(start, 0, planned.move.angle_deg, asked, planned.move.law, bounds, None)
        assert one.stretched_ms == 0.0


# -- overlaps -------------------------------------------------------------------------------------


def test_two_moves_of_one_servo_side_by_side_overlap() -> None:
    first, second = move("jaw", 20, 1000), move("jaw", 30, 400)
    found = overlaps(cue(Together((first, InTurn((Hold(500), second))))))
    assert [(o.output, o.first, o.second) for o in found] == [("jaw", first, second)]
    assert (found[0].first_ms, found[0].second_ms) == ((0, 1000), (500, 900))


@pytest.mark.parametrize(
    "step",
    [
        InTurn((move("jaw", 20), move("jaw", 30))),
        Together((move("jaw", 20, 500), InTurn((Hold(500), move("jaw", 30))))),
        Together((move("jaw", 20), move("fin", 30))),
        Together((Fade("belly", 40.0, 500), Effect("belly", "breathe"))),
        InTurn((Effect("lure", "breathe"), Effect("lure", "steady"))),
        Repeat(InTurn((move("jaw", 20), move("jaw", 30))), 5),
        Together((Repeat(move("jaw", 20, 100), 3), InTurn((Hold(300), move("jaw", 9))))),
    ],
)
def test_statements_that_take_turns_do_not_overlap(step: Step) -> None:
    assert overlaps(cue(step)) == ()


@pytest.mark.parametrize(
    "step",
    [
        Together((Throw("fan", True), Throw("fan", False))),
        Together((Fade("lure", 40.0, 500), Fade("lure", 10.0, 500)), interval_ms=499),
        Together((Repeat(move("jaw", 20, 100), 3), InTurn((Hold(299), move("jaw", 9))))),
        Together((Repeat(move("jaw", 20, 100), None), InTurn((Hold(9000), move("jaw", 9))))),
        Together((Repeat(move("jaw", 20, 100), None, True), InTurn((Hold(500), move("jaw", 9))))),
        Repeat(Together((move("jaw", 20, 100), InTurn((Hold(50), move("jaw", 9, 30))))), 3),
    ],
)
def test_statements_that_meet_overlap(step: Step) -> None:
    assert len(overlaps(cue(step))) == 1


def test_the_fin_of_these_tests_needs_a_second_segment() -> None:
    # its middle point does not lie on the line between the others, as linkages make them
    low, middle, high = FIN.points
    assert middle.pulse_us != (low.pulse_us + high.pulse_us) / 2
