"""Invented tables for measuring: the heaviest show the chip is promised to play, and small ones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firmware_gen.board.slots import FIRST_BYTE, MARKS
from firmware_gen.chips import CHIPS, CHIPS_BY_ID, FIRST, Chip
from firmware_gen.crc import cue_tag
from firmware_gen.table.encode import encode
from firmware_gen.table.layout import EFFECTS, LAW_IDS, LOOP_FOREVER, ORDERS
from firmware_gen.table.ops import (
    ActOp,
    Delay,
    DrawnOp,
    ForkTo,
    Loop,
    LoopBack,
    Modulate,
    TableOp,
)
from firmware_gen.table.records import (
    CueRecord,
    LampRecord,
    LawRecord,
    OutputRecord,
    ServoRecord,
    StripRecord,
    Table,
)
from sim.rulebook import OUTPUTS

PIXELS = 60
ADDRESS = 7


@dataclass(frozen=True)
class Wiring:
    """Where the measured tables have their outputs on a chip: as many servos as it drives."""

    servos: tuple[int, ...]
    lamps: tuple[int, int]
    strip: int


def _wired(chip: Chip, servos: str, lamps: str, strip: str) -> Wiring:
    first, second = map(chip.pin, lamps.split())
    return Wiring(tuple(map(chip.pin, servos.split())), (first, second), chip.pin(strip))


WIRINGS = {
    FIRST.name: _wired(FIRST, "PB0 PB1 PB2 PB4 PC0 PC1 PD4 PD7", "PD6 PB3", "PC3"),
    "atmega2560": _wired(
        CHIPS["atmega2560"],
        "PA0 PB0 PC0 PC1 PD4 PF0 PG0 PH0 PJ1 PK7 PL0 PL7 PA7 PK0 PF5 PE6",
        "PL4 PB7",
        "PH7",
    ),
}

CHIP_AT = 4
"""A table's byte that says for which chip it is (TABLE.md 1.1)."""
MOVING = 8
"""Threads of the load that move servos."""

DOUBLE_S, MINIMUM_JERK, UNIFORM = 1, 0, 2
LAWS = (
    LawRecord(LAW_IDS["3-4-5"]),
    LawRecord(LAW_IDS["double-S"], 21845, 16384),
    LawRecord(LAW_IDS["uniform"]),
)
COLOURS = ((20, 20, 20), (180, 90, 40), (60, 160, 200))


def servo(pin: int, number: int = 0) -> ServoRecord:
    """Range 0 to 90 deg, fast enough never to be stretched, three points."""
    shift = 50 * number
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


def way_of(number: int) -> tuple[int, int, int]:
    """The ends of a servo's way and the time that it takes, each servo's another."""
    return 300 + 100 * number, 8700 - 150 * number, 390 + 37 * number


def glimmer(strip: int) -> TableOp:
    """Each pixel of a strip glimmers in its own way."""
    return Modulate(strip, EFFECTS.index("ember"), 310, 160, 5, 1)


def load_servos(chip: Chip, *, heavier: bool = False) -> tuple[int, ...]:
    """Pins of the load's servos: as many as the chip and the table have room for."""
    others = 1 + len(WIRINGS[chip.name].lamps) * heavier
    return WIRINGS[chip.name].servos[: OUTPUTS - others]


def load_table(*, heavier: bool = False, pixels: int = PIXELS, chip: Chip = FIRST) -> bytes:
    """The promised load: servos that never rest and a strip of 60 pixels that glimmers.

    `heavier`: half of the servos by the costliest law, the strip under a current cap, and two lamps
    that breathe.
    """
    wiring, pins = WIRINGS[chip.name], load_servos(chip, heavier=heavier)
    outputs: list[OutputRecord] = [servo(pin, n) for n, pin in enumerate(pins)]
    outputs.append(StripRecord(wiring.strip, pixels, ORDERS.index("grb"), 60 * heavier, 0))
    strip = len(outputs) - 1
    light: tuple[TableOp, ...] = (glimmer(strip),)
    if heavier:
        outputs += [LampRecord(pin, 40) for pin in wiring.lamps]
        light += (
            Modulate(strip + 1, EFFECTS.index("breathe"), 900, 180),
            Modulate(strip + 2, EFFECTS.index("breathe"), 700, 100),
            ActOp(strip + 1, 150, 500),
            ActOp(strip + 2, 90, 500),
        )
    light += sweep(strip, 1, 2, 800, UNIFORM)
    laws = (MINIMUM_JERK, DOUBLE_S if heavier else MINIMUM_JERK)
    moves = [_moves(range(n, len(pins), MOVING), laws[n % 2]) for n in range(MOVING)]
    first = tuple(ForkTo(n) for n in range(1, MOVING + 1))
    threads = ((*first, *moves[0]), *moves[1:], light)
    cues = (CueRecord(cue_tag("load"), (1 << len(outputs)) - 1, 0, len(threads), 0, strand=True),)
    return encode(
        Table(
            chip.chip_id,
            ADDRESS,
            outputs=tuple(outputs),
            colours=COLOURS,
            laws=LAWS,
            cues=cues,
            threads=threads,
            enable_interval=1,
        )
    )


