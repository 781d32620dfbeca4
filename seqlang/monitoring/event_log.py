"""A log that outlasts a crash: one JSON object a line, each on the disk before the next.

    {"at": "2026-11-27T21:04:03.120+00:00", "s": 841.2, "what": "cue", "port": "COM3", "cue": "nod"}

`at` is the time of day, which somebody may set; `s` are seconds by a clock that only goes forward,
within one session of the monitor. Each session begins with `begin`. A line that a crash cut short
is passed over by whoever reads.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any


@dataclass(frozen=True, slots=True)
class LogRecord:
    """One thing that happened."""

    at: datetime
    s: float
    what: str
    fields: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ReadLog:
    """What a file holds; `unreadable`: lines that a crash cut short, or that are none of ours."""

    records: tuple[LogRecord, ...]
    unreadable: int


def steady_s() -> float:
    """Seconds by a clock that nobody sets; it goes on while the computer sleeps, if it can."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


class EventLog:
    """A file that is only ever added to.

    Args:
        path: the file; made if it is not there.
        now, steady: the time of day in seconds since 1970, and the steady clock.

    Raises:
        OSError: it cannot be opened for adding.
    """

    def __init__(
        self,
        path: Path,
        now: Callable[[], float] = time.time,
        steady: Callable[[], float] = steady_s,
    ) -> None:
        self.path = path
        self.missing = 0
        """Records that could not be written."""
        self._now = now
        self._steady = steady
        self._began = steady()
        self._file = open(path, "ab", buffering=0)  # noqa: SIM115 - it is held on to
        self._is_torn = not _ends_with_a_line(path)

    def close(self) -> None:
        self._file.close()

    def write(self, what: str, **fields: object) -> LogRecord:
        """Add a record and wait until it is on the disk; the record, written or not.

        A failure (a full disk) raises nothing: `missing` counts it.
        """
        at = datetime.fromtimestamp(self._now(), UTC)
        record = LogRecord(at, round(self._steady() - self._began, 3), what, dict(fields))
        head = {"at": at.isoformat(timespec="milliseconds"), "s": record.s, "what": what}
        line = json.dumps({**head, **fields}, ensure_ascii=False).encode() + b"\n"
        if self._is_torn:
            line = b"\n" + line
        try:
            written = self._file.write(line)
            os.fsync(self._file.fileno())
            self._is_torn = written != len(line)
        except OSError:
            self._is_torn = not _ends_with_a_line(self.path)
            self.missing += 1
        else:
            self.missing += self._is_torn
        return record


def _ends_with_a_line(path: Path) -> bool:
    with open(path, "rb") as file:
        size = file.seek(0, os.SEEK_END)
        if not size:
            return True
        file.seek(size - 1)
        return file.read(1) == b"\n"


def read_log(path: Path) -> ReadLog:
    """The records of a file, in its order.

    Raises:
        OSError: it cannot be read.
    """
    records, unreadable = [], 0
    for line in path.read_bytes().split(b"\n"):
        record = _read(line)
        if record:
            records.append(record)
        else:
            unreadable += bool(line.strip())
    return ReadLog(tuple(records), unreadable)


def _read(line: bytes) -> LogRecord | None:
    try:
        fields = json.loads(line)
        at = datetime.fromisoformat(fields.pop("at"))
        s, what = fields.pop("s"), fields.pop("what")
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None
    if not isinstance(s, int | float) or not isinstance(what, str) or at.tzinfo is None:
        return None
    return LogRecord(at, float(s), what, fields)
