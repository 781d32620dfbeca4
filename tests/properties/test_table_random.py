"""Random tables and random bytes through encoder, decoder and player."""

from __future__ import annotations

import struct
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_gen.crc import crc16
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import REASONS, TableError
from firmware_gen.table.records import ServoRecord, StripRecord, Table
from sim.rulebook import PULSE_RANGE
from tests.firmware_gen.random_tables import dices, random_requests, tables
from tests.firmware_gen.requests import replay


@given(tables())
@settings(max_examples=150)
def test_every_table_comes_back_from_its_bytes(table: Table) -> None:
    data = encode(table)
    assert decode(data) == table
    assert encode(decode(data)) == data
    assert len(data) == int.from_bytes(data[2:4], "little")


@given(st.binary(max_size=200))
@settings(max_examples=300)
def test_arbitrary_bytes_raise_nothing_but_a_table_error(data: bytes) -> None:
    with pytest.raises(TableError) as caught:
        decode(data)
    assert caught.value.code in REASONS
    assert caught.value.path


@given(tables(), dices())
@settings(max_examples=150)
def test_a_spoilt_table_is_refused_or_still_plays(table: Table, dice: Random) -> None:
    data = bytearray(encode(table))
    for _ in range(dice.randint(1, 4)):
        data[dice.randrange(len(data))] = dice.randrange(256)
    data[-2:] = struct.pack("<H", crc16(data[:-2]))
    try:
        spoilt = decode(bytes(data))
    except TableError:
        return
    ranges = [_pulse_range(one) for one in spoilt.outputs if isinstance(one, ServoRecord)]
    asked = random_requests(dice, spoilt, 60)
    # a jog may pass the travel (TABLE.md 2.8); what a table plays may not
    frames = replay(Player(spoilt), [one for one in asked if one[1] != "jog"], 60)
    assert len(frames) == 60
    for frame in frames:
        for pulse, (least, most) in zip(frame.pulses, ranges, strict=True):
            assert pulse == 0 or least <= pulse <= most


@given(tables(), dices())
@settings(max_examples=80)
def test_outputs_keep_their_limits_whatever_is_asked(table: Table, dice: Random) -> None:
    player = Player(table)
    servos = [one for one in table.outputs if isinstance(one, ServoRecord)]
    strips = [one for one in table.outputs if isinstance(one, StripRecord)]
    ranges = [_pulse_range(servo) for servo in servos]
    requests = random_requests(dice, table, 250)
    jogged = any(kind == "jog" for _, kind, *_ in requests)  # which may go beyond the points
    if jogged:
        ranges = [PULSE_RANGE] * len(ranges)
    for frame in replay(player, requests, 250):
        for pulse, (low, high) in zip(frame.pulses, ranges, strict=True):
            assert pulse == 0 or low <= pulse <= high
        for data, strip in zip(frame.strips, strips, strict=True):
            assert len(data) == 3 * strip.pixels
            assert strip.cap == 0 or sum(data) <= 256 * strip.cap
        assert all(0 <= duty <= 65535 for duty in frame.duties)


def _pulse_range(servo: ServoRecord) -> tuple[int, int]:
    """Pulses at the ends of the travel, from the calibration by straight lines."""
    ends = []
    for angle in servo.travel:
        pairs = list(zip(servo.points, servo.points[1:], strict=False))
        (a, p), (b, q) = next(pair for pair in pairs if pair[0][0] <= angle <= pair[1][0])
        ends.append(p + (q - p) * (angle - a) / (b - a))
    return int(min(ends) - 0.5), int(max(ends) + 1.5)
