"""Edges of pulses that want to come close to one another, to the tick, or late (pulses.c)."""

from __future__ import annotations

import random
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from firmware_gen.build import image
from firmware_gen.table.records import ServoRecord, Table, encode
from sim.rulebook import PULSE_RANGE
from tests.emulator.emulated import CYCLES_MS, FRAME_CYCLES, EmulatedBoard
from tests.emulator.load_show import ADDRESS, CHIP, LAWS, SERVO_PINS, in_slot
from tests.emulator.measuring import saturate, stream
from tests.emulator.readings import TICK_CYCLES, Ints

EDGE_GAP, FIRST_EDGE, WINDOW_TICK = 320, 1024, 32000
"""Cycles, as in pulses.c: between two edges; from the tick to the first; from tick to tick."""
SHORTEST, LONGEST = PULSE_RANGE
AT_THE_TICK = (WINDOW_TICK - FIRST_EDGE) // TICK_CYCLES
"""The first servo's pulse of this width would end right at the tick."""
GAP = EDGE_GAP // TICK_CYCLES
"""A servo's first choice is to start so much later than the one before it."""
FARTHEST = (5163, 5200, 5045, 4857, 4638, 4363, 4052, 5200)
"""Found by search: of 120,000 sets of eight widths none ends later."""


def resting(pin: int, width: int) -> ServoRecord:
    """A servo whose safe angle is at a pulse of this width, in ticks of 0.5 us."""
    other = width + 200 if width < 3000 else width - 200
    points = sorted(((0, min(width, other)), (9000, max(width, other))))
    return ServoRecord(pin, (0, 9000), 1200, 20000, 0 if width < 3000 else 9000, tuple(points))


def window(flash: bytes, widths: Sequence[int]) -> tuple[Ints, Ints]:
    """Rises and falls by frame and servo, in cycles after the tick, while the line is full."""
    outputs = tuple(map(resting, SERVO_PINS, widths))
    table = encode(Table(CHIP, ADDRESS, outputs=outputs, laws=LAWS, enable_interval=1))
    with EmulatedBoard(flash, in_slot(table)) as board:
        board.run(ms=400)
        board.forget()
        board.send(stream(5000))
        board.run(ms=200)
        pulses = [board.pulses(pin) for pin in SERVO_PINS]
    count = min(len(starts) for starts, _ in pulses) - 2
    assert count >= 5
    first = min(int(starts[1]) for starts, _ in pulses)
    rises, falls = [], []
    for starts, found in pulses:
        begin = int(np.flatnonzero(starts >= first)[0])
        rises.append(starts[begin : begin + count])
        falls.append(rises[-1] + found[begin : begin + count])
    # Nothing stands in the first servo's way but the tick, so its rise tells when the tick was.
    ticks = first + np.arange(count) * FRAME_CYCLES - first_choice(widths[0])
    return np.array(rises).T - ticks[:, None], np.array(falls).T - ticks[:, None]


def first_choice(width: int) -> int:
    """When the first servo's pulse starts, in cycles after the tick."""
    fall = FIRST_EDGE + width * TICK_CYCLES
    near = abs(fall - WINDOW_TICK) < EDGE_GAP
    return FIRST_EDGE + (WINDOW_TICK + EDGE_GAP - fall) * near


def check(rises: Ints, falls: Ints, widths: Sequence[int]) -> int:
    """Every width is exact, and all edges and the tick are a gap apart; in how many frames."""
    assert (falls - rises == np.array(widths) * TICK_CYCLES).all()
    edges = np.concatenate((rises, falls, np.full((len(rises), 1), WINDOW_TICK)), axis=1)
    assert np.diff(np.sort(edges, axis=1), axis=1).min() >= EDGE_GAP
    assert edges.max() <= 3.9 * CYCLES_MS
    return len(rises)


@pytest.mark.parametrize("shift", [-2 * GAP, -GAP, 1 - GAP, -3, -1, 0, 1, 2, GAP - 1, GAP])
def test_pulses_that_would_end_at_the_tick_keep_clear_of_it_and_are_exact(
    flash: bytes, shift: int
) -> None:
    widths = [AT_THE_TICK - GAP * n + shift - 3 * n * (n % 2) for n in range(len(SERVO_PINS))]
    rises, falls = window(flash, widths)
    check(rises, falls, widths)
    after = falls[falls >= WINDOW_TICK]
    assert after.min() - WINDOW_TICK < 2 * EDGE_GAP


