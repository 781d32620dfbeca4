"""A port's bytes, moved by threads of their own: a port that hangs holds nobody else up."""

from __future__ import annotations

import threading
from collections.abc import Callable
from queue import SimpleQueue
from typing import Final

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.ports import SerialPort, open_port

_READ_S: Final = 0.1
"""How soon the reading thread notices that the port is to be closed."""

Heard = Callable[["PortThreads", bytes | LinkFailure | None], None]
"""Told in a thread of the port's: bytes that came, why the port failed, or None: it is closed."""


class PortThreads:
    """Opens a port, reads it and writes it, all in the background.

    Args:
        name, baud: of the port.
        heard: told no bytes once the port is open, then what comes. Once it was told None, nothing
            more comes.
        after: the threads of an earlier opening of this port, which must have closed it first.
    """

    def __init__(
        self, name: str, baud: int, heard: Heard, after: PortThreads | None = None
    ) -> None:
        self.name = name
        self._heard = heard
        self._after = after
        self._out: SimpleQueue[bytes | None] = SimpleQueue()
        self._closing = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(baud,), daemon=True)
        self._thread.start()

    def write(self, data: bytes) -> None:
        """Send bytes as soon as those before are out."""
        self._out.put(data)

    def close(self) -> None:
        """Close the port soon; what was given to `write` goes out first."""
        self._closing.set()
        self._out.put(None)

    def join(self, timeout_s: float) -> None:
        self._thread.join(timeout_s)

    def _run(self, baud: int) -> None:
        if self._after:
            self._after.join(2.0)
            self._after = None
        try:
            port = open_port(self.name, baud)
        except LinkFailure as failure:
            self._heard(self, failure)
            self._heard(self, None)
            return
        self._heard(self, b"")
        writer = threading.Thread(target=self._write, args=(port,), daemon=True)
        writer.start()
        try:
            self._read(port)
        except LinkFailure as failure:
            self._heard(self, failure)
        finally:
            self.close()
            writer.join(2.0)
            port.close()
            self._heard(self, None)

    def _read(self, port: SerialPort) -> None:
        while not self._closing.is_set():
            data = port.read(_READ_S)
            if data:
                self._heard(self, data)

    def _write(self, port: SerialPort) -> None:
        while (data := self._out.get()) is not None:
            try:
                port.write(data)
            except LinkFailure as failure:
                self._heard(self, failure)
                self._closing.set()
                return
