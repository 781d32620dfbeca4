"""A table that asks for more than the chip has time for, on the emulated chip."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_gen.table.layout import ALONE, FOLLOWS, LEADS
from tests.emulator.emulated import CYCLES_MS, RESET
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import hostile_table, in_slot
from tests.emulator.measuring import stream

WATCHDOG_MS = 250
"""After which the watchdog resets a board without a frame (resets.c)."""
APART_MS = {"atmega328p": 90, "atmega2560": 120}
"""How far apart pulses come at most (FIRMWARE.md)."""


@pytest.mark.parametrize("in_step", [False, True])
def test_a_table_that_asks_for_more_than_there_is_time_for_leaves_pulses_and_no_reset(
    firmware: Firmware, in_step: bool
) -> None:
    role = (LEADS if firmware.chip.leads else FOLLOWS) if in_step else ALONE
    with firmware.board(in_slot(hostile_table(firmware.chip, role))) as board:
        board.run(ms=700)
        board.forget()
        board.send(stream(25 * 3000))  # a full line all the while
        board.run(ms=3000)
        starts, widths = board.pulses(firmware.servos[0])
        assert len(board.events(RESET)) == 0
    apart = np.diff(starts) / CYCLES_MS
    assert apart.max() <= APART_MS[firmware.chip.name] < WATCHDOG_MS
    assert len(set(widths.tolist())) > 10  # it plays
