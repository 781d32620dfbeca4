"""Strips that show the level of a lamp (TABLE.md, section 13): three players, what is refused."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings

from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.crc import crc16
from firmware_gen.player.bar import coverings
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode, encode_with_places
from firmware_gen.table.layout import BAD_RECORD, TableError
from firmware_gen.table.ops import ActOp, Delay
from firmware_gen.table.records import BarRecord, ChannelRecord, LampRecord, StripRecord, Table
from sim.rulebook import BAR_ENDS
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available
from tests.firmware_gen.make_vectors import code_of
from tests.firmware_gen.random_tables import (
    Request,
    dices,
    random_requests,
    random_table,
    with_bars,
    with_presses,
    with_shines,
)
from tests.firmware_gen.second_presses import SecondPlayerWithSenses
from tests.firmware_gen.tables_by_hand import table
from tests.firmware_gen.test_following import asked

needs_compiler = pytest.mark.skipif(not available(), reason="there is no C compiler")

LAMP, STRIP, FILL = 0, 1, 1
PIXELS = 4


def show(end: int = 0, safe: int = 0, cap: int = 0) -> Table:
    """A lamp, and a strip of four white pixels that shows it."""
    made = table(
        (LampRecord(CHIP.pin("PE3"), safe), StripRecord(CHIP.pin("PB0"), PIXELS, 0, cap, 0)),
        ((ActOp(LAMP, 200, 2000, wait=True), Delay(500)),),
        uses=(1 << LAMP,),
        colours=((200, 200, 200),),
    )
    return replace(made, chip=CHIP.chip_id, senses=(BarRecord(STRIP, LAMP, end),))


def rows(made: Table, frames: int, trigger: int | None = None) -> list[list[int]]:
    """The first byte of each pixel, by frame."""
    player = Player(made)
    found = []
    for number in range(frames):
        if number == trigger:
            asked(player, "trigger", FILL, 0)
        found.append(list(player.frame().strips[0][::3]))
    return found


@pytest.mark.parametrize(
    ("end", "lit"),
    # 62.5 % of four pixels: two and a half; about the middle a quarter of each outer one
    [(0, [255, 255, 127, 0]), (1, [0, 127, 255, 255]), (2, [63, 255, 255, 63])],
)
def test_as_much_is_lit_as_the_lamp_s_level_says(end: int, lit: list[int]) -> None:
    assert rows(show(end, safe=125), 30)[-1] == lit


@needs_compiler
@pytest.mark.parametrize("end", range(len(BAR_ENDS)))
@pytest.mark.parametrize("cap", [0, 6])
def test_the_core_lights_as_much_from_each_end(end: int, cap: int) -> None:
    reference, core = Player(show(end, cap=cap)), ApartPlayer(show(end, cap=cap))
    for number in range(160):
        if number == 20:
            reference.trigger(FILL)
            core.trigger(FILL)
        assert reference.frame().raw == core.frame(), f"frame {number}"


@pytest.mark.parametrize("end", range(len(BAR_ENDS)))
def test_a_level_that_rises_evenly_lights_pixel_after_pixel_and_none_at_once(end: int) -> None:
    shown = rows(show(end), 200, trigger=20)
    assert set(shown[19]) == {0}
    assert set(shown[-1]) == {255}
    sums = [sum(row) for row in shown]
    assert sums == sorted(sums)
    # 2 s are a hundred frames: in each a hundredth of the bytes of four pixels, rounded
    assert max(b - a for a, b in pairwise(sums)) <= 13


def test_the_cap_counts_what_the_bar_lights() -> None:
    whole = rows(show(safe=200, cap=6), 30)[-1]
    half = rows(show(safe=100, cap=6), 30)[-1]
    assert 0 < sum(whole) * 3 <= 6 * 256
    assert half == [255, 255, 0, 0]


@pytest.mark.parametrize("pixels", [1, 2, 7, 100])
@pytest.mark.parametrize("end", range(len(BAR_ENDS)))
def test_a_bar_covers_what_its_level_says_and_never_more_than_a_pixel(
    pixels: int, end: int
) -> None:
    for level in (0, 1, 255, 25_599, 25_600, 51_199, 51_200):
        shares = list(coverings(level, pixels, end))
        assert sum(shares) == level * pixels // 200
        assert all(0 <= share <= 256 for share in shares)


# -- three players --------------------------------------------------------------------------------


def made(dice: Random) -> tuple[Table, list[Request]]:
    found = replace(random_table(dice, CHIP), lost=None)
    found = with_bars(dice, with_shines(dice, with_presses(dice, found)))
    return found, random_requests(dice, found, 300)


@needs_compiler
@pytest.mark.parametrize("seed", range(30))
def test_the_core_shows_levels_as_the_reference_does(seed: int) -> None:
    found, requests = made(Random(seed))
    reference, core = Player(found), ApartPlayer(found)
    channels = sum(isinstance(one, ChannelRecord) for one in found.senses)
    tags = {cue.tag for cue in found.cues}
    for number in range(250):
        for at, kind, first, second in requests:
            if at == number and (kind != "trigger" or first in tags):
                asked(reference, kind, first, second)
                asked(core, kind, first, second)
        for channel in range(channels):
            width = 3000 + 1400 * ((number // 40 + channel) % 3 - 1)
            reference.channel(channel, width)
            core.channel(channel, width)
        assert reference.frame().raw == core.frame(), f"frame {number}"


@given(dices())
@settings(max_examples=30, deadline=None)
def test_the_second_player_shows_levels_as_the_reference_does(dice: Random) -> None:
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
        assert reference.frame().raw == second.frame(now, [0] * len(second.channels))


# -- what is refused ------------------------------------------------------------------------------


def test_a_table_comes_back_as_it_was() -> None:
    assert decode(encode(show(2))) == show(2)


@pytest.mark.parametrize(
    ("place", "value"), [(1, LAMP), (1, 2), (2, STRIP), (2, 2), (3, len(BAR_ENDS))]
)
def test_a_record_that_makes_no_sense_is_refused(place: int, value: int) -> None:
    data = bytearray(encode(show()))
    data[encode_with_places(show()).sections["senses"][0] + place] = value
    data[-2:] = crc16(bytes(data[:-2])).to_bytes(2, "little")
    with pytest.raises(TableError) as caught:
        decode(bytes(data))
    assert caught.value.code == BAD_RECORD


def test_a_strip_shows_one_level_only() -> None:
    with pytest.raises(TableError, match="already"):
        decode(encode(replace(show(), senses=show().senses * 2)))


@needs_compiler
@given(dices())
@settings(max_examples=40, deadline=None)
def test_the_core_refuses_what_the_reference_refuses(dice: Random) -> None:
    found = with_bars(dice, random_table(dice, CHIP))
    placed = encode_with_places(found)
    core = ApartPlayer(show())
    places = [*range(*placed.sections["senses"])] or [23]
    for _ in range(20):
        spoilt = bytearray(placed.data)
        spoilt[dice.choice(places)] = dice.choice((0, 1, 2, 3, 10, 127, 200, dice.randrange(256)))
        spoilt[-2:] = crc16(bytes(spoilt[:-2])).to_bytes(2, "little")
        assert core.lib.host_check(bytes(spoilt), len(spoilt)) == code_of(bytes(spoilt))
