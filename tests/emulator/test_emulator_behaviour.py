"""Lamps, inputs and a spoilt link on the emulated chip."""

from __future__ import annotations

import random

import numpy as np
import pytest

from firmware_gen.build.image import flash_bytes
from firmware_gen.chips import FIRST, Chip
from firmware_gen.crc import cue_tag
from firmware_gen.link.frames import LinkFrame, encode
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import ONE_WAY, TRIGGER, ReportedMode, RequestKind, State
from firmware_gen.table.encode import encode as encode_table
from firmware_gen.table.lightness import duty_of, lightness_of
from firmware_gen.table.ops import ActOp, Loop, LoopBack
from firmware_gen.table.records import (
    BindingRecord,
    CueRecord,
    InputRecord,
    LampRecord,
    PatienceRecord,
    SettlingRecord,
    Table,
)
from tests.emulator.emulated import FRAME_CYCLES, PWM, EmulatedBoard
from tests.emulator.emulated_port import EmulatedPort
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import (
    ADDRESS,
    LAWS,
    UNIFORM,
    WIRINGS,
    in_slot,
    load_table,
    one_move_table,
    servo,
)
from tests.emulator.readings import ROUND_CYCLES, LightReading, refreshes
from tests.unchecked import merge_unchecked


def lightness(y: float) -> float:
    """CIE L* of a relative luminance (CIE 15:2004, 8.2.1)."""
    return 903.2963 * y if y <= (6 / 29) ** 3 else 116 * y ** (1 / 3) - 16


def lamp_light(firmware: Firmware, level: int) -> tuple[float, set[int]]:
    """Light of all lamps at a safe level (all alike), and the compare values in use."""
    pins = sorted(firmware.chip.pwm_pins)
    outputs = tuple(LampRecord(pin, level) for pin in pins)
    table = encode_table(Table(firmware.chip.chip_id, ADDRESS, outputs))
    with firmware.board(in_slot(table)) as board:
        board.run(ms=150)
        means = {
            round(LightReading(board, pin).mean(board.cycle - 2 * ROUND_CYCLES), 9) for pin in pins
        }
        assert len(means) == 1
        rows = board.events(PWM)
        return means.pop(), set((rows["b"] & 255).tolist())


def test_successive_levels_are_at_most_one_l_star_apart_from_dark_on(firmware: Firmware) -> None:
    levels = [
        lightness(lamp_light(firmware, level)[0]) for level in (*range(24), *range(24, 201, 16))
    ]
    assert levels[0] == 0.0
    assert np.diff(levels[:24]).max() <= 1.0
    assert np.diff(levels[:24]).min() >= 0.0
    assert levels[2] > 0.0
    for level, found in zip(range(24, 201, 16), levels[24:], strict=True):
        assert found == pytest.approx(
            lightness(duty_of(lightness_of(256 * level)) / 65535), abs=0.25
        )


def test_full_is_truly_on(firmware: Firmware) -> None:
    assert lamp_light(firmware, 200)[0] == 1.0


BUTTON_PIN = "PC5"


def button_table(chip: Chip, active_low: bool) -> bytes:
    cues = (CueRecord(cue_tag("go"), 1, 0, 1, 0),)
    return encode_table(
        Table(
            chip.chip_id,
            ADDRESS,
            outputs=(servo(WIRINGS[chip.name].servos[0]),),
            laws=LAWS,
            inputs=(InputRecord(chip.pin(BUTTON_PIN), 1, active_low),),
            bindings=(BindingRecord(1, 0, False),),
            cues=cues,
            threads=((ActOp(0, 8000, 60, wait=True, law=UNIFORM),),),
            enable_interval=1,
        )
    )


@pytest.mark.parametrize("active_low", [True, False])
def test_a_bouncing_button_starts_its_cue_once_and_a_spike_does_not(
    firmware: Firmware, active_low: bool
) -> None:
    pressed, free = (0, 1) if active_low else (1, 0)
    button, moving = firmware.chip.pin(BUTTON_PIN), firmware.servos[0]
    with firmware.board(in_slot(button_table(firmware.chip, active_low))) as board:
        board.press(button, free)
        board.run(ms=400)
        at = board.cycle
        board.press(button, pressed, at + 16000)
        board.press(button, free, at + 18 * 16000)  # 17 ms: too short to count
        board.run(ms=200)
        assert len(set(board.pulses(moving)[1].tolist())) == 1
        at = board.cycle
        for n in range(7):  # five milliseconds of bouncing
            board.press(button, (pressed, free)[n % 2], at + 16000 + n * 13000)
        board.run(ms=300)
        widths = board.pulses(moving)[1]
        assert len(set(widths.tolist())) > 2
        link = HostLink(EmulatedPort(board))
        link.greet()
        assert State.unpack(link.ask(RequestKind.STATUS).rest).refused == 0


