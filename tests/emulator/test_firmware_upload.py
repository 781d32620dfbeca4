"""`bellcrank firmware --run`: which boot loader answers, on which chip; written, verified, running.

The boot loaders are stand-ins that speak the published protocols; the chips are emulated.
"""

from __future__ import annotations

import os
import pty
import shutil
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from firmware_gen.build.image import flash_bytes, read_hex, shipped
from firmware_gen.chips import CHIPS
from firmware_gen.link import boot_loader
from firmware_gen.link.boot_loader import find_boot_loader, usual_ways
from firmware_gen.link.failures import LinkFailure
from seqlang.command import main
from tests.emulator.boot_loader import BoardOnPort, BootLoader, LargeBootLoader
from tests.seqlang.phone_rig import own_place

needs_uploader = pytest.mark.skipif(
    shutil.which("avrdude") is None, reason="NO UPLOADER: nothing is sent to a boot loader"
)


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    with own_place(tmp_path, monkeypatch):
        yield


def status(*words: str) -> int:
    with pytest.raises(SystemExit) as end:
        main(["firmware", "--run", *words])
    return int(end.value.code or 0)


def old_one() -> BootLoader:
    boot = BootLoader()
    boot.rate = 57_600
    return boot


@needs_uploader
@pytest.mark.parametrize("make", [BootLoader, old_one, LargeBootLoader])
def test_the_boot_loader_says_way_rate_and_chip_and_gets_the_chips_image(
    make: Callable[[], BootLoader | LargeBootLoader], capfd: pytest.CaptureFixture[str]
) -> None:
    with BoardOnPort(make()) as board:
        assert status("--port", board.port) == 0
        name = board.boot.chip.name
        image = flash_bytes(read_hex(shipped(name).read_text("ascii")))
        assert bytes(board.boot.flash[: len(image)]) == image
    said = capfd.readouterr()
    assert (
        f"at {board.boot.rate or 115_200} baud; the chip is an {board.boot.chip.title}" in said.out
    )
    assert "written, read back and compared" in said.out
    assert "firmware 1.0 runs on the board" in said.out
    assert said.err == ""


@needs_uploader
def test_another_chip_than_was_asked_for_gets_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    with BoardOnPort(LargeBootLoader()) as board:
        assert status("--port", board.port, "--chip", "atmega328p") == 3
        assert set(board.boot.flash) == {0xFF}
    assert "is an ATmega2560, not an ATmega328P  (wrong-chip)" in capfd.readouterr().err


def test_a_chip_for_which_there_is_no_firmware_is_told(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("seqlang.command._upload.uploader_path", lambda: "avrdude")
    monkeypatch.setattr(LargeBootLoader, "signature", b"\x1e\x97\x05")
    with BoardOnPort(LargeBootLoader()) as board:
        assert status("--port", board.port) == 3
    assert "has the signature 1E 97 05, and there is no firmware for it" in capfd.readouterr().err


@needs_uploader
def test_memory_that_keeps_something_else_is_found(capfd: pytest.CaptureFixture[str]) -> None:
    with BoardOnPort(LargeBootLoader(spoils=5)) as board:
        assert status("--port", board.port) == 3
    told = capfd.readouterr().err
    assert "what was read back differs from what was written" in told
    assert "(half-written)" in told
    assert "avrdude: " in told  # its own words stand below ours


# -- who answers -----------------------------------------------------------------------------------


@contextmanager
def answering(answer: Callable[[bytes, int], bytes]) -> Iterator[str]:
    """A port behind which somebody answers; told the bytes, and how often the port was asked."""
    board_end, host_end = pty.openpty()
    tty.setraw(host_end)
    over = threading.Event()

    def serve() -> None:
        asked = 0
        while not over.is_set():
            try:
                data = os.read(board_end, 4096)
            except OSError:
                return
            asked += 1
            os.write(board_end, answer(data, asked))

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield os.ttyname(host_end)
    finally:
        over.set()
        os.write(host_end, b"\0")
        thread.join(5.0)
        os.close(host_end)
        os.close(board_end)


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(boot_loader, "LISTENS_S", 0.2)
    monkeypatch.setattr(boot_loader, "_RESET_S", (0.01, 0.01))
    monkeypatch.setattr(boot_loader, "_EACH_S", 0.05)


@pytest.mark.usefixtures("impatient")
def test_the_newer_one_says_the_same_of_its_own_at_every_rate() -> None:
    with answering(lambda data, asked: b"\x41\x23" * data.count(b"\x30\x20")) as port:
        found = find_boot_loader(port, usual_ways(CHIPS["atmega328p"]))
    assert found.is_newer
    assert found.signature == b""


@pytest.mark.usefixtures("impatient")
@pytest.mark.parametrize(
    "answer",
    [
        lambda data, asked: b"",
        lambda data, asked: data,  # transmit and receive are joined
        lambda data, asked: b"\x15" * len(data),  # a plain no to everything
        lambda data, asked: b"status: fine\r\n",  # another device
        lambda data, asked: bytes((asked % 256, 7)),  # noise of the length of an answer
    ],
)
def test_what_is_no_boot_loader_is_not_taken_for_one(
    answer: Callable[[bytes, int], bytes],
) -> None:
    with answering(answer) as port, pytest.raises(LinkFailure) as told:
        find_boot_loader(port, usual_ways())
    assert told.value.reason == "no-boot-loader"
    assert "press its reset button" in str(told.value.help)


def test_the_expected_chips_way_is_tried_first_and_a_rate_that_is_said_alone() -> None:
    assert usual_ways(CHIPS["atmega2560"])[0].protocol == "stk500v2"
    assert usual_ways(CHIPS["atmega328p"])[0].protocol == "stk500v1"
    assert {way.baud for way in usual_ways(None, 38_400)} == {38_400}
