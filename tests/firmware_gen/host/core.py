"""The firmware's core compiled for this machine and driven from Python.

`available()` tells whether there is a C compiler; `Core()` is one board. The library's state is
static, so there is one board per process: a new `Core` starts it anew.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import tempfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

from cffi import FFI

from firmware_gen.board.slots import FIRST_BYTE, MARKS
from firmware_gen.board.storage import ERASED
from firmware_gen.build.generate import chip_header
from firmware_gen.chips import Chip
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.link.protocol import ReportedMode
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.records import SwitchRecord, Table

HERE = Path(__file__).parent
CORE = HERE.parents[2] / "firmware_gen" / "core"
FLAGS = (
    "-std=c99",
    "-Wall",
    "-Wextra",
    "-pedantic",
    "-Wmissing-prototypes",
    "-Wconversion",
    "-Werror",
)
OBJECTS: Path | None = None
"""A folder where compiled files are kept, so that each is compiled once; None: there is none."""
CUE, DOWN, UP, STANDBY, STOP, LIMP = (n << 5 for n in range(6))
"""Kinds of requests of `host_ask`."""


def compiler() -> str | None:
    """Path of the system's C compiler."""
    return shutil.which("cc") or shutil.which("gcc") or shutil.which("clang")


def available() -> bool:
    return compiler() is not None


def compile_core(into: Path, *more: str, chip: Chip = ATMEGA328P) -> None:
    """Compile core and harness for a chip's numbers; `more` are words for the compiler.

    This folder is what a chip's folder is: `bc_flash.h` and the functions `bc_hal_*`.
    """
    sources = [*sorted(CORE.glob("*.c")), HERE / "host.c"]
    with tempfile.TemporaryDirectory() as numbers:
        (Path(numbers) / "bc_chip.h").write_text(chip_header(chip), "ascii")
        folders = [f"-I{folder}" for folder in (CORE, HERE, numbers)]
        words = [compiler() or "cc", *FLAGS, *folders, *more]
        if OBJECTS is not None:
            headers = [sorted(Path(folder).glob("*.h")) for folder in (CORE, HERE, numbers)]
            given = "".join(path.read_text("ascii") for some in headers for path in some)
            sources = [_kept(OBJECTS, one, words, " ".join(more) + given) for one in sources]
        _run([*words, "-o", str(into), *map(str, sources)])


def _kept(objects: Path, source: Path, words: Sequence[str], given: str) -> Path:
    """The object of a source; compiled if none is kept of the same text, headers and words."""
    text = f"{source.name}\n{given}\n{source.read_text('ascii')}"
    path = objects / f"{hashlib.sha256(text.encode()).hexdigest()}.o"
    if not path.exists():
        compiling = [word for word in words if not word.startswith("-Wl")]
        _run([*compiling, "-c", "-o", str(path), str(source)])
    return path


