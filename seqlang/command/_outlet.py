"""Where a command's words go: a reader who stops reading changes neither its work nor its status.

`bellcrank check FILE | head -1` closes the pipe while the check still writes. What follows is
dropped; a transfer to a board goes on, and the exit status tells of the show as ever. Where the
disk under the output is full the work is done, too; then the end of the words is missing, and that
is told.
"""

from __future__ import annotations

import errno
import io
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer

_NOBODY_READS = (errno.EPIPE, errno.ESHUTDOWN, errno.EINVAL)
"""EINVAL is what Windows says of a closed pipe."""


class _Outlet(io.FileIO):
    """A pipe or file that takes every byte, and drops them once nobody reads or keeps them."""

    dropped = False
    failure: OSError | None = None
    """Why what was written is not kept, though somebody wants it."""

    def write(self, data: ReadableBuffer, /) -> int:
        if not self.dropped:
            try:
                return super().write(data) or 0
            except OSError as error:
                if error.errno not in _NOBODY_READS:
                    self.failure = error
                self.dropped = True
        return memoryview(data).nbytes


def lasting(stream: TextIO) -> TextIO:
    """A stream to the same place that outlives its reader.

    Terminals stay as they are, and so does what is no file of the system (as in tests).
    """
    original = (sys.__stdout__, sys.__stderr__)
    if stream not in original or not isinstance(stream, io.TextIOWrapper) or stream.isatty():
        return stream
    stream.flush()
    raw = _Outlet(stream.fileno(), "w", closefd=False)
    return io.TextIOWrapper(
        io.BufferedWriter(raw),
        encoding=stream.encoding,
        errors="replace",
        line_buffering=stream.line_buffering,
        write_through=stream.write_through,
    )


def outlives_terminal() -> None:
    """Drop every further word if the terminal is gone, so that what is left to do is done."""
    try:
        print(end="\r", flush=True)
    except OSError:
        nowhere = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - to the end
        sys.stdout = sys.stderr = nowhere


def nobody_reads(stream: TextIO) -> bool:
    """Whether the reader of a lasting stream has gone."""
    raw = getattr(getattr(stream, "buffer", None), "raw", None)
    return isinstance(raw, _Outlet) and raw.dropped and raw.failure is None


def lost(stream: TextIO) -> OSError | None:
    """Why a lasting stream could not be kept to its end; None if all of it went out."""
    raw = getattr(getattr(stream, "buffer", None), "raw", None)
    if not isinstance(raw, _Outlet):
        return None
    if not stream.closed:  # as the editor's server leaves it, which has written all it had
        stream.flush()
    return raw.failure
