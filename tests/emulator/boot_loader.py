"""A board as it is before its firmware: a boot loader on a serial line, then the chip it filled.

The boot loader speaks what the usual ones speak: Atmel's application note AVR061, "STK500
Communication Protocol" (version 1 of the protocol), its commands and answers; the chip's signature
and page size are from the ATmega328P data sheet. That of a large chip speaks version 2, application
note AVR068, with signature and page size of the ATmega2560. Both keep to the part that a boot
loader has: no fuses, no chip erase. When it is left, the emulated chip starts with the memory that
was written, on the same line.
"""

from __future__ import annotations

import os
import pty
import select
import termios
import threading
import time
import tty
from collections.abc import Mapping
from types import TracebackType
from typing import Final

from firmware_gen.build.image import flash_bytes
from firmware_gen.chips import CHIPS
from firmware_gen.link.boot_loader import message
from tests.emulator.emulated import EXTERNAL, TX, EmulatedBoard

# AVR061, section 5 (constants) and 6 (commands).
IN_SYNC, OK, NO_SYNC, END = b"\x14", b"\x10", b"\x15", 0x20
SIGNATURE: Final = b"\x1e\x95\x0f"
"""Data sheet of the ATmega328P, table "Device ID"."""
PAGE_BYTES: Final = 128
"""Data sheet, "No. of words in a page": 64."""
MEMORY: Final = CHIPS["atmega328p"].memory

RESETS_S: Final = 0.2
"""A host resets a board by a line that a pseudo-terminal does not have, and waits before it speaks:
such a pause stands for the reset."""

FIXED_LENGTHS: Final = {
    0x30: 2,  # Cmnd_STK_GET_SYNC
    0x41: 3,  # Cmnd_STK_GET_PARAMETER
    0x42: 22,  # Cmnd_STK_SET_DEVICE
    0x50: 2,  # Cmnd_STK_ENTER_PROGMODE
    0x51: 2,  # Cmnd_STK_LEAVE_PROGMODE
    0x55: 4,  # Cmnd_STK_LOAD_ADDRESS
    0x56: 6,  # Cmnd_STK_UNIVERSAL
    0x74: 5,  # Cmnd_STK_READ_PAGE
    0x75: 2,  # Cmnd_STK_READ_SIGN
}
"""Bytes of each command with its end."""


class BootLoader:
    """Answers commands; `flash` is what it has written. `rate`: at another it hears noise."""

    chip = CHIPS["atmega328p"]
    rate: int | None = None

    def __init__(
        self, flash: bytes = b"", break_after: int | None = None, knows_instructions: bool = False
    ) -> None:
        self.flash = bytearray(flash.ljust(MEMORY.flash, b"\xff"))
        self.left = False
        """Whether it has been told to start the program."""
        self.pages = 0
        self.break_after = break_after
        """After so many pages the cable is pulled."""
        self.knows_instructions = knows_instructions
        """Whether it answers the chip's own instruction that reads the signature, as few do."""
        self._waiting = bytearray()
        self._address = 0

    def reset(self) -> None:
        """Start anew; what is written stays."""
        self._waiting.clear()

    def take(self, data: bytes) -> bytes:
        """The answer to what has come in."""
        if self.is_dead:
            return b""
        self._waiting += data
        answer = b""
        while (length := self._length()) and len(self._waiting) >= length:
            command = bytes(self._waiting[:length])
            del self._waiting[:length]
            answer += self._answer(command) if command[-1] == END else NO_SYNC
        return b"" if self.is_dead else answer

    @property
    def is_dead(self) -> bool:
        return self.break_after is not None and self.pages > self.break_after

    def _length(self) -> int:
        if not self._waiting:
            return 0
        code = self._waiting[0]
        if code == 0x64:  # Cmnd_STK_PROG_PAGE: size, memory, data
            if len(self._waiting) < 4:
                return 0
            return 5 + int.from_bytes(self._waiting[1:3], "big")
        if code == 0x45:  # Cmnd_STK_SET_DEVICE_EXT: its length is its first byte
            return self._waiting[1] + 2 if len(self._waiting) > 1 else 0
        return FIXED_LENGTHS.get(code, 1)

    def _answer(self, command: bytes) -> bytes:
        code = command[0]
        if code not in FIXED_LENGTHS and code not in (0x45, 0x64):
            return NO_SYNC
        return IN_SYNC + self._carried_out(code, command) + OK

    def _carried_out(self, code: int, command: bytes) -> bytes:
        if code == 0x41:
            return bytes(({0x81: 1, 0x82: 16}.get(command[1], 3),))  # software 1.16, hardware 3
        if code == 0x51:
            self.left = True
        elif code == 0x55:
            self._address = 2 * int.from_bytes(command[1:3], "little")
        elif code == 0x56:
            # Data sheet, "Serial Programming Instruction Set": Read Signature Byte is 30 00 nn.
            asked = command[1] == 0x30 and self.knows_instructions
            return SIGNATURE[command[3] : command[3] + 1] if asked else b"\x00"
        elif code == 0x64:
            self._write(command[4:-1])
        elif code == 0x74:
            count = int.from_bytes(command[1:3], "big")
            return bytes(self.flash[self._address : self._address + count])
        elif code == 0x75:
            return SIGNATURE
        return b""

    def _write(self, page: bytes) -> None:
        assert self._address % PAGE_BYTES == 0
        assert len(page) <= PAGE_BYTES
        assert self._address + len(page) <= MEMORY.boot_start, "it would overwrite itself"
        self.pages += 1
        if not self.is_dead:
            self.flash[self._address : self._address + len(page)] = page


