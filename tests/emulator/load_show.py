"""Invented tables for measuring: the heaviest show the chip is promised to play, and small ones."""

from __future__ import annotations

from collections.abc import Sequence

from firmware_gen.chips import CHIPS
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.crc import cue_tag
from firmware_gen.table.layout import EFFECTS, LAW_IDS, LOOP_FOREVER, ORDERS
from firmware_gen.table.ops import ActOp, ForkTo, Loop, LoopBack, Modulate, TableOp
from firmware_gen.table.records import (
    CueRecord,
    LampRecord,
    LawRecord,
    OutputRecord,
    ServoRecord,
    StripRecord,
    Table,
    encode,
)

SERVO_PINS = tuple(map(ATMEGA328P.pin, ("PB0", "PB1", "PB2", "PB4", "PC0", "PC1", "PD4", "PD7")))
LAMP_PINS = tuple(map(ATMEGA328P.pin, ("PD6", "PB3")))
STRIP_PIN = ATMEGA328P.pin("PC3")
PIXELS = 60
ADDRESS = 7
CHIP = CHIPS["atmega328p"].chip_id

DOUBLE_S, MINIMUM_JERK, UNIFORM = 1, 0, 2
LAWS = (
    LawRecord(LAW_IDS["3-4-5"]),
    LawRecord(LAW_IDS["double-S"], 21845, 16384),
    LawRecord(LAW_IDS["uniform"]),
)


def servo(pin: int, number: int = 0) -> ServoRecord:
    """Range 0 to 90 deg, fast enough never to be stretched, three points."""
    shift = 60 * number
    points = ((0, 1600 + shift), (4500, 3050 + shift), (9000, 4400 + shift))
    return ServoRecord(pin, (0, 9000), 1200, 20000, 4500, points)


def sweep(output: int, low: int, high: int, duration_ms: int, law: int) -> tuple[TableOp, ...]:
    """To and fro for ever."""
    return (
        Loop(LOOP_FOREVER),
        ActOp(output, high, duration_ms, wait=True, law=law),
        ActOp(output, low, duration_ms, wait=True, law=law),
        LoopBack(),
    )


def load_table(*, heavier: bool = False, pixels: int = PIXELS) -> bytes:
    """The promised load: eight servos that never rest and a strip of 60 pixels that glimmers.

    `heavier`: half of the servos by the costliest law, the strip under a current cap, and two lamps
    that breathe.
    """
    outputs: list[OutputRecord] = [servo(pin, n) for n, pin in enumerate(SERVO_PINS)]
    outputs.append(StripRecord(STRIP_PIN, pixels, ORDERS.index("grb"), 60 * heavier, 0))
    strip = len(outputs) - 1
    laws = (MINIMUM_JERK, DOUBLE_S if heavier else MINIMUM_JERK)
    moves = [
        sweep(n, 300 + 100 * n, 8700 - 150 * n, 390 + 37 * n, laws[n % 2])
        for n in range(len(SERVO_PINS))
    ]
    light: tuple[TableOp, ...] = (Modulate(strip, EFFECTS.index("ember"), 310, 160, 5, 1),)
    if heavier:
        outputs += [LampRecord(pin, 40) for pin in LAMP_PINS]
        light += (
            Modulate(9, EFFECTS.index("breathe"), 900, 180),
            Modulate(10, EFFECTS.index("breathe"), 700, 100),
            ActOp(9, 150, 500),
            ActOp(10, 90, 500),
        )
    light += sweep(strip, 1, 2, 800, UNIFORM)
    first = tuple(ForkTo(n) for n in range(1, len(SERVO_PINS) + 1))
    threads = ((*first, *moves[0]), *moves[1:], light)
    cues = (CueRecord(cue_tag("load"), (1 << len(outputs)) - 1, 0, len(threads), 0),)
    return encode(
        Table(
            CHIP,
            ADDRESS,
            outputs=tuple(outputs),
            colours=((20, 20, 20), (180, 90, 40), (60, 160, 200)),
            laws=LAWS,
            cues=cues,
            threads=threads,
            idle=0,
            enable_interval=1,
        )
    )


def one_move_table(pins: Sequence[int] = SERVO_PINS, law: int = UNIFORM) -> bytes:
    """A cue `go` that jerks every servo at once and one `back`; nothing moves otherwise."""
    outputs = tuple(servo(pin, n) for n, pin in enumerate(pins))
    go = tuple(ActOp(n, 8000, 60, wait=n == len(pins) - 1, law=law) for n in range(len(pins)))
    back = tuple(ActOp(n, 4500, 60, wait=n == len(pins) - 1, law=law) for n in range(len(pins)))
    mask = (1 << len(pins)) - 1
    cues = (CueRecord(cue_tag("go"), mask, 0, 1, 0), CueRecord(cue_tag("back"), mask, 0, 1, 1))
    return encode(
        Table(
            CHIP,
            ADDRESS,
            outputs=outputs,
            laws=LAWS,
            cues=cues,
            threads=(go, back),
            enable_interval=1,
        )
    )


def in_slot(table: bytes, slot: int = 0) -> bytes:
    """An EEPROM with a table in a slot and the mark naming it (LINK.md section 6)."""
    start = (4, 504)[slot]
    cells = bytearray(b"\xff" * 1024)
    cells[start : start + len(table)] = table
    cells[1004] = (0x3C, 0xC3)[slot]
    return bytes(cells)
