"""The owner at work: one loop over its clients' sockets and its ports' bytes.

The loop never waits for a client or a port: sockets do not block, and ports have threads of their
own. What comes on the socket for stop and limp is looked at first, and again before each client.
"""

from __future__ import annotations

import hmac
import os
import selectors
import socket
import time
import traceback
from collections import Counter, deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Final

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.owner import messages
from firmware_gen.link.owner.arbiter import Arbiter, BoardEvent
from firmware_gen.link.owner.meeting import Listeners, mark, peer
from firmware_gen.link.owner.messages import Lines, Message, MessageError
from firmware_gen.link.owner.neighbours import name_of
from firmware_gen.link.owner.port_threads import PortThreads
from firmware_gen.link.protocol import BAUD, PASSED, RequestKind
from sim.rulebook import ADDRESSES

PORT_KEPT_S: Final = 10.0
"""A port that nobody uses any more is closed after this time. Until then the next command finds
it open, and the board is not reset by another opening."""
MOST_UNREAD: Final = 256 * 1024
"""Bytes that wait for a client that does not read; with more it is stuck, and is let go of."""
MOST_NEIGHBOURS: Final = 16
"""Connections of other users at a time; beyond, the user who has most gives up the oldest."""
NEIGHBOUR_S: Final = 2.0
"""Another user who says nothing for so long is let go of."""
SLEPT_S: Final = 2.0
"""A clock that jumps this far while the loop waited means that the computer slept."""

_READ_AT_ONCE: Final = 4096
_LONGEST_WAIT_S: Final = 0.5
_URGENT: Final = {"stop": RequestKind.STOP, "limp": RequestKind.LIMP}


@dataclass(eq=False)
class _Client:
    number: int
    connection: socket.socket
    is_urgent: bool
    lines: Lines = field(default_factory=Lines)
    out: bytearray = field(default_factory=bytearray)
    name: str = ""
    pid: int = 0
    is_known: bool = False
    watches: bool = False
    lost: dict[str, LinkFailure] = field(default_factory=dict)
    """Ports that failed while this client used them. It has to greet before it asks again: what
    was on its way when the port failed must not open another that has the same name by now."""
    untold: set[str] = field(default_factory=set)
    """Those of which it has not heard yet."""
    waits_for: set[str] = field(default_factory=set)
    """Ports whose answer to stop or limp is still to come."""
    neighbour: int | None = None
    """The number of the other user whose it is."""
    since: float = field(default_factory=time.monotonic)


@dataclass(eq=False)
class _SharedPort:
    name: str
    baud: int
    arbiter: Arbiter
    threads: PortThreads
    clients: set[int]
    used: float
    """When somebody last needed it."""
    behind: dict[int, Arbiter] = field(default_factory=dict)
    """Of boards that are reached through the one behind the port, by their addresses."""

    @property
    def arbiters(self) -> list[Arbiter]:
        return [self.arbiter, *self.behind.values()]


