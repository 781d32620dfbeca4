"""What programs use to share the ports of this computer.

    with connect("my page") as owner:           # starts the owner if none runs
        link = owner.board("/dev/ttyUSB0")      # a BoardLink, as on a port of one's own
        link.greet()
        link.trigger(tag)
        owner.watch()
        for event in owner.events(1.0):         # what anybody did, and what went wrong
            ...
    press("stop", ["/dev/ttyUSB0"])             # has a way of its own and needs no connection

A connection belongs to one thread. When it ends, whichever way, the owner lets go of the buttons
that it held, and a transfer that it began leaves the old show in place. So a program that serves
several people gives each a connection of their own: when one goes, `close` releases what they held.
Whoever holds a button says something (`link.beacon()`) at least every second. What others do to a
board comes as events; what a board does by itself (a cue that ended) is seen with `link.state()`.
After `port-lost` or `owner-lost` a link is greeted again; `greet` finds a new owner by itself.
"""

from __future__ import annotations

import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Final, Literal

from firmware_gen.link.awaiting import LinkRequest, Reply
from firmware_gen.link.board_link import BoardLink, restarted
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.greeting import Greeted
from firmware_gen.link.owner import meeting, messages, neighbours
from firmware_gen.link.owner.messages import Lines, Message, MessageError
from firmware_gen.link.protocol import BAUD, Hello, RequestKind, Status

Pressed = Literal["stop", "limp"]

ANSWER_S: Final = 30.0
"""The owner answers everything sooner, whatever the board does."""
HEARD_S: Final = 1.5
"""An owner that does not even say within this time that it heard of a stop hangs."""
ELSEWHERE_S: Final = 10.0
"""Another user's owner has no more time than this for all that it says of a stop."""

_LONGEST_SAID: Final = 64 * 1024
"""Bytes of a line that another user's owner says."""
_LONGEST_TOLD: Final = 300
"""Characters of its words that are shown."""
_TRIES: Final = 8
_PAUSE_S: Final = 0.01
"""Longer from try to try: an owner that is just ending closes its sockets one after another."""


def same_name(port: str) -> str:
    """One name for each port, whatever folder a program runs in and whichever link it names."""
    if "://" in port:
        return port
    if sys.platform == "win32":
        return port.upper()
    return os.path.realpath(port) if "\0" not in port and os.path.exists(port) else port


class OwnerEndedError(LinkFailure):
    """The owner has gone, and the connection with it."""


def connect(name: str) -> OwnerConnection:
    """Reach the owner of this user's ports, and start one if none runs.

    `name`: how others are told who uses a port.

    Raises:
        LinkFailure: owner-lost, owner-differs, owner-not-ours.
    """
    place = meeting.meeting_place()
    for again in range(_TRIES):
        time.sleep(_PAUSE_S * again)
        met = meeting.meet(place, "owner")
        if met is None:
            meeting.start(place)
            continue
        connection = OwnerConnection(met, name)
        try:
            mark = connection.introduce()
        except LinkFailure:
            connection.close()
            raise
        if mark == meeting.mark():
            return connection
        # it is another version, or just about to end
        with connection:
            if mark is not None:
                connection.ask_to_end()
    words = "the process that owns the ports ends again and again"
    raise LinkFailure("owner-lost", words, "look for what ends it, then repeat")


