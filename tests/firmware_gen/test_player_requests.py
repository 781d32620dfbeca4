"""What the player does with requests, mode by mode: TABLE.md, section 2."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firmware_gen.link.protocol import ReportedMode
from firmware_gen.player.player import Player
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import LOOP_FOREVER, LOOP_HELD, TableError
from firmware_gen.table.lightness import duty_of, lightness_of
from firmware_gen.table.ops import ActOp, Delay, ForkTo, GoOnTo, Loop, LoopBack, Modulate, Turn
from firmware_gen.table.records import BindingRecord, Table
from tests.firmware_gen.tables_by_hand import (
    FIN,
    JAW,
    LAMP,
    REFUSE,
    STRIP,
    SWITCH,
    TAKE,
    WAIT,
    table,
)

SAFE_TICKS = 2289
"""Pulse of the jaw's safe angle, 20 deg: 1800 + 20/45 (2900 - 1800) = 2288.9."""

OPEN = (ActOp(0, 6500, 400, True),)
SHUT = (ActOp(0, 1000, 400, True),)


def ready(made: Table) -> Player:
    """A player in the first frame in which it hears requests."""
    player = Player(encode(made))
    while player.mode != ReportedMode.READY:
        player.frame()
    return player


def play(player: Player, frames: int) -> list:
    return [player.frame() for _ in range(frames)]


# -- power-up ----------------------------------------------------------------------------------


def test_servos_get_pulses_one_after_another_at_the_safe_angle() -> None:
    player = Player(table((JAW, FIN, LAMP), (OPEN,), uses=(1,), enable_interval=3))
    frames = play(player, 8)
    assert [frame.pulses[0] for frame in frames] == [SAFE_TICKS] * 8
    assert [frame.pulses[1] > 0 for frame in frames] == [False] * 3 + [True] * 5
    assert [frame.duties[0] > 0 for frame in frames] == [False] * 6 + [True] * 2


def test_without_servos_the_board_is_ready_at_once() -> None:
    player = Player(table((LAMP,), ((ActOp(0, 200, 0),),)))
    player.trigger(1)
    assert player.frame().duties == (65535,)
    assert player.mode == ReportedMode.READY


def test_while_starting_triggers_buttons_and_standby_are_refused() -> None:
    made = table((JAW,), (OPEN,), bindings=(BindingRecord(2, 0, False),), enable_interval=5)
    player = Player(made)
    player.trigger(1)
    player.button(2, True)
    player.button(2, False)
    player.button(3, True)
    player.standby()
    player.frame()
    assert (player.refused, player.live_runs) == (3, 0)


def test_stop_and_limp_make_limp_while_starting() -> None:
    for action in ("stop", "limp"):
        player = Player(table((JAW,), (OPEN,), enable_interval=5))
        player.frame()
        getattr(player, action)()
        assert player.frame().pulses == (0,)
        assert player.mode == ReportedMode.LIMP


def test_bytes_that_are_no_table_make_no_player() -> None:
    with pytest.raises(TableError):
        Player(b"\xbc\x01")


# -- triggers and buttons ----------------------------------------------------------------------


def test_a_trigger_moves_the_part_in_the_first_frame_after_it() -> None:
    player = ready(table((JAW,), (OPEN,)))
    player.trigger(1)
    assert player.frame().pulses[0] > SAFE_TICKS


def test_an_unknown_tag_does_nothing() -> None:
    player = ready(table((JAW,), (OPEN,)))
    player.trigger(99)
    assert player.frame().pulses == (SAFE_TICKS,)
    assert (player.refused, player.live_runs) == (0, 0)


def test_a_button_starts_every_cue_bound_to_it() -> None:
    bindings = (BindingRecord(4, 0, False), BindingRecord(4, 1, False))
    player = ready(table((JAW, LAMP), (OPEN, (ActOp(1, 200, 0),)), uses=(1, 2), bindings=bindings))
    player.button(4, True)
    player.frame()
    assert player.running_cues == 0b01  # the second cue took no time
    assert player.frame().duties == (65535,)


def test_a_cue_repeats_while_its_button_is_held() -> None:
    made = table((JAW,), ((*OPEN, *SHUT),), bindings=(BindingRecord(1, 0, True),))
    player = ready(made)
    player.button(1, True)
    play(player, 100)
    assert player.live_runs == 1
    player.button(1, False)
    play(player, 40)
    assert player.live_runs == 0


