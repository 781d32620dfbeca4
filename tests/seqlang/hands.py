"""A command that somebody works by keys, on a real pseudo-terminal of 80 columns and 24 lines."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import struct
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

import pyte

from seqlang.jogging import SHORTEST_GAP_S
from tests.seqlang.terminal import ROOT

UP: Final = "\x1b[A"
ENTER: Final = "\r"
LONGEST_S: Final = 20
_BETWEEN_S: Final = 2 * SHORTEST_GAP_S
"""Keys that come closer are taken for one."""


def assert_soon(what: Callable[[], bool], say: Callable[[], object] = lambda: "") -> None:
    end_s = time.monotonic() + LONGEST_S
    while not what():
        assert time.monotonic() < end_s, say()
        time.sleep(0.01)


class Hands:
    """A command with a terminal of 80 columns and 24 lines, and who sits there."""

    def __init__(self, *words: str) -> None:
        self._main, side = pty.openpty()
        fcntl.ioctl(side, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.command = subprocess.Popen(
            [sys.executable, "-m", "seqlang", *words],
            stdin=side,
            stdout=side,
            stderr=side,
            start_new_session=True,
            env={**os.environ, "PYTHONPATH": str(ROOT), "TERM": "xterm"},
        )
        os.close(side)
        self._screen = pyte.Screen(80, 24)
        self._stream = pyte.ByteStream(self._screen)
        self.all = b""

    def __enter__(self) -> Hands:
        return self

    def __exit__(self, *exception: object) -> None:
        self.command.kill()
        self.command.wait(timeout=LONGEST_S)
        self.close()

    def close(self) -> None:
        """The terminal is gone, and says so to nobody but who reads from it."""
        if self._main >= 0:
            os.close(self._main)
            self._main = -1

    @contextmanager
    def flood(self, key: str) -> Iterator[None]:
        """A key comes again and again, as fast as it is taken."""
        is_over = threading.Event()

        def write() -> None:
            while not is_over.is_set():
                if select.select([], [self._main], [], 0.01)[1]:
                    os.write(self._main, key.encode())

        writing = threading.Thread(target=write)
        writing.start()
        try:
            yield
        finally:
            is_over.set()
            writing.join()

    def shown(self) -> str:
        while select.select([self._main], [], [], 0.0)[0]:
            try:
                data = os.read(self._main, 65536)
            except OSError:  # the other end was closed: Linux says EIO
                break
            if not data:
                break
            self.all += data
            self._stream.feed(data)
        return "\n".join(line.rstrip() for line in self._screen.display)

    def sees(self, words: str) -> None:
        assert_soon(lambda: words in self.shown(), self.shown)

    def press(self, keys: str, then: str) -> None:
        time.sleep(_BETWEEN_S)
        os.write(self._main, keys.encode())
        self.sees(then)

    def type_ahead(self, keys: str) -> None:
        os.write(self._main, keys.encode())

    def leave(self, keys: str, then: str) -> None:
        """The screen is left, or has been: what is told then is in all that came, unbroken."""
        os.write(self._main, keys.encode())
        assert_soon(lambda: bool(self.shown()) and then in self.all.decode(), self.shown)

    def begin(self) -> None:
        """Past the cautions, with pulses on the first servo."""
        self.sees("hold or prop what hangs on a part")
        self.press("y", "The board is not limp")
        self.press(ENTER, "LIMP.")
        self.press(ENTER, "PULSES.")

    def ended(self) -> int:
        status = self.command.wait(timeout=LONGEST_S)
        self.shown()
        return status
