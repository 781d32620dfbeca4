"""The emulated chip: builds the C harness on demand and drives it.

Times are processor cycles from power-up (16 MHz: 16 a microsecond). `EmulatedBoard` loads the very
image that ships; what it did is read back as `Event` rows or as edges of one pin.
"""

from __future__ import annotations

import ctypes
import hashlib
import os
import shutil
import subprocess
import threading
from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from firmware_gen.chips import FIRST, Chip

HERE = Path(__file__).resolve().parent
BUILD = HERE / "build"
HARNESS = HERE / "harness"
HEADERS = (Path("/usr/include/simavr/sim_avr.h"), Path("/usr/include/libelf.h"))

CLOCK_HZ = 16_000_000
CYCLES_MS = CLOCK_HZ // 1000
CYCLES_US = CLOCK_HZ // 1_000_000
FRAME_CYCLES = 20 * CYCLES_MS
BYTE_CYCLES = 640
"""One byte of 8N1 at 250,000 baud."""

_PORT_REGISTERS = 3
"""PINx, DDRx, PORTx."""
FIRST_PORTS = {
    "atmega328p": (0x23, 0x26, 0x29),
    "atmega2560": (*range(0x20, 0x33, _PORT_REGISTERS), *range(0x100, 0x10A, _PORT_REGISTERS)),
}
"""Where in data space the registers of each port begin, by chip (Register Summary)."""

PORT, PWM, RX_READ, RX_LOST, TX, EEPROM, RESET, LINE, LINE_LOST = range(1, 10)
"""Kinds of events, as in harness.h."""

EVENT = np.dtype([("cycle", "<u8"), ("kind", "<u2"), ("a", "<u2"), ("b", "<u4")])
Events = npt.NDArray[np.void]

POWER_ON, EXTERNAL, BROWN_OUT, WATCHDOG = 1, 2, 4, 8
"""Bits of MCUSR (data sheet 11.9.1)."""


def why_not() -> str | None:
    """What is missing to run the emulated chip; None if nothing is."""
    if shutil.which("gcc") is None:
        return "NO C COMPILER (gcc): tests on the emulated chip are left out"
    missing = [str(path) for path in HEADERS if not path.exists()]
    if missing:
        return f"NO EMULATOR ({', '.join(missing)}): tests on the emulated chip are left out"
    return None


def build_harness() -> Path:
    """Compile the harness unless a library of the same sources stands in the build folder."""
    sources = sorted(HARNESS.glob("*.[ch]"))
    flags = ["-std=c11", "-O2", "-Wall", "-Wextra", "-Werror", "-fPIC", "-shared"]
    inside = [" ".join(flags).encode(), *(path.read_bytes() for path in sources)]
    digest = hashlib.sha256(b"".join(inside)).hexdigest()[:16]
    library = BUILD / f"harness-{digest}.so"
    if library.exists():
        return library
    BUILD.mkdir(exist_ok=True)
    unfinished = library.with_suffix(f".{os.getpid()}")
    units = [str(path) for path in sources if path.suffix == ".c"]
    subprocess.run(["gcc", *flags, "-o", unfinished, *units, "-lsimavr", "-lelf"], check=True)
    unfinished.replace(library)
    return library


