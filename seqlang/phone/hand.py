"""One phone's hand on the boards: its presses, its holds, and their end.

A hand has a thread and a connection to the owner of the ports for itself. Nothing in it waits for a
board: requests go out as they come, and answers are told as they come. What the phone holds is let
go of when it says nothing for a moment, when its connection ends, and when the owner ends.
"""

from __future__ import annotations

import selectors
import socket
import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, Final

from firmware_gen.link.awaiting import Reply
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.greeting import Greeted
from firmware_gen.link.owner import messages
from firmware_gen.link.owner.client import OwnerConnection, connect
from firmware_gen.link.protocol import BUTTON, ReportedMode, RequestKind, Status
from seqlang.phone.board_words import BoardSeen, that_decide
from seqlang.phone.said import PhoneSaid

SILENT_S: Final = 0.7
"""A phone says something four times as often. The board lets go after a second by itself."""
AGAIN_S: Final = 0.3
"""An owner that ended is looked for, or started anew, after this time."""
GREET_AGAIN_S: Final = 2.0
"""A greeting that came to nothing is not repeated sooner; it takes at most as long."""
MOST_WAITING: Final = 64
"""Messages of a phone that were not looked at yet; one with more is let go of."""
REARM_S: Final = (0.9, 10.0)
"""From the first step of a re-arm to the second: not by one touch, and not by a forgotten one."""

_LOST: Final = frozenset({"port-lost", "no-port", "no-answer", "owner-lost", "port-busy"})

_Waiter: Final[type[selectors.BaseSelector]] = getattr(
    selectors, "PollSelector", selectors.SelectSelector
)
"""Needs no file of its own, and takes those of any number where the system has it."""

Tell = Callable[[dict[str, Any]], None]


@dataclass(slots=True)
class _SharedRequest:
    """A request to several boards that is answered as one."""

    n: int
    left: int
    went_wrong: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Waiting:
    kind: RequestKind
    seen: BoardSeen
    pressed: _SharedRequest | None = None