def test_a_pulse_just_before_the_tick_and_one_just_after_it_are_exact(flash: bytes) -> None:
    # The second servo starts a gap later: its own first choice ends a gap behind the tick.
    widths = [AT_THE_TICK - GAP, AT_THE_TICK, *([SHORTEST] * 6)]
    rises, falls = window(flash, widths)
    check(rises, falls, widths)
    assert set(falls[:, 0].tolist()) == {WINDOW_TICK - EDGE_GAP}
    assert set(falls[:, 1].tolist()) == {WINDOW_TICK + EDGE_GAP}


@pytest.mark.parametrize("width", [SHORTEST, 3000, LONGEST])
def test_equal_pulses_are_exact_and_apart(flash: bytes, width: int) -> None:
    widths = [width] * len(SERVO_PINS)
    assert check(*window(flash, widths), widths) >= 5


@pytest.mark.parametrize("seed", range(8))
def test_pulses_of_any_widths_are_exact_and_apart(flash: bytes, seed: int) -> None:
    draw = random.Random(seed)
    near = draw.randrange(SHORTEST, LONGEST - 300)
    widths = [
        draw.choice(
            (SHORTEST, LONGEST, draw.randint(SHORTEST, LONGEST), near + draw.randrange(300))
        )
        for _ in SERVO_PINS
    ]
    assert check(*window(flash, widths), widths) >= 5


def test_the_longest_window_found_ends_well_before_its_second_tick(flash: bytes) -> None:
    rises, falls = window(flash, FARTHEST)
    check(rises, falls, FARTHEST)
    assert falls.max() > LONGEST * TICK_CYCLES + 12_000
    assert falls.max() <= 3.4 * CYCLES_MS


def optimised(level: str) -> tuple[str, ...]:
    return tuple(level if flag == "-Os" else flag for flag in image.FLAGS)


@pytest.mark.skipif(not image.can_build(), reason="NO AVR COMPILER: no other build is tested")
@pytest.mark.parametrize("level", ["-O1", "-O2", "-O3", "-Os"])
def test_pulses_are_exact_however_the_compiler_orders_and_times_the_code(
    level: str, tmp_path: Path
) -> None:
    """With -O3 the whole does not fit the chip, so only the chip's layer is compiled so."""
    if level == "-O3":
        path = image.build("atmega328p", tmp_path, chip_layer=[level])
    else:
        path = image.build("atmega328p", tmp_path, flags=optimised(level))
    flash = image.flash_bytes(image.read_hex(path.read_text("ascii")))
    for widths in (FARTHEST, [AT_THE_TICK - GAP * n for n in range(len(SERVO_PINS))]):
        assert check(*window(flash, widths), widths) >= 5
    for heavier in (False, True):
        load = saturate(flash, 10_000, heavier=heavier)
        assert load.pulses > 150
        assert load.pulse_error_cycles == 0
        assert load.bytes_lost == 0


def test_a_pin_that_a_disturbance_turned_over_is_right_again_in_the_next_frame(
    flash: bytes,
) -> None:
    # A register bit turned over by a static discharge: edges toggle the pin, so it would stay so.
    outputs = tuple(resting(pin, 3000) for pin in SERVO_PINS)
    table = encode(Table(CHIP, ADDRESS, outputs=outputs, laws=LAWS, enable_interval=1))
    with EmulatedBoard(flash, in_slot(table)) as board:
        board.run(ms=1000)
        for pin in SERVO_PINS:
            port = 0x25 + 3 * (pin >> 3)  # PORTx: data sheet, 31 Register Summary
            while board.memory(port, 1)[0] & 1 << (pin & 7):
                board.run(ms=0.5)
            board.poke(port, board.memory(port, 1)[0] | 1 << (pin & 7))
        board.run(ms=45)
        board.forget()
        board.run(ms=100)
        for pin in SERVO_PINS:
            _, widths = board.pulses(pin)
            assert len(widths) >= 4
            assert set(widths.tolist()) == {3000 * TICK_CYCLES}
