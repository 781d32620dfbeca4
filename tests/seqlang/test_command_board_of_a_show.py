"""`bellcrank board FILE`: the boards of a show, wired, and what somebody types while they run."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
import threading
from importlib.resources import as_file, files
from pathlib import Path

import pytest
from flap_show import Outcome

from seqlang.check import check
from seqlang.command._typed import Typed
from seqlang.command._wired import obey, wired_boards
from seqlang.loading import load
from tests.seqlang.terminal import ROOT

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
    obey(wired, "unplug left_wing\n", show.show)
    assert not wired.boards["left_wing"].has_power
    obey(wired, " plug `left_wing` ", show.show)
    assert wired.boards["left_wing"].has_power
    obey(wired, "cut left_wing", show.show)
    assert wired.deaf == {"left_wing"}
    obey(wired, "mend left_wing", show.show)
    assert not wired.deaf
    assert obey(wired, "loss 30", show.show) == "30 % of the leader's frames are lost"
    assert obey(wired, "noise 0.5 %", show.show) == "0.5 % of the line's bytes are spoilt"
    assert (wired.trouble.lost, wired.trouble.spoilt) == (0.3, 0.005)
    assert obey(wired, "loss 101", show.show) == "`loss` wants a number from 0 to 100, found `101`"
    assert "there is back, left_wing, right_wing" in obey(wired, "unplug tail", show.show)
    assert "there is unplug NAME" in obey(wired, "pull left_wing", show.show)


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


RADIO = """\
show "Lantern on a stick"

supply pack
    source adapter 6 V, 5 A

board box: atmega2560, address 1
    feed pack

lamp lure: box pin PB4
    leds 1 of 2.1 V, 20 mA

channel stick: box pin PL0
    button 1 from 1700 us to 2100 us

sensor voice: box pin PF0

cue glow
    lure fade to 80 % in 1 s
    when let go
        lure fade to off in 1 s

cue flare
    lure fade to 100 % in 300 ms
    lure fade to off in 900 ms

remote
    button 1: go glow
    lost 2 s: go flare
