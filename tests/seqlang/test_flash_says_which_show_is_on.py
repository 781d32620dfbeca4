"""However `bellcrank flash` ends, it says which show the board has; so does its status."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import jsonschema
import pytest
from flap_show import SHOW, Outcome, table_of

from firmware_gen.board.virtual import LocalPort, Server, VirtualBoard
from firmware_gen.link.host import HostLink
from tests.unchecked import transfer_unchecked

SCHEMAS = Path(__file__).parents[2] / "seqlang" / "schemas"
posix_only = pytest.mark.skipif(os.name != "posix", reason="signals are other ones elsewhere")


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "flap.cues"
    path.write_text(SHOW.format(address=1, far=40))
    return path


@pytest.fixture
def old(tmp_path: Path) -> bytes:
    path = tmp_path / "old.cues"
    path.write_text(SHOW.format(address=1, far=20))
    return table_of(path)


@pytest.fixture
def slow(old: bytes) -> Iterator[Server]:
    """A board with a show on it, that takes almost two seconds to store another."""
    virtual = VirtualBoard(write_s=0.0)
    transfer_unchecked(HostLink(LocalPort(virtual)), old)
    virtual._write_s = 0.02
    with Server(virtual) as server:
        yield server


def started(show: Path, server: Server, *options: str, **more: object) -> subprocess.Popen[str]:
    words = [sys.executable, "-m", "seqlang", "flash", str(show), "--port", server.url, *options]
    pipe = subprocess.PIPE
    return subprocess.Popen(words, **{"stdout": pipe, "stderr": pipe, "text": True, **more})  # type: ignore[call-overload,no-any-return]


def in_mid_transfer(server: Server) -> None:
    writes = server.virtual.eeprom.writes
    deadline = time.monotonic() + 30
    while server.virtual.eeprom.writes < writes + 3:
        assert time.monotonic() < deadline
        time.sleep(0.01)


@posix_only
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_whoever_stops_it_in_mid_transfer_is_told_that_the_old_show_is_on(
    number: int, show: Path, slow: Server, old: bytes
) -> None:
    process = started(show, slow)
    in_mid_transfer(slow)
    process.send_signal(number)
    _, err = process.communicate(timeout=30)
    assert process.returncode == 130
    assert "old show on" in err
    assert "Traceback" not in err
    slow.stop()
    assert slow.virtual.board.slots.table == old


@posix_only
@pytest.mark.parametrize("reads", [0, 1])
def test_a_reader_who_stops_reading_does_not_stop_the_transfer(
    reads: int, show: Path, slow: Server
) -> None:
    process = started(show, slow)
    assert process.stdout is not None
    for _ in range(reads):
        process.stdout.readline()
    process.stdout.close()
    process.stdout = None
    process.communicate(timeout=60)
    assert process.returncode == 0
    slow.stop()
    assert slow.virtual.board.slots.table == table_of(show)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_words_that_find_no_room_do_not_stop_the_transfer(show: Path, slow: Server) -> None:
    with open("/dev/full", "w") as full:
        process = started(show, slow, stdout=full)
        _, err = process.communicate(timeout=60)
    assert process.returncode == 2
    assert "the work is done" in err
    assert "no space left" in err
    slow.stop()
    assert slow.virtual.board.slots.table == table_of(show)


@posix_only
def test_started_with_its_output_closed_it_ends_as_ever(show: Path, slow: Server) -> None:
    words = f"{sys.executable} -m seqlang flash {show} --port {slow.url} >&-"
    done = subprocess.run(["sh", "-c", words], capture_output=True, text=True, timeout=60)
    assert (done.returncode, "Traceback" in done.stderr) == (0, False)


def test_a_board_that_vanishes_leaves_the_words_to_the_transfer_alone(
    show: Path, slow: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    process = started(show, slow)
    in_mid_transfer(slow)
    slow.stop()
    _, err = process.communicate(timeout=60)
    assert process.returncode == 3
    assert "went away" in err
    assert "old show on" in err
    asked = Outcome(capsys, "status", "--port", slow.url)
    assert (asked.status, "show" in asked.err) == (3, False)


def test_a_program_is_told_too(
    show: Path, slow: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    schema = json.loads((SCHEMAS / "flash.schema.json").read_text(encoding="utf-8"))
    valid = jsonschema.Draft202012Validator(schema)
    process = started(show, slow, "--format", "json")
    in_mid_transfer(slow)
    assert Outcome(capsys, "stop", "--port", slow.url).status == 0
    out, _ = process.communicate(timeout=60)
    assert (process.returncode, json.loads(out)) == (3, {"show_on": "old"})
    valid.validate(json.loads(out))
    slow.virtual._write_s = 0.0
    done = Outcome(capsys, "flash", str(show), "--port", slow.url, "--format", "json")
    assert (done.status, json.loads(done.out)["show_on"]) == (0, "new")
    valid.validate(json.loads(done.out))
