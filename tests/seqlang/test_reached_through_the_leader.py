"""`bellcrank status` and `flash` of a creature over one plug, at the board that leads."""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from flap_show import Outcome

from firmware_gen.board.wired import WiredBoards, WiredServer
from firmware_gen.link.owner.client import connect
from seqlang.check import check
from seqlang.command._wired import wired_boards
from seqlang.loading import load, load_text
from seqlang.meaning.write_show import text_of
from seqlang.text.source import Source
from tests.firmware_gen.page_shows import LED

ANSWERING = re.sub(r"(?m)^(board (?:tail|crest): .*)$", r"\1\n    answers", LED)
OTHER = ANSWERING.replace("tip to 6 deg in 2 s", "tip to 7 deg in 2 s")
assert OTHER != ANSWERING != LED


@dataclass
class Creature:
    """The boards of a show, wired and served."""

    file: Path
    wired: WiredBoards
    server: WiredServer
    ended: threading.Event = field(default_factory=threading.Event)

    @property
    def port(self) -> str:
        return self.server.urls["trunk"]

    def on(self, name: str) -> bytes:
        return self.wired.boards[name].board.slots.table


@pytest.fixture
def creature(tmp_path: Path) -> Iterator[Creature]:
    file = tmp_path / "newt.cues"
    file.write_text(ANSWERING)
    show = check(load(file)).show
    assert show is not None
    wired = wired_boards(show, say=lambda words: None)
    wired.advance(1.0)
    found = Creature(file, wired, WiredServer(wired))
    thread = threading.Thread(target=found.server.serve, args=(lambda: not found.ended.is_set(),))
    thread.start()
    yield found
    found.ended.set()
    thread.join()


def said(done: Outcome) -> str:
    return " ".join(f"{done.out} {done.err}".split())


def test_status_tells_of_every_board_that_answers(
    creature: Creature, capsys: pytest.CaptureFixture[str]
) -> None:
    done = Outcome(capsys, "status", "--port", creature.port, "--show", str(creature.file))
    assert done.status == 0
    for address, name in ((2, "tail"), (3, "crest")):
        head = f"board {address} on {creature.port} through board 1"
        assert head in done.out
        part = done.out[done.out.index(head) :]
        assert f"this is the file's table for board `{name}`" in part
    done = Outcome(capsys, "status", "--port", creature.port, "--format", "json")
    assert [one["address"] for one in json.loads(done.out)["answering"]] == [2, 3]


def test_ports_tell_of_every_board_that_answers(
    creature: Creature, capsys: pytest.CaptureFixture[str]
) -> None:
    with connect("test") as owner:
        owner.board(creature.port).greet()  # it stays among the ports that are in use
        done = Outcome(capsys, "ports", "--show", str(creature.file))
        assert done.status == 0
        assert "through it: board 2, ready, show" in said(done)
        assert "this file's board `crest`" in said(done)
        creature.wired.deaf.add("tail")
        records = json.loads(Outcome(capsys, "ports", "--format", "json").out)
    (led,) = (one["answering"] for one in records if one["port"] == creature.port)
    assert [(one["address"], one["failure"]) for one in led] == [(2, "no-answer"), (3, None)]


@pytest.mark.parametrize("way", [("2",), ("tail", "--show")])
def test_the_table_of_a_board_that_answers_is_read_by_its_address_or_its_name(
    creature: Creature, capsys: pytest.CaptureFixture[str], tmp_path: Path, way: tuple[str, ...]
) -> None:
    which, *show = way
    out = tmp_path / "tail.table"
    named = [*show, str(creature.file)] if show else []
    port = ("--port", creature.port)
    done = Outcome(capsys, "read", *port, "--board", which, *named, "--out", str(out))
    assert done.status == 0
    assert out.read_bytes() == creature.on("tail") != creature.on("trunk")
    assert f"board 2 on {creature.port} through board 1 plays show" in said(done)
    assert ("table for board `tail`" in said(done)) == bool(show)


