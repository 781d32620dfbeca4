"""Tables that pass every check and still mean harm: the board plays on and keeps its stop."""

from __future__ import annotations

import pytest

from firmware_gen.link.protocol import ReportedMode
from firmware_gen.player.player import Player
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import LOOP_FOREVER
from firmware_gen.table.ops import ActOp, Delay, Loop, LoopBack
from sim.rulebook import FRAME_MS, OPS_A_FRAME
from tests.firmware_gen.evil_tables import EVIL, FLOOD, requests_for
from tests.firmware_gen.requests import replay
from tests.firmware_gen.tables_by_hand import LAMP, SWITCH, table


@pytest.mark.parametrize("name", EVIL)
def test_an_evil_table_plays_on_and_can_be_stopped(name: str) -> None:
    made = EVIL[name]
    player = Player(encode(made))
    replay(player, requests_for(made, 400), 400)
    player.stop()
    player.stop()
    shown = player.frame()
    assert player.mode == ReportedMode.LIMP
    assert player.live_runs == 0
    assert not any(shown.pulses)


def test_a_thread_that_floods_does_not_starve_the_others() -> None:
    made = table(
        (LAMP, SWITCH),
        ((Loop(LOOP_FOREVER), *FLOOD, Delay(10), LoopBack()), (ActOp(0, 200, 0),)),
        uses=(2, 1),
    )
    player = Player(encode(made))
    player.frame()
    player.trigger(1)
    for _ in range(50):
        player.frame()
    assert player.overruns > 20
    player.trigger(2)
    duties = [player.frame().duties[0] for _ in range(10)]
    assert 65535 in duties


def test_no_thread_falls_behind_however_long_it_floods() -> None:
    made = table((LAMP, SWITCH), ((Loop(LOOP_FOREVER), *FLOOD, Delay(100), LoopBack()), ()))
    player = Player(encode(made))
    player.frame()
    player.trigger(1)
    frames = 500
    seen = 0
    for _ in range(frames):
        before = player.overruns
        player.frame()
        seen += player.overruns > before
    # A round is one op at the loop's start or end, the flood and the wait. It takes `full` frames
    # that are full, which count, and one that is not. What is left over at a frame's end is due at
    # that frame's time, so the wait of 5 frames counts from the last full one. Had the thread
    # fallen behind, it would never wait, and every frame would count.
    full = (1 + len(FLOOD) + 1) // OPS_A_FRAME
    wait = 100 // FRAME_MS
    rounds, left = divmod(frames, full - 1 + wait)
    assert seen == rounds * full + min(left, full)
