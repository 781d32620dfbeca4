"""The core's arithmetic on the chip, whose `int` has 16 bits, against whole numbers."""

from __future__ import annotations

import struct
import subprocess
from collections.abc import Callable, Sequence
from math import isqrt
from pathlib import Path
from random import Random
from typing import TypeAlias

import pytest

from firmware_gen.build.image import (
    COMPILER,
    FLAGS,
    HERE,
    can_build,
    chip_flags,
    flash_bytes,
    read_hex,
)
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.crc import crc16
from firmware_gen.table.laws import LISTED, UNIFORM_ID, law_by_id
from sim.rulebook import PEAK_MIDDLE, PEAK_RANGE
from sim.score.fixed_laws import progress
from tests.emulator.emulated import EmulatedBoard

pytestmark = pytest.mark.skipif(
    not can_build(), reason="NO AVR COMPILER: the chip's arithmetic is not tested by itself"
)

ROWS = 85
GPIOR0 = 0x3E
"""Data space address (data sheet 31, Register Summary)."""
TOP = 2**32 - 1
PARABOLIC, TRAPEZOID, DOUBLE_S = 1, 2, 9
Row: TypeAlias = tuple[int, int, int]


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, int]:
    """Flash, and where its results are in RAM; compiled as the firmware is."""
    folder = tmp_path_factory.mktemp("arithmetic")
    sources = [HERE / "core" / "bc_math.c", HERE / "core" / "bc_laws.c"]
    sources.append(Path(__file__).parent / "programs" / "arithmetic.c")
    elf, image = folder / "arithmetic.elf", folder / "arithmetic.hex"
    _call(COMPILER, *chip_flags(ATMEGA328P), *FLAGS, *sources, "-o", elf)
    _call("avr-objcopy", "-O", "ihex", "-R", ".eeprom", elf, image)
    names = _call("avr-nm", elf).splitlines()
    address = next(int(line.split()[0], 16) for line in names if line.endswith(" results"))
    return flash_bytes(read_hex(image.read_text("ascii"))), address & 0xFFFF


def _call(*words: str | Path) -> str:
    done = subprocess.run(
        [str(word) for word in words], cwd=HERE, capture_output=True, text=True, check=True
    )
    return done.stdout


def on_the_chip(program: tuple[bytes, int], function: int, rows: Sequence[Row]) -> list[int]:
    flash, address = program
    cells = bytearray(struct.pack("<B3x", function))
    for a, b, c in rows:
        cells += struct.pack("<III", a & TOP, b, c)
    with EmulatedBoard(flash, bytes(cells)) as board:
        for _ in range(200):
            board.run(ms=5)
            if board.memory(GPIOR0, 1) == b"\x01":
                break
        else:
            pytest.fail("the program came to no end")
        return list(struct.unpack(f"<{ROWS}I", board.memory(address, 4 * ROWS)))


def number(dice: Random, bits: int) -> int:
    """Of any size, often at its ends."""
    size = dice.randint(1, bits)
    kinds = (0, 1, 2**size - 1, 2 ** (size - 1), dice.getrandbits(size), dice.getrandbits(size))
    return dice.choice(kinds)


def signed(value: int) -> int:
    return value - 2**32 if value >= 2**31 else value


def share_of(dice: Random) -> int:
    return min(number(dice, 17), 65536)


def part_and_whole(dice: Random) -> Row:
    whole = max(1, number(dice, 16))
    return dice.randint(0, whole), whole, 0


def progress_of(elapsed: int, total: int) -> int:
    if elapsed > 2**31 or total == 0:
        return 0
    return 65536 if elapsed >= total else progress(elapsed, total)


def law(dice: Random) -> tuple[int, int, int, int]:
    law_id = dice.choice((UNIFORM_ID, *LISTED, PARABOLIC, TRAPEZOID, DOUBLE_S, DOUBLE_S))
    alpha = dice.choice((64, 32768, dice.randint(64, 32768))) if law_id in (2, 9) else 0
    beta = dice.choice((1, 32768, dice.randint(1, 32768))) if law_id == DOUBLE_S else 0
    peak = (
        dice.choice((PEAK_MIDDLE, PEAK_MIDDLE, *PEAK_RANGE, dice.randint(*PEAK_RANGE)))
        if law_id != UNIFORM_ID
        else PEAK_MIDDLE
    )
    return law_id, alpha, beta, peak


def law_row(dice: Random, b: int) -> Row:
    law_id, alpha, beta, peak = law(dice)
    return law_id | alpha << 8, b, beta | peak << 16


def law_in(row: Row):
    return law_by_id(row[0] & 0xFF, row[0] >> 8, row[2] & 0xFFFF, row[2] >> 16)


def coefficient(row: Row) -> int:
    found = law_in(row)
    return (found.cv, found.ca, found.overlap)[row[1]]


Case: TypeAlias = tuple[str, Callable[[Random], Row], Callable[[Row], int]]

CASES: list[Case] = [
    (
        "scale",
        lambda dice: (number(dice, 32), share_of(dice), 0),
        lambda r: (signed(r[0]) * r[1] >> 16) & TOP,
    ),
    (
        "quotient",
        lambda dice: (number(dice, 32), number(dice, 32), number(dice, 32)),
        lambda r: 0 if r[0] == 0 else min(r[0] * r[1] // r[2], TOP) if r[2] else TOP,
    ),
    (
        "root",
        lambda dice: (number(dice, 32), dice.randint(16, 30), 0),
        lambda r: isqrt(r[0] << (2 * r[1] - 32)),
    ),
    (
        "product",
        lambda dice: (number(dice, 16), number(dice, 16), 0),
        lambda r: r[0] * r[1] >> 16,
    ),
    ("share", part_and_whole, lambda r: (r[0] << 16) // r[1]),
    (
        "progress",
        lambda dice: (number(dice, 32), number(dice, 31), 0),
        lambda r: progress_of(r[0], r[1]),
    ),
    ("cube", lambda dice: (number(dice, 16), 0, 0), lambda r: (r[0] * r[0] >> 16) * r[0] >> 16),
    (
        "crc",
        lambda dice: (number(dice, 16), number(dice, 8), 0),
        lambda r: crc16(bytes([r[1]]), r[0]),
    ),
    (
        "position of a law",
        lambda dice: law_row(dice, share_of(dice)),
        lambda r: law_in(r).position(r[1]),
    ),
    (
        "slope of a law",
        lambda dice: law_row(dice, share_of(dice)),
        lambda r: law_in(r).shape(r[1])[1],
    ),
    ("coefficient of a law", lambda dice: law_row(dice, dice.randrange(3)), coefficient),
]


@pytest.mark.parametrize("function", range(len(CASES)), ids=[case[0] for case in CASES])
def test_the_chip_computes_what_the_reference_does(
    program: tuple[bytes, int], function: int
) -> None:
    _, make, wanted = CASES[function]
    dice = Random(function)
    for _ in range(12):
        rows = [make(dice) for _ in range(ROWS)]
        found = on_the_chip(program, function, rows)
        wrong = [
            (row, one, wanted(row))
            for row, one in zip(rows, found, strict=True)
            if one != wanted(row)
        ]
        assert wrong == []
