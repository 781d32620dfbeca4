"""Ports: finding the one a board is on, opening it, and saying exactly why that failed.

Ports open through pyserial's `serial_for_url`, so USB serial ports (`COM3`, `/dev/ttyUSB0`),
pseudo-terminals and loopback sockets (`socket://127.0.0.1:4000`) all serve.
"""

from __future__ import annotations

import errno
import os
import stat
import sys
import threading
import time
from collections.abc import Iterable
from contextlib import suppress
from typing import TYPE_CHECKING, Protocol
from urllib.parse import urlsplit

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import BAUD

if TYPE_CHECKING:
    from serial import SerialBase

WRITE_TIMEOUT_S = 1.0
_BUSY = frozenset({errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK})
_ABSENT = frozenset({errno.ENOENT, errno.ENXIO, errno.ENODEV})
_NO_TERMINAL = frozenset({errno.ENOTTY, errno.EINVAL, errno.EISDIR})


class BytePort(Protocol):
    """Bytes both ways, and the clock that time-outs go by."""

    name: str
    baud: int

    def write(self, data: bytes) -> None:
        """Send bytes; LinkFailure if the port is gone or takes none."""
        ...

    def read(self, timeout_s: float) -> bytes:
        """The bytes that are there, or the first ones to come; empty after the time-out."""
        ...

    def now(self) -> float:
        """Seconds from any start."""
        ...

    def close(self) -> None: ...


class SerialPort:
    """A `BytePort` over pyserial."""

    def __init__(self, serial: SerialBase, name: str, baud: int) -> None:
        self._serial = serial
        self._received = 0
        self.name = name
        self.baud = baud

    def write(self, data: bytes) -> None:
        from serial import SerialException, SerialTimeoutException

        try:
            self._serial.write(data)
        except SerialTimeoutException:
            raise LinkFailure(
                "no-answer",
                f"port {self.name} takes no bytes",
                "unplug the board, plug it in again and repeat",
            ) from None
        except (SerialException, OSError) as error:
            raise self._lost(error) from error

    def read(self, timeout_s: float) -> bytes:
        from serial import SerialException

        try:
            if self._serial.timeout != timeout_s:
                self._serial.timeout = timeout_s
            data: bytes = self._serial.read(1)
            if data and (more := self._serial.in_waiting):  # type: ignore[attr-defined]
                data += self._serial.read(more)
        except (SerialException, OSError, TypeError) as error:
            raise self._lost(error) from error
        self._received += len(data)
        return data

    def pull_reset(self, is_pulled: bool) -> None:
        """Set the lines that reset common boards as they are pulled; other ports have none."""
        for line in ("dtr", "rts"):
            with suppress(OSError, ValueError):
                setattr(self._serial, line, is_pulled)

    def now(self) -> float:
        return time.monotonic()

    def close(self) -> None:
        connection = getattr(self._serial, "_socket", None)
        if connection is None:
            self._serial.close()
            return
        # pyserial lingers 0.3 s after shutting a socket down, for which nobody need wait, and
        # leaves the socket open if the other end was the first to hang up.
        closing = threading.Thread(target=self._serial.close, daemon=True)
        closing.start()
        closing.join(0.02)
        connection.close()

    def _lost(self, error: Exception) -> LinkFailure:
        if not self._received and self.name.startswith("socket:"):
            return LinkFailure(
                "port-busy",
                f"{self.name} closed the connection at once: another program talks to this board",
                "end the other program, then repeat",
            )
        return LinkFailure(
            "port-lost",
            f"port {self.name} went away while this program talked to the board ({error})",
            "check plug and cable, then repeat",
        )


def open_port(name: str, baud: int = BAUD) -> SerialPort:
    """Open a port by its name or URL.

    Raises:
        LinkFailure: no-port, port-busy, no-permission, not-a-port, rate-refused.
    """
    import serial

    _refuse_files(name)
    try:
        opened = serial.serial_for_url(name, do_not_open=True)
        opened.baudrate = baud
        opened.timeout = 0.02
        opened.write_timeout = WRITE_TIMEOUT_S
        opened.exclusive = True
        opened.open()
    except (serial.SerialException, OSError, ValueError) as error:
        raise explain(error, name, baud, sys.platform) from error
    _keep_board_running(opened)
    return SerialPort(opened, name, baud)


def find_port() -> str:
    """The name of the one USB serial port of this computer.

    Raises:
        LinkFailure: no-port, or several-ports with their names.
    """
    from serial.tools.list_ports import comports

    return only_candidate(
        (port.device, port.description or "") for port in comports() if port.vid is not None
    )


