"""`bellcrank ports`, `read`, `status --all`: what is plugged in, what is on it, what to do."""

from __future__ import annotations

import hashlib
import json
import socket
from collections.abc import Iterator
from pathlib import Path

import jsonschema
import pytest
from flap_show import SHOW, Outcome, table_of

from firmware_gen.board.virtual import LocalPort, Server, VirtualBoard
from firmware_gen.link.host import HostLink
from firmware_gen.link.owner.client import OwnerConnection, connect
from firmware_gen.link.protocol import ReportedMode, ResetCause
from seqlang.loading import load
from tests.unchecked import transfer_unchecked

SCHEMAS = Path(__file__).parents[2] / "seqlang" / "schemas"


def valid(name: str, text: str) -> list[dict[str, object]]:
    schema = json.loads((SCHEMAS / f"{name}.schema.json").read_text(encoding="utf-8"))
    value: list[dict[str, object]] = json.loads(text)
    jsonschema.Draft202012Validator(schema).validate(value)
    return value


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "flap.cues"
    path.write_text(SHOW.format(address=4, far=40))
    return path


def board_with(table: bytes) -> VirtualBoard:
    virtual = VirtualBoard(write_s=0.0)
    if table:
        transfer_unchecked(HostLink(LocalPort(virtual)), table)
        virtual.advance(2.0)
        virtual.board.take_output()
    return virtual


@pytest.fixture
def served(show: Path) -> Iterator[Server]:
    with Server(board_with(table_of(show))) as server:
        yield server


@pytest.fixture
def holder() -> Iterator[OwnerConnection]:
    """Another command, which keeps ports open; none but its own are in use."""
    with connect("monitor") as owner:
        yield owner