class Owner:
    """Serves clients until nobody needs it.

    Args:
        listeners: where it is met.
        grace_s: how long it stays without clients.
        leave: called first when it ends, so that no new client finds it.
        door: where other users' stops are heard.
    """

    def __init__(
        self,
        listeners: Listeners,
        grace_s: float,
        leave: Callable[[], None],
        door: socket.socket | None = None,
    ) -> None:
        self._listeners = listeners
        self._grace_s = grace_s
        self._leave = leave
        self._door = door
        self._clients: dict[int, _Client] = {}
        self._ports: dict[str, _SharedPort] = {}
        self._closing: dict[str, PortThreads] = {}
        self._lent: dict[str, int] = {}
        self._lending: list[tuple[_Client, int, str]] = []
        self._numbers = 0
        self._inbox: deque[tuple[PortThreads, bytes | LinkFailure | None]] = deque()
        self._woken, self._waker = socket.socketpair()
        self._all = selectors.DefaultSelector()
        self._first = selectors.DefaultSelector()
        self._is_ending = False
        self._needed = time.monotonic()
        for listener in (listeners.owner, listeners.stop):
            listener.setblocking(False)
            self._all.register(listener, selectors.EVENT_READ)
        self._first.register(listeners.stop, selectors.EVENT_READ)
        if door:
            door.setblocking(False)
            self._all.register(door, selectors.EVENT_READ)
        for end in (self._woken, self._waker):
            end.setblocking(False)
        self._all.register(self._woken, selectors.EVENT_READ)

    def end(self) -> None:
        """End soon; buttons go up first."""
        self._is_ending = True
        self._wake()

    def run(self) -> None:
        """Serve until nobody needs it any more, or `end` is called."""
        clocks = _Clocks()
        while not self._is_over():
            ready = self._all.select(self._wait_s())
            self._slept(clocks.jump())
            self._serve_first()
            for key, _ in ready:
                self._serve(key.fileobj)
                self._serve_first()
            self._tick()
        self._close()

    # -- the loop ------------------------------------------------------------------------------

    def _is_over(self) -> bool:
        now = time.monotonic()
        if self._clients or self._ports:
            self._needed = now
        return self._is_ending or now >= self._needed + self._grace_s

    def _wait_s(self) -> float:
        dues = [one.due for port in self._ports.values() for one in port.arbiters]
        due = min((one for one in dues if one is not None), default=None)
        if due is None:
            return _LONGEST_WAIT_S
        return min(_LONGEST_WAIT_S, max(0.0, due - time.monotonic()))

    def _serve_first(self) -> None:
        """This user's stop and limp, before anybody else. Other users' have their turn in each
        round: whoever floods the door would have every turn here."""
        while ready := self._first.select(0):
            for key, _ in ready:
                self._serve(key.fileobj)

    def _serve(self, source: object) -> None:
        if source is self._woken:
            with suppress(OSError):
                self._woken.recv(4096)
            self._take_inbox()
        elif source in (self._listeners.owner, self._listeners.stop):
            self._accept(source, is_urgent=source is self._listeners.stop)
        elif self._door and source is self._door:
            self._accept(self._door, is_urgent=True, is_neighbour=True)
        else:
            for client in list(self._clients.values()):
                if client.connection is source:
                    self._send(client)
                    self._receive(client)

    def _tick(self) -> None:
        now = time.monotonic()
        for each in self._neighbours():
            if not each.waits_for and now >= each.since + NEIGHBOUR_S:
                self._hang_up(each)
        for port in list(self._ports.values()):
            for one in port.arbiters:
                one.tick(now)
            self._flush(port)
            if port.clients or not all(one.is_idle for one in port.arbiters):
                port.used = now
            elif now >= port.used + PORT_KEPT_S:
                self._close_port(port)

    def _slept(self, seconds: float) -> None:
        if seconds >= SLEPT_S:
            for port in self._ports.values():
                port.arbiter.slept(seconds, time.monotonic())  # on the others nobody holds anything

    def _close(self) -> None:
        self._leave()
        for client in list(self._clients.values()):
            self._hang_up(client)
        for port in list(self._ports.values()):
            self._close_port(port)
        for threads in self._closing.values():
            threads.join(2.0)
        for selector in (self._all, self._first):
            selector.close()
        for end in (self._woken, self._waker):
            end.close()

    # -- clients -------------------------------------------------------------------------------

    def _accept(
        self, listener: socket.socket, *, is_urgent: bool, is_neighbour: bool = False
    ) -> None:
        try:
            connection, _ = listener.accept()
        except OSError:
            return
        connection.setblocking(False)
        self._numbers += 1
        client = _Client(self._numbers, connection, is_urgent)
        if is_neighbour:
            client.neighbour = peer(connection)[1] or 0
            self._make_room()
        self._clients[client.number] = client
        self._watch(client)

    def _neighbours(self) -> list[_Client]:
        return [each for each in self._clients.values() if each.neighbour is not None]

    def _make_room(self) -> None:
        """For another user's connection: who has most of them gives up the oldest."""
        while len(here := self._neighbours()) >= MOST_NEIGHBOURS:
            counts = Counter(each.neighbour for each in here)
            most = max(counts.values())
            self._hang_up(next(each for each in here if counts[each.neighbour] == most))

    def _selectors_of(self, client: _Client) -> tuple[selectors.BaseSelector, ...]:
        is_first = client.is_urgent and client.neighbour is None
        return (self._all, self._first) if is_first else (self._all,)

    def _watch(self, client: _Client) -> None:
        events = selectors.EVENT_READ | (selectors.EVENT_WRITE if client.out else 0)
        for selector in self._selectors_of(client):
            try:
                selector.modify(client.connection, events)
            except KeyError:
                selector.register(client.connection, events)

    def _receive(self, client: _Client) -> None:
        if client.number not in self._clients:
            return
        try:
            data = client.connection.recv(_READ_AT_ONCE)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        if not data:
            self._hang_up(client)
            return
        try:
            for line in client.lines.feed(data):
                self._obey(client, messages.read(line))
        except MessageError as error:
            self._say(client, {"failure": ["owner-lost", f"not understood: {error}", None]})
            self._hang_up(client)
        except Exception:  # a mistake in this program: it ends this client, not all others
            traceback.print_exc()
            self._hang_up(client)

    def _say(self, client: _Client, message: Message) -> None:
        if client.number in self._clients:
            client.out += messages.packed(message)
            self._send(client)

    def _send(self, client: _Client) -> None:
        if not client.out or client.number not in self._clients:
            return
        try:
            sent = client.connection.send(client.out)
        except BlockingIOError:
            sent = 0
        except OSError:
            self._hang_up(client)
            return
        del client.out[:sent]
        if len(client.out) > MOST_UNREAD:
            self._hang_up(client)
            return
        self._watch(client)

    def _hang_up(self, client: _Client) -> None:
        """A client has ended, or is let go of: what it held is released."""
        if self._clients.pop(client.number, None) is None:
            return
        for selector in self._selectors_of(client):
            selector.unregister(client.connection)
        client.connection.close()
        for name in [name for name, holder in self._lent.items() if holder == client.number]:
            del self._lent[name]
        for port in list(self._ports.values()):
            port.clients.discard(client.number)
            for one in port.arbiters:
                one.leave(client.number, time.monotonic())
            self._flush(port)

    # -- what clients say ----------------------------------------------------------------------

    def _obey(self, client: _Client, message: Message) -> None:
        if client.is_urgent:
            self._obey_urgent(client, message)
        elif not client.is_known:
            self._get_to_know(client, message)
        else:
            number = messages.number(message, "id")
            act = {
                "greet": self._greet,
                "ask": self._ask,
                "watch": self._begin_watching,
                "ports": self._list_ports,
                "lend": self._lend,
                "return": self._return,
                "pressed": self._note_press,
                "end": self._end_for,
            }.get(messages.text(message, "do"))
            if act is None:
                raise MessageError("`do` is not known")
            act(client, number, message)

    def _get_to_know(self, client: _Client, message: Message) -> None:
        self._must_bear_token(message)
        client.name = messages.text(message, "client")[:100]
        client.pid = messages.number(message, "pid")
        client.is_known = True
        self._say(client, {"owner": mark(), "pid": os.getpid()})

    def _must_bear_token(self, message: Message) -> None:
        token = messages.text(message, "token").encode()
        if not hmac.compare_digest(token, self._listeners.token.encode()):
            raise MessageError("the token is wrong")

    def _greet(self, client: _Client, number: int, message: Message) -> None:
        try:
            port = self._port_of(client, message)
        except LinkFailure as failure:
            self._fail(client, number, failure)
            return
        _arbiter_for(port, message).greet(client.number, number, time.monotonic())
        self._flush(port)

    def _ask(self, client: _Client, number: int, message: Message) -> None:
        kind = messages.number(message, "kind", 1, 0x3F)
        known = PASSED if "node" in message else set(RequestKind)
        if kind not in known - {RequestKind.HELLO}:
            raise MessageError("`kind` is no request")
        payload = messages.some_bytes(message, "payload")
        if len(payload) > 80:
            raise MessageError("the payload is too long")
        try:
            port = self._port_of(client, message)
        except LinkFailure as failure:
            self._fail(client, number, failure)
            return
        asked = (client.number, number, RequestKind(kind), payload, time.monotonic())
        _arbiter_for(port, message).ask(*asked)
        self._flush(port)

    def _begin_watching(self, client: _Client, number: int, _: Message) -> None:
        client.watches = True
        self._say(client, {"id": number, "done": True})

    def _list_ports(self, client: _Client, number: int, _: Message) -> None:
        ports = [
            {
                "port": port.name,
                "baud": port.baud,
                "address": port.arbiter.board.address if port.arbiter.board else None,
                "clients": [
                    {"client": each.name, "pid": each.pid}
                    for each in self._clients.values()
                    if each.number in port.clients and each is not client
                ],
            }
            for port in self._ports.values()
        ]
        self._say(client, {"id": number, "ports": ports})

    def _note_press(self, client: _Client, number: int, message: Message) -> None:
        """The stop or limp that came last by the socket for them was this client's own."""
        port = self._ports.get(messages.text(message, "port"))
        if port:
            port.arbiter.knows_of_stop(client.number)
        self._say(client, {"id": number})

    def _lend(self, client: _Client, number: int, message: Message) -> None:
        """Close a port, so that another program of this client's may open it."""
        name = messages.text(message, "port")
        port = self._ports.get(name)
        others = (port.clients if port else set()) - {client.number}
        if others or self._lent.get(name, client.number) != client.number:
            self._fail(client, number, _in_use(name, self._names(others)))
            return
        self._lent[name] = client.number
        if port:
            self._close_port(port)
        self._lending.append((client, number, name))
        self._hand_over()

    def _hand_over(self) -> None:
        """Tell those that a port is lent to, once it is closed."""
        for each in list(self._lending):
            client, number, name = each
            if name not in self._closing:
                self._lending.remove(each)
                self._say(client, {"id": number, "done": True})

    def _return(self, client: _Client, number: int, message: Message) -> None:
        name = messages.text(message, "port")
        if self._lent.get(name) == client.number:
            del self._lent[name]
        self._say(client, {"id": number, "done": True})

    def _end_for(self, client: _Client, number: int, _: Message) -> None:
        """End, if only this client is left: another version takes over."""
        others = [each for each in self._clients.values() if each is not client]
        if others:
            names = [{"client": each.name, "pid": each.pid} for each in others]
            self._say(client, {"id": number, "ending": False, "clients": names})
            return
        self._say(client, {"id": number, "ending": True, "clients": []})
        self._is_ending = True

    def _obey_urgent(self, client: _Client, message: Message) -> None:
        self._must_bear_token(message)
        kind = _URGENT.get(messages.text(message, "urgent"))
        names = message.get("ports")
        if kind is None or not isinstance(names, list) or client.waits_for:
            raise MessageError("neither stop nor limp, or no ports")
        baud = messages.number(message, "baud", 300, 4_000_000)
        wanted = {str(name): baud for name in names}
        if client.neighbour is not None or message.get("open") is False:  # it opens nothing
            wanted = {name: rate for name, rate in wanted.items() if name in self._ports}
        if message.get("all") is True:
            wanted |= {port.name: port.baud for port in self._ports.values()}
        client.waits_for = set(wanted)
        client.name = messages.printable(str(message.get("client", ""))[:100])
        if client.neighbour is not None:
            client.name += f" of the user {name_of(client.neighbour)}"
        now = time.monotonic()
        refused: list[tuple[str, LinkFailure]] = []
        for name, rate in wanted.items():
            try:
                port = self._port(name, rate if name not in self._ports else self._ports[name].baud)
            except LinkFailure as failure:
                refused.append((name, failure))
                continue
            port.clients.add(client.number)
            port.arbiter.ask(client.number, 0, kind, b"", now)
            self._flush_output(port)
        self._say(client, {"taken": sorted(wanted)})
        for name, why in refused:
            self._say(client, {"port": name, **messages.outcome(why)})
            client.waits_for.discard(name)
        for name in wanted.keys() & self._ports.keys():
            self._flush(self._ports[name])
        self._end_urgent(client)

    def _end_urgent(self, client: _Client) -> None:
        if not client.waits_for:
            self._hang_up(client)

    def _fail(self, client: _Client, number: int, failure: LinkFailure) -> None:
        self._say(client, {"id": number, **messages.outcome(failure)})

    # -- ports ---------------------------------------------------------------------------------

    def _port_of(self, client: _Client, message: Message) -> _SharedPort:
        """The port that a message names, open or about to be; LinkFailure if it cannot be used."""
        name = messages.text(message, "port")
        baud = messages.number(message, "baud", 300, 4_000_000) if "baud" in message else BAUD
        lost = client.lost.get(name)
        if lost and (message["do"] != "greet" or name in client.untold):
            client.untold.discard(name)
            raise lost
        client.lost.pop(name, None)
        lender = self._lent.get(name)
        port = self._ports.get(name)
        if lender is not None:
            raise _in_use(name, self._names({lender}))
        if port and port.baud != baud:
            others = port.clients - {client.number}
            if others:
                raise LinkFailure(
                    "port-busy",
                    f"port {name} runs at {port.baud} baud for {self._names(others)}",
                    f"leave out `--baud {baud}`, or end that first",
                )
            self._close_port(port)
        port = self._port(name, baud)
        port.clients.add(client.number)
        return port

    def _port(self, name: str, baud: int) -> _SharedPort:
        if name in self._lent:
            raise _in_use(name, self._names({self._lent[name]}))
        if name not in self._ports:
            threads = PortThreads(name, baud, self._hear, self._closing.get(name))
            behind: dict[int, Arbiter] = {}
            arbiter = Arbiter(name, baud, behind=behind)
            self._ports[name] = _SharedPort(
                name, baud, arbiter, threads, set(), time.monotonic(), behind
            )
        return self._ports[name]

    def _names(self, numbers: set[int]) -> str:
        clients = [self._clients[one] for one in sorted(numbers) if one in self._clients]
        return ", ".join(f"`{each.name}` (process {each.pid})" for each in clients)

    def _hear(self, threads: PortThreads, item: bytes | LinkFailure | None) -> None:
        """In a thread of the port's."""
        self._inbox.append((threads, item))
        self._wake()

    def _wake(self) -> None:
        with suppress(OSError):  # full: it is awake
            self._waker.send(b"\0")

    def _take_inbox(self) -> None:
        while self._inbox:
            threads, item = self._inbox.popleft()
            port = self._ports.get(threads.name)
            if port and port.threads is not threads:
                port = None
            if item is None:
                if self._closing.get(threads.name) is threads:
                    del self._closing[threads.name]
                self._hand_over()
            elif port is None:
                continue
            elif isinstance(item, LinkFailure):
                for one in port.arbiters:
                    one.fail(item)
                told = {answer.client for one in port.arbiters for answer in one.answers}
                for number in port.clients:
                    self._clients[number].lost[port.name] = item
                    if number not in told:
                        self._clients[number].untold.add(port.name)
                self._flush(port)
                self._close_port(port)
            else:
                now = time.monotonic()
                for one in port.arbiters:
                    if item:
                        one.hear(item, now)
                    else:
                        one.opened(now)
                self._flush(port)

    def _close_port(self, port: _SharedPort) -> None:
        if self._ports.get(port.name) is port:
            del self._ports[port.name]
            self._closing[port.name] = port.threads
            port.threads.close()

    def _flush_output(self, port: _SharedPort) -> None:
        for one in port.arbiters:
            for frame in one.output:
                port.threads.write(frame)
            one.output.clear()

    def _flush(self, port: _SharedPort) -> None:
        """Pass on what the arbiters have for the port, for clients and for those who watch."""
        self._flush_output(port)
        answers, events = [], []
        for one in port.arbiters:
            answers += one.answers
            events += one.events
            one.answers, one.events = [], []
        for event in events:
            told = {"event": _event(event, port.name, self._clients.get(event.client))}
            for client in list(self._clients.values()):
                if client.watches:
                    self._say(client, told)
        for answer in answers:
            asking = self._clients.get(answer.client)
            if asking is None:
                continue
            found = messages.outcome(answer.outcome)
            if asking.is_urgent:
                self._say(asking, {"port": port.name, **found})
                asking.waits_for.discard(port.name)
                self._end_urgent(asking)
            else:
                self._say(asking, {"id": answer.number, **found})


