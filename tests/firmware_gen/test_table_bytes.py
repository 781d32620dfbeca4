"""The table's bytes, written by hand."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from crccheck.crc import Crc16Ibm3740
from hypothesis import given
from hypothesis import strategies as st

from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.chips.atmega2560 import CHIP as ATMEGA2560
from firmware_gen.table.code_bytes import duration_bytes, op_bytes, wait_bytes
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode, encode_with_places, show_number
from firmware_gen.table.layout import ALONE, FOLLOWS, HEADER, LEADS, TableError
from firmware_gen.table.ops import (
    ActOp,
    Called,
    CallTo,
    ChooseTo,
    Delay,
    ForkTo,
    GoOnTo,
    Loop,
    LoopBack,
    Modulate,
    TableOp,
    Turn,
    waits_ms,
)
from firmware_gen.table.records import (
    CueRecord,
    LampRecord,
    LawRecord,
    ServoRecord,
    StripRecord,
    SwitchRecord,
    Table,
)
from tests.firmware_gen.malformed_tables import ENCODED, GOOD, MALFORMED

KINDS = (1, 2, 3, 4)
"""Output 0 is a servo, 1 a lamp, 2 a strip, 3 a switch."""


@pytest.mark.parametrize(
    ("duration_ms", "text"),
    [
        (0, "c8 00"),
        (1, "c8 01"),
        (9, "c8 09"),
        (10, "00"),
        (11, "c8 0b"),
        (20, "01"),
        (260, "19"),
        (1590, "9e"),
        (1600, "9f"),
        (1601, "ce 41"),
        (1610, "ce 4a"),
        (1700, "a0"),
        (2000, "a3"),
        (5600, "c7"),
        (5601, "dd e1"),
        (5700, "de 44"),
        (14079, "fe ff"),
        (14080, "ff 00 37"),
        (65000, "ff e8 fd"),
    ],
)
def test_durations_take_the_fewest_bytes(duration_ms: int, text: str) -> None:
    assert duration_bytes(duration_ms) == bytes.fromhex(text)


@pytest.mark.parametrize(
    ("duration_ms", "text"),
    [
        (10, "c0"),
        (20, "c1"),
        (640, "ff"),
        (650, "81 40"),
        (5, "81 c8 05"),
        (0, "81 c8 00"),
        (14_000, "81 fe b0"),
        (15_000, "87 0f 00"),
        (15_001, "81 ff 99 3a"),
        (60_000, "87 3c 00"),
        (65_000, "87 41 00"),
        (66_000, "87 42 00"),
        (3_600_000, "87 10 0e"),
        (65_535_000, "87 ff ff"),
    ],
)
def test_waits_take_the_fewest_bytes(duration_ms: int, text: str) -> None:
    assert wait_bytes(duration_ms) == bytes.fromhex(text)


@pytest.mark.parametrize(
    ("op", "text"),
    [
        (ActOp(0, 4500, 260), "00 19 2d"),
        (ActOp(0, 4500, 260, wait=True), "40 19 2d"),
        (ActOp(0, -12800, 10), "00 00 80"),
        (ActOp(0, 12700, 10), "00 00 7f"),
        (ActOp(0, 12800, 10), "10 00 00 32"),
        (ActOp(0, 1250, 10, True, 3), "70 00 03 e2 04"),
        (ActOp(1, 200, 1700, law=0), "21 a0 00 c8"),
        (ActOp(2, 63, 40, True), "42 03 3f"),
        (Turn(3, True), "13"),
        (Turn(3, False), "03"),
        (Delay(30), "c2"),
        (Loop(3), "82 03 00"),
        (Loop(65535), "82 ff ff"),
        (LoopBack(), "83"),
        (ForkTo(1), "84 34 12"),
        (GoOnTo(1), "86 34 12"),
        (CallTo(1), "ba 34 12"),
        (ChooseTo(9, (1, 1)), "89 09 01 ba 34 12 ba 34 12"),
        (Modulate(1, 0), "85 01 00"),
        (Modulate(2, 4, 1000, 160, 7, 3), "85 02 04 e8 03 a0 07 03"),
    ],
)
def test_ops_are_these_bytes(op: TableOp, text: str) -> None:
    stated = [Called(0, 0, False), Called(2, 2, True)]
    assert op_bytes(op, KINDS, [0, 0x1234], stated) == bytes.fromhex(text)


def test_a_whole_table_is_these_bytes() -> None:
    table = Table(
        chip=1,
        address=7,
        outputs=(
            ServoRecord(1, (200, 5500), 353, 2600, -50 + 450, ((0, 1800), (9000, 4200))),
            LampRecord(22, 40),
            StripRecord(23, 30, 2, 49, 0),
            SwitchRecord(8, True, True),
        ),
        colours=((0, 100, 200),),
        laws=(LawRecord(5), LawRecord(2, 21845), LawRecord(9, 32768, 1)),
        cues=(CueRecord(0xBEEF, 0b0101, 2, 3, 0, strand=True),),
        threads=((ActOp(0, 3000, 300, wait=True),),),
        lost=0,
        lost_time=20,
        stop_button=4,
        stop_time=75,
        enable_interval=10,
        show=0x01020304,
    )
    text = """
        bc 02 53 00 01 07 04 03 02 01 04 01 00 00 01 03 28 00 14 04 4b 0a 00 00
        01 01 02 c8 00 7c 15 61 01 28 0a 90 01 00 00 08 07 28 23 68 10
        02 16 28
        03 17 1e 02 31 00 00
        04 08 03
        00 64 c8
        05 02 55 55 09 00 80 01 00
        ef be 05 00 3a 4d 00
        40 1d 1e 80
    """
    body = bytes.fromhex(text)
    assert len(body) + 2 == 0x53
    data = body + Crc16Ibm3740.calc(body).to_bytes(2, "little")
    assert encode(table) == data
    assert decode(data) == table


def test_negative_angles_are_twos_complement() -> None:
    servo = ServoRecord(2, (-4500, -100), 1, 1, -4500, ((-32768, 5200), (32767, 800)))
    data = encode(Table(1, 1, outputs=(servo,)))
    assert data[24:45] == bytes.fromhex(
        "01 02 02 6c ee 9c ff 01 00 01 00 6c ee 00 80 50 14 ff 7f 20 03"
    )


def test_sections_and_places_say_where_everything_lies() -> None:
    assert list(ENCODED.sections) == [
        *("header", "outputs", "colours", "laws", "inputs", "bindings", "cues"),
        *("senses", "code", "crc"),
    ]
    bounds = list(ENCODED.sections.values())
    assert bounds[0][0] == 0
    assert all(one[1] == other[0] for one, other in pairwise(bounds))
    assert bounds[-1][1] == len(ENCODED.data)
    starts = [row[0] for row in ENCODED.places]
    assert ENCODED.data[starts[0]] == 0x84
    assert int.from_bytes(ENCODED.data[starts[0] + 1 : starts[0] + 3], "little") == starts[1]
    assert ENCODED.places[-1][-1] == ENCODED.sections["code"][1]


@pytest.mark.parametrize(
    ("title", "data", "code", "path"), MALFORMED, ids=[m[0] for m in MALFORMED]
)
def test_a_malformed_table_is_refused(title: str, data: bytes, code: int, path: str) -> None:
    with pytest.raises(TableError) as caught:
        decode(data)
    assert caught.value.code == code
    assert path in caught.value.path
    assert caught.value.message


def test_the_first_fault_of_several_is_the_reason() -> None:
    data = bytearray(ENCODED.data)
    data[0], data[1], data[4], data[5] = 0, 9, 9, 0
    seen = []
    for offset, good in ((0, 0xBC), (1, 2), (-1, None), (4, 1), (5, 7)):
        with pytest.raises(TableError) as caught:
            decode(bytes(data))
        seen.append(caught.value.code)
        if good is None:
            data[-2:] = Crc16Ibm3740.calc(bytes(data[:-2])).to_bytes(2, "little")
        else:
            data[offset] = good
            if seen[-1] >= 4:
                data[-2:] = Crc16Ibm3740.calc(bytes(data[:-2])).to_bytes(2, "little")
    assert seen == [2, 3, 4, 5, 6]
    assert decode(bytes(data)) == GOOD


@pytest.mark.parametrize(
    "table",
    [
        Table(1, 0),
        Table(255, 1),
        Table(1, 1, outputs=(LampRecord(22, 300),)),
        Table(1, 1, cues=(CueRecord(1, 0, 0, 1, 0),)),
        Table(1, 1, threads=((Delay(70_001),),)),
        Table(1, 1, threads=((Delay(65_536_000),),)),
        Table(1, 1, threads=((CallTo(1),), (CallTo(2),), (CallTo(3),), (CallTo(4),), ())),
        Table(1, 1, threads=((CallTo(1),), (GoOnTo(2),), ())),
        Table(1, 1, threads=((CallTo(0),),)),
        Table(1, 1, threads=((Delay(-1),),)),
        Table(1, 1, threads=((ForkTo(5),),)),
        Table(1, 1, threads=((Turn(0, True),),)),
        Table(1, 1, stop_time=400),
    ],
    ids=repr,
)
def test_no_encoder_makes_a_table_that_a_board_would_refuse(table: Table) -> None:
    with pytest.raises(TableError):
        encode(table)


def test_the_number_of_a_show_covers_all_its_tables_and_not_itself() -> None:
    one, two = Table(1, 1), Table(1, 2)
    assert show_number([one, two]) == show_number([two, one])
    assert show_number([one]) != show_number([one, two])
    numbered = decode(encode_with_places(Table(1, 1, show=77)).data)
    assert show_number([numbered]) == show_number([one])
    assert HEADER.offsets()["show"] == 6


@given(st.integers(0, 1_000_000) | st.integers(0, 2_000_000_000))
def test_any_wait_is_made_of_ops_that_fit(duration_ms: int) -> None:
    ops = waits_ms(duration_ms)
    assert sum(op.duration_ms for op in ops) == duration_ms
    assert all(op.duration_ms > 0 and len(wait_bytes(op.duration_ms)) <= 4 for op in ops)
    assert len(ops) <= 2 + duration_ms // 65_535_000


LEADER = replace(
    GOOD,
    chip=ATMEGA2560.chip_id,
    role=LEADS,
    outputs=(LampRecord(ATMEGA2560.pin("PB4"), 0), LampRecord(ATMEGA2560.pin("PE3"), 0)),
    colours=(),
    inputs=(),
    bindings=(),
    cues=(CueRecord(7, 0b01, 0, 1, 0), CueRecord(8, 0b10, 1, 1, 0, claims=0x8001)),
    threads=((),),
)
"""Drives one lamp with each of two cues, of which the second claims something elsewhere."""


def test_cues_of_a_board_that_leads_are_followed_by_their_claims() -> None:
    encoded = encode_with_places(LEADER)
    start, end = encoded.sections["cues"]
    code = encoded.places[0][0].to_bytes(2, "little").hex()
    assert encoded.data[22:24] == bytes((1, 0))
    assert encoded.data[start:end].hex() == f"07000100 10{code}0000 08000200 11{code}0180".replace(
        " ", ""
    )
    assert decode(encoded.data) == LEADER


def test_no_other_board_claims_anything() -> None:
    for role in (ALONE, FOLLOWS):
        with pytest.raises(TableError, match="claims"):
            encode(replace(LEADER, role=role))


def test_a_chip_that_cannot_lead_takes_no_table_that_leads() -> None:
    assert not ATMEGA328P.leads
    for role in (ALONE, FOLLOWS):
        assert decode(encode(replace(GOOD, role=role))).role == role
    with pytest.raises(TableError, match="cannot lead"):
        encode(replace(GOOD, role=LEADS))