@pytest.fixture(autouse=True)
def _runtime(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """An owner of the test's own, so that no earlier test's port is still in use."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    yield
    with connect("tests") as owner:
        owner.request("end")


def test_ports_tells_who_answers_where_and_who_uses_it(
    show: Path, served: Server, holder: OwnerConnection, capsys: pytest.CaptureFixture[str]
) -> None:
    holder.board(served.url).greet()
    done = Outcome(capsys, "ports", "--show", str(show))
    assert (done.status, done.err) == (0, "")
    assert served.url in done.out
    plain = " ".join(done.out.split())
    assert "board 4, ready, show" in plain
    assert f"{len(table_of(show))} bytes: this file's board `box`" in plain
    assert "in use by `monitor` (process" in plain
    (record,) = valid("ports", Outcome(capsys, "ports", "--format", "json").out)
    assert (record["address"], record["mode"], record["failure"]) == (4, "ready", None)


def test_ports_tells_why_nobody_answers(
    holder: OwnerConnection, capsys: pytest.CaptureFixture[str]
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        url = f"socket://127.0.0.1:{silent.getsockname()[1]}"
        holder.ask("greet", port=url, baud=250_000)
        holder.ports()
        (record,) = valid("ports", Outcome(capsys, "ports", "--format", "json").out)
        assert (record["address"], record["failure"]) == (None, "no-answer")
        holder.ask("greet", port=url, baud=250_000)
        holder.ports()
        shown = Outcome(capsys, "ports")
        assert shown.status == 0
        assert "no board answers: nobody answers on" in " ".join(shown.out.split())


def test_ports_that_are_only_listed_are_asked_nothing(
    served: Server, holder: OwnerConnection, capsys: pytest.CaptureFixture[str]
) -> None:
    holder.board(served.url).greet()
    heard = served.virtual.board.receiver.good
    (record,) = valid("ports", Outcome(capsys, "ports", "--listed", "--format", "json").out)
    assert (record["port"], record["address"], record["failure"]) == (served.url, None, None)
    assert served.virtual.board.receiver.good == heard


def test_without_any_port_the_lists_are_empty_and_say_so(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("serial.tools.list_ports.comports", list)
    assert "no USB serial port is plugged in" in " ".join(Outcome(capsys, "ports").out.split())
    done = Outcome(capsys, "status", "--all")
    assert (done.status, "no USB serial port" in done.out) == (0, True)


def test_status_of_all_boards_says_of_each_what_to_do(
    show: Path, served: Server, holder: OwnerConnection, capsys: pytest.CaptureFixture[str]
) -> None:
    with Server(board_with(b"")) as blank, Server(board_with(table_of(show))) as reset:
        reset.virtual.restart(ResetCause.BROWN_OUT)
        reset.virtual.board._resets = (0, 3)
        for server in (served, blank, reset):
            holder.board(server.url).greet()
        limp = holder.board(served.url)
        limp.limp()
        while limp.state().mode != ReportedMode.LIMP:  # from the board's next frame on
            pass
        done = Outcome(capsys, "status", "--all")
        records = valid("status", Outcome(capsys, "status", "--all", "--format", "json").out)
    assert (done.status, done.err) == (0, "")
    parts = {url: done.out.partition(f"on {url}\n")[2] for url in (served.url, blank.url)}
    assert "to do        `bellcrank standby` gets it ready" in parts[served.url]
    assert "to do        put a show on it with `bellcrank flash" in parts[blank.url]
    assert "charge or change the pack" in " ".join(done.out.split())
    assert {each["port"] for each in records} == {served.url, blank.url, reset.url}


def test_status_of_all_boards_fails_if_one_does_not_answer(
    served: Server, holder: OwnerConnection, capsys: pytest.CaptureFixture[str]
) -> None:
    holder.board(served.url).greet()
    with socket.create_server(("127.0.0.1", 0)) as silent:
        url = f"socket://127.0.0.1:{silent.getsockname()[1]}"
        holder.ask("greet", port=url, baud=250_000)
        holder.ports()
        done = Outcome(capsys, "status", "--all")
    assert done.status == 3
    assert "board 4 on" in done.out
    assert "(no-answer)" in done.err


def test_all_boards_and_one_port_do_not_go_together(capsys: pytest.CaptureFixture[str]) -> None:
    assert Outcome(capsys, "status", "--all", "--port", "virtual").status == 2


def test_a_board_is_read_and_its_table_named_and_listed(
    show: Path, served: Server, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "fetched.table"
    words = ("read", "--port", served.url, "--show", str(show))
    done = Outcome(capsys, *words, "--out", str(out))
    assert (done.status, done.err) == (0, "")
    assert out.read_bytes() == table_of(show)
    assert hashlib.sha256(table_of(show)).hexdigest() in done.out
    assert "this is the file's table for board `box`" in done.out
    assert "servo flap, pin PB1" in done.out
    assert "cue wave" in done.out
    record = json.loads(Outcome(capsys, *words, "--format", "json").out)
    valid("read", json.dumps(record))
    assert b"".join(bytes.fromhex(line["bytes"]) for line in record["lines"]) == table_of(show)
    show.write_text(SHOW.format(address=4, far=41))
    other = Outcome(capsys, *words)
    assert "it does not play this file" in other.out
    assert "servo output 0" in other.out


def test_a_board_is_read_back_to_a_text_that_only_lacks_what_no_table_holds(
    show: Path, served: Server, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "back.cues"
    words = ("read", "--port", served.url, "--show", str(show), "--text", str(out))
    done = Outcome(capsys, *words)
    assert (done.status, done.err) == (0, "")
    assert f"wrote  {out}; its comments say what to fill in" in done.out.replace("\n       ", " ")
    text = out.read_text()
    assert "cue wave" in text
    assert "# fill in: rating SPEED, TORQUE, CURRENT at VOLTAGE" in text
    assert Outcome(capsys, "format", "--check", str(out)).status == 0
    errors = [one for one in load(str(out)).findings if one.severity == "error"]
    assert {one.name for one in errors} == {"missing-line"}
    again = Outcome(capsys, *words)
    assert (again.status, "is there already" in again.err) == (2, True)
    assert out.read_text() == text


def test_a_blank_board_has_nothing_to_read(capsys: pytest.CaptureFixture[str]) -> None:
    with Server(board_with(b"")) as blank:
        done = Outcome(capsys, "read", "--port", blank.url)
    assert (done.status, "holds no show" in done.err) == (3, True)
