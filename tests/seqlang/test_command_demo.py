"""`bellcrank demo`: the whole job, done for real, leaving what it says it leaves."""

from __future__ import annotations

import os
import re
from importlib.resources import as_file, files
from pathlib import Path

import pytest
from flap_show import Outcome, table_of

from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.link.host import HostLink
from tests.unchecked import transfer_unchecked


def test_the_demo_does_the_whole_job_and_leaves_what_it_names(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "left"
    done = Outcome(capsys, "demo", "--out", str(folder))
    assert (done.status, done.err) == (0, "")
    steps = [line.split()[0] for line in done.out.splitlines() if line]
    order = ["show", "check", "rehearse", "plot", "page", "compile", "board", "transfer", "remote"]
    order += ["stop", "read", "compare", "creature", "press", "unplug"]
    assert [step for step in dict.fromkeys(steps) if step in order] == order

    inside = re.escape(str(folder) + os.sep)
    named = [Path(name) for name in re.findall(rf"{inside}[\w.-]+\w", done.out)]
    assert {path.name for path in named} == {path.name for path in folder.iterdir()}
    pictures = [path for path in named if path.suffix == ".png"]
    assert len(pictures) >= 4
    assert all(path.read_bytes().startswith(b"\x89PNG\r\n\x1a\n") for path in pictures)
    assert (folder / "anglerfish.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    with as_file(files("shows") / "anglerfish" / "anglerfish.cues") as path:
        table = (folder / "anglerfish-head.table").read_bytes()
        assert table == table_of(path, "head")
    virtual = VirtualBoard(write_s=0.0)
    assert transfer_unchecked(HostLink(LocalPort(virtual)), table).length == len(table)

    assert "the file's table, byte for byte" in done.out
    assert "nothing went wrong" in done.out
    apart = re.search(r"pulses at most ([\d.]+) us apart, lamps ([\d.]+)%", done.out)
    assert apart is not None
    assert float(apart[1]) <= 0.5
    assert float(apart[2]) <= 0.1
    assert len(re.findall(r"^remote +button \d: `\w+` ran [\d.]+ s$", done.out, re.M)) == 6
    said = " ".join(done.out.split())
    started = re.search(r"`fly` starts on all of them, (\d+) ms apart", said)
    assert started is not None
    assert int(started[1]) <= 20
    assert re.search(r"`right_wing` loses .* [0-4]\.\d s later .* has joined `fly`", said)
    assert re.search(r"stop +safe pose and pulses off after [12]\.\d s", done.out)


def test_a_folder_that_cannot_be_made_ends_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "taken").write_text("x")
    done = Outcome(capsys, "demo", "--out", str(tmp_path / "taken" / "below"))
    assert done.status == 2
    assert done.err.startswith("error: ")
    assert (tmp_path / "taken").read_text() == "x"
