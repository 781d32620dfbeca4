"""Cues that go as far as a source says (TABLE.md, section 14): by hand, three players, refusals."""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings

from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.crc import crc16
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode, encode_with_places
from firmware_gen.table.layout import BAD_RECORD, FOLLOWS, LEADS, TableError
from firmware_gen.table.ops import ActOp, Delay
from firmware_gen.table.records import (
    BindingRecord,
    ChannelRecord,
    LampRecord,
    ScaleRecord,
    SensorRecord,
    ServoRecord,
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
    with_scales,
)
from tests.firmware_gen.second_presses import SecondPlayerWithSenses
from tests.firmware_gen.tables_by_hand import WAIT, table
from tests.firmware_gen.test_following import IN_TIME, asked, on_the_line

needs_compiler = pytest.mark.skipif(not available(), reason="there is no C compiler")

NECK, LAMP = 0, 1
SAFE, FAR = 4500, 8500
"""0.01 deg; the servo has 2 ticks, 1 us, in 0.045 deg."""
START = 60
"""By this frame a board has long been ready."""


def show(low: int = 200, high: int = 1000, shares: tuple[int, int, int] = (40, 200, 100)) -> Table:
    """A servo and a lamp that one cue moves, as far as a sensor says; button 1 starts it."""
    servo = ServoRecord(CHIP.pin("PA0"), (0, 9000), 400, 4000, SAFE, ((0, 800), (9000, 4800)))
    made = table(
        (servo, LampRecord(CHIP.pin("PE3"), 0)),
        ((ActOp(LAMP, 200, 100), ActOp(NECK, FAR, 400, wait=True), Delay(60_000)),),
        uses=(3,),
        bindings=(BindingRecord(1, 0, False),),
    )
    senses = (SensorRecord(CHIP.pin("PF0")), ScaleRecord(0, 0, low, high, *shares))
    return replace(made, chip=CHIP.chip_id, senses=senses)


def stands(made: Table, *readings: tuple[int, int | None], start: int = START) -> int:
    """The pulse (ticks) at which the servo comes to a stand; readings from their frames on."""
    player = Player(made)
    for number in range(START + 100):
        for frame, reading in readings:
            if frame == number and reading is not None:
                player.voltage(0, reading)
        if number == start:
            player.button(1, True)
        shown = player.frame()
    return shown.pulses[0]


def ticks(angle: float) -> int:
    """Of the servo's two points: 800 ticks at 0 deg, 4800 at 90 deg."""
    return round(800 + 4000 * angle / 9000)


@pytest.mark.parametrize(
    ("reading", "share"),
    [(0, 0.2), (200, 0.2), (600, 0.6), (1000, 1.0), (1023, 1.0)],
)
def test_a_servo_goes_the_share_of_its_way_that_the_source_says(reading: int, share: float) -> None:
    """A straight line between the two values, worked by hand; shares to 1/256."""
    wanted = ticks(SAFE + share * (FAR - SAFE))
    one_step = 4000 * (FAR - SAFE) / 9000 / 256
    assert abs(stands(show(), (0, reading)) - wanted) <= one_step


def test_the_whole_share_is_exactly_what_the_cue_says_and_none_is_the_safe_angle() -> None:
    assert stands(show(), (0, 1023)) == ticks(FAR)
    assert stands(show(shares=(0, 200, 100)), (0, 0)) == ticks(SAFE)


def test_a_source_that_is_not_live_gives_the_stated_share() -> None:
    assert stands(show()) == ticks(SAFE + (FAR - SAFE) / 2)


def test_a_share_may_fall_where_the_source_rises() -> None:
    assert stands(show(shares=(200, 0, 100)), (0, 1023)) == ticks(SAFE)
    assert stands(show(shares=(200, 0, 100)), (0, 0)) == ticks(FAR)


def test_the_source_is_read_in_the_frame_of_the_start_and_not_again() -> None:
    at_start = stands(show(), (0, 0), (START, 1023))
    behind = stands(show(), (0, 0), (START + 1, 1023))
    assert at_start == ticks(FAR)
    assert behind == stands(show(), (0, 0))


