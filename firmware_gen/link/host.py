"""The host's end of the link: requests, replies, time-outs and retries. LINK.md section 3."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Final

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.ports import BytePort
from firmware_gen.link.protocol import (
    BUTTON,
    EVERYBODY,
    HELLO,
    MAX_DATA,
    MAX_ENCODED,
    ORDERED,
    PROTOCOL_VERSION,
    READ,
    REPLY,
    TRIGGER,
    Hello,
    PayloadError,
    RequestKind,
    State,
    Status,
)
from firmware_gen.table.layout import HEADER

HELLO_EVERY_S: Final = 0.05
HELLO_FOR_S: Final = 1.7
GARBAGE_AFTER_S: Final = 1.0
GARBAGE_BYTES: Final = 256
TIME_OUT_S: Final = 0.25
TIME_OUTS_S: Final = {RequestKind.VERIFY: 3.0, RequestKind.COMMIT: 1.0}
TRIES: Final = 5
BUSY_PAUSE_S: Final = 0.02
BUSY_FOR_S: Final = 10.0

_BITS_PER_BYTE: Final = 10
"""On the line: 8N1."""
_LENGTH_AT: Final = HEADER.offsets()["length"]


@dataclass(frozen=True, slots=True)
class LinkRequest:
    kind: RequestKind
    payload: bytes = b""


@dataclass(frozen=True, slots=True)
class Reply:
    """`status` is a `Status` or, from a newer board, any number; `rest` is what follows it."""

    status: int
    rest: bytes = b""

    @property
    def done(self) -> bool:
        return self.status == Status.DONE


@dataclass(slots=True)
class Traffic:
    """What the line cost: for progress lines and tests."""

    requests: int = 0
    repeats: int = 0
    busy: int = 0


@dataclass(slots=True)
class _UnderWay:
    """A request that is not answered yet."""

    index: int
    encoded: bytes
    wait_s: float
    due: float
    """When to send it again."""
    busy_until: float
    tries: int = 1
    """0 after a busy reply."""


@dataclass(slots=True)
class _Counters:
    ordered: int = 0
    others: int = 0
    session: int = field(default_factory=lambda: secrets.randbelow(0x10000))

    def next(self, kind: RequestKind) -> int:
        if kind in ORDERED:
            self.ordered = (self.ordered + 1) & 0xFF
            return self.ordered
        self.others = (self.others + 1) & 0xFF
        return self.others


class HostLink:
    """A conversation with the board behind a port; say `greet` first.

    Every method raises LinkFailure: no-answer, garbage, echo, port-lost, board-reset,
    wrong-version.
    """

    def __init__(self, port: BytePort) -> None:
        self.port = port
        self.address = EVERYBODY
        """Of the board, once it is greeted."""
        self.chunk_bytes = 1
        """Most table bytes in one request or reply, as the board says."""
        self.traffic = Traffic()
        self._receiver = Receiver()
        self._counters = _Counters()

    # -- greeting --------------------------------------------------------------------------

    def greet(self) -> Hello:
        """Reach the board, even one that the opening of its port has just reset."""
        self._counters = _Counters()
        self.address = EVERYBODY
        self._receiver = Receiver()
        started = self.port.now()
        again = started
        heard = 0
        sent: set[int] = set()
        while (now := self.port.now()) < started + HELLO_FOR_S:
            if now >= again:
                again = now + HELLO_EVERY_S
                sent.add(self._send_hello())
            data = self.port.read(min(again, started + HELLO_FOR_S) - now)
            heard += len(data)
            for frame in self._receiver.feed(data):
                if frame.kind == RequestKind.HELLO | REPLY and frame.seq in sent and frame.payload:
                    return self._greeted(frame)
                if frame.kind == RequestKind.HELLO and frame.seq in sent:
                    raise self._echo()
            silly = heard >= GARBAGE_BYTES and not self._receiver.good
            if silly and self.port.now() >= started + GARBAGE_AFTER_S:
                break
        raise self._garbage() if heard and not self._receiver.good else self._silence()

    def _send_hello(self) -> int:
        seq = self._counters.next(RequestKind.HELLO)
        payload = HELLO.pack(self._counters.session)
        self.port.write(encode(LinkFrame(EVERYBODY, RequestKind.HELLO, seq, payload)))
        return seq

    def _greeted(self, frame: LinkFrame) -> Hello:
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
            hello = Hello.unpack(rest)
        except PayloadError as error:
            raise _other_version(f"the board's greeting cannot be read ({error})") from None
        self.address = frame.to
        self.chunk_bytes = max(1, min(hello.chunk_bytes, MAX_DATA))
        return hello

    # -- requests --------------------------------------------------------------------------

    def ask(self, kind: RequestKind, payload: bytes = b"") -> Reply:
        """One request and its reply, whatever its status."""
        return self.exchange([LinkRequest(kind, payload)])[0]

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
        replies: dict[int, Reply] = {}
        under_way: dict[tuple[int, int], _UnderWay] = {}
        sent = 0
        while len(replies) < len(requests):
            while sent < len(requests) and len(under_way) < window:
                self._send(requests[sent], sent, under_way)
                sent += 1
            for index, reply in self._listen(under_way):
                replies[index] = reply
                if reply.status == Status.NOT_GREETED:
                    raise self._reset()
                if not reply.done:
                    return [*(replies[i] for i in sorted(replies) if i != index), reply]
                if progress:
                    progress(len(replies))
            self._repeat_late(under_way)
        return [replies[index] for index in range(len(requests))]

    def state(self) -> State:
        """The board's state and counters."""
        try:
            return State.unpack(self._must(RequestKind.STATUS))
        except PayloadError as error:
            raise _other_version(f"the board's state cannot be read ({error})") from None

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

    def beacon(self) -> None:
        """Say that the host is there: keeps a held button down and the remote from being lost."""
        self._must(RequestKind.BEACON)

    # -- the line --------------------------------------------------------------------------

    def _must(self, kind: RequestKind, payload: bytes = b"") -> bytes:
        reply = self.ask(kind, payload)
        if not reply.done:
            raise refused(kind.name.lower(), reply)
        return reply.rest

    def _send(
        self, request: LinkRequest, index: int, under_way: dict[tuple[int, int], _UnderWay]
    ) -> None:
        seq = self._counters.next(request.kind)
        encoded = encode(LinkFrame(self.address, request.kind, seq, request.payload))
        self.port.write(encoded)
        self.traffic.requests += 1
        now = self.port.now()
        line_bytes = sum(len(each.encoded) for each in under_way.values()) + len(encoded)
        wait_s = TIME_OUTS_S.get(request.kind, TIME_OUT_S)
        wait_s += (line_bytes + MAX_ENCODED) * _BITS_PER_BYTE / self.port.baud
        under_way[request.kind, seq] = _UnderWay(
            index, encoded, wait_s, now + wait_s, now + BUSY_FOR_S
        )

    def _listen(self, under_way: dict[tuple[int, int], _UnderWay]) -> list[tuple[int, Reply]]:
        """Wait until something comes or is due; the replies to what is under way."""
        due = min(each.due for each in under_way.values())
        answered = []
        for frame in self._receiver.feed(self.port.read(max(0.0, due - self.port.now()))):
            key = (frame.kind & ~REPLY, frame.seq)
            request = under_way.get(key)
            if request is None or not frame.kind & REPLY or not frame.payload:
                continue
            reply = Reply(frame.payload[0], frame.payload[1:])
            if reply.status == Status.BUSY and self.port.now() < request.busy_until:
                self.traffic.busy += 1
                request.tries = 0
                request.due = self.port.now() + BUSY_PAUSE_S
            else:
                del under_way[key]
                answered.append((request.index, reply))
        return answered

    def _repeat_late(self, under_way: dict[tuple[int, int], _UnderWay]) -> None:
        now = self.port.now()
        for request in under_way.values():
            if request.due > now:
                continue
            if request.tries == TRIES:
                raise LinkFailure(
                    "no-answer",
                    f"the board on {self.port.name} stopped answering",
                    "check plug, cable and supply, then repeat; an interrupted transfer leaves the "
                    "old show in place",
                )
            self.traffic.repeats += request.tries > 0
            request.tries += 1
            self.port.write(request.encoded)
            request.due = self.port.now() + request.wait_s

    # -- failures --------------------------------------------------------------------------

    def _silence(self) -> LinkFailure:
        return LinkFailure(
            "no-answer",
            f"nobody answers on {self.port.name}",
            "check that the board has power and this program's firmware (`bellcrank firmware`), "
            f"that this is its port, and that it runs at {self.port.baud} baud (`--baud`)",
        )

    def _garbage(self) -> LinkFailure:
        return LinkFailure(
            "garbage",
            f"what answers on {self.port.name} does not speak this link",
            "check that this is the board's port, that it holds this program's firmware "
            f"(`bellcrank firmware`), and that it runs at {self.port.baud} baud (`--baud`)",
        )

    def _echo(self) -> LinkFailure:
        return LinkFailure(
            "echo",
            f"port {self.port.name} only returns what is sent to it",
            "choose the board's port, or take off what joins its transmit and receive lines",
        )

    def _reset(self) -> LinkFailure:
        return LinkFailure(
            "board-reset",
            "the board restarted while this program talked to it",
            "look at its supply: `bellcrank status` counts brown-outs and watchdog resets",
        )


def _other_version(words: str) -> LinkFailure:
    return LinkFailure(
        "wrong-version",
        words,
        "install the firmware that came with this program (`bellcrank firmware`)",
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
    }.get(Status(reply.status) if reply.status in set(Status) else Status.DONE)
    return LinkFailure(
        "refused",
        f"the board refused `{what}`: {meaning or f'status {reply.status}'}",
        "install the firmware that came with this program (`bellcrank firmware`)"
        if reply.status == Status.UNKNOWN_KIND
        else None,
    )
