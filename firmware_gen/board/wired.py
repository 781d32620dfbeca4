"""The virtual boards of a show, wired: what the one that leads tells, the others hear.

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
        """Boards whose signal wire is cut."""
        self.time_s = 0.0
        self._dice = dice or Random()
        self._under_way: deque[tuple[float, bytes]] = deque()

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

    def advance(self, until_s: float) -> None:
        """Let time pass on all boards, up to then."""
        while (at_s := self._next_s()) <= until_s:
            self._pass(at_s)
            if self._under_way and self._under_way[0][0] <= at_s:
                self._arrive(self._under_way.popleft()[1])
            elif self.leader is not None:
                said = self.boards[self.leader].board.line_output
                if said:
                    late_s = self.boards[self.leader].board.late_s
                    took_s = len(said) * BITS_OF_A_BYTE / BAUD + late_s
                    self._under_way.append((at_s + took_s, said))
        self._pass(until_s)

    def _next_s(self) -> float:
        """When something comes from the line, or the leader plays its next frame."""
        arrives_s = self._under_way[0][0] if self._under_way else math.inf
        leads_s = self.boards[self.leader].next_frame_s if self.leader is not None else math.inf
        return min(arrives_s, leads_s)

    def _pass(self, until_s: float) -> None:
        self.time_s = max(self.time_s, until_s)
        for board in self.boards.values():
            board.advance(until_s)

    def _arrive(self, said: bytes) -> None:
        for name, board in self.boards.items():
            if name == self.leader or name in self.deaf:
                continue
            if self._dice.random() >= self.trouble.lost:
                board.receive_line(self._spoilt(said))

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
                    self.wired.boards[name].receive(end.wait(_TURN_S / len(self._ends)))
                now_s = time.monotonic()
                self.wired.advance(self.wired.time_s + (now_s - last_s) * self._speed)
                last_s = now_s
                for name, end in self._ends.items():
                    end.send(self.wired.boards[name].board.take_output())
        finally:
            self.close()
