"""Lines that somebody types while virtual boards run."""

from __future__ import annotations

import errno
import io
import os
import queue
import signal
import sys
import threading
import time
from contextlib import suppress
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

_BACKGROUND_S: Final = 0.2
"""How soon it is noticed that the command stands in the foreground again."""


def _next_line() -> str:
    """The next line of the input; empty at its end. Raises OSError if it is gone."""
    while True:
        try:
            return sys.stdin.readline()
        except OSError as error:
            if error.errno != errno.EIO or not hasattr(os, "tcgetpgrp"):
                raise
            os.tcgetpgrp(sys.stdin.fileno())  # raises OSError if the terminal itself is gone
            # in the background it gives nothing; once `fg` was said it gives what is typed
            time.sleep(_BACKGROUND_S)


class Typed:
    """Lines that somebody types while something else goes on."""

    def __init__(self) -> None:
        self._lines: queue.Queue[str] = queue.Queue()
        self.ended = threading.Event()
        """Nothing more can be typed."""
        if hasattr(signal, "SIGTTIN"):  # in the background nobody types, and nothing shall stop
            signal.signal(signal.SIGTTIN, signal.SIG_IGN)
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        if isinstance(sys.stdin, io.TextIOWrapper):  # bytes of no letters end no reading
            sys.stdin.reconfigure(errors="replace")
        with suppress(OSError, ValueError):
            while sys.stdin and (line := _next_line()):  # None: closed by whoever started this
                self._lines.put(line)
        self.ended.set()

    def lines(self) -> Sequence[str]:
        """Those typed since the last call."""
        found: list[str] = []
        with suppress(queue.Empty):
            while True:
                found.append(self._lines.get_nowait())
        return [line for line in found if line.strip()]
