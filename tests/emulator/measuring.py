"""The figures that the firmware must reach, measured on the emulated chip with the shipped image.

`python -m tests.emulator.measure` prints them; `test_emulator_numbers.py` holds them.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import count

import numpy as np

from firmware_gen.chips import FIRST
from firmware_gen.crc import cue_tag
from firmware_gen.link.frames import LinkFrame, encode
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import (
    DATA,
    EVERYBODY,
    HELLO,
    ONE_WAY,
    TRIGGER,
    RequestKind,
)
from firmware_gen.player.player import Player
from tests.emulator.emulated import (
    BYTE_CYCLES,
    CLOCK_HZ,
    CYCLES_MS,
    EEPROM,
    FRAME_CYCLES,
    PORT,
    RX_LOST,
    RX_READ,
    TX,
    EmulatedBoard,
)
from tests.emulator.emulated_port import EmulatedPort
from tests.emulator.firmware import Firmware
from tests.emulator.load_show import (
    ADDRESS,
    AT_THE_LIMIT_MS,
    DOUBLE_S,
    MINIMUM_JERK,
    UNIFORM,
    WITH_TIME_TO_SPARE_MS,
    in_slot,
    load_servos,
    load_table,
    one_move_table,
)
from tests.emulator.readings import TICK_CYCLES, find_frames, refreshes
from tests.unchecked import transfer_unchecked

RAM_STARTS = {"atmega328p": 0x100, "atmega2560": 0x200}
PAINT = 0xA5
MAX_CHUNK = FIRST.chunk_bytes
"""Table bytes that the firmware takes in one request."""
CELL_MS = 3.4
"""One EEPROM byte, erased and written (data sheet table 8-1)."""


@dataclass(frozen=True)
class Figures:
    """What a chip's firmware must reach (FIRMWARE.md)."""

    idle_share: float
    trigger_ms: float
    late_ms: Mapping[tuple[int, int], Mapping[int, float]]
    """Of so many servos that begin a move of so long a duration in one frame, by its law."""
    late_midway_ms: Mapping[int, Mapping[int, float]]
    """Of eight, from the middle of another move: by the duration, then the law."""
    transfer: float
    flash: int
    static_ram: float
    ram: float
    """With the deepest stack."""


FIGURES = {
    "atmega328p": Figures(
        idle_share=1 / 3,
        trigger_ms=20,
        late_ms={
            (8, AT_THE_LIMIT_MS): {UNIFORM: 0, MINIMUM_JERK: 2, DOUBLE_S: 6},
            (8, WITH_TIME_TO_SPARE_MS): {UNIFORM: 0, MINIMUM_JERK: 0, DOUBLE_S: 2},
        },
        late_midway_ms={
            AT_THE_LIMIT_MS: {MINIMUM_JERK: 8, DOUBLE_S: 10},
            WITH_TIME_TO_SPARE_MS: {MINIMUM_JERK: 4, DOUBLE_S: 8},
        },
        transfer=1.10,
        flash=0x7400,
        static_ram=1.70 * 1024,
        ram=1.94 * 1024,
    ),
    "atmega2560": Figures(
        idle_share=0.15,
        trigger_ms=26.25,  # asked at moments 0.25 ms apart, so that much of it is chance
        late_ms={
            (8, AT_THE_LIMIT_MS): {UNIFORM: 0, MINIMUM_JERK: 4, DOUBLE_S: 4},
            (8, WITH_TIME_TO_SPARE_MS): {UNIFORM: 0, MINIMUM_JERK: 0, DOUBLE_S: 2},
            (16, AT_THE_LIMIT_MS): {UNIFORM: 6, MINIMUM_JERK: 10, DOUBLE_S: 12},
            (16, WITH_TIME_TO_SPARE_MS): {UNIFORM: 6, MINIMUM_JERK: 6, DOUBLE_S: 8},
        },
        late_midway_ms={
            AT_THE_LIMIT_MS: {MINIMUM_JERK: 8, DOUBLE_S: 8},
            WITH_TIME_TO_SPARE_MS: {MINIMUM_JERK: 4, DOUBLE_S: 6},
        },
        transfer=1.10,
        flash=64 * 1024,
        static_ram=5.25 * 1024,
        ram=5.5 * 1024,
    ),
}


def requests(seed: int = 1) -> Iterator[bytes]:
    """What fills a line: transfers to other boards on it, beacons, state requests, some rubbish."""
    draw = random.Random(seed)
    yield encode(LinkFrame(EVERYBODY, RequestKind.HELLO, 0, HELLO.pack(draw.randrange(65536))))
    for seq in count(1):
        what = draw.choices(("data", "beacon", "state", "rubbish"), (12, 6, 2, 1))[0]
        if what == "data":
            data = draw.randbytes(DATA.size + MAX_CHUNK)
            yield encode(LinkFrame(ADDRESS + 1, RequestKind.DATA, seq & 255, data))
        elif what == "beacon":
            yield encode(LinkFrame(EVERYBODY, RequestKind.BEACON | ONE_WAY, seq & 255))
        elif what == "state":
            yield encode(LinkFrame(ADDRESS, RequestKind.STATUS, seq & 255))
        else:
            yield draw.randbytes(draw.randrange(1, 90)) + b"\0"


