"""Hours of random buttons and triggers on the core: limits and counters hold, nothing drifts."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.crc import cue_tag
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.protocol import ReportedMode, RequestKind, State, Status
from firmware_gen.player.player import Player
from firmware_gen.table.ops import ActOp, Delay, ForkTo, Loop, LoopBack, Modulate
from firmware_gen.table.records import (
    BindingRecord,
    CueRecord,
    LampRecord,
    LawRecord,
    ServoRecord,
    StripRecord,
    Table,
)
from tests.firmware_gen.host.core import DOWN, UP, CorePlayer, available, library

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

FRAMES_PER_HOUR = 3600 * 50
SPEED, ACCELERATION = 300, 2500
"""Limits of the servos, in deg/s and deg/s2."""
DEG_PER_TICK = 90 / 2400
NAMES = ("sway", "snap", "chew", "rest", "glow")
TAGS = {name: cue_tag(name) for name in NAMES}


def busy_show() -> Table:
    """Three servos and two lights, with cues that interrupt, wait, refuse and repeat."""
    points = ((-4500, 1800), (4500, 4200))
    servos = [
        ServoRecord(ATMEGA328P.pin(f"PB{n}"), (-4000, 4000), SPEED, ACCELERATION, 0, points)
        for n in range(3)
    ]
    lights = (
        LampRecord(ATMEGA328P.pin("PD6"), 20),
        StripRecord(ATMEGA328P.pin("PD7"), 12, 2, 3, 0),
    )
    sway = (Loop(0), ActOp(0, 3000, 700, True), ActOp(0, -3000, 900, True), LoopBack())
    snap = (ActOp(1, 4000, 260, True, 1), ActOp(1, -1000, 310, True, 2), ForkTo(5), Delay(400))
    chew = (Loop(65535), ActOp(2, 1500, 90, True, 3), ActOp(2, -1500, 130, True), LoopBack())
    rest = (ActOp(0, 0, 500), ActOp(1, 0, 400), ActOp(2, 0, 600, True))
    glow = (
        Modulate(4, 2, 130, 160, 9, 2),
        ActOp(4, 1, 700),
        ActOp(3, 180, 900, True),
        ActOp(3, 20, 400, True),
    )
    nod = (ActOp(1, 500, 200, True), ActOp(1, -500, 200, True))
    return Table(
        chip=ATMEGA328P.chip_id,
        address=1,
        outputs=(*servos, *lights),
        colours=((0, 0, 0), (200, 90, 20)),
        laws=(LawRecord(5), LawRecord(2, 20000), LawRecord(9, 30000, 16000), LawRecord(7)),
        bindings=(
            BindingRecord(1, 0, False),
            BindingRecord(2, 1, True),
            BindingRecord(3, 2, True),
            BindingRecord(3, 4, False),
            BindingRecord(4, 3, False),
        ),
        cues=(
            CueRecord(TAGS["sway"], 0b00011, 0, 1, 0),
            CueRecord(TAGS["snap"], 0b00010, 0, 2, 1),
            CueRecord(TAGS["chew"], 0b00100, 1, 1, 2),
            CueRecord(TAGS["rest"], 0b00111, 0, 1, 3, strand=True),
            CueRecord(TAGS["glow"], 0b11000, 2, 1, 4),
        ),
        threads=(sway, snap, chew, rest, glow, nod),
        lost=0,
        lost_time=50,
    )


def exceeded(pulses: np.ndarray) -> tuple[float, float]:
    """Largest speed and acceleration as a share of the limits, less what rounding adds."""
    deg = pulses.astype(np.float64) * DEG_PER_TICK
    speed = np.abs(np.diff(deg, axis=0)) / 0.02
    acceleration = np.abs(np.diff(deg, n=2, axis=0)) / 0.02**2
    # A pulse is rounded to a tick: half a tick at each end of a difference.
    speed -= DEG_PER_TICK / 0.02
    acceleration -= 2 * DEG_PER_TICK / 0.02**2
    return float(speed.max()) / SPEED, float(acceleration.max()) / ACCELERATION


def play_hours(hours: int, seed: int) -> int:
    """Random presses and triggers for so long, every frame held to the limits; the presses."""
    dice = Random(seed)
    follower = CorePlayer(busy_show(), clock=2**32 - 5120 * FRAMES_PER_HOUR // 2)
    core, lib = follower.core, library()
    core.frames(50)
    assert core.mode == ReportedMode.READY
    down: set[int] = set()
    asked = 0
    for _ in range(hours):
        buffer = core.record(FRAMES_PER_HOUR)
        left = FRAMES_PER_HOUR
        while left:
            button = dice.randint(1, 4)
            if button in down:
                down.remove(button)
                core.ask(UP, button)
            else:
                down.add(button)
                core.ask(DOWN, button)
                asked += 1
            if dice.random() < 0.3:
                follower.trigger(TAGS[dice.choice(NAMES)])
            count = min(left, dice.choice((1, 2, 5, 17, 40, 90)))
            core.frames(count)
            left -= count
            assert lib.host_live() <= 5
        pulses = np.frombuffer(buffer, np.uint16).reshape(-1, 8)[:, :3]
        low, high = 3000 - 4000 * 2400 // 9000 - 1, 3000 + 4000 * 2400 // 9000 + 1
        assert low <= pulses.min()
        assert pulses.max() <= high
        speed, acceleration = exceeded(pulses)
        assert speed <= 1.0
        assert acceleration <= 1.0
    assert core.mode == ReportedMode.READY
    assert lib.host_played() == 50 + hours * FRAMES_PER_HOUR
    assert lib.host_overruns() == 0
    for button in down:
        core.ask(UP, button)
    follower.trigger(TAGS["rest"])
    core.frames(200)
    assert set(core.raw()[:6]) == set((3000).to_bytes(2, "little"))
    (reply,) = Receiver().feed(core.exchange(encode(LinkFrame(0, RequestKind.STATUS, 1))))
    assert reply.payload[0] == Status.DONE
    state = State.unpack(reply.payload[1:])
    assert state.frames == 250 + hours * FRAMES_PER_HOUR
    assert (state.refused, state.bad_frames) == (lib.host_refused(), 0)
    return asked


def test_a_day_of_random_buttons_and_triggers_exceeds_no_limit_and_drifts_nowhere() -> None:
    assert play_hours(24, seed=2) > 24 * 100


@pytest.mark.long
def test_two_hours_in_an_effect_and_a_loop_for_ever_go_on_as_in_the_reference() -> None:
    table = busy_show()
    follower, player = CorePlayer(table), Player(table)
    for one in (follower, player):
        one.trigger(TAGS["sway"])
        one.trigger(TAGS["glow"])
    hours = 2.5
    follower.core.frames(50)
    for _ in range(50):
        player.frame()
    for one in (follower, player):
        one.trigger(TAGS["glow"])
        one.trigger(TAGS["sway"])
    count = int(hours * FRAMES_PER_HOUR)
    follower.core.frames(count)
    for _ in range(count):
        player.frame()
    for _ in range(500):
        assert follower.frame() == player.frame().raw