LONG_FRAMES = 25


def presses_table(chip: Chip) -> bytes:
    """A long press moves a servo; a second button toggles what a third stops; a slow contact."""
    pins = WIRINGS[chip.name].servos
    cues = tuple(CueRecord(cue_tag(name), 1 << n, 0, 1, n) for n, name in enumerate(("go", "hum")))
    hum = (Loop(0), ActOp(1, 8000, 200, True), ActOp(1, 1000, 200, True), LoopBack())
    return encode_table(
        Table(
            *(chip.chip_id, ADDRESS),
            outputs=(servo(pins[0]), servo(pins[1])),
            laws=LAWS,
            inputs=tuple(
                InputRecord(chip.pin(pin), n, True)
                for n, pin in enumerate(("PC5", "PC6", "PC7"), 1)
            ),
            bindings=(
                BindingRecord(1, 0, False, "long"),
                BindingRecord(2, 1, False, manner="toggle", ends=True),
            ),
            cues=cues,
            threads=((ActOp(0, 8000, 60, wait=True, law=UNIFORM),), hum),
            senses=(PatienceRecord(1, LONG_FRAMES, False), SettlingRecord(1, 4)),
            enable_interval=1,
            stop_button=3,
        )
    )


def test_long_and_toggled_presses_and_slow_contacts_on_a_chip_with_senses(
    firmware: Firmware,
) -> None:
    chip = firmware.chip
    if not chip.senses:
        pytest.skip(f"{chip.title} has no senses")
    first, second, stop = (chip.pin(pin) for pin in ("PC5", "PC6", "PC7"))
    with firmware.board(in_slot(presses_table(chip))) as board:

        def moved(index: int, ms: int) -> bool:
            before = len(board.pulses(firmware.servos[index])[1])
            board.run(ms=ms)
            return len(set(board.pulses(firmware.servos[index])[1][before:].tolist())) > 1

        for pin in (first, second, stop):
            board.press(pin, 1)
        board.run(ms=400)
        board.press(first, 0, board.cycle + 100)
        board.press(first, 1, board.cycle + 16000 * 300)
        assert not moved(0, 700)  # too short for a long press
        board.press(first, 0, board.cycle + 100)
        assert not moved(0, 400)
        assert moved(0, 300)  # and it stays down from here on: stuck
        at = board.cycle
        for n in range(40):  # a chattering contact, longer than an ordinary one settles
            board.press(second, n % 2, at + 1000 + n * 16000 * 50)
        board.press(second, 1, at + 1000 + 40 * 16000 * 50)
        assert not moved(1, 2200)
        board.press(second, 0, board.cycle + 100)
        assert moved(1, 500)
        board.press(second, 1, board.cycle + 100)
        assert moved(1, 500)  # on without the button
        board.press(second, 0, board.cycle + 100)
        board.run(ms=500)
        assert not moved(1, 300)
        board.press(stop, 0, board.cycle + 100)
        board.run(ms=100)
        link = HostLink(EmulatedPort(board))
        link.greet()
        state = State.unpack(link.ask(RequestKind.STATUS).rest)
        assert state.mode in (ReportedMode.STOPPING, ReportedMode.LIMP)
        assert state.stuck == 0
        board.run(ms=28_000)
        state = State.unpack(link.ask(RequestKind.STATUS).rest)
        assert state.stuck == 1 << 1  # it alone has been down for 30 s


def spoilt(draw: random.Random, frame: bytes) -> bytes:
    """A frame with bits flipped, cut short, or noise in its place; never a valid one by intent."""
    what = draw.randrange(3)
    data = bytearray(frame)
    if what == 0:
        for _ in range(draw.randrange(1, 4)):
            data[draw.randrange(1, len(data) - 1)] ^= 1 << draw.randrange(8)
    elif what == 1:
        del data[draw.randrange(1, len(data) - 1) :]
    else:
        data = bytearray(draw.randbytes(draw.randrange(1, 100)))
    if bytes(data) == frame:  # the same bit twice
        return spoilt(draw, frame)
    return bytes(data) + b"\0"