def test_a_cue_that_takes_no_time_restarts_at_most_once_a_frame() -> None:
    made = table((SWITCH,), ((Turn(0, True),),), bindings=(BindingRecord(1, 0, True),))
    player = ready(made)
    player.button(1, True)
    play(player, 50)
    assert (player.live_runs, player.overruns) == (1, 0)


def test_a_trigger_is_never_held() -> None:
    player = ready(table((JAW,), ((Loop(LOOP_HELD), *OPEN, *SHUT, LoopBack()),)))
    player.trigger(1)
    play(player, 41)
    assert player.live_runs == 0


def test_a_loop_runs_at_least_once_and_ends_after_the_pass_in_which_the_button_rises() -> None:
    made = table(
        (JAW,),
        ((Loop(LOOP_HELD), *OPEN, *SHUT, LoopBack()),),
        bindings=(BindingRecord(1, 0, False),),
    )
    player = ready(made)
    player.button(1, True)
    player.button(1, False)
    play(player, 40)
    assert player.live_runs == 0
    player.button(1, True)
    play(player, 50)
    player.button(1, False)
    play(player, 30)
    assert player.live_runs == 0


def test_a_new_press_does_not_hold_what_an_old_one_started() -> None:
    made = table(
        (JAW, LAMP),
        ((Loop(LOOP_HELD), *OPEN, *SHUT, LoopBack()), (Delay(10),)),
        uses=(1, 2),
        bindings=(BindingRecord(1, 0, False),),
        conflicts=(REFUSE, TAKE),
    )
    player = ready(made)
    player.button(1, True)
    play(player, 5)
    player.button(1, False)
    player.button(1, True)
    play(player, 45)
    assert player.live_runs == 0


# -- ownership ---------------------------------------------------------------------------------


def test_a_cue_takes_its_outputs_and_leaves_the_others_going() -> None:
    both = (
        ActOp(0, 6500, 400),
        ActOp(1, 4000, 400, True),
        ActOp(0, 1000, 400),
        ActOp(1, -4000, 400, True),
    )
    player = ready(table((JAW, FIN), (both, SHUT), uses=(0b11, 0b01)))
    player.trigger(1)
    play(player, 5)
    player.trigger(2)
    frames = play(player, 45)
    assert frames[-1].pulses == (2044, 3889)  # 10 deg of the jaw, -40 deg of the reversed fin
    assert player.running_cues == 0


def test_a_cue_that_loses_its_last_output_ends() -> None:
    player = ready(table((JAW,), (OPEN, SHUT)))
    player.trigger(1)
    player.frame()
    player.trigger(2)
    player.frame()
    assert player.running_cues == 0b10


def test_a_cue_that_waits_starts_when_its_outputs_are_free() -> None:
    player = ready(table((JAW,), (OPEN, SHUT), conflicts=(TAKE, WAIT)))
    player.trigger(1)
    play(player, 3)
    player.trigger(2)
    play(player, 10)
    assert player.running_cues == 0b01
    play(player, 8)
    assert player.running_cues == 0b10
    assert player.refused == 0


def test_a_waiting_cue_is_held_only_if_its_button_still_is() -> None:
    looping = (Loop(LOOP_HELD), *SHUT, *OPEN, LoopBack())
    made = table(
        (JAW,), (OPEN, looping), conflicts=(TAKE, WAIT), bindings=(BindingRecord(1, 1, False),)
    )
    for held, alive in ((True, 1), (False, 0)):
        player = ready(made)
        player.trigger(1)
        player.frame()
        player.button(1, True)
        player.frame()
        if not held:
            player.button(1, False)
        play(player, 70)
        assert player.live_runs == alive


def test_a_refusing_cue_is_counted_and_changes_nothing() -> None:
    player = ready(table((JAW,), (OPEN, SHUT), conflicts=(TAKE, REFUSE)))
    player.trigger(1)
    play(player, 3)
    player.trigger(2)
    play(player, 3)
    assert (player.running_cues, player.refused) == (0b01, 1)


def test_a_strand_goes_on_beside_cues_and_never_stands_in_the_way() -> None:
    idle = (Loop(LOOP_FOREVER), *OPEN, *SHUT, LoopBack())
    player = ready(
        table((JAW, LAMP), (idle, OPEN, (Delay(500),)), (TAKE, REFUSE, TAKE), strands=(0,))
    )
    player.frame()
    assert player.running_cues == 0b001
    player.trigger(2)
    player.frame()
    assert (player.running_cues, player.refused) == (0b011, 0)
    play(player, 60)
    assert player.running_cues == 0b001
    player.trigger(3)
    player.frame()
    assert player.running_cues == 0b101