class PhoneHand:
    """What one phone holds.

    Args:
        name: how others are told who presses.
        boards: what is known of the boards now; from any thread.
        stops: how many times anybody pressed stop or limp so far.
        tell: told answers and what the phone has to know; from the hand's own thread.
    """

    def __init__(
        self,
        name: str,
        boards: Callable[[], tuple[BoardSeen, ...]],
        stops: Callable[[], int],
        tell: Tell,
    ) -> None:
        self.name = name
        self._boards = boards
        self._stops = stops
        self._tell = tell
        self._inbox: deque[PhoneSaid] = deque()
        self._woken, self._waker = socket.socketpair()
        for end in (self._woken, self._waker):
            end.setblocking(False)
        self._is_closed = False
        self._heard = time.monotonic()
        self._held: dict[int, set[str]] = {}
        self._mine: dict[str, int] = {}
        self._greeted_at: dict[str, tuple[int, float]] = {}
        self._waits: dict[int, _Waiting] = {}
        self._rearm: tuple[float, int] | None = None
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)
        self._thread.start()

    def do(self, said: PhoneSaid) -> bool:
        """Have it done; False if too much waits already."""
        if len(self._inbox) >= MOST_WAITING:
            return False
        self._inbox.append(said)
        self._wake()
        return True

    def look_again(self) -> None:
        """What is known of the boards has changed."""
        self._wake()

    def close(self) -> None:
        """Let go of everything, soon."""
        self._is_closed = True
        self._wake()

    def join(self, timeout_s: float) -> None:
        self._thread.join(timeout_s)

    def _wake(self) -> None:
        with suppress(OSError):  # full: it is awake; closed: it has ended
            self._waker.send(b"\0")

    # -- the thread ------------------------------------------------------------------------------

    def _run(self) -> None:
        while not self._is_closed:
            try:
                with connect(self.name) as owner:
                    self._serve(owner)
            except LinkFailure as failure:
                self._owner_ended(failure)
                self._wait([self._woken], AGAIN_S)
        for end in (self._woken, self._waker):
            end.close()

    def _serve(self, owner: OwnerConnection) -> None:
        while not self._is_closed:
            self._get_to_know(owner)
            self._wait([self._woken, owner], self._wait_s())
            self._get_to_know(owner)
            while self._inbox and not self._is_closed:
                self._do(owner, self._inbox.popleft())
            while answer := owner.answered(set(self._waits), 0.0):
                self._answered(answer)
            self._note_silence(owner)

    def _wait(self, sources: list[Any], seconds: float) -> None:
        # not `select`: it takes no socket's number above 1023, and strangers may use up the others
        with _Waiter() as waiting:
            for source in sources:
                waiting.register(source, selectors.EVENT_READ)
            waiting.select(seconds)
        with suppress(OSError):
            self._woken.recv(4096)

    def _wait_s(self) -> float:
        left_s = self._heard + SILENT_S - time.monotonic()
        return max(0.0, left_s) if self._held else 1.0

    def _owner_ended(self, failure: LinkFailure) -> None:
        """The owner let go of what it held for this hand, or the board did after a second."""
        for pressed in {id(one.pressed): one.pressed for one in self._waits.values()}.values():
            if pressed:
                self._tell({"n": pressed.n, "failed": failure.message})
        self._waits.clear()
        self._mine.clear()
        self._greeted_at.clear()
        self._has_let_go("the program that owns the ports ended")
        while self._inbox:
            said = self._inbox.popleft()
            if said.n:
                self._tell({"n": said.n, "failed": failure.message})

    def _get_to_know(self, owner: OwnerConnection) -> None:
        """Greet boards that are new, or were away: only then may this connection ask them."""
        now = time.monotonic()
        for seen in self._boards():
            if not seen.answers or not seen.port or self._mine.get(seen.port) == seen.meeting:
                continue
            meeting, after = self._greeted_at.get(seen.port, (0, 0.0))
            if meeting == seen.meeting and now < after:
                continue
            if seen.port not in self._greeted_at:
                # the lookout has just met it: a press may follow the greeting at once. After it
                # was away the answer is waited for, because another may be in its place
                self._mine[seen.port] = seen.meeting
            self._greeted_at[seen.port] = (seen.meeting, now + GREET_AGAIN_S)
            self._forget(seen.port)
            number = owner.ask("greet", port=seen.port, baud=seen.baud)
            self._waits[number] = _Waiting(RequestKind.HELLO, seen)

    def _forget(self, port: str) -> None:
        """A greeting begins anew: what was asked before on this port is not answered any more."""
        for number, waiting in list(self._waits.items()):
            if waiting.seen.port == port:
                self._finish(self._waits.pop(number), _away(waiting.seen))

    # -- what the phone says ---------------------------------------------------------------------

    def _do(self, owner: OwnerConnection, said: PhoneSaid) -> None:
        self._heard = time.monotonic()
        if said.do == "beat":
            self._beat(owner)
        elif said.do == "down":
            self._down(owner, said)
        elif said.do == "up":
            self._up(owner, said)
        elif said.do == "ready-to-rearm":
            self._rearm = (self._heard, self._stops())
            self._tell({"n": said.n, "done": True})
        elif said.do == "rearm":
            self._do_rearm(owner, said)

    def _beat(self, owner: OwnerConnection) -> None:
        """Somebody is still there: tell the boards on which the phone holds something."""
        beats = {one.seen.port for one in self._waits.values() if one.kind == RequestKind.BEACON}
        held = set().union(*self._held.values()) if self._held else set()
        for seen in self._known():
            if seen.port in held - beats:
                self._ask(owner, seen, RequestKind.BEACON)

    def _down(self, owner: OwnerConnection, said: PhoneSaid) -> None:
        if said.button in self._held:
            self._tell({"n": said.n, "done": True})
            return
        wanted = [seen for seen in that_decide(self._boards()) if seen.takes(said.button)]
        known = {seen.port for seen in self._known()}
        reached = [seen for seen in wanted if seen.answers and seen.port in known]
        pressed = _SharedRequest(said.n, len(reached))
        pressed.went_wrong += [_away(seen) for seen in wanted if seen not in reached]
        if not wanted:
            pressed.went_wrong.append("no board of this show has that button")
        if not reached:
            self._settle(pressed)
            return
        self._held[said.button] = {str(seen.port) for seen in reached}
        for seen in reached:
            self._ask(owner, seen, RequestKind.BUTTON, BUTTON.pack(said.button, 1), pressed)

    def _up(self, owner: OwnerConnection, said: PhoneSaid) -> None:
        ports = self._held.pop(said.button, set())
        reached = [seen for seen in self._known() if seen.port in ports]
        pressed = _SharedRequest(said.n, len(reached))
        if not reached:
            self._settle(pressed)  # it was let go of before
        for seen in reached:
            self._ask(owner, seen, RequestKind.BUTTON, BUTTON.pack(said.button, 0), pressed)

    def _do_rearm(self, owner: OwnerConnection, said: PhoneSaid) -> None:
        begun, self._rearm = self._rearm, None
        least_s, most_s = REARM_S
        if begun is None or not least_s <= self._heard - begun[0] <= most_s:
            words = "re-arm takes two steps, a second apart"
            self._tell({"n": said.n, "failed": words})
            return
        if begun[1] != self._stops():
            self._tell({"n": said.n, "failed": "somebody pressed stop meanwhile"})
            return
        known = {seen.port for seen in self._known()}
        limp = [
            seen
            for seen in that_decide(self._boards())
            if seen.port in known and seen.state and seen.state.mode == ReportedMode.LIMP
        ]
        pressed = _SharedRequest(said.n, len(limp))
        if not limp:
            pressed.went_wrong.append("no board is limp")
            self._settle(pressed)
        for seen in limp:
            self._ask(owner, seen, RequestKind.STANDBY, b"", pressed)

    def _known(self) -> list[BoardSeen]:
        """Boards that this connection has greeted since they came."""
        return [
            seen
            for seen in self._boards()
            if seen.port and self._mine.get(seen.port) == seen.meeting
        ]

    def _ask(
        self,
        owner: OwnerConnection,
        seen: BoardSeen,
        kind: RequestKind,
        payload: bytes = b"",
        pressed: _SharedRequest | None = None,
    ) -> None:
        fields = {"port": seen.port, "baud": seen.baud}
        number = owner.ask("ask", **fields, kind=int(kind), payload=payload.hex())
        self._waits[number] = _Waiting(kind, seen, pressed)

    # -- what comes of it ------------------------------------------------------------------------

    def _answered(self, answer: messages.Message) -> None:
        waiting = self._waits.pop(answer["id"])
        seen = waiting.seen
        words = ""
        try:
            found = messages.read_outcome(answer)
        except LinkFailure as failure:
            words = self._failed(seen, failure)
        else:
            if isinstance(found, Greeted):
                is_same = found.address == seen.board.board.address
                if is_same and found.hello.show == seen.board.table.show:
                    self._mine[str(seen.port)] = seen.meeting
                else:
                    self._mine.pop(str(seen.port), None)
            else:
                words = _refusal(seen, found)
        self._finish(waiting, words)

    def _finish(self, waiting: _Waiting, words: str) -> None:
        """One of the boards that were asked has answered, or will not. `words`: what went wrong."""
        pressed = waiting.pressed
        if pressed:
            pressed.left -= 1
            pressed.went_wrong += [words] * bool(words)
            if not pressed.left:
                self._settle(pressed)

    def _failed(self, seen: BoardSeen, failure: LinkFailure) -> str:
        if failure.reason == "let-go":
            self._has_let_go("this computer heard nothing of the phone in time")
            return "the button was let go: press it again"
        if failure.reason == "overtaken":
            return "a stop came first"
        if failure.reason in _LOST:
            self._mine.pop(str(seen.port), None)
            for ports in self._held.values():
                ports.discard(str(seen.port))
            if self._held and not any(self._held.values()):
                self._has_let_go(f"board `{seen.board.name}` went away")
            return _away(seen)
        return failure.message

    def _settle(self, pressed: _SharedRequest) -> None:
        if pressed.went_wrong:
            words = "; ".join(dict.fromkeys(pressed.went_wrong))
            self._tell({"n": pressed.n, "failed": words})
        else:
            self._tell({"n": pressed.n, "done": True})

    # -- letting go ------------------------------------------------------------------------------

    def _note_silence(self, owner: OwnerConnection) -> None:
        if self._held and time.monotonic() >= self._heard + SILENT_S:
            for button in list(self._held):
                for seen in self._known():
                    if seen.port in self._held[button]:
                        self._ask(owner, seen, RequestKind.BUTTON, BUTTON.pack(button, 0))
            self._has_let_go("the phone said nothing for a moment")

    def _has_let_go(self, why: str) -> None:
        if self._held:
            buttons = sorted(self._held)
            self._held.clear()
            self._tell({"let_go": buttons, "why": why})


def _away(seen: BoardSeen) -> str:
    return f"board `{seen.board.name}` does not answer"


def _refusal(seen: BoardSeen, reply: Reply) -> str:
    """Why a board did not do it; nothing if it did."""
    if reply.done:
        return ""
    name = f"board `{seen.board.name}`"
    return {
        Status.NOT_IN_THIS_MODE: f"{name} is not ready",
        Status.BUSY: f"{name} is busy: press again",
        Status.NOT_GREETED: f"{name} has just restarted: press again",
        Status.OUT_OF_ORDER: f"{name} heard a stop first",
        Status.EMPTY: f"the battery of {name} is empty: change it",
    }.get(
        Status(reply.status) if reply.status in set(Status) else Status.MALFORMED,
        f"{name} refused it (status {reply.status})",
    )
