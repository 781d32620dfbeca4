"""A board's line that several clients share, in fast time and without processes."""

from __future__ import annotations

import random

from faulty_port import FAULTS, GOOD, spoil

from firmware_gen.board.board import Witness
from firmware_gen.board.virtual import LocalPort, VirtualBoard
from firmware_gen.link.awaiting import Reply
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.greeting import Greeted
from firmware_gen.link.host import HostLink
from firmware_gen.link.owner.arbiter import Arbiter, BoardEvent
from firmware_gen.link.protocol import BUTTON, ReportedMode, RequestKind
from tests.unchecked import transfer_unchecked

STEP_S = 0.001


class Noted(Witness):
    """What the player was asked, with the board's time."""

    def __init__(self) -> None:
        self.virtual: VirtualBoard | None = None
        self.asked_at: list[tuple[float, RequestKind, bytes]] = []

    def asked(self, kind: RequestKind, payload: bytes) -> None:
        assert self.virtual is not None
        self.asked_at.append((self.virtual.time_s, kind, payload))

    def times(self, kind: RequestKind) -> list[float]:
        return [at for at, each, _ in self.asked_at if each == kind]


class SharedLine:
    """An arbiter with a board behind it; `now` is the board's time.

    Args:
        table: what the board plays; it is ready at the start.
        faults: how likely each frame is lost or spoilt, both ways.
        write_s: how long the board takes to store a byte.
    """

    def __init__(
        self, table: bytes, *, faults: float = 0.0, seed: int = 0, write_s: float = 0.0
    ) -> None:
        self.noted = Noted()
        self.virtual = VirtualBoard(write_s=0.0, witness=self.noted)
        self.noted.virtual = self.virtual
        transfer_unchecked(HostLink(LocalPort(self.virtual)), table)
        self.virtual.advance(1.0)
        assert self.virtual.board.mode == ReportedMode.READY
        self.virtual.board.take_output()
        self.virtual._write_s = write_s
        self.noted.asked_at.clear()
        self.arbiter = Arbiter("shared", 250_000)
        self.arbiter.opened(self.now)
        self.outcomes: dict[tuple[int, int], list[Reply | Greeted | LinkFailure]] = {}
        self.events: list[BoardEvent] = []
        self.is_cut = False
        self.sent: list[tuple[float, bytes]] = []
        self._faults = faults
        self._rng = random.Random(seed)
        self._numbers = 0

    @property
    def now(self) -> float:
        return self.virtual.time_s

    def greet(self, client: int) -> int:
        self._numbers += 1
        self.arbiter.greet(client, self._numbers, self.now)
        return self._numbers

    def ask(self, client: int, kind: RequestKind, payload: bytes = b"") -> int:
        """Ask without waiting; the number of the answer."""
        self._numbers += 1
        self.arbiter.ask(client, self._numbers, kind, payload, self.now)
        self._pass_on()
        return self._numbers

    def press(self, client: int, button: int, down: bool) -> int:
        return self.ask(client, RequestKind.BUTTON, BUTTON.pack(button, down))

    def run(self, seconds: float) -> None:
        """Let time pass."""
        end_s = self.now + seconds
        while self.now < end_s:
            self._pass_on()
            self.virtual.advance(min(end_s, self.now + STEP_S))
            back = self._spoilt(self.virtual.board.take_output())
            if back:
                self.arbiter.hear(back, self.now)
            self.arbiter.tick(self.now)
            self._pass_on()

    def outcome(self, client: int, number: int) -> Reply | Greeted | LinkFailure | None:
        """The only answer to a request; None if there is none yet."""
        found = self.outcomes.get((client, number), [])
        assert len(found) <= 1, "answered twice"
        return found[0] if found else None

    def _pass_on(self) -> None:
        for frame in self.arbiter.output:
            self.sent.append((self.now, frame))
            self.virtual.receive(self._spoilt(frame))
        self.arbiter.output.clear()
        for answer in self.arbiter.answers:
            self.outcomes.setdefault((answer.client, answer.number), []).append(answer.outcome)
        self.arbiter.answers.clear()
        self.events += self.arbiter.events
        self.arbiter.events.clear()

    def _spoilt(self, data: bytes) -> bytes:
        if self.is_cut:
            return b""
        if not self._faults or not data:
            return data
        frames = [b"\0" + piece + b"\0" for piece in data.split(b"\0") if piece]
        return b"".join(
            spoil(frame, self._rng.choice([one for one in FAULTS if one != "late"]))
            if self._rng.random() < self._faults
            else frame
            for frame in frames
        )


__all__ = ["GOOD", "Noted", "SharedLine"]