class LargeBootLoader:
    """That of the ATmega2560. `flash` is what it has written.

    `spoils`: a page that it writes wrongly, as worn-out memory does.
    """

    chip = CHIPS["atmega2560"]
    rate: int | None = None
    is_dead = False
    page_bytes: Final = 256
    """Data sheet, "No. of words in a page": 128."""
    signature = b"\x1e\x98\x01"

    def __init__(self, spoils: int | None = None) -> None:
        self.flash = bytearray(b"\xff" * self.chip.memory.flash)
        self.left = False
        self.spoils = spoils
        self.pages = 0
        self._waiting = bytearray()
        self._address = 0

    def reset(self) -> None:
        """Start anew; what is written stays."""
        self._waiting.clear()

    def take(self, data: bytes) -> bytes:
        """The answer to what has come in (AVR068, "Message format")."""
        self._waiting += data
        answer = b""
        while True:
            start = self._waiting.find(0x1B)
            del self._waiting[: start if start >= 0 else len(self._waiting)]
            if len(self._waiting) < 5:
                return answer
            length = int.from_bytes(self._waiting[2:4], "big")
            if len(self._waiting) < length + 6:
                return answer
            whole = bytes(self._waiting[: length + 6])
            if whole[4] != 0x0E or message(whole[1], whole[5:-1]) != whole:
                del self._waiting[:1]
                continue
            del self._waiting[: length + 6]
            answer += message(whole[1], self._carried_out(whole[5:-1]))

    def _carried_out(self, body: bytes) -> bytes:
        """AVR068, "Commands": the command's code, its status, what else it answers."""
        done, failed = body[:1] + b"\x00", body[:1] + b"\xc0"
        code = body[0]
        if code == 0x01:  # CMD_SIGN_ON
            return done + b"\x08AVRISP_2"
        if code == 0x03:  # CMD_GET_PARAMETER
            return done + b"\x02"
        if code == 0x06:  # CMD_LOAD_ADDRESS: of words; the highest bit says that it is a long one
            self._address = 2 * (int.from_bytes(body[1:5], "big") & 0x7FFFFFFF)
        elif code == 0x11:  # CMD_LEAVE_PROGMODE_ISP
            self.left = True
        elif code == 0x12:  # CMD_CHIP_ERASE_ISP
            return failed
        elif code == 0x13:  # CMD_PROGRAM_FLASH_ISP
            self._write(body[10 : 10 + int.from_bytes(body[1:3], "big")])
        elif code == 0x14:  # CMD_READ_FLASH_ISP
            end = self._address + int.from_bytes(body[1:3], "big")
            found, self._address = bytes(self.flash[self._address : end]), end
            return done + found + b"\x00"
        elif code == 0x1B:  # CMD_READ_SIGNATURE_ISP, by the same instruction
            return done + self.signature[body[4] : body[4] + 1] + b"\x00"
        elif code == 0x1D:  # CMD_SPI_MULTI: Read Signature Byte is 30 00 nn
            asked = body[4] == 0x30
            found = self.signature[body[6] : body[6] + 1] if asked else b"\x00"
            return done + bytes(3) + found + b"\x00"
        return done

    def _write(self, page: bytes) -> None:
        assert self._address % self.page_bytes == 0
        assert len(page) <= self.page_bytes
        end = self._address + len(page)
        assert end <= self.chip.memory.boot_start, "it would overwrite itself"
        self.flash[self._address : end] = page
        if self.pages == self.spoils:
            self.flash[self._address] ^= 0x10
        self.pages += 1
        self._address = end


