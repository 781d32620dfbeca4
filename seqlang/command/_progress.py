"""Progress of long work: on a terminal, on standard error, gone when the work is done.

Elsewhere nothing is said: a file or a program wants the result.
"""

from __future__ import annotations

import os
import sys
import threading
import time
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

import click

from seqlang.text.render import columns_of

if TYPE_CHECKING:
    from collections.abc import Iterator

AFTER_S: Final = 0.7
"""Work that is done sooner says nothing: words that flash up are no help."""
EVERY_S: Final = 0.5

_CLEAR: Final = "\r\x1b[K"
_BAR: Final = 30


class Bar:
    """Steps with a count: `transfer   #####..... 120 of 490 bytes`."""

    def __init__(self, unit: str) -> None:
        self._live = _is_live()
        self._unit = unit
        self._drawn = False

    def __enter__(self) -> Bar:
        return self

    def __exit__(self, *_: object) -> None:
        if self._drawn:
            click.echo(_CLEAR, nl=False, err=True, color=True)

    def show(self, step: str, done: int, total: int) -> None:
        if not self._live:
            return
        filled = _BAR * done // max(1, total)
        bar = "#" * filled + "." * (_BAR - filled)
        words = f"\r{step:<10} {bar} {done:>4} of {total} {self._unit}\x1b[K"
        click.echo(words, nl=False, err=True, color=True)
        self._drawn = True


@contextmanager
def working(on: str) -> Iterator[None]:
    """Say on what a command works, and for how long already, while it takes its time."""
    if not _is_live():
        yield
        return
    ended = threading.Event()
    teller = threading.Thread(target=_tell, args=(on, ended), daemon=True)
    teller.start()
    try:
        yield
    finally:
        ended.set()
        teller.join()


def _is_live() -> bool:
    """Standard error is a terminal on which a line can be drawn again."""
    return sys.stderr.isatty() and os.environ.get("TERM") != "dumb"


def _tell(on: str, ended: threading.Event) -> None:
    started = time.monotonic()
    if ended.wait(AFTER_S):
        return
    most = (columns_of(sys.stderr) or 80) - 1
    while True:
        words = f"{on}, {time.monotonic() - started:.0f} s"
        click.echo(f"\r{words[:most]}\x1b[K", nl=False, err=True, color=True)
        if ended.wait(EVERY_S):
            break
    click.echo(_CLEAR, nl=False, err=True, color=True)