def only_candidate(ports: Iterable[tuple[str, str]]) -> str:
    """The device of the only (device, description) given; LinkFailure otherwise."""
    found = sorted(ports)
    if not found:
        raise LinkFailure(
            "no-port",
            "no USB serial port found",
            "plug the board in with a cable that carries data, name its port with `--port`, or use "
            "`--port virtual` for a virtual board",
        )
    if len(found) > 1:
        names = ", ".join(f"{device} ({text})" if text else device for device, text in found)
        raise LinkFailure(
            "several-ports",
            f"{len(found)} USB serial ports found: {names}",
            f"say which one with `--port`, for example `--port {found[0][0]}`; "
            "`bellcrank ports` says what is on each",
        )
    return found[0][0]


def explain(error: Exception, name: str, baud: int, platform: str) -> LinkFailure:
    """Tell apart why a port did not open, with the usual remedy for an operating system.

    Args:
        error: what pyserial raised.
        name: of the port.
        baud: the rate that was asked for.
        platform: as `sys.platform`.
    """
    text = str(error)
    code = getattr(error, "errno", None)
    denied = code in (errno.EACCES, errno.EPERM) or "PermissionError" in text
    if code in _BUSY or (denied and platform == "win32"):
        return LinkFailure(
            "port-busy",
            f"port {name} is in use by another program",
            "close the program that has it open (a serial monitor, another `bellcrank`), then "
            "repeat",
        )
    if denied:
        return LinkFailure("no-permission", f"no permission to open port {name}", _remedy(name))
    if "baud" in text.lower():
        return LinkFailure(
            "rate-refused",
            f"port {name} cannot run at {baud} baud",
            "use another port or adapter; a rate chosen with `--baud` must be the firmware's own",
        )
    if code in _NO_TERMINAL or "ioctl" in text or "configure port" in text:
        return _not_a_port(name, "it is not a serial port")
    if name.startswith("socket:") and not _names_a_socket(name):
        return LinkFailure(
            "no-port",
            f"`{name}` is not the name of a port",
            "write it as socket://127.0.0.1:4000, with the number that `bellcrank board` printed",
        )
    if name.startswith("socket:"):
        return LinkFailure(
            "no-port",
            f"nothing listens at {name}",
            "start a virtual board with `bellcrank board` and use the port it prints",
        )
    if code in _ABSENT or "FileNotFoundError" in text or code is None:
        return LinkFailure(
            "no-port",
            f"there is no port {name}",
            "check plug and cable; without `--port` this program looks for the port",
        )
    return LinkFailure("no-port", f"port {name} does not open ({text})", "check plug and cable")


def _refuse_files(name: str) -> None:
    """Opening a file or a pipe as a port would change or block on it: look first."""
    if "://" in name:
        return
    try:
        mode = os.stat(name).st_mode
    except (OSError, ValueError):
        return
    for is_kind, text in (
        (stat.S_ISREG, "it is a plain file"),
        (stat.S_ISDIR, "it is a folder"),
        (stat.S_ISFIFO, "it is a pipe"),
        (stat.S_ISSOCK, "it is a local socket"),
        (stat.S_ISBLK, "it is a disk"),
    ):
        if is_kind(mode):
            raise _not_a_port(name, text)


def _not_a_port(name: str, text: str) -> LinkFailure:
    return LinkFailure(
        "not-a-port",
        f"`{name}` is not a port: {text}",
        "`--port` wants the name of a serial port such as COM3 or /dev/ttyUSB0, or `virtual`",
    )


def _names_a_socket(name: str) -> bool:
    """Whether this is socket://HOST:NUMBER, by the standard library's own reading."""
    try:
        return urlsplit(name).port is not None
    except ValueError:
        return False


def _remedy(name: str) -> str:
    """How a maker usually gets at a port that belongs to a group."""
    group = "dialout"
    try:
        import grp

        group = grp.getgrgid(os.stat(name).st_gid).gr_name
    except (ImportError, OSError, KeyError):
        pass
    return (
        f"add yourself to the group that owns it, `sudo usermod -a -G {group} $USER`, "
        "then log out and in again"
    )


def _keep_board_running(serial: SerialBase) -> None:
    """Have the line that resets the board stay as it is when the port closes.

    Where the system drops DTR on the last close, each command would start the show anew.
    """
    try:
        import termios
    except ImportError:
        return
    try:
        handle = serial.fileno()
        attributes = termios.tcgetattr(handle)
        attributes[2] &= ~termios.HUPCL
        termios.tcsetattr(handle, termios.TCSANOW, attributes)
    except (termios.error, OSError, AttributeError):
        return