"""


@pytest.fixture
def radio(tmp_path: Path) -> Path:
    file = tmp_path / "radio.cues"
    file.write_text(RADIO)
    return file


def test_a_stick_that_is_typed_presses_its_band_and_its_silence_starts_the_cue_for_it(
    radio: Path,
) -> None:
    show = check(load(str(radio))).show
    assert show is not None
    said: list[str] = []
    wired = wired_boards(show, say=said.append)
    assert obey(wired, "stick 1500", show.show).endswith("stick: gives 1500 us")
    wired.advance(3.0)
    assert not any("starts" in words for words in said)
    obey(wired, "stick 1.8 ms\n", show.show)
    wired.advance(4.0)
    assert "box: `glow` starts" in said[-1]
    # a board that gets its power anew comes alive with the stick in the band: that presses nothing
    obey(wired, "unplug box", show.show)
    obey(wired, "plug box", show.show)
    said.clear()
    wired.advance(8.0)
    assert not any("starts" in words for words in said)
    assert obey(wired, " stick  none ", show.show).endswith("stick: gives no pulses")
    wired.advance(9.5)
    assert not any("starts" in words for words in said)
    wired.advance(10.1)
    assert "box: `flare` starts" in said[-1]


def test_a_place_that_no_stick_has_is_answered_and_changes_nothing(radio: Path) -> None:
    show = check(load(str(radio))).show
    assert show is not None
    wired = wired_boards(show, say=lambda _: None)
    assert "write 800 us to 2200 us, or `stick none`" in obey(wired, "stick 3000", show.show)
    assert wired.boards["box"].pulses == {}
    words = obey(wired, "stik 1700", show.show)
    assert words == "there is no order `stik`; did you mean `stick 1700`?"
    words = obey(wired, "throttle 1700", show.show)
    assert words.endswith("noise PERCENT, stick MICROSECONDS or stick none, voice PERCENT")


@pytest.mark.parametrize(
    ("line", "answer"),
    [
        ("unplug", "`unplug` wants a board, found nothing; there is box"),
        ("unplug bx", "`unplug` wants a board, found `bx`; did you mean `box`?"),
        ("unplg box", "there is no order `unplg`; did you mean `unplug box`?"),
        ("Stick 1600 us", "there is no order `Stick`; did you mean `stick 1600 us`?"),
        ("stick", "the pulse of channel `stick` is missing; write 800 us to 2200 us, or"),
        ("voice", "the place of sensor `voice` is missing; write 0 % to 100 % of"),
        ("battery box 8", "board `box` watches no battery; no board watches one"),
        ("loss", "`loss` wants a number from 0 to 100, found nothing"),
    ],
)
def test_an_order_that_is_half_or_misspelt_is_answered_with_what_it_wants(
    radio: Path, line: str, answer: str
) -> None:
    show = check(load(str(radio))).show
    assert show is not None
    assert obey(wired_boards(show, say=lambda _: None), line, show.show).startswith(answer)


def test_a_decimal_comma_is_a_point_in_typed_orders(radio: Path) -> None:
    show = check(load(str(radio))).show
    assert show is not None
    wired = wired_boards(show, say=lambda _: None)
    assert obey(wired, "stick 1,7 ms", show.show).endswith("stick: gives 1700 us")
    assert obey(wired, "voice 12,5 %", show.show).endswith("voice: gives 12.5 %")
    assert obey(wired, "noise 0,5", show.show) == "0.5 % of the line's bytes are spoilt"


def test_a_sensor_that_is_typed_reads_its_share_of_the_supply(radio: Path) -> None:
    show = check(load(str(radio))).show
    assert show is not None
    wired = wired_boards(show, say=lambda _: None)
    box = wired.boards["box"]
    wired.advance(1.0)
    assert box.board.player is not None
    assert box.board.player.sensor(0) == 0
    assert obey(wired, "voice 40 %", show.show).endswith("voice: gives 40 %")
    wired.advance(1.1)
    assert box.board.player.sensor(0) == 410
    obey(wired, "voice 100", show.show)
    obey(wired, "unplug box", show.show)
    obey(wired, "plug box", show.show)
    wired.advance(1.5)
    assert box.board.player.sensor(0) == 1023
    assert "write 0 % to 100 %" in obey(wired, "voice none", show.show)


@pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are a thing of POSIX")
def test_what_is_typed_at_a_terminal_moves_the_stick(radio: Path) -> None:
    """As somebody sits before it: orders and answers over one pseudo-terminal."""
    import pty

    ours, theirs = pty.openpty()
    words = [sys.executable, "-u", "-c", _BOARDS, str(radio), "--speed", "3"]
    process = subprocess.Popen(words, stdin=theirs, stdout=theirs, stderr=theirs)
    os.close(theirs)
    watchdog = threading.Timer(60, process.kill)
    watchdog.start()
    said = ""

    def until(what: str) -> re.Match[str]:
        nonlocal said
        while not (found := re.search(what, said)):
            said += os.read(ours, 4096).decode()
        said = said[found.end() :]
        return found

    def put(what: str) -> float:
        """Type it; the time of the boards at which it is done."""
        os.write(ours, f"stick {what}\n".encode())
        return float(until(r"([\d.]+) s  stick: gives")[1])

    try:
        until("stick\\s+none")
        until("box: ready")
        since = put("1500")
        while put("1500") < since + 0.5:  # a channel counts after ten pulses
            pass
        put("1.8 ms")
        until("box: `glow` starts")
        put("none")
        until("box: `flare` starts")
        process.send_signal(signal.SIGINT)
        process.wait(20)
    finally:
        watchdog.cancel()
        process.kill()
        os.close(ours)
    assert process.returncode == 0


@pytest.mark.skipif(shutil.which("bash") is None, reason="NO BASH: jobs are a shell's")
def test_a_job_that_comes_back_from_the_background_hears_what_is_typed(wings: Path) -> None:
    import pty

    child, ours = pty.fork()
    if child == 0:
        os.execvpe(
            "bash",
            ["bash", "--norc", "--noprofile", "-i"],
            {**os.environ, "PYTHONPATH": str(ROOT), "PS1": "$ ", "TERM": "dumb"},
        )
    watchdog = threading.Timer(60, os.kill, (child, signal.SIGKILL))
    watchdog.start()
    said = ""

    def until(what: str) -> str:
        nonlocal said
        while not (found := re.search(what, said)):
            said += os.read(ours, 4096).decode()
        said = said[found.end() :]
        return found[0]

    try:
        os.write(ours, f"{sys.executable} -u -m seqlang board {wings} --speed 3 &\n".encode())
        until("back: ready")
        os.write(ours, b"fg\n")
        until("seqlang board")
        os.write(ours, b"loss 30\n")
        assert until("(30|0) % of the leader's frames are lost").startswith("30 %")
        os.write(ours, b"\x03")  # Ctrl-C
        assert until("ended|Traceback") == "ended"
    finally:
        watchdog.cancel()
        os.kill(child, signal.SIGKILL)
        os.close(ours)
        os.waitpid(child, 0)
