"""`bellcrank firmware`: the words for the uploader, merging, and running it."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from firmware_gen.build.image import flash_bytes, read_hex
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from seqlang.command import main

SHOW = Path(__file__).resolve().parents[2] / "shows" / "anglerfish" / "anglerfish.cues"


def status(*words: str) -> int:
    with pytest.raises(SystemExit) as end:
        main(["firmware", *words])
    return int(end.value.code or 0)


def test_the_exact_words_for_the_port_are_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert status("--port", "/dev/ttyUSB7") == 0
    out = capsys.readouterr().out
    # Words as in the uploader's manual, "Command Line Options".
    assert "-p m328p" in out
    assert "-P /dev/ttyUSB7" in out
    assert "-U flash:w:" in out
    assert "caution" in out


def test_a_programmer_sets_the_fuses_first(capsys: pytest.CaptureFixture[str]) -> None:
    assert status("--way", "isp", "--programmer", "x") == 0
    out = capsys.readouterr().out
    assert out.index("lfuse:w:0xff:m") < out.index("flash:w:")
    assert "boot loader" in out


def test_a_merged_image_holds_the_shows_table(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "merged.hex"
    assert status("--with", str(SHOW), "--out", str(out), "--port", "P") == 0
    start = ATMEGA328P.memory.merged_start
    assert flash_bytes(read_hex(out.read_text("ascii")))[start] == 0xBC  # TABLE.md 1.1, magic
    assert str(out) in capsys.readouterr().out


def test_options_of_merging_without_a_show_are_wrong_usage() -> None:
    assert status("--board", "x") == 2


def test_run_calls_the_uploader_and_passes_its_failure_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fake = tmp_path / "avrdude"
    fake.write_text(f'#!/bin/sh\necho "$@" > {tmp_path}/called\nexit 1\n')
    fake.chmod(fake.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", f"{tmp_path}:/usr/bin:/bin")
    assert status("--port", "/dev/ttyUSB7", "--run") == 3
    assert "-P /dev/ttyUSB7" in (tmp_path / "called").read_text()


def test_run_without_an_uploader_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert status("--port", "P", "--run") == 3
    assert "not installed" in capsys.readouterr().err
