"""Every pin does on the emulated chip every job that `firmware_gen/chips` says it can."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_gen.chips import CHIPS, Chip
from firmware_gen.crc import cue_tag
from firmware_gen.link.frames import LinkFrame, encode
from firmware_gen.link.protocol import ONE_WAY, TRIGGER, RequestKind
from firmware_gen.player.player import Player
from firmware_gen.table.encode import encode as encode_table
from firmware_gen.table.layout import LAW_IDS
from firmware_gen.table.ops import ActOp, Turn
from firmware_gen.table.records import (
    BindingRecord,
    CueRecord,
    InputRecord,
    LampRecord,
    LawRecord,
    OutputRecord,
    StripRecord,
    SwitchRecord,
    Table,
)
from tests.emulator.emulated import FIRST_PORTS, EmulatedBoard
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import ADDRESS, in_slot, one_move_table, servo
from tests.emulator.readings import TICK_CYCLES, LightReading, find_frames, strip_bytes

Pins = tuple[int, ...]


def any_pins(chip: Chip) -> list[int]:
    return sorted(chip.servo_pins)


def groups(size: int) -> pytest.MarkDecorator:
    """Each chip's pins, `size` at a time."""
    rows = [
        pytest.param(chip.name, pins, id=f"{chip.name}-{chip.pin_name(pins[0])}")
        for chip in CHIPS.values()
        for pins in batched(any_pins(chip), size)
    ]
    return pytest.mark.parametrize(("firmware", "pins"), rows, indirect=["firmware"])


def batched(pins: list[int], size: int) -> list[Pins]:
    return [tuple(pins[start : start + size]) for start in range(0, len(pins), size)]


def elsewhere(chip: Chip, pins: Pins) -> int:
    """A pin on a port that none of these is on."""
    return next(pin for pin in any_pins(chip) if pin // 8 not in {each // 8 for each in pins})


def table_of(chip: Chip, outputs: list[OutputRecord], **more: object) -> bytes:
    fields = {"laws": (LawRecord(LAW_IDS["3-4-5"]),), "enable_interval": 1, **more}
    return encode_table(Table(chip.chip_id, ADDRESS, outputs=tuple(outputs), **fields))  # type: ignore[arg-type]


@groups(8)
def test_every_pin_can_pulse_a_servo(firmware: Firmware, pins: Pins) -> None:
    with firmware.board(in_slot(one_move_table(pins, chip=firmware.chip))) as board:
        board.run(ms=600)
        for number, pin in enumerate(pins):
            widths = board.pulses(pin)[1]
            name = firmware.chip.pin_name(pin)
            assert len(widths) > 10, name
            assert set((widths / TICK_CYCLES).tolist()) == {servo(pin, number).points[1][1]}, name


def test_every_pwm_pin_can_dim_a_lamp(firmware: Firmware) -> None:
    chip, lamps = firmware.chip, sorted(firmware.chip.pwm_pins)
    moving = next(pin for pin in any_pins(chip) if pin not in lamps)
    levels = [LampRecord(pin, 40 + 40 * n % 160 + n) for n, pin in enumerate(lamps)]
    table = table_of(chip, [servo(moving), *levels])
    player = Player(table)
    shown = [player.frame() for _ in range(40)][-1]
    with firmware.board(in_slot(table)) as board:
        board.run(ms=1200)
        frames = find_frames(board, (moving,))
        for number, pin in enumerate(lamps):
            found = LightReading(board, pin).by_frame(frames, 40)[-5:]
            off = np.abs(found - shown.duties[number] / 65535).max()
            assert off <= 1 / 2040, chip.pin_name(pin)


@groups(2)
def test_every_pin_can_feed_a_strip(firmware: Firmware, pins: Pins) -> None:
    moving = elsewhere(firmware.chip, pins)
    outputs = [servo(moving), *(StripRecord(pin, 7, 2, 0, 0) for pin in pins)]
    table = table_of(firmware.chip, outputs, colours=((20, 90, 160),))
    player = Player(table)
    wanted = [player.frame() for _ in range(20)][-1].strips
    assert {len(strip) for strip in wanted} == {21}
    assert len(set(wanted[0])) == 3
    with firmware.board(in_slot(table)) as board:
        board.run(ms=700)
        frames = find_frames(board, (moving,))
        for pin, strip in zip(pins, wanted, strict=False):
            assert strip_bytes(board, pin, frames)[20] == strip, firmware.chip.pin_name(pin)


@groups(10)
@pytest.mark.parametrize("active_high", [True, False])
def test_every_pin_can_switch(firmware: Firmware, pins: Pins, active_high: bool) -> None:
    outputs: list[OutputRecord] = [SwitchRecord(pin, active_high, False) for pin in pins]
    ops = tuple(Turn(number, True) for number in range(len(pins)))
    cues = (CueRecord(cue_tag("on"), (1 << len(pins)) - 1, 0, 1, 0),)
    table = table_of(firmware.chip, outputs, cues=cues, threads=(ops,))
    with firmware.board(in_slot(table)) as board:
        board.run(ms=400)
        assert [_level(board, pin) for pin in pins] == [not active_high] * len(pins)
        payload = TRIGGER.pack(cue_tag("on"))
        board.send(encode(LinkFrame(ADDRESS, RequestKind.TRIGGER | ONE_WAY, 1, payload)))
        board.run(ms=100)
        assert [_level(board, pin) for pin in pins] == [active_high] * len(pins)


@groups(6)
def test_every_pin_can_hear_a_button(firmware: Firmware, pins: Pins) -> None:
    # On another port: the emulator forgets what drives a pin with pull-up when its port is written.
    moving = elsewhere(firmware.chip, pins)
    count = len(pins)
    table = table_of(
        firmware.chip,
        [servo(moving)],
        inputs=tuple(InputRecord(pin, 1 + n, True) for n, pin in enumerate(pins)),
        bindings=tuple(BindingRecord(1 + n, n, False) for n in range(count)),
        cues=tuple(CueRecord(cue_tag(f"go {n}"), 1, 0, 1, n) for n in range(count)),
        threads=tuple((ActOp(0, 5000 + 500 * n, 60, wait=True),) for n in range(count)),
    )
    with firmware.board(in_slot(table)) as board:
        for pin in pins:
            board.press(pin, 1)
        board.run(ms=500)
        for pin in pins:
            before = board.pulses(moving)[1][-1]
            board.press(pin, 0)
            board.run(ms=400)
            assert board.pulses(moving)[1][-1] > before, firmware.chip.pin_name(pin)


def _level(board: EmulatedBoard, pin: int) -> bool:
    direction, port = board.memory(FIRST_PORTS[board.chip.name][pin // 8], 3)[1:]
    return bool(direction & port) and bool(direction >> (pin % 8) & port >> (pin % 8) & 1)
