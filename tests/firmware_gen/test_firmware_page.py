"""FIRMWARE.md says of the chip what its entry says."""

from __future__ import annotations

from pathlib import Path

import pytest

import firmware_gen
from firmware_gen.build.image import merged_room
from firmware_gen.chips.atmega328p import CHIP
from firmware_gen.table.layout import CRC_SIZE
from sim.rulebook import FRAME_MS

PAGE = (Path(firmware_gen.__file__).parent / "FIRMWARE.md").read_text(encoding="utf-8")
PLAIN = " ".join(PAGE.split())
MEMORY, FUSES = CHIP.memory, CHIP.tools.fuses


@pytest.mark.parametrize(
    "words",
    [
        f"both run at {CHIP.clock_hz / 1e6:g} MHz",
        f"`{CHIP.name}/`",
        f"low 0x{FUSES['lfuse']:02X} crystal",
        f"high 0x{FUSES['hfuse']:02X} EEPROM kept",
        f"extended 0x{FUSES['efuse']:02X} brown-out at {CHIP.electrics.brown_out_v} V",
        f"one EEPROM byte at a time, {1000 * MEMORY.write_s:g} ms",
        f"at 0x{MEMORY.merged_start:04x}, up to {merged_room(CHIP.name):,} bytes below a "
        f"{MEMORY.flash - MEMORY.boot_start}-byte boot loader",
    ],
)
def test_the_page_has_the_figures_of_the_chip(words: str) -> None:
    assert words in PLAIN


def test_a_frame_has_ten_ticks_of_two_ms() -> None:
    assert f"exactly {FRAME_MS // 10} ms, ten ticks are a frame" in PLAIN


def test_the_entry_s_memory_hangs_together() -> None:
    assert MEMORY.merged_start < MEMORY.boot_start < MEMORY.flash
    assert 2 * MEMORY.slot + CRC_SIZE < MEMORY.eeprom
    assert MEMORY.chunk < MEMORY.ram