class BoardOnPort:
    """A board on a pseudo-terminal: the boot loader first, then the chip, in real time."""

    def __init__(self, boot: BootLoader | LargeBootLoader) -> None:
        self.boot = boot
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        self.port = os.ttyname(self._slave)
        self.board: EmulatedBoard | None = None
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)

    def __enter__(self) -> BoardOnPort:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._over.set()
        self._thread.join()
        if self.board is not None:
            self.board.close()
        os.close(self._slave)

    def _serve(self) -> None:
        try:
            self._play()
        finally:
            os.close(self._master)  # whoever uses the port is told that it is gone

    def _play(self) -> None:
        heard_s = time.monotonic()
        while not self._over.is_set():
            data = self._heard()
            if self.board is not None:
                self._run(self.board, data)
                continue
            if data:
                if time.monotonic() - heard_s > RESETS_S:
                    self.boot.reset()
                heard_s = time.monotonic()
            if data and self.boot.rate not in (None, self._rate()):
                data = bytes(0x80 | byte >> 1 for byte in data)
            answer = self.boot.take(data)
            if self.boot.is_dead:
                break
            os.write(self._master, answer)
            if self.boot.left:
                memory = self.boot.chip.memory
                flash = bytes(self.boot.flash[: memory.boot_start])
                self._start(EmulatedBoard(flash, chip=self.boot.chip))

    def _rate(self) -> int:
        """At which the host has opened the port; a constant of the system's stands for it."""
        rates = {getattr(termios, f"B{rate}"): rate for rate in (57_600, 115_200)}
        return rates.get(termios.tcgetattr(self._slave)[5], 0)

    def _heard(self) -> bytes:
        ready, _, _ = select.select([self._master], [], [], 0.002)
        return os.read(self._master, 4096) if ready else b""

    def _start(self, board: EmulatedBoard) -> None:
        self.board, self._seen = board, 0
        self._started = time.monotonic() - board.cycle / board.clock_hz

    def _run(self, board: EmulatedBoard, data: bytes) -> None:
        """Let the chip's time follow the clock, and take what it says."""
        if data:
            board.send(data)
        behind_s = time.monotonic() - self._started - board.cycle / board.clock_hz
        board.run(ms=min(20.0, max(1.0, 1000 * behind_s)))
        rows = board.events_since(self._seen)
        self._seen += len(rows)
        if sent := bytes(rows["a"][rows["kind"] == TX].astype("u1")):
            os.write(self._master, sent)


class ChipOnPort(BoardOnPort):
    """A chip with a boot loader's image in its flash: reset when somebody first speaks to it.

    A host resets a board as it opens the port, by a line that a pseudo-terminal does not have.
    """

    def __init__(self, image: Mapping[int, int]) -> None:
        super().__init__(BootLoader())
        self._image = image

    def _play(self) -> None:
        while not self._over.is_set():
            data = self._heard()
            if data and self.board is None:
                board = EmulatedBoard(flash_bytes(self._image))
                board.start_at(min(self._image))
                board.reset(EXTERNAL)
                self._start(board)
            if self.board is not None:
                self._run(self.board, data)
