"""Outputs between cues, idle and what they follow, at the single units of the player's clock.

The rules are those of TABLE.md, section 2 and 10: what a strand of idle wants while a cue has its
outputs, when a move has to wait for the one before, until when a lamp is seen to follow.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.model import (
    Binding,
    Board,
    Cue,
    Fade,
    Follow,
    Hold,
    InTurn,
    Lamp,
    Press,
    Repeat,
    Rig,
    Score,
    Sensor,
    Show,
    Throw,
)
from sim.rehearsal.followers import FollowedSpan
from sim.rehearsal.rehearse import rehearse
from sim.rulebook import CLOCK_PER_MS, FRAME_MS
from tests.sim.small_shows import JAW, move, show_of

UNIT_MS = 1 / CLOCK_PER_MS


def test_a_strand_of_idle_is_held_by_no_button() -> None:
    """The board is ready after 400 ms; the first button is down then, and for four seconds."""
    body = InTurn((Repeat(move("jaw", 9, 200), None, while_held=True), Hold(60_000)))
    show = show_of(Cue("idle", "", body), Cue("a", "", move("fin", 9)), idle=("idle",))
    show = replace(show, score=replace(show.score, bindings=(Binding(1, "a"),)))
    played = rehearse(show, (Press(0, button=1, held_ms=4000),), 3000)
    assert [piece.cue for piece in played.motions["jaw"]] == [None, "idle"]


def test_a_switch_that_is_given_back_goes_on_with_idle() -> None:
    """Idle throws it once a second from 380 ms on: a frame shows what holds at its start. The cue
    has it from 980 to 1680 ms; what idle wanted by then it gets back, and idle goes on."""
    idle = Cue(
        "idle",
        "",
        Repeat(InTurn((Throw("fan", True), Hold(1000), Throw("fan", False), Hold(1000))), None),
    )
    blow = Cue("blow", "", InTurn((Throw("fan", False), Hold(700))))
    show = show_of(blow, idle, idle=("idle",), bindings=(Binding(1, "blow"),))
    thrown = rehearse(show, (Press(1000, button=1),), 4000).switches["fan"]
    assert [(one.start_ms, one.on, one.cue) for one in thrown if one.cue] == [
        (380.0, True, "idle"),
        (980.0, False, "blow"),
        (1680.0, False, "idle"),
        (2380.0, True, "idle"),
        (3380.0, False, "idle"),
    ]


def test_a_move_waits_for_the_last_256th_of_a_millisecond_of_the_one_before() -> None:
    """From 4 deg to 11.56 deg at 200 deg/s2 takes 466 1/256 ms: the same move is asked for in 466
    and in 467 ms."""
    jaw = replace(JAW, accel_deg_s2=200.0)
    for asked_ms, late_ms in ((466, UNIT_MS), (467, 0.0)):
        quick = Cue("quick", "", InTurn((move("jaw", 11.56, asked_ms), move("jaw", 20, 600))))
        show = show_of(quick)
        outputs = tuple(jaw if one.name == "jaw" else one for one in show.rig.outputs)
        show = replace(show, rig=replace(show.rig, outputs=outputs))
        first, then = rehearse(show, (Press(600, button=1),), 3000).motions["jaw"][1:]
        assert first.stretched_ms == late_ms
        assert then.start_ms == first.end_ms == 580.0 + asked_ms + late_ms


def test_between_two_frames_a_part_that_follows_gains_speed_evenly() -> None:
    """From rest to 50 deg/s within 20 ms, then on at that: v t / 2, then v t."""
    span = FollowedSpan([0.0, 20.0, 40.0], [0.0, 0.5, 1.5], [0.0, 50.0, 50.0])
    angle, speed, gain = span.motion(np.array([0.0, 10.0, 20.0, 30.0, 40.0, 60.0]))
    assert angle == pytest.approx([0.0, 0.125, 0.5, 1.0, 1.5, 1.5])
    assert speed == pytest.approx([0.0, 25.0, 50.0, 50.0, 50.0, 50.0])
    assert gain == pytest.approx([2500.0, 2500.0, 0.0, 0.0, 0.0, 0.0])


VOICE = Sensor("voice", "head", 54)
FOLLOW = Follow("lure", "voice", 0.0, 1.0, 20.0, 80.0)


def listening(*cues: Cue) -> Show:
    rig = Rig(
        boards=(Board("head", "atmega2560", 1),),
        outputs=(Lamp("lure", "head", 22, safe_pct=5.0),),
        sensors=(VOICE,),
        follows=(FOLLOW,),
    )
    bindings = tuple(Binding(n, cue.name) for n, cue in enumerate(cues, start=1))
    return Show(rig, Score("one", cues, bindings))


@pytest.mark.parametrize("stop", [False, True])
def test_a_lamp_is_seen_to_follow_up_to_the_frame_in_which_it_is_taken(stop: bool) -> None:
    """What is shown in the frame before stays: the lamp's own light is seen a 256th of a
    millisecond behind it."""
    flash = Cue("flash", "", Fade("lure", 60.0, 100))
    press = Press(2000, action="stop") if stop else Press(2000, button=1)
    played = rehearse(listening(flash), (press,), 3000)
    span = played.followed["lure"][0]
    fading = next(one for one in played.lights["lure"] if one.shown_ms > 1000.0)
    assert span.end_ms == fading.shown_ms == 2000.0 - FRAME_MS + UNIT_MS
