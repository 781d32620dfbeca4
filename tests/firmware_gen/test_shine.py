"""Lamps as bright as a move goes (TABLE.md, section 12): three players, and what must never pop."""

from __future__ import annotations

import struct
from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings

from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.crc import crc16
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode, encode_with_places
from firmware_gen.table.layout import BAD_RECORD, FOLLOWS, LEADS, TableError
from firmware_gen.table.lightness import duty_of, lightness_of
from firmware_gen.table.ops import ActOp, Delay, TableOp
from firmware_gen.table.records import (
    ChannelRecord,
    LampRecord,
    LawRecord,
    ShineRecord,
    Table,
)
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available
from tests.firmware_gen.make_vectors import code_of
from tests.firmware_gen.random_tables import (
    Request,
    dices,
    random_requests,
    random_table,
    with_presses,
    with_shines,
    with_watch,
)
from tests.firmware_gen.second_presses import SecondPlayerWithSenses
from tests.firmware_gen.tables_by_hand import servo, table
from tests.firmware_gen.test_following import asked

needs_compiler = pytest.mark.skipif(not available(), reason="there is no C compiler")

JAW, EYE = 0, 1
BY_ANGLE = ShineRecord(EYE, JAW, by_speed=False, low=2000, high=6000, low_level=20, high_level=160)
BY_SPEED = replace(BY_ANGLE, by_speed=True, low=10, high=90)
OPEN, SHUT, BLINK, DARK = 1, 2, 3, 4
"""Tags of the cues below."""


def show(*shines: ShineRecord, glide: int = 20) -> Table:
    """A jaw that rests at 20 deg, and an eye."""

    def jaw_to(angle: int, ms: int) -> tuple[TableOp, ...]:
        return (ActOp(JAW, angle, ms, wait=True),)

    made = table(
        (replace(servo(CHIP.pin("PB5")), safe=2000), LampRecord(CHIP.pin("PE3"), 40)),
        (
            jaw_to(6000, 1000),
            jaw_to(2000, 1000),
            (ActOp(EYE, 100, 500, wait=True), Delay(1000)),
            (ActOp(EYE, 0, 0), Delay(1000)),
        ),
        uses=(1 << JAW, 1 << JAW, 1 << EYE, 1 << EYE),
        laws=(LawRecord(5),),
        glide=glide,
    )
    return replace(made, chip=CHIP.chip_id, senses=shines)


def duty_at(level: float) -> int:
    """The lamp's duty at a level in half percents."""
    return duty_of(lightness_of(round(256 * level)))


def duties(made: Table, frames: int, presses: dict[int, tuple[str, int]]) -> list[int]:
    """The lamp's duty in each frame; `presses`: what is asked in a frame."""
    player = Player(made)
    found = []
    for number in range(frames):
        if number in presses:
            kind, tag = presses[number]
            asked(player, kind, tag, 0)
        found.append(player.frame().duties[0])
    return found


def test_a_lamp_goes_from_its_safe_light_to_its_move_over_the_glide_time() -> None:
    shown = duties(show(BY_ANGLE), 100, {})
    lit = next(n for n, duty in enumerate(shown) if duty)
    assert shown[lit] == duty_at(40)
    assert shown[lit + 10] == duty_at(30)
    assert shown[lit + 20 :] == [duty_at(20)] * (100 - lit - 20)


def test_a_lamp_shines_by_where_its_servo_is() -> None:
    shown = duties(show(BY_ANGLE), 200, {100: ("trigger", OPEN)})
    assert shown[100 + 24] == pytest.approx(duty_at(90), rel=0.02)  # half way
    assert shown[-1] == duty_at(160)
    assert all(a <= b for a, b in pairwise(shown[100:]))


def test_a_lamp_shines_by_how_fast_its_servo_moves_either_way() -> None:
    """60 % of 75 deg/s: minimum jerk has its top speed, 1.875 of the mean, in the middle."""
    shown = duties(show(BY_SPEED), 300, {100: ("trigger", OPEN), 200: ("trigger", SHUT)})
    top = 20 + 140 * (1.875 * 40 - 10) / 80
    assert shown[100 + 24] == pytest.approx(duty_at(top), rel=0.02)
    assert shown[100 + 24] == shown[200 + 24]
    assert shown[99] == shown[160] == shown[299] == duty_at(20)


def test_a_cue_takes_the_lamp_from_what_is_seen_and_gives_it_back_over_the_glide_time() -> None:
    shown = duties(show(BY_ANGLE), 400, {100: ("trigger", OPEN), 200: ("trigger", BLINK)})
    assert shown[199] == duty_at(160)
    assert shown[200] == pytest.approx(duty_at(160 - 60 * 20 / 500), rel=0.02)
    assert shown[225:270] == [duty_at(100)] * 45
    assert shown[-1] == duty_at(160)
    assert max(abs(a - b) for a, b in pairwise(shown[198:])) < 3000


def test_a_cut_is_at_once_even_where_the_lamp_shone_with_a_move() -> None:
    shown = duties(show(BY_ANGLE), 210, {100: ("trigger", OPEN), 200: ("trigger", DARK)})
    assert shown[199:201] == [duty_at(160), 0]


