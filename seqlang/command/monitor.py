"""`bellcrank monitor`: a log of what happens on the boards, and its summary after the event."""

from __future__ import annotations

import json
import math
import os
import time
from contextlib import ExitStack
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import EVERYBODY, NO_ADDRESS
from seqlang.command import BoardFailed, WrongUse, say_error
from seqlang.command._board import (
    VIRTUAL,
    connected,
    end,
    owner_of_ports,
    port_options,
    seconds,
    the_port,
)
from seqlang.command._form import format_option, say
from seqlang.command._show import passed
from seqlang.command._show_on import ended_in_words
from seqlang.monitoring.event_log import EventLog, LogRecord, read_log
from seqlang.monitoring.tally import LogTally, pressed_words, tally, wrong_words

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime

    from firmware_gen.compiler.show import CompiledShow
    from seqlang.command._watching import Say

_DAY: Final = "%Y-%m-%d %H:%M"


@click.command(name="monitor")
@port_options
@click.option(
    "--log",
    "path",
    type=click.Path(dir_okay=False, path_type=Path),
    default=Path("monitor.log"),
    show_default=True,
    help="File that the records are added to.",
)
@click.option(
    "--show",
    "file",
    type=click.Path(dir_okay=False),
    help="Call cues by their names in this show.",
)
@click.option("--for", "duration", metavar="DURATION", help="End after this time, such as `2 s`.")
@click.option("--summary", is_flag=True, help="Sum up the log instead of adding to it.")
@format_option
def command(
    port: str | None,
    baud: int,
    path: Path,
    file: str | None,
    duration: str | None,
    summary: bool,
    form: str,
) -> None:
    """Log what happens on the boards, until Ctrl-C.

    The log has cues, requests of other commands, stops, resets, errors, and batteries that are low
    or empty. With --port it watches the board there. Without it, it watches every board that other
    commands use. Each record is on the disk before the next one, so the log survives a crash of
    this computer. It looks at a board five times a second, and so sees cues that a remote starts.

    Example: bellcrank monitor --port virtual --for "1 s" --log evening.log

    Example: bellcrank monitor --summary --log evening.log
    """
    if summary:
        if duration is not None or file is not None:
            raise WrongUse("`--summary` reads a log: leave out `--for` and `--show`")
        _sum_up(path, form)
        return
    if form != "text":
        raise WrongUse("`--format` goes with `--summary`; the log itself is JSON, one a line")
    show = None if file is None else passed(file, quiet=True).compiled
    until = math.inf if duration is None else float(seconds(duration, "--for"))
    log = EventLog(path)
    try:
        _watch(log, port, baud, show, time.monotonic() + until)
    finally:
        log.close()
    if log.missing:
        raise WrongUse(f"`{path}`: {log.missing} records could not be written")
    say(f"ended; `bellcrank monitor --summary --log {path}` sums it up")


def _watch(
    log: EventLog, port: str | None, baud: int, show: CompiledShow | None, until: float
) -> None:
    def told(what: str, **fields: object) -> None:
        missing = log.missing
        record = log.write(what, **fields)
        if log.missing == 1 and not missing:
            say_error(f"`{log.path}` cannot be written; what happens is shown here only")
        say(_line(record))

    with ended_in_words(), ExitStack() as stack:
        look = _looking(stack, port, baud, show, told)
        told("begin", process=os.getpid())
        try:
            while time.monotonic() < until:
                look()
        except KeyboardInterrupt:
            click.echo()
        except LinkFailure as failure:
            told("failed", words=failure.message)
            end(failure)
        finally:
            told("end")


def _looking(
    stack: ExitStack, port: str | None, baud: int, show: CompiledShow | None, told: Say
) -> Callable[[], None]:
    """What to call again and again; it waits by itself."""
    from seqlang.command._watching import LOOK_S, Watch, WatchedBoard

    if (port or "").partition(":")[0] == VIRTUAL:
        link, _ = stack.enter_context(connected(port, baud))
        board = WatchedBoard(link, show, told)

        def look() -> None:
            board.look()
            link.pause(LOOK_S)

        return look
    try:
        owner = owner_of_ports()
        if owner is None:
            raise BoardFailed("only the process that owns the ports can watch what commands do")
        stack.enter_context(owner)
        if port is None and not owner.ports():
            port = the_port(owner)
        return Watch(owner, port, baud, show, told).look
    except LinkFailure as failure:
        end(failure)


def _line(record: LogRecord) -> str:
    fields = record.fields
    where = str(fields.get("port", ""))
    if fields.get("address") not in (None, EVERYBODY, NO_ADDRESS):
        where = f"board {fields['address']} on {where}"
    return f"{_clock(record.at)}  {where}{': ' if where else ''}{_words(record)}"


def _words(record: LogRecord) -> str:
    fields = record.fields
    by = f" (`{fields['client']}`)" if fields.get("client") else ""
    match record.what:
        case "begin":
            return "monitor begins"
        case "end":
            return "monitor ends"
        case "board":
            more = f"; {fields['words']}" if fields.get("words") else ""
            return f"show {fields.get('show')}, {fields.get('bytes')} bytes{more}"
        case "mode":
            return str(fields.get("mode"))
    return (pressed_words(record) or _released(record) or wrong_words(record)) + by


def _released(record: LogRecord) -> str:
    is_up = record.fields.get("request") == "button" and record.fields.get("status") == 0
    return f"button {record.fields.get('button')} let go over the link" if is_up else ""


def _clock(at: datetime) -> str:
    return at.astimezone().strftime("%H:%M:%S")


# -- the summary -------------------------------------------------------------------------------


def _sum_up(path: Path, form: str) -> None:
    found = read_log(path)
    summed = tally(found.records)
    if form == "json":
        record = {**asdict(summed), "unreadable": found.unreadable}
        click.echo(json.dumps(record, indent=2, default=lambda at: at.isoformat()))
        return
    if summed.begun is None or summed.ended is None:
        raise WrongUse(f"`{path}` holds no record that can be read")
    for row in _summary(path, summed, found.unreadable):
        say(row)


def _summary(path: Path, summed: LogTally, unreadable: int) -> Sequence[str]:
    assert summed.begun is not None
    assert summed.ended is not None
    begun, ended = (each.astimezone().strftime(_DAY) for each in (summed.begun, summed.ended))
    sessions = "one session" if summed.sessions == 1 else f"{summed.sessions} sessions"
    rows = [f"{path}: {begun} to {ended}, watched for {_long(summed.watched_s)} in {sessions}"]
    if summed.crashed:
        rows.append(f"  {summed.crashed} of them ended without a word, or still run")
    if unreadable:
        rows.append(f"  lines that a crash cut short: {unreadable}")
    rows.append("pressed and begun" if summed.pressed else "nothing was pressed")
    width = max((len(row.what) for row in summed.pressed), default=0)
    rows += [f"  {row.what:<{width}} {row.count:>5}  {row.board}" for row in summed.pressed]
    rows.append("went wrong" if summed.wrong else "nothing went wrong")
    for row in summed.wrong:
        where = f"{row.board}: " if row.board else ""
        rows.append(f"  {_clock(row.at)}  {where}{row.words}")
    return rows


def _long(duration_s: float) -> str:
    minutes, left_s = divmod(round(duration_s), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {left_s} s" if minutes else f"{left_s} s"
