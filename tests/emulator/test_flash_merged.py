"""`bellcrank flash --merged`: a show of some 2 KB goes through a boot loader and plays."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from firmware_gen.build.image import flash_bytes, read_hex
from firmware_gen.chips import Chip
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.compiler.show import CompiledBoard
from firmware_gen.crc import cue_tag
from firmware_gen.link.host import HostLink
from firmware_gen.player.player import Player
from firmware_gen.table.records import ServoRecord
from seqlang.check import CheckedShow, check
from seqlang.command import main
from seqlang.loading import load, load_text
from seqlang.text.source import Source
from tests.emulator.boot_loader import BoardOnPort, BootLoader, ChipOnPort
from tests.emulator.emulated import FRAME_CYCLES, EmulatedBoard
from tests.emulator.emulated_port import EmulatedPort
from tests.emulator.firmware import Firmware
from tests.emulator.large_show import large_show
from tests.emulator.readings import differences, find_frames
from tests.unchecked import merge_unchecked

BOOT_LOADER = "BELLCRANK_BOOT_LOADER"
"""Environment variable: path of a boot loader's image."""

needs_uploader = pytest.mark.skipif(
    shutil.which("avrdude") is None, reason="NO UPLOADER: nothing is sent to a boot loader"
)


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("large") / "minutes.cues"
    path.write_text(large_show())
    return path


@pytest.fixture(scope="module")
def show(file: Path) -> CheckedShow:
    found = check(load(file))
    assert [(f.severity, f.name) for f in found.findings if f.severity != "advice"] == [
        ("warning", "table-too-large")
    ]
    assert found.show is not None
    return found.show


def board_of(show: CheckedShow) -> CompiledBoard:
    (board,) = show.compiled.boards
    assert 2_000 < len(board.data) < 5_000
    return board


def status(*words: str) -> int:
    with pytest.raises(SystemExit) as end:
        main(list(words))
    return int(end.value.code or 0)


def show_for(chip: Chip) -> CheckedShow:
    """More than a slot: all that the small chip holds, more than 4 KB on the large one."""
    text = large_show()
    if chip.memory.merged_room(boot_loader=False) > 4096:
        pins = [name for name in chip.pins if name.startswith("PA")]
        text = large_show(1080, chip.name, pins)
    found = check(load_text(Source("large.cues", text)))
    assert found.show is not None, [f.message for f in found.findings]
    return found.show


def test_a_merged_show_of_many_slots_moves_the_pins_as_the_reference_says(
    firmware: Firmware,
) -> None:
    chip = firmware.chip
    (compiled,) = show_for(chip).compiled.boards
    assert len(compiled.data) > (4096 if chip.name == "atmega2560" else 2000)
    memory = dict(enumerate(firmware.flash))
    image = flash_bytes(merge_unchecked(memory, compiled.data, chip.name))
    frames_played = 700
    with EmulatedBoard(image, chip=chip) as board:
        link = HostLink(EmulatedPort(board))
        assert link.greet().current_slot == 254
        assert link.table() == compiled.data
        board.run(ms=2_000)
        assert link.trigger(cue_tag("act_0")).done
        heard = board.cycle
        board.run_until((frames_played + 50) * FRAME_CYCLES)
        pins = tuple(one.pin for one in compiled.table.outputs if isinstance(one, ServoRecord))
        frames = find_frames(board, pins)
        player = Player(compiled.data)
        shown = []
        for number in range(frames_played):
            if number == frames.hearing(heard):
                player.trigger(cue_tag("act_0"))
            shown.append(player.frame())
        assert len({frame.raw for frame in shown}) > 300
        assert differences(board, compiled.table, frames, shown) == []


@needs_uploader
@pytest.mark.parametrize("knows_instructions", [False, True])
def test_a_show_of_many_slots_goes_through_a_boot_loader_and_is_read_back(
    knows_instructions: bool, file: Path, show: CheckedShow, capfd: pytest.CaptureFixture[str]
) -> None:
    with BoardOnPort(BootLoader(knows_instructions=knows_instructions)) as board:
        assert status("flash", str(file), "--merged", "--port", board.port) == 0
    said = capfd.readouterr()
    assert "written, read back and compared" in said.out
    assert "plays the new show" in said.out
    assert "plays nothing" in said.out
    data = board_of(show).data
    start = ATMEGA328P.memory.merged_start
    assert bytes(board.boot.flash[start : start + len(data)]) == data


@needs_uploader
def test_a_show_of_many_slots_goes_through_a_real_boot_loader_on_the_chip(
    file: Path, show: CheckedShow, capfd: pytest.CaptureFixture[str]
) -> None:
    """Any that speaks AVR061 and lies in the chip's last 512 bytes, as Intel hex."""
    image = os.environ.get(BOOT_LOADER)
    if image is None:
        pytest.skip(f"NO BOOT LOADER: {BOOT_LOADER} names none, only the stand-in is spoken to")
    with ChipOnPort(read_hex(Path(image).read_text("ascii"))) as chip:
        assert status("flash", str(file), "--merged", "--port", chip.port) == 0
        assert chip.board is not None
        written = chip.board.flash()
    said = capfd.readouterr()
    assert "written, read back and compared" in said.out
    assert "plays the new show" in said.out
    data = board_of(show).data
    start = ATMEGA328P.memory.merged_start
    assert written[start : start + len(data)] == data


@needs_uploader
def test_a_cable_pulled_while_it_is_written_is_told_and_can_be_made_good(
    file: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    boot = BootLoader(break_after=40)
    with BoardOnPort(boot) as board:
        assert status("flash", str(file), "--merged", "--port", board.port) == 3
    said = capfd.readouterr().err
    assert "is gone: the board may hold half a firmware now; then it plays nothing" in said
    half = bytes(boot.flash)
    assert half.count(0xFF) > 10_000
    with BoardOnPort(BootLoader(half)) as board:
        assert status("flash", str(file), "--merged", "--port", board.port) == 0


def test_without_the_option_the_way_out_is_named(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert status("flash", str(file), "--port", "virtual") == 1
    assert "`--merged` writes it together with the firmware" in capsys.readouterr().err


def test_the_firmware_command_takes_the_show_that_fits_no_slot(
    file: Path, show: CheckedShow, tmp_path: Path
) -> None:
    out = tmp_path / "merged.hex"
    assert status("firmware", "--with", str(file), "--out", str(out), "--port", "P") == 0
    assert out.is_file()
