"""The virtual boards of a show, wired: what the one that leads tells, the others hear, and what
those answer that have a wire back, it brings its host.

Parts can be unplugged and plugged in again, and the line can lose and spoil what is on it, so that
somebody can try what happens then.
"""

from __future__ import annotations

import math
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from random import Random
from typing import Final

from firmware_gen.board.storage import Eeprom
from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.board.virtual_lines import BoardEnd, SocketLine, TerminalLine
from firmware_gen.checked_table import CheckedTable
from firmware_gen.chips import Chip
from firmware_gen.link.host import HostLink
from firmware_gen.link.protocol import BAUD
from firmware_gen.link.transfer import transfer
from firmware_gen.serial_rates import BITS_OF_A_BYTE
from sim.rulebook import FRAME_S, SENSORS

_TURN_S: Final = FRAME_S / 4
_STEP_S: Final = 0.001


@dataclass(slots=True)
class LineTrouble:
    """What goes wrong on the line between boards; as shares, 0 to 1.

    Attributes:
        lost: of the frames, each for each board.
        spoilt: of the bytes, in each of which one bit is turned over.
    """

    lost: float = 0.0
    spoilt: float = 0.0


class WiredBoards:
    """Boards that share one time, and the line from the one that leads.

    Args:
        boards: by name.
        leader: name of the board that leads; None: each is alone, and there is no line.
        trouble: what goes wrong on the line; it may be changed at any time.
        dice: draw what is lost and spoilt.
        channels, sensors: by name, the board, and the number in its table.
    """

    def __init__(
        self,
        boards: Mapping[str, VirtualBoard],
        leader: str | None,
        trouble: LineTrouble | None = None,
        dice: Random | None = None,
        channels: Mapping[str, tuple[str, int]] | None = None,
        sensors: Mapping[str, tuple[str, int]] | None = None,
    ) -> None:
        self._channels = dict(channels or {})
        self._sensors = dict(sensors or {})
        for board, number in self._sensors.values():
            boards[board].readings[number] = 0
        self.boards = dict(boards)
        self.leader = leader
        self.trouble = trouble or LineTrouble()
        self.deaf: set[str] = set()
        """Boards whose signal wire is cut; both, where another one goes back."""
        self.time_s = 0.0
        self._dice = dice or Random()
        self._under_way: deque[tuple[float, bytes]] = deque()
        self._on_the_way_back: deque[tuple[float, bytes]] = deque()
        self._line_free_s = [0.0, 0.0]
        """When all is through on the line and on the wire back."""
        self._to_hosts: dict[str, bytearray] = {name: bytearray() for name in self.boards}

    def unplug(self, name: str) -> None:
        """A part loses feed and signal."""
        self.boards[name].power_off()

    def plug(self, name: str) -> None:
        """It gets both again."""
        self.boards[name].power_on()

    def put_channel(self, name: str, ticks: int) -> None:
        """From its board's next frame on a channel gives pulses of this width; 0: none.

        Raises KeyError if there is no such channel.
        """
        board, number = self._channels[name]
        self.boards[board].pulses[number] = ticks

    def put_sensor(self, name: str, reading: int) -> None:
        """From its board's next frame on a sensor reads this, of 1024; 0 at first.

        Raises KeyError if there is no such sensor.
        """
        board, number = self._sensors[name]
        self.boards[board].readings[number] = reading

    def put_battery(self, board: str, reading: int) -> None:
        """From its next frame on the watch of a board's battery reads this, of 1024.

        Raises KeyError if there is no such board.
        """
        self.boards[board].readings[SENSORS] = reading

    def receive(self, name: str, data: bytes) -> None:
        """A board's host sends it bytes."""
        self.boards[name].receive(data)
        self._collect()

    def take_output(self, name: str) -> bytes:
        """What a board has sent its host since the last call."""
        self._collect()
        sent = bytes(self._to_hosts[name])
        self._to_hosts[name].clear()
        return sent

    def advance(self, until_s: float) -> None:
        """Let time pass on all boards, up to then."""
        while (at_s := self._next_s()) <= until_s:
            self._pass(at_s)
            if self._under_way and self._under_way[0][0] <= at_s:
                self._arrive(self._under_way.popleft()[1])
            elif self._on_the_way_back and self._on_the_way_back[0][0] <= at_s:
                self._come_back(self._on_the_way_back.popleft()[1])
            elif self.leader is not None:
                late_s = self.boards[self.leader].board.late_s
                self._say(self._under_way, 0, self.boards[self.leader].board.line_output, late_s)
            self._collect()
        self._pass(until_s)
        self._collect()

    def _next_s(self) -> float:
        """When something comes from the line or the wire back, or the leader plays its next
        frame."""
        waiting = (self._under_way, self._on_the_way_back)
        arrives_s = min((one[0][0] for one in waiting if one), default=math.inf)
        leads_s = self.boards[self.leader].next_frame_s if self.leader is not None else math.inf
        return min(arrives_s, leads_s)

    def _pass(self, until_s: float) -> None:
        self.time_s = max(self.time_s, until_s)
        for board in self.boards.values():
            board.advance(until_s)

    def _say(
        self, way: deque[tuple[float, bytes]], wire: int, said: bytes, late_s: float = 0.0
    ) -> None:
        """Put bytes on the line (0) or on the wire back (1), behind what is there already."""
        if said:
            starts_s = max(self.time_s, self._line_free_s[wire])
            self._line_free_s[wire] = starts_s + len(said) * BITS_OF_A_BYTE / BAUD
            way.append((self._line_free_s[wire] + late_s, said))

    def _collect(self) -> None:
        """What boards have sent goes to their hosts, on the line, and on the wire back.

        A board whose link is the line sends its answers to both: its host, and the wire back.
        """
        answering = self.boards[self.leader].board.answering if self.leader is not None else ()
        for name, virtual in self.boards.items():
            said, on_line = virtual.board.take_output(), virtual.board.take_line_output()
            self._to_hosts[name] += said
            if name == self.leader:
                self._say(self._under_way, 0, on_line)
            elif virtual.board.address in answering and name not in self.deaf:
                back = on_line if virtual.chip.leads else said
                self._say(self._on_the_way_back, 1, back)

    def _arrive(self, said: bytes) -> None:
        for name, board in self.boards.items():
            if name == self.leader or name in self.deaf:
                continue
            if self._dice.random() >= self.trouble.lost:
                board.receive_line(self._spoilt(said))

    def _come_back(self, said: bytes) -> None:
        assert self.leader is not None
        if self._dice.random() >= self.trouble.lost:
            self.boards[self.leader].receive_line(self._spoilt(said))

    def _spoilt(self, said: bytes) -> bytes:
        if not self.trouble.spoilt:
            return said
        return bytes(
            byte ^ (1 << self._dice.randrange(8))
            if self._dice.random() < self.trouble.spoilt
            else byte
            for byte in said
        )


