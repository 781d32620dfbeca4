"""Who may ask a board what, and when: the rules of sharing one line among clients.

Pure bookkeeping, like a board: requests, bytes and the time go in; bytes, answers and events come
out. `serving` has the sockets, the ports and the clock.

Stop and limp go before everything, also while a transfer or a greeting is under way. All other
requests of a client are taken in their order, and clients take turns. A client that ends, or that
falls silent, lets go of what it held: buttons go up, a transfer ends with the old show in place, a
servo that it jogs goes limp.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Final, Literal

from firmware_gen.link.awaiting import Awaiting, Reply, Traffic
from firmware_gen.link.board_link import stopped_answering
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.frames import LinkFrame, Receiver, encode
from firmware_gen.link.greeting import Greeted, Greeting
from firmware_gen.link.host import Counters
from firmware_gen.link.protocol import (
    BUTTON,
    EVERYBODY,
    HELD_FRAMES,
    RequestKind,
    Status,
)
from sim.rulebook import FRAME_S

URGENT: Final = (RequestKind.STOP, RequestKind.LIMP)
URGENT_EVERY_S: Final = 0.012
"""A stop whose frame was lost is repeated this soon: the board takes repetitions once."""
URGENT_TRIES: Final = 100
SILENT_S: Final = (HELD_FRAMES - 5) * FRAME_S
"""A client that holds a button says something more often than this. It is a little less than what
a board bears (LINK.md 2.3), so that this process lets go first, and can tell its client."""
TRANSFER_IDLE_S: Final = 15.0
"""A transfer whose client asks nothing for so long is over."""
MOST_ASKS: Final = 64
"""That a client may have waiting."""

_TRANSFER: Final = (RequestKind.OPEN, RequestKind.DATA, RequestKind.VERIFY, RequestKind.COMMIT)
_STARTS_SOMETHING: Final = (RequestKind.TRIGGER, RequestKind.BUTTON, RequestKind.STANDBY)
_OVERTAKEN: Final = (*_STARTS_SOMETHING, RequestKind.JOG)
"""What must not follow a stop."""
_ACTS: Final = (*URGENT, *_STARTS_SOMETHING, RequestKind.COMMIT)

Lane = Literal["ordered", "data", "verify", "other"]
"""Requests of one lane wait for one another; data up to the board's window."""

_LANES: Final[dict[RequestKind, Lane]] = {
    RequestKind.DATA: "data",
    RequestKind.VERIFY: "verify",
    RequestKind.READ: "other",
    RequestKind.STATUS: "other",
    RequestKind.BEACON: "other",
    RequestKind.PULSE: "other",
    RequestKind.SOURCE: "other",
}


@dataclass(slots=True, eq=False)
class Ask:
    """A request of a client's; `client` 0 is the owner itself."""

    client: int
    number: int
    kind: RequestKind
    payload: bytes = b""
    riders: list[Ask] = field(default_factory=list)
    """The same question of other clients: one answer serves all."""
    is_overtaken: bool = False

    @property
    def is_release(self) -> bool:
        is_button = self.kind == RequestKind.BUTTON and len(self.payload) == BUTTON.size
        return is_button and BUTTON.unpack(self.payload)[1] == 0

    @property
    def lane(self) -> Lane:
        return _LANES.get(self.kind, "ordered")


@dataclass(frozen=True, slots=True)
class Answer:
    """To a client: a reply, the board that was greeted, or why there is neither."""

    client: int
    number: int
    outcome: Reply | Greeted | LinkFailure


@dataclass(frozen=True, slots=True)
class BoardEvent:
    """What happened on a board's line.

    `what`: asked (a request that acts, with its answer), greeted, restarted, failed, let-go,
    slept.
    """

    what: str
    client: int = 0
    kind: RequestKind | None = None
    payload: bytes = b""
    status: int | None = None
    address: int | None = None
    words: str = ""


@dataclass(slots=True)
class _TransferOfOne:
    client: int
    last: float