class OwnerConnection:
    """A client's connection to the owner."""

    def __init__(self, met: meeting.Meeting, name: str) -> None:
        self.name = name
        self._met = met
        self._socket = met.connection
        self._lines = Lines(longest=None)
        self._held: list[Message] = []
        self._events: list[Message] = []
        self._number = 0

    def __enter__(self) -> OwnerConnection:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """What this client held is let go of."""
        self._socket.close()

    # -- what programs ask ---------------------------------------------------------------------

    def board(self, port: str, baud: int = BAUD) -> OwnedLink:
        """The board behind a port; `greet` it first."""
        return OwnedLink(self, same_name(port), baud)

    def watch(self) -> None:
        """From now on `events` tells what happens on every port."""
        self.request("watch")

    def events(self, timeout_s: float) -> Iterator[Message]:
        """Events that came, or come within this time. `messages` lists their fields."""
        end_s = time.monotonic() + timeout_s
        while True:
            while self._events:
                yield self._events.pop(0)
            left_s = end_s - time.monotonic()
            if left_s <= 0 or not self._wait(left_s):
                return

    def ports(self) -> list[Message]:
        """Ports that the owner has open: `port`, `baud`, `address`, and the other `clients`."""
        found: list[Message] = self.request("ports")["ports"]
        return found

    @contextmanager
    def lent(self, port: str) -> Iterator[None]:
        """The port is closed meanwhile, so that a program other than ours may open it."""
        self.request("lend", port=same_name(port))
        try:
            yield
        finally:
            with suppress(LinkFailure):
                self.request("return", port=same_name(port))

    # -- requests and answers ------------------------------------------------------------------

    def introduce(self) -> str | None:
        """Say who this is; the owner's version, or None if it is just ending."""
        try:
            words = {"client": self.name, "pid": os.getpid(), "mark": meeting.mark()}
            self.send({**words, "token": self._met.token})
            said = self._next(lambda message: "owner" in message or "failure" in message)
        except OwnerEndedError:
            return None
        if "failure" in said:
            raise messages.read_failure(said["failure"])
        return str(said["owner"])

    def ask_to_end(self) -> None:
        """Have an owner of another version end, and wait until it has.

        Raises:
            LinkFailure: owner-differs if it still serves others.
        """
        answer = self.request("end")
        if not answer.get("ending"):
            names = ", ".join(
                f"`{each.get('client')}` (process {each.get('pid')})"
                for each in answer.get("clients", [])
            )
            raise LinkFailure(
                "owner-differs",
                f"another version of this program has the ports, for {names}",
                "end that first, then repeat; `bellcrank stop` and `bellcrank limp` work meanwhile",
            )
        with suppress(LinkFailure):
            self._next(lambda message: False)

    def request(self, do: str, **fields: object) -> Message:
        """One request to the owner and its answer.

        Raises:
            LinkFailure: what it failed with, or owner-lost.
        """
        number = self.ask(do, **fields)
        answer = self.answer({number})
        if "failure" in answer:
            raise messages.read_failure(answer["failure"])
        return answer

    def ask(self, do: str, **fields: object) -> int:
        """Send a request without waiting; the number of its answer."""
        self._number += 1
        self.send({"id": self._number, "do": do, **fields})
        return self._number

    def answer(self, numbers: set[int]) -> Message:
        """The next answer to one of these requests."""
        return self._next(lambda message: message.get("id") in numbers)

    def answered(self, numbers: set[int], timeout_s: float) -> Message | None:
        """The next answer to one of these requests; None if none comes within this time."""
        end_s = time.monotonic() + timeout_s
        while True:
            for message in self._held:
                if message.get("id") in numbers:
                    self._held.remove(message)
                    return message
            if not self._wait(max(0.0, end_s - time.monotonic())):
                return None

    def fileno(self) -> int:
        """For whoever waits for an answer and for something else at a time (`select`)."""
        return self._socket.fileno()

    def send(self, message: Message) -> None:
        try:
            self._socket.settimeout(ANSWER_S)
            self._socket.sendall(messages.packed(message))
        except OSError as error:
            raise self._lost() from error

    def is_lost(self) -> bool:
        """Whether the owner has gone since."""
        try:
            self._wait(0.0)
        except LinkFailure:
            return True
        return False

    def reconnect(self) -> None:
        """Start anew with the owner that runs now."""
        self._socket.close()
        other = connect(self.name)
        self._met, self._socket, self._lines = other._met, other._socket, other._lines
        self._held.clear()

    def _next(self, wanted: Callable[[Message], bool]) -> Message:
        end_s = time.monotonic() + ANSWER_S
        while True:
            held, self._held = self._held, []
            for index, message in enumerate(held):
                if wanted(message):
                    self._held += held[index + 1 :]
                    return message
            left_s = end_s - time.monotonic()
            if left_s <= 0:
                raise LinkFailure(
                    "owner-lost",
                    f"the process that owns the ports{self._process()} does not answer",
                    "end that process, then repeat",
                )
            self._wait(left_s)

    def _wait(self, timeout_s: float) -> bool:
        """Take what comes within this time; whether something came."""
        try:
            self._socket.settimeout(timeout_s)
            data = self._socket.recv(16 * 1024)
        except (TimeoutError, BlockingIOError):
            return False
        except OSError as error:
            raise self._lost() from error
        if not data:
            raise self._lost()
        try:
            for line in self._lines.feed(data):
                message = messages.read(line)
                if "event" in message:
                    self._events.append(message["event"])
                else:
                    self._held.append(message)
        except MessageError as error:
            raise LinkFailure(
                "owner-lost", f"what the owner of the ports says is not understood ({error})"
            ) from None
        return True

    def _process(self) -> str:
        return "" if self._met.pid is None else f" (process {self._met.pid})"

    def _lost(self) -> OwnerEndedError:
        return OwnerEndedError(
            "owner-lost",
            f"the process that owns the ports{self._process()} ended while it was asked",
            "repeat: the next command starts a new one; `bellcrank status` says what the board "
            "does now",
        )


