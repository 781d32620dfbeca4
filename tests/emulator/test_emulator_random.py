"""Random tables on the emulated chip: its pins do what the reference player says.

The core that the host compiles is held against the reference elsewhere, in far more cases; what is
the chip's own (arithmetic in assembly, numbers of three bytes, outputs) is what this is for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from random import Random
from typing import TypeAlias

import pytest

from firmware_gen.build.image import flash_bytes
from firmware_gen.chips import Chip
from firmware_gen.link.frames import LinkFrame, encode
from firmware_gen.link.protocol import ONE_WAY, TRIGGER, ReportedMode, RequestKind
from firmware_gen.player.outputs import Frame
from firmware_gen.player.player import Player
from firmware_gen.table.encode import encode as encode_table
from firmware_gen.table.ops import ActOp, Delay
from firmware_gen.table.records import ServoRecord, Table
from tests.emulator.emulated import BYTE_CYCLES, CYCLES_MS, FRAME_CYCLES, EmulatedBoard
from tests.emulator.firmware import Firmware
from tests.emulator.readings import (
    Frames,
    differences,
    find_frames,
)
from tests.firmware_gen.random_tables import random_table
from tests.firmware_gen.tables_by_hand import LAMP, servo
from tests.firmware_gen.tables_by_hand import table as by_hand
from tests.unchecked import merge_unchecked

COUNT = 250
"""Frames."""
SECOND = 50
FIRST_MS, LAST_MS = 760, 20 * COUNT - 400
"""Triggers come in between; before, pulses tell where frames lie."""

WIDE_MOVES = {"atmega328p": 678, "atmega2560": 1748}
"""Have moves of over 400 deg: their way times a share has 33 bits, which the chip once lost."""


Moments: TypeAlias = Sequence[tuple[int, int]]
"""When (ms from power-up) which cue (tag) is triggered."""


def table_with_servos(dice: Random, chip: Chip) -> Table:
    """One that fits behind the firmware; a lost cue would start when the test is silent."""
    while True:
        table = replace(random_table(dice, chip), address=1, lost=None, lost_time=0)
        fits = len(encode_table(table)) <= chip.memory.merged_room()
        if fits and any(isinstance(output, ServoRecord) for output in table.outputs):
            return table


def random_moments(dice: Random, table: Table) -> Moments:
    found, now = [], FIRST_MS
    while now < LAST_MS:
        found.append((now, dice.choice(table.cues).tag))
        now += dice.randrange(80, 600)
    return found


def servo_pins(table: Table) -> tuple[int, ...]:
    return tuple(output.pin for output in table.outputs if isinstance(output, ServoRecord))


def play(
    board: EmulatedBoard, table: Table, moments: Moments, count: int
) -> tuple[Frames, list[Frame]]:
    """Trigger cues clear of the moments at which frames are played; what the player shows."""
    board.run(ms=FIRST_MS - 60)
    frames = find_frames(board, servo_pins(table))
    due_ms = frames.first % FRAME_CYCLES // CYCLES_MS
    heard: dict[int, list[int]] = {}
    for seq, (at_ms, tag) in enumerate(moments):
        data = encode(LinkFrame(1, RequestKind.TRIGGER | ONE_WAY, seq & 255, TRIGGER.pack(tag)))
        board.run_until((20 * (at_ms // 20) + due_ms + 2 + 3 * (seq % 2)) * CYCLES_MS)
        board.send(data)
        end = board.cycle + len(data) * BYTE_CYCLES
        heard.setdefault(frames.hearing(end), []).append(tag)
    board.run_until((count + 4) * FRAME_CYCLES)
    player = Player(encode_table(table))
    wanted = []
    for number in range(count):
        for tag in heard.get(number, ()):
            if player.mode == ReportedMode.READY:  # else the link refuses it (LINK.md 2.3)
                player.trigger(tag)
            player.heard()
        wanted.append(player.frame())
    return frames, wanted


def compare(
    firmware: Firmware, table: Table, moments: Moments, count: int = COUNT
) -> tuple[list[str], int]:
    """Where the chip's outputs are not the reference's; how many different frames were shown."""
    image = merge_unchecked(
        dict(enumerate(firmware.flash)), encode_table(table), firmware.chip.name
    )
    with EmulatedBoard(flash_bytes(image), chip=firmware.chip) as board:
        frames, shown = play(board, table, moments, count)
        return differences(board, table, frames, shown), len({frame.raw for frame in shown})


def compare_random(firmware: Firmware, seed: int) -> tuple[list[str], int]:
    dice = Random(seed)
    table = table_with_servos(dice, firmware.chip)
    return compare(firmware, table, random_moments(dice, table))


def test_moves_waits_and_fades_longer_than_three_bytes_of_time_end_on_the_chip_too(
    firmware: Firmware,
) -> None:
    """As with the core that the host compiles, whose numbers have four bytes."""
    slow = servo(firmware.servos[0], speed=1)  # 1 deg/s
    lamp = replace(LAMP, pin=firmware.wiring.lamps[0])
    acts = (ActOp(0, 8000, 100), ActOp(0, 2000, 100), ActOp(0, 3000, 100))
    light = (ActOp(1, 200, 65_000, True), ActOp(1, 0, 1000), Delay(65_000), ActOp(1, 100, 500))
    show = replace(by_hand((slow, lamp), (acts, light), uses=(1, 2)), chip=firmware.chip.chip_id)
    moments = ((FIRST_MS, 1), (FIRST_MS + 500, 2))
    wrong, different = compare(firmware, show, moments, 300 * SECOND)
    assert wrong == []
    assert different > 1000


SEEDS = {
    "atmega328p": (73, 106, 109, 118, 166, 203, 216, WIDE_MOVES["atmega328p"]),
    "atmega2560": (23, 42, 77, 148, WIDE_MOVES["atmega2560"]),
}
"""With which a lot moves on that chip."""


@pytest.mark.parametrize(
    ("firmware", "seed"),
    [(chip, seed) for chip, seeds in SEEDS.items() for seed in seeds],
    indirect=["firmware"],
)
def test_a_random_table_plays_on_the_chip_as_the_reference_says(
    firmware: Firmware, seed: int
) -> None:
    wrong, different = compare_random(firmware, seed)
    assert wrong == []
    assert different > 20


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100, 250))
def test_many_random_tables_play_on_the_chip_as_the_reference_says(
    firmware: Firmware, seed: int
) -> None:
    assert compare_random(firmware, seed)[0] == []
