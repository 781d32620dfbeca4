"""`bellcrank spare`: a chip without firmware, through a boot loader, to a board that plays."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from firmware_gen.build.image import flash_bytes, read_hex, shipped
from seqlang.check import check
from seqlang.command import main
from seqlang.loading import load
from tests.emulator.boot_loader import BoardOnPort, BootLoader

SHOW = Path(__file__).resolve().parents[2] / "shows" / "first" / "first.cues"

needs_uploader = pytest.mark.skipif(
    shutil.which("avrdude") is None, reason="NO UPLOADER: nothing is sent to a boot loader"
)


@needs_uploader
def test_a_chip_without_firmware_becomes_the_dead_board_in_one_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    with BoardOnPort(BootLoader()) as board:
        with pytest.raises(SystemExit) as end:
            main(["spare", str(SHOW), "--port", board.port])
        said = capfd.readouterr()
        assert end.value.code == 0, said.err
        image = flash_bytes(read_hex(shipped("atmega328p").read_text("ascii")))
        assert bytes(board.boot.flash[: len(image)]) == image
    assert "has no firmware of this version" in said.out
    assert "written, read back and compared" in said.out
    assert "becomes board `box`" in said.out
    found = check(load(SHOW))
    assert found.show is not None
    (box,) = found.show.compiled.boards
    assert f"{len(box.data)} bytes, CRC" in said.out
    assert "board `box` is back after" in said.out
