"""The limits of the watch of a battery (TABLE.md, section 11), one below, at and one above, worked
out by hand: the reference and the core."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.link.protocol import (
    BATTERY_BLIND,
    BATTERY_EMPTY,
    BATTERY_LOW,
    BATTERY_WATCHED,
    ReportedMode,
)
from firmware_gen.player.player import Player
from firmware_gen.table.ops import ActOp, Delay
from firmware_gen.table.records import CueRecord, LampRecord, ServoRecord, Table, WatchRecord
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available

needs_compiler = pytest.mark.skipif(not available(), reason="there is no C compiler")
both = pytest.mark.parametrize("make", [Player, pytest.param(ApartPlayer, marks=needs_compiler)])
Make = type[Player] | type[ApartPlayer]

WELL = 1000
WATCH = WatchRecord(CHIP.pin("PF1"), 1024, 900, 600, cue=0)
"""1024 mV are 1024 steps, so a step of the reading is a millivolt. Recovered from low at 900 and a
32nd of it, 928; from empty at 600 and a 32nd, 618. Below 300 the lead is off."""
TABLE = Table(
    *(CHIP.chip_id, 1),
    outputs=(LampRecord(CHIP.pin("PB4"), 0),),
    cues=(CueRecord(77, 1, 0, 1, 0),),
    threads=((ActOp(0, 200, 0), Delay(500), ActOp(0, 0, 0)),),
    senses=(WATCH,),
)
SERVOS = tuple(
    ServoRecord(CHIP.pin(f"PC{n}"), (0, 9000), 200, 900, 0, ((0, 1600), (9000, 4400)))
    for n in range(8)
)


def told(player: Player | ApartPlayer) -> tuple[int, int]:
    """Millivolts, and bits."""
    if isinstance(player, ApartPlayer):
        return player.battery_told
    assert player.watch is not None
    return player.watch.millivolts, player.watch.told


def runs(player: Player | ApartPlayer) -> int:
    return player.running_cues if isinstance(player, Player) else player.end[2]


def mode(player: Player | ApartPlayer) -> ReportedMode:
    return player.mode if isinstance(player, Player) else ReportedMode(player.end[0])


def after(player: Player | ApartPlayer, reading: int, frames: int) -> tuple[int, int]:
    player.battery(reading)
    for _ in range(frames):
        player.frame()
    return told(player)


def ready(make: Make, reading: int = WELL) -> Player | ApartPlayer:
    player = make(TABLE)
    after(player, reading, 5)
    assert mode(player) == ReportedMode.READY
    return player


@both
@pytest.mark.parametrize(
    ("reading", "bits"),
    [
        (901, 0),
        (900, 0),
        (899, BATTERY_LOW),
        (601, BATTERY_LOW),
        (600, BATTERY_LOW),
        (599, BATTERY_LOW | BATTERY_EMPTY),
        (301, BATTERY_LOW | BATTERY_EMPTY),
        (300, BATTERY_LOW | BATTERY_EMPTY),
        (299, BATTERY_LOW | BATTERY_BLIND),
        (0, BATTERY_LOW | BATTERY_BLIND),
    ],
)
def test_what_lasts_long_is_told_from_one_below_its_limit_on(
    make: Make, reading: int, bits: int
) -> None:
    assert after(make(TABLE), reading, 600) == (reading, BATTERY_WATCHED | bits)


@both
def test_it_is_low_in_the_250th_frame_in_a_row(make: Make) -> None:
    player = make(TABLE)
    assert after(player, 899, 249) == (899, BATTERY_WATCHED)
    assert after(player, 899, 1) == (899, BATTERY_WATCHED | BATTERY_LOW)


@both
def test_one_frame_at_the_limit_begins_the_count_anew(make: Make) -> None:
    """A frame takes a 32nd of the way: from 899 to 931 that is one."""
    player = make(TABLE)
    after(player, 899, 249)
    assert after(player, 931, 1) == (900, BATTERY_WATCHED)
    assert after(player, 867, 1) == (898, BATTERY_WATCHED)
    assert after(player, 899, 248)[1] == BATTERY_WATCHED
    assert after(player, 899, 1)[1] == BATTERY_WATCHED | BATTERY_LOW


@both
def test_it_has_recovered_a_32nd_above_the_limit(make: Make) -> None:
    player = make(TABLE)
    after(player, 899, 250)
    assert after(player, 927, 1000) == (927, BATTERY_WATCHED | BATTERY_LOW)
    assert after(player, 928, 1000) == (928, BATTERY_WATCHED)


@both
def test_it_is_empty_in_the_500th_frame_in_a_row(make: Make) -> None:
    player = ready(make, 620)
    below = 0
    while not told(player)[1] & BATTERY_EMPTY:
        volts, _ = after(player, 599, 1)
        below += volts < 600
    assert below == 500
    assert after(player, 617, 1000)[1] & BATTERY_EMPTY
    assert not after(player, 618, 1000)[1] & BATTERY_EMPTY


@both
def test_it_is_empty_in_the_25th_frame_of_a_start(make: Make) -> None:
    player = make(replace(TABLE, outputs=(*TABLE.outputs, *SERVOS), enable_interval=250))
    assert after(player, 599, 24) == (599, BATTERY_WATCHED)
    assert after(player, 599, 1) == (599, BATTERY_WATCHED | BATTERY_EMPTY)


@both
def test_a_lead_has_contact_from_half_the_stop_on_and_then_counts_at_once(make: Make) -> None:
    player = make(TABLE)
    assert after(player, 100, 1) == (100, BATTERY_WATCHED | BATTERY_BLIND)
    assert after(player, 299, 1) == (106, BATTERY_WATCHED | BATTERY_BLIND)  # (3200 + 199) // 32
    assert after(player, 300, 1) == (300, BATTERY_WATCHED)
    assert after(player, 900, 1) == (318, BATTERY_WATCHED)  # (9600 + 600) // 32
    assert after(player, 0, 1) == (308, BATTERY_WATCHED)  # (10200 - 318) // 32


@both
def test_before_the_first_reading_nothing_is_known(make: Make) -> None:
    player = make(TABLE)
    for _ in range(600):
        player.frame()
    assert told(player) == (0, BATTERY_WATCHED)


@both
@pytest.mark.parametrize(
    ("scale", "reading", "millivolts"),
    [
        (1_100, 0, 65_535),
        (1_100, 1, 65_535),
        (63, 1, 64_512),
        (64, 1, 65_535),  # 65,536 do not fit
        (127, 2, 65_024),
        (128, 2, 65_535),
        (1_100, 250, 4_505),  # 1100 * 1024 / 250 = 4505.6
        (1_100, 1023, 1_101),
    ],
)
def test_a_supply_by_the_chip_s_own_reference(
    make: Make, scale: int, reading: int, millivolts: int
) -> None:
    """V = Vref 1024 / reading (data sheet, ADC Conversion Result, solved for the supply)."""
    player = make(replace(TABLE, senses=(WatchRecord(None, scale, 4_400, 4_000),)))
    assert after(player, reading, 1)[0] == millivolts


@both
@pytest.mark.parametrize(("reading", "millivolts"), [(0, 0), (1, 10), (640, 6_400), (1023, 10_230)])
def test_a_divider_s_full_reading_is_1024_steps(make: Make, reading: int, millivolts: int) -> None:
    player = make(replace(TABLE, senses=(WatchRecord(CHIP.pin("PF1"), 10_240, 6_800, 6_000),)))
    assert after(player, reading, 1)[0] == millivolts


@both
def test_the_cue_of_a_low_battery_starts_at_once_each_time_that_it_becomes_low(make: Make) -> None:
    player = ready(make)
    for _ in range(2):
        while not told(player)[1] & BATTERY_LOW:
            assert runs(player) == 0
            after(player, 700, 1)
        assert runs(player) == 1  # in the same frame
        assert not after(player, WELL, 1000)[1] & BATTERY_LOW
        assert runs(player) == 0


@both
def test_the_cue_comes_again_after_a_minute_of_3000_frames(make: Make) -> None:
    player = ready(make, 700)
    starts, before = [], 0
    for number in range(6600):
        after(player, 700, 1)
        if runs(player) and not before:
            starts.append(number)
        before = runs(player)
    assert [b - a for a, b in pairwise(starts)] == [3000, 3000]
