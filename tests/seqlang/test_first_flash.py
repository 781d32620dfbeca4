"""The cautions stand in full before the first flash of a show, and are remembered for each show."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from flap_show import SHOW, Outcome
from show_text import checked

from firmware_gen.board.virtual import Server, VirtualBoard
from seqlang.cautions import DEFER
from seqlang.text.render import is_caution

TEXT = SHOW.format(address=1, far=40)


@pytest.fixture
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    return tmp_path / "state"


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "flap.cues"
    path.write_text(TEXT)
    return path


@pytest.fixture
def served() -> Iterator[Server]:
    with Server(VirtualBoard(write_s=0.0), speed=10.0) as server:
        yield server


def words(outcome: Outcome) -> str:
    return " ".join(outcome.err.split())


def stand_in_full(outcome: Outcome, text: str = TEXT) -> bool:
    cautions = [finding for finding in checked(text).findings if is_caution(finding)]
    assert len(cautions) >= 2
    shown = words(outcome)
    points = [point for finding in cautions for point in (finding.message, *finding.notes)]
    return all(point in shown for point in [*points, DEFER])


@pytest.mark.usefixtures("state")
def test_the_first_flash_shows_them_in_full_and_the_second_does_not(
    show: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    first = Outcome(capsys, "flash", str(show), "--port", served.url)
    assert first.status == 0
    assert stand_in_full(first)
    second = Outcome(capsys, "flash", str(show), "--port", served.url)
    assert (second.status, second.err) == (0, "")


@pytest.mark.usefixtures("state")
def test_they_come_again_when_their_figures_change_and_for_another_show(
    show: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    def flashed(path: Path) -> Outcome:
        return Outcome(capsys, "flash", str(path), "--port", served.url)

    assert stand_in_full(flashed(show))
    show.write_text(TEXT.replace("to 30 deg in 900 ms", "to 20 deg in 950 ms"))
    assert flashed(show).err == ""  # a cue changed, no caution did
    stronger = TEXT.replace("10 kgf.cm", "11 kgf.cm").replace("9 kgf.cm", "11 kgf.cm")
    assert stronger != TEXT
    show.write_text(stronger)
    assert stand_in_full(flashed(show), stronger)
    other = show.with_name("other.cues")
    other.write_text(stronger)
    assert stand_in_full(flashed(other), stronger)


@pytest.mark.usefixtures("state")
def test_a_show_is_its_file_however_its_path_is_written(
    show: Path, served: Server, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(show.parent)
    assert stand_in_full(Outcome(capsys, "flash", show.name, "--port", served.url))
    assert Outcome(capsys, "flash", str(show), "--port", served.url).err == ""
    elsewhere = show.parent / "other" / show.name
    elsewhere.parent.mkdir()
    elsewhere.write_text(TEXT)
    monkeypatch.chdir(elsewhere.parent)
    assert stand_in_full(Outcome(capsys, "flash", show.name, "--port", served.url))


@pytest.mark.usefixtures("state")
def test_a_flash_that_fails_is_not_the_first_one(
    show: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    failed = Outcome(capsys, "flash", str(show), "--port", "socket://127.0.0.1:9")
    assert failed.status == 3
    assert stand_in_full(failed)
    assert stand_in_full(Outcome(capsys, "flash", str(show), "--port", served.url))


def test_a_virtual_board_neither_shows_nor_remembers_them(
    show: Path,
    state: Path,
    served: Server,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    monkeypatch.setattr("click.get_app_dir", lambda name: str(tmp_path / name))
    assert Outcome(capsys, "flash", str(show), "--port", "virtual").err == ""
    assert not state.exists()
    assert stand_in_full(Outcome(capsys, "flash", str(show), "--port", served.url))


def test_where_nothing_can_be_remembered_they_come_each_time(
    show: Path, state: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    state.write_text("a file in the way of the folder")
    for _ in range(2):
        done = Outcome(capsys, "flash", str(show), "--port", served.url)
        assert done.status == 0
        assert stand_in_full(done)


@pytest.mark.usefixtures("state")
@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere names of files are text")
def test_a_file_name_that_is_no_text_is_remembered_as_well(
    show: Path, served: Server, capsys: pytest.CaptureFixture[str]
) -> None:
    odd = show.rename(os.fsdecode(os.fsencode(show.parent) + b"/nod \xe9.cues"))
    assert stand_in_full(Outcome(capsys, "flash", str(odd), "--port", served.url))
    again = Outcome(capsys, "flash", str(odd), "--port", served.url)
    assert (again.status, again.err) == (0, "")


@pytest.mark.usefixtures("state")
def test_an_image_with_a_show_in_it_comes_with_the_shows_cautions(
    show: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = Outcome(capsys, "firmware", "--with", str(show), "--out", str(tmp_path / "flap.hex"))
    assert made.status == 0
    assert stand_in_full(made)
