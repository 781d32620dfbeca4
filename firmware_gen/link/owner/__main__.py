"""The process that owns the ports: `python -m firmware_gen.link.owner`. Commands start it."""

from __future__ import annotations

import argparse
import os
import signal
import sys
from contextlib import suppress
from pathlib import Path

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.owner import meeting, neighbours
from firmware_gen.link.owner.serving import Owner

_OTHER_ENDS_S = 5.0
"""How long an owner that is about to end may take."""
_BEFORE_OTHERS = -10
_LONGEST_LOG = 100_000


def main() -> int:
    parser = argparse.ArgumentParser(prog="firmware_gen.link.owner", description=__doc__)
    parser.add_argument("--folder", type=Path, default=None, help="where clients meet it")
    parser.add_argument("--grace", type=float, default=meeting.GRACE_S, help="seconds")
    arguments = parser.parse_args()
    if not meeting.by_tcp() and (said := _apart()) is not None:
        print(said)
        return 0 if said == "ready" else 1
    try:
        place = meeting.meeting_place(arguments.folder)
        lock = meeting.take_lock(place.life_lock, _OTHER_ENDS_S)
    except (LinkFailure, OSError) as failure:
        _tell(str(failure))
        return 1
    if lock is None:
        _tell("another one has the lock")
        return 1
    with lock:
        listeners = meeting.listen(place)
        door = neighbours.open_door()

        def leave() -> None:
            meeting.leave(place, listeners)
            if door:
                door.close()

        owner = Owner(listeners, arguments.grace, leave, door.listener if door else None)
        for name in ("SIGTERM", "SIGINT"):
            signal.signal(getattr(signal, name), lambda *_: owner.end())
        _write_to(place.log)
        os.chdir(place.folder.anchor or ".")  # so that no disk is in use for its sake
        with suppress(
            OSError, AttributeError
        ):  # few users may; a stop then waits for no other work
            os.nice(_BEFORE_OTHERS)
        _tell("ready")
        owner.run()
    return 0


def _apart() -> str | None:
    """Fork: None in the new process; in the old one, what the new one said first."""
    ours, theirs = os.pipe()
    if os.fork():
        os.close(theirs)
        with os.fdopen(ours, "rb") as said:
            return said.readline().decode(errors="replace").strip()
    os.close(ours)
    os.setsid()
    os.dup2(theirs, 1)  # so that whoever waits hears when this process ends, too
    os.close(theirs)
    return None


def _tell(words: str) -> None:
    """Say one line to whoever started this process, and let go of its pipe."""
    with suppress(OSError):
        os.write(1, f"{' '.join(words.split())}\n".encode())
    nowhere = os.open(os.devnull, os.O_RDWR)
    os.dup2(nowhere, 1)
    os.close(nowhere)


def _write_to(log: Path) -> None:
    """Mistakes of this program are written there; nobody else sees them."""
    try:
        if log.exists() and log.stat().st_size > _LONGEST_LOG:
            log.unlink()
        handle = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    except OSError:
        return
    os.dup2(handle, 2)
    os.close(handle)


if __name__ == "__main__":
    sys.exit(main())
