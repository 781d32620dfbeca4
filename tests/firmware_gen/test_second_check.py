"""Section 5 of TABLE.md is enough: a check written from the page refuses as the others do."""

from __future__ import annotations

import struct
from random import Random

import pytest

from firmware_gen.chips import CHIPS_BY_ID
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.table.encode import encode
from tests.firmware_gen.checked_tables import FAULTS, pairs
from tests.firmware_gen.host.core import available, library
from tests.firmware_gen.make_vectors import checked_cases, code_of
from tests.firmware_gen.malformed_tables import ENCODED
from tests.firmware_gen.random_tables import random_table
from tests.firmware_gen.second_check import crc, refusal
from tests.firmware_gen.vector_files import CHECKED, PLAYED, held

CASES = [case for name in CHECKED for case in held(name)]
BYTES = (0, 1, 2, 3, 4, 8, 15, 16, 31, 32, 127, 128, 200, 201, 254, 255)


def test_the_checked_tables_are_those_that_the_script_makes() -> None:
    assert held("checked") == checked_cases()


def test_the_second_check_finds_the_codes_of_the_vectors() -> None:
    for case in CASES:
        assert refusal(bytes.fromhex(case["table"])) == case["code"], case["title"]


def test_the_reference_finds_the_codes_of_the_vectors() -> None:
    for case in CASES:
        assert code_of(bytes.fromhex(case["table"])) == case["code"], case["title"]


@pytest.mark.skipif(not available(), reason="there is no C compiler")
def test_the_core_finds_the_codes_of_the_vectors() -> None:
    for case in CASES:
        data = bytes.fromhex(case["table"])
        assert library().host_check(data or b"\0", len(data)) == case["code"], case["title"]


def test_the_second_check_accepts_every_table_that_is_played() -> None:
    for name in PLAYED:
        for case in held(name):
            assert refusal(bytes.fromhex(case["table"])) == 0, case["title"]


def test_every_code_is_found_by_itself_and_before_all_that_come_later() -> None:
    codes = {case["code"] for case in CASES}
    assert codes == set(range(12))
    found = {case["title"]: case["code"] for case in CASES}
    first_of = {title.split(" and ")[0]: found[title] for title, _ in pairs()}
    assert len(first_of) == len(FAULTS) - 1
    for title, _ in pairs():
        assert found[title] == first_of[title.split(" and ")[0]], title


def _damaged(dice: Random) -> bytes:
    """A table with a few bytes changed, lost or put in; mostly its length and CRC made good."""
    data = bytearray(encode(random_table(dice)) if dice.random() < 0.7 else ENCODED.data)
    for _ in range(dice.randint(1, 3)):
        at = dice.randrange(len(data) - 2 if dice.random() < 0.9 else 26)
        what = dice.random()
        if what < 0.6:
            data[at] = dice.choice((*BYTES, dice.randrange(256), data[at] ^ 1 << dice.randrange(8)))
        elif what < 0.8:
            data[at] = (data[at] + dice.choice((1, -1))) & 255
        elif what < 0.9:
            del data[at]
        else:
            data.insert(at, dice.randrange(256))
    if data[4] in CHIPS_BY_ID and data[4] != ATMEGA328P.chip_id:
        data[4] = 255  # the core and the second check are of one chip
    if dice.random() < 0.9:
        struct.pack_into("<H", data, 2, len(data))
    if dice.random() < 0.95:
        data[-2:] = struct.pack("<H", crc(bytes(data[:-2])))
    return bytes(data)


def assert_all_refuse_alike(seeds: range) -> None:
    for seed in seeds:
        data = _damaged(Random(seed))
        code = code_of(data)
        assert refusal(data) == code, f"seed {seed}"
        if available():
            assert library().host_check(data, len(data)) == code, f"seed {seed}"


def test_all_checks_find_one_reason_in_damaged_tables() -> None:
    assert_all_refuse_alike(range(400))


@pytest.mark.long
def test_all_checks_find_one_reason_in_many_damaged_tables() -> None:
    assert_all_refuse_alike(range(1000, 31_000))
