"""Stop and limp for the other users of this computer: a door of their own, and nothing else.

The owner's folder belongs to its user alone. But whoever sees a part go wrong must be able to stop
it, whoever is logged in. So each owner has one more socket, in a folder that all users can look
into. It takes the line for stop and limp (`messages`), for ports that the owner has open already;
it opens none, and nothing can be asked there. Who comes is known by the system (unix(7),
SO_PEERCRED), and stands in the log of presses.

A door is believed only if its folder and the process behind it are of the same user. Windows has no
such sockets: there another user is told what stops instead.
"""

from __future__ import annotations

import contextlib
import os
import socket
import stat
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from firmware_gen.link.owner.meeting import Meeting, by_tcp, peer, this_user

FOLDER_SETTING: Final = "BELLCRANK_NEIGHBOURS"
"""Of the environment: another folder in which users meet, for trials."""
_FOLDER: Final = "/tmp"
"""The one that every user of a system has in common."""
_NAME: Final = "stop"
_KNOCK_S: Final = 1.0
_MOST_DOORS: Final = 4
"""Of one user. An owner takes away those that its user left, so there are few."""


@dataclass(frozen=True, slots=True)
class Door:
    """Where other users are heard."""

    listener: socket.socket
    folder: Path

    def close(self) -> None:
        self.listener.close()
        _remove(self.folder)


def open_door() -> Door | None:
    """None where it cannot be had: the owner works without."""
    user = this_user()
    if by_tcp() or user is None:
        return None
    _remove_stale(user)
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        made = Path(tempfile.mkdtemp(prefix=".bellcrank-", dir=_meeting_folder()))
        made.chmod(0o755)
        listener.bind(str(made / _NAME))
        (made / _NAME).chmod(0o666)
        listener.listen(16)
        # it gets its name once somebody listens: without that it would pass for a stale one
        folder = made.with_name(f"{_prefix(user)}-{made.name.removeprefix('.bellcrank-')}")
        made.rename(folder)
    except OSError:
        listener.close()
        return None
    return Door(listener, folder)


def doors_of_others() -> list[Path]:
    """The folders of other users' owners, of which some may have ended; of each user the newest."""
    user = this_user()
    if by_tcp() or user is None:
        return []
    found: dict[int, list[Path]] = {}
    for folder in sorted(_folders("*"), key=_made_at, reverse=True):
        whose = _user_of(folder)
        if whose not in (None, user):
            found.setdefault(whose, []).append(folder)
    return [folder for each in found.values() for folder in each[:_MOST_DOORS]]


def knock(folder: Path) -> tuple[Meeting, int] | None:
    """A connection to the owner behind a door, and its user's number; None if nobody is there, or
    somebody who is not who the folder says."""
    connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    connection.settimeout(_KNOCK_S)
    try:
        connection.connect(str(folder / _NAME))
    except OSError:
        connection.close()
        return None
    pid, user = peer(connection)
    if user is None or user != _user_of(folder):
        connection.close()
        return None
    return Meeting(connection, "", pid), user


def name_of(user: int) -> str:
    """As people call a user."""
    with contextlib.suppress(ImportError, KeyError):
        import pwd

        return f"`{pwd.getpwuid(user).pw_name}`"
    return f"number {user}"


def _meeting_folder() -> Path:
    return Path(os.environ.get(FOLDER_SETTING) or _FOLDER)


def _prefix(user: int | str) -> str:
    return f"bellcrank-stop-{user}"


def _folders(user: int | str) -> list[Path]:
    with contextlib.suppress(OSError):
        return sorted(_meeting_folder().glob(f"{_prefix(user)}-*"))
    return []


def _user_of(folder: Path) -> int | None:
    """Whose folder it is; None: it is none, or a link to one."""
    try:
        found = os.lstat(folder)
    except OSError:
        return None
    return found.st_uid if stat.S_ISDIR(found.st_mode) else None


def _made_at(folder: Path) -> float:
    with contextlib.suppress(OSError):
        return os.lstat(folder).st_mtime
    return 0.0


def _remove_stale(user: int) -> None:
    """Doors of this user's owners that were killed."""
    for folder in _folders(user):
        if _user_of(folder) != user:
            continue
        met = knock(folder)
        if met is None:
            _remove(folder)
        else:
            met[0].connection.close()


def _remove(folder: Path) -> None:
    with contextlib.suppress(OSError):
        (folder / _NAME).unlink(missing_ok=True)
        folder.rmdir()
