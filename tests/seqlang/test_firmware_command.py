"""`bellcrank firmware`: the words for the uploader, merging, and running it."""

from __future__ import annotations

import socket
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_gen.board.virtual import Server, VirtualBoard
from firmware_gen.build.image import flash_bytes, read_hex
from firmware_gen.build.uploader import UploaderWords
from firmware_gen.chips import CHIPS
from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from seqlang.command import main
from tests.seqlang.phone_rig import ServedTable, heron, own_place

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


def test_without_a_port_no_virtual_board_is_advised_which_needs_no_firmware(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("serial.tools.list_ports.comports", list)
    assert status("--run") == 3
    told = " ".join(capsys.readouterr().err.split())
    assert "(no-port)" in told
    assert "name its port with `--port`; a virtual board needs no firmware" in told
    assert "--port virtual" not in told


def test_options_of_merging_without_a_show_are_wrong_usage() -> None:
    assert status("--board", "x") == 2


def test_without_a_port_it_says_that_one_is_needed(capsys: pytest.CaptureFixture[str]) -> None:
    assert status("--run", "--port", "/dev/no-such-port") == 3
    assert "(no-port)" in capsys.readouterr().err


def test_a_socket_has_no_boot_loader() -> None:
    assert status("--run", "--port", "socket://127.0.0.1:9") == 2


def test_a_chip_that_is_none_is_wrong_usage(capsys: pytest.CaptureFixture[str]) -> None:
    assert status("--chip", "atmega9") == 2
    assert "atmega2560, atmega328p" in capsys.readouterr().err


@pytest.mark.parametrize("chip", ["atmega328p", "atmega2560"])
def test_what_the_board_says_of_its_chip_chooses_the_image(
    chip: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with own_place(tmp_path, monkeypatch), Server(VirtualBoard(chip=CHIPS[chip])) as board:
        assert status("--port", board.url) == 0
    out = capsys.readouterr().out
    assert f"{chip}.hex" in out
    assert "a blank board answers, with this firmware" in out


def test_several_boards_are_named_with_what_is_on_them_and_none_is_chosen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("seqlang.command._upload.uploader_path", lambda: "avrdude")
    playing = ServedTable(heron().boards[0])
    with (
        own_place(tmp_path, monkeypatch),
        playing.server,
        Server(VirtualBoard()) as blank,
        socket.create_server(("127.0.0.1", 0)) as other,
    ):
        device = f"socket://127.0.0.1:{other.getsockname()[1]}"
        plugged = [
            SimpleNamespace(device=name, description=text, vid=1)
            for name, text in ((playing.server.url, "one"), (blank.url, "two"), (device, "three"))
        ]
        monkeypatch.setattr("serial.tools.list_ports.comports", lambda: plugged)
        assert status("--run") == 2
        told = " ".join(capsys.readouterr().err.split())
    assert "(several-ports)" in told
    assert f"{playing.server.url}: board 1 answers, with this firmware, one" in told
    assert f"{blank.url}: a blank board answers, with this firmware, two" in told
    assert f"{device}: no firmware of ours answers, three" in told


# -- what the uploader says ------------------------------------------------------------------------

SAID = """
avrdude: AVR device initialized and ready to accept instructions
avrdude: writing 29300 bytes flash ...

Writing | ################################################## | 100% 0.09s

avrdude: 29300 bytes of flash written
avrdude: verifying flash memory against a.hex

Reading | ################################################## | 100% 0.11s

avrdude: 29300 bytes of flash verified

avrdude done.  Thank you.
"""


@given(st.lists(st.integers(1, 40), min_size=1), st.sampled_from(["\n", "\r\n"]))
def test_its_bars_are_progress_however_its_words_are_cut(cuts: list[int], ends: str) -> None:
    told: list[tuple[str, int, int]] = []
    words = UploaderWords(lambda *step: told.append(step))
    rest, n = SAID.replace("\n", ends), 0
    while rest:
        size = cuts[n % len(cuts)]
        words.take(rest[:size])
        rest, n = rest[size:], n + 1
    assert told == [(step, done, 100) for step in ("write", "verify") for done in range(2, 101, 2)]
    assert words.last[-1] == "29300 bytes of flash verified"


@pytest.mark.parametrize(
    ("said", "trouble"),
    [
        # of version 7.1, as it came
        ("avrdude error: verification mismatch", "differs"),
        ("avrdude: double check chip or use -F to override this check", "wrong-chip"),
        ("avrdude warning: attempt 10 of 10: not in sync: resp=0x00", "no-answer"),
        (
            "avrdude ser_open() error: cannot open port /dev/ttyUSB0: Permission denied",
            "no-permission",
        ),
        ("avrdude ser_open() error: cannot open port X: Device or resource busy", "port-busy"),
        # of version 6, from memory
        ("avrdude: verification error, first mismatch at byte 0x0500", "differs"),
        ("avrdude: stk500v2_ReceiveMessage(): timeout", "no-answer"),
        ("something that nobody has heard of", "unclear"),
    ],
)
def test_what_went_wrong_is_told_apart(said: str, trouble: str) -> None:
    words = UploaderWords(lambda *step: None)
    words.take(f"{said}\n")
    assert words.trouble == trouble


def test_run_without_an_uploader_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert status("--port", "P", "--run") == 3
    assert "not installed" in capsys.readouterr().err
