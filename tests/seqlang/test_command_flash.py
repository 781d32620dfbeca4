"""`bellcrank flash`: checked, transferred, verified; every failure told apart, with its status."""

from __future__ import annotations

import json
import re
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from flap_show import SECOND_BOARD, SHOW, Outcome, table_of
from terminal import on_a_terminal

from firmware_gen.board.virtual import Server, VirtualBoard, stored_eeprom
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import ReportedMode
from firmware_gen.table.layout import ALONE, FOLLOWS, LEADS
from seqlang.check import check
from seqlang.command._set_of_boards import SetOfBoards, mixed_among
from seqlang.loading import load
from tests.firmware_gen.page_shows import LED

ENDS_S = 6.0
"""Far more than anything here takes; that giving up keeps to two seconds of the port's own clock is
tested with the link."""


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "flap.cues"
    path.write_text(SHOW.format(address=1, far=40))
    return path


@pytest.fixture
def pair(tmp_path: Path) -> Path:
    path = tmp_path / "pair.cues"
    path.write_text(
        SHOW.format(address=1, far=40)
        .replace("cue wave", SECOND_BOARD + "\ncue wave")
        .replace("    stop button 2", "    button 4: go wag\n    stop button 2")
    )
    return path


@pytest.fixture
def served() -> Iterator[Server]:
    with Server(VirtualBoard(write_s=0.0), speed=10.0) as server:
        yield server


# -- done --------------------------------------------------------------------------------------


