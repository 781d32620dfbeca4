"""`bellcrank spare FILE`: a blank board becomes the one that is missing, or the reason why not."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware_gen.board.virtual import Server, VirtualBoard
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.chips.atmega2560 import CHIP as ATMEGA2560
from firmware_gen.compiler.show import CompiledBoard
from firmware_gen.link.failures import FailureReason, LinkFailure
from firmware_gen.link.owner.client import connect
from firmware_gen.link.protocol import FIRMWARE_VERSION, NO_ADDRESS, Hello, State
from seqlang.command import WrongUse
from seqlang.command._all_ports import FoundBoard
from seqlang.command.spare import _placed, _SparePlace
from tests.firmware_gen.page_shows import EVERYTHING
from tests.seqlang.phone_rig import ServedTable, heron, own_place
from tests.waiting import until

SHOW = heron()
BODY, BILL = SHOW.boards


def answering(
    board: CompiledBoard | None, version: tuple[int, int] = FIRMWARE_VERSION
) -> FoundBoard:
    number = SHOW.number if board else 0
    hello = Hello(1, *version, ATMEGA328P.chip_id, 2, 2, 500, 0, 0, number, 64, 4)
    address = board.board.address if board else NO_ADDRESS
    return FoundBoard(address, hello, State(*[0] * 12), board.data if board else b"")


def silent(reason: FailureReason = "no-answer") -> LinkFailure:
    return LinkFailure(reason, "nothing", None)


BLANK = answering(None)
OLDER = answering(None, (FIRMWARE_VERSION[0], FIRMWARE_VERSION[1] + 1))


@pytest.mark.parametrize(
    ("found", "port", "name", "place"),
    [
        ({"a": answering(BODY), "b": BLANK}, None, None, _SparePlace("b", BILL, False)),
        ({"a": BLANK, "b": answering(BILL)}, None, None, _SparePlace("a", BODY, False)),
        ({"a": answering(BODY), "b": silent()}, None, None, _SparePlace("b", BILL, True)),
        ({"a": answering(BODY), "b": silent("garbage")}, None, None, _SparePlace("b", BILL, True)),
        ({"a": answering(BODY), "b": OLDER}, None, None, _SparePlace("b", BILL, True)),
        ({"a": BLANK}, None, "bill", _SparePlace("a", BILL, False)),
        ({"a": BLANK, "b": silent()}, "b", "body", _SparePlace("b", BODY, True)),
        ({"a": answering(BODY), "b": answering(BILL)}, "b", None, _SparePlace("b", BILL, False)),
    ],
)
def test_the_spare_is_where_no_board_answers_and_becomes_the_missing_one(
    found: dict[str, FoundBoard | LinkFailure],
    port: str | None,
    name: str | None,
    place: _SparePlace,
) -> None:
    assert _placed(SHOW, found, port, name) == place


@pytest.mark.parametrize(
    ("found", "port", "name", "reason", "words"),
    [
        ({}, None, None, "no-port", "no USB serial port"),
        ({"a": answering(BODY)}, None, None, "no-port", "no spare is plugged in"),
        ({"a": BLANK, "b": BLANK}, None, None, "several-ports", "a, b"),
        ({"a": BLANK}, None, None, "board-unclear", "`body`, `bill` are missing"),
        ({"a": answering(BODY), "b": answering(BILL)}, None, None, "refused", "every board"),
        ({"a": answering(BODY), "b": BLANK}, None, "body", "refused", "`body` answers on a"),
        ({"a": answering(BODY), "b": BLANK}, "a", "bill", "refused", "it is not a spare"),
        ({"a": answering(BODY), "b": silent("port-busy")}, None, None, "port-busy", "nothing"),
        (
            {"a": answering(BODY), "b": silent("no-permission")},
            "b",
            None,
            "no-permission",
            "nothing",
        ),
    ],
)
def test_whatever_is_unclear_is_told_before_anything_changes(
    found: dict[str, FoundBoard | LinkFailure],
    port: str | None,
    name: str | None,
    reason: str,
    words: str,
) -> None:
    with pytest.raises(LinkFailure, match=words) as told:
        _placed(SHOW, found, port, name)
    assert told.value.reason == reason


def test_a_board_that_the_show_has_not_is_wrong_usage() -> None:
    with pytest.raises(WrongUse, match="it has `body`, `bill`"):
        _placed(SHOW, {"a": BLANK}, None, "tail")


# -- in processes ----------------------------------------------------------------------------------


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("HOME", str(tmp_path))
    path = tmp_path / "heron.cues"
    path.write_text(EVERYTHING, encoding="utf-8")
    with own_place(tmp_path, monkeypatch):
        yield path


def spare(file: Path, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "seqlang", "spare", str(file), *words]
    root = Path(__file__).resolve().parents[2]
    return subprocess.run(command, capture_output=True, text=True, cwd=root, timeout=120)


def test_beside_the_board_that_lives_a_blank_one_becomes_the_other(file: Path) -> None:
    body, blank = ServedTable(BODY), ServedTable(None)
    with body.server, blank.server, connect("the show runs") as owner:
        owner.board(body.server.url).greet()
        done = spare(file, "--port", blank.server.url)
        assert done.returncode == 0, done.stderr
        assert "was blank, and becomes board `bill`" in done.stdout
        assert "verified and read back; it has address 2" in done.stdout
        player = blank.virtual.board.player
        assert player
        assert until(lambda: owner.board(blank.server.url).greet().show == SHOW.number)
        again = spare(file, "--port", blank.server.url)
        assert "already, byte for byte" in again.stdout
        assert again.returncode == 0


def test_a_board_of_the_show_that_lives_is_no_spare(file: Path) -> None:
    body, used = ServedTable(BODY), ServedTable(BILL)
    with body.server, used.server, connect("the show runs") as owner:
        owner.board(used.server.url).greet()
        done = spare(file, "--port", body.server.url, "--board", "bill")
        assert done.returncode == 3
        assert "it is not a spare" in done.stderr


def test_a_spare_with_another_chip_is_refused_and_keeps_what_it_had(file: Path) -> None:
    other = VirtualBoard(chip=ATMEGA2560, write_s=0.0)
    with Server(other) as server:
        done = spare(file, "--port", server.url, "--board", "bill")
    assert done.returncode == 3
    assert "wrong-chip" in done.stderr
    assert "old show on" in done.stderr
    assert other.eeprom.writes == 0


def test_a_socket_gets_no_firmware(file: Path) -> None:
    import socket

    with socket.create_server(("127.0.0.1", 0)) as deaf:
        port = f"socket://127.0.0.1:{deaf.getsockname()[1]}"
        done = spare(file, "--port", port, "--board", "bill")
    assert done.returncode == 3
    assert "only over a serial port" in done.stderr
    assert "Traceback" not in done.stderr