def stored(table: CheckedTable, chip: Chip) -> Eeprom:
    """What a board's cells hold once this table was put on it.

    Raises:
        LinkFailure: the table does not fit a slot.
    """
    board = VirtualBoard(chip=chip, write_s=0.0)
    transfer(HostLink(LocalPort(board)), table)
    return board.eeprom


class WiredPort:
    """A `BytePort` to one of wired boards in this process, in fast time: it passes for all of them
    while the host waits for bytes."""

    def __init__(self, wired: WiredBoards, name: str) -> None:
        self.wired = wired
        self.name = name
        self.baud = BAUD

    def write(self, data: bytes) -> None:
        self.wired.receive(self.name, data)

    def read(self, timeout_s: float) -> bytes:
        end_s = self.now() + max(timeout_s, _STEP_S / 100)
        while not (sent := self.wired.take_output(self.name)) and self.now() < end_s:
            self.wired.advance(min(end_s, self.now() + _STEP_S))
        return sent

    def now(self) -> float:
        return self.wired.time_s

    def close(self) -> None:
        """Nothing to close."""


class WiredServer:
    """Wired boards that play in real time, each behind a port of its own that pyserial opens.

    Args:
        wired: they must not be touched from other threads while they are served.
        tcp_port: of the first board's loopback socket; the others have the next ones. 0: any free.
        pseudo_terminal: offer pseudo-terminals instead.
        speed: how many times faster than real time they play.

    Raises:
        LinkFailure: no-port if the system has no such port or it is taken.
    """

    def __init__(
        self,
        wired: WiredBoards,
        *,
        tcp_port: int = 0,
        pseudo_terminal: bool = False,
        speed: float = 1.0,
    ) -> None:
        self.wired = wired
        self._speed = speed
        self._ends: dict[str, BoardEnd] = {}
        try:
            for number, name in enumerate(wired.boards):
                socket = tcp_port + number if tcp_port else 0
                self._ends[name] = TerminalLine() if pseudo_terminal else SocketLine(socket)
        except BaseException:
            self.close()
            raise

    @property
    def urls(self) -> dict[str, str]:
        """What a host gives as its port, for each board."""
        return {name: end.url for name, end in self._ends.items()}

    def close(self) -> None:
        for end in self._ends.values():
            end.close()

    def serve(self, turn: Callable[[], bool]) -> None:
        """Play until `turn`, which is called every few milliseconds, says that it is over, or
        KeyboardInterrupt comes."""
        last_s = time.monotonic()
        try:
            while turn():
                for name, end in self._ends.items():
                    self.wired.receive(name, end.wait(_TURN_S / len(self._ends)))
                now_s = time.monotonic()
                self.wired.advance(self.wired.time_s + (now_s - last_s) * self._speed)
                last_s = now_s
                for name, end in self._ends.items():
                    end.send(self.wired.take_output(name))
        finally:
            self.close()
