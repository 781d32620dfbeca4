"""Every pin does on the emulated chip every job that `firmware_gen/chips` says it can."""

from __future__ import annotations

import numpy as np
import pytest

from firmware_gen.chips import CHIPS
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.crc import cue_tag
from firmware_gen.link.frames import LinkFrame, encode
from firmware_gen.link.protocol import ONE_WAY, TRIGGER, RequestKind
from firmware_gen.player.player import Player
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
from firmware_gen.table.records import encode as encode_table
from tests.emulator.emulated import EmulatedBoard
from tests.emulator.load_show import ADDRESS, in_slot, one_move_table, servo
from tests.emulator.readings import TICK_CYCLES, LightReading, find_frames, strip_bytes

CHIP = CHIPS["atmega328p"]
ANY = sorted(CHIP.servo_pins)
LAMPS = sorted(CHIP.pwm_pins)


def table_of(outputs: list[OutputRecord], **more: object) -> bytes:
    fields = {"laws": (LawRecord(LAW_IDS["3-4-5"]),), "enable_interval": 1, **more}
    return encode_table(Table(CHIP.chip_id, ADDRESS, outputs=tuple(outputs), **fields))  # type: ignore[arg-type]


@pytest.mark.parametrize("start", range(0, len(ANY), 8))
def test_every_pin_can_pulse_a_servo(flash: bytes, start: int) -> None:
    pins = ANY[start : start + 8]
    with EmulatedBoard(flash, in_slot(one_move_table(pins))) as board:
        board.run(ms=600)
        for number, pin in enumerate(pins):
            widths = board.pulses(pin)[1]
            assert len(widths) > 10, ATMEGA328P.pin_name(pin)
            assert set((widths / TICK_CYCLES).tolist()) == {3050 + 60 * number}, (
                ATMEGA328P.pin_name(pin)
            )


def test_every_pwm_pin_can_dim_a_lamp(flash: bytes) -> None:
    table = table_of([servo(ANY[0]), *(LampRecord(p, 40 + 40 * n) for n, p in enumerate(LAMPS))])
    player = Player(table)
    shown = [player.frame() for _ in range(40)][-1]
    with EmulatedBoard(flash, in_slot(table)) as board:
        board.run(ms=1200)
        frames = find_frames(board, (ANY[0],))
        for number, pin in enumerate(LAMPS):
            found = LightReading(board, pin).by_frame(frames, 40)[-5:]
            assert np.abs(found - shown.duties[number] / 65535).max() <= 1 / 2040, (
                ATMEGA328P.pin_name(pin)
            )


@pytest.mark.parametrize("pin", [pin for pin in ANY if pin != ANY[0]], ids=ATMEGA328P.pin_name)
def test_every_pin_can_feed_a_strip(flash: bytes, pin: int) -> None:
    colours = ((20, 90, 160),)
    table = table_of([servo(ANY[0]), StripRecord(pin, 7, 2, 0, 0)], colours=colours)
    player = Player(table)
    wanted = [player.frame() for _ in range(20)][-1].strips[0]
    assert len(wanted) == 21
    assert len(set(wanted)) == 3
    with EmulatedBoard(flash, in_slot(table)) as board:
        board.run(ms=700)
        found = strip_bytes(board, pin, find_frames(board, (ANY[0],)))
        assert found[20] == wanted, ATMEGA328P.pin_name(pin)


@pytest.mark.parametrize("start", range(0, len(ANY), 10))
@pytest.mark.parametrize("active_high", [True, False])
def test_every_pin_can_switch(flash: bytes, start: int, active_high: bool) -> None:
    pins = ANY[start : start + 10]
    outputs: list[OutputRecord] = [SwitchRecord(pin, active_high, False) for pin in pins]
    ops = tuple(Turn(number, True) for number in range(len(pins)))
    cues = (CueRecord(cue_tag("on"), (1 << len(pins)) - 1, 0, 1, 0),)
    table = table_of(outputs, cues=cues, threads=(ops,))
    with EmulatedBoard(flash, in_slot(table)) as board:
        board.run(ms=400)
        assert [_level(board, pin) for pin in pins] == [not active_high] * len(pins)
        payload = TRIGGER.pack(cue_tag("on"))
        board.send(encode(LinkFrame(ADDRESS, RequestKind.TRIGGER | ONE_WAY, 1, payload)))
        board.run(ms=100)
        assert [_level(board, pin) for pin in pins] == [active_high] * len(pins)


@pytest.mark.parametrize("pin", ANY, ids=ATMEGA328P.pin_name)
def test_every_pin_can_hear_a_button(flash: bytes, pin: int) -> None:
    # On another port: the emulator forgets what drives a pin with pull-up when its port is written.
    moving = next(each for each in ANY if each // 8 != pin // 8)
    ops = (ActOp(0, 8000, 60, wait=True),)
    table = table_of(
        [servo(moving)],
        inputs=(InputRecord(pin, 5, True),),
        bindings=(BindingRecord(5, 0, False),),
        cues=(CueRecord(cue_tag("go"), 1, 0, 1, 0),),
        threads=(ops,),
    )
    with EmulatedBoard(flash, in_slot(table)) as board:
        board.press(pin, 1)
        board.run(ms=500)
        before = board.pulses(moving)[1][-1]
        board.press(pin, 0)
        board.run(ms=400)
        assert board.pulses(moving)[1][-1] > before, ATMEGA328P.pin_name(pin)


def _level(board: EmulatedBoard, pin: int) -> bool:
    direction, port = board.memory(0x23 + 3 * (pin // 8), 3)[1:]
    return bool(direction & port) and bool(direction >> (pin % 8) & port >> (pin % 8) & 1)
