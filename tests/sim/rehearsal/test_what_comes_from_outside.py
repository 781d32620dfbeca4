"""Requests by frame, silences, and what a table holds of angles and lights, worked by hand.

Frames of 20 ms take what came since the one before (TABLE.md, 2).
"""

from __future__ import annotations

from math import inf

import pytest

from sim.model import UNIFORM, Binding, Cue, Hold, InTurn, Law, Move, Press, StripLight, Throw
from sim.rehearsal.fixed_motion import angle_steps
from sim.rehearsal.motion import kinematics
from sim.rehearsal.outputs import levels_at, light_levels
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.requests import Hearing, Request, requests_by_frame
from sim.rehearsal.sampling import levels
from sim.rehearsal.takeover import Takeover
from sim.rehearsal.trajectories import Fading
from tests.sim.small_shows import show_of


@pytest.mark.parametrize(
    ("at_ms", "frame"), [(0, 0), (1, 1), (20, 1), (21, 2), (40, 2), (999, 50), (1000, 50)]
)
def test_a_request_is_taken_by_the_first_frame_that_is_not_before_it(
    at_ms: int, frame: int
) -> None:
    assert requests_by_frame([Press(at_ms, action="stop")]) == {frame: [Request("stop")]}


def test_a_button_goes_down_and_up_and_other_presses_only_come() -> None:
    presses = [
        Press(100, cue="snap"),
        Press(50, button=3, held_ms=50),
        Press(90, action="limp"),
    ]
    assert requests_by_frame(presses) == {
        3: [Request("down", button=3)],
        5: [Request("limp"), Request("up", button=3), Request("trigger", "snap")],
    }


def test_of_presses_at_one_time_the_order_stays() -> None:
    presses = [Press(20, button=2, held_ms=0), Press(20, cue="a"), Press(20, cue="b")]
    kinds = [(one.kind, one.cue) for one in requests_by_frame(presses)[1]]
    assert kinds == [("down", None), ("up", None), ("trigger", "a"), ("trigger", "b")]


@pytest.mark.parametrize(
    ("frame", "silent"),
    [
        # heard up to 100 ms, which frame 5 takes; from 200 ms on again, after frame 10
        (5, 0),
        (6, 1),
        (10, 5),
        (11, 0),
    ],
)
def test_silence_counts_from_the_last_frame_in_which_the_remote_was_heard(
    frame: int, silent: int
) -> None:
    assert Hearing([(100.0, 200.0)]).silent_frames(frame) == silent


def test_a_request_within_a_silence_is_heard() -> None:
    hearing = Hearing([(100.0, 400.0)], [8])
    assert [hearing.silent_frames(frame) for frame in (7, 8, 9, 20, 21)] == [2, 0, 1, 12, 0]


def test_silences_that_follow_one_another_are_one() -> None:
    hearing = Hearing([(200.0, 400.0), (100.0, 200.0)])
    assert hearing.silent_frames(20) == 15


def test_what_is_silent_from_the_start_has_heard_nothing_yet() -> None:
    assert Hearing([(-20.0, 1000.0)]).silent_frames(10) == 11


def test_a_silence_reaches_a_length_so_many_frames_after_it_began() -> None:
    hearing = Hearing([(100.0, 400.0), (1000.0, 2000.0)], [8])
    assert hearing.reaches(0, 10) == 15
    assert hearing.reaches(14, 10) == 15
    # the request in frame 8 begins the count anew
    assert hearing.reaches(15, 10) == 18
    assert hearing.reaches(18, 10) == 60
    assert hearing.reaches(60, 10) == inf
    assert Hearing([], [8]).reaches(0, 10) == inf


@pytest.mark.parametrize(
    ("angle_deg", "steps"), [(12.344, 1234), (12.346, 1235), (-7.006, -701), (0.0, 0)]
)
def test_a_table_holds_angles_in_hundredths_of_a_degree(angle_deg: float, steps: int) -> None:
    assert angle_steps(angle_deg) == steps