class OwnedLink(BoardLink):
    """A conversation with a board behind a port that all programs of this user share.

    `node`: address of a board that is reached through that one; see `through`.
    """

    def __init__(
        self,
        owner: OwnerConnection,
        port: str,
        baud: int,
        *,
        node: int | None = None,
        way: str = "",
    ) -> None:
        super().__init__(port + way, baud)
        self.owner = owner
        self._port = port
        self._where: Message = {"port": port, "baud": baud}
        if node is not None:
            self._where["node"] = node

    def through(self, address: int) -> OwnedLink:
        way = f" through board {self.address}"
        link = OwnedLink(self.owner, self._port, self.baud, node=address, way=way)
        link.lead = self
        return link

    def greet(self) -> Hello:
        if self.owner.is_lost():
            self.owner.reconnect()
        answer = self.owner.request("greet", **self._where)
        found = messages.read_outcome(answer)
        if not isinstance(found, Greeted):
            raise MessageError("a greeting is answered by a reply")
        return self._met(found)

    def exchange(
        self,
        requests: Sequence[LinkRequest],
        window: int = 1,
        progress: Callable[[int], None] | None = None,
    ) -> list[Reply]:
        replies: dict[int, Reply] = {}
        under_way: dict[int, int] = {}
        sent = 0
        while len(replies) < len(requests):
            while sent < len(requests) and len(under_way) < window:
                under_way[self._ask(requests[sent])] = sent
                sent += 1
            answer = self.owner.answer(set(under_way))
            index = under_way.pop(answer["id"])
            reply = messages.read_outcome(answer)
            assert isinstance(reply, Reply)
            replies[index] = reply
            if reply.status == Status.NOT_GREETED:
                raise restarted()
            if not reply.done:
                return [*(replies[i] for i in sorted(replies) if i != index), reply]
            if progress:
                progress(len(replies))
        return [replies[index] for index in range(len(requests))]

    def stop(self) -> Reply:
        return self._press("stop")

    def limp(self) -> Reply:
        return self._press("limp")

    def now(self) -> float:
        return time.monotonic()

    def pause(self, seconds: float) -> None:
        time.sleep(max(0.0, seconds))

    def _ask(self, request: LinkRequest) -> int:
        self.traffic.requests += 1
        asked = {"kind": int(request.kind), "payload": request.payload.hex()}
        return self.owner.ask("ask", **self._where, **asked)

    def _press(self, what: Pressed) -> Reply:
        (found,) = press(what, [self._port], self.baud, name=self.owner.name).values()
        if isinstance(found, LinkFailure):
            raise found
        with suppress(LinkFailure):  # it is pressed; an owner that ends forgets it all
            self.owner.request("pressed", port=self._port)
        return found


