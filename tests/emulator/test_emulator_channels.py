"""A radio's channels on the emulated chip: exact beside full load, quiet at the edge of range."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from firmware_gen.crc import cue_tag
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import RequestKind, State
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.ops import Delay, Loop, LoopBack
from firmware_gen.table.records import (
    BandRecord,
    BindingRecord,
    ChannelRecord,
    CueRecord,
    Table,
)
from tests.emulator.emulated import EmulatedBoard
from tests.emulator.emulated_port import EmulatedPort
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import in_slot, load_servos, load_table
from tests.emulator.measuring import PORT, RX_LOST, RX_READ, TX, _pulse_error, stream

CYCLES_US = 16
BUTTONS = (1, 2, 3)
"""Held by a channel that is at 1700 us to half a microsecond; longer; shorter."""


def channel_pins(firmware: Firmware, table: Table) -> list[int]:
    """Those that the table's outputs leave."""
    if not firmware.chip.channels:
        pytest.skip(f"{firmware.chip.title} measures no channels")
    pins = sorted(set(firmware.chip.channels) - {one.pin for one in table.outputs})
    assert len(pins) > 1
    return pins


def with_channels(firmware: Firmware, table: Table) -> Table:
    """The table with cues that move nothing, one for each button."""
    pins = channel_pins(firmware, table)
    wait = (Loop(0), Delay(1000), LoopBack())
    first, threads = len(table.cues), len(table.threads)
    return replace(
        table,
        cues=(
            *table.cues,
            *(CueRecord(cue_tag(f"b{n}"), 0, 0, 1, threads + n) for n in range(len(BUTTONS))),
        ),
        threads=(*table.threads, *[wait] * len(BUTTONS)),
        bindings=tuple(BindingRecord(n, first + n - 1, False) for n in BUTTONS),
        senses=(
            *(ChannelRecord(pin) for pin in pins),
            BandRecord(0, 3399, 3401, 1),
            BandRecord(0, 3402, 3900, 2),
            BandRecord(0, 3100, 3398, 3),
        ),
        show=0,
    )


def send(board: EmulatedBoard, pin: int, widths_us: list[float], draw: random.Random) -> None:
    """Pulses about every 20 ms from now on; 0: one is missed."""
    at = board.cycle + 16_000
    for width in widths_us:
        if width:
            board.press(pin, 1, at)
            board.press(pin, 0, at + round(CYCLES_US * width))
        at += draw.randint(17_000, 23_000) * CYCLES_US


def started(board: EmulatedBoard, table: Table) -> set[int]:
    """Buttons whose cues run: once started they go on."""
    link = HostLink(EmulatedPort(board))
    link.greet()
    running = State.unpack(link.ask(RequestKind.STATUS).rest).running_cues
    first = len(table.cues) - len(BUTTONS)
    return {n for n in BUTTONS if running >> (first + n - 1) & 1}


def test_channels_are_measured_exactly_beside_full_load_and_pulses_stay_exact(
    firmware: Firmware,
) -> None:
    load = decode(load_table(chip=firmware.chip))
    pins = channel_pins(firmware, load)
    table = with_channels(firmware, load)
    data = encode(table)
    draw = random.Random(4)
    with firmware.board(in_slot(data)) as board:
        for pin in pins:
            board.press(pin, 0)
        board.run(ms=3500)
        send(board, pins[0], [1500.0] * 14, draw)
        for pin in pins[1:]:
            send(board, pin, [1000 + 1000 * draw.random() for _ in range(14)], draw)
        board.run(ms=350)
        assert started(board, table) == set()
        line = stream(40_000)
        board.log(PORT, RX_READ, RX_LOST, TX)
        before = len(board.events(RX_READ)["b"])
        send(board, pins[0], [1700.0] * 75, draw)
        for pin in pins[1:]:
            send(board, pin, [1000 + 1000 * draw.random() for _ in range(75)], draw)
        board.send(line)
        while board.sending:
            board.run(ms=100)
        board.run(ms=50)
        assert len(board.events(RX_READ)["b"]) == before + len(line)
        error, pulses = _pulse_error(board, data, load_servos(firmware.chip))
        assert pulses > 1000
        assert error <= 8
        assert started(board, table) == {1}


def test_a_receiver_at_the_edge_of_range_presses_nothing(firmware: Firmware) -> None:
    bare = Table(firmware.chip.chip_id, 1)
    pins = channel_pins(firmware, bare)
    table = with_channels(firmware, bare)
    draw = random.Random(9)
    with firmware.board(in_slot(encode(table))) as board:
        board.press(pins[0], 0)
        board.run(ms=300)
        send(board, pins[0], [1500.0] * 14, draw)
        board.run(ms=350)
        missed = [0.0 if draw.random() < 0.6 else 1500 + draw.uniform(-8, 8) for _ in range(150)]
        send(board, pins[0], missed, draw)
        board.run(ms=3200)
        assert started(board, table) == set()
        board.run(ms=1000)  # silence
        send(board, pins[0], [1700.0] * 30, draw)  # it comes back where a button is held
        board.run(ms=700)
        assert started(board, table) == set()
        send(board, pins[0], [1500.0] * 5 + [1700.0] * 5, draw)
        board.run(ms=300)
        assert started(board, table) == {1}


def test_a_limp_chip_tells_a_host_where_a_stick_stands(firmware: Firmware) -> None:
    """A host that turns a servo by a stick asks for it while no servo has pulses."""
    bare = Table(firmware.chip.chip_id, 1)
    pins = channel_pins(firmware, bare)
    table = with_channels(firmware, bare)
    draw = random.Random(5)
    with firmware.board(in_slot(encode(table))) as board:
        for pin in pins:
            board.press(pin, 0)
        link = HostLink(EmulatedPort(board))
        link.greet()
        board.run(ms=300)
        assert link.limp().done
        assert [link.source(n) for n in range(len(pins))] == [None] * len(pins)
        for width_us in (1500.0, 1234.5, 1876.0):
            send(board, pins[1], [width_us] * 30, draw)
            board.run(ms=700)
            found = [link.source(n) for n in range(len(pins))]
            assert found[1] == 2 * width_us
            assert found[:1] + found[2:] == [None] * (len(pins) - 1)
        board.run(ms=1000)
        assert link.source(1) is None
