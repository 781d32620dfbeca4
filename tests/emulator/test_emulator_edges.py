"""Edges of pulses that want to come close to one another, to the tick, or late (pulses.c)."""

from __future__ import annotations

import random
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from firmware_gen.build import image
from firmware_gen.chips import CHIPS, FIRST
from firmware_gen.chips.chip import Chip
from firmware_gen.table.encode import encode
from firmware_gen.table.records import ServoRecord, Table
from sim.rulebook import PULSE_RANGE
from tests.emulator.emulated import CYCLES_MS, FIRST_PORTS, FRAME_CYCLES
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import ADDRESS, LAWS, in_slot
from tests.emulator.measuring import saturate, stream
from tests.emulator.readings import TICK_CYCLES, Ints

EDGE_GAPS = {"atmega328p": 320, "atmega2560": 352}
"""Cycles between two edges, as in pulses.c: a servo's first choice is to start so much later than
the one before it."""
FIRST_EDGE, WINDOW_TICK = 1024, 32000
"""Cycles from the tick to the first edge; from tick to tick."""
A_WINDOW, WINDOW = 8, 2 * WINDOW_TICK
"""Servos that have their pulses together, and cycles from their tick to that of the next eight."""
SHORTEST, LONGEST = PULSE_RANGE
AT_THE_TICK = (WINDOW_TICK - FIRST_EDGE) // TICK_CYCLES
"""The first servo's pulse of this width would end right at the tick."""
FARTHEST = (5163, 5200, 5045, 4857, 4638, 4363, 4052, 5200)
"""Found by search: of 120,000 sets of eight widths none ends later."""


def resting(pin: int, width: int) -> ServoRecord:
    """A servo whose safe angle is at a pulse of this width, in ticks of 0.5 us."""
    other = width + 200 if width < 3000 else width - 200
    points = sorted(((0, min(width, other)), (9000, max(width, other))))
    return ServoRecord(pin, (0, 9000), 1200, 20000, 0 if width < 3000 else 9000, tuple(points))


def window(firmware: Firmware, widths: Sequence[int]) -> tuple[Ints, Ints]:
    """Rises and falls by frame and servo, in cycles after the tick, while the line is full."""
    pins = firmware.servos[: len(widths)]
    outputs = tuple(map(resting, pins, widths))
    table = encode(
        Table(firmware.chip.chip_id, ADDRESS, outputs=outputs, laws=LAWS, enable_interval=1)
    )
    with firmware.board(in_slot(table)) as board:
        board.run(ms=600)
        board.forget()
        board.send(stream(5000))
        board.run(ms=200)
        pulses = [board.pulses(pin) for pin in pins]
    count = min(len(starts) for starts, _ in pulses) - 2
    assert count >= 5
    first = int(pulses[0][0][1])  # of the first servo; the log may begin between two windows
    rises, falls = [], []
    for starts, found in pulses:
        begin = int(np.flatnonzero(starts >= first - FIRST_EDGE)[0])
        rises.append(starts[begin : begin + count])
        falls.append(rises[-1] + found[begin : begin + count])
    # Nothing stands in the first servo's way but the tick, so its rise tells when the tick was.
    ticks = first + np.arange(count) * FRAME_CYCLES - first_choice(firmware, widths[0])
    return np.array(rises).T - ticks[:, None], np.array(falls).T - ticks[:, None]


def first_choice(firmware: Firmware, width: int) -> int:
    """When the first servo's pulse starts, in cycles after the tick."""
    fall = FIRST_EDGE + width * TICK_CYCLES
    gap = EDGE_GAPS[firmware.chip.name]
    near = abs(fall - WINDOW_TICK) < gap
    return FIRST_EDGE + (WINDOW_TICK + gap - fall) * near


def gap_ticks(firmware: Firmware) -> int:
    return EDGE_GAPS[firmware.chip.name] // TICK_CYCLES


def assert_exact_and_apart(firmware: Firmware, widths: Sequence[int]) -> tuple[Ints, Ints]:
    """Every width is exact, and all edges and the tick are a gap apart; rises and falls."""
    rises, falls = window(firmware, widths)
    assert len(rises) >= 5
    assert (falls - rises == np.array(widths) * TICK_CYCLES).all()
    for number, servos in enumerate(range(0, len(widths), A_WINDOW)):
        those = slice(servos, servos + A_WINDOW)
        assert_window(
            rises[:, those] - number * WINDOW,
            falls[:, those] - number * WINDOW,
            EDGE_GAPS[firmware.chip.name],
        )
    return rises, falls


def assert_window(rises: Ints, falls: Ints, gap: int) -> None:
    tick = np.full((len(rises), 1), WINDOW_TICK)
    edges = np.concatenate((rises, falls, tick), axis=1)
    assert np.diff(np.sort(edges, axis=1), axis=1).min() >= gap
    assert edges.min() >= FIRST_EDGE
    assert edges.max() <= 3.9 * CYCLES_MS


