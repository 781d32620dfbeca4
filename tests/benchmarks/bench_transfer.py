"""A transfer against what storing and the line must take, and the virtual board against time."""

from __future__ import annotations

import random
import time
from importlib.resources import as_file, files

from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.compiler.show import compile_show
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import BAUD
from seqlang.check import check
from seqlang.loading import load
from tests.unchecked import transfer_unchecked

WRITE_S = ATMEGA328P.memory.write_s

BITS_PER_BYTE = 10
PLAYED_S = 600.0


def run() -> list[tuple[str, float, float] | tuple[str, float, float, str]]:
    table, buttons = anglerfish()
    return [
        ("transfer of the anglerfish, over 3.4 ms a changed byte", transfer_ratio(table), 1.10),
        (
            "virtual board in fast time, anglerfish, over real time",
            speed(table, buttons),
            200,
            ">=",
        ),
    ]


def anglerfish() -> tuple[bytes, list[int]]:
    with as_file(files("shows") / "anglerfish" / "anglerfish.cues") as path:
        checked = check(load(path)).show
    assert checked is not None
    compiled = compile_show(checked.show)
    return compiled.boards[0].data, [one.button for one in checked.show.score.bindings]


class CountingPort(LocalPort):
    """Counts the bytes on the line."""

    line_bytes = 0

    def write(self, data: bytes) -> None:
        self.line_bytes += len(data)
        super().write(data)


def transfer_ratio(table: bytes) -> float:
    """Board time of a whole transfer over the larger of its line time and its writes' time."""
    virtual = VirtualBoard()
    port = CountingPort(virtual)
    transfer_unchecked(HostLink(port), table)
    line_s = port.line_bytes * BITS_PER_BYTE / BAUD
    return virtual.time_s / max(line_s, WRITE_S * virtual.eeprom.writes)


def speed(table: bytes, buttons: list[int]) -> float:
    """Board time over time taken, with buttons pressed over the link at random all the while."""
    virtual = VirtualBoard(write_s=0.0)
    link = HostLink(LocalPort(virtual))
    transfer_unchecked(link, table)
    rng = random.Random(1)
    began_s, began = virtual.time_s, time.perf_counter()
    while virtual.time_s < began_s + PLAYED_S:
        button = rng.choice(buttons)
        link.button(button, True)
        link.port.read(0.1)
        link.button(button, False)
        for _ in range(rng.randrange(30)):
            link.port.read(0.4)
            link.beacon()
    return (virtual.time_s - began_s) / (time.perf_counter() - began)
