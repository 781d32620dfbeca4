"""Several boards at once: the firmware's core in as many copies, each with a state of its own."""

from __future__ import annotations

import shutil
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from cffi import FFI

from firmware_gen.chips import CHIPS_BY_ID
from firmware_gen.table.encode import encode
from firmware_gen.table.records import SwitchRecord, Table
from sim.rulebook import SENSORS
from tests.firmware_gen.host.core import (
    CUE,
    DOWN,
    LIMP,
    STANDBY,
    STOP,
    UP,
    compile_core,
    declarations,
)


@cache
def built(chip_id: int) -> tuple[Path, tempfile.TemporaryDirectory[str]]:
    folder = tempfile.TemporaryDirectory()
    path = Path(folder.name) / "core.so"
    compile_core(path, "-shared", "-fPIC", "-O2", "-Wl,-z,defs", chip=CHIPS_BY_ID[chip_id])
    return path, folder


class ApartPlayer:
    """A core of its own that plays one table, with the reference player's calls."""

    def __init__(self, table: Table) -> None:
        library, _ = built(table.chip)
        self._ffi = FFI()
        self._ffi.cdef(declarations())
        with tempfile.TemporaryDirectory() as folder:  # what is loaded outlasts its file
            path = shutil.copy(library, Path(folder) / "board.so")
            self.lib: Any = self._ffi.dlopen(str(path))
        self._raw = self._ffi.new("uint8_t[2048]")
        self._sent = self._ffi.new("uint8_t[256]")
        self.load(table)

    def load(self, table: Table) -> None:
        """Put a table in the place of whatever it played, and power on."""
        self._cues = {cue.tag: number for number, cue in enumerate(table.cues)}
        self._flips = bytes(
            0 if output.active_high else 1
            for output in table.outputs
            if isinstance(output, SwitchRecord)
        )
        data = encode(table)
        cells = self._ffi.buffer(self.lib.host_cells(), 4096)
        cells[:] = b"\xff" * 4096
        merged = self._ffi.buffer(self.lib.host_merged(), 16384)
        merged[:] = b"\xff" * 16384
        merged[: len(data)] = data
        self.start()

    def start(self) -> None:
        """Power on."""
        self.lib.host_cut(-1, -1)
        self.lib.host_slow_line(0, 100)
        assert self.lib.host_start(1) == 0

    def trigger(self, tag: int) -> None:
        if tag in self._cues:
            assert self.lib.host_ask(CUE, self._cues[tag])

    def button(self, button: int, down: bool) -> None:
        assert self.lib.host_ask(DOWN if down else UP, button)

    def stop(self) -> None:
        assert self.lib.host_ask(STOP, 0)

    def limp(self) -> None:
        assert self.lib.host_ask(LIMP, 0)

    def standby(self) -> None:
        assert self.lib.host_ask(STANDBY, 0)

    def jog(self, servo: int, ticks: int) -> None:
        self.lib.host_jog(servo, ticks)

    def channel(self, number: int, ticks: int) -> None:
        self.lib.host_channel(number, ticks)

    def voltage(self, slot: int, reading: int) -> None:
        self.lib.host_voltage(slot, reading)

    def battery(self, reading: int) -> None:
        self.voltage(SENSORS, reading)

    @property
    def battery_told(self) -> tuple[int, int]:
        told = int(self.lib.host_battery())
        return told >> 8, told & 0xFF

    def sensor(self, number: int) -> int | None:
        value = int(self.lib.host_sensor(number))
        return None if value == 0xFFFF else value

    def heard(self) -> None:
        self.lib.host_heard()

    def receive(self, data: bytes, moment: int = 0) -> None:
        """Bytes on the line that it shares with the host."""
        self.lib.host_moment(moment)
        fed = self._ffi.from_buffer(data)
        self.lib.host_feed(fed, len(data))
        assert self.lib.host_settle() == 0

    def receive_apart(self, data: bytes, moment: int = 0) -> None:
        """Bytes on a line between boards of its own."""
        self.lib.host_moment(moment)
        self.lib.host_line(self._ffi.from_buffer(data), len(data))

    def frame(self) -> bytes:
        assert self.lib.host_frame() == 0
        raw = bytes(self._ffi.buffer(self._raw, self.lib.host_raw(self._raw)))
        cut = len(raw) - len(self._flips)
        return raw[:cut] + bytes(a ^ b for a, b in zip(raw[cut:], self._flips, strict=True))

    def answered(self) -> bytes:
        """What it answered the host since the last call."""
        return bytes(self._ffi.buffer(self._sent, self.lib.host_take(self._sent, len(self._sent))))

    def told_bytes(self) -> bytes:
        """What went out on its line since the last call."""
        return bytes(self._ffi.buffer(self._sent, self.lib.host_told(self._sent)))

    @property
    def end(self) -> list[int]:
        """Mode, live runs, mask of running cues, refused requests, overruns."""
        lib = self.lib
        return [
            lib.host_mode(),
            lib.host_live(),
            lib.host_running(),
            lib.host_refused(),
            lib.host_overruns(),
        ]