def stream(length: int) -> bytes:
    """`length` bytes of requests."""
    data = bytearray()
    for frame in requests():
        data += frame
        if len(data) >= length:
            return bytes(data[:length])
    raise AssertionError


@dataclass(frozen=True)
class FullLoad:
    """The promised load: all servos, a strip of 60 pixels, the link saturated."""

    pulse_error_cycles: int
    """Peak to peak, over all servos and frames, against the player's widths."""
    pulses: int
    bytes_sent: int
    bytes_lost: int
    slowest_read_cycles: int
    idle_share: float
    refreshes_missing: int
    bad_refreshes: int
    highs: tuple[int, ...]
    """Cycles of the strip's high times that occurred."""
    lows: tuple[int, ...]
    """Cycles of the low times within a pixel."""
    longest_gap_cycles: int
    """Longest low within a refresh."""
    replies: int
    stack_bytes: int


def saturate(firmware: Firmware, length: int = 100_000, *, heavier: bool = False) -> FullLoad:
    """Run the load with `length` bytes at 250,000 baud, not a bit's time between them."""
    table = load_table(heavier=heavier, chip=firmware.chip)
    pins = load_servos(firmware.chip, heavier=heavier)
    strip = firmware.wiring.strip
    with firmware.board(in_slot(table)) as board:
        board.run(ms=1000)
        data = stream(length)
        board.log(PORT, RX_READ, RX_LOST, TX)
        start, slept = board.cycle, board.sleep_cycles
        board.send(data)
        while board.sending:
            board.run(ms=100)
        idle = (board.sleep_cycles - slept) / (board.cycle - start)
        board.run(ms=50)
        reads = board.events(RX_READ)["b"]
        error, pulses = _pulse_error(board, table, pins)
        missing, bad = _strip_faults(board, table, pins, strip)
        highs, lows, gap = _bit_times(board, strip)
        return FullLoad(
            pulse_error_cycles=error,
            pulses=pulses,
            bytes_sent=len(data),
            bytes_lost=len(data) - len(reads),
            slowest_read_cycles=int(reads.max()),
            idle_share=idle,
            refreshes_missing=missing,
            bad_refreshes=bad,
            highs=highs,
            lows=lows,
            longest_gap_cycles=gap,
            replies=board.sent().count(b"\0") // 2,
            stack_bytes=deepest_stack(board),
        )


def _pulse_error(board: EmulatedBoard, table: bytes, pins: tuple[int, ...]) -> tuple[int, int]:
    """Each servo has one pulse a frame from its first on: pulses and frames match by counting."""
    player = Player(table)
    last = board.cycle // FRAME_CYCLES
    wanted = np.array([player.frame().pulses for _ in range(last)], np.int64) * TICK_CYCLES
    errors = []
    for number, pin in enumerate(pins):
        widths = board.pulses(pin)[1]
        first = int(np.flatnonzero(wanted[:, number])[0])
        errors.append(widths - wanted[first : first + len(widths), number])
    everything = np.concatenate(errors)
    return int(np.ptp(everything)), len(everything)


def _strip_faults(
    board: EmulatedBoard, table: bytes, pins: tuple[int, ...], strip: int
) -> tuple[int, int]:
    """Frames without a refresh, and refreshes that are not what the player says.

    Every frame has one: they are told apart by counting, as a chip that is busy may be late.
    """
    frames = find_frames(board, pins)
    found = refreshes(board, strip)
    first = (found[0][0] - frames.first) // FRAME_CYCLES
    player = Player(table)
    wanted = [player.frame().strips[0] for _ in range(first + len(found))][first:]
    bad = sum(1 for (_, data), due in zip(found[:-1], wanted, strict=False) if data != due)
    played = len(board.pulses(pins[0])[0]) - first
    return max(0, played - len(found) - 1), bad


def _bit_times(board: EmulatedBoard, strip: int) -> tuple[tuple[int, ...], tuple[int, ...], int]:
    cycles, levels = board.edges(strip)
    spans = np.diff(cycles)
    highs = spans[levels[:-1] == 1]
    lows = spans[levels[:-1] == 0]
    inside = lows[lows < 50 * 16]
    return (
        tuple(np.unique(highs).tolist()),
        tuple(np.unique(inside[inside < 20]).tolist()),
        int(inside.max()),
    )


def deepest_stack(board: EmulatedBoard) -> int:
    """Bytes of stack ever written, from the paint that was left below it."""
    ram = board.memory(RAM_STARTS[board.chip.name], board.chip.memory.ram)
    longest, start, best = 0, 0, 0
    for index, byte in enumerate((*ram, 0)):
        if byte == PAINT:
            continue
        if index - start > longest:
            longest, best = index - start, index
        start = index + 1
    return len(ram) - best


# -- latency -------------------------------------------------------------------------------------