def test_a_ninth_run_and_an_eleventh_thread_are_refused() -> None:
    player = ready(table((JAW,), ((Delay(5000),),), uses=(0,)))
    for _ in range(9):
        player.trigger(1)
    player.frame()
    assert (player.live_runs, player.refused) == (8, 1)
    player = ready(table((JAW,), ((Delay(5000),),), uses=(0,), reserved=(5,)))
    for _ in range(3):
        player.trigger(1)
    player.frame()
    assert (player.live_runs, player.refused) == (2, 1)


def test_a_cue_taken_over_ends_only_if_the_other_can_start() -> None:
    made = table(
        (JAW, FIN),
        (OPEN, SHUT, (Delay(5000),)),
        uses=(0b01, 0b01, 0b00),
        reserved=(1, 10, 5),
    )
    player = ready(made)
    player.trigger(1)
    player.trigger(3)
    player.frame()
    player.trigger(2)
    player.frame()
    assert (player.running_cues, player.refused) == (0b101, 1)


def test_a_stretched_move_delays_what_follows_in_its_thread() -> None:
    slow = replace(JAW, speed_limit=100)
    twice = (ActOp(0, 8000, 100, True), Turn(1, True), ActOp(0, 0, 100, True))
    player = ready(table((slow, SWITCH), (twice,)))
    player.trigger(1)
    frames = play(player, 130)
    assert frames[6].switches == (True,)  # the switch does not wait for the servo
    peak = max(frame.pulses[0] for frame in frames)
    assert peak == 2900 + 1011  # 80 deg, reached before the next move starts
    assert frames[-1].pulses[0] == 1800


# -- threads -----------------------------------------------------------------------------------


def test_a_fork_runs_beside_its_thread_and_the_cue_ends_with_the_longer() -> None:
    made = table(
        (JAW, FIN), ((ForkTo(1), *OPEN), (ActOp(1, 4000, 1000, True),)), uses=(3,), reserved=(2,)
    )
    player = ready(made)
    player.trigger(1)
    play(player, 45)
    assert player.live_runs == 1
    play(player, 6)
    assert player.live_runs == 0


def test_a_fork_without_a_free_thread_tries_again() -> None:
    made = table(
        (JAW, SWITCH),
        ((ForkTo(1), ForkTo(2), *OPEN), (Delay(100),), (Turn(1, True),)),
        uses=(3,),
        reserved=(2,),
    )
    player = ready(made)
    player.trigger(1)
    frames = play(player, 10)
    # it tries every 20 ms; when the other thread ends, at 80 ms, the lower number goes first
    assert [frame.switches[0] for frame in frames].index(True) == 5


def test_a_thread_goes_on_in_another_without_losing_time() -> None:
    straight = table((JAW,), ((*OPEN, *SHUT),))
    parted = table((JAW,), ((*OPEN, GoOnTo(1)), SHUT), uses=(1,))
    rows = []
    for made in (straight, parted):
        player = ready(made)
        player.trigger(1)
        rows.append([frame.raw for frame in play(player, 60)])
    assert rows[0] == rows[1]


def test_more_ops_than_a_frame_holds_are_counted_and_go_on_later() -> None:
    player = ready(table((LAMP,), (tuple(ActOp(0, n % 200, 0) for n in range(150)),)))
    player.trigger(1)
    player.frame()
    assert (player.overruns, player.live_runs) == (1, 1)
    play(player, 2)
    assert (player.overruns, player.live_runs) == (2, 0)


# -- stop, limp, standby -----------------------------------------------------------------------


def test_stop_moves_to_the_safe_angle_and_then_releases_the_servos() -> None:
    player = ready(table((JAW,), (OPEN,), stop_time=20))
    player.trigger(1)
    play(player, 10)
    player.stop()
    frames = play(player, 25)
    pulses = [frame.pulses[0] for frame in frames]
    end = pulses.index(0)
    assert 17 <= end <= 21
    assert abs(pulses[end - 1] - SAFE_TICKS) < 20
    assert pulses[end:] == [0] * (25 - end)
    assert player.mode == ReportedMode.LIMP


def test_a_second_stop_makes_limp_at_once() -> None:
    player = ready(table((JAW,), (OPEN,), stop_button=7))
    player.trigger(1)
    play(player, 10)
    player.button(7, True)
    player.frame()
    assert player.mode == ReportedMode.STOPPING
    player.button(7, True)
    assert player.frame().pulses == (0,)


