"""What a program asks a board, whichever way its requests travel."""

from __future__ import annotations

import struct
from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence

from firmware_gen.link.awaiting import LinkRequest, Reply, Traffic
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.greeting import Greeted, other_version
from firmware_gen.link.protocol import (
    BUTTON,
    EVERYBODY,
    JOG,
    PULSE,
    PULSE_REPLY,
    READ,
    SOURCE_ASKED,
    SOURCE_REPLY,
    TRIGGER,
    Hello,
    PayloadError,
    RequestKind,
    State,
    Status,
)
from firmware_gen.table.layout import HEADER

_LENGTH_AT = HEADER.offsets()["length"]


class BoardLink(ABC):
    """A conversation with the board behind a port; say `greet` first.

    Every method raises LinkFailure: no-answer, garbage, echo, port-lost, board-reset,
    wrong-version.
    """

    def __init__(self, name: str, baud: int) -> None:
        self.name = name
        """Of the port."""
        self.baud = baud
        self.address = EVERYBODY
        """Of the board, once it is greeted."""
        self.chunk_bytes = 1
        """Most table bytes in one request or reply, as the board says."""
        self.traffic = Traffic()
        self.lead: BoardLink = self
        """The board that decides for this one, if that is how it is reached; else this one. Stop,
        limp and standby are asked of it: its state brings them to all boards that it leads."""

    # -- the way there -----------------------------------------------------------------------

    @abstractmethod
    def greet(self) -> Hello:
        """Reach the board, even one that the opening of its port has just reset."""

    @abstractmethod
    def through(self, address: int) -> BoardLink:
        """A conversation with a board that this one leads, and that answers it (LINK.md 7.1).

        It is greeted like any other. Of what starts or moves something it takes a jog, while both
        boards are limp; the rest is asked of its `lead`.
        """

    @abstractmethod
    def exchange(
        self,
        requests: Sequence[LinkRequest],
        window: int = 1,
        progress: Callable[[int], None] | None = None,
    ) -> list[Reply]:
        """Send requests, at most `window` of them unanswered at a time; replies in their order.

        `progress` is told how many are answered. Stops early at a reply that is not done; then
        the list ends with it.
        """

    @abstractmethod
    def now(self) -> float:
        """Seconds from any start, by the clock that time-outs go by."""

    @abstractmethod
    def pause(self, seconds: float) -> None:
        """Let time pass; what comes in meanwhile is late copies of answers."""

    # -- requests ----------------------------------------------------------------------------

    def ask(self, kind: RequestKind, payload: bytes = b"") -> Reply:
        """One request and its reply, whatever its status."""
        return self.exchange([LinkRequest(kind, payload)])[0]

    def state(self) -> State:
        """The board's state and counters."""
        try:
            return State.unpack(self._must(RequestKind.STATUS))
        except PayloadError as error:
            raise other_version(f"the board's state cannot be read ({error})") from None

    def table(self) -> bytes:
        """The table that the board plays, read back; empty if it has none."""
        table = b""
        length = HEADER.size
        while len(table) < length:
            reply = self.ask(RequestKind.READ, READ.pack(len(table), self.chunk_bytes))
            if reply.status == Status.NOT_IN_THIS_MODE:
                return b""
            if not reply.done:
                raise refused("read", reply)
            table += reply.rest[: self.chunk_bytes]
            if len(table) >= HEADER.size:
                length = int.from_bytes(table[_LENGTH_AT : _LENGTH_AT + 2], "little")
            if len(reply.rest) < self.chunk_bytes:
                break
        return table

    def trigger(self, tag: int) -> Reply:
        return self.ask(RequestKind.TRIGGER, TRIGGER.pack(tag))

    def button(self, button: int, down: bool) -> Reply:
        return self.ask(RequestKind.BUTTON, BUTTON.pack(button, down))

    def stop(self) -> Reply:
        return self.ask(RequestKind.STOP)

    def limp(self) -> Reply:
        return self.ask(RequestKind.LIMP)

    def standby(self) -> Reply:
        return self.ask(RequestKind.STANDBY)

    def jog(self, servo: int, ticks: int) -> Reply:
        """Bring the servo of this number among the table's servos to a pulse, in half us."""
        return self.ask(RequestKind.JOG, JOG.pack(servo, ticks))

    def pulse(self, servo: int) -> int:
        """The pulse that a servo gets, or the last that it got: ticks of half a us."""
        rest = self._must(RequestKind.PULSE, PULSE.pack(servo))
        try:
            (ticks,) = PULSE_REPLY.unpack(rest)
        except struct.error:
            raise other_version("the board's answer to `pulse` cannot be read") from None
        return int(ticks)

    def source(self, number: int) -> int | None:
        """What a channel (ticks of half a us) or a sensor stands at, by its place among the table's
        channels and sensors; None: a channel that is lost. Only a chip with senses knows it."""
        rest = self._must(RequestKind.SOURCE, SOURCE_ASKED.pack(number))
        try:
            is_live, value = SOURCE_REPLY.unpack(rest)
        except struct.error:
            raise other_version("the board's answer to `source` cannot be read") from None
        return int(value) if is_live else None

    def beacon(self) -> None:
        """Say that the host is there: keeps a held button down and the remote from being lost."""
        self._must(RequestKind.BEACON)

    # -- for those who know the way ----------------------------------------------------------

    def _met(self, board: Greeted) -> Hello:
        self.address = board.address
        self.chunk_bytes = board.chunk_bytes
        return board.hello

    def _must(self, kind: RequestKind, payload: bytes = b"") -> bytes:
        reply = self.ask(kind, payload)
        if not reply.done:
            raise refused(kind.name.lower(), reply)
        return reply.rest


def stopped_answering(name: str) -> LinkFailure:
    return LinkFailure(
        "no-answer",
        f"the board on {name} stopped answering",
        "check plug, cable and supply, then repeat",
    )


def restarted() -> LinkFailure:
    return LinkFailure(
        "board-reset",
        "the board restarted while this program talked to it",
        "look at its supply: `bellcrank status` counts brown-outs and watchdog resets",
    )


def refused(what: str, reply: Reply) -> LinkFailure:
    """A request that the board would not do, in words."""
    meaning = {
        Status.MALFORMED: "it finds the request malformed",
        Status.UNKNOWN_KIND: "its firmware does not know this request",
        Status.BUSY: "it stayed busy",
        Status.OUT_OF_ORDER: "another program spoke to it in between",
        Status.NO_SUCH_CUE: "its show has no such cue",
        Status.NOT_IN_THIS_MODE: "it cannot do that in its present mode",
        Status.STOPPED: "a stop was pressed",
        Status.EMPTY: "its battery is empty: charge or change it, and give the board power anew",
    }.get(Status(reply.status) if reply.status in set(Status) else Status.DONE)
    return LinkFailure(
        "refused",
        f"the board refused `{what}`: {meaning or f'status {reply.status}'}",
        "install the firmware that came with this program (`bellcrank firmware`)"
        if reply.status == Status.UNKNOWN_KIND
        else None,
    )
