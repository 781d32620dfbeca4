"""Commands share a board: whatever one does, the others work, and a stop gets through."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from flap_show import SHOW, Outcome, table_of

from firmware_gen.board.virtual import LocalPort, Server, VirtualBoard
from firmware_gen.link.host import HostLink
from firmware_gen.link.owner.client import connect
from firmware_gen.link.protocol import ReportedMode
from tests.unchecked import transfer_unchecked

posix_only = pytest.mark.skipif(os.name != "posix", reason="signals are other ones elsewhere")


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "flap.cues"
    path.write_text(SHOW.format(address=1, far=40))
    return path


@pytest.fixture
def served(show: Path) -> Iterator[Server]:
    """A board that plays the show and is ready."""
    virtual = VirtualBoard(write_s=0.0)
    transfer_unchecked(HostLink(LocalPort(virtual)), table_of(show))
    virtual.advance(2.0)
    virtual.board.take_output()
    with Server(virtual) as server:
        yield server


def started(*words: str) -> subprocess.Popen[str]:
    pipe = subprocess.PIPE
    command = [sys.executable, "-m", "seqlang", *words]
    return subprocess.Popen(command, stdout=pipe, stderr=pipe, text=True)


def runs_a_cue(server: Server) -> bool:
    player = server.virtual.board.player
    return player is not None and player.running_cues != 0


def until(server: Server, runs: bool) -> None:
    end_s = time.monotonic() + 20
    while runs_a_cue(server) != runs:
        assert time.monotonic() < end_s
        time.sleep(0.01)


def test_while_a_cue_is_held_status_works_and_stop_ends_it(
    served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    port = ("--port", served.url)
    with started("trigger", "wave", "--held", "60 s", *port) as held:
        until(served, True)
        status = Outcome(capsys, "status", *port)
        assert (status.status, status.err) == (0, "")
        assert re.search(r"running +cue 0", status.out)
        stopped = Outcome(capsys, "stop", *port)
        assert (stopped.status, stopped.err) == (0, "")
        assert "has stopped: safe pose, pulses off" in stopped.out
        out, err = held.communicate(timeout=20)
    assert (held.returncode, out) == (3, "")
    assert "the board was stopped while `wave` was held  (overtaken)" in err


def test_limp_without_a_port_reaches_every_board_in_use(
    served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    with started("trigger", "wave", "--held", "60 s", "--port", served.url) as held:
        until(served, True)
        limp = Outcome(capsys, "limp")
        assert (limp.status, limp.err) == (0, "")
        assert f"board 1 on {served.url} is limp: pulses off" in limp.out
        held.communicate(timeout=20)
    assert held.returncode == 3


@posix_only
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_a_command_that_ends_anyhow_lets_go_of_its_button(number: int, served: Server) -> None:
    with started("trigger", "wave", "--held", "60 s", "--port", served.url) as held:
        until(served, True)
        held.send_signal(number)
        held.communicate(timeout=20)
        assert held.returncode in (130, -number)
    until(served, False)  # at the latest when the cue that repeats has ended once more


def test_stop_in_mid_transfer_stops_at_once_and_the_old_show_stays(
    show: Path, served: Server, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    served.virtual._write_s = 0.05
    old = served.virtual.board.slots.table
    other = tmp_path / "other.cues"
    other.write_text(SHOW.format(address=1, far=25))
    writes = served.virtual.eeprom.writes
    with started("flash", str(other), "--port", served.url) as flash:
        end_s = time.monotonic() + 20
        while served.virtual.eeprom.writes < writes + 3:
            assert time.monotonic() < end_s
            time.sleep(0.005)
        stopped = Outcome(capsys, "stop", "--port", served.url)
        assert (stopped.status, stopped.err) == (0, "")
        _, err = flash.communicate(timeout=20)
    assert flash.returncode == 3
    assert "a stop came before the transfer was done  (overtaken)" in err
    assert "old show on" in err
    served.stop()
    assert served.virtual.board.slots.table == old
    assert served.virtual.board.mode == ReportedMode.LIMP


def test_where_the_owner_cannot_run_a_command_has_the_port_for_itself_and_says_so(
    served: Server,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "run").mkdir()
    (tmp_path / "run" / "bellcrank").write_text("in the way")
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    for words in (("status",), ("trigger", "wave"), ("stop",)):
        done = Outcome(capsys, *words, "--port", served.url)
        assert done.status == 0
        assert "note: this command has the port for itself" in done.err


def test_a_stop_without_any_port_says_that_there_is_none(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("serial.tools.list_ports.comports", list)
    from firmware_gen.link.owner import client

    monkeypatch.setattr(client, "press", lambda *words, **more: {})
    done = Outcome(capsys, "stop")
    assert (done.status, "(no-port)" in done.err) == (3, True)


@posix_only
def test_an_owner_that_is_killed_in_mid_transfer_leaves_words_and_the_next_command_works(
    show: Path,
    served: Server,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    served.virtual._write_s = 0.05
    old = served.virtual.board.slots.table
    other = tmp_path / "other.cues"
    other.write_text(SHOW.format(address=1, far=25))
    writes = served.virtual.eeprom.writes
    with started("flash", str(other), "--port", served.url) as flash:
        end_s = time.monotonic() + 20
        while served.virtual.eeprom.writes < writes + 3:
            assert time.monotonic() < end_s
            time.sleep(0.005)
        with connect("test") as owner:
            pid = owner._met.pid
        assert pid is not None
        os.kill(pid, signal.SIGKILL)
        _, err = flash.communicate(timeout=20)
    assert flash.returncode == 3
    assert "ended while it was asked  (owner-lost)" in " ".join(err.split()).replace(" (", "  (")
    assert "old show on" in err
    assert "Traceback" not in err
    status = Outcome(capsys, "status", "--port", served.url)
    assert (status.status, served.virtual.board.slots.table) == (0, old)
    with connect("test") as owner:
        owner.request("end")
