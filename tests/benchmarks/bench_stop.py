"""From asking for a stop to its arrival at the board's player, whatever else goes on."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from firmware_gen.board.board import Witness
from firmware_gen.board.virtual import LocalPort, Server, VirtualBoard
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.host import HostLink
from firmware_gen.link.owner.client import connect, press
from firmware_gen.link.protocol import RequestKind
from tests.benchmarks.bench_transfer import anglerfish
from tests.unchecked import transfer_unchecked

PRESSES = 100
TRANSFERS = 15
CLIENTS = 50
LIMIT_MS = 50.0

_CROWD = """
import sys, threading
sys.path.insert(0, sys.argv[3])
from firmware_gen.link.owner.client import connect
def ask():
    link = connect("crowd").board(sys.argv[1])
    link.greet()
    begun.release()
    while True:
        link.state()
begun = threading.Semaphore(0)
for _ in range(int(sys.argv[2])):
    threading.Thread(target=ask, daemon=True).start()
for _ in range(int(sys.argv[2])):
    begun.acquire()
print("ready", flush=True)
sys.stdin.read()
"""


class _Clock(Witness):
    """When the player was last asked to go limp."""

    def __init__(self) -> None:
        self.limp_at = 0.0

    def asked(self, kind: RequestKind, payload: bytes) -> None:
        if kind == RequestKind.LIMP:
            self.limp_at = time.perf_counter()


def run() -> list[tuple[str, float, float]]:
    table, _ = anglerfish()
    clock = _Clock()
    virtual = VirtualBoard(write_s=0.0, witness=clock)
    transfer_unchecked(HostLink(LocalPort(virtual)), table)
    virtual._write_s = virtual.chip.memory.write_s
    before = os.environ.get("XDG_RUNTIME_DIR")
    with tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_RUNTIME_DIR"] = folder
        try:
            with Server(virtual, pseudo_terminal=os.name == "posix") as server:
                rows = _rows(server, clock, table)
            with connect("benchmark") as owner:
                owner.request("end")
        finally:
            os.environ.pop("XDG_RUNTIME_DIR")
            if before is not None:
                os.environ["XDG_RUNTIME_DIR"] = before
    return rows


def _rows(server: Server, clock: _Clock, table: bytes) -> list[tuple[str, float, float]]:
    def pressed() -> float:
        begun = time.perf_counter()
        press("limp", [server.url])
        return (clock.limp_at - begun) * 1000

    with connect("benchmark") as owner:
        owner.board(server.url).greet()
        found = {"idle": [_after_a_pause(pressed) for _ in range(PRESSES)]}
        found["in mid-transfer"] = [_mid_transfer(server, table, pressed) for _ in range(TRANSFERS)]
        with _crowd(server.url):
            crowded = [_after_a_pause(pressed) for _ in range(PRESSES)]
            found[f"with {CLIENTS} clients that ask without a pause"] = crowded
    return [
        (f"stop to player, {when}, {which} ms", figure(values), LIMIT_MS)
        for when, values in found.items()
        for which, figure in (("median", statistics.median), ("worst", max))
    ]


def _after_a_pause(pressed: Callable[[], float]) -> float:
    time.sleep(0.01)
    return pressed()


def _mid_transfer(server: Server, table: bytes, pressed: Callable[[], float]) -> float:

    def put() -> None:
        with connect("flash") as owner, suppress(LinkFailure):
            transfer_unchecked(owner.board(server.url), table)

    first = 4 if server.virtual.board.slots.current else 504
    server.virtual.eeprom.cells[first : first + 500] = os.urandom(500)  # so that much is stored
    writes = server.virtual.eeprom.writes
    putting = threading.Thread(target=put)
    putting.start()
    while putting.is_alive() and server.virtual.eeprom.writes < writes + 20:
        time.sleep(0.001)
    took_ms = pressed()
    putting.join()
    return took_ms


@contextmanager
def _crowd(url: str) -> Iterator[None]:
    words = [sys.executable, "-c", _CROWD, url, str(CLIENTS), str(Path(__file__).parents[2])]
    pipe = subprocess.PIPE
    with subprocess.Popen(words, stdin=pipe, stdout=pipe, text=True) as crowd:
        assert crowd.stdout is not None
        crowd.stdout.readline()
        yield
        crowd.kill()