# -- stop and limp -----------------------------------------------------------------------------


def press(
    what: Pressed,
    ports: Sequence[str],
    baud: int = BAUD,
    *,
    everywhere: bool = False,
    opens: bool = True,
    name: str = "",
    heard: Callable[[str, Reply | LinkFailure], None] = lambda port, found: None,
) -> dict[str, Reply | LinkFailure]:
    """Stop, or limp, on these ports, before everything else; what came of it on each.

    The owner is started if it does not run. One that hangs is ended, where the system tells which
    process it is. `everywhere`: also on all ports that it has open. Without `opens`, only on those
    of `ports` that it has open, and none is started. `name`: who asks. `heard`: told what came of
    it on each port as soon as that is known, while others are still waited for.

    Raises:
        LinkFailure: owner-lost, owner-not-ours.
    """
    place = meeting.meeting_place()
    for again in range(_TRIES):
        time.sleep(_PAUSE_S * again)
        met = meeting.meet(place, "stop")
        if met is None and not opens:
            return {}
        if met is None:
            meeting.start(place)
            continue
        line = _line(what, ports, baud, everywhere, name)
        with met.connection:
            try:
                return _pressed(met, line if opens else {**line, "open": False}, heard)
            except _HangsError:
                _end_hung(place, met)
            except _EndedError:
                continue
    raise LinkFailure(
        "owner-lost",
        "the process that owns the ports ends again and again",
        "use the switch in the supply's lead, then repeat",
    )


@dataclass(frozen=True, slots=True)
class PressedElsewhere:
    """What came of a stop or limp on a port that another user's commands have."""

    user: str
    """In words."""
    port: str
    outcome: Reply | LinkFailure


def press_elsewhere(
    what: Pressed, ports: Sequence[str], *, everywhere: bool = False, name: str = ""
) -> list[PressedElsewhere]:
    """The same on ports that commands of other users of this computer have open.

    All their owners are asked at once, so one that hangs holds up no other. Other ports than theirs
    are left alone. What they say is another user's: it is bounded in time and length, and shown
    without what a terminal would obey.
    """
    found: list[PressedElsewhere] = []
    line = _line(what, ports, BAUD, everywhere, name)
    asking = [
        threading.Thread(target=lambda at=folder: found.extend(_ask_at(at, line)), daemon=True)
        for folder in neighbours.doors_of_others()
    ]
    for thread in asking:
        thread.start()
    for thread in asking:
        thread.join()
    return found


def _ask_at(folder: Path, line: Message) -> list[PressedElsewhere]:
    """What another user's owner says to a stop or limp; nothing if none is behind that door."""
    end_s = time.monotonic() + ELSEWHERE_S
    for _ in range(_TRIES):
        met = neighbours.knock(folder)
        if met is None:
            return []
        meeting_, number = met
        user = neighbours.name_of(number)
        why = "does not answer"
        with meeting_.connection:
            try:
                found = _pressed(meeting_, line, end_s=end_s)
                return [
                    PressedElsewhere(user, _shown(port), _told(outcome))
                    for port, outcome in found.items()
                ]
            except _EndedError:
                continue
            except _HangsError:
                pass
            except MessageError:
                why = "says what is not understood"
            except LinkFailure as failure:
                return [PressedElsewhere(user, "", _told(failure))]
        break
    else:
        why = "ends again and again"
    words = f"the process that owns the ports of the user {user} {why}"
    help = "use the switch in the supply's lead"
    return [PressedElsewhere(user, "", LinkFailure("owner-lost", words, help))]


def _told(outcome: Reply | LinkFailure) -> Reply | LinkFailure:
    if isinstance(outcome, Reply):
        return outcome
    help = outcome.help and _shown(outcome.help)
    return LinkFailure(outcome.reason, _shown(outcome.message), help)


def _shown(words: str) -> str:
    """Words of another user's, for a terminal."""
    return messages.printable(words)[:_LONGEST_TOLD]


