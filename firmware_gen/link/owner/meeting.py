"""How clients and the owner find one another: a private folder, a lock, two sockets.

The folder belongs to the user alone. Whoever holds the lock in it is the owner; a lock is let go
when its process ends, however that ends, so what else lies there without a lock is stale. Where
the system has them the sockets are local ones with rights 0600. Elsewhere (Windows) they are
loopback ports, and a token in a private file tells who may use them. The way of those systems can
be tried on any: set `BELLCRANK_MEETING` to `loopback`.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import secrets
import socket
import stat
import struct
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import IO, Final

from firmware_gen.link.failures import LinkFailure

GRACE_S: Final = 30.0
"""An owner that nobody needs ends after this time."""
START_S: Final = 10.0

_TRIES: Final = 50
_LONGEST_PATH: Final = 100
"""A local socket's name holds 108 bytes on Linux and 104 on macOS."""
_ROOM: Final = Path(__file__).resolve().parents[3]


WAY_SETTING: Final = "BELLCRANK_MEETING"
"""Of the environment. With the value `loopback`, client and owner go the way of a system without
local sockets, locks of files that are let go of by themselves, and processes that fork."""


def by_tcp() -> bool:
    """Whether this system has no local sockets that Python can use, or is to do without."""
    return os.name != "posix" or os.environ.get(WAY_SETTING) == "loopback"


@cache
def mark() -> str:
    """Tells this version of the owner and its clients from every other, installed or edited."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parents[1].rglob("*.py")):
        digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()[:16]


@dataclass(frozen=True, slots=True)
class MeetingPlace:
    """The private folder and what lies in it."""

    folder: Path

    @property
    def life_lock(self) -> Path:
        """Held by the owner as long as it lives."""
        return self.folder / "owner.lock"

    @property
    def start_lock(self) -> Path:
        """Held by a client while it starts an owner."""
        return self.folder / "start.lock"

    @property
    def log(self) -> Path:
        return self.folder / "owner.log"

    @property
    def address(self) -> Path:
        """The owner's process; loopback ports and token, where there are no local sockets."""
        return self.folder / "owner.json"

    def socket(self, name: str) -> Path:
        return self.folder / f"{name}.sock"


def meeting_place(folder: Path | None = None) -> MeetingPlace:
    """The user's own place; made if it is not there.

    Raises:
        LinkFailure: owner-not-ours if others could use it, or it cannot be made.
    """
    folder = folder or _usual_folder()
    if len(os.fsencode(folder)) + len("/owner.sock") > _LONGEST_PATH:
        short = hashlib.sha256(os.fsencode(folder)).hexdigest()[:12]
        folder = Path(tempfile.gettempdir()) / f"bellcrank-{short}"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        found = os.lstat(folder)
    except OSError as error:
        words = f"the folder {folder} cannot be made ({(error.strerror or str(error)).lower()})"
        help = "make room for it, or set XDG_RUNTIME_DIR"
        raise LinkFailure("owner-not-ours", words, help) from error
    user = this_user()
    if user is not None:
        is_ours = stat.S_ISDIR(found.st_mode) and found.st_uid == user
        if not is_ours or found.st_mode & 0o077:
            raise LinkFailure(
                "owner-not-ours",
                f"others can use {folder}, where the commands of one user meet",
                f"remove it, or make it yours alone: `chmod 700 {folder}`",
            )
    return MeetingPlace(folder)


def _usual_folder() -> Path:
    """In the user's runtime folder (XDG Base Directory Specification); else the temporary one."""
    user = this_user()
    if user is None:
        from platformdirs import user_runtime_path

        return user_runtime_path("bellcrank", appauthor=False)
    runtime = Path(os.environ.get("XDG_RUNTIME_DIR") or f"/run/user/{user}")
    if runtime.is_absolute() and runtime.is_dir():
        return runtime / "bellcrank"
    return Path(tempfile.gettempdir()) / f"bellcrank-{user}"


def this_user() -> int | None:
    """The user's number; None where users have none."""
    return os.geteuid() if hasattr(os, "geteuid") else None


# -- locks -------------------------------------------------------------------------------------


def take_lock(path: Path, wait_s: float) -> IO[bytes] | None:
    """A file that this process alone has locked, until it is closed; None if another keeps it."""
    file = open(path, "ab")  # noqa: SIM115 - it is held on to
    end_s = time.monotonic() + wait_s
    while True:
        try:
            _lock(file)
            return file
        except OSError:
            if time.monotonic() >= end_s:
                file.close()
                return None
            time.sleep(0.01)


def _lock(file: IO[bytes]) -> None:
    """Raises OSError if another process has it."""
    try:
        import fcntl
    except ImportError:
        import msvcrt

        file.seek(0)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        return
    fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


# -- sockets -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Listeners:
    """Where the owner is met: `owner` for all requests, `stop` for stop and limp alone."""

    owner: socket.socket
    stop: socket.socket
    token: str


def listen(place: MeetingPlace) -> Listeners:
    """Open the sockets; whoever calls this holds the life lock."""
    if by_tcp():
        owner, stop = (socket.create_server(("127.0.0.1", 0), backlog=128) for _ in range(2))
        token = secrets.token_hex(16)
        numbers = {"owner": owner.getsockname()[1], "stop": stop.getsockname()[1]}
        words = {**numbers, "token": token, "pid": os.getpid()}
        _write_private(place.address, json.dumps(words))
        return Listeners(owner, stop, token)
    listeners = Listeners(_local(place.socket("owner")), _local(place.socket("stop")), "")
    with contextlib.suppress(OSError):  # on a full disk it is met all the same
        _write_private(place.address, json.dumps({"pid": os.getpid()}))
    return listeners


