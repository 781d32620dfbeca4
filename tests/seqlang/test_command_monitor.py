"""`bellcrank monitor` beside other commands, and on bad days."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from flap_show import SHOW, Outcome, table_of

from firmware_gen.board.virtual import LocalPort, Server, VirtualBoard
from firmware_gen.chips import CHIPS, FIRST, Chip
from firmware_gen.link.host import HostLink
from firmware_gen.link.owner.client import connect
from firmware_gen.link.protocol import ResetCause
from seqlang.monitoring.event_log import read_log
from sim.rulebook import SENSORS
from tests.seqlang.test_battery_of_a_virtual_board import TEXT as WATCHED
from tests.unchecked import transfer_unchecked

posix_only = pytest.mark.skipif(os.name != "posix", reason="signals are other ones elsewhere")
SCHEMAS = Path(__file__).parents[2] / "seqlang" / "schemas"


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "flap.cues"
    path.write_text(SHOW.format(address=4, far=40))
    return path


def playing(show: Path, name: str = "box", chip: Chip = FIRST) -> VirtualBoard:
    virtual = VirtualBoard(write_s=0.0, chip=chip)
    transfer_unchecked(HostLink(LocalPort(virtual)), table_of(show, name))
    virtual.advance(2.0)
    virtual.board.take_output()
    return virtual


@pytest.fixture
def served(show: Path) -> Iterator[Server]:
    with Server(playing(show)) as server:
        yield server


class Monitor:
    """A monitor in a process of its own, that has met its board."""

    def __init__(self, log: Path, *words: str, head: str = "") -> None:
        script = head + "from seqlang.command import main\nimport sys\nmain(sys.argv[1:])\n"
        command = [sys.executable, "-c", script, "monitor", "--log", str(log), *words]
        pipe = subprocess.PIPE
        self.log = log
        self.process = subprocess.Popen(command, stdout=pipe, stderr=pipe, text=True)

    def __enter__(self) -> Monitor:
        self.until("board")
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.communicate()

    def records(self) -> list[tuple[str, dict[str, Any]]]:
        if not self.log.exists():
            return []
        return [(record.what, record.fields) for record in read_log(self.log).records]

    def until(self, what: str, count: int = 1) -> dict[str, Any]:
        """The record of that kind, once it is there."""
        end_s = time.monotonic() + 30
        while True:
            found = [fields for each, fields in self.records() if each == what]
            if len(found) >= count:
                return found[count - 1]
            assert time.monotonic() < end_s, self.records()
            assert self.process.poll() is None, self.process.communicate()
            time.sleep(0.02)


@posix_only
def test_what_commands_do_beside_it_is_logged_and_summed_up(
    show: Path, served: Server, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    port = ("--port", served.url)
    log = tmp_path / "log"
    with Monitor(log, *port, "--show", str(show)) as monitor:
        assert Outcome(capsys, "trigger", "wave", *port).status == 0
        assert monitor.until("asked")["cue"] == "wave"
        assert monitor.until("cue")["cue"] == "wave"
        assert Outcome(capsys, "stop", *port).status == 0
        assert monitor.until("asked", 2)["client"] == "stop"
        monitor.until("mode", 2)
        monitor.process.send_signal(signal.SIGINT)
        out, err = monitor.process.communicate(timeout=20)
    assert (monitor.process.returncode, err) == (0, "")
    assert "trigger wave (`trigger`)" in out
    assert "monitor ends" in out
    summed = Outcome(capsys, "monitor", "--summary", "--log", str(log))
    assert (summed.status, summed.err) == (0, "")
    counts = [line.split() for line in summed.out.splitlines()]
    assert ["cue", "wave", "began", "1"] in [words[:4] for words in counts]
    assert ["stop", "1"] in [words[:2] for words in counts]
    assert "nothing went wrong" in summed.out
    printed = Outcome(capsys, "monitor", "--summary", "--log", str(log), "--format", "json").out
    schema = json.loads((SCHEMAS / "monitor.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(json.loads(printed))


@posix_only
def test_a_board_that_is_reset_or_gone_and_back_is_logged(show: Path, tmp_path: Path) -> None:
    virtual = playing(show)
    with Server(virtual) as server, Monitor(tmp_path / "log", "--port", server.url) as monitor:
        number = int(server.url.rpartition(":")[2])
        server.virtual.restart(ResetCause.BROWN_OUT)
        assert monitor.until("reset")["cause"] == "brown-out"
        server.stop()
        assert monitor.until("lost")["reason"] in ("port-lost", "no-port")
        with Server(virtual, tcp_port=number):
            monitor.until("board", 2)
        assert [what for what, _ in monitor.records()].count("lost") >= 1


@posix_only
def test_a_battery_that_was_low_before_is_logged_and_so_is_that_it_recovered(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "watched.cues"
    path.write_text(WATCHED)
    virtual = playing(path, "body", CHIPS["atmega2560"])
    virtual.readings[SENSORS] = 540  # 6.5 V behind a divider at which 12.3 V are all
    virtual.advance(virtual.time_s + 12.0)
    virtual.board.take_output()
    log = tmp_path / "log"
    with Server(virtual) as server, Monitor(log, "--port", server.url) as monitor:
        assert monitor.until("battery")["battery"] == "low"
        server.virtual.readings[SENSORS] = 640
        assert monitor.until("battery", 2)["battery"] == "well"
        monitor.process.send_signal(signal.SIGINT)
        out, err = monitor.process.communicate(timeout=20)
    assert (monitor.process.returncode, err) == (0, "")
    assert "its battery is low: 6.5" in out
    summed = Outcome(capsys, "monitor", "--summary", "--log", str(log)).out
    assert "its battery is low: 6.5" in summed
    assert "recovered" not in summed


@posix_only
def test_a_monitor_that_is_killed_has_logged_all_until_then(
    served: Server, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "log"
    with Monitor(log, "--port", served.url) as monitor:
        Outcome(capsys, "limp", "--port", served.url)
        monitor.until("asked")
        monitor.process.kill()
        monitor.process.communicate()
    summed = Outcome(capsys, "monitor", "--summary", "--log", str(log))
    assert "limp" in summed.out
    assert "1 of them ended without a word" in summed.out


@posix_only
def test_an_owner_that_is_killed_is_logged_and_the_monitor_goes_on(
    served: Server,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    with Monitor(tmp_path / "log", "--port", served.url) as monitor:
        with connect("test") as owner:
            pid = owner._met.pid
        assert pid is not None
        os.kill(pid, signal.SIGKILL)
        monitor.until("owner-lost")
        assert _soon(lambda: Outcome(capsys, "limp", "--port", served.url).status == 0)
        monitor.until("asked")
    with connect("test") as owner:
        owner.request("end")


def _soon(condition: Callable[[], bool]) -> bool:
    end_s = time.monotonic() + 20
    while time.monotonic() < end_s:
        if condition():
            return True
        time.sleep(0.05)
    return False


@posix_only
def test_on_a_full_disk_it_goes_on_on_the_screen_and_ends_with_its_status(
    served: Server, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No file may grow over 150 bytes, as on a disk that has no more room."""
    full = "import resource, signal\n"
    full += "resource.setrlimit(resource.RLIMIT_FSIZE, (150, 150))\n"
    full += "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
    monitor = Monitor(tmp_path / "log", "--port", served.url, "--for", "4 s", head=full)
    out, err = monitor.process.communicate(timeout=60)
    assert monitor.process.returncode == 2
    assert "board 4 on" in out
    plain = " ".join(err.split())
    assert plain.count("cannot be written; what happens is shown here only") == 1
    assert "records could not be written" in plain
    assert "Traceback" not in err
    assert monitor.records()[0][0] == "begin"


def test_a_log_that_cannot_be_made_or_read_is_wrong_use(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    missing = str(tmp_path / "no" / "log")
    for words in (("--port", "virtual"), ("--summary",)):
        done = Outcome(capsys, "monitor", "--log", missing, *words)
        assert (done.status, missing in " ".join(done.err.split())) == (2, True)
    (tmp_path / "empty").write_text("")
    done = Outcome(capsys, "monitor", "--summary", "--log", str(tmp_path / "empty"))
    assert (done.status, "no record" in done.err) == (2, True)


@posix_only
def test_a_show_that_acts_on_silence_is_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every look is heard by the board: it would never find that its remote fell silent."""
    path = tmp_path / "flap.cues"
    text = SHOW.format(address=4, far=40)
    path.write_text(text.replace("    stop button 2", "    stop button 2\n    lost 1 s: go lift"))
    with (
        Server(playing(path)) as server,
        Monitor(tmp_path / "log", "--port", server.url) as monitor,
    ):
        assert "left alone" in monitor.until("board")["words"]
        heard = server.virtual.board.receiver.good
        time.sleep(1.0)
        assert server.virtual.board.receiver.good == heard
        assert Outcome(capsys, "limp", "--port", server.url).status == 0
        monitor.until("asked")
