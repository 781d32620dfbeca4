"""The board's end of a port: a loopback socket or a pseudo-terminal."""

from __future__ import annotations

import contextlib
import os
import selectors
import socket
from typing import Protocol

from firmware_gen.link.failures import LinkFailure


class BoardEnd(Protocol):
    """The board's end of a port."""

    url: str

    def wait(self, timeout_s: float) -> bytes:
        """Bytes from the host, empty after the time-out."""
        ...

    def send(self, data: bytes) -> None: ...

    def close(self) -> None: ...


class SocketLine:
    """A loopback socket; talks to one host at a time and turns others away at once."""

    def __init__(self, tcp_port: int) -> None:
        try:
            if not 0 <= tcp_port < 65536:
                raise OSError("numbers go from 0 to 65535")
            self._listener = socket.create_server(("127.0.0.1", tcp_port))
        except OSError as error:
            raise LinkFailure(
                "no-port",
                f"no virtual board can listen at {tcp_port} ({error})",
                "choose another number, or leave it out to get a free one",
            ) from error
        self._listener.setblocking(False)
        self._host: socket.socket | None = None
        self._selector = selectors.DefaultSelector()
        self._selector.register(self._listener, selectors.EVENT_READ)
        self.url = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"

    def wait(self, timeout_s: float) -> bytes:
        received = b""
        for key, _ in self._selector.select(timeout_s):
            if key.fileobj is self._listener:
                self._greet()
            else:
                received += self._receive()
        return received

    def send(self, data: bytes) -> None:
        if not self._host or not data:
            return
        try:
            self._host.sendall(data)
        except OSError:
            self._hang_up()

    def close(self) -> None:
        self._hang_up()
        self._selector.close()
        self._listener.close()

    def _greet(self) -> None:
        try:
            host, _ = self._listener.accept()
        except OSError:
            return
        if self._host:
            host.close()
            return
        host.settimeout(1.0)
        host.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._host = host
        self._selector.register(host, selectors.EVENT_READ)

    def _receive(self) -> bytes:
        assert self._host is not None
        try:
            received = self._host.recv(4096)
        except OSError:
            received = b""
        if not received:
            self._hang_up()
        return received

    def _hang_up(self) -> None:
        if self._host:
            self._selector.unregister(self._host)
            self._host.close()
            self._host = None


class TerminalLine:
    """A pseudo-terminal, where the system has them."""

    def __init__(self) -> None:
        try:
            import pty
            import tty
        except ImportError:
            raise LinkFailure(
                "no-port",
                "this system has no pseudo-terminals",
                "leave the option out: the virtual board then listens on a loopback socket",
            ) from None
        # Holding the host's end open too keeps the board's end alive between hosts.
        self._board_end, self._host_end = pty.openpty()
        tty.setraw(self._host_end)
        os.set_blocking(self._board_end, False)
        self._selector = selectors.DefaultSelector()
        self._selector.register(self._board_end, selectors.EVENT_READ)
        self.url = os.ttyname(self._host_end)

    def wait(self, timeout_s: float) -> bytes:
        if not self._selector.select(timeout_s):
            return b""
        try:
            return os.read(self._board_end, 4096)
        except OSError:
            return b""

    def send(self, data: bytes) -> None:
        # What nobody reads is lost, as on a wire.
        with contextlib.suppress(OSError):
            os.write(self._board_end, data)

    def close(self) -> None:
        self._selector.close()
        os.close(self._board_end)
        os.close(self._host_end)
