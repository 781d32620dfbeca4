"""All servos follow a stick on the emulated chip, each mixed with idle: pulses stay exact."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firmware_gen.player.player import Player
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.records import ChannelRecord, FollowRecord, ServoRecord, Table
from sim.arrays import Integers
from tests.emulator.emulated import FRAME_CYCLES, EmulatedBoard
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import in_slot, load_servos, load_table
from tests.emulator.readings import TICK_CYCLES
from tests.emulator.test_emulator_channels import CYCLES_US, channel_pins

STICK_US = (1500, 1830)
"""Where the stick stands, and where it is pushed to."""
LASTS = (60, 60)
"""Pulses of each."""


def following(table: Table, pin: int) -> Table:
    """The table with all of its servos following a channel, and idle on top."""
    servos = [n for n, one in enumerate(table.outputs) if isinstance(one, ServoRecord)]
    follows = (
        FollowRecord(n, 0, 2000, 4000, 2000 + 100 * n, 7000 - 50 * n, 300, 3000, mixed=True)
        for n in servos
    )
    return replace(table, senses=(ChannelRecord(pin), *follows), show=0)


def push(board: EmulatedBoard, pin: int) -> None:
    """A pulse a frame, at the same moment of each."""
    at = (board.cycle // FRAME_CYCLES + 2) * FRAME_CYCLES + FRAME_CYCLES // 2
    for width, count in zip(STICK_US, LASTS, strict=True):
        for _ in range(count):
            board.press(pin, 1, at)
            board.press(pin, 0, at + CYCLES_US * width)
            board.run_until(at + FRAME_CYCLES // 2)
            at += FRAME_CYCLES


def played(table: bytes, first: int, frames: int) -> Integers:
    """The pulses that the player gives if it hears the stick from a frame on."""
    player, rows = Player(table), []
    for number in range(frames):
        heard = number - first
        if 0 <= heard < sum(LASTS):
            player.channel(0, 2 * STICK_US[heard >= LASTS[0]])
        rows.append(player.frame().pulses)
    return np.array(rows, np.int64) * TICK_CYCLES


def worst_error(board: EmulatedBoard, wanted: Integers, pins: tuple[int, ...]) -> int:
    """Peak to peak, in cycles: each servo has one pulse a frame from its first on."""
    errors = []
    for number, pin in enumerate(pins):
        widths = board.pulses(pin)[1]
        first = int(np.flatnonzero(wanted[:, number])[0])
        errors.append(widths - wanted[first : first + len(widths), number])
    return int(np.ptp(np.concatenate(errors)))


def test_pulses_are_exact_while_all_servos_follow_a_stick(firmware: Firmware) -> None:
    load = decode(load_table(chip=firmware.chip))
    pin, servos = channel_pins(firmware, load)[0], load_servos(firmware.chip)
    data = encode(following(load, pin))
    with firmware.board(in_slot(data)) as board:
        board.press(pin, 0)
        board.run(ms=1000)
        start = board.cycle // FRAME_CYCLES
        push(board, pin)
        frames = board.cycle // FRAME_CYCLES
        errors = [
            worst_error(board, played(data, first, frames + 1), servos)
            for first in range(start, start + 4)
        ]
        assert min(errors) <= 8
        assert sorted(errors)[1] > 100  # so the stick was followed from that frame on


def test_a_small_chip_has_nothing_that_follows(firmware: Firmware) -> None:
    if firmware.chip.senses:
        pytest.skip(f"{firmware.chip.title} has senses")
    assert not firmware.chip.analog
    assert not firmware.chip.channels