_BOARD = ctypes.c_void_p
_SIGNATURES: dict[str, tuple[object, Sequence[object]]] = {
    "board_new": (_BOARD, (ctypes.c_char_p, ctypes.c_char_p, ctypes.c_char_p, ctypes.c_uint32)),
    "board_free": (None, (_BOARD,)),
    "board_reset": (None, (_BOARD, ctypes.c_uint8, ctypes.c_bool)),
    "board_start_at": (None, (_BOARD, ctypes.c_uint32)),
    "board_flash": (None, (_BOARD, ctypes.c_char_p)),
    "board_run": (ctypes.c_int, (_BOARD, ctypes.c_uint64)),
    "board_cycle": (ctypes.c_uint64, (_BOARD,)),
    "board_sleep_cycles": (ctypes.c_uint64, (_BOARD,)),
    "board_pc": (ctypes.c_uint32, (_BOARD,)),
    "board_ram": (None, (_BOARD, ctypes.c_char_p, ctypes.c_uint16, ctypes.c_uint16)),
    "board_poke": (None, (_BOARD, ctypes.c_uint16, ctypes.c_uint8)),
    "board_eeprom": (None, (_BOARD, ctypes.c_char_p)),
    "board_tear": (None, (_BOARD, ctypes.c_uint8)),
    "board_writing": (ctypes.c_bool, (_BOARD,)),
    "board_send": (
        None,
        (_BOARD, ctypes.c_uint64, ctypes.c_uint32, ctypes.c_char_p, ctypes.c_size_t),
    ),
    "board_sending": (ctypes.c_size_t, (_BOARD,)),
    "board_press": (None, (_BOARD, ctypes.c_uint64, ctypes.c_uint8, ctypes.c_uint8)),
    "board_voltage": (None, (_BOARD, ctypes.c_uint8, ctypes.c_uint16)),
    "board_supply": (None, (_BOARD, ctypes.c_uint16)),
    "board_events": (
        ctypes.c_size_t,
        (_BOARD, ctypes.c_void_p, ctypes.c_size_t, ctypes.c_size_t),
    ),
    "board_event_count": (ctypes.c_size_t, (_BOARD,)),
    "board_forget_events": (None, (_BOARD,)),
    "board_log": (None, (_BOARD, ctypes.c_uint32)),
    "board_pty": (ctypes.c_int, (_BOARD, ctypes.c_char_p, ctypes.c_size_t, ctypes.c_double)),
    "board_connect": (None, (_BOARD, _BOARD)),
    "board_wire": (ctypes.c_size_t, (_BOARD, _BOARD)),
    "board_answer": (ctypes.c_size_t, (_BOARD, _BOARD)),
    "board_wire_cut": (None, (_BOARD, ctypes.c_size_t, ctypes.c_bool)),
    "board_wire_trouble": (
        None,
        (_BOARD, ctypes.c_size_t, ctypes.c_uint32, ctypes.c_uint32, ctypes.c_uint32),
    ),
    "board_line": (None, (_BOARD, ctypes.c_char_p, ctypes.c_size_t)),
    "board_off": (None, (_BOARD, ctypes.c_uint64)),
    "board_clock": (None, (_BOARD, ctypes.c_double)),
    "boards_run": (
        ctypes.c_int,
        (ctypes.POINTER(_BOARD), ctypes.c_size_t, ctypes.c_double),
    ),
}


@cache
def library() -> ctypes.CDLL:
    loaded = ctypes.CDLL(str(build_harness()))
    for name, (result, arguments) in _SIGNATURES.items():
        function = getattr(loaded, name)
        function.restype = result
        function.argtypes = list(arguments)
    return loaded


class ChipStoppedError(RuntimeError):
    """The core crashed or stopped: an invalid opcode, or sleep with interrupts off."""


