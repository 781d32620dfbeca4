"""The core's numbers are those of the Python tables."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from firmware_gen.build.generate import chip_header, core_header, headers
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.table.lightness import LEVEL_TOP, duty_of, lightness_of


@pytest.mark.parametrize(("path", "text"), headers().items(), ids=[path.stem for path in headers()])
def test_the_checked_in_header_is_the_generated_one(path: Path, text: str) -> None:
    assert path.read_text(encoding="ascii") == text


def test_the_header_states_limits_of_the_chip() -> None:
    numbers = dict(re.findall(r"(BC_[A-Z_0-9]+) = (\w+)", chip_header(ATMEGA328P)))
    assert int(numbers["BC_SLOT_BYTES"]) == ATMEGA328P.slot_bytes
    assert int(numbers["BC_LAMPS"]) == 4


def test_no_name_stands_twice() -> None:
    text = core_header() + chip_header(ATMEGA328P)
    names = re.findall(r"^    (BC_[A-Z_0-9]+) = ", text, re.MULTILINE)
    assert len(names) == len(set(names))


def test_the_header_states_the_numbers_of_duties() -> None:
    numbers = dict(re.findall(r"(BC_[A-Z_0-9]+) = (\w+)", core_header()))
    growth, start, offset = (
        int(numbers[f"BC_{name}"]) for name in ("LIGHTNESS_GROWTH", "CUBE_START", "CUBE_OFFSET")
    )
    for level in range(0, LEVEL_TOP + 1, 100):
        assert lightness_of(level) == level + (level * growth >> 16)
    assert duty_of(start) == (((start + offset) ** 2 >> 16) * (start + offset) >> 16) + 2
    assert duty_of(start - 1) == ((start - 1) * 33 >> 8) - (start - 1 >> 11)