def trigger_latencies(firmware: Firmware, tries: int = 200) -> list[float]:
    """Milliseconds from a trigger's last byte to the start of the first pulse that differs.

    Triggers come at evenly spread moments of the frame.
    """
    table = one_move_table(chip=firmware.chip)
    latencies = []
    with firmware.board(in_slot(table)) as board:
        port = EmulatedPort(board)
        HostLink(port).greet()
        board.run(ms=1000)
        for number in range(tries):
            name = "go" if number % 2 == 0 else "back"
            phase = number * FRAME_CYCLES // tries
            board.forget()
            board.run_until((board.cycle // FRAME_CYCLES + 3) * FRAME_CYCLES + phase)
            kind = RequestKind.TRIGGER | ONE_WAY
            data = encode(LinkFrame(ADDRESS, kind, number & 255, TRIGGER.pack(cue_tag(name))))
            board.send(data)
            end = board.cycle + len(data) * BYTE_CYCLES
            board.run(ms=200)
            latencies.append(_first_change(board, end, firmware.servos) / CYCLES_MS)
            board.run(ms=100)
    return latencies


def lateness(
    firmware: Firmware,
    law: int,
    *,
    duration_ms: int = AT_THE_LIMIT_MS,
    servos: int | None = None,
    tries: int = 20,
) -> float:
    """Milliseconds by which pulses are late at most where servos begin a move in one frame."""
    worst = 0.0
    pins = firmware.servos[:servos]
    table = one_move_table(pins, law, firmware.chip, duration_ms)
    with firmware.board(in_slot(table)) as board:
        HostLink(EmulatedPort(board)).greet()
        board.run(ms=1000)
        phase = find_frames(board, pins).first % FRAME_CYCLES
        for number in range(tries):
            _run_half_way(board, phase)
            _trigger(board, "go" if number % 2 == 0 else "back", number)
            board.run(ms=200)
            worst = max(worst, _late_ms(board, pins[0]))
    return worst


def lateness_midway(firmware: Firmware, law: int, *, duration_ms: int, servos: int) -> float:
    """The same where each of them is in the middle of another move, the other way."""
    worst = 0.0
    pins = firmware.servos[:servos]
    table = one_move_table(pins, law, firmware.chip, duration_ms)
    with firmware.board(in_slot(table)) as board:
        HostLink(EmulatedPort(board)).greet()
        board.run(ms=1000)
        phase = find_frames(board, pins).first % FRAME_CYCLES
        for number in range(4):
            _run_half_way(board, phase)
            names = ("go", "back") if number % 2 == 0 else ("back", "go")
            for seq, name in enumerate(names, 2 * number):
                _trigger(board, name, seq)
                board.run(ms=40)
            board.run(ms=200)
            worst = max(worst, _late_ms(board, pins[0]))
            board.run(ms=200)
    return worst


def _run_half_way(board: EmulatedBoard, phase: int) -> None:
    """Look anew, from half-way between the pulses of two frames: neither is played early."""
    board.forget()
    half_way = phase + FRAME_CYCLES // 2
    board.run_until((board.cycle // FRAME_CYCLES + 3) * FRAME_CYCLES + half_way)


def _trigger(board: EmulatedBoard, cue: str, seq: int) -> None:
    kind = RequestKind.TRIGGER | ONE_WAY
    board.send(encode(LinkFrame(ADDRESS, kind, seq & 255, TRIGGER.pack(cue_tag(cue)))))


def _late_ms(board: EmulatedBoard, pin: int) -> float:
    """By how much two pulses since then are farther apart than a frame, at most."""
    starts, _ = board.pulses(pin)
    return float(np.diff(starts).max() - FRAME_CYCLES) / CYCLES_MS


def _first_change(board: EmulatedBoard, since: int, pins: tuple[int, ...]) -> int:
    """Cycles from `since` to the start of the first pulse that differs from the one before it."""
    starts = []
    for pin in pins:
        at, widths = board.pulses(pin)
        changed = np.flatnonzero(np.diff(widths) != 0) + 1
        if len(changed):
            starts.append(int(at[changed[0]]))
    return min(starts) - since


# -- transfer ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class TransferTime:
    seconds: float
    line_seconds: float
    """What the bytes both ways take at the line's rate."""
    cells: int
    """EEPROM bytes that were written."""

    @property
    def ratio(self) -> float:
        """Against the larger of line time and 3.4 ms a changed byte."""
        return self.seconds / max(self.line_seconds, self.cells * CELL_MS / 1000)


def transfer_time(firmware: Firmware, before: bytes, table: bytes) -> TransferTime:
    """Time of a whole transfer (open to commit's reply and reading back) over a show that plays."""
    with firmware.board(before) as board:
        port = EmulatedPort(board)
        link = HostLink(port)
        link.greet()
        board.run(ms=500)
        board.forget()
        port.forget()
        board.log(TX, EEPROM, RX_READ)
        start = board.cycle
        transfer_unchecked(link, table)
        line = (len(board.events(RX_READ)) + len(board.events(TX))) * BYTE_CYCLES
        cells = len(board.events(EEPROM))
        return TransferTime((board.cycle - start) / CLOCK_HZ, line / CLOCK_HZ, cells)