def process_of_owner(place: MeetingPlace) -> int | None:
    """The process that is the owner now, as it wrote it down itself; None if none is known.

    Whoever holds the life lock wrote that file, so the number is of no process that came later.
    """
    try:
        lock = take_lock(place.life_lock, 0.0)
        if lock is not None:
            lock.close()
            return None
        return int(json.loads(place.address.read_text())["pid"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _local(path: Path) -> socket.socket:
    path.unlink(missing_ok=True)  # of an owner that was killed
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    before = os.umask(0o177)
    try:
        listener.bind(str(path))
    finally:
        os.umask(before)
    listener.listen(128)
    return listener


def _write_private(path: Path, text: str) -> None:
    handle, beside = tempfile.mkstemp(dir=path.parent)  # readable for its user alone
    try:
        with os.fdopen(handle, "w") as file:
            file.write(text)
        _put_in_place(beside, path)
    except OSError:
        os.unlink(beside)
        raise


def _put_in_place(beside: str, path: Path) -> None:
    for again in range(_TRIES):
        try:
            os.replace(beside, path)
            return
        except PermissionError:  # Windows, while somebody reads the file that is replaced
            if again + 1 == _TRIES:
                raise
            time.sleep(0.02)


def leave(place: MeetingPlace, listeners: Listeners) -> None:
    """Be found no longer; whoever calls this still holds the life lock."""
    for path in (place.socket("owner"), place.socket("stop"), place.address):
        with contextlib.suppress(OSError):
            path.unlink(missing_ok=True)
    listeners.owner.close()
    listeners.stop.close()


@dataclass(frozen=True, slots=True)
class Meeting:
    """A connection to the owner; `pid` where the system tells it."""

    connection: socket.socket
    token: str
    pid: int | None


def meet(place: MeetingPlace, name: str) -> Meeting | None:
    """Connect to the owner, if one listens. `name`: `owner` or `stop`.

    Raises:
        LinkFailure: owner-not-ours if another user listens there.
    """
    token = ""
    try:
        if by_tcp():
            address = json.loads(place.address.read_text())
            token = address["token"]
            connection = socket.create_connection(("127.0.0.1", address[name]), timeout=5.0)
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        else:
            connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            try:
                connection.connect(str(place.socket(name)))
            except OSError:
                connection.close()
                raise
    except (OSError, ValueError, KeyError, TypeError):
        return None
    pid, user = peer(connection)
    if user is not None and user != this_user():
        connection.close()
        raise LinkFailure(
            "owner-not-ours",
            f"another user (number {user}) listens in {place.folder}",
            f"remove {place.folder}, then repeat",
        )
    return Meeting(connection, token, pid)


def peer(connection: socket.socket) -> tuple[int | None, int | None]:
    """Process and user at the other end, where the system tells them (unix(7), SO_PEERCRED)."""
    option = getattr(socket, "SO_PEERCRED", None)
    if option is None or connection.family != getattr(socket, "AF_UNIX", None):
        return None, None
    found = connection.getsockopt(socket.SOL_SOCKET, option, struct.calcsize("3i"))
    pid, user, _ = struct.unpack("3i", found)
    return pid, user


# -- starting ----------------------------------------------------------------------------------


def start(place: MeetingPlace, grace_s: float = GRACE_S) -> None:
    """See that an owner runs; of several clients that want one at once, one starts it.

    Raises:
        LinkFailure: owner-not-ours if it does not start.
    """
    with _start_locked(place):
        found = meet(place, "owner")
        if found:
            found.connection.close()
            return
        words = [sys.executable, "-m", "firmware_gen.link.owner"]
        words += ["--folder", str(place.folder), "--grace", str(grace_s)]
        paths = [str(_ROOM), *filter(None, [os.environ.get("PYTHONPATH")])]
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(paths)}
        try:
            said = _spawn(words, environment)
        except (OSError, subprocess.SubprocessError) as error:
            said = str(error)
    if said != "ready":
        raise LinkFailure(
            "owner-not-ours",
            f"the process that owns the ports did not start: {said or 'it ended at once'}",
            f"look into {place.log}, then repeat",
        )


@contextlib.contextmanager
def _start_locked(place: MeetingPlace) -> Iterator[None]:
    try:
        lock = take_lock(place.start_lock, START_S)
    except OSError as error:
        words = f"nothing can be written into {place.folder} ({(error.strerror or '').lower()})"
        raise LinkFailure("owner-not-ours", words, f"make room in {place.folder}") from error
    with lock or contextlib.nullcontext():
        yield


def _spawn(words: list[str], environment: dict[str, str]) -> str:
    """Start the owner apart from this process and its terminal; its first word."""
    if not by_tcp():  # it forks by itself: what is started here ends when it is ready
        done = subprocess.run(
            words,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
            timeout=START_S,
            check=False,
        )
        return done.stdout.decode(errors="replace").strip()
    flags = getattr(subprocess, "DETACHED_PROCESS", 0)
    flags |= getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)
    process = subprocess.Popen(
        words,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        creationflags=flags,
    )
    assert process.stdout is not None
    too_long = threading.Timer(START_S, process.kill)
    too_long.start()
    with process.stdout:
        said = process.stdout.readline().decode(errors="replace").strip()
    too_long.cancel()
    process.returncode = 0  # it lives on, and nobody waits for it
    return said
