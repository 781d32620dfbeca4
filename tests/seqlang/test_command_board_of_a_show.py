"""`bellcrank board FILE`: the boards of a show, wired, and what somebody types while they run."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
from importlib.resources import as_file, files
from pathlib import Path

import pytest
from flap_show import Outcome

from seqlang.check import check
from seqlang.command._wired import Typed, obey, wired_boards
from seqlang.loading import load

WINGS = "wings/wings.cues"
_BOARDS = """
import signal, sys
# a job in the background of a script inherits an interrupt that is ignored
signal.signal(signal.SIGINT, signal.default_int_handler)
from seqlang.command import main
main(["board", *sys.argv[1:]])
"""


@pytest.fixture(scope="module")
def wings() -> Path:
    with as_file(files("shows") / WINGS) as path:
        return path


@pytest.mark.skipif(os.name != "posix", reason="Ctrl-C comes in other ways elsewhere")
def test_a_press_at_the_board_that_leads_plays_on_all_and_a_part_can_be_unplugged(
    wings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pipe = subprocess.PIPE
    words = [sys.executable, "-u", "-c", _BOARDS, str(wings), "--speed", "3"]
    with subprocess.Popen(words, stdin=pipe, stdout=pipe, stderr=pipe, text=True) as process:
        watchdog = threading.Timer(60, process.kill)
        watchdog.start()
        try:
            assert process.stdout is not None
            assert process.stdin is not None
            said = ""

            def until(what: str) -> str:
                nonlocal said
                while not re.search(what, said):
                    line = process.stdout.readline()  # type: ignore[union-attr]
                    assert line, said
                    said += line
                return said

            port = re.search(r"`back` on (\S+) \(leads", until("`back` on"))
            follower = re.search(r"`left_wing` on (\S+) \(follows `back`", until("`left_wing` on"))
            assert port is not None
            assert follower is not None
            until("right_wing: ready")
            refused = Outcome(capsys, "trigger", "open", "--port", follower[1])
            assert refused.status == 3
            assert "follows the board that leads" in " ".join(refused.err.split())
            assert Outcome(capsys, "trigger", "open", "--port", port[1]).status == 0
            for name in ("back", "left_wing", "right_wing"):
                until(f"{name}: `open` starts")
            process.stdin.write("unplug right_wing\nplug right_wing\n")
            process.stdin.flush()
            until("right_wing: has feed and signal")
            said = ""
            until("right_wing: `(open|rest)` starts")
            process.send_signal(signal.SIGINT)
            _, err = process.communicate()
        finally:
            watchdog.cancel()
            process.kill()
    assert (process.returncode, err) == (0, "")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--store", "kept.bin"), "`--store` and `--chip` are for one board"),
        (("--chip", "atmega2560"), "`--store` and `--chip` are for one board"),
    ],
)
def test_what_is_for_one_board_alone_is_wrong_use_with_a_show(
    wings: Path, words: tuple[str, str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    done = Outcome(capsys, "board", str(wings), *words)
    assert (done.status, message in done.err) == (2, True)


def test_a_bad_line_is_asked_for_with_a_show_alone(capsys: pytest.CaptureFixture[str]) -> None:
    done = Outcome(capsys, "board", "--loss", "30")
    assert (done.status, "name its file" in done.err) == (2, True)


def test_a_show_with_errors_runs_on_no_board(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "broken.cues"
    file.write_text('show "s"\ncue nod:\n    jaw to 3 deg in 1 s\n')
    assert Outcome(capsys, "board", str(file)).status == 1


def test_what_is_typed_is_done_or_answered_in_words(wings: Path) -> None:
    show = check(load(str(wings))).show
    assert show is not None
    wired = wired_boards(show, say=lambda _: None)
    assert list(wired.boards) == ["back", "left_wing", "right_wing"]
    obey(wired, "unplug left_wing\n")
    assert not wired.boards["left_wing"].has_power
    obey(wired, " plug `left_wing` ")
    assert wired.boards["left_wing"].has_power
    obey(wired, "cut left_wing")
    assert wired.deaf == {"left_wing"}
    obey(wired, "mend left_wing")
    assert not wired.deaf
    assert obey(wired, "loss 30") == "30 % of the leader's frames are lost"
    assert obey(wired, "noise 0.5 %") == "0.5 % of the line's bytes are spoilt"
    assert (wired.trouble.lost, wired.trouble.spoilt) == (0.3, 0.005)
    assert obey(wired, "loss 101") == "`loss` wants a number from 0 to 100, found `101`"
    assert "there is back, left_wing, right_wing" in obey(wired, "unplug tail")
    assert "there is unplug NAME" in obey(wired, "pull left_wing")


def test_without_a_standard_input_the_orders_are_none_and_nothing_breaks(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", None)
    typed = Typed()
    typed.ended.wait(10)
    assert typed.ended.is_set()
    assert list(typed.lines()) == []
    assert capfd.readouterr().err == ""


def test_bytes_of_no_letters_are_an_unknown_order_and_the_next_order_is_heard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "typed").write_bytes(b"unplug neck\n\xff\xfe\nplug neck\n")
    with (tmp_path / "typed").open(encoding="utf-8", errors="strict") as lines:
        monkeypatch.setattr(sys, "stdin", lines)
        typed = Typed()
        assert typed.ended.wait(10)
    assert list(typed.lines()) == ["unplug neck\n", "\ufffd\ufffd\n", "plug neck\n"]