class _HangsError(Exception):
    """The owner took the connection and says nothing."""


class _EndedError(Exception):
    """The owner ended before it said anything."""


def _line(what: Pressed, ports: Sequence[str], baud: int, everywhere: bool, name: str) -> Message:
    return {
        "urgent": what,
        "ports": [same_name(port) for port in ports],
        "all": everywhere,
        "baud": baud,
        "client": name,
    }


def _pressed(
    met: meeting.Meeting,
    line: Message,
    heard: Callable[[str, Reply | LinkFailure], None] = lambda port, found: None,
    end_s: float | None = None,
) -> dict[str, Reply | LinkFailure]:
    """`end_s`: when the other end, which is another user's, has had its time."""
    lines = _Said(met.connection, end_s)
    what = line["urgent"]
    try:
        met.connection.settimeout(HEARD_S)
        met.connection.sendall(messages.packed({**line, "token": met.token}))
        taken = lines.next(HEARD_S)
    except TimeoutError:
        raise _HangsError from None
    except OSError:
        raise _EndedError from None
    if taken is None:
        raise _EndedError
    if "failure" in taken:
        raise messages.read_failure(taken["failure"])
    names = taken.get("taken")
    if not isinstance(names, list):
        raise MessageError("`taken` is no list")
    left = {str(name) for name in names}
    found: dict[str, Reply | LinkFailure] = {}
    while left:
        try:
            said = lines.next(ANSWER_S)
        except OSError:
            said = None
        if said is None:
            lost = LinkFailure(
                "owner-lost",
                f"the process that owns the ports ended before the board confirmed `{what}`",
                f"repeat `bellcrank {what}`; the switch in the supply's lead ends everything",
            )
            for name in sorted(left):
                heard(name, lost)
            return found | dict.fromkeys(left, lost)
        name = str(said.get("port"))
        left.discard(name)
        try:
            reply = messages.read_outcome(said)
        except LinkFailure as failure:
            found[name] = failure
        else:
            assert isinstance(reply, Reply)
            found[name] = reply
        heard(name, found[name])
    return found


class _Said:
    """Lines that come. `end_s`: no time is given after it, and no line is longer than need be."""

    def __init__(self, connection: socket.socket, end_s: float | None) -> None:
        self._connection = connection
        self._end_s = end_s
        self._lines = Lines(longest=None if end_s is None else _LONGEST_SAID)
        self._found: list[bytes] = []

    def next(self, timeout_s: float) -> Message | None:
        """The next line; None at the end. Raises TimeoutError or another OSError."""
        until_s = time.monotonic() + timeout_s
        until_s = until_s if self._end_s is None else min(until_s, self._end_s)
        while True:
            left_s = until_s - time.monotonic()
            if left_s <= 0:
                raise TimeoutError
            if self._found:
                return messages.read(self._found.pop(0))
            self._connection.settimeout(left_s)
            data = self._connection.recv(4096)
            if not data:
                return None
            self._found += self._lines.feed(data)


def _end_hung(place: meeting.MeetingPlace, met: meeting.Meeting) -> None:
    """A stop gets through: the process at the other end of this socket is ended.

    Raises:
        LinkFailure: owner-lost where nothing tells which process that is.
    """
    pid = met.pid or meeting.process_of_owner(place)
    if pid is None:
        raise LinkFailure(
            "owner-lost",
            "the process that owns the ports does not answer",
            "end it (its command line holds `firmware_gen.link.owner`), then repeat; the switch in "
            "the supply's lead ends everything",
        )
    with suppress(OSError):
        # on Windows every signal ends a process at once
        os.kill(pid, getattr(signal, "SIGKILL", signal.SIGTERM))
    end_s = time.monotonic() + HEARD_S
    with suppress(OSError):
        met.connection.settimeout(max(0.01, end_s - time.monotonic()))
        met.connection.recv(1)


__all__ = [
    "OwnedLink",
    "OwnerConnection",
    "PressedElsewhere",
    "RequestKind",
    "connect",
    "press",
    "press_elsewhere",
]
