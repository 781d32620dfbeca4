"""What goes wrong at an event, made to happen: clocks, cables, disks, and a network that loses."""

from __future__ import annotations

import os
import random
import select
import shutil
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]
FIRST_S: Final = 0.2
"""TCP sends a segment again after this time at the earliest (Linux, from memory; RFC 6298: 1 s),
and then after twice as long each time."""

SHIFTED_CLOCKS = """
import os, time
_folder = os.environ["BAD_DAY_FOLDER"]

def _by(name):
    try:
        with open(os.path.join(_folder, name)) as file:
            return float(file.read() or 0)
    except OSError:
        return 0.0

_boot, _now = time.clock_gettime, time.time
time.clock_gettime = lambda clock: _boot(clock) + (
    _by("slept") if clock == time.CLOCK_BOOTTIME else 0.0
)
time.time = lambda: _now() + _by("slept") + _by("set")
"""


def with_shifted_clocks(folder: Path, environment: dict[str, str]) -> dict[str, str]:
    """An environment in whose processes `shift` moves the clocks."""
    (folder / "sitecustomize.py").write_text(SHIFTED_CLOCKS)
    paths = os.pathsep.join((str(folder), str(ROOT)))
    return {**environment, "BAD_DAY_FOLDER": str(folder), "PYTHONPATH": paths}


def shift(folder: Path, **by_s: float) -> None:
    """`slept`: seconds that the computer slept. `set`: seconds by which its clock was set."""
    for name, seconds in by_s.items():
        beside = folder / f"{name}.new"
        beside.write_text(str(seconds))
        beside.replace(folder / name)


def started(*words: str, environment: dict[str, str] | None = None) -> subprocess.Popen[str]:
    """A command in a process of its own; what it says comes in one stream."""
    return subprocess.Popen(
        [sys.executable, "-m", "seqlang", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        cwd=ROOT,
        env=environment,
    )


# -- disks -----------------------------------------------------------------------------------------


def can_mount() -> bool:
    """Whether this user may have a file system of their own."""
    if shutil.which("unshare") is None:
        return False
    words = [*_APART, "mount -t tmpfs none /mnt"]
    return subprocess.run(words, capture_output=True).returncode == 0


_APART: Final = ("unshare", "--user", "--map-root-user", "--mount", "sh", "-ec")


def on_a_disk(folder: Path, trouble: str, script: str) -> subprocess.CompletedProcess[str]:
    """Run a shell's script with a small disk of its own as `folder`, full or not to be written.

    What lies in the folder `beside` is on that disk before the trouble begins.
    """
    beside = folder.parent / "beside"
    begin = {
        "full": f"dd if=/dev/zero of={folder}/filler bs=4k 2>/dev/null || true",
        "read-only": f"mount -o remount,ro {folder}",
    }[trouble]
    whole = f"""
mount -t tmpfs -o size=400k,mode=700 none {folder}
cp -r {beside}/. {folder}/
{begin}
cd {ROOT}
set +e
bellcrank() {{ {sys.executable} -m seqlang "$@"; }}
{script}
"""
    return subprocess.run([*_APART, whole], capture_output=True, text=True, timeout=240)


# -- cables and networks ---------------------------------------------------------------------------


class Cable:
    """A board's plug, and the sockets of several laptops. It is in one of them, or in none."""

    def __init__(self, board_port: int, laptops: int) -> None:
        self._board_port = board_port
        self._listening = [socket.create_server(("127.0.0.1", 0)) for _ in range(laptops)]
        self._in: int | None = None
        self._open: list[socket.socket] = []
        self._ends: list[socket.socket] = []
        for number, listener in enumerate(self._listening):
            threading.Thread(target=self._serve, args=(number, listener), daemon=True).start()

    def port(self, laptop: int) -> str:
        return f"socket://127.0.0.1:{self._listening[laptop].getsockname()[1]}"

    def plug_into(self, laptop: int | None) -> None:
        """Whoever had the board hears no more of it."""
        self._in = None
        for end in self._open:
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
        self._open.clear()
        time.sleep(0.1)  # the board's end is free again
        self._in = laptop

    def close(self) -> None:
        self.plug_into(None)
        for end in (*self._listening, *self._ends):
            end.close()

    def _serve(self, number: int, listener: socket.socket) -> None:
        with suppress(OSError):
            while True:
                laptop, _ = listener.accept()
                if self._in != number:
                    laptop.close()
                    continue
                board = socket.create_connection(("127.0.0.1", self._board_port))
                self._open += [laptop, board]
                self._ends += [laptop, board]
                for ends in ((laptop, board), (board, laptop)):
                    threading.Thread(target=_carry, args=ends, daemon=True).start()


def _carry(source: socket.socket, sink: socket.socket) -> None:
    with suppress(OSError):
        while data := source.recv(4096):
            sink.sendall(data)
    for end in (source, sink):
        with suppress(OSError):
            end.shutdown(socket.SHUT_RDWR)


LOSING: Final = "127.0.0.2"
"""Where the way over the losing network begins: another address, the number stays."""


@contextmanager
def losing_network(number: int, lost: float, seed: int) -> Iterator[None]:
    """A way to a local socket as it is over a network that loses this share of its packets.

    TCP sends again what was lost, and hands nothing over before what came earlier: whoever listens
    sees pauses, then heaps. So each piece is late by the waits of its losses, in both directions,
    and so is the beginning of each connection.
    """
    dice = random.Random(seed)
    with socket.create_server((LOSING, number)) as listener:

        def begin(near: socket.socket, own: random.Random) -> None:
            with suppress(OSError):
                _wait_for_losses(lost, own)
                far = socket.create_connection(("127.0.0.1", number))
                for ends in ((near, far), (far, near)):
                    words = (*ends, lost, random.Random(own.random()))
                    threading.Thread(target=_carry_late, args=words, daemon=True).start()

        def serve() -> None:
            with suppress(OSError):
                while True:
                    near, _ = listener.accept()
                    words = (near, random.Random(dice.random()))
                    threading.Thread(target=begin, args=words, daemon=True).start()

        threading.Thread(target=serve, daemon=True).start()
        yield


def _wait_for_losses(lost: float, dice: random.Random) -> None:
    wait_s = FIRST_S
    while dice.random() < lost:
        time.sleep(wait_s)
        wait_s *= 2


def _carry_late(
    source: socket.socket, sink: socket.socket, lost: float, dice: random.Random
) -> None:
    with suppress(OSError), closing(sink):
        while data := source.recv(65_536):  # what is lost together is sent again together
            _wait_for_losses(lost, dice)
            sink.sendall(data)


def said(process: subprocess.Popen[str], within_s: float = 30.0) -> str:
    """The next line that a process says."""
    assert process.stdout is not None
    assert select.select([process.stdout], [], [], within_s)[0], "it says nothing"
    return process.stdout.readline()
