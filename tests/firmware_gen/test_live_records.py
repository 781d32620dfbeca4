"""Sensors and what follows a source in a table (TABLE.md, 1.3): which records are refused."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firmware_gen.chips.atmega328p import CHIP as SMALL
from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.crc import crc16
from firmware_gen.listing.disassemble import disassemble
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode, encode_with_places
from firmware_gen.table.layout import BAD_EXTENT, BAD_PIN, BAD_RECORD, TableError
from firmware_gen.table.records import (
    ChannelRecord,
    FollowRecord,
    LampRecord,
    SenseRecord,
    SensorRecord,
    ServoRecord,
    StripRecord,
    SwitchRecord,
    Table,
)
from sim.rulebook import SENSORS
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available
from tests.firmware_gen.make_vectors import code_of

NECK, EYE, STRIP, FAN = range(4)
STICK, KNOB = range(2)
OUTPUTS = (
    ServoRecord(CHIP.pin("PA0"), (-4000, 6000), 200, 900, 0, ((-4500, 1600), (6500, 4400))),
    LampRecord(CHIP.pin("PB4"), 20),
    StripRecord(CHIP.pin("PA1"), 4, 0, 0, 0),
    SwitchRecord(CHIP.pin("PA2"), True, False),
)
SOURCES = (ChannelRecord(CHIP.pin("PL0")), SensorRecord(CHIP.pin("PF0"), 120, 40000, 0))
TURN = FollowRecord(NECK, STICK, 2000, 4000, -4000, 6000, 200, 900, mixed=True)
GLOW = FollowRecord(EYE, KNOB, 0, 1023, 200, 0, 300)
GOOD = Table(
    *(CHIP.chip_id, 1),
    outputs=OUTPUTS,
    colours=((0, 0, 0),),
    senses=(*SOURCES, TURN, GLOW),
)


def with_senses(*senses: SenseRecord) -> Table:
    return replace(GOOD, senses=senses)


def follows(one: FollowRecord) -> Table:
    return with_senses(*SOURCES, one)


MANY = tuple(SensorRecord(pin) for pin in CHIP.analog)

ACCEPTED = {
    "all": GOOD,
    "a sensor before a channel": with_senses(*SOURCES[::-1], replace(TURN, source=1)),
    "sensors up to the most": with_senses(*MANY[:SENSORS]),
    "a follow of the last of eleven sources": with_senses(
        *MANY[: SENSORS - 1],
        *(ChannelRecord(pin) for pin in list(CHIP.channels)[1:]),
        MANY[SENSORS - 1],
        FollowRecord(NECK, SENSORS + 1, 0, 1023, 0, 0, 1, 1),
    ),
    "quiet at its most": with_senses(SensorRecord(CHIP.pin("PK7"), 1023, 65535, 65535)),
    "a channel's whole range": follows(replace(TURN, low=1600, high=4400)),
    "a sensor's whole range": follows(replace(TURN, source=KNOB, low=0, high=1023)),
    "from one step to the next": follows(replace(TURN, low=1600, high=1601)),
    "targets that turn round": follows(replace(TURN, at_low=6000, at_high=-4000)),
    "the least speed and acceleration": follows(replace(TURN, speed=1, acceleration=1)),
    "a lamp as quick as can be": follows(replace(GLOW, speed=65535)),
}
REFUSED = {
    "more sensors than a board has": with_senses(*MANY[: SENSORS + 1]),
    "quiet for ever": with_senses(SensorRecord(CHIP.pin("PF0"), 1024)),
    "a source that is not there": follows(replace(TURN, source=2)),
    "a source that stands behind": with_senses(SOURCES[0], replace(GLOW, source=1), SOURCES[1]),
    "a range of nothing": follows(replace(TURN, low=3000, high=3000)),
    "a range the wrong way round": follows(replace(TURN, low=4000, high=2000)),
    "below what a channel has": follows(replace(TURN, low=1599)),
    "beyond what a channel has": follows(replace(TURN, high=4401)),
    "beyond what a sensor has": follows(replace(TURN, source=KNOB, low=0, high=1024)),
    "an output that is not there": follows(replace(TURN, output=4)),
    "a strip": follows(replace(GLOW, output=STRIP)),
    "a switch": follows(replace(GLOW, output=FAN)),
    "an angle below the travel": follows(replace(TURN, at_low=-4001)),
    "an angle beyond the travel": follows(replace(TURN, at_high=6001)),
    "the other angle beyond the travel": follows(replace(TURN, at_low=6001)),
    "a level below none": follows(replace(GLOW, at_high=-1)),
    "a level beyond the most": follows(replace(GLOW, at_low=201)),
    "a servo that does not move": follows(replace(TURN, speed=0)),
    "a servo quicker than it may be": follows(replace(TURN, speed=201)),
    "a servo without acceleration": follows(replace(TURN, acceleration=0)),
    "a servo with more acceleration than it may": follows(replace(TURN, acceleration=901)),
    "a lamp that does not change": follows(replace(GLOW, speed=0)),
    "a lamp with acceleration": follows(replace(GLOW, acceleration=1)),
    "an output that follows twice": with_senses(
        *SOURCES, TURN, replace(TURN, source=KNOB, low=1, high=2)
    ),
}
PINS = {
    "a sensor where nothing is converted": with_senses(SensorRecord(CHIP.pin("PA5"))),
    "a sensor on an output's pin": replace(
        with_senses(SensorRecord(CHIP.pin("PF1"))),
        outputs=(LampRecord(CHIP.pin("PB4"), 0), SwitchRecord(CHIP.pin("PF1"), True, False)),
    ),
    "two sensors on one pin": with_senses(MANY[0], MANY[0]),
    "a sensor on the pin of a link": with_senses(SensorRecord(CHIP.pin("PE0"))),
}


def bytes_of(table: Table, monkeypatch: pytest.MonkeyPatch) -> bytes:
    """The table's bytes, though no board would play it."""
    monkeypatch.setattr("firmware_gen.table.encode.decode", lambda data: None)
    return encode(table)