SHIFTS = [(-2, 0), (-1, 0), (-1, 1), (0, -3), (0, -1), (0, 0), (0, 1), (0, 2), (1, -1), (1, 0)]
"""Gaps and ticks of 0.5 us."""


@pytest.mark.parametrize(("gaps", "ticks"), SHIFTS)
def test_pulses_that_would_end_at_the_tick_keep_clear_of_it_and_are_exact(
    firmware: Firmware, gaps: int, ticks: int
) -> None:
    gap = gap_ticks(firmware)
    widths = [AT_THE_TICK + gap * (gaps - n) + ticks - 3 * n * (n % 2) for n in range(A_WINDOW)]
    _, falls = assert_exact_and_apart(firmware, widths)
    after = falls[falls >= WINDOW_TICK]
    assert after.min() - WINDOW_TICK < 2 * EDGE_GAPS[firmware.chip.name]


def test_a_pulse_just_before_the_tick_and_one_just_after_it_are_exact(firmware: Firmware) -> None:
    # The second servo starts a gap later: its own first choice ends a gap behind the tick.
    gap = EDGE_GAPS[firmware.chip.name]
    widths = [AT_THE_TICK - gap_ticks(firmware), AT_THE_TICK, *([SHORTEST] * 6)]
    _, falls = assert_exact_and_apart(firmware, widths)
    assert set(falls[:, 0].tolist()) == {WINDOW_TICK - gap}
    assert set(falls[:, 1].tolist()) == {WINDOW_TICK + gap}


@pytest.mark.parametrize("width", [SHORTEST, 3000, LONGEST])
def test_equal_pulses_are_exact_and_apart(firmware: Firmware, width: int) -> None:
    widths = [width] * len(firmware.servos)
    assert_exact_and_apart(firmware, widths)


@pytest.mark.parametrize("seed", range(8))
def test_pulses_of_any_widths_are_exact_and_apart(firmware: Firmware, seed: int) -> None:
    draw = random.Random(seed)
    near = draw.randrange(SHORTEST, LONGEST - 300)
    widths = [
        draw.choice(
            (SHORTEST, LONGEST, draw.randint(SHORTEST, LONGEST), near + draw.randrange(300))
        )
        for _ in firmware.servos
    ]
    assert_exact_and_apart(firmware, widths)


def test_the_longest_window_found_ends_well_before_its_second_tick(firmware: Firmware) -> None:
    _, falls = assert_exact_and_apart(firmware, FARTHEST)
    assert falls.max() > LONGEST * TICK_CYCLES + 12_000
    assert falls.max() <= 3.5 * CYCLES_MS


def optimised(level: str) -> tuple[str, ...]:
    return tuple(level if flag == "-Os" else flag for flag in image.FLAGS)


@pytest.mark.skipif(not image.can_build(), reason="NO AVR COMPILER: no other build is tested")
@pytest.mark.parametrize("level", ["-O1", "-O2", "-O3", "-Os"])
@pytest.mark.parametrize("chip", CHIPS.values(), ids=lambda chip: chip.name)
def test_pulses_are_exact_however_the_compiler_orders_and_times_the_code(
    chip: Chip, level: str, tmp_path: Path
) -> None:
    """In the first chip the whole fits with -Os only: of others its own layer is compiled so."""
    if chip == FIRST and level != "-Os":
        path = image.build(chip.name, tmp_path, chip_layer=[level])
    else:
        path = image.build(chip.name, tmp_path, flags=optimised(level))
    firmware = Firmware(chip, image.flash_bytes(image.read_hex(path.read_text("ascii"))))
    for widths in (FARTHEST, [AT_THE_TICK - gap_ticks(firmware) * n for n in range(A_WINDOW)]):
        assert_exact_and_apart(firmware, widths)
    for heavier in (False, True):
        load = saturate(firmware, 10_000, heavier=heavier)
        assert load.pulses > 150
        assert load.pulse_error_cycles == 0
        assert load.bytes_lost == 0


def test_a_pin_that_a_disturbance_turned_over_is_right_again_in_the_next_frame(
    firmware: Firmware,
) -> None:
    # A register bit turned over by a static discharge: edges toggle the pin, so it would stay so.
    pins = firmware.servos
    outputs = tuple(resting(pin, 3000) for pin in pins)
    table = encode(
        Table(firmware.chip.chip_id, ADDRESS, outputs=outputs, laws=LAWS, enable_interval=1)
    )
    with firmware.board(in_slot(table)) as board:
        board.run(ms=1000)
        for pin in pins:
            port = FIRST_PORTS[firmware.chip.name][pin >> 3] + 2  # PORTx
            while board.memory(port, 1)[0] & 1 << (pin & 7):
                board.run(ms=0.5)
            board.poke(port, board.memory(port, 1)[0] | 1 << (pin & 7))
        board.run(ms=45)
        board.forget()
        board.run(ms=100)
        for pin in pins:
            _, widths = board.pulses(pin)
            assert len(widths) >= 4
            assert set(widths.tolist()) == {3000 * TICK_CYCLES}
