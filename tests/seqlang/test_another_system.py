"""Commands on a stand-in for a system that is not POSIX: what Windows lacks is taken away.

Every process of these tests, the owner of the ports too, starts with a `sitecustomize` that hides
modules from our code and takes functions and signals out of the library's modules. Locks of files
are the one thing that is put in their place: a `msvcrt` of its own. It is no Windows: paths, the
console and drivers are not tried by this.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware_gen.link.owner import meeting
from firmware_gen.link.protocol import ReportedMode
from seqlang.command import Subcommands
from tests.seqlang.phone_rig import ServedTable, heron, until

ROOT = Path(__file__).resolve().parents[2]
SHOW = ROOT / "shows" / "first" / "first.cues"

WITHOUT_POSIX = """
import builtins, os, select, signal, socket, sys, time

HIDDEN = {"fcntl", "termios", "pwd", "grp", "resource", "pty", "tty", "curses", "syslog"}
OURS = ("firmware_gen", "seqlang", "sim")
importing = builtins.__import__

def guarded(name, globals=None, *rest, **more):
    asking = (globals or {}).get("__name__", "")
    is_ours = asking.partition(".")[0] in OURS
    if is_ours and name == "msvcrt":  # the library's own modules take it for a sign of Windows
        return importing("stand_in_for_msvcrt", globals, *rest, **more)
    if is_ours and name.partition(".")[0] in HIDDEN:
        raise ImportError(f"{name} is hidden from {asking}")
    return importing(name, globals, *rest, **more)

builtins.__import__ = guarded
TAKEN = (
    (os, "fork setsid geteuid nice getpgid killpg getpriority sched_getaffinity"),
    (signal, "SIGHUP SIGALRM SIGUSR1 SIGTSTP SIGTTIN SIGTTOU SIGWINCH alarm setitimer"),
    (time, "CLOCK_BOOTTIME"),
    (select, "poll epoll"),
    (socket, "SO_PEERCRED"),
)
for module, names in TAKEN:
    for name in names.split():
        if hasattr(module, name):
            delattr(module, name)
"""
LOCKING = """
import fcntl
LK_NBLCK = 2
def locking(handle, mode, count):
    assert (mode, count) == (LK_NBLCK, 1)
    fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
"""

pytestmark = pytest.mark.skipif(os.name != "posix", reason="takes away what POSIX has")


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[meeting.MeetingPlace]:
    (tmp_path / "sitecustomize.py").write_text(WITHOUT_POSIX)
    (tmp_path / "stand_in_for_msvcrt.py").write_text(LOCKING)
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join((str(tmp_path), str(ROOT))))
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("BELLCRANK_MEETING", "loopback")
    found = meeting.MeetingPlace(tmp_path / "bellcrank")
    yield found
    if pid := meeting.process_of_owner(found):
        os.kill(pid, signal.SIGKILL)


def ran(*words: str, folder: Path | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "seqlang", *words]
    done = subprocess.run(command, capture_output=True, text=True, timeout=240, cwd=folder)
    assert "Traceback" not in done.stderr, done.stderr
    assert "mistake in bellcrank" not in done.stderr, done.stderr
    return done


def test_every_command_is_there_and_helps() -> None:
    program = (
        "import importlib, sys\n"
        "import fcntl\n"  # the guard hides it from our code alone
        "for name in sys.argv[1:]:\n"
        "    importlib.import_module('seqlang.command.' + name).command\n"
        "import seqlang, firmware_gen.link.owner.__main__, seqlang.phone.serving\n"
    )
    names = [name.replace("-", "_") for name in Subcommands().list_commands(None)]  # type: ignore[arg-type]
    assert len(names) > 20
    done = subprocess.run(
        [sys.executable, "-c", program, *names], capture_output=True, text=True, timeout=240
    )
    assert (done.returncode, done.stderr) == (0, "")


def test_no_module_of_ours_needs_what_is_hidden() -> None:
    """Whatever is imported at a module's top, each module in turn."""
    program = (
        "import importlib, pkgutil, firmware_gen, seqlang, sim\n"
        "for room in (firmware_gen, seqlang, sim):\n"
        "    for found in pkgutil.walk_packages(room.__path__, room.__name__ + '.'):\n"
        "        if not found.name.endswith('__main__'):\n"
        "            importlib.import_module(found.name)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=240
    )
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(
    "words",
    [
        ("check", str(SHOW)),
        ("flash", str(SHOW), "--port", "virtual"),
        ("compile", str(SHOW), "--out", "tables"),
        ("preview", str(SHOW), "--out", "page.html"),
        ("book", str(SHOW), "--out", "book.html"),
        ("remote", str(SHOW), "--port", "virtual", "--for", "1 s"),
        ("status", "--port", "virtual"),
        ("ports", "--listed"),
        ("firmware", "--port", "COM3"),
    ],
)
def test_commands_do_their_work(words: tuple[str, ...], tmp_path: Path) -> None:
    folder = tmp_path / "work"
    folder.mkdir()
    done = ran(*words, folder=folder)
    assert done.returncode == 0, done.stderr


def test_commands_share_a_board_over_loopback_and_a_stop_gets_through(
    place: meeting.MeetingPlace,
) -> None:
    served = ServedTable(heron().boards[0])
    port = ("--port", served.server.url)
    with served.server:
        holding = subprocess.Popen(
            [sys.executable, "-m", "seqlang", "trigger", "beat", *port, "--held", "60 s"],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        try:
            assert until(place.address.exists)
            assert until(lambda: bool(served.noted.asked_at)), holding.poll()
            assert ran("status", *port).returncode == 0
            assert not list(place.folder.glob("*.sock"))
            assert ran("limp", *port).returncode == 0
            assert until(lambda: served.mode == ReportedMode.LIMP)
        finally:
            holding.kill()
            holding.communicate()


def test_an_owner_that_hangs_is_ended_and_one_that_was_killed_is_replaced(
    place: meeting.MeetingPlace,
) -> None:
    served = ServedTable(heron().boards[0])
    port = ("--port", served.server.url)
    with served.server:
        assert ran("status", *port).returncode == 0
        first = meeting.process_of_owner(place)
        assert first is not None
        os.kill(first, signal.SIGSTOP)
        assert ran("limp", *port).returncode == 0
        second = meeting.process_of_owner(place)
        assert second not in (None, first)
        assert second is not None
        os.kill(second, signal.SIGKILL)
        assert until(lambda: meeting.process_of_owner(place) is None)
        assert place.address.exists()  # nobody took it away
        assert ran("status", *port).returncode == 0
        assert meeting.process_of_owner(place) not in (None, first, second)


def test_a_file_that_tells_a_process_of_nobody_gets_nobody_killed(
    place: meeting.MeetingPlace,
) -> None:
    place.folder.mkdir(mode=0o700)
    place.address.write_text(json.dumps({"pid": os.getpid()}))
    assert meeting.process_of_owner(place) is None
    for spoilt in ("", "{", "[]", '{"pid": "x"}'):
        place.address.write_text(spoilt)
        assert meeting.process_of_owner(place) is None