def test_stop_ends_runs_waits_effects_and_switches() -> None:
    made = table(
        (JAW, LAMP, SWITCH),
        ((Turn(2, True), Modulate(1, 4, 400, 200, 1, 1), ActOp(1, 200, 0), *OPEN), SHUT),
        conflicts=(TAKE, WAIT),
        stop_time=20,
    )
    player = ready(made)
    player.trigger(1)
    player.trigger(2)
    play(player, 5)
    player.stop()
    frame = player.frame()
    assert (player.live_runs, frame.switches) == (0, (False,))
    duties = [one.duties[0] for one in play(player, 40)]
    assert duties == sorted(duties, reverse=True)  # a fade to the safe level, without the effect
    assert duties[-1] == duty_of(lightness_of(40 << 8))  # L* 20
    assert player.running_cues == 0


def test_lights_go_on_in_limp() -> None:
    player = ready(table((JAW, LAMP), ((ActOp(1, 200, 2000), Delay(2000)),)))
    player.trigger(1)
    play(player, 10)
    player.limp()
    before = player.frame().duties[0]
    assert play(player, 120)[-1].duties[0] == 65535 > before


def test_only_standby_leaves_limp() -> None:
    player = ready(table((JAW, LAMP), (OPEN,), enable_interval=4))
    player.limp()
    player.frame()
    player.trigger(1)
    player.stop()
    player.limp()
    player.frame()
    assert (player.mode, player.refused) == (ReportedMode.LIMP, 1)
    player.standby()
    frame = player.frame()
    assert player.mode == ReportedMode.STARTING
    assert (frame.pulses[0], frame.duties) == (SAFE_TICKS, (0,))
    frames = play(player, 4)
    assert player.mode == ReportedMode.READY
    assert frames[-1].duties == (duty_of(lightness_of(40 << 8)),)


def test_standby_is_refused_in_every_other_mode() -> None:
    player = ready(table((JAW,), (OPEN,)))
    player.standby()
    player.frame()
    assert (player.mode, player.refused) == (ReportedMode.READY, 1)


def test_a_button_held_through_limp_is_still_down_afterwards() -> None:
    looping = (Loop(LOOP_HELD), Delay(100), LoopBack())
    made = table(
        (JAW,), (looping, OPEN), conflicts=(WAIT, TAKE), bindings=(BindingRecord(1, 0, False),)
    )
    player = ready(made)
    player.limp()
    player.button(1, True)
    player.standby()
    play(player, 5)
    assert (player.mode, player.live_runs) == (ReportedMode.READY, 0)
    player.button(1, True)
    play(player, 50)
    assert player.live_runs == 1


# -- the lost remote ---------------------------------------------------------------------------


def test_the_lost_cue_starts_once_after_the_silence_and_again_after_the_next() -> None:
    player = ready(table((JAW, LAMP), (OPEN, SHUT), lost=0, lost_time=3))
    play(player, 60)
    assert player.live_runs == 0  # nothing was ever heard
    for _ in range(2):
        player.heard()
        frames_until = 0
        while not player.live_runs:
            player.frame()
            frames_until += 1
        assert frames_until == 1 + 15  # the frame in which it was heard, then 300 ms
        play(player, 60)
        assert player.live_runs == 0


def test_a_lost_cue_that_is_refused_tries_again() -> None:
    made = table(
        (JAW, FIN), (OPEN, (ActOp(0, 500, 1000, True),)), (REFUSE, TAKE), lost=0, lost_time=1
    )
    player = ready(made)
    player.heard()
    player.trigger(2)
    play(player, 60)
    assert player.running_cues == 0b01
    assert player.refused > 10


def test_requests_act_in_the_order_of_their_arrival() -> None:
    player = ready(table((JAW,), (OPEN, SHUT)))
    player.trigger(1)
    player.stop()
    player.trigger(2)
    player.frame()
    assert (player.mode, player.refused, player.live_runs) == (ReportedMode.STOPPING, 1, 0)


def test_strips_and_lamps_jump_to_their_safe_light_when_ready() -> None:
    strip = replace(STRIP, safe=1, pixels=2)
    player = Player(table((JAW, strip, LAMP), (OPEN,)))
    frames = play(player, 4)
    assert [frame.strips[0] for frame in frames] == [bytes(6)] * 2 + [b"\xff" * 6] * 2
