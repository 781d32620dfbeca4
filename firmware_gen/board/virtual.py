"""The virtual board: the firmware's reference behind the same link, with no board at all.

`VirtualBoard` is a board and its time. `LocalPort` talks to one in this process, where time
passes only while the host waits; `Server` puts one behind a loopback socket or a
pseudo-terminal, where it plays in real time.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

from firmware_gen.board.board import ReferenceBoard, Witness
from firmware_gen.board.storage import Eeprom
from firmware_gen.board.virtual_lines import BoardEnd, SocketLine, TerminalLine
from firmware_gen.chips import FIRST, Chip
from firmware_gen.files import write_whole
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.protocol import BAUD, ResetCause
from sim.rulebook import FRAME_CLOCK, FRAME_S

_SAVE_AGAIN_S: Final = 1.0


class VirtualBoard:
    """A board with a clock of its own.

    Args:
        eeprom: its stored bytes; a new board's if None.
        chip: the chip that it is.
        write_s: how long storing a byte takes; None: as long as on the chip.
        witness: sees what it does.
    """

    def __init__(
        self,
        eeprom: Eeprom | None = None,
        chip: Chip = FIRST,
        *,
        write_s: float | None = None,
        witness: Witness | None = None,
    ) -> None:
        self.eeprom = eeprom if eeprom is not None else Eeprom(chip.memory.eeprom)
        self.chip = chip
        self.time_s = 0.0
        self.frames = 0
        self.has_power = True
        self._powered_s = 0.0
        """When the power came."""
        self._clock = 0
        """1/256 ms from then to when the last frame was due."""
        self._write_s = chip.memory.write_s if write_s is None else write_s
        self._witness = witness
        self._next_write_s = 0.0
        self.pulses: dict[int, int] = {}
        """What the receiver of a radio gives its channels, in ticks by their numbers: it stands
        apart from the board, and goes on when that is reset."""
        self.readings: dict[int, int] = {}
        """What its sensors read, of 1024 that are its supply, by their numbers."""
        self.board = ReferenceBoard(
            *(self.eeprom, chip), witness=witness, pulses=self.pulses, readings=self.readings
        )

    def restart(self, cause: ResetCause = ResetCause.EXTERNAL) -> None:
        """Reset it: what is stored stays, everything else is lost."""
        self.board = ReferenceBoard(
            *(self.eeprom, self.chip),
            cause=cause,
            witness=self._witness,
            pulses=self.pulses,
            readings=self.readings,
        )

    def power_off(self) -> None:
        """It plays nothing and hears nothing. What is stored stays."""
        self.has_power = False
        self.board.take_output()

    def power_on(self) -> None:
        """It begins as any board that gets power, and its first frame is 20 ms from now."""
        if not self.has_power:
            self.has_power = True
            self._powered_s, self._clock = self.time_s, 0
            self.restart(ResetCause.POWER_ON)

    def receive(self, data: bytes) -> None:
        if self.has_power:
            self._note_moment()
            self.board.receive(data)

    def receive_line(self, data: bytes) -> None:
        """Bytes from the line between boards."""
        if self.has_power:
            self._note_moment()
            self.board.receive_line(data)

    def _note_moment(self) -> None:
        since_s = self.time_s - self._at_s(self._clock)
        self.board.moment = min(max(0, round(since_s / FRAME_S * FRAME_CLOCK)), FRAME_CLOCK - 1)

    @property
    def next_frame_s(self) -> float:
        """When its next frame is due."""
        return self._at_s(self._next_clock) if self.has_power else math.inf

    @property
    def _next_clock(self) -> int:
        return self._clock + FRAME_CLOCK + self.board.frame_stretch

    def _at_s(self, clock: int) -> float:
        return self._powered_s + clock * FRAME_S / FRAME_CLOCK

    def advance(self, until_s: float) -> None:
        """Let time pass: play the frames and store the bytes that are due, in their order."""
        while True:
            frame_s = self.next_frame_s
            write_s = max(self._next_write_s, self.time_s)
            if self.has_power and self.board.storing and write_s <= min(frame_s, until_s):
                self.time_s = write_s
                if self.board.work():
                    self._next_write_s = write_s + self._write_s
            elif frame_s <= until_s:
                self.time_s, self._clock = frame_s, self._next_clock
                self.frames += 1
                self.board.frame()
            else:
                self.time_s = max(self.time_s, until_s)
                return


class LocalPort:
    """A `BytePort` to a virtual board in this process, in fast time.

    Time is the board's: it passes while the host waits for bytes, and with `advance`.
    """

    def __init__(self, virtual: VirtualBoard, baud: int = BAUD) -> None:
        self.virtual = virtual
        self.name = "virtual"
        self.baud = baud

    def write(self, data: bytes) -> None:
        self.virtual.receive(data)

    def read(self, timeout_s: float) -> bytes:
        end_s = self.now() + timeout_s
        while True:
            sent = self.virtual.board.take_output()
            if sent or self.now() >= end_s:
                return sent
            self.virtual.advance(min(end_s, self.now() + FRAME_S))

    def now(self) -> float:
        return self.virtual.time_s

    def close(self) -> None:
        """Nothing to close: the board goes on."""


class Server:
    """A virtual board that plays in real time behind a port that pyserial opens.

    Use it as a context manager, or call `serve` in the foreground.

    Args:
        virtual: the board; it must not be touched from other threads while it is served.
        tcp_port: of the loopback socket; 0: any free one.
        pseudo_terminal: offer a pseudo-terminal instead.
        speed: how many times faster than real time it plays.
        leash_s: how far its time runs on at most after the last byte from the host; None: as far as
            it likes. With a high speed a host that is held up would else seem to be lost.
        store: file that outlasts the power in the EEPROM's place.
        troubled: told when the file cannot be written. The board plays on, as its memory holds
            what it was sent; writing is tried again and again, the last time when `serve` ends.

    Raises:
        LinkFailure: no-port if the system has no such port or it is taken.
    """

    def __init__(
        self,
        virtual: VirtualBoard,
        *,
        tcp_port: int = 0,
        pseudo_terminal: bool = False,
        speed: float = 1.0,
        leash_s: float | None = None,
        store: Path | None = None,
        troubled: Callable[[OSError], None] | None = None,
    ) -> None:
        self.virtual = virtual
        self._speed = speed
        self._leash_s = math.inf if leash_s is None else leash_s
        self._store = store
        self._stored_writes = virtual.eeprom.writes
        self._troubled = troubled
        self._is_troubled = False
        self._save_after_s = 0.0
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._line: BoardEnd = TerminalLine() if pseudo_terminal else SocketLine(tcp_port)
        self.url = self._line.url
        """What a host gives as its port."""

    def __enter__(self) -> Server:
        self._thread = threading.Thread(target=self._serve_apart, name="virtual board", daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def _serve_apart(self) -> None:
        try:
            self.serve()
        except OSError as error:
            if self._troubled and not self._is_troubled:
                self._troubled(error)

    def stop(self) -> None:
        """End `serve` and close the port."""
        self._stop.set()
        if self._thread:
            self._thread.join()

    def serve(self, turn: Callable[[], None] | None = None) -> None:
        """Play until `stop` is called, or KeyboardInterrupt comes.

        Args:
            turn: called every few milliseconds.

        Raises:
            OSError: what it stored could not be written into its file to the end.
        """
        last_s, heard_s = time.monotonic(), self.virtual.time_s
        try:
            while not self._stop.is_set():
                if turn is not None:
                    turn()
                received = self._line.wait(FRAME_S / 4)
                self.virtual.receive(received)
                heard_s = self.virtual.time_s if received else heard_s
                now_s = time.monotonic()
                until_s = self.virtual.time_s + (now_s - last_s) * self._speed
                self.virtual.advance(min(until_s, heard_s + self._leash_s))
                last_s = now_s
                self._line.send(self.virtual.board.take_output())
                self._save()
        finally:
            self._line.close()
            self._stop.set()
            self._save()

    def _save(self) -> None:
        eeprom = self.virtual.eeprom
        if self._store is None or eeprom.writes == self._stored_writes:
            return
        if self.virtual.board.storing and not self._stop.is_set():
            return
        writes = eeprom.writes
        if not self._stop.is_set() and time.monotonic() < self._save_after_s:
            return
        try:
            write_whole(self._store, bytes(eeprom.cells))
        except OSError as error:
            if self._stop.is_set() or self._troubled is None:
                raise
            self._save_after_s = time.monotonic() + _SAVE_AGAIN_S
            if not self._is_troubled:
                self._troubled(error)
            self._is_troubled = True
        else:
            self._stored_writes, self._is_troubled = writes, False


def stored_eeprom(store: Path | None, chip: Chip = FIRST) -> Eeprom:
    """The EEPROM that `Server` keeps in a file; a new one if there is none yet.

    Raises:
        LinkFailure: not-a-port if the file is not one that `Server` wrote.
    """
    size = chip.memory.eeprom
    if store is None or not store.exists():
        return Eeprom(size)
    contents = store.read_bytes()
    if len(contents) != size:
        raise LinkFailure(
            "not-a-port",
            f"`{store}` holds {len(contents)} bytes, a board's memory has {size}",
            "name a file that `bellcrank board --store` wrote, or one that does not exist yet",
        )
    return Eeprom(size, contents)
