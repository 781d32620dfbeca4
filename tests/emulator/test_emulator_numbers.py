"""The firmware reaches its figures on the emulated chip; `measure.py` prints them."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from firmware_gen.build.image import build, can_build
from firmware_gen.link.host import HostLink
from tests.emulator.emulated_port import EmulatedPort
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import (
    DOUBLE_S,
    MINIMUM_JERK,
    UNIFORM,
    in_slot,
    load_table,
    one_move_table,
)
from tests.emulator.measuring import (
    FIGURES,
    FullLoad,
    lateness,
    lateness_midway,
    saturate,
    stream,
    transfer_time,
    trigger_latencies,
)

CYCLES_US = 16

# Windows in ns as the data sheets print them; source A: component data sheet table as reproduced at
# https://circuitguy.ca/?p=87; source B: TI SCLA084 (Oct 2025) table 2-1.
BIT_WINDOWS = {
    "A": {"T0H": (250, 550), "T0L": (700, 1000), "T1H": (650, 950), "T1L": (300, 600)},
    "B": {"T0H": (200, 500), "T0L": (650, 950), "T1H": (550, 850), "T1L": (450, 750)},
}
SHORTEST_RESET_US = 50
"""Data sheet A; the others say 200 and 280."""


@pytest.fixture(scope="module")
def load(firmware: Firmware) -> FullLoad:
    return saturate(firmware)


@pytest.fixture(scope="module")
def heavier(firmware: Firmware) -> FullLoad:
    return saturate(firmware, 50_000, heavier=True)


def test_a_pulse_is_exact_to_half_a_microsecond_under_load(
    load: FullLoad, heavier: FullLoad
) -> None:
    assert load.pulses > 1500
    assert load.pulse_error_cycles <= 0.5 * CYCLES_US
    assert heavier.pulse_error_cycles <= 0.5 * CYCLES_US


def test_no_byte_of_a_hundred_thousand_is_lost(load: FullLoad, heavier: FullLoad) -> None:
    assert load.bytes_sent == 100_000
    assert load.bytes_lost == 0
    assert heavier.bytes_lost == 0


@pytest.mark.parametrize("pixels", [60, 100])
def test_the_board_itself_counts_no_lost_byte_while_its_strip_goes_out(
    firmware: Firmware, pixels: int
) -> None:
    with firmware.board(in_slot(load_table(pixels=pixels, chip=firmware.chip))) as board:
        board.run(ms=1000)
        board.send(stream(50_000))
        while board.sending:
            board.run(ms=100)
        link = HostLink(EmulatedPort(board))
        link.greet()
        assert link.state().lost_bytes == 0
        assert link.state().frames > 100


def test_the_board_answers_while_the_line_is_full(load: FullLoad) -> None:
    assert load.replies > 100


def test_the_processor_has_time_left(firmware: Firmware, load: FullLoad) -> None:
    assert load.idle_share >= FIGURES[firmware.chip.name].idle_share


def test_the_strip_is_refreshed_in_every_frame_with_the_players_bytes(
    load: FullLoad, heavier: FullLoad
) -> None:
    assert (load.refreshes_missing, load.bad_refreshes) == (0, 0)
    assert (heavier.refreshes_missing, heavier.bad_refreshes) == (0, 0)


@pytest.mark.parametrize("sheet", sorted(BIT_WINDOWS))
def test_the_strips_bits_lie_in_the_published_windows(load: FullLoad, sheet: str) -> None:
    short_high, long_high = (1000 * cycles / CYCLES_US for cycles in load.highs)
    short_low, long_low = (1000 * cycles / CYCLES_US for cycles in load.lows)
    windows = BIT_WINDOWS[sheet]
    for name, found in (
        ("T0H", short_high),
        ("T1H", long_high),
        ("T1L", short_low),
        ("T0L", long_low),
    ):
        low, high = windows[name]
        assert low <= found <= high, f"{name} {found} ns"


def test_no_gap_between_pixels_comes_near_the_reset_time(load: FullLoad, heavier: FullLoad) -> None:
    # All handlers that can wait behind one pixel, the tick's, an edge's, the lamps', the
    # transmitter's and the receiver's for two bytes, take some 35 us on the larger chip.
    longest = max(load.longest_gap_cycles, heavier.longest_gap_cycles) / CYCLES_US
    assert longest < 0.75 * SHORTEST_RESET_US


def test_a_trigger_that_moves_every_servo_shows_in_the_pulses_soon(firmware: Firmware) -> None:
    latencies = trigger_latencies(firmware, 80)
    assert min(latencies) > 0
    assert max(latencies) <= FIGURES[firmware.chip.name].trigger_ms


@pytest.mark.parametrize("law", [UNIFORM, MINIMUM_JERK, DOUBLE_S])
def test_pulses_come_little_late_where_servos_begin_a_move_at_once(
    firmware: Firmware, law: int
) -> None:
    """Whole ticks of 2 ms; pulses' places among one another may move by 0.1 ms."""
    for (servos, duration_ms), late_ms in FIGURES[firmware.chip.name].late_ms.items():
        found = lateness(firmware, law, duration_ms=duration_ms, servos=servos, tries=6)
        assert found <= late_ms[law] + 0.2, (servos, duration_ms)


@pytest.mark.parametrize("law", [MINIMUM_JERK, DOUBLE_S])
def test_pulses_come_no_later_than_stated_where_servos_turn_round_in_the_middle_of_a_move(
    firmware: Firmware, law: int
) -> None:
    for duration_ms, late_ms in FIGURES[firmware.chip.name].late_midway_ms.items():
        found = lateness_midway(firmware, law, duration_ms=duration_ms, servos=8)
        assert found <= late_ms[law] + 0.2, duration_ms


def test_a_chip_drives_no_fewer_servos_than_begin_a_move_at_once(firmware: Firmware) -> None:
    measured = {servos for servos, _ in FIGURES[firmware.chip.name].late_ms}
    assert max(measured) == len(firmware.servos) == firmware.chip.servos


def test_a_transfer_takes_little_longer_than_its_bytes_must(firmware: Firmware) -> None:
    changed = transfer_time(
        firmware, in_slot(one_move_table(chip=firmware.chip)), load_table(chip=firmware.chip)
    )
    assert changed.cells > 300
    assert changed.ratio <= FIGURES[firmware.chip.name].transfer


def test_the_firmware_ends_before_a_merged_table_begins(firmware: Firmware) -> None:
    assert len(firmware.flash) <= FIGURES[firmware.chip.name].flash
    assert FIGURES[firmware.chip.name].flash <= firmware.chip.memory.merged_start


@pytest.mark.skipif(not can_build(), reason="NO AVR COMPILER: static RAM is not measured")
def test_static_ram_and_the_deepest_stack_leave_room(
    firmware: Firmware, load: FullLoad, heavier: FullLoad, tmp_path: Path
) -> None:
    chip = firmware.chip.name
    build(chip, tmp_path)
    static = static_ram(tmp_path / f"{chip}.elf")
    deepest = max(load.stack_bytes, heavier.stack_bytes)
    assert static <= FIGURES[chip].static_ram
    assert deepest > 0
    assert static + deepest <= FIGURES[chip].ram


def static_ram(elf: Path) -> int:
    """Bytes of initialised data and of data that starts as zero or is left alone."""
    size = shutil.which("avr-size")
    assert size is not None
    done = subprocess.run([size, str(elf)], capture_output=True, text=True, check=True)
    _, data, bss = map(int, done.stdout.splitlines()[1].split()[:3])
    return data + bss