@pytest.mark.parametrize(
    ("wanted", "with_show", "words"),
    [
        ("tail", False, "with `--show` it has a name: 1, 2, 3; found `tail`"),
        ("tial", True, "1 (`trunk`), 2 (`tail`), 3 (`crest`); found `tial`"),
        ("4", True, "by its address: 1 (`trunk`), 2 (`tail`), 3 (`crest`); found `4`"),
        ("-1", False, "found `-1`"),
    ],
)
def test_a_board_that_is_not_reached_is_answered_with_those_that_are(
    creature: Creature,
    capsys: pytest.CaptureFixture[str],
    wanted: str,
    with_show: bool,
    words: str,
) -> None:
    show = ("--show", str(creature.file)) if with_show else ()
    done = Outcome(capsys, "read", "--port", creature.port, f"--board={wanted}", *show)
    assert done.status == 2
    assert words in said(done)


def test_the_board_on_the_port_may_be_named_too_and_one_that_went_silent_is_told(
    creature: Creature, capsys: pytest.CaptureFixture[str]
) -> None:
    port = ("--port", creature.port)
    done = Outcome(capsys, "read", *port, "--board", "1", "--format", "json")
    assert done.status == 0
    assert json.loads(done.out)["address"] == 1
    moved = creature.file.with_name("moved.cues")
    moved.write_text(ANSWERING.replace("address 3", "address 9"))
    done = Outcome(capsys, "read", *port, "--board", "crest", "--show", str(moved))
    assert done.status == 2
    assert "`crest` is board 9, which does not answer here; these do: 1 (`trunk`)" in said(done)
    creature.wired.deaf.add("tail")
    done = Outcome(capsys, "read", *port, "--board", "2")
    assert done.status == 3
    assert "board 2 does not answer through the board on" in said(done)


def test_a_whole_creature_is_flashed_over_one_plug(
    creature: Creature, capsys: pytest.CaptureFixture[str]
) -> None:
    creature.file.write_text(OTHER)
    shown = check(load(creature.file)).show
    assert shown is not None
    done = Outcome(capsys, "flash", str(creature.file), "--port", creature.port)
    assert done.status == 0
    assert "all boards of the show were given this version" in said(done)
    for one in shown.compiled.boards:
        assert creature.on(one.name) == one.data


def test_a_board_that_is_not_reached_makes_a_mixed_set_that_is_refused_as_a_finding(
    creature: Creature, capsys: pytest.CaptureFixture[str]
) -> None:
    port = ("--port", creature.port)
    assert Outcome(capsys, "flash", str(creature.file), *port).status == 0
    old = check(load(creature.file)).show
    assert old is not None
    creature.wired.deaf.add("tail")
    creature.file.write_text(OTHER)
    done = Outcome(capsys, "flash", str(creature.file), *port, "--format", "json")
    assert done.status == 3
    record = json.loads(done.out)
    assert record["left"] == ["tail"]
    assert [(one["address"], one["failure"]) for one in record["led"]] == [
        (2, "no-answer"),
        (3, None),
    ]
    assert "board 2 does not answer through the board on" in said(done)
    assert "old show on board `tail`" in said(done)
    done = Outcome(capsys, "status", *port)
    assert done.status == 3
    assert "(no-answer)" in said(done)
    creature.wired.deaf.discard("tail")
    done = Outcome(capsys, "status", *port)  # nobody needs the show's file for that
    assert done.status == 3
    assert f"board 2 has {old.compiled.number:08x}, and the board that leads has" in said(done)
    done = Outcome(capsys, "flash", str(creature.file), *port, "--board", "tail")
    assert done.status == 0
    assert Outcome(capsys, "status", *port).status == 0


def test_without_a_wire_back_each_board_is_plugged_in(
    creature: Creature, capsys: pytest.CaptureFixture[str]
) -> None:
    creature.file.write_text(LED)
    done = Outcome(capsys, "flash", str(creature.file), "--port", creature.port)
    assert done.status == 0
    assert "next, plug in board" in said(done)
    done = Outcome(capsys, "status", "--port", creature.port)
    assert "through board" not in done.out


def test_a_show_with_a_wire_back_is_written_as_it_was_read() -> None:
    show = check(load_text(Source("newt.cues", ANSWERING))).show
    assert show is not None
    again = check(load_text(Source("newt.cues", text_of(show.show)))).show
    assert again is not None
    assert {name: table.data for name, table in again.tables.items()} == {
        name: table.data for name, table in show.tables.items()
    }
