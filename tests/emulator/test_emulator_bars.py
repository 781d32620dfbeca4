"""Strips that show a level on the emulated chip: their pixels are the reference player's."""

from __future__ import annotations

from random import Random

import pytest

from firmware_gen.chips.atmega2560 import CHIP as ATMEGA2560
from firmware_gen.table.layout import FOLLOWS
from firmware_gen.table.records import BarRecord
from tests.emulator.firmware import Firmware
from tests.emulator.test_emulator_random import compare, random_moments, table_with_servos
from tests.firmware_gen.random_tables import with_bars


@pytest.mark.parametrize("firmware", [ATMEGA2560.name], indirect=True)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_strip_shows_a_level_on_the_chip_as_the_reference_says(
    firmware: Firmware, seed: int
) -> None:
    dice = Random(seed)
    table = table_with_servos(dice, firmware.chip)
    while table.role == FOLLOWS or not any(isinstance(one, BarRecord) for one in table.senses):
        table = with_bars(dice, table_with_servos(dice, firmware.chip))
    wrong, different = compare(firmware, table, random_moments(dice, table))
    assert wrong == []
    assert different > 20