def test_without_a_time_of_gliding_the_lamp_is_at_its_move_at_once() -> None:
    shown = duties(show(BY_ANGLE, glide=0), 60, {})
    assert set(shown) == {0, duty_at(20)}


def test_a_stop_fades_to_the_safe_light_from_what_is_seen_and_limp_leaves_it_there() -> None:
    shown = duties(show(BY_ANGLE), 500, {100: ("trigger", OPEN), 200: ("stop", 0)})
    assert shown[199] == duty_at(160)
    assert shown[-1] == duty_at(40)
    assert max(abs(a - b) for a, b in pairwise(shown[198:])) < 3000


def test_a_lamp_that_goes_limp_with_its_servo_keeps_its_light() -> None:
    shown = duties(show(BY_ANGLE), 300, {100: ("trigger", OPEN), 200: ("limp", 0)})
    assert set(shown[199:]) == {duty_at(160)}


# -- three players --------------------------------------------------------------------------------


def made(dice: Random) -> tuple[Table, list[Request]]:
    found = with_shines(dice, with_presses(dice, replace(random_table(dice, CHIP), lost=None)))
    return found, random_requests(dice, found, 300)


@needs_compiler
@pytest.mark.parametrize("seed", range(40))
def test_the_core_shines_as_the_reference_does(seed: int) -> None:
    dice = Random(seed)
    found, requests = made(dice)
    found = replace(found, role=(0, LEADS, 0, FOLLOWS)[seed % 4])
    if seed % 2:  # by dice of its own: an empty battery stops the board, a low one starts a cue
        found = with_watch(Random(seed), found)
    reference, core = Player(found), ApartPlayer(found)
    channels = sum(isinstance(one, ChannelRecord) for one in found.senses)
    tags = {cue.tag for cue in found.cues}
    for number in range(300):
        for at, kind, first, second in requests:
            if at == number and (kind != "trigger" or first in tags):
                asked(reference, kind, first, second)
                asked(core, kind, first, second)
        for channel in range(channels):  # servos that lamps shine with may follow a stick
            width = 3000 + 1400 * ((number // 40 + channel) % 3 - 1)
            reference.channel(channel, width)
            core.channel(channel, width)
        reading = (740, 640, 580)[(number // 140 + seed // 2) % 3]
        reference.battery(reading)
        core.battery(reading)
        assert reference.frame().raw == core.frame(), f"frame {number}"


@given(dices())
@settings(max_examples=40, deadline=None)
def test_the_second_player_shines_as_the_reference_does(dice: Random) -> None:
    found, requests = made(dice)
    tags = {cue.tag for cue in found.cues}
    reference, second = Player(found), SecondPlayerWithSenses(encode(found))
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


def test_a_table_comes_back_as_it_was() -> None:
    assert decode(encode(show(BY_SPEED))) == show(BY_SPEED)


@pytest.mark.parametrize(
    "wrong",
    [
        {"lamp": JAW},
        {"servo": EYE},
        {"lamp": 2},
        {"servo": 2},
        {"high": 2000},
        {"by_speed": True, "low": -1},
        {"low_level": 201},
        {"high_level": 201},
    ],
)
def test_a_record_that_makes_no_sense_is_refused(wrong: dict[str, int]) -> None:
    data = bytearray(encode(show(BY_ANGLE)))
    at = encode_with_places(show(BY_ANGLE)).sections["senses"][0]
    record = replace(BY_ANGLE, **wrong)
    data[at + 1 : at + 9] = struct.pack(
        "<BBhhBB",
        *(record.lamp, record.servo | 128 * record.by_speed, record.low, record.high),
        *(record.low_level, record.high_level),
    )
    data[-2:] = crc16(bytes(data[:-2])).to_bytes(2, "little")
    with pytest.raises(TableError) as caught:
        decode(bytes(data))
    assert caught.value.code == BAD_RECORD


def test_a_lamp_shines_with_one_move_only() -> None:
    with pytest.raises(TableError, match="already"):
        decode(encode(show(BY_ANGLE, BY_SPEED)))


@needs_compiler
@given(dices())
@settings(max_examples=60, deadline=None)
def test_the_core_refuses_what_the_reference_refuses(dice: Random) -> None:
    found = with_shines(dice, random_table(dice, CHIP))
    placed = encode_with_places(found)
    core = ApartPlayer(show())
    places = [*range(*placed.sections["senses"])] or [23]
    for _ in range(20):
        spoilt = bytearray(placed.data)
        spoilt[dice.choice(places)] = dice.choice((0, 1, 8, 127, 128, 200, dice.randrange(256)))
        spoilt[-2:] = crc16(bytes(spoilt[:-2])).to_bytes(2, "little")
        assert core.lib.host_check(bytes(spoilt), len(spoilt)) == code_of(bytes(spoilt))


@needs_compiler
def test_a_lamp_shines_on_after_the_clock_has_come_round() -> None:
    """The player's time is a u32: some 4.6 hours."""
    core = ApartPlayer(show(BY_ANGLE))
    core.lib.host_set_clock(2**32 - 5120 * 60)
    core.start()
    shown = [core.frame()[2:4] for _ in range(200)]
    assert shown[50] == shown[199] == duty_at(20).to_bytes(2, "little")