def bad_frames_counted(firmware: Firmware, count: int) -> int:
    """Spoilt triggers on the line; how many the board counted as bad. None may be obeyed."""
    draw = random.Random(5)
    with firmware.board(in_slot(one_move_table(chip=firmware.chip))) as board:
        board.log()
        board.run(ms=600)
        for start in range(0, count, 2000):
            batch = bytearray()
            for _ in range(min(2000, count - start)):
                payload = TRIGGER.pack(cue_tag("go"))
                kind = RequestKind.TRIGGER | ONE_WAY
                frame = encode(LinkFrame(ADDRESS, kind, draw.randrange(256), payload))
                batch += spoilt(draw, frame)
            board.send(bytes(batch))
            while board.sending:
                board.run(ms=50)
        board.run(ms=50)
        board.log(1, 5)
        board.forget()
        board.run(ms=100)
        assert set(board.pulses(firmware.servos[0])[1].tolist()) == {8 * 3050}, (
            "a spoilt trigger moved"
        )
        link = HostLink(EmulatedPort(board))
        link.greet()
        state = State.unpack(link.ask(RequestKind.STATUS).rest)
        assert state.watchdog_resets == 0
        assert link.ask(RequestKind.TRIGGER, TRIGGER.pack(cue_tag("go"))).done
        return state.bad_frames


def test_spoilt_frames_are_never_obeyed_and_good_ones_still_are(firmware: Firmware) -> None:
    assert bad_frames_counted(firmware, 10_000) > 9_000


@pytest.mark.long
def test_a_hundred_thousand_spoilt_frames_are_never_obeyed(firmware: Firmware) -> None:
    assert bad_frames_counted(firmware, 100_000) > 0.9 * 65535


def test_a_merged_table_that_fills_the_smallest_room_is_checked_within_a_second_and_plays(
    firmware: Firmware,
) -> None:
    outputs = tuple(servo(pin, number) for number, pin in enumerate(firmware.servos[:8]))
    acts = tuple(ActOp(n % 8, 300 + 7 * n, 1000, wait=True, law=0) for n in range(90))
    threads = 5
    cues = tuple(
        CueRecord(cue_tag(f"cue {n}"), 255, 0, 1, n, strand=n == 0) for n in range(threads)
    )
    table = encode_table(
        Table(
            firmware.chip.chip_id,
            ADDRESS,
            outputs=outputs,
            laws=LAWS,
            cues=cues,
            threads=(acts,) * threads,
            enable_interval=1,
        )
    )
    assert len(table) <= firmware.chip.memory.merged_room()
    if firmware.chip == FIRST:
        assert len(table) > firmware.chip.memory.merged_room() * 0.85
    image = merge_unchecked(dict(enumerate(firmware.flash)), table, firmware.chip.name)
    with EmulatedBoard(flash_bytes(image), chip=firmware.chip) as board:
        board.run(ms=1000)
        starts, _ = board.pulses(firmware.servos[0])
        assert len(starts) > 10
        link = HostLink(EmulatedPort(board))
        assert link.greet().current_slot == 254  # the merged table, LINK.md section 3
        assert link.state().watchdog_resets == 0


FLOOD_PIXELS = {"atmega328p": 100, "atmega2560": 34}
"""With as many servos as the table has room for."""


@pytest.mark.parametrize("kind", [RequestKind.STATUS, RequestKind.BEACON | ONE_WAY])
def test_a_flood_of_requests_holds_up_no_frame_and_no_strip(firmware: Firmware, kind: int) -> None:
    """A strip waits until no request does; never so long that the next frame would wait for it."""
    flood = b"".join(encode(LinkFrame(ADDRESS, kind, n & 255, b"")) for n in range(3000))
    with firmware.board(
        in_slot(load_table(pixels=FLOOD_PIXELS[firmware.chip.name], chip=firmware.chip))
    ) as board:
        link = HostLink(EmulatedPort(board))
        link.greet()
        board.run(ms=500)
        board.forget()
        before = board.cycle
        board.send(flood)
        while board.sending:
            board.run(ms=20)
        frames = (board.cycle - before) / FRAME_CYCLES
        starts = np.array([start for start, _ in refreshes(board, firmware.wiring.strip)])
        assert frames > 30
        # one at an end of the time may fall outside it, and one that waits starts somewhat later
        assert abs(len(starts) - frames) < 1.25
        assert np.diff(starts).max() < 1.5 * FRAME_CYCLES
        board.run(ms=40)  # a frame may stand half in the line
        assert link.greet().mode == ReportedMode.READY
        assert link.state().watchdog_resets == 0