class EmulatedBoard:
    """One chip with an image in its flash and an EEPROM (erased unless given)."""

    def __init__(
        self, flash: bytes, eeprom: bytes = b"", clock_hz: int = CLOCK_HZ, chip: Chip = FIRST
    ) -> None:
        self.chip = chip
        self._c = library()
        memory = chip.memory
        whole = flash.ljust(memory.flash, b"\xff")
        cells = eeprom.ljust(memory.eeprom, b"\xff")
        self._board = self._c.board_new(chip.name.encode(), whole, cells, clock_hz)
        self.clock_hz = clock_hz
        self._before = dict.fromkeys(range(len(chip.ports)), (0, 0))

    def close(self) -> None:
        if self._board:
            self._c.board_free(self._board)
            self._board = None

    def __enter__(self) -> EmulatedBoard:
        return self

    def __exit__(self, *exception: object) -> None:
        self.close()

    @property
    def cycle(self) -> int:
        return int(self._c.board_cycle(self._board))

    @property
    def sleep_cycles(self) -> int:
        """Cycles spent asleep since power-up: the processor's time to spare."""
        return int(self._c.board_sleep_cycles(self._board))

    @property
    def writing(self) -> bool:
        """An EEPROM write is in progress."""
        return bool(self._c.board_writing(self._board))

    def run_until(self, cycle: int) -> None:
        state = self._c.board_run(self._board, cycle)
        if state:
            raise ChipStoppedError(f"state {state} at pc 0x{self._c.board_pc(self._board):04x}")

    def run(self, *, ms: float = 0.0, cycles: int = 0) -> None:
        self.run_until(self.cycle + cycles + round(ms * self.clock_hz / 1000))

    def send(self, data: bytes, first_end: int = 0, spacing: int = 0) -> None:
        """Put bytes on the wire: the first has arrived at `first_end`, then one every `spacing`."""
        self._c.board_send(self._board, first_end, spacing, data, len(data))

    @property
    def sending(self) -> int:
        """Bytes still on their way to the chip."""
        return int(self._c.board_sending(self._board))

    def press(self, pin: int, level: int, cycle: int = 0) -> None:
        """From `cycle` on the outside drives a pin (by code) to a level."""
        self._c.board_press(self._board, cycle, pin, level)

    def voltage(self, analog_input: int, volts: float) -> None:
        """From now on an input of the converter (0 to 15) is at this voltage."""
        self._c.board_voltage(self._board, analog_input, round(1000 * volts))

    def supply(self, volts: float) -> None:
        """From now on the chip's supply is this; 5 V at first."""
        self._c.board_supply(self._board, round(1000 * volts))

    def reset(self, cause: int = POWER_ON, *, keep_ram: bool | None = None) -> None:
        """Reset at this cycle. RAM is kept unless power was off."""
        keep = cause != POWER_ON if keep_ram is None else keep_ram
        self._c.board_reset(self._board, cause, keep)

    def start_at(self, address: int) -> None:
        """From the next reset on the chip starts there: at a boot loader (fuse BOOTRST)."""
        self._c.board_start_at(self._board, address)

    def flash(self) -> bytes:
        buffer = ctypes.create_string_buffer(self.chip.memory.flash)
        self._c.board_flash(self._board, buffer)
        return buffer.raw

    def cut_power(self, torn: int | None = None) -> bytes:
        """Power fails now; a cell that was being written holds `torn`. Returns the EEPROM left."""
        if torn is not None:
            self._c.board_tear(self._board, torn)
        left = self.eeprom()
        self.reset(POWER_ON)
        return left

    def eeprom(self) -> bytes:
        buffer = ctypes.create_string_buffer(self.chip.memory.eeprom)
        self._c.board_eeprom(self._board, buffer)
        return buffer.raw

    def memory(self, start: int, count: int) -> bytes:
        """Data space as it is: 0 registers, 0x20 I/O, then RAM."""
        buffer = ctypes.create_string_buffer(count)
        self._c.board_ram(self._board, buffer, start, count)
        return buffer.raw

    def poke(self, address: int, value: int) -> None:
        self._c.board_poke(self._board, address, value)

    def log(self, *kinds: int) -> None:
        """Log these kinds of events only."""
        self._c.board_log(self._board, sum(1 << kind for kind in kinds))

    def forget(self) -> None:
        for port, start in enumerate(FIRST_PORTS[self.chip.name]):
            _, direction, level = self.memory(start, _PORT_REGISTERS)
            self._before[port] = (direction, level)
        self._c.board_forget_events(self._board)

    def events(self, *kinds: int) -> Events:
        count = int(self._c.board_event_count(self._board))
        rows = np.empty(count, EVENT)
        self._c.board_events(self._board, rows.ctypes.data, 0, count)
        return rows[np.isin(rows["kind"], kinds)] if kinds else rows

    def events_since(self, index: int) -> Events:
        """All events from the `index`-th of the log on."""
        count = int(self._c.board_event_count(self._board)) - index
        rows = np.empty(max(0, count), EVENT)
        self._c.board_events(self._board, rows.ctypes.data, index, len(rows))
        return rows

    def sent(self) -> bytes:
        """All bytes the chip has sent since the log was cleared."""
        return bytes(self.events(TX)["a"].astype(np.uint8))

    def edges(self, pin: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int8]]:
        """Cycles and levels at which a pin changed; one that is not an output counts as low."""
        rows = self.events(PORT)
        rows = rows[rows["a"] == pin // 8]
        level = ((rows["b"] & (rows["b"] >> 8)) >> (pin % 8) & 1).astype(np.int8)
        direction, port = self._before[pin // 8]
        before = (direction & port) >> (pin % 8) & 1
        changed = np.diff(level, prepend=before) != 0
        return rows["cycle"][changed].astype(np.int64), level[changed]

    def pulses(self, pin: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        """Start and width, in cycles, of each whole pulse on a pin."""
        cycles, levels = self.edges(pin)
        if len(levels) and levels[0] == 0:
            cycles = cycles[1:]
        whole = len(cycles) // 2
        return cycles[: 2 * whole : 2], cycles[1 : 2 * whole : 2] - cycles[: 2 * whole : 2]

    def pty(self, pace: float = 1.0) -> str:
        """Offer the link as a pseudo-terminal of that name.

        `pace`: emulated seconds per second, 0: unlimited.
        """
        name = ctypes.create_string_buffer(64)
        error = self._c.board_pty(self._board, name, 64, pace)
        if error:
            raise OSError(error, os.strerror(error))
        return name.value.decode()

    def connect(self, other: EmulatedBoard) -> None:
        """LineEnd this board's transmit pin to another's receive pin."""
        self._c.board_connect(self._board, other._board)

    def lead(self, other: EmulatedBoard) -> LineEnd:
        """LineEnd this board's line to where another hears the board that leads."""
        return LineEnd(self, int(self._c.board_wire(self._board, other._board)))

    def answer(self, leader: EmulatedBoard) -> LineEnd:
        """LineEnd this board's answers to the line of the board that leads."""
        return LineEnd(self, int(self._c.board_answer(self._board, leader._board)))

    def hear(self, data: bytes) -> None:
        """Put bytes on this board's end of the line between boards."""
        self._c.board_line(self._board, data, len(data))

    def off(self, seconds: float) -> None:
        """Power fails, and is back after that time."""
        self._c.board_off(self._board, round(seconds * self.clock_hz))

    def set_clock(self, ppm: float) -> None:
        """The crystal is off by so many parts per million (for boards that run side by side)."""
        self._c.board_clock(self._board, ppm)


class LineEnd:
    """From a board that leads to one that follows, or back."""

    def __init__(self, board: EmulatedBoard, number: int) -> None:
        self._from, self._number = board, number

    def cut(self, cut: bool = True) -> None:
        """Unplug it, or plug it in again."""
        self._from._c.board_wire_cut(self._from._board, self._number, cut)

    def trouble(self, seed: int, lost: float = 0.0, flipped: float = 0.0) -> None:
        """Lose this share of all frames, and turn a bit over in this share of all bytes."""
        self._from._c.board_wire_trouble(
            *(self._from._board, self._number, seed, round(1000 * lost), round(1e6 * flipped))
        )


def run_together(boards: Iterable[EmulatedBoard], seconds: float) -> None:
    """Run boards that are wired together up to `seconds` of common time."""
    handles = [board._board for board in boards]
    array = (_BOARD * len(handles))(*handles)
    state = library().boards_run(array, len(handles), seconds)
    if state:
        raise ChipStoppedError(f"state {state}")


class Running:
    """A board that runs in a thread of its own, for programs that talk to its pseudo-terminal."""

    def __init__(self, board: EmulatedBoard) -> None:
        self.board = board
        self.error: ChipStoppedError | None = None
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._loop, daemon=True)

    def _loop(self) -> None:
        try:
            while not self._over.is_set():
                self.board.run(ms=5)
        except ChipStoppedError as error:
            self.error = error

    def __enter__(self) -> Running:
        self._thread.start()
        return self

    def __exit__(self, *exception: object) -> None:
        self._over.set()
        self._thread.join()
        if self.error is not None:
            raise self.error