@pytest.mark.parametrize("table", ACCEPTED.values(), ids=ACCEPTED)
def test_a_record_at_its_limits_is_read_back_as_it_was(table: Table) -> None:
    assert decode(encode(table)) == table


@pytest.mark.parametrize("table", REFUSED.values(), ids=REFUSED)
def test_a_record_beyond_a_limit_is_refused(table: Table, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(TableError) as caught:
        decode(bytes_of(table, monkeypatch))
    assert caught.value.code == BAD_RECORD


@pytest.mark.parametrize("table", PINS.values(), ids=PINS)
def test_a_pin_that_measures_nothing_is_refused(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(TableError) as caught:
        decode(bytes_of(table, monkeypatch))
    assert caught.value.code == BAD_PIN


@pytest.mark.skipif(not available(), reason="there is no C compiler")
@pytest.mark.parametrize("table", (ACCEPTED | REFUSED | PINS).values())
def test_the_core_refuses_the_same_for_the_same_reason(
    table: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = bytes_of(table, monkeypatch)
    core = ApartPlayer(GOOD)
    assert core.lib.host_check(data, len(data)) == code_of(data)


@pytest.mark.skipif(not available(), reason="there is no C compiler")
def test_a_record_that_reaches_beyond_the_table_is_refused_by_both() -> None:
    made = encode_with_places(GOOD)
    start, _ = made.sections["senses"]
    core = ApartPlayer(GOOD)
    for end in range(start, made.sections["senses"][1]):
        cut = bytearray(made.data[:end] + bytes(2))
        cut[2:4] = len(cut).to_bytes(2, "little")
        cut[-2:] = crc16(bytes(cut[:-2])).to_bytes(2, "little")
        assert code_of(bytes(cut)) == core.lib.host_check(bytes(cut), len(cut)) == BAD_EXTENT


def test_a_chip_without_senses_refuses_sensors() -> None:
    plain = Table(SMALL.chip_id, 1)
    assert decode(encode(plain)) == plain
    with pytest.raises(TableError) as caught:
        encode(replace(plain, senses=(SensorRecord(SMALL.pin("PC0")),)))
    assert caught.value.code == BAD_EXTENT


def test_the_listing_says_what_follows_what_in_the_units_of_both() -> None:
    words = [line.text for line in disassemble(encode(GOOD)) if line.section == "senses"]
    assert words == [
        "channel on PL0",
        "sensor on PF0: quiet below 11.7 %; up 61 % a frame, down all",
        "output 0 follows source 0: 1000 us to 2000 us, -40 deg to 60 deg, mixed with idle; "
        "at most 200 deg/s, 900 deg/s2",
        "output 1 follows source 1: 0 % to 99.9 %, 100% to 0%; at most 29.3 %/s",
    ]
