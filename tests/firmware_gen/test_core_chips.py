"""The core knows no chip: what it needs of one stands in the chip's folder."""

from __future__ import annotations

import ctypes
import re
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import pytest

from firmware_gen.build.image import HERE, LAYER
from firmware_gen.chips import CHIPS, Chip
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.chips.atmega2560 import CHIP as ATMEGA2560
from firmware_gen.chips.chip import package
from firmware_gen.crc import crc16
from firmware_gen.link.protocol import ReportedMode, State
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import ALONE, FOLLOWS, LEADS
from firmware_gen.table.ops import Delay
from firmware_gen.table.records import CueRecord, Table
from tests.firmware_gen.host.core import CORE, available, compile_core

PINS = package(**dict.fromkeys("ABCDEFGHJKL", range(8)))
LARGER = replace(
    ATMEGA328P,
    name="larger",
    chip_id=9,
    memory=replace(
        ATMEGA328P.memory, flash=0x40000, merged_start=0x10000, eeprom=4096, slot=2000, chunk=64
    ),
    servos=12,
    leads=True,
    follows=True,
    joins=True,
    senses=True,
    keeps=True,
    pixels=200,
    pins=PINS,
    reserved=MappingProxyType({}),
    pwm=MappingProxyType(dict.fromkeys(list(PINS.values())[:12], "a channel")),
)
"""Invented: more ports, pins, cells and lamps than the chips there are."""


LEADER_CHIP = replace(
    ATMEGA328P, name="leader", chip_id=ATMEGA2560.chip_id, leads=True, follows=True
)
LEADER_TABLE = encode(
    Table(
        ATMEGA2560.chip_id,
        1,
        role=LEADS,
        cues=(CueRecord(7, 0, 0, 1, 0), CueRecord(8, 0, 1, 1, 1, claims=0x8001)),
        threads=((Delay(10),), ()),
    )
)
"""Two cues without an output, the second of which claims something on other boards."""


@pytest.mark.parametrize("path", sorted(CORE.glob("*.[ch]")), ids=lambda path: path.name)
def test_nothing_in_the_core_names_a_chip_or_speaks_its_language(path: Path) -> None:
    text = path.read_text("ascii")
    names = {word for chip in CHIPS.values() for word in (chip.name, chip.title)}
    assert not re.search("|".join((*names, r"\bavr\b", "__AVR", r"\basm\b", "__asm__")), text, re.I)


@pytest.mark.parametrize("chip", CHIPS)
def test_a_chips_folders_hold_what_the_core_includes_of_it(chip: str) -> None:
    included = set()
    for path in CORE.glob("*.[ch]"):
        included |= set(re.findall(r'#include "(\w+\.h)"', path.read_text("ascii")))
    ours = {path.name for path in CORE.glob("*.h")}
    assert included - ours == {"bc_chip.h", "bc_flash.h"}
    for name in included - ours:
        assert any((HERE / folder / name).exists() for folder in (chip, LAYER))


@pytest.mark.skipif(not available(), reason="there is no C compiler")
def test_the_core_compiles_and_starts_for_a_chip_with_other_numbers(tmp_path: Path) -> None:
    path = tmp_path / "larger.so"
    compile_core(path, "-shared", "-fPIC", "-O1", "-Wl,-z,defs", chip=LARGER)
    core = ctypes.CDLL(str(path))
    assert core.host_start(1) == 0
    assert core.host_frames(3) == 0
    assert core.host_mode() == ReportedMode.BLANK


@pytest.mark.skipif(not available(), reason="there is no C compiler")
def test_the_core_accepts_a_table_that_leads_on_a_chip_that_can(tmp_path: Path) -> None:
    path = tmp_path / "leads.so"
    compile_core(path, "-shared", "-fPIC", "-O1", "-Wl,-z,defs", chip=LEADER_CHIP)
    core = ctypes.CDLL(str(path))
    for role, fits in ((ALONE, False), (LEADS, True), (FOLLOWS, False)):
        data = bytearray(LEADER_TABLE)
        data[22] = role
        data[-2:] = crc16(bytes(data[:-2])).to_bytes(2, "little")
        assert (core.host_check(bytes(data), len(data)) == 0) is fits
    assert core.host_check(LEADER_TABLE, len(LEADER_TABLE)) == 0


@pytest.mark.parametrize("chip", CHIPS.values(), ids=lambda chip: chip.name)
def test_a_reply_has_room_for_all_that_a_chip_says_of_itself(chip: Chip) -> None:
    """What it says beyond that would be written over whatever stands behind the reply."""
    senses = {"stuck": 0, "battery_mv": 0} if chip.senses else {}
    said = State(*range(12), **senses).pack()
    header = (HERE / chip.name / "bc_chip.h").read_text("ascii")
    assert f"BC_REPORT = {1 + len(said)}\n" in header