def _moves(servos: Sequence[int], law: int) -> tuple[TableOp, ...]:
    """Servos that go to and fro together for ever; the first says how long."""
    n = servos[0]
    low, high, duration_ms = way_of(n)
    others = servos[1:]
    return (
        Loop(LOOP_FOREVER),
        *(ActOp(other, high - 100 * k, duration_ms, law=law) for k, other in enumerate(others, 1)),
        ActOp(n, high, duration_ms, wait=True, law=law),
        *(ActOp(other, low + 100 * k, duration_ms, law=law) for k, other in enumerate(others, 1)),
        ActOp(n, low, duration_ms, wait=True, law=law),
        LoopBack(),
    )


def hostile_table(chip: Chip, role: int) -> bytes:
    """A table that passes every check and asks for far more moves than any chip can plan.

    Strands draw a new move of the costliest law for each servo every millisecond, while a strip
    glimmers. On a board in step with others such a move does not wait for the one before it.
    """
    wiring = WIRINGS[chip.name]
    pins, moving = wiring.servos[:14], min(MOVING, chip.servos // 2)
    pixels, moves = (100, 3) if len(pins) > 8 else (60, 1)
    outputs: list[OutputRecord] = [servo(pin, n) for n, pin in enumerate(pins)]
    outputs.append(StripRecord(wiring.strip, pixels, ORDERS.index("grb"), 60, 0))
    strip = len(outputs) - 1
    threads: list[tuple[TableOp, ...]] = []
    for thread in range(moving):
        drawn = DrawnOp(time_key=3 + thread, most_ms=40, target_key=7 + thread, most=8700)
        servos = range(thread, len(pins), moving)
        acts = [
            ActOp(n, 300 + 200 * k, 1, law=0, drawn=drawn) for k in range(moves) for n in servos
        ]
        threads.append((Loop(LOOP_FOREVER), *acts, Delay(1), LoopBack()))
    threads[0] = (*(ForkTo(n) for n in range(1, moving + 1)), *threads[0])
    light = (ActOp(strip, 1, 1), Delay(1), ActOp(strip, 2, 1), Delay(1))
    threads.append((glimmer(strip), Loop(LOOP_FOREVER), *light, LoopBack()))
    cues = (CueRecord(cue_tag("load"), (1 << len(outputs)) - 1, 0, len(threads), 0, strand=True),)
    return encode(
        Table(
            chip.chip_id,
            ADDRESS,
            outputs=tuple(outputs),
            colours=COLOURS,
            laws=(LawRecord(LAW_IDS["double-S"], 21845, 16384, 20000),),
            cues=cues,
            threads=tuple(threads),
            enable_interval=1,
            role=role,
        )
    )


AT_THE_LIMIT_MS, WITH_TIME_TO_SPARE_MS = 60, 120
"""Of moves that `one_move_table` has: an eased one is stretched to 101 (3-4-5) or 103 ms."""


def one_move_table(
    pins: Sequence[int] | None = None,
    law: int = UNIFORM,
    chip: Chip = FIRST,
    duration_ms: int = AT_THE_LIMIT_MS,
) -> bytes:
    """A cue `go` that jerks every servo at once and one `back`; nothing moves otherwise."""
    pins = WIRINGS[chip.name].servos if pins is None else pins
    outputs = tuple(servo(pin, n) for n, pin in enumerate(pins))
    go = tuple(
        ActOp(n, 8000, duration_ms, wait=n == len(pins) - 1, law=law) for n in range(len(pins))
    )
    back = tuple(
        ActOp(n, 4500, duration_ms, wait=n == len(pins) - 1, law=law) for n in range(len(pins))
    )
    mask = (1 << len(pins)) - 1
    cues = (CueRecord(cue_tag("go"), mask, 0, 1, 0), CueRecord(cue_tag("back"), mask, 0, 1, 1))
    return encode(
        Table(
            chip.chip_id,
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
    chip = CHIPS_BY_ID[table[CHIP_AT]]
    start = FIRST_BYTE + slot * chip.slot_bytes
    cells = bytearray(b"\xff" * chip.memory.eeprom)
    cells[start : start + len(table)] = table
    cells[FIRST_BYTE + chip.slots * chip.slot_bytes] = MARKS[slot]
    return bytes(cells)
