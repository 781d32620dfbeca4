"""A log summed up: what was pressed how often, and what went wrong. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Final

from firmware_gen.link.protocol import NO_ADDRESS, Status
from seqlang.monitoring.event_log import LogRecord
from seqlang.monitoring.noticing import COUNTERS, WELL

CLOCK_SET_S: Final = 2.0
"""The time of day may go this far from the steady clock between two records before it was set."""

_WRONG: Final = frozenset(
    {"reset", "trouble", "lost", "failed", "let-go", "slept", "restarted", "owner-lost"}
)


@dataclass(frozen=True, slots=True)
class TallyRow:
    """How often something was pressed or began; `board`: of which port."""

    board: str
    what: str
    count: int


@dataclass(frozen=True, slots=True)
class WrongRow:
    """Something that went wrong, and when."""

    at: datetime
    board: str
    words: str


@dataclass(frozen=True, slots=True)
class LogTally:
    """A log in figures; `watched_s` leaves out the time between sessions."""

    begun: datetime | None
    ended: datetime | None
    sessions: int
    crashed: int
    """Sessions that did not say that they end."""
    watched_s: float
    pressed: tuple[TallyRow, ...]
    wrong: tuple[WrongRow, ...]


def tally(records: Sequence[LogRecord]) -> LogTally:
    """Sum up the records of a log, in its order."""
    sessions = list(_sessions(records))
    last_ends = not sessions or sessions[-1][-1].what == "end"
    crashed = sum(session[-1].what != "end" for session in sessions[:-1]) + (not last_ends)
    wrong = [
        WrongRow(record.at, _board(record), wrong_words(record))
        for record in records
        if record.what in _WRONG or _is_refused(record) or _is_flat(record)
    ]
    wrong += [row for session in sessions for row in _clock_set(session)]
    return LogTally(
        begun=records[0].at if records else None,
        ended=records[-1].at if records else None,
        sessions=len(sessions),
        crashed=crashed,
        watched_s=sum(session[-1].s - session[0].s for session in sessions),
        pressed=_pressed(records),
        wrong=tuple(sorted(wrong, key=lambda row: row.at)),
    )


def _sessions(records: Sequence[LogRecord]) -> Iterator[list[LogRecord]]:
    session: list[LogRecord] = []
    for record in records:
        if record.what == "begin" and session:
            yield session
            session = []
        session.append(record)
    if session:
        yield session


def _pressed(records: Iterable[LogRecord]) -> tuple[TallyRow, ...]:
    counts: Counter[tuple[str, str]] = Counter()
    for record in records:
        words = pressed_words(record)
        if words:
            counts[_board(record), words] += 1
    return tuple(
        TallyRow(board, what, count)
        for (board, what), count in sorted(counts.items(), key=lambda one: (one[0][0], -one[1]))
    )


def pressed_words(record: LogRecord) -> str:
    """What was pressed or began; empty for what is neither."""
    fields = record.fields
    if record.what == "cue":
        return f"cue {fields.get('cue')} began"
    if record.what != "asked" or fields.get("status") != 0:
        return ""
    request = str(fields.get("request"))
    if request == "trigger":
        return f"trigger {fields.get('cue')}"
    if request == "button":
        return f"button {fields.get('button')} over the link" if fields.get("down") else ""
    return "new show" if request == "commit" else request


def _is_refused(record: LogRecord) -> bool:
    return record.what == "asked" and record.fields.get("status") not in (0, None)


def _is_flat(record: LogRecord) -> bool:
    return record.what == "battery" and record.fields.get("battery") != WELL


def wrong_words(record: LogRecord) -> str:
    """What went wrong, in plain words."""
    fields = record.fields
    match record.what:
        case "reset":
            return f"the board was reset: {fields.get('cause')}"
        case "restarted":
            return "the board had been reset when it was asked something"
        case "trouble":
            meaning = COUNTERS.get(str(fields.get("counter")), "?")
            return f"{fields.get('count')} more {meaning}"
        case "asked":
            why = ": its battery is empty" if fields.get("status") == Status.EMPTY else ""
            return f"`{fields.get('request')}` was refused by the board{why}"
        case "battery":
            return _battery_words(fields)
    return str(fields.get("words", record.what))


def _battery_words(fields: Mapping[str, object]) -> str:
    how, millivolts = fields.get("battery"), fields.get("millivolts")
    if how == "unread":
        return "there is no reading of its battery: the lead to the watch's divider may be off"
    volts = f": {millivolts / 1000:.2f} V" if isinstance(millivolts, int | float) else ""
    words = {
        WELL: "its battery has recovered",
        "low": "its battery is low",
        "empty": "its battery is empty, and it stops",
    }
    return f"{words.get(str(how), 'its battery is in an unknown state')}{volts}"


def _clock_set(session: Sequence[LogRecord]) -> Iterator[WrongRow]:
    for before, after in pairwise(session):
        by_s = (after.at - before.at).total_seconds() - (after.s - before.s)
        if abs(by_s) > CLOCK_SET_S:
            way = "back" if by_s < 0 else "forward"
            words = f"the computer's clock was set {way} by {abs(by_s):.0f} s"
            yield WrongRow(after.at, "", words)


def _board(record: LogRecord) -> str:
    fields = record.fields
    address = fields.get("address")
    port = str(fields.get("port", ""))
    return f"board {address} on {port}" if address not in (None, NO_ADDRESS) else port
