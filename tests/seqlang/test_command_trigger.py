"""`bellcrank trigger`, `stop`, `limp`, `standby`, `status`, `board`: the board at hand."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import pytest
from flap_show import SHOW, Outcome, table_of

from firmware_gen.board.board import Witness
from firmware_gen.board.virtual import LocalPort, Server, VirtualBoard
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import ReportedMode, ResetCause
from firmware_gen.player.outputs import Frame
from seqlang.command import trigger
from tests.unchecked import transfer_unchecked


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "flap.cues"
    path.write_text(SHOW.format(address=4, far=40))
    return path


class PlayingBoard(Witness):
    """A served board with the show on it, and how often a cue started on it."""

    def __init__(self, table: bytes, speed: float = 1.0) -> None:
        self.starts = 0
        self._running = 0
        self.virtual = VirtualBoard(write_s=0.0, witness=self)
        if table:
            transfer_unchecked(HostLink(LocalPort(self.virtual)), table)
        self.server = Server(self.virtual, speed=speed)

    def played(self, frame: Frame | None) -> None:
        player = self.virtual.board.player
        running = player.running_cues if player else 0
        self.starts += (running & ~self._running).bit_count()
        self._running = running


@pytest.fixture
def played(show: Path) -> Iterator[PlayingBoard]:
    played = PlayingBoard(table_of(show))
    with played.server:
        yield played


def test_a_cue_is_started_once_by_its_name_even_while_the_board_still_starts(
    played: PlayingBoard, capsys: pytest.CaptureFixture[str]
) -> None:
    assert played.virtual.board.mode == ReportedMode.STARTING
    done = Outcome(capsys, "trigger", "wave", "--port", played.server.url)
    assert (done.status, done.err) == (0, "")
    assert done.out == f"cue `wave` started on board 4 on {played.server.url}\n"
    played.server.stop()
    assert played.starts == 1


def test_a_held_cue_repeats_and_is_let_go(show: Path, capsys: pytest.CaptureFixture[str]) -> None:
    played = PlayingBoard(table_of(show))
    with played.server:
        done = Outcome(capsys, "trigger", "wave", "--held", "1.2 s", "--port", played.server.url)
        assert (done.status, done.err) == (0, "")
        player = played.virtual.board.player
        assert player is not None
        assert player.running_cues == 1
    played.virtual.advance(played.virtual.time_s + 4.0)
    assert player.running_cues == 0


def test_a_cue_without_a_button_cannot_be_held(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "flap.cues"
    path.write_text(SHOW.format(address=4, far=40).replace("    button 3: go lift\n", ""))
    with PlayingBoard(table_of(path)).server as server:
        done = Outcome(capsys, "trigger", "lift", "--held", "1 s", "--port", server.url)
    assert done.status == 3
    assert "no button starts cue `lift`" in done.err


@pytest.mark.parametrize("text", ["2", "2 deg", "-1 s", "soon", ""])
def test_a_duration_without_its_unit_is_wrong_use_and_names_the_units(
    text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    done = Outcome(capsys, "trigger", "wave", "--held", text, "--port", "no-such-port")
    assert done.status == 2
    assert "ms, s" in done.err
    assert f"found `{text}`" in done.err


@pytest.mark.parametrize("name", ["", " ", "wave it", "3d", "wave-off"])
def test_what_no_cue_can_be_called_is_wrong_use_before_any_port_is_opened(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    done = Outcome(capsys, "trigger", name, "--port", "no-such-port")
    assert done.status == 2
    assert f"found `{name}`" in done.err


def test_a_cue_is_named_on_the_command_line_as_in_the_language() -> None:
    grammar = (resources.files("seqlang") / "text" / "grammar.lark").read_text()
    assert f"NAME: /{trigger._NAME}/\n" in grammar


def test_an_unknown_cue_is_told(played: PlayingBoard, capsys: pytest.CaptureFixture[str]) -> None:
    for more in ((), ("--held", "1 s")):
        done = Outcome(capsys, "trigger", "wafe", *more, "--port", played.server.url)
        assert done.status == 3
        assert "no cue `wafe`" in done.err


def test_a_blank_board_is_told_how_to_get_a_show(capsys: pytest.CaptureFixture[str]) -> None:
    with PlayingBoard(b"").server as server:
        done = Outcome(capsys, "trigger", "wave", "--port", server.url)
    assert done.status == 3
    assert "holds no show" in done.err
    assert "bellcrank flash" in done.err


def test_stop_moves_to_the_safe_pose_and_standby_gets_the_board_ready_again(
    show: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    played = PlayingBoard(table_of(show), speed=5.0)
    url = played.server.url
    with played.server:
        Outcome(capsys, "trigger", "wave", "--port", url)
        stopped = Outcome(capsys, "stop", "--port", url)
        assert (stopped.status, "safe pose, pulses off" in stopped.out) == (0, True)
        limp = Outcome(capsys, "trigger", "wave", "--port", url)
        assert (limp.status, "bellcrank standby" in limp.err) == (3, True)
        ready = Outcome(capsys, "standby", "--port", url)
        assert (ready.status, "is ready" in ready.out) == (0, True)
        assert Outcome(capsys, "trigger", "wave", "--port", url).status == 0


def test_limp_ends_the_pulses_at_once(
    played: PlayingBoard, capsys: pytest.CaptureFixture[str]
) -> None:
    done = Outcome(capsys, "limp", "--port", played.server.url)
    assert (done.status, "pulses off" in done.out) == (0, True)
    played.server.stop()
    assert played.virtual.board.mode == ReportedMode.LIMP
    frame = played.virtual.board.frame()
    assert frame is not None
    assert set(frame.pulses) == {0}


def test_status_tells_what_the_board_plays_and_what_went_wrong(
    played: PlayingBoard, show: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Outcome(capsys, "trigger", "wave", "--port", played.server.url)
    done = Outcome(capsys, "status", "--port", played.server.url, "--show", str(show))
    assert (done.status, done.err) == (0, "")
    assert re.search(r"running +`wave`", done.out)
    assert "this is the file's table for board `box`" in done.out
    other = tmp_path / "other.cues"
    other.write_text(SHOW.format(address=4, far=30))
    compared = Outcome(capsys, "status", "--port", played.server.url, "--show", str(other))
    assert "it does not play this file" in compared.out


def test_status_says_why_the_board_was_reset(
    show: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    played = PlayingBoard(table_of(show))
    played.virtual.restart(ResetCause.BROWN_OUT)
    with played.server as server:
        done = Outcome(capsys, "status", "--port", server.url)
    assert re.search(r"last reset +brown-out", done.out)


def test_status_for_a_program_is_json(
    played: PlayingBoard, capsys: pytest.CaptureFixture[str]
) -> None:
    done = Outcome(capsys, "status", "--port", played.server.url, "--format", "json")
    record = json.loads(done.out)
    assert record["address"] == 4
    assert record["hello"]["slot_bytes"] == 500
    assert record["state"]["bad_frames"] == 0


# -- a virtual board in the foreground ---------------------------------------------------------

_BOARD = """
import signal, sys
# a job in the background of a script inherits an interrupt that is ignored
signal.signal(signal.SIGINT, signal.default_int_handler)
from seqlang.command import main
main(["board", *sys.argv[1:]])
"""


@pytest.mark.skipif(os.name != "posix", reason="Ctrl-C comes in other ways elsewhere")
def test_a_virtual_board_runs_in_the_foreground_until_it_is_interrupted(
    show: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = tmp_path / "kept.bin"
    process = subprocess.Popen(
        [sys.executable, "-u", "-c", _BOARD, "--store", str(store)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    watchdog = threading.Timer(60, process.kill)
    watchdog.start()
    try:
        assert process.stdout is not None
        url = re.search(r"socket://127\.0\.0\.1:\d+", process.stdout.readline())
        assert url is not None
        assert Outcome(capsys, "flash", str(show), "--port", url[0]).status == 0
        assert Outcome(capsys, "trigger", "wave", "--port", url[0]).status == 0
        time.sleep(0.1)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate()
    finally:
        watchdog.cancel()
        process.kill()
        process.communicate()
    assert (process.returncode, err) == (0, "")
    assert "as board 4" in out
    assert "cue 0 starts" in out
    assert store.stat().st_size == 1024


def test_a_board_on_a_taken_number_ends_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    with Server(VirtualBoard()) as server:
        number = server.url.rsplit(":", 1)[1]
        done = Outcome(capsys, "board", "--number", number)
    assert (done.status, "(no-port)" in done.err) == (3, True)


@pytest.mark.skipif(os.name != "posix", reason="limits of a process are other ones elsewhere")
def test_a_board_whose_disk_is_full_says_so_and_plays_on(
    show: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No file may grow over 100 bytes, as on a disk that has no more room."""
    store = tmp_path / "kept.bin"
    full = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (100, 100))\n"
    full += "import signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
    pipe = subprocess.PIPE
    words = [sys.executable, "-u", "-c", full + _BOARD, "--store", str(store), "--speed", "20"]
    with subprocess.Popen(words, stdout=pipe, stderr=pipe, text=True) as process:
        try:
            assert process.stdout is not None
            url = re.search(r"socket://127\.0\.0\.1:\d+", process.stdout.readline())
            assert url is not None
            done = Outcome(capsys, "flash", str(show), "--port", url[0])
            assert (done.status, "plays the new show" in done.out) == (0, True)
            assert Outcome(capsys, "status", "--port", url[0]).status == 0
            process.send_signal(signal.SIGINT)
            _, err = process.communicate(timeout=30)
        finally:
            process.kill()
    assert process.returncode == 2
    assert f"`{store}` cannot be written: file too large; the board plays on" in " ".join(
        err.split()
    )
    assert "Traceback" not in err
    assert not store.exists()