def test_a_table_holds_light_in_half_percents() -> None:
    assert light_levels(12.6) == (25.0,)
    assert light_levels(100.0) == (200.0,)
    assert light_levels(StripLight((255, 255, 255), 50.0)) == (100.0, 100.0, 100.0)


@pytest.mark.parametrize(
    ("time_ms", "level"), [(500.0, 40.0), (600.0, 60.0), (899.0, 119.8), (900.0, 120.0), (2e3, 120)]
)
def test_a_fade_goes_from_its_origin_to_its_target(time_ms: float, level: float) -> None:
    fading = Fading(500.0, 500.0, (40.0,), (120.0,), 400.0, UNIFORM)
    assert levels_at(fading, time_ms) == (pytest.approx(level),)
    assert fading.end_ms == 900.0
    assert levels_at(Fading(500.0, 500.0, (40.0,), (120.0,)), time_ms) == (120.0,)


def test_a_fade_of_a_millisecond_has_a_middle_and_one_of_none_has_not() -> None:
    quick = Fading(500.0, 500.0, (40.0,), (120.0,), 1.0, UNIFORM)
    assert levels([quick], [499.0, 500.5, 501.0])[:, 0] == pytest.approx([40.0, 80.0, 120.0])
    jump = Fading(500.0, 500.0, (40.0,), (120.0,))
    assert levels([jump], [500.0, 501.0])[:, 0] == pytest.approx([120.0, 120.0])


@pytest.mark.parametrize(("stop_ms", "lasts_ms"), [(900, 900.0), (20, 20.0), (909, 900.0)])
def test_the_stop_takes_its_time_in_whole_frames(stop_ms: int, lasts_ms: float) -> None:
    show = show_of(Cue("open", "", Move("jaw", 50.0, 1000, Law("3-4-5"))), stop_ms=stop_ms)
    played = rehearse(show, [Press(2000, action="stop")], 6000)
    assert played.lights["lure"][-1].duration_ms == lasts_ms
    assert played.lights["lure"][-1].start_ms == 1980.0
    assert played.modes[-1].mode == "limp"


def test_a_brake_is_over_at_its_end() -> None:
    """The way left of a brake is that of y squared: its acceleration is -2 r / b**2 until b."""
    run = Takeover(way=10.0, residual=4.0, brake=20.0, wait=20.0, duration=100.0, end=120.0)
    before, at_end = (kinematics(run, Law("3-4-5"), since) for since in (10.0, 20.0))
    assert float(before.acceleration) == pytest.approx(-2.0 * 4.0 / 20.0**2)
    assert float(before.speed) == pytest.approx(2.0 * 4.0 / 20.0 * 0.5)
    assert float(before.to_go) == pytest.approx(10.0 + 4.0 / 4.0)
    assert float(at_end.acceleration) == pytest.approx(0.0)
    assert float(at_end.to_go) == pytest.approx(10.0)


@pytest.mark.parametrize("hold_ms", [64_980, 65_000, 65_020, 130_000, 150_000])
def test_a_hold_longer_than_a_table_can_say_in_one_lasts_as_long_as_it_should(hold_ms: int) -> None:
    """Its pieces follow one another without a gap."""
    body = InTurn((Hold(hold_ms), Throw("fan", True)))
    played = rehearse(show_of(Cue("late", "", body)), [Press(1000, button=1)], hold_ms + 3000)
    assert played.switches["fan"][-1].on
    assert played.switches["fan"][-1].start_ms == 1000.0 - 20.0 + hold_ms


def test_a_cue_of_no_time_that_its_button_holds_starts_anew_once_a_frame() -> None:
    cue = Cue("on", "", Throw("fan", True))
    show = show_of(cue, bindings=(Binding(1, "on", while_held=True),))
    played = rehearse(show, [Press(1000, button=1, held_ms=200)], 3000)
    starts = [piece.start_ms for piece in played.switches["fan"] if piece.cue == "on"]
    assert starts == [980.0 + 20.0 * n for n in range(len(starts))]
    assert 9 <= len(starts) <= 12
