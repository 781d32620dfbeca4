"""Voltages on the emulated chip: measured beside full load, and pulses know nothing of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import (
    BATTERY_EMPTY,
    BATTERY_LOW,
    BATTERY_WATCHED,
    ReportedMode,
    RequestKind,
    State,
    Status,
)
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.records import LampRecord, SensorRecord, ServoRecord, Table, WatchRecord
from sim.rulebook import SENSORS
from tests.emulator.emulated import EmulatedBoard
from tests.emulator.emulated_port import EmulatedPort
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import in_slot, load_servos, load_table
from tests.emulator.measuring import PORT, RX_LOST, RX_READ, TX, _pulse_error, stream
from tests.firmware_gen.test_watch import stated_ways


def with_sensors(firmware: Firmware, table: Table) -> Table:
    """The table with as many sensors as a board holds, at pins that its outputs leave."""
    if not firmware.chip.analog:
        pytest.skip(f"{firmware.chip.title} measures no voltages")
    pins = sorted(set(firmware.chip.analog) - {one.pin for one in table.outputs})
    sensors = tuple(SensorRecord(pin, 0, 3000, 300) for pin in pins[:SENSORS])
    return replace(table, senses=(*sensors, WatchRecord(None, 1_100, 4_000, 3_600)), show=0)


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


FULL_READING_MV = 10_000
"""A divider of two like resistors at a chip of 5 V."""
INPUT = 9
"""PK1."""


def battery_table(firmware: Firmware, pin: int | None) -> bytes:
    if not firmware.chip.analog:
        pytest.skip(f"{firmware.chip.title} measures no voltages")
    chip = firmware.chip
    servos = tuple(
        ServoRecord(chip.pin(f"PC{n}"), (0, 9000), 200, 900, 0, ((0, 1600), (9000, 4400)))
        for n in range(8)
    )
    watch = WatchRecord(pin, FULL_READING_MV if pin is not None else 1_100, 6_800, 6_000)
    if pin is None:
        watch = replace(watch, low=4_400, stop=4_000)
    outputs = (LampRecord(chip.pin("PB4"), 0), *servos)
    return encode(Table(chip.chip_id, 1, outputs=outputs, stop_time=255, senses=(watch,)))


def told(link: HostLink) -> State:
    return State.unpack(link.ask(RequestKind.STATUS).rest)


def greeted(board: EmulatedBoard) -> HostLink:
    link = HostLink(EmulatedPort(board))
    link.greet()
    return link


def test_a_battery_behind_a_divider_is_told_in_millivolts(firmware: Firmware) -> None:
    table = battery_table(firmware, firmware.chip.pin("PK1") if firmware.chip.analog else 0)
    with firmware.board(in_slot(table)) as board:
        for volts in (8.4, 7.2, 9.9, 6.9):
            board.voltage(INPUT, volts / 2.0)
            board.run(ms=4000)  # six time constants
            state = told(greeted(board))
            assert state.battery == BATTERY_WATCHED
            assert state.battery_mv is not None
            assert abs(state.battery_mv - 1000 * volts) <= 0.0025 * 1000 * volts + 20  # two steps


def test_a_chip_that_runs_from_its_battery_tells_its_own_supply(firmware: Firmware) -> None:
    table = battery_table(firmware, None)
    with firmware.board(in_slot(table)) as board:
        for volts in (5.0, 4.5, 5.4):
            board.supply(volts)
            board.run(ms=4000)
            state = told(greeted(board))
            assert state.battery == BATTERY_WATCHED
            assert state.battery_mv is not None
            assert abs(state.battery_mv - 1000 * volts) <= 0.0025 * 1000 * volts + 40


@pytest.mark.parametrize("row", stated_ways(), ids=lambda row: row[0])
def test_an_empty_battery_leads_the_chip_where_the_table_says(
    firmware: Firmware, row: list[str]
) -> None:
    here, emptied, asked_standby, recovered, asked_then = row
    table = battery_table(firmware, firmware.chip.pin("PK1") if firmware.chip.analog else 0)
    with firmware.board(in_slot(table)) as board:
        board.voltage(INPUT, 2.9 if here == "starting" else 3.8)
        board.run(ms=200 if here == "starting" else 3500)
        link = greeted(board)
        if here in ("stopping", "limp"):
            link.ask(RequestKind.STOP if here == "stopping" else RequestKind.LIMP)
            board.run(ms=40)
        assert ReportedMode(told(link).mode).name.lower() == here
        board.voltage(INPUT, 2.9)
        board.run(ms=18_000)
        state = told(link)
        assert state.battery == BATTERY_WATCHED | BATTERY_LOW | BATTERY_EMPTY
        assert ReportedMode(state.mode).name.lower() == emptied.split(", then ")[-1]
        assert link.ask(RequestKind.STANDBY).status == Status.EMPTY
        board.run(ms=100)
        assert ReportedMode(told(link).mode).name.lower() == asked_standby
        board.voltage(INPUT, 3.8)
        board.run(ms=6000)
        assert ReportedMode(told(link).mode).name.lower() == recovered
        assert link.ask(RequestKind.STANDBY).status == Status.DONE
        board.run(ms=60)
        assert ReportedMode(told(link).mode).name.lower() == asked_then
