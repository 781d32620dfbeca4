"""A chip with the image that ships for it, ready to be put on an emulated board."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_gen.build.image import flash_bytes, read_hex, shipped
from firmware_gen.chips import Chip
from tests.emulator.emulated import EmulatedBoard
from tests.emulator.load_show import WIRINGS, Wiring


@dataclass(frozen=True)
class Firmware:
    chip: Chip
    flash: bytes

    @property
    def wiring(self) -> Wiring:
        return WIRINGS[self.chip.name]

    @property
    def servos(self) -> tuple[int, ...]:
        """Pins of all servos that the measured tables have."""
        return self.wiring.servos

    def board(self, eeprom: bytes = b"") -> EmulatedBoard:
        return EmulatedBoard(self.flash, eeprom, chip=self.chip)


def shipped_for(chip: Chip) -> Firmware:
    return Firmware(chip, flash_bytes(read_hex(shipped(chip.name).read_text("ascii"))))
