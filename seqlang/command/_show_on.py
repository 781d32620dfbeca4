"""However a transfer ends, its command says which show the board has: old, new, or unknown."""

from __future__ import annotations

import json
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import TYPE_CHECKING, Final

import click

from firmware_gen.link.transfer import ShowOn
from seqlang.text.render import broken, columns_of

if TYPE_CHECKING:
    from typing import Any

_ENDED_BY: Final = ("SIGTERM", "SIGHUP", "SIGBREAK")
"""What `kill` and a terminal that is closed send (on Windows the last); a system may lack one."""


@contextmanager
def telling(file: str, port: str | None, form: str) -> Iterator[ShowOn]:
    """Says what is known of the board's show if the command does not come to its end.

    A person reads it on the error output, a program (`form` json) on the output. A kill and a
    closed terminal end it as Ctrl-C does.
    """
    known = ShowOn()
    with ended_in_words():
        try:
            yield known
        except BaseException:
            with suppress(OSError):  # nobody reads any more
                click.echo(broken(words(known, file, port), columns_of(sys.stderr)), err=True)
                if form == "json":
                    click.echo(json.dumps({"show_on": known.fact}, indent=2))
            raise


def words(known: ShowOn, file: str, port: str | None) -> str:
    """The fact in one line."""
    where = f" --port {port}" if port else ""
    board = f" board `{known.board}`" if known.board else ""
    return {
        "old": f"old show on{board}: the board keeps what it had",
        "new": f"new show on{board}: read back from the board",
        "unknown": f"unknown which show is on{board}, the old one or the new one: "
        f"`bellcrank status --show {file}{where}` finds out",
    }[known.fact]


@contextmanager
def ended_in_words() -> Iterator[None]:
    """A kill and a closed terminal raise KeyboardInterrupt meanwhile, as Ctrl-C does."""

    def stop(number: int, _: FrameType | None) -> None:
        raise KeyboardInterrupt

    before: dict[int, Any] = {}
    try:
        for name in _ENDED_BY:
            number = getattr(signal, name, None)
            # a signal that whoever started this wants ignored (nohup) stays ignored
            if number is not None and signal.getsignal(number) == signal.SIG_DFL:
                with suppress(ValueError):  # not in the main thread
                    before[number] = signal.signal(number, stop)
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
