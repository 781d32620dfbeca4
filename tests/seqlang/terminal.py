"""A command on a real pseudo-terminal of 80 columns and 24 lines, and the screen it leaves."""

from __future__ import annotations

import fcntl
import os
import pty
import struct
import subprocess
import sys
import termios
from dataclasses import dataclass
from pathlib import Path

import pyte

ROOT = Path(__file__).parents[2]
"""Of the code that is tested: an earlier installation may have left folders in the way."""


@dataclass(frozen=True)
class Ended:
    """What a command left: the lines of its screen without the empty ones below, and all bytes.

    `out`: what it wrote to its standard output if that was no terminal.
    """

    status: int
    screen: list[str]
    raw: str
    out: str


def on_a_terminal(
    *arguments: str,
    columns: int = 80,
    lines: int = 24,
    terminal: str = "xterm",
    only_stderr: bool = False,
    environment: dict[str, str] | None = None,
    folder: Path | None = None,
    program: tuple[str, ...] = ("-m", "seqlang"),
) -> Ended:
    """`bellcrank` with these arguments; `only_stderr`: its output goes to a pipe.

    `program`: what Python runs instead.
    """
    kept = {key: value for key, value in os.environ.items() if key not in _RULING}
    main, side = pty.openpty()
    fcntl.ioctl(side, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))
    started = subprocess.Popen(
        [sys.executable, *program, *arguments],
        stdin=side,
        stdout=subprocess.PIPE if only_stderr else side,
        stderr=side,
        env={**kept, "PYTHONPATH": str(ROOT), "TERM": terminal, **(environment or {})},
        cwd=folder,
    )
    os.close(side)
    raw = _read_all(main)
    out = b"" if started.stdout is None else started.stdout.read()
    if started.stdout is not None:
        started.stdout.close()
    status = started.wait(timeout=60)
    screen = pyte.Screen(columns, lines)
    pyte.Stream(screen).feed(raw)
    shown = [line.rstrip() for line in screen.display]
    while shown and not shown[-1]:
        shown.pop()
    return Ended(status, shown, raw, out.decode())


_RULING = ("NO_COLOR", "COLUMNS", "LINES", "TERM")


def _read_all(main: int) -> str:
    parts = []
    while True:
        try:
            part = os.read(main, 65536)
        except OSError:  # the other end was closed: Linux says EIO
            break
        if not part:
            break
        parts.append(part)
    os.close(main)
    return b"".join(parts).decode()
