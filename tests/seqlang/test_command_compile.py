"""`bellcrank compile` as a person calls it."""

from __future__ import annotations

from pathlib import Path

import pytest

import shows
from firmware_gen.table.decode import decode
from seqlang.command import main

FOLDER = Path(shows.__file__).parent
ANGLERFISH = FOLDER / "anglerfish" / "anglerfish.cues"
OWL = FOLDER / "owl" / "owl.cues"


def run(*arguments: object) -> int:
    """Exit status."""
    with pytest.raises(SystemExit) as caught:
        main([str(argument) for argument in arguments])
    return int(caught.value.code or 0)


def test_each_board_gets_a_file_that_a_board_would_play(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("compile", ANGLERFISH, "--out", tmp_path / "new") == 0
    path = tmp_path / "new" / "anglerfish-head.table"
    assert list((tmp_path / "new").iterdir()) == [path]
    assert decode(path.read_bytes()).address == 1
    shown = capsys.readouterr().out
    assert f"wrote  {path}" in shown
    assert f"whole table    {len(path.read_bytes())}" in shown
    assert "% of a slot of 500 bytes" in shown


def test_the_account_shows_sections_cues_means_and_digest(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run("compile", OWL, "--out", tmp_path)
    first = capsys.readouterr().out
    for words in ("header", "outputs", "laws", "greet", "a mean move takes", "a mean fade takes"):
        assert words in first
    run("compile", OWL, "--out", tmp_path)
    again = capsys.readouterr().out
    assert again == first
    assert "digest " in first


def test_the_listing_leads_to_lines_of_the_show(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run("compile", OWL, "--out", tmp_path, "--listing")
    lines = capsys.readouterr().out.splitlines()
    source = OWL.read_text(encoding="utf-8").splitlines()
    bells = [line for line in lines if "bell on" in line]
    assert bells
    for line in bells:
        number = int(line.rsplit("owl.cues:", 1)[1])
        assert source[number - 1].strip() == "bell on"


def test_a_show_with_errors_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = tmp_path / "broken.cues"
    text = ANGLERFISH.read_text(encoding="utf-8")
    broken.write_text(text.replace("jaw to 26 deg", "jaw to 96 deg"), encoding="utf-8")
    out = tmp_path / "out"
    assert run("compile", broken, "--out", out) == 1
    assert not out.exists()
    assert "96 deg" in capsys.readouterr().err


def test_a_missing_file_is_wrong_usage(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("compile", tmp_path / "nowhere.cues") == 2
    assert "nowhere.cues" in capsys.readouterr().err


def test_an_old_table_stands_if_the_new_one_cannot_be_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "out").write_text("a file where the folder should be", encoding="utf-8")
    assert run("compile", OWL, "--out", tmp_path / "out") == 2
    assert "Traceback" not in capsys.readouterr().err
    assert (tmp_path / "out").read_text(encoding="utf-8").startswith("a file")
