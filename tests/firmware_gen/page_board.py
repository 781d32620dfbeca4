"""The shipped WebAssembly of the core, run without a browser: one instance is one board."""

from __future__ import annotations

from functools import cache
from typing import Any

from wasmtime import Engine, Instance, Module, Store

from firmware_gen.build.webassembly import shipped
from firmware_gen.chips import CHIPS_BY_ID
from firmware_gen.link.protocol import ReportedMode
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import encode
from firmware_gen.table.records import LampRecord, ServoRecord, StripRecord, SwitchRecord, Table

CUE, DOWN, UP, STANDBY, STOP, LIMP = (n << 5 for n in range(6))
"""enum bc_asked of the core."""


@cache
def _module(chip: str) -> tuple[Engine, Module]:
    engine = Engine()
    return engine, Module(engine, shipped(chip).read_bytes())


class PageBoard:
    """A board that plays one table, with the calls and the outputs of the reference player."""

    def __init__(self, table: bytes | Table) -> None:
        self.table = table if isinstance(table, Table) else decode(table)
        data = encode(self.table) if isinstance(table, Table) else table
        chip = CHIPS_BY_ID[self.table.chip]
        engine, module = _module(chip.name)
        self._store = Store(engine)
        self._exports = Instance(self._store, module, []).exports(self._store)
        self._memory: Any = self._exports["memory"]
        self._put(self.call("page_table"), data)
        self._put(self.call("page_pins"), chip.abilities)
        self.call("page_start")
        self._cues = {cue.tag: number for number, cue in enumerate(self.table.cues)}
        self._unknown = False

    def call(self, name: str, *values: int) -> Any:
        return self._exports[name](self._store, *values)  # type: ignore[operator]

    def _put(self, at: int, data: bytes) -> None:
        self._memory.write(self._store, data, at)

    def _get(self, at: int, size: int) -> bytes:
        return bytes(self._memory.read(self._store, at, at + size))

    def receive(self, data: bytes) -> int:
        """Bytes for the next frame; how many found room."""
        fits = data[: self.call("page_line_room")]
        self._put(self.call("page_line"), fits)
        found = self.call("page_receive", len(data))
        assert isinstance(found, int)
        return found

    def said(self) -> bytes:
        return self._get(self.call("page_words"), self.call("page_said"))

    def hear(self, data: bytes) -> None:
        """Bytes on the line between boards."""
        self._put(self.call("page_wire"), data[: self.call("page_wire_room")])
        self.call("page_hear", len(data))

    def told(self) -> bytes:
        """What it has told there since the last call."""
        return self._get(self.call("page_told"), self.call("page_tells"))

    def level(self, pin: int, high: bool) -> None:
        self._put(self.call("page_levels") + pin, bytes([high]))

    def channel(self, number: int, ticks: int) -> None:
        """What a channel gives in each frame from now on; 0: no pulses."""
        self.call("page_channel", number, ticks)

    def frame(self) -> bytes:
        self.call("page_frame")
        return self.raw()

    def raw(self) -> bytes:
        """As `firmware_gen.player.outputs.Frame.raw`."""
        kinds = [type(output) for output in self.table.outputs]
        strips = [one.pixels for one in self.table.outputs if isinstance(one, StripRecord)]
        levels = self.call("page_levels")
        switches = [one for one in self.table.outputs if isinstance(one, SwitchRecord)]
        turned = bytes(self._get(levels + one.pin, 1)[0] == one.active_high for one in switches)
        return (
            self._get(self.call("page_pulses"), 2 * kinds.count(ServoRecord))
            + self._get(self.call("page_duties"), 2 * kinds.count(LampRecord))
            + self._get(self.call("page_pixels"), 3 * sum(strips))
            + turned
        )

    @property
    def mode(self) -> ReportedMode:
        return ReportedMode(self.call("page_mode"))

    def end(self, reference: list[int]) -> list[int]:
        """Mode, live runs, mask of running cues, refused requests, overruns.

        A trigger with an unknown tag is answered by the link: the player never counts it.
        """
        names = ("page_mode", "page_live", "page_running", "page_refused", "page_overruns")
        found = [self.call(name) for name in names]
        found[2] &= 0xFFFFFFFF
        return [*found[:3], reference[3] if self._unknown else found[3], found[4]]

    def _ask(self, asked: int, argument: int = 0) -> None:
        assert self.call("page_ask", asked, argument)

    def trigger(self, tag: int) -> None:
        if tag in self._cues:
            self._ask(CUE, self._cues[tag])
        else:
            self._unknown = True

    def button(self, button: int, down: bool) -> None:
        self._ask(DOWN if down else UP, button)

    def stop(self) -> None:
        self._ask(STOP)

    def limp(self) -> None:
        self._ask(LIMP)

    def standby(self) -> None:
        self._ask(STANDBY)

    def jog(self, servo: int, ticks: int) -> None:
        self.call("page_jog", servo, ticks)

    def heard(self) -> None:
        self.call("page_heard")
