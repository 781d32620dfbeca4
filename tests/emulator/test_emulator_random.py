"""Random tables on the emulated chip: its pins do what the reference player says.

The core that the host compiles is held against the reference elsewhere, in far more cases; what is
the chip's own (arithmetic in assembly, numbers of three bytes, outputs) is what this is for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from random import Random

import numpy as np
import pytest

from firmware_gen.frames import LinkFrame, encode
from firmware_gen.image import flash_bytes, merge, merged_room
from firmware_gen.player import Frame, Player
from firmware_gen.protocol import ONE_WAY, TRIGGER, Kind
from firmware_gen.table import LampRecord, ServoRecord, StripRecord, Table
from firmware_gen.table import encode as encode_table
from tests.emulator.emulated import BYTE_CYCLES, CYCLES_MS, FRAME_CYCLES, EmulatedBoard
from tests.emulator.readings import (
    TICK_CYCLES,
    Frames,
    Light,
    find_frames,
    pulse_cycles,
    strip_bytes,
)
from tests.firmware_gen.random_tables import random_table

CHIP = "atmega328p"
COUNT = 250
"""Frames."""
FIRST_MS, LAST_MS = 760, 20 * COUNT - 400
"""Triggers come in between; before, pulses tell where frames lie."""
PLAY_CYCLES = 6 * CYCLES_MS
LAMP_STEP = 1 / 2040

WIDE_MOVE = 32
"""Has a move of 419 deg: its way times a share has 33 bits, which the chip once lost."""


@dataclass(frozen=True)
class Played:
    """What a table made of the pins, and what it must."""

    frames: Frames
    wanted: list[Frame]


def table_with_servos(dice: Random) -> Table:
    """One that fits behind the firmware; a lost cue would start when the test is silent."""
    while True:
        table = replace(random_table(dice), address=1, lost=None, lost_time=0)
        fits = len(encode_table(table)) <= merged_room(CHIP)
        if fits and any(isinstance(output, ServoRecord) for output in table.outputs):
            return table


def servo_pins(table: Table) -> tuple[int, ...]:
    return tuple(output.pin for output in table.outputs if isinstance(output, ServoRecord))


def play(board: EmulatedBoard, table: Table, dice: Random) -> Played:
    """Trigger cues at random, clear of the moments at which frames are played."""
    board.run(ms=FIRST_MS - 60)
    frames = find_frames(board, servo_pins(table))
    due_ms = frames.first % FRAME_CYCLES // CYCLES_MS
    heard: dict[int, list[int]] = {}
    now, seq = FIRST_MS, 0
    while now < LAST_MS:
        tag = dice.choice(table.cues).tag
        data = encode(LinkFrame(1, Kind.TRIGGER | ONE_WAY, seq & 255, TRIGGER.pack(tag)))
        board.run_until((20 * (now // 20) + due_ms + dice.choice((2, 5))) * CYCLES_MS)
        board.send(data)
        end = board.cycle + len(data) * BYTE_CYCLES
        heard.setdefault((end - frames.first + PLAY_CYCLES) // FRAME_CYCLES + 1, []).append(tag)
        now += dice.randrange(80, 600)
        seq += 1
    board.run_until((COUNT + 4) * FRAME_CYCLES)
    player = Player(encode_table(table))
    wanted = []
    for number in range(COUNT):
        for tag in heard.get(number, ()):
            player.trigger(tag)
            player.heard()
        wanted.append(player.frame())
    return Played(frames, wanted)


def differences(flash: bytes, seed: int) -> list[str]:
    """Where the chip's outputs are not the reference's, for a seed's table and triggers."""
    dice = Random(seed)
    table = table_with_servos(dice)
    image = merge(CHIP, dict(enumerate(flash)), encode_table(table))
    found: list[str] = []
    with EmulatedBoard(flash_bytes(image), b"") as board:
        played = play(board, table, dice)
        for number, pin in enumerate(servo_pins(table)):
            widths = pulse_cycles(board, pin, played.frames, COUNT) / TICK_CYCLES
            wanted = np.array([frame.pulses[number] for frame in played.wanted])
            found += [f"servo {number} frame {k}" for k in np.flatnonzero(widths != wanted)]
        lamps = [output for output in table.outputs if isinstance(output, LampRecord)]
        for number, lamp in enumerate(lamps):
            light = Light(board, lamp.pin).by_frame(played.frames, COUNT)
            wanted = np.array([frame.duties[number] for frame in played.wanted]) / 65535
            off = np.flatnonzero(np.abs(light - wanted) > LAMP_STEP)
            found += [f"lamp {number} frame {k}: {light[k]}, not {wanted[k]}" for k in off]
        strips = [output for output in table.outputs if isinstance(output, StripRecord)]
        for number, strip in enumerate(strips):
            sent = strip_bytes(board, strip.pin, played.frames)
            found += [
                f"strip {number} frame {k}"
                for k in range(5, COUNT)
                if sent.get(k) != played.wanted[k].strips[number]
            ]
    return found


@pytest.mark.parametrize("seed", [*range(8), WIDE_MOVE])
def test_a_random_table_plays_on_the_chip_as_the_reference_says(flash: bytes, seed: int) -> None:
    assert differences(flash, seed) == []


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100, 250))
def test_many_random_tables_play_on_the_chip_as_the_reference_says(flash: bytes, seed: int) -> None:
    assert differences(flash, seed) == []