def test_lights_of_the_cue_are_as_it_says() -> None:
    player = Player(show())
    for number in range(START + 50):
        if number == START:
            player.button(1, True)
        shown = player.frame()
    assert shown.duties == (65535,) or shown.duties[0] > 65500


@pytest.mark.parametrize("moved_at", [START + 40, START + 180], ids=["while it waits", "behind"])
def test_a_waiting_cue_reads_the_source_when_it_starts_at_last(moved_at: int) -> None:
    """Another cue holds the servo for 2 s, to frame 160: the source moves before or after that."""
    holds = (ActOp(NECK, 2000, 400, wait=True), Delay(1600))
    one = show()
    made = replace(
        one,
        cues=(replace(one.cues[0], conflict=WAIT), replace(one.cues[0], tag=9, start=1)),
        threads=(*one.threads, holds),
    )
    player = Player(made)
    for number in range(START + 240):
        if number == START:
            player.trigger(9)
        if number == START + 20:
            player.button(1, True)
        if number in (START - 1, moved_at):
            player.voltage(0, 0 if number < START else 1023)
        if number == START + 95:
            assert player.stood(0) == ticks(2000)
        shown = player.frame()
    share = 1.0 if moved_at < START + 100 else 51 / 256
    assert abs(shown.pulses[0] - ticks(SAFE + share * (FAR - SAFE))) <= 1


# -- three players --------------------------------------------------------------------------------


def made(dice: Random) -> tuple[Table, list[Request]]:
    found = replace(random_table(dice, CHIP), lost=None)
    while not any(isinstance(one, ScaleRecord) for one in found.senses):
        found = replace(random_table(dice, CHIP), lost=None)
        found = with_scales(dice, with_presses(dice, found))
    return found, random_requests(dice, found, 300)


def sources(found: Table, kind: type) -> int:
    return sum(isinstance(one, kind) for one in found.senses)