def _run(words: Sequence[str]) -> None:
    done = subprocess.run(words, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def declarations() -> str:
    """What cffi needs of host.h."""
    lines = (HERE / "host.h").read_text("ascii").splitlines()
    return "\n".join(line for line in lines if not line.startswith("#"))


@cache
def built() -> tuple[FFI, Any, tempfile.TemporaryDirectory[str]]:
    folder = tempfile.TemporaryDirectory()
    path = Path(folder.name) / "core.so"
    compile_core(path, "-shared", "-fPIC", "-O2", "-Wl,-z,defs")
    ffi = FFI()
    ffi.cdef(declarations())
    return ffi, ffi.dlopen(str(path)), folder


def library() -> Any:
    """The library, compiled when first asked for."""
    return built()[1]


def law_numbers(law_id: int, alpha: int, beta: int, peak: int) -> list[int]:
    """Cv, Ca and K of a law as the core works them out."""
    ffi, lib, _ = built()
    numbers = ffi.new("uint32_t[3]")
    lib.host_law_numbers(law_id, alpha, beta, peak, numbers)
    return list(numbers)


@cache
def sanitized() -> tuple[Path, tempfile.TemporaryDirectory[str]] | None:
    """The replaying program with address and undefined-behaviour checks; None: not available."""
    folder = tempfile.TemporaryDirectory()
    path = Path(folder.name) / "replay"
    checks = "-fsanitize=address,undefined,shift"
    trial = Path(folder.name) / "trial.c"
    trial.write_text("int main(void) { return 0; }\n", "ascii")
    words = [compiler() or "cc", checks, str(trial), "-o", str(path)]
    if subprocess.run(words, capture_output=True).returncode or subprocess.run([path]).returncode:
        return None
    compile_core(path, "-g", "-O1", checks, "-fno-sanitize-recover=all", str(HERE / "replay.c"))
    return path, folder


class PowerCutError(Exception):
    """The power failed during a write to a cell."""


class Core:
    """One board with erased cells, or with these tables in its slots; not yet started."""

    def __init__(self, *tables: bytes, mark: int = MARKS[0], cells: bytes = b"") -> None:
        self._ffi, self._lib, _ = built()
        lib = self._lib
        self.cells = self._ffi.buffer(lib.host_cells(), 1024)
        self.merged = self._ffi.buffer(lib.host_merged(), 16384)
        self.cells[:] = cells or bytes([ERASED]) * 1024
        self.merged[:] = bytes([ERASED]) * 16384
        for slot, table in enumerate(tables):
            self.put(slot, table)
        if tables:
            self.cells[FIRST_BYTE + 2 * ATMEGA328P.slot_bytes] = bytes([mark])
        lib.host_cut(-1, -1)
        lib.host_slow(0)
        lib.host_play_in_pauses(0)
        lib.host_slow_line(0, 100)
        lib.host_set_clock(0)
        for port in range(3):
            lib.host_port(port, 0)
        lib.host_record(self._ffi.NULL, 0)
        self._raw = self._ffi.new("uint8_t[2048]")
        self._sent = self._ffi.new("uint8_t[]", 1 << 20)
        self._fed: Any = None

    def put(self, slot: int, table: bytes) -> None:
        """Write a table into a slot, as the factory would."""
        at = FIRST_BYTE + slot * ATMEGA328P.slot_bytes
        self.cells[at : at + len(table)] = table

    def start(self, cause: int = 1) -> None:
        self._power(self._lib.host_start(cause))
        self.take()

    def service(self) -> None:
        self._power(self._lib.host_service())

    def settle(self) -> None:
        """Serve until nothing is stored any more."""
        self._power(self._lib.host_settle())

    def frame(self) -> bytes:
        """Play a frame; its outputs."""
        self._power(self._lib.host_frame())
        return self.raw()

    def frames(self, count: int) -> None:
        """Play frames and serve the link between them."""
        self._power(self._lib.host_frames(count))

    def record(self, frames: int) -> Any:
        """A buffer that takes the pulses of so many frames to come, eight u16 a frame."""
        self._pulses = self._ffi.new("uint16_t[]", 8 * frames)
        self._lib.host_record(self._pulses, frames)
        return self._ffi.buffer(self._pulses)

    def raw(self) -> bytes:
        """The outputs; switches as levels of their pins."""
        count = self._lib.host_raw(self._raw)
        return bytes(self._ffi.buffer(self._raw, count))

    def feed(self, data: bytes) -> None:
        """Bytes for the next services; what was left of the last ones is lost."""
        self._fed = self._ffi.from_buffer(data)
        self._lib.host_feed(self._fed, len(data))

    def take(self) -> bytes:
        """What was sent since the last call."""
        count = self._lib.host_take(self._sent, 1 << 20)
        return bytes(self._ffi.buffer(self._sent, count))

    def exchange(self, data: bytes) -> bytes:
        """Bytes to the board, all that it has to do about them, and what it answers."""
        self.feed(data)
        self.settle()
        return self.take()

    def ask(self, kind: int, argument: int = 0) -> bool:
        return bool(self._lib.host_ask(kind, argument))

    @property
    def mode(self) -> ReportedMode:
        return ReportedMode(self._lib.host_mode())

    @property
    def end(self) -> list[int]:
        """Mode, live runs, mask of running cues, refused requests, overruns."""
        lib = self._lib
        return [
            lib.host_mode(),
            lib.host_live(),
            lib.host_running(),
            lib.host_refused(),
            lib.host_overruns(),
        ]

    def _power(self, failed: int) -> None:
        if failed:
            raise PowerCutError


class CorePlayer:
    """A core that plays one table, with the calls and the outputs of the reference player."""

    def __init__(self, table: bytes | Table, clock: int = 0) -> None:
        self.table = table if isinstance(table, Table) else decode(table)
        self.core = Core()
        library().host_set_clock(clock % 2**32)
        data = encode(self.table) if isinstance(table, Table) else table
        self.core.merged[: len(data)] = data
        self.core.start()
        self._cues = {cue.tag: number for number, cue in enumerate(self.table.cues)}
        self._unknown = False
        self._flips = bytes(
            0 if output.active_high else 1
            for output in self.table.outputs
            if isinstance(output, SwitchRecord)
        )

    def frame(self) -> bytes:
        raw = self.core.frame()
        if not self._flips:
            return raw
        cut = len(raw) - len(self._flips)
        switches = bytes(a ^ b for a, b in zip(raw[cut:], self._flips, strict=True))
        return raw[:cut] + switches

    def end(self, reference: list[int]) -> list[int]:
        """The core's state, with the reference's refused requests where they cannot be compared.

        The core's link answers a trigger with an unknown tag itself; the reference player may
        count it.
        """
        found = self.core.end
        return [*found[:3], reference[3] if self._unknown else found[3], found[4]]

    def trigger(self, tag: int) -> None:
        if tag in self._cues:
            assert self.core.ask(CUE, self._cues[tag])
        else:
            self._unknown = True

    def button(self, button: int, down: bool) -> None:
        assert self.core.ask(DOWN if down else UP, button)

    def stop(self) -> None:
        assert self.core.ask(STOP)

    def limp(self) -> None:
        assert self.core.ask(LIMP)

    def standby(self) -> None:
        assert self.core.ask(STANDBY)

    def jog(self, servo: int, ticks: int) -> None:
        library().host_jog(servo, ticks)

    def heard(self) -> None:
        library().host_heard()