def test_a_show_is_put_on_the_board_and_plays(
    show: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    done = Outcome(capsys, "flash", str(show), "--port", served.url)
    assert done.status == 0
    assert "plays the new show" in done.out
    assert "verified and read back" in done.out
    served.stop()
    assert served.virtual.board.slots.table == table_of(show)
    assert served.virtual.board.mode in (ReportedMode.STARTING, ReportedMode.READY)


def test_the_virtual_board_remembers_its_show_for_the_next_command(
    show: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("click.get_app_dir", lambda name: str(tmp_path / "kept" / name))
    assert Outcome(capsys, "flash", str(show), "--port", "virtual").status == 0
    kept = tmp_path / "kept" / "bellcrank" / "virtual-board.bin"
    assert VirtualBoard(stored_eeprom(kept)).board.slots.table == table_of(show)
    status = Outcome(capsys, "status", "--port", "virtual", "--show", str(show))
    assert "this is the file's table for board `box`" in status.out


def test_the_virtual_board_takes_any_address(
    show: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("click.get_app_dir", lambda name: str(tmp_path / name))
    other = tmp_path / "other.cues"
    other.write_text(SHOW.format(address=9, far=40))
    for path in (show, other):
        assert Outcome(capsys, "flash", str(path), "--port", "virtual").status == 0


def test_a_board_that_gets_another_address_is_told_as_what_it_was_and_what_it_becomes(
    pair: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("click.get_app_dir", lambda name: str(tmp_path / name))
    words = ("flash", str(pair), "--port", "virtual", "--board")
    blank = Outcome(capsys, *words, "tail").out
    assert re.search(r"to the blank board on \S+, which becomes board 2\n", blank)
    other = Outcome(capsys, *words, "box").out
    assert re.search(r"to board 2 on \S+, which becomes board 1\n", other)
    assert re.search(r"\nboard 1 on \S+ plays the new show", other)
    assert "becomes" not in Outcome(capsys, *words, "box").out


def test_a_home_that_cannot_be_written_does_not_keep_the_virtual_board_from_working(
    show: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setattr("click.get_app_dir", lambda name: str(tmp_path / "file" / name))
    assert Outcome(capsys, "flash", str(show), "--port", "virtual").status == 0


def test_progress_is_drawn_on_a_terminal_only(show: Path, served: Server) -> None:
    plain = subprocess.run(
        [sys.executable, "-m", "seqlang", "flash", str(show), "--port", served.url],
        capture_output=True,
        text=True,
    )
    assert plain.returncode == 0
    assert "\r" not in plain.stdout + plain.stderr
    drawn = on_a_terminal("flash", str(show), "--port", served.url, only_stderr=True)
    assert "\r" not in drawn.out
    assert "\rtransfer" in drawn.raw
    assert "##########" in drawn.raw
    assert not any("###" in line for line in drawn.screen)  # it leaves nothing behind


# -- which board -------------------------------------------------------------------------------


def test_of_a_show_for_two_boards_the_connected_one_gets_its_own_table(
    pair: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    first = Outcome(capsys, "flash", str(pair), "--port", served.url, "--board", "tail")
    assert first.status == 0
    again = Outcome(capsys, "flash", str(pair), "--port", served.url)
    assert "table of board `tail`" in again.out
    assert "next, plug in board `box` (address 1), which was not given the show" in again.out
    served.stop()
    assert served.virtual.board.slots.table == table_of(pair, "tail")


def test_flash_says_which_board_is_next_until_all_have_the_same_version(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Virtual boards stand in for those that are plugged in one after another."""
    file = tmp_path / "newt.cues"
    file.write_text(LED)
    shown = check(load(file)).show
    assert shown is not None
    boards = {one.name: Server(VirtualBoard(chip=one.chip)) for one in shown.compiled.boards}
    with ExitStack() as stack:
        for server in boards.values():
            stack.enter_context(server)

        def flashed(name: str) -> str:
            words = ("--port", boards[name].url, "--board", name)
            done = Outcome(capsys, "flash", str(file), *words)
            assert done.status == 0, done.err
            return " ".join(done.out.split())

        said = flashed("tail")
        assert "next, plug in board `trunk` (address 1), which was not given the show" in said
        assert "then: `crest` (address 3)" in said
        assert "mixed" not in said
        assert "next, plug in board `crest` (address 3)" in flashed("trunk")
        assert "all boards of the show were given this version" in flashed("crest")
        file.write_text(LED.replace("for ten seconds", "for long"))
        said = flashed("trunk")
        assert "all boards of the show" in said  # a title is no part of the tables
        file.write_text(LED.replace("tip to 6 deg in 2 s", "tip to 7 deg in 2 s"))
        said = flashed("trunk")
        assert "plug in board `tail` (address 2), which has another version of the show" in said
        assert "until then the set is mixed" in said
        done = Outcome(
            capsys, *("flash", str(file), "--port", boards["tail"].url, "--format", "json")
        )
        assert json.loads(done.out)["left"] == ["crest"]


def test_a_mixed_set_is_told_wherever_it_is_known_until_it_is_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "newt.cues"
    file.write_text(LED)
    shown = check(load(file)).show
    assert shown is not None
    boards = {one.name: Server(VirtualBoard(chip=one.chip)) for one in shown.compiled.boards}
    with ExitStack() as stack:
        for server in boards.values():
            stack.enter_context(server)

        def flash(name: str) -> None:
            words = ("--port", boards[name].url, "--board", name)
            assert Outcome(capsys, "flash", str(file), *words).status == 0

        def status(name: str, *more: str) -> tuple[int, str]:
            done = Outcome(capsys, "status", "--port", boards[name].url, *more)
            assert "Traceback" not in done.err
            assert isinstance(done.status, int)
            return done.status, " ".join(done.err.split())

        for name in boards:
            flash(name)
        assert status("trunk", "--show", str(file)) == (0, "")
        old = shown.compiled.number
        file.write_text(LED.replace("tip to 6 deg in 2 s", "tip to 7 deg in 2 s"))
        assert status("trunk", "--show", str(file)) == (0, "")  # all boards have the old one
        flash("trunk")
        flash("crest")
        for more in ((), ("--show", str(file)), ("--show", str(file), "--format", "json")):
            number, told = status("trunk", *more)
            assert number == 3
            assert "(mixed-set)" in told
            assert f"`tail`{' (address 2)' * bool(more)} has {old:08x}" in told
            assert "`crest`" not in told
        port = ("--port", boards["trunk"].url)
        done = Outcome(capsys, "trigger", "swim", *port)
        assert done.status == 0  # what is remembered may be out of date
        assert "(mixed-set)" in " ".join(done.err.split())
        done = Outcome(capsys, "remote", str(file), *port, "--for", "1 s")
        assert done.status == 0
        assert "(mixed-set)" in " ".join(done.err.split())
        # somebody flashed it on another computer: it is believed when it is seen
        flash_elsewhere = check(load(file)).show
        assert flash_elsewhere is not None
        other = SetOfBoards(str(file), flash_elsewhere.compiled)
        other.saw(2, flash_elsewhere.compiled.number)
        assert status("trunk", "--show", str(file)) == (0, "")
        number, told = status("tail", "--show", str(file))  # it was not: it says so itself
        assert number == 3
        assert f"`tail` (address 2) has {old:08x}" in told
        flash("tail")
        assert status("tail", "--show", str(file)) == (0, "")


def test_boards_that_answer_at_once_are_a_set_as_far_as_they_say_so() -> None:
    leads, follows, stray = ("a", LEADS, 7), ("b", FOLLOWS, 7), ("c", FOLLOWS, 8)
    assert mixed_among([]) is None
    assert mixed_among([follows, stray]) is None  # nothing is known of what leads
    assert mixed_among([leads, follows, ("d", ALONE, 9)]) is None
    assert mixed_among([leads, follows, stray, ("e", LEADS, 8)]) is None  # two creatures
    found = mixed_among([leads, follows, stray])
    assert found is not None
    assert found.reason == "mixed-set"
    assert "c has 00000008, and the board that leads has 00000007" in found.message


def test_a_blank_board_and_a_show_for_two_ask_which_it_is(
    pair: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    done = Outcome(capsys, "flash", str(pair), "--port", served.url)
    assert done.status == 2
    assert "(board-unclear)" in done.err
    assert "box (address 1), tail (address 2)" in done.err


def test_a_spare_board_is_readdressed_only_on_purpose(
    show: Path, tmp_path: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    spare = tmp_path / "spare.cues"
    spare.write_text(SHOW.format(address=9, far=40))
    assert Outcome(capsys, "flash", str(spare), "--port", served.url).status == 0
    refused = Outcome(capsys, "flash", str(show), "--port", served.url)
    assert refused.status == 3
    assert "the board has address 9, the table is for address 1  (wrong-address)" in refused.err
    named = Outcome(capsys, "flash", str(show), "--port", served.url, "--board", "box")
    assert named.status == 3
    assert "(wrong-address)" in named.err
    assert "becomes" not in named.out, "it stays what it is"
    done = Outcome(capsys, "flash", str(show), "--port", served.url, "--readdress")
    assert done.status == 0
    assert "board 1 on" in done.out


# -- what keeps a show off the board -------------------------------------------------------------


def test_a_show_with_errors_never_reaches_a_board(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "flap.cues"
    path.write_text(SHOW.format(address=1, far=90))
    virtual = VirtualBoard(write_s=0.0)
    with Server(virtual) as server:
        done = Outcome(capsys, "flash", str(path), "--port", server.url)
    assert done.status == 1
    assert "flap to 90 deg" in done.err
    assert virtual.eeprom.writes == 0
    assert virtual.board.receiver.good == 0


def test_nothing_is_asked_of_a_port_before_the_show_has_passed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "empty.cues"
    path.write_text("")
    assert Outcome(capsys, "flash", str(path), "--port", "no-such-port").status == 1


def test_a_show_that_is_not_there_is_wrong_use(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    done = Outcome(capsys, "flash", str(tmp_path / "none.cues"), "--port", "virtual")
    assert done.status == 2
    assert "none.cues" in done.err


def test_a_board_that_already_talks_to_a_host_is_busy(
    show: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    from firmware_gen.link.ports import open_port

    first = open_port(served.url)
    HostLink(first).greet()
    done = Outcome(capsys, "flash", str(show), "--port", served.url)
    assert (done.status, "(port-busy)" in done.err) == (3, True)
    assert done.seconds < ENDS_S
    first.close()


def test_a_plain_file_as_port_ends_at_once(
    show: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "port"
    path.write_text("x")
    done = Outcome(capsys, "flash", str(show), "--port", str(path))
    assert (done.status, "it is a plain file" in done.err) == (3, True)
    assert path.read_text() == "x"
    assert done.seconds < ENDS_S


@pytest.mark.parametrize("name", ["no-such-port", "socket://127.0.0.1:1", "nonsense://x", ""])
def test_a_port_that_is_not_there_ends_at_once(
    name: str, show: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("serial.tools.list_ports.comports", list)
    done = Outcome(capsys, "flash", str(show), "--port", name)
    assert (done.status, "(no-port)" in done.err) == (3, True)
    assert "  try   " in done.err
    assert done.seconds < ENDS_S


class Babbler:
    """Listens as a board would and sends the same bytes on and on; none: it is silent."""

    def __init__(self, babble: bytes) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._babble = babble
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run)
        self.url = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"

    def __enter__(self) -> Babbler:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        self._thread.join()
        self._listener.close()

    def _run(self) -> None:
        host, _ = self._listener.accept()
        host.settimeout(0.1)
        with host:
            while not self._end.wait(0.002):
                try:
                    if self._babble:
                        host.sendall(self._babble)
                except OSError:
                    return


@pytest.mark.parametrize(
    ("babble", "reason"),
    [
        (b"", "no-answer"),
        (b"jaw=41 fin=3 volt=5.91\r\n" * 8, "garbage"),
        (bytes(200), "garbage"),
        (b"\x00\x7f" * 100, "garbage"),
    ],
    ids=["silence", "text", "zeros", "noise"],
)
def test_whatever_is_on_the_port_the_command_ends_soon(
    babble: bytes, reason: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with Babbler(babble) as babbler:
        done = Outcome(capsys, "stop", "--port", babbler.url)
    assert (done.status, f"({reason})" in done.err) == (3, True)
    assert done.seconds < ENDS_S


def test_the_whole_command_ends_soon_in_a_process_of_its_own() -> None:
    with Babbler(b"tick\r\n") as babbler:
        started = time.monotonic()
        done = subprocess.run(
            [sys.executable, "-m", "seqlang", "trigger", "wave", "--port", babbler.url],
            capture_output=True,
            text=True,
            check=False,
        )
        assert time.monotonic() - started < ENDS_S
    assert done.returncode == 3
    assert "does not speak this link" in done.stderr
    assert "Traceback" not in done.stderr
