"""Reaching the board behind a port, and telling what is there if it is no board. LINK.md 3.

Pure bookkeeping without a port or a clock: whoever greets says what came, and what the time is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.protocol import (
    EVERYBODY,
    HELLO,
    MAX_DATA,
    PROTOCOL_VERSION,
    REPLY,
    Hello,
    PayloadError,
    RequestKind,
    Status,
)

HELLO_EVERY_S: Final = 0.05
HELLO_FOR_S: Final = 1.7
GARBAGE_AFTER_S: Final = 1.0
GARBAGE_BYTES: Final = 256


@dataclass(frozen=True, slots=True)
class Greeted:
    """The board that answered, at the address that it answered from."""

    address: int
    hello: Hello

    @property
    def chunk_bytes(self) -> int:
        """Most table bytes in one request or reply."""
        return max(1, min(self.hello.chunk_bytes, MAX_DATA))


@dataclass(slots=True)
class Greeting:
    """Hellos until a board answers, or until it is clear that none does.

    Args:
        name, baud: of the port, for words.
        session: that the host draws for itself.
        receiver: finds the frames in what comes.
        started: when it begins.
    """

    name: str
    baud: int
    session: int
    receiver: Receiver
    started: float
    seq: int = 0
    """Of the last hello; starts where an earlier greeting ended."""
    to: int = EVERYBODY
    """The board's address, where it is reached through the one that leads it."""
    next_hello: float = field(init=False)
    _good_before: int = field(init=False)
    _heard: int = 0
    _sent: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.next_hello = self.started
        self._good_before = self.receiver.good

    @property
    def ends(self) -> float:
        return self.started + HELLO_FOR_S

    @property
    def due(self) -> float:
        """When to ask `say` again."""
        return min(self.next_hello, self.ends)

    def say(self, now: float) -> bytes:
        """The bytes to send now, if any.

        Raises:
            LinkFailure: no-answer or garbage when the time is over.
        """
        silly = self._heard >= GARBAGE_BYTES and not self._understood
        if now >= self.ends or (silly and now >= self.started + GARBAGE_AFTER_S):
            raise self._garbage() if self._heard and not self._understood else self._silence()
        if now < self.next_hello:
            return b""
        self.next_hello = now + HELLO_EVERY_S
        self.seq = (self.seq + 1) & 0xFF
        self._sent.add(self.seq)
        return hello_frame(self.session, self.seq, self.to)

    @property
    def _understood(self) -> bool:
        return self.receiver.good > self._good_before

    def hear(self, frames: Sequence[LinkFrame], count: int) -> Greeted | None:
        """The board, if its answer is among the frames that `count` bytes brought.

        Raises:
            LinkFailure: echo, wrong-version.
        """
        self._heard += count
        for frame in frames:
            if frame.kind == RequestKind.HELLO | REPLY and frame.seq in self._sent:
                if frame.payload:
                    return read_hello(frame)
            elif frame.kind == RequestKind.HELLO and frame.seq in self._sent:
                raise self._echo()
        return None

    def _silence(self) -> LinkFailure:
        if self.to != EVERYBODY:
            return LinkFailure(
                "no-answer",
                f"board {self.to} does not answer through the board on {self.name}",
                "check that it has power, and both signal wires and ground between the boards; "
                "what it holds must say that it answers: flash it once by a plug of its own",
            )
        return LinkFailure(
            "no-answer",
            f"nobody answers on {self.name}",
            "check that the board has power and this program's firmware (`bellcrank firmware`), "
            f"that this is its port, and that it runs at {self.baud} baud (`--baud`)",
        )

    def _garbage(self) -> LinkFailure:
        return LinkFailure(
            "garbage",
            f"what answers on {self.name} does not speak this link",
            "check that this is the board's port, that it holds this program's firmware "
            f"(`bellcrank firmware`), and that it runs at {self.baud} baud (`--baud`)",
        )

    def _echo(self) -> LinkFailure:
        return LinkFailure(
            "echo",
            f"port {self.name} only returns what is sent to it",
            "choose the board's port, or take off what joins its transmit and receive lines",
        )


def hello_frame(session: int, seq: int, to: int = EVERYBODY) -> bytes:
    return encode(LinkFrame(to, RequestKind.HELLO, seq, HELLO.pack(session)))


def read_hello(frame: LinkFrame) -> Greeted:
    """What a board says of itself in its reply to hello.

    Raises:
        LinkFailure: wrong-version.
    """
    status, rest = frame.payload[0], frame.payload[1:]
    if status == Status.DONE and rest and rest[0] != PROTOCOL_VERSION:
        raise LinkFailure(
            "wrong-version",
            f"the board speaks version {rest[0]} of the link, this program version "
            f"{PROTOCOL_VERSION}",
            "install the firmware that came with this program (`bellcrank firmware`)"
            if rest[0] < PROTOCOL_VERSION
            else "use the newer program that the board's firmware came with",
        )
    try:
        if status != Status.DONE:
            raise PayloadError(f"status {status}")
        return Greeted(frame.to, Hello.unpack(rest))
    except PayloadError as error:
        raise other_version(f"the board's greeting cannot be read ({error})") from None


def other_version(words: str) -> LinkFailure:
    return LinkFailure(
        "wrong-version",
        words,
        "install the firmware that came with this program (`bellcrank firmware`)",
    )
