"""The host's end of the link on a port of its own: LINK.md section 3."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from firmware_gen.link.awaiting import Awaiting, LinkRequest, Reply
from firmware_gen.link.board_link import BoardLink, restarted, stopped_answering
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.greeting import Greeting
from firmware_gen.link.ports import BytePort
from firmware_gen.link.protocol import EVERYBODY, ORDERED, Hello, RequestKind, Status


@dataclass(slots=True)
class Counters:
    """The host's two counters of requests, and the session that it draws."""

    ordered: int = 0
    others: int = 0
    session: int = field(default_factory=lambda: secrets.randbelow(0x10000))

    def next(self, kind: RequestKind) -> int:
        if kind in ORDERED:
            self.ordered = (self.ordered + 1) & 0xFF
            return self.ordered
        self.others = (self.others + 1) & 0xFF
        return self.others


class HostLink(BoardLink):
    """A conversation with the board behind a port that nobody else uses.

    `node`: address of a board that is reached through that one; see `through`.
    """

    def __init__(self, port: BytePort, *, node: int | None = None, way: str = "") -> None:
        super().__init__(port.name + way, port.baud)
        self.port = port
        self._node = node
        self._elsewhere: set[int] = set()
        """Addresses of boards that are reached through this one."""
        self._receiver = Receiver()
        self._counters = Counters()

    def greet(self) -> Hello:
        self._counters = Counters()
        self.address = EVERYBODY if self._node is None else self._node
        self._receiver = Receiver()
        greeting = Greeting(
            *(self.port.name, self.baud, self._counters.session, self._receiver, self.port.now()),
            to=self.address,
        )
        while True:
            hello = greeting.say(self.port.now())
            if hello:
                self.port.write(hello)
            data = self.port.read(max(0.0, greeting.due - self.port.now()))
            board = greeting.hear(self._heard(data), len(data))
            if board:
                return self._met(board)

    def through(self, address: int) -> HostLink:
        self._elsewhere.add(address)
        link = HostLink(self.port, node=address, way=f" through board {self.address}")
        link.lead = self
        return link

    def _heard(self, data: bytes) -> list[LinkFrame]:
        """Frames of this board's: others answer over the same port."""
        frames = self._receiver.feed(data)
        if self._node is not None:
            return [frame for frame in frames if frame.to == self._node]
        return [frame for frame in frames if frame.to not in self._elsewhere]

    def exchange(
        self,
        requests: Sequence[LinkRequest],
        window: int = 1,
        progress: Callable[[int], None] | None = None,
    ) -> list[Reply]:
        replies: dict[int, Reply] = {}
        awaiting: Awaiting[int] = Awaiting(self.baud, self.traffic)
        sent = 0
        while len(replies) < len(requests):
            while sent < len(requests) and len(awaiting) < window:
                self._send(requests[sent], sent, awaiting)
                sent += 1
            for index, reply in self._listen(awaiting):
                replies[index] = reply
                if reply.status == Status.NOT_GREETED:
                    raise restarted()
                if not reply.done:
                    return [*(replies[i] for i in sorted(replies) if i != index), reply]
                if progress:
                    progress(len(replies))
            again, given_up = awaiting.late(self.port.now())
            for encoded in again:
                self.port.write(encoded)
            if given_up:
                raise stopped_answering(self.name)
        return [replies[index] for index in range(len(requests))]

    def now(self) -> float:
        return self.port.now()

    def pause(self, seconds: float) -> None:
        end_s = self.port.now() + seconds
        while (left := end_s - self.port.now()) > 0:
            self.port.read(left)

    def _send(self, request: LinkRequest, index: int, awaiting: Awaiting[int]) -> None:
        seq = self._counters.next(request.kind)
        encoded = encode(LinkFrame(self.address, request.kind, seq, request.payload))
        self.port.write(encoded)
        self.traffic.requests += 1
        awaiting.sent(index, request.kind, seq, encoded, self.port.now())

    def _listen(self, awaiting: Awaiting[int]) -> list[tuple[int, Reply]]:
        """Wait until something comes or is due; the replies to what is under way."""
        due = awaiting.due
        wait_s = 0.0 if due is None else max(0.0, due - self.port.now())
        frames = self._heard(self.port.read(wait_s))
        found = (awaiting.answer(frame, self.port.now()) for frame in frames)
        return [answered for answered in found if answered]