class Arbiter:
    """The line to one board, shared.

    Args:
        name, baud: of the port.
        node: address of a board that is reached through the one behind the port; None: that one.
        lead: of the board behind the port, for one that is reached through it.
        behind: of the boards that are reached through this one, by their addresses.
    """

    def __init__(
        self,
        name: str,
        baud: int,
        node: int | None = None,
        *,
        lead: Arbiter | None = None,
        behind: Mapping[int, Arbiter] | None = None,
    ) -> None:
        self.name = name
        self.baud = baud
        self._node = node
        self._lead = self if lead is None else lead
        """Where it stands who jogs: one at a time turns a servo of all these boards."""
        self._behind = {} if behind is None else behind
        self.is_open = False
        """Nothing goes out before the port is open."""
        self.board: Greeted | None = None
        self.output: list[bytes] = []
        """Frames to be sent, in this order; whoever sends them takes them out."""
        self.answers: list[Answer] = []
        self.events: list[BoardEvent] = []
        self._receiver = Receiver()
        self._counters = Counters()
        self._awaiting: Awaiting[Ask] = Awaiting(baud, Traffic())
        self._greeting: Greeting | None = None
        self._hello_seq = 0
        self._greeters: list[tuple[int, int]] = []
        self._queues: dict[int, deque[Ask]] = {0: deque()}
        self._turns: deque[int] = deque()
        self._urgent: deque[Ask] = deque()
        self._transfer: _TransferOfOne | None = None
        self._stopped_transfers: set[int] = set()
        self._press_again: RequestKind | None = None
        self._held: dict[int, set[int]] = {}
        self._last_word: dict[int, float] = {}
        self._was_let_go: dict[int, str] = {}
        self._jogger: int | None = None
        """The client that turns a servo."""
        self._last_jog = 0.0
        self._stopped_jogger: int | None = None
        """The client that turned a servo when somebody else pressed stop, until it is told."""
        self._last_put = 0.0

    # -- clients -----------------------------------------------------------------------------

    def join(self, client: int) -> None:
        if client not in self._queues:
            self._queues[client] = deque()
            self._turns.append(client)

    def leave(self, client: int, now: float) -> None:
        """A client has ended, whichever way: what it held is released."""
        if client not in self._queues:
            return
        self._drop(client)
        self._let_go(client, "its client ended")
        self._end_jog(client)
        del self._queues[client]
        self._turns.remove(client)
        self._last_word.pop(client, None)
        self._was_let_go.pop(client, None)
        self._stopped_transfers.discard(client)
        self.knows_of_stop(client)
        self._move_on(now)

    def greet(self, client: int, number: int, now: float) -> None:
        """Reach the board anew. What this client asked before is not waited for any longer."""
        self.join(client)
        self._last_word[client] = now
        self._drop(client)
        self._greeters.append((client, number))
        if self.is_open:
            self._begin_greeting(now)
        self._move_on(now)

    def ask(self, client: int, number: int, kind: RequestKind, payload: bytes, now: float) -> None:
        """Put a request in its client's queue; stop and limp go before all queues."""
        self.join(client)
        self._note_silence(now)
        self._last_word[client] = now
        asked = Ask(client, number, kind, payload)
        if kind in URGENT:
            self._put_urgent(asked)
        elif refusal := self._refusal(asked, now):
            self._answer(asked, refusal)
        else:
            self._queues[client].append(asked)
        self._move_on(now)

    @property
    def is_idle(self) -> bool:
        """Nothing waits and nothing is held."""
        waits = self._urgent or self._greeting or self._greeters or len(self._awaiting)
        holds = any(self._held.values()) or self._jogger is not None
        return not waits and not any(self._queues.values()) and not holds

    # -- the line ----------------------------------------------------------------------------

    def opened(self, now: float) -> None:
        """The port is open."""
        self.is_open = True
        if self._greeters:
            self._begin_greeting(now)
        self._move_on(now)

    def hear(self, data: bytes, now: float) -> None:
        """Bytes that came from the board."""
        frames = [frame for frame in self._receiver.feed(data) if self._is_from_here(frame)]
        if self._greeting:
            try:
                board = self._greeting.hear(frames, len(data))
            except LinkFailure as failure:
                self.fail(failure)
            else:
                if board:
                    self._greeted(board)
        for frame in frames:
            answered = self._awaiting.answer(frame, now)
            if answered:
                self._answered(*answered, now)
        self._move_on(now)

    def _is_from_here(self, frame: LinkFrame) -> bool:
        return frame.to not in self._behind if self._node is None else frame.to == self._node

    def tick(self, now: float) -> None:
        """Time has passed: repeat what is late, give up what came to nothing."""
        self._note_silence(now)
        again, given_up = self._awaiting.late(now)
        for encoded in again:
            self._put(encoded, now)
        for asked in given_up:
            self._gave_up(asked)
        if self._transfer and now >= self._transfer.last + TRANSFER_IDLE_S:
            self._transfer = None
        for client, held in list(self._held.items()):
            silent_s = now - self._last_word.get(client, now)
            if held and silent_s >= SILENT_S:
                self._let_go(client, f"its client said nothing for {silent_s:.1f} s")
        if self._jogger is not None and now >= self._last_jog + SILENT_S:
            self._jogger = None  # the board ends it by itself
        self._move_on(now)

    def slept(self, seconds: float, now: float) -> None:
        """The computer slept, and the board heard nothing meanwhile."""
        words = f"this computer slept for {seconds:.0f} s"
        self.events.append(BoardEvent("slept", words=words))
        for client in list(self._held):
            self._let_go(client, words)
        self._move_on(now)

    @property
    def due(self) -> float | None:
        """When `tick` has something to do."""
        times = [self._greeting.due] if self._greeting else []
        times += [self._transfer.last + TRANSFER_IDLE_S] if self._transfer else []
        times += [self._last_word[one] + SILENT_S for one, held in self._held.items() if held]
        times += [] if self._jogger is None else [self._last_jog + SILENT_S]
        if self._awaiting.due is not None:
            times.append(self._awaiting.due)
        return min(times, default=None)

    def fail(self, failure: LinkFailure) -> None:
        """The port or the board cannot be worked with: everybody who waits hears why."""
        self.events.append(BoardEvent("failed", words=failure.message))
        self.board = None
        self._greeting = None
        self._transfer = None
        waiting = [*self._awaiting.tags(), *self._urgent]
        for queue in self._queues.values():
            waiting += queue
            queue.clear()
        for asked in self._awaiting.tags():
            self._awaiting.forget(asked)
        self._urgent.clear()
        for asked in waiting:
            self._answer(asked, failure)
        for client, number in self._greeters:
            self.answers.append(Answer(client, number, failure))
        self._greeters.clear()
        if failure.reason == "port-lost":
            self._held.clear()  # the board lets go by itself

    # -- what may be asked -------------------------------------------------------------------

    def _refusal(self, asked: Ask, now: float) -> Reply | LinkFailure | None:
        """Why a request is not passed on; None if it is."""
        if len(self._queues[asked.client]) >= MOST_ASKS:
            return Reply(Status.BUSY)
        if asked.client in self._was_let_go and asked.kind in (
            RequestKind.BEACON,
            RequestKind.BUTTON,
        ):
            return _let_go_words(self._was_let_go.pop(asked.client))
        if asked.kind in _TRANSFER:
            return self._transfer_refusal(asked, now)
        if asked.kind == RequestKind.JOG:
            return self._jog(asked, now)
        if asked.kind == RequestKind.BUTTON and len(asked.payload) == BUTTON.size:
            return self._button(asked)
        return None

    def _transfer_refusal(self, asked: Ask, now: float) -> Reply | LinkFailure | None:
        transfer = self._transfer
        if asked.client in self._stopped_transfers and asked.kind != RequestKind.OPEN:
            return _overtaken("the transfer")
        if transfer and transfer.client != asked.client:
            return LinkFailure(
                "transfer-under-way",
                f"another program is putting a show on the board on {self.name}",
                "wait until it is done, then repeat",
            )
        if asked.kind == RequestKind.OPEN:
            self._stopped_transfers.discard(asked.client)
            self._transfer = _TransferOfOne(asked.client, now)
        elif transfer:
            transfer.last = now
        elif asked.kind != RequestKind.VERIFY:  # a verify alone changes nothing
            return Reply(Status.OUT_OF_ORDER)
        return None

    def _button(self, asked: Ask) -> Reply | None:
        """Note who holds what. A button that another client still holds stays down."""
        button, down = BUTTON.unpack(asked.payload)
        held = self._held.setdefault(asked.client, set())
        if down:
            held.add(button)
            return None
        held.discard(button)
        return Reply(Status.DONE) if self._is_held(button) else None

    def _jog(self, asked: Ask, now: float) -> LinkFailure | None:
        """Note who turns a servo. Two who did so at once would pull it to and fro.

        Whoever turned one when somebody else pressed stop is told so first: it asks several times a
        second, and the board, which is limp already, would begin anew.
        """
        lead = self._lead
        if lead._stopped_jogger == asked.client:
            lead._stopped_jogger = None
            return _overtaken("`jog`")
        if lead._jogger not in (None, asked.client):
            return LinkFailure(
                "refused",
                f"another program turns a servo of the board on {self.name}"
                + (", or of one that it leads" if self._behind or lead is not self else ""),
                "end that first, then repeat",
            )
        lead._jogger, lead._last_jog = asked.client, now
        return None

    def _end_jog(self, client: int) -> None:
        """The servo that a client turned goes limp at once, and not only when the board ends it."""
        if self._jogger == client:
            words = "the servo that was jogged is limp: its client ended"
            self.events.append(BoardEvent("let-go", client, words=words))
            self._put_urgent(Ask(0, 0, RequestKind.LIMP))

    def _note_silence(self, now: float) -> None:
        """After a second without a frame the board has let go by itself: this process was held up.

        Whoever held a button is told so, and not that all went well.
        """
        silent_s = now - self._last_put
        if self.is_open and self._last_put and silent_s >= SILENT_S:
            for client in [one for one, held in self._held.items() if held]:
                self._let_go(client, f"the board heard nothing for {silent_s:.1f} s")

    def _put(self, encoded: bytes, now: float) -> None:
        self.output.append(encoded)
        self._last_put = now

    def _is_held(self, button: int) -> bool:
        return any(button in held for held in self._held.values())

    def _let_go(self, client: int, why: str) -> None:
        buttons = self._held.pop(client, set())
        queue = self._queues[client]
        for waiting in [each for each in queue if buttons and each.kind == RequestKind.BUTTON]:
            queue.remove(waiting)  # a press that has not gone out must not follow the release
            self._answer(waiting, _let_go_words(why))
        for button in sorted(buttons):
            words = f"button {button} was let go: {why}"
            self.events.append(BoardEvent("let-go", client, words=words))
            if not self._is_held(button):
                payload = BUTTON.pack(button, False)
                self._queues[0].append(Ask(0, 0, RequestKind.BUTTON, payload))
        if buttons:
            self._was_let_go[client] = why

    def _drop(self, client: int) -> None:
        """Forget what a client asked. A stop that was asked for is done all the same, and so is the
        release of a button: others may keep the line busy, and then no board lets go by itself."""
        if client in self._queues:
            waiting = self._queues[client]
            self._queues[0] += [replace(each, client=0) for each in waiting if each.is_release]
            waiting.clear()
        for asked in self._awaiting.tags():
            is_done = asked.kind in URGENT or asked.is_release or bool(asked.riders)
            if asked.client == client and not is_done:
                self._awaiting.forget(asked)
        self._greeters = [each for each in self._greeters if each[0] != client]
        if self._transfer and self._transfer.client == client:
            self._transfer = None

    # -- sending -----------------------------------------------------------------------------

    def _move_on(self, now: float) -> None:
        """Send whatever may go out now."""
        if not self.is_open:
            return
        self._send_urgent(now)
        if self._greeting:
            self._say_hello(now)
            return
        if self.board is None:
            if self._urgent or any(self._queues.values()):
                self._begin_greeting(now)
                self._say_hello(now)
            return
        while asked := self._next():
            self._send(asked, now)

    def knows_of_stop(self, client: int) -> None:
        """A client that turned a servo pressed stop itself: it is not told of it."""
        if self._stopped_jogger == client:
            self._stopped_jogger = None

    def _put_urgent(self, asked: Ask) -> None:
        """What was to start something and has not gone out yet must not start after a stop."""
        if self._jogger not in (None, asked.client):
            self._stopped_jogger = self._jogger
        self._drop_overtaken()
        self._stop_transfer(asked)
        for one in self._behind.values():
            one._led_to_stop(asked)
        self._jogger = None
        if asked.kind == RequestKind.LIMP:
            self._urgent.appendleft(asked)
        else:
            self._urgent.append(asked)

    def _drop_overtaken(self) -> None:
        """Answer what waits here and must not follow a stop."""
        for queue in self._queues.values():
            for waiting in [each for each in queue if each.kind in _OVERTAKEN]:
                if waiting.kind == RequestKind.BUTTON and waiting.payload[1:] == b"\0":
                    continue
                queue.remove(waiting)
                self._answer(waiting, _overtaken(f"`{waiting.kind.name.lower()}`"))
                if waiting.kind == RequestKind.JOG:
                    self._lead.knows_of_stop(waiting.client)  # it is told by this answer

    def _led_to_stop(self, asked: Ask) -> None:
        """The board through which this one is reached was stopped, and with it this one. A commit
        that is on the way already may come to its end: what leads tells its stop to any show."""
        self._drop_overtaken()
        for each in self._awaiting.tags():
            if each.kind == RequestKind.JOG:
                each.is_overtaken = True  # the board that leads takes no repetition for a while
                self._awaiting.last_try(each)
        if not any(each.kind == RequestKind.COMMIT for each in self._awaiting.tags()):
            self._stop_transfer(asked)

    def _stop_transfer(self, asked: Ask) -> None:
        """After a stop no new show may start by itself: a transfer ends with the old one in place.

        If its commit is on the way already, the new show is stopped as soon as it is there.
        """
        if any(each.kind == RequestKind.COMMIT for each in self._awaiting.tags()):
            self._press_again = asked.kind
        elif self._transfer:
            client = self._transfer.client
            self._transfer = None
            self._stopped_transfers.add(client)
            queue = self._queues[client]
            for waiting in [each for each in queue if each.kind in _TRANSFER]:
                queue.remove(waiting)
                self._answer(waiting, _overtaken("the transfer"))

    def _send_urgent(self, now: float) -> None:
        """One stop after another; limp waits for no stop."""
        while self._urgent and self.board:
            under_way = [each for each in self._awaiting.tags() if each.kind in URGENT]
            asked = self._urgent[0]
            if any(each.kind == RequestKind.LIMP or each.kind == asked.kind for each in under_way):
                return
            self._urgent.popleft()
            for each in self._awaiting.tags():
                if each.lane == "ordered":
                    # the board takes no repetition of what is older than the stop
                    each.is_overtaken = True
                    self._awaiting.last_try(each)
            self._send(asked, now, every_s=URGENT_EVERY_S, tries=URGENT_TRIES)

    def _next(self) -> Ask | None:
        """The next request that may go out."""
        under_way = [each.lane for each in self._awaiting.tags() if each.kind not in URGENT]
        window = max(1, self.board.hello.window) if self.board else 1
        for queue in self._in_turn():
            if not queue:
                continue
            lane = queue[0].lane
            if under_way.count(lane) < (window if lane == "data" else 1):
                asked = queue.popleft()
                asked.riders = list(self._riders(asked))
                return asked
        return None

    def _in_turn(self) -> Iterator[deque[Ask]]:
        """The owner's own queue, which only lets go, and then those of clients, who take turns."""
        yield self._queues[0]
        for _ in range(len(self._turns)):
            client = self._turns[0]
            self._turns.rotate(-1)
            yield self._queues[client]

    def _riders(self, asked: Ask) -> Iterator[Ask]:
        """The same question at the head of other queues."""
        if asked.kind not in (RequestKind.STATUS, RequestKind.BEACON) or asked.payload:
            return
        for queue in self._queues.values():
            if queue and queue[0].kind == asked.kind and not queue[0].payload:
                yield queue.popleft()

    def _send(self, asked: Ask, now: float, every_s: float | None = None, tries: int = 5) -> None:
        seq = self._counters.next(asked.kind)
        # a new show may have changed the address: a stop does not wait to hear it
        board = None if asked.kind in URGENT else self.board
        address = board.address if board else EVERYBODY
        address = address if self._node is None else self._node
        encoded = encode(LinkFrame(address, asked.kind, seq, asked.payload))
        self._put(encoded, now)
        self._awaiting.sent(asked, asked.kind, seq, encoded, now, every_s=every_s, tries=tries)

    # -- answers -----------------------------------------------------------------------------

    def _answered(self, asked: Ask, reply: Reply, now: float) -> None:
        if reply.status == Status.NOT_GREETED:
            self.events.append(BoardEvent("restarted", words="the board restarted"))
            self._transfer = None
            self.board = None
            self._begin_greeting(now)
            if asked.kind in URGENT:
                self._urgent.appendleft(asked)
                return
        if asked.kind in _ACTS:
            self._tell(asked, reply.status)
        is_over = asked.kind == RequestKind.OPEN and not reply.done
        if is_over or (asked.kind == RequestKind.COMMIT and reply.done):
            self._transfer = None
        if asked.kind == RequestKind.COMMIT and reply.done:
            self._begin_greeting(now)  # at the address that the new show gave it
            if self._press_again:
                self._urgent.append(Ask(0, 0, self._press_again))
                self._press_again = None
        if asked.kind in URGENT:
            self._outrun(asked)
        self._answer(asked, reply)

    def _outrun(self, asked: Ask) -> None:
        """A limp that was answered makes the stop that it overtook done too."""
        for each in self._awaiting.tags():
            if asked.kind == RequestKind.LIMP and each.kind == RequestKind.STOP:
                self._awaiting.forget(each)
                self._answer(each, Reply(Status.DONE))

    def _gave_up(self, asked: Ask) -> None:
        if asked.is_overtaken:
            if asked.kind == RequestKind.JOG:
                self._lead.knows_of_stop(asked.client)  # it is told by this answer
            is_transfer = asked.kind in _TRANSFER
            words = _overtaken(f"`{asked.kind.name.lower()}`")
            self._answer(asked, Reply(Status.OUT_OF_ORDER) if is_transfer else words)
            return
        self._answer(asked, stopped_answering(self.name))
        self.board = None

    def _answer(self, asked: Ask, outcome: Reply | LinkFailure) -> None:
        for each in (asked, *asked.riders):
            if each.client in self._queues and each.client:
                self.answers.append(Answer(each.client, each.number, outcome))

    def _tell(self, asked: Ask, status: int) -> None:
        address = self.board.address if self.board else None
        self.events.append(
            BoardEvent("asked", asked.client, asked.kind, asked.payload, status, address)
        )

    # -- greeting ----------------------------------------------------------------------------

    def _begin_greeting(self, now: float) -> None:
        if self._greeting is None:
            session = self._counters.session
            to = EVERYBODY if self._node is None else self._node
            self._greeting = Greeting(
                self.name, self.baud, session, self._receiver, now, self._hello_seq, to
            )

    def _say_hello(self, now: float) -> None:
        assert self._greeting is not None
        try:
            hello = self._greeting.say(now)
        except LinkFailure as failure:
            self.fail(failure)
            return
        self._hello_seq = self._greeting.seq
        if hello:
            self._put(hello, now)

    def _greeted(self, board: Greeted) -> None:
        self._greeting = None
        if self.board is None:
            self.events.append(BoardEvent("greeted", address=board.address))
        self.board = board
        for client, number in self._greeters:
            self.answers.append(Answer(client, number, board))
        self._greeters.clear()


def _let_go_words(why: str) -> LinkFailure:
    return LinkFailure("let-go", f"the button was let go: {why}", "press it again")


def _overtaken(what: str) -> LinkFailure:
    return LinkFailure(
        "overtaken",
        f"a stop came before {what} was done",
        "`bellcrank status` says what the board does now",
    )
