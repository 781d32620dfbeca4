"""A stick that starts cues and says how far they go, on the emulated chip: to the tick."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firmware_gen.chips.atmega2560 import CHIP as ATMEGA2560
from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.ops import ActOp
from firmware_gen.table.records import (
    BandRecord,
    BindingRecord,
    ChannelRecord,
    CueRecord,
    ScaleRecord,
    Table,
)
from sim.arrays import Integers
from tests.emulator.emulated import FRAME_CYCLES, EmulatedBoard
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import in_slot, load_servos, load_table
from tests.emulator.readings import TICK_CYCLES
from tests.emulator.test_emulator_channels import CYCLES_US, channel_pins
from tests.emulator.test_emulator_following import worst_error

STICK_US = (1500, 1640, 1830, 1300)
"""Where the stick stands; the first presses nothing, each other lies in a band of its own. Near
each of them the scale is the same: the chip may measure a tick more or less."""
LASTS = 60
"""Pulses of each."""


MOVES = (
    ActOp(0, 8600, 390),
    ActOp(1, 500, 700),
    ActOp(2, 7700, 450, wait=True),
    ActOp(0, 300, 390, wait=True),
    ActOp(2, 4000, 300),
)
"""Of three servos: as many as begin together without a late frame."""


def scaled(table: Table, pin: int) -> Table:
    """The table's outputs, with a cue that a stick starts and scales."""
    bands = (
        BandRecord(0, 3200, 3400, 1),
        BandRecord(0, 3500, 3800, 2),
        BandRecord(0, 2400, 2700, 3),
    )
    return replace(
        table,
        bindings=tuple(BindingRecord(button, 0, False) for button in (1, 2, 3)),
        cues=(CueRecord(1, 0b111, 0, 1, 0),),
        threads=(MOVES,),
        senses=(ChannelRecord(pin), *bands, ScaleRecord(0, 0, 2800, 3600, 40, 190, 100)),
        lost=None,
        show=0,
    )


def push(board: EmulatedBoard, pin: int) -> None:
    """A pulse a frame, at the same moment of each, clear of those at which frames begin."""
    at = (board.cycle // FRAME_CYCLES + 2) * FRAME_CYCLES + FRAME_CYCLES // 4
    for width in STICK_US:
        for _ in range(LASTS):
            board.press(pin, 1, at)
            board.press(pin, 0, at + CYCLES_US * width)
            board.run_until(at + FRAME_CYCLES // 2)
            at += FRAME_CYCLES


def played(table: bytes, first: int, frames: int) -> Integers:
    """The pulses that the player gives if it hears the stick from a frame on."""
    player, rows = Player(table), []
    for number in range(frames):
        heard = number - first
        if 0 <= heard < LASTS * len(STICK_US):
            player.channel(0, 2 * STICK_US[heard // LASTS])
        rows.append(player.frame().pulses)
    return np.array(rows, np.int64) * TICK_CYCLES


@pytest.mark.parametrize("firmware", [ATMEGA2560.name], indirect=True)
def test_a_stick_scales_the_cues_that_it_starts_on_the_chip_as_the_reference_says(
    firmware: Firmware,
) -> None:
    load = decode(load_table(chip=firmware.chip))
    pin, servos = channel_pins(firmware, load)[0], load_servos(firmware.chip)
    data = encode(scaled(load, pin))
    with firmware.board(in_slot(data)) as board:
        board.press(pin, 0)
        board.run(ms=1000)
        start = board.cycle // FRAME_CYCLES
        push(board, pin)
        frames = board.cycle // FRAME_CYCLES
        errors = [
            worst_error(board, played(data, first, frames + 1), servos)
            for first in range(start, start + 5)
        ]
        moved = {int(width) for one in servos for width in board.pulses(one)[1]}
    assert min(errors) <= TICK_CYCLES
    assert sorted(errors)[1] > 100  # so the stick was heard from that frame on
    assert len(moved) > 100
