"""Requests that are sent and not answered yet: matching replies, repeats, giving up. LINK.md 3.

Pure bookkeeping without a port or a clock: whoever sends says what the time is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Generic, TypeVar

from firmware_gen.link.frames import LinkFrame
from firmware_gen.link.protocol import MAX_ENCODED, REPLY, RequestKind, Status
from sim.rulebook import FRAME_S

TIME_OUT_S: Final = 0.25
TIME_OUTS_S: Final = {RequestKind.VERIFY: 3.0, RequestKind.COMMIT: 1.0}
TRIES: Final = 5
BUSY_PAUSE_S: Final = FRAME_S
"""A board without room for a request has some after a frame."""
BUSY_FOR_S: Final = 10.0

_BITS_PER_BYTE: Final = 10
"""On the line: 8N1."""

Tag = TypeVar("Tag")


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
class _Awaited(Generic[Tag]):
    tag: Tag
    encoded: bytes
    wait_s: float
    due: float
    """When to send it again."""
    busy_until: float
    most_tries: int
    tries: int = 1
    """0 after a busy reply."""


class Awaiting(Generic[Tag]):
    """What is under way on one line. `Tag`: what the sender knows a request by.

    Args:
        baud: rate of the line; the bytes under way add to the time that a reply may take.
        traffic: counts repeats and busy replies.
    """

    def __init__(self, baud: int, traffic: Traffic) -> None:
        self._baud = baud
        self._traffic = traffic
        self._under_way: dict[tuple[int, int], _Awaited[Tag]] = {}

    def __len__(self) -> int:
        return len(self._under_way)

    def tags(self) -> list[Tag]:
        """Of what is under way, in the order of sending."""
        return [each.tag for each in self._under_way.values()]

    @property
    def due(self) -> float | None:
        """When the next request is late; None if none is under way."""
        return min((each.due for each in self._under_way.values()), default=None)

    def sent(
        self,
        tag: Tag,
        kind: RequestKind,
        seq: int,
        encoded: bytes,
        now: float,
        *,
        every_s: float | None = None,
        tries: int = TRIES,
    ) -> None:
        """A request has gone out. `every_s`: repeat it this often instead of as LINK.md says."""
        line_bytes = sum(len(each.encoded) for each in self._under_way.values()) + len(encoded)
        wait_s = every_s or TIME_OUTS_S.get(kind, TIME_OUT_S)
        wait_s += (line_bytes + MAX_ENCODED) * _BITS_PER_BYTE / self._baud
        self._under_way[kind, seq] = _Awaited(
            tag, encoded, wait_s, now + wait_s, now + BUSY_FOR_S, tries
        )

    def answer(self, frame: LinkFrame, now: float) -> tuple[Tag, Reply] | None:
        """Whose reply a frame is; None if it is nobody's, or says busy and is asked again."""
        key = (frame.kind & ~REPLY, frame.seq)
        request = self._under_way.get(key)
        if request is None or not frame.kind & REPLY or not frame.payload:
            return None
        reply = Reply(frame.payload[0], frame.payload[1:])
        if reply.status == Status.BUSY and now < request.busy_until:
            self._traffic.busy += 1
            request.tries = 0
            request.due = now + BUSY_PAUSE_S
            return None
        del self._under_way[key]
        return request.tag, reply

    def late(self, now: float) -> tuple[list[bytes], list[Tag]]:
        """What to send again, and what no reply came to after all tries."""
        again, given_up = [], []
        for key, request in list(self._under_way.items()):
            if request.due > now:
                continue
            if request.tries >= request.most_tries:
                del self._under_way[key]
                given_up.append(request.tag)
                continue
            self._traffic.repeats += request.tries > 0
            request.tries += 1
            request.due = now + request.wait_s
            again.append(request.encoded)
        return again, given_up

    def last_try(self, tag: Tag) -> None:
        """Wait for its reply, but do not send it again."""
        for each in self._under_way.values():
            if each.tag == tag:
                each.most_tries = each.tries

    def forget(self, tag: Tag) -> None:
        """Do not wait for it any longer."""
        for key in [key for key, each in self._under_way.items() if each.tag == tag]:
            del self._under_way[key]