def _arbiter_for(port: _SharedPort, message: Message) -> Arbiter:
    """Of the board that a message names by its address, or of the one behind the port."""
    if "node" not in message:
        return port.arbiter
    node = messages.number(message, "node", ADDRESSES[0], ADDRESSES[-1])
    if node not in port.behind:
        port.behind[node] = Arbiter(port.name, port.baud, node, lead=port.arbiter)
        port.behind[node].is_open = port.arbiter.is_open
    return port.behind[node]


def _event(event: BoardEvent, port: str, client: _Client | None) -> Message:
    fields: Message = {"what": event.what, "port": port}
    if client:
        fields["client"] = client.name
    if event.kind is not None:
        fields |= {"request": event.kind.name.lower(), "payload": event.payload.hex()}
    if event.status is not None:
        fields["status"] = event.status
    if event.address is not None:
        fields["address"] = event.address
    if event.words:
        fields["words"] = event.words
    return fields


def _in_use(name: str, by: str) -> LinkFailure:
    return LinkFailure(
        "port-busy",
        f"port {name} is in use by {by or 'another command'}",
        "wait until that has ended, or end it, then repeat",
    )


class _Clocks:
    """Notices that the computer slept, or that this process was held up."""

    def __init__(self) -> None:
        self._last = self._read()

    def _read(self) -> tuple[float, float]:
        boot = getattr(time, "CLOCK_BOOTTIME", None)  # it goes on while the computer sleeps
        monotonic = time.monotonic()
        return monotonic, time.clock_gettime(boot) if boot is not None else monotonic

    def jump(self) -> float:
        """Seconds since the last call, beyond what the loop may have waited."""
        before, self._last = self._last, self._read()
        passed = max(now - then for now, then in zip(self._last, before, strict=True))
        return passed - _LONGEST_WAIT_S
