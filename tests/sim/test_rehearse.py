"""What a rehearsal does: modes, cues that take outputs, idle, buttons held, silence, stop, limp."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from small_shows import BACK, EYE, HEAD, LURE, TAIL, move, show_of

from sim.model import (
    Binding,
    Cue,
    Effect,
    Fade,
    Hold,
    InTurn,
    Press,
    Repeat,
    Rig,
    Show,
    Throw,
    Together,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.rehearsal.trajectories import Trajectories
from sim.rulebook import ENABLE_INTERVAL_FRAMES, FRAME_MS
from sim.score.threads import ThreadError

READY_MS = 2 * ENABLE_INTERVAL_FRAMES * FRAME_MS
"""Two servos on the board of these shows."""

OPEN = Cue("open", "", move("jaw", 50, 1000))
SHUT = Cue("shut", "", move("jaw", 4, 400))
WAVE = Cue("wave", "", InTurn((move("fin", 30, 600), move("fin", -30, 600))))
IDLE = Cue("idle", "", Repeat(InTurn((move("jaw", 9, 1000), move("jaw", 5, 1000))), None))


def angle(played: Trajectories, name: str, *times_ms: float) -> list[float]:
    return sample(played, times_ms).servos[name].angle_deg.tolist()


def runs(played: Trajectories) -> list[tuple[str, float, float]]:
    return [(run.cue, run.start_ms, run.end_ms) for run in played.runs]


# -- modes ----------------------------------------------------------------------------------------


def test_servos_get_pulses_one_after_another_and_then_the_board_is_ready() -> None:
    played = rehearse(show_of(OPEN), (), 1000)
    assert [mode.mode for mode in played.modes] == ["starting", "ready"]
    assert played.modes[1].start_ms == READY_MS
    starts = {name: spans[0].start_ms for name, spans in played.powered.items()}
    assert starts == {"jaw": 0.0, "fin": READY_MS / 2}


def test_lights_are_dark_until_ready_and_then_safe() -> None:
    seen = sample(rehearse(show_of(OPEN), (), 1000), [READY_MS - 20, READY_MS])
    assert seen.lamps["lure"].level_pct.tolist() == [0.0, 5.0]


def test_a_button_pressed_while_starting_is_refused() -> None:
    played = rehearse(show_of(OPEN), (Press(100, button=1),), 1000)
    assert runs(played) == []
    assert [(r.cue, r.at_ms) for r in played.refusals] == [("open", 100.0)]


def test_stop_goes_to_the_safe_pose_and_then_limp() -> None:
    presses = (Press(600, button=1), Press(1200, button=30))
    played = rehearse(show_of(OPEN, stop_ms=800), presses, 4000)
    assert [mode.mode for mode in played.modes] == ["starting", "ready", "stopping", "limp"]
    limp = played.modes[-1].start_ms
    assert limp >= 1200 - 20 + 800
    assert angle(played, "jaw", limp) == [4.0]
    assert not sample(played, [limp + 20]).servos["jaw"].powered[0]


def test_a_board_that_moves_nothing_is_limp_in_the_very_frame_of_a_stop() -> None:
    lights = show_of(Cue("glow", "", Fade("lure", 50.0, 400)))
    rig = replace(lights.rig, outputs=(LURE,))
    for at in (0, 600):
        played = rehearse(replace(lights, rig=rig), (Press(at, action="stop"),), 1000)
        assert [(mode.mode, mode.start_ms) for mode in played.modes][-1] == ("limp", at)


def test_a_second_stop_makes_limp_at_once() -> None:
    presses = (Press(600, button=1), Press(1200, button=30), Press(1400, button=30))
    played = rehearse(show_of(OPEN), presses, 3000)
    assert (played.modes[-1].mode, played.modes[-1].start_ms) == ("limp", 1400.0)


def test_limp_ends_cues_and_standby_starts_anew() -> None:
    presses = (
        Press(600, button=1),
        Press(900, action="limp"),
        Press(1000, button=1),
        Press(1500, action="standby"),
    )
    played = rehearse(show_of(OPEN), presses, 3000)
    assert runs(played) == [("open", 580.0, 900.0)]
    assert [mode.mode for mode in played.modes][2:] == ["limp", "starting", "ready"]
    assert angle(played, "jaw", 1500.0) == [4.0]


def test_switches_take_their_safe_state_on_limp() -> None:
    show = show_of(Cue("blow", "", InTurn((Throw("fan", True), Hold(5000)))))
    played = rehearse(show, (Press(600, button=1), Press(1000, action="limp")), 2000)
    assert sample(played, [500, 600, 980, 1000]).switches["fan"].tolist() == [
        False,
        True,
        True,
        False,
    ]


# -- cues and outputs -----------------------------------------------------------------------------


def test_a_cue_starts_in_the_frame_after_the_press_with_its_first_motion_done() -> None:
    played = rehearse(show_of(OPEN), (Press(593, button=1),), 3000)
    # taken at 600 ms, and counted from 580 ms on
    assert runs(played) == [("open", 580.0, 1580.0)]
    assert angle(played, "jaw", 600.0)[0] > 4.0


def test_a_cue_takes_only_the_outputs_it_uses() -> None:
    both = Cue("both", "", Together((move("jaw", 50, 2000), move("fin", 30, 2000))))
    presses = (Press(600, button=1), Press(1000, button=2))
    played = rehearse(show_of(both, SHUT), presses, 5000)
    assert angle(played, "fin", 2600.0) == [30.0]
    assert angle(played, "jaw", 3000.0) == [4.0]
    assert {run.cue: run.end_ms for run in played.runs}["both"] == 2580.0


def test_a_cue_that_loses_its_last_output_ends() -> None:
    played = rehearse(show_of(OPEN, SHUT), (Press(600, button=1), Press(1000, button=2)), 3000)
    assert runs(played)[0] == ("open", 580.0, 1000.0)


def test_a_cue_that_waits_starts_when_its_outputs_are_free() -> None:
    waiting = replace(SHUT, conflict="wait")
    presses = (Press(600, button=1), Press(1000, button=2))
    played = rehearse(show_of(OPEN, waiting), presses, 4000)
    assert runs(played) == [("open", 580.0, 1580.0), ("shut", 1580.0, 1980.0)]


def test_a_cue_that_refuses_does_not_start() -> None:
    refusing = replace(SHUT, conflict="refuse")
    presses = (Press(600, button=1), Press(1000, button=2))
    played = rehearse(show_of(OPEN, refusing), presses, 4000)
    assert [run.cue for run in played.runs] == ["open"]
    assert [refusal.cue for refusal in played.refusals] == ["shut"]


def test_an_interrupted_part_moves_on_without_a_jump() -> None:
    played = rehearse(show_of(OPEN, SHUT), (Press(600, button=1), Press(1100, button=2)), 4000)
    times = np.arange(600.0, 3000.0, 1.0)
    seen = sample(played, times).servos["jaw"]
    assert np.abs(np.diff(seen.angle_deg)).max() < 0.3
    assert np.abs(np.diff(seen.velocity_deg_s)).max() < 6.0
    assert seen.angle_deg[-1] == 4.0


def test_a_stretched_move_delays_what_follows_it_on_that_servo() -> None:
    quick = Cue("quick", "", InTurn((move("jaw", 4, 100), move("jaw", 20, 500))))
    slow = Cue("slow", "", move("jaw", 50, 2000))
    show = show_of(slow, replace(quick, name="quick"))
    outputs = tuple(
        replace(o, accel_deg_s2=200.0) if o.name == "jaw" else o for o in show.rig.outputs
    )
    show = replace(show, rig=replace(show.rig, outputs=outputs))
    played = rehearse(show, (Press(600, button=1), Press(4000, button=2)), 8000)
    first, second = (m for m in played.motions["jaw"] if m.cue == "quick")
    assert first.stretched_ms > 100.0
    assert second.start_ms == first.end_ms


def test_effects_become_steady_when_a_light_changes_hands() -> None:
    blink = Cue("blink", "", InTurn((Effect("lure", "breathe", 400), Fade("lure", 80.0, 10))))
    still = Cue("still", "", Fade("lure", 80.0, 10))
    played = rehearse(show_of(blink, still), (Press(600, button=1), Press(2000, button=2)), 4000)
    seen = sample(played, np.arange(700.0, 4000.0, 20.0)).lamps["lure"].level_pct
    assert seen[:60].min() < 10.0
    assert seen[70:].tolist() == pytest.approx([80.0] * 95)


def test_repeats_beside_each_other_run_in_threads_of_their_own() -> None:
    body = Together((Repeat(move("jaw", 50, 200), 3), Repeat(move("fin", 30, 300), 3)))
    played = rehearse(show_of(Cue("both", "", body)), (Press(600, button=1),), 3000)
    assert runs(played) == [("both", 580.0, 1480.0)]
    assert len(played.motions["jaw"]) == len(played.motions["fin"]) == 4


# -- buttons, idle, silence -----------------------------------------------------------------------


def test_a_binding_while_held_starts_the_cue_over() -> None:
    show = show_of(OPEN, SHUT, bindings=(Binding(1, "shut", while_held=True),))
    played = rehearse(show, (Press(600, button=1, held_ms=900),), 4000)
    assert runs(played) == [("shut", 580.0, 580.0 + 3 * 400.0)]


def test_a_repeat_while_held_runs_at_least_once_and_ends_with_its_pass() -> None:
    chew = Cue("chew", "", Repeat(InTurn((move("jaw", 30, 200), move("jaw", 5, 200))), None, True))
    once = rehearse(show_of(chew), (Press(600, button=1, held_ms=20),), 4000)
    assert runs(once) == [("chew", 580.0, 980.0)]
    long = rehearse(show_of(chew), (Press(600, button=1, held_ms=1000),), 4000)
    assert runs(long) == [("chew", 580.0, 580.0 + 3 * 400.0)]


def test_idle_goes_on_from_ready_on_beside_all_cues() -> None:
    show = show_of(WAVE, IDLE, idle=("idle",), bindings=(Binding(1, "wave"),))
    played = rehearse(show, (Press(2000, button=1),), 6000)
    wave, idle = played.runs
    assert (wave.cue, wave.start_ms) == ("wave", 1980.0)
    assert (idle.cue, idle.start_ms, idle.end_ms) == ("idle", READY_MS - 20.0, 6000.0)


def test_the_lost_cue_starts_once_in_each_silence() -> None:
    show = show_of(OPEN, SHUT, lost_ms=500, lost_cue="shut")
    played = rehearse(show, (Press(600, button=1),), 6000, [(2000.0, 4000.0)])
    assert runs(played) == [("open", 580.0, 1580.0), ("shut", 2480.0, 2880.0)]
    twice = rehearse(show, (Press(600, button=1), Press(3000, button=1)), 6000, [(2000.0, 4000.0)])
    assert [run.cue for run in twice.runs] == ["open", "shut", "open", "shut"]


def test_nothing_happens_in_a_silence_before_anything_was_heard() -> None:
    show = show_of(OPEN, SHUT, lost_ms=500, lost_cue="shut")
    assert runs(rehearse(show, (), 6000, [(-1.0, 6000.0)])) == []


# -- several boards, and the bounds ---------------------------------------------------------------


def test_each_board_plays_its_own_part_of_a_cue_in_step() -> None:
    both = Cue("both", "", InTurn((move("jaw", 50, 500), move("tail", 20, 500))))
    one = show_of(both)
    rig = Rig(boards=(HEAD, BACK), outputs=(*one.rig.outputs, TAIL, EYE))
    played = rehearse(Show(rig, one.score), (Press(1000, button=1),), 3000)
    assert [(run.board, run.start_ms, run.end_ms) for run in played.runs] == [
        ("head", 980.0, 1980.0),
        ("back", 980.0, 1980.0),
    ]
    assert angle(played, "tail", 1480.0, 1980.0) == [-10.0, 20.0]


def test_a_repeat_without_time_is_refused() -> None:
    with pytest.raises(ThreadError, match="takes no time"):
        rehearse(show_of(Cue("spin", "", Repeat(Throw("fan", True), None))), (), 1000)


def test_a_day_of_idle_is_rehearsed_at_once() -> None:
    show = show_of(Cue("idle", "", Repeat(InTurn((Hold(60_000), move("jaw", 9, 500))), None)))
    show = replace(show, score=replace(show.score, idle=("idle",)))
    played = rehearse(show, (), 24 * 3600 * 1000)
    assert len(played.motions["jaw"]) == 1 + (24 * 3600 * 1000 - READY_MS + 20) // 60_500


def test_the_same_presses_in_any_order_are_the_same_rehearsal() -> None:
    presses = [Press(600, button=1), Press(1000, button=2), Press(2000, cue="open")]
    one, other = (rehearse(show_of(OPEN, SHUT), p, 4000) for p in (presses, presses[::-1]))
    assert one == other
