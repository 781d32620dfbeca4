"""Voltages on the emulated chip: measured beside full load, and pulses know nothing of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.records import SensorRecord, Table
from sim.rulebook import SENSORS
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import in_slot, load_servos, load_table
from tests.emulator.measuring import PORT, RX_LOST, RX_READ, TX, _pulse_error, stream


def with_sensors(firmware: Firmware, table: Table) -> Table:
    """The table with as many sensors as a board holds, at pins that its outputs leave."""
    if not firmware.chip.analog:
        pytest.skip(f"{firmware.chip.title} measures no voltages")
    pins = sorted(set(firmware.chip.analog) - {one.pin for one in table.outputs})
    sensors = tuple(SensorRecord(pin, 0, 3000, 300) for pin in pins[:SENSORS])
    return replace(table, senses=sensors, show=0)


def test_pulses_stay_exact_and_no_byte_is_lost_while_all_sensors_are_measured(
    firmware: Firmware,
) -> None:
    table = with_sensors(firmware, decode(load_table(chip=firmware.chip)))
    data = encode(table)
    with firmware.board(in_slot(data)) as board:
        board.run(ms=3500)
        line = stream(40_000)
        board.log(PORT, RX_READ, RX_LOST, TX)
        before = len(board.events(RX_READ)["b"])
        board.send(line)
        while board.sending:
            board.run(ms=50)
            for number in range(16):
                board.voltage(number, (number + board.cycle % 977 / 977) % 5)
        board.run(ms=50)
        assert len(board.events(RX_READ)["b"]) == before + len(line)
        error, pulses = _pulse_error(board, data, load_servos(firmware.chip))
        assert pulses > 1000
        assert error <= 8