def width_of(channel: int, number: int) -> int:
    return 3000 + 1400 * ((number // 40 + channel) % 3 - 1)


@needs_compiler
@pytest.mark.parametrize("seed", range(30))
def test_the_core_scales_cues_as_the_reference_does(seed: int) -> None:
    found, requests = made(Random(seed))
    reference, core = Player(found), ApartPlayer(found)
    tags = {cue.tag for cue in found.cues}
    for number in range(250):
        for at, kind, first, second in requests:
            if at == number and (kind != "trigger" or first in tags):
                asked(reference, kind, first, second)
                asked(core, kind, first, second)
        for player in (reference, core):
            for channel in range(sources(found, ChannelRecord)):
                player.channel(channel, width_of(channel, number))
            for sensor in range(sources(found, SensorRecord)):
                player.voltage(sensor, (137 * (number // 7 + sensor)) % 1024)
        assert reference.frame().raw == core.frame(), f"frame {number}"


@needs_compiler
@pytest.mark.parametrize("seed", range(16))
def test_the_core_joins_scaled_cues_as_the_reference_does(seed: int) -> None:
    """A board that follows reads its own sources where a cue is joined, through losses and a
    silence."""
    dice = Random(seed)
    found, requests = made(dice)
    leader = Player(replace(found, role=LEADS))
    follower = replace(found, role=FOLLOWS)
    reference, core = Player(follower), ApartPlayer(follower)
    silent_until = 0
    for number in range(250):
        for at, kind, first, second in requests:
            if at == number:
                asked(leader, kind, first, second)
        for player in (reference, core):
            for channel in range(sources(found, ChannelRecord)):
                player.channel(channel, width_of(channel, number))
            for sensor in range(sources(found, SensorRecord)):
                player.voltage(sensor, (137 * (number // 7 + sensor)) % 1024)
        leader.frame()
        assert leader.told is not None
        if dice.random() < 0.02:
            silent_until = number + dice.choice((8, 30))
        if number >= silent_until and dice.random() < 0.7:
            reference.hear_hub(leader.told, IN_TIME)
            core.receive_apart(on_the_line(leader.told, number), IN_TIME)
        assert reference.frame().raw == core.frame(), f"frame {number}"


@pytest.mark.parametrize(
    "make", [pytest.param(Player, id="reference"), pytest.param(ApartPlayer, marks=needs_compiler)]
)
@pytest.mark.parametrize("own", [False, True])
def test_a_run_that_is_joined_as_let_go_has_the_scale_of_its_cue(make: Any, own: bool) -> None:
    """Not that of its part's own record, where there is one."""
    cue = show()
    parts = (replace(cue.cues[0], lets_go=True), replace(cue.cues[0], tag=7, start=1))
    back = (ActOp(NECK, FAR, 400, wait=True), Delay(60_000))
    senses = (*cue.senses, ScaleRecord(1, 0, 0, 1023, 0, 0, 0)) if own else cue.senses
    led = replace(cue, cues=parts, threads=(*cue.threads, back), senses=senses)
    leader, follower = Player(replace(led, role=LEADS)), make(replace(led, role=FOLLOWS))
    for number in range(START + 100):
        follower.voltage(0, 600)
        if number == START - 10:
            leader.button(1, True)
        if number == START - 5:
            leader.button(1, False)
        leader.frame()
        assert leader.told is not None
        if not START - 10 <= number < START:
            if make is Player:
                follower.hear_hub(leader.told, IN_TIME)
            else:
                follower.receive_apart(on_the_line(leader.told, number), IN_TIME)
        shown = follower.frame()
    pulse = shown.pulses[0] if make is Player else shown[0] | shown[1] << 8
    assert abs(pulse - ticks(SAFE + 0.6 * (FAR - SAFE))) <= 4000 * (FAR - SAFE) / 9000 / 256


@given(dices())
@settings(max_examples=30, deadline=None)
def test_the_second_player_scales_cues_as_the_reference_does(dice: Random) -> None:
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
        widths = [width_of(n, number) for n in range(sources(found, ChannelRecord))]
        readings = [(137 * (number // 7 + n)) % 1024 for n in range(sources(found, SensorRecord))]
        for channel, width in enumerate(widths):
            reference.channel(channel, width)
        for sensor, reading in enumerate(readings):
            reference.voltage(sensor, reading)
        second.sense(readings)
        assert reference.frame().raw == second.frame(now, widths)


# -- what is refused ------------------------------------------------------------------------------


def test_a_table_comes_back_as_it_was() -> None:
    assert decode(encode(show())) == show()


@pytest.mark.parametrize(
    "scale",
    [
        ScaleRecord(1, 0, 200, 1000, 40, 200, 100),
        ScaleRecord(0, 1, 200, 1000, 40, 200, 100),
        ScaleRecord(0, 0, 1000, 1000, 40, 200, 100),
        ScaleRecord(0, 0, 200, 1024, 40, 200, 100),
    ],
)
def test_a_record_that_makes_no_sense_is_refused(scale: ScaleRecord) -> None:
    made = show()
    with pytest.raises(TableError) as caught:
        decode(encode(replace(made, senses=(made.senses[0], scale))))
    assert caught.value.code == BAD_RECORD


def test_a_source_stands_before_the_cue_that_it_scales() -> None:
    with pytest.raises(TableError, match="before"):
        decode(encode(replace(show(), senses=show().senses[::-1])))


def test_a_cue_has_one_scale_only() -> None:
    made = show()
    with pytest.raises(TableError, match="already"):
        decode(encode(replace(made, senses=(*made.senses, made.senses[1]))))


@needs_compiler
@given(dices())
@settings(max_examples=40, deadline=None)
def test_the_core_refuses_what_the_reference_refuses(dice: Random) -> None:
    found, _ = made(dice)
    placed = encode_with_places(found)
    core = ApartPlayer(show())
    places = [*range(*placed.sections["senses"])]
    for _ in range(20):
        spoilt = bytearray(placed.data)
        spoilt[dice.choice(places)] = dice.choice((0, 1, 2, 12, 127, 200, 201, dice.randrange(256)))
        spoilt[-2:] = crc16(bytes(spoilt[:-2])).to_bytes(2, "little")
        assert core.lib.host_check(bytes(spoilt), len(spoilt)) == code_of(bytes(spoilt))
