"""What a button's downs and ups come to (TABLE.md, section 8): three players, and by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings

from firmware_gen.chips.atmega328p import CHIP as SMALL
from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.crc import crc16
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode, encode_with_places
from firmware_gen.table.layout import FOLLOWS, LEADS, TableError
from firmware_gen.table.ops import ActOp, Delay, Loop, LoopBack
from firmware_gen.table.records import (
    BindingRecord,
    CueRecord,
    LampRecord,
    PatienceRecord,
    Table,
)
from sim.rulebook import STUCK_FRAMES, TWICE_FRAMES
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available
from tests.firmware_gen.make_vectors import code_of
from tests.firmware_gen.random_tables import (
    Request,
    dices,
    random_requests,
    random_table,
    with_presses,
)
from tests.firmware_gen.second_presses import SecondPlayerWithSenses
from tests.firmware_gen.test_following import asked

needs_compiler = pytest.mark.skipif(not available(), reason="there is no C compiler")

WAVE, DANCE, ROAR, BOW, GLOW, HUM = range(6)
"""Cues by number: each lights a lamp of its own for ten frames; GLOW until it is let go, and HUM
for ever."""
PRESS = 7
LONG = 40


def show(*bindings: BindingRecord, patience: Sequence[PatienceRecord] = ()) -> Table:
    pins = ("PB4", "PB7", "PE3", "PE4", "PE5", "PG5")
    flash = tuple((ActOp(n, 200, 0), Delay(200), ActOp(n, 0, 0)) for n in range(4))
    glow = (ActOp(GLOW, 200, 0), Loop(65535), Delay(20), LoopBack(), ActOp(GLOW, 0, 0))
    hum = (Loop(0), ActOp(HUM, 200, 100, True), ActOp(HUM, 50, 100, True), LoopBack())
    return Table(
        *(CHIP.chip_id, 1),
        outputs=tuple(LampRecord(CHIP.pin(pin), 0) for pin in pins),
        cues=tuple(CueRecord(100 + n, 1 << n, 0, 1, n) for n in range(6)),
        threads=(*flash, glow, hum),
        bindings=bindings,
        senses=tuple(patience),
        enable_interval=0,
    )


def played(table: Table, presses: dict[int, bool], frames: int = 120) -> list[int]:
    """Masks of the cues that run after each frame; in the core as in the reference."""
    player = Player(table)
    core = ApartPlayer(table) if available() else None
    found = []
    for number in range(frames):
        if number in presses:
            player.button(PRESS, presses[number])
        player.frame()
        found.append(player.running_cues)
        if core is not None:
            if number in presses:
                core.button(PRESS, presses[number])
            core.frame()
            assert core.end[2] == found[-1], f"frame {number}"
    return found


def starts(masks: Sequence[int]) -> list[tuple[int, int]]:
    """Frame and cue of each start."""
    return [
        (frame, cue)
        for frame, (before, after) in enumerate(pairwise(masks), 1)
        for cue in range(6)
        if after >> cue & 1 > before >> cue & 1
    ]


ALL = show(
    BindingRecord(PRESS, WAVE, False),
    BindingRecord(PRESS, ROAR, False, "long"),
    BindingRecord(PRESS, DANCE, False, "twice"),
    BindingRecord(PRESS, BOW, False, "up"),
    patience=[PatienceRecord(PRESS, LONG, True)],
)


def test_a_short_press_waits_until_no_second_one_can_come() -> None:
    assert starts(played(ALL, {10: True, 14: False})) == [(14, BOW), (10 + TWICE_FRAMES, WAVE)]


def test_a_second_press_within_the_time_is_a_double_press_and_no_single_one() -> None:
    at = 10 + TWICE_FRAMES - 1
    found = starts(played(ALL, {10: True, 14: False, at: True, at + 20: False}))
    assert found == [(14, BOW), (at, DANCE), (at + 20, BOW)]


def test_a_second_press_after_the_time_is_another_press() -> None:
    at = 10 + TWICE_FRAMES + 1
    found = starts(played(ALL, {10: True, 14: False, at: True, at + 2: False}))
    assert (10 + TWICE_FRAMES, WAVE) in found
    assert (at + TWICE_FRAMES, WAVE) in found
    assert not [cue for _, cue in found if cue == DANCE]


@pytest.mark.parametrize(("held", "cue"), [(LONG - 1, WAVE), (LONG, WAVE), (LONG + 1, ROAR)])
def test_a_press_is_long_from_its_time_on_and_short_before(held: int, cue: int) -> None:
    found = starts(played(ALL, {10: True, 10 + held: False}))
    expected = 10 + LONG if cue == ROAR else 10 + held
    assert [one for one in found if one[1] != BOW] == [(expected, cue)]


def test_a_long_press_holds_its_cue_until_the_button_goes_up() -> None:
    table = show(
        BindingRecord(PRESS, GLOW, False, "long"), patience=[PatienceRecord(PRESS, 5, False)]
    )
    masks = played(table, {10: True, 60: False})
    running = [frame for frame, mask in enumerate(masks) if mask]
    assert running[0] == 15
    assert running[-1] in range(59, 63)


def test_a_toggled_cue_goes_on_until_the_button_is_pressed_again() -> None:
    table = show(BindingRecord(PRESS, GLOW, False, manner="toggle"))
    masks = played(table, {10: True, 12: False, 70: True, 72: False, 90: True, 91: False})
    running = [frame for frame, mask in enumerate(masks) if mask]
    assert running == [*range(10, running[running.index(90) - 1] + 1), *range(90, 120)]
    assert running[running.index(90) - 1] in range(69, 73)


def test_a_toggled_cue_without_an_end_ends_with_the_second_press() -> None:
    table = show(BindingRecord(PRESS, HUM, False, manner="toggle", ends=True))
    masks = played(table, {10: True, 12: False, 50: True, 52: False})
    assert [frame for frame, mask in enumerate(masks) if mask] == [*range(10, 50)]


def test_a_list_gives_its_cues_in_turn_and_begins_anew_behind_the_last() -> None:
    row = (DANCE, WAVE, ROAR)
    table = show(*(BindingRecord(PRESS, cue, False, manner="next") for cue in row))
    downs = range(10, 10 + 5 * 15, 15)
    presses = {frame + up: not up for frame in downs for up in (0, 1)}
    assert starts(played(table, presses)) == [
        (frame, row[n % len(row)]) for n, frame in enumerate(downs)
    ]


def test_a_cue_of_a_list_that_is_refused_comes_next_again() -> None:
    table = show(*(BindingRecord(PRESS, cue, False, manner="next") for cue in (WAVE, ROAR)))
    busy = (replace(table.cues[WAVE], conflict=2), *table.cues[1:])
    player = Player(replace(table, cues=busy))
    player.frame()
    player.trigger(100)
    player.button(PRESS, True)
    player.frame()
    assert (player.refused, player.running_cues) == (1, 1 << WAVE)
    for _ in range(15):
        player.frame()
    player.button(PRESS, False)
    player.button(PRESS, True)
    player.frame()
    assert player.running_cues == 1 << WAVE


def test_a_stop_and_a_quiet_start_forget_presses_and_the_place_in_a_list() -> None:
    row = tuple(BindingRecord(PRESS, cue, False, manner="next") for cue in (WAVE, ROAR))
    player = Player(
        show(*row, BindingRecord(8, BOW, False, "long"), patience=[PatienceRecord(8, 40, False)])
    )
    player.frame()
    player.button(PRESS, True)
    player.button(8, True)
    player.frame()
    player.stop()
    for _ in range(3):
        player.frame()
    player.standby()
    for _ in range(60):
        player.frame()
        assert player.running_cues == 0  # the button that is still down starts nothing
    player.button(PRESS, False)
    player.button(PRESS, True)
    player.frame()
    assert player.running_cues == 1 << WAVE


def test_a_second_down_without_an_up_does_not_put_off_that_a_button_is_stuck() -> None:
    player = Player(show(BindingRecord(PRESS, GLOW, True)))
    player.frame()
    player.button(PRESS, True)
    for _ in range(STUCK_FRAMES // 2):
        player.frame()
    player.button(PRESS, True)
    for _ in range(STUCK_FRAMES - STUCK_FRAMES // 2):
        player.frame()
    assert player.stuck == 1 << PRESS


def test_a_stuck_button_does_not_keep_the_stop_button_from_stopping_and_is_told() -> None:
    table = replace(show(BindingRecord(PRESS, GLOW, True)), stop_button=9)
    player = Player(table)
    player.frame()
    player.button(PRESS, True)
    for _ in range(STUCK_FRAMES - 1):
        player.frame()
    assert player.stuck == 0
    player.frame()
    assert player.stuck == 1 << PRESS
    player.button(9, True)
    player.frame()
    assert player.mode.name in ("STOPPING", "LIMP")
    player.button(PRESS, False)
    player.frame()
    assert player.stuck == 0


# -- the core and the second player ---------------------------------------------------------------


def made(dice: Random) -> tuple[Table, list[Request]]:
    table = with_presses(dice, replace(random_table(dice, CHIP), lost=None))
    requests = random_requests(dice, table, 300)
    return table, requests


@needs_compiler
@pytest.mark.parametrize("seed", range(24))
def test_the_core_hears_presses_as_the_reference_does(seed: int) -> None:
    dice = Random(seed)
    table, requests = made(dice)
    table = replace(table, role=(0, LEADS, 0, FOLLOWS)[seed % 4])
    reference, core = Player(table), ApartPlayer(table)
    tags = {cue.tag for cue in table.cues}
    for number in range(300):
        for at, kind, first, second in requests:
            if at == number and (kind != "trigger" or first in tags):
                asked(reference, kind, first, second)
                asked(core, kind, first, second)
        assert reference.frame().raw == core.frame(), f"frame {number}"
        assert core.end[1:4] == [reference.live_runs, reference.running_cues, reference.refused]
        assert core.lib.host_stuck() == reference.stuck


@given(dices())
@settings(max_examples=30, deadline=None)
def test_the_second_player_hears_presses_as_the_reference_does(dice: Random) -> None:
    table, requests = made(dice)
    tags = {cue.tag for cue in table.cues}
    reference, second = Player(table), SecondPlayerWithSenses(encode(table))
    for number in range(200):
        now = [
            one[1:]
            for one in requests
            if one[0] == number and (one[1] != "trigger" or one[2] in tags)
        ]
        for one in now:
            asked(reference, *one)
        widths = [0] * len(second.channels)
        assert reference.frame().raw == second.frame(now, widths), f"frame {number}"
        assert reference.refused == second.refused


@needs_compiler
@given(dices())
@settings(max_examples=60, deadline=None)
def test_the_core_refuses_what_the_reference_refuses(dice: Random) -> None:
    table = with_presses(dice, random_table(dice, CHIP))
    made = encode_with_places(table)
    core = ApartPlayer(show())
    places = [23] + [
        place for name in ("bindings", "senses") for place in range(*made.sections[name])
    ]
    for _ in range(20):
        spoilt = bytearray(made.data)
        spoilt[dice.choice(places)] = dice.choice(
            (0, 1, 2, 3, 31, 32, 96, 250, dice.randrange(256))
        )
        spoilt[-2:] = crc16(bytes(spoilt[:-2])).to_bytes(2, "little")
        assert core.lib.host_check(bytes(spoilt), len(spoilt)) == code_of(bytes(spoilt))


def test_a_chip_without_senses_refuses_what_it_cannot_do() -> None:
    plain = replace(show(), chip=SMALL.chip_id, outputs=(), cues=(), threads=(), bindings=())
    assert decode(encode(plain)) == plain
    with pytest.raises(TableError) as caught:
        encode(replace(plain, senses=(PatienceRecord(1, 3, False),)))
    assert caught.value.code == 7
