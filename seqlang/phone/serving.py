"""Serves the page and its sockets; each phone gets a hand of its own.

Whoever comes is a stranger until the code or a pass is right. Nothing waits for a phone: what it is
told has bounded room, and one that does not read is let go of. Stop and limp do not wait for a
hand: each press has a thread, and takes the owner's own way for it.
"""

from __future__ import annotations

import asyncio
import ipaddress
import json
import logging
import socket
import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, Final, cast

from websockets.asyncio.server import Server, ServerConnection, serve
from websockets.datastructures import Headers
from websockets.exceptions import ConnectionClosed
from websockets.frames import CloseCode
from websockets.http11 import Request, Response

from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.owner.client import press
from seqlang.phone.page import phone_page
from seqlang.phone.pairing import LetIn, Pairing
from seqlang.phone.said import MAX_BYTES, NotUnderstoodError, PhoneSaid, read_said
from seqlang.phone.strangers import Strangers

if TYPE_CHECKING:
    from firmware_gen.link.awaiting import Reply
    from firmware_gen.link.owner.client import Pressed
    from seqlang.phone.controls import Controls, Hand
    from seqlang.phone.pairing import TurnedAway

MOST_PHONES: Final = 64
STRANGER_S: Final = 10.0
"""A socket that does not say who it is within this time is closed. The page says it at once, but a
network that loses packets may be late with it; whoever says nothing keeps nobody out meanwhile."""
GONE_S: Final = 5.0
"""A phone that says nothing for so long gets its place taken away; it may come again."""
SEND_S: Final = 3.0
"""A phone that does not read for so long is let go of."""
MOST_UNTOLD: Final = 64
"""Messages that wait for a phone; with more it is let go of."""
SYSTEM_ROOM: Final = 32 * 1024
"""Bytes that the system keeps for a phone that does not read, besides."""
MOST_STOPS: Final = 4
"""Presses of stop or limp of one phone that are under way at a time."""
KNOWN_PRESSES: Final = 256
SOCKET_PATH: Final = "/socket"

Say = Callable[[str], None]


@dataclass(eq=False)
class _Phone:
    number: int
    connection: ServerConnection
    hand: Hand
    said: deque[str] = field(default_factory=deque)
    news: str = ""
    """The newest state of the boards, if it was not sent yet."""
    is_echoed: bool = True
    awake: asyncio.Event = field(default_factory=asyncio.Event)
    heard: float = field(default_factory=time.monotonic)
    stops: int = 0


@dataclass(slots=True)
class _StopPress:
    """A press of stop or limp: it is done once, however often a phone that is not sure says it."""

    asked: list[tuple[_Phone, int]]
    """Who wants to know what comes of it, and the number of the answer."""
    outcome: dict[str, Any] | None = None
    """What came of it; None: it is under way."""


class PhoneServer:
    """The page, for all phones that are let in.

    Args:
        controls: what they have their hands on.
        pairing: who may come.
        say: told what happens, in words, in any thread.
    """

    def __init__(self, controls: Controls, pairing: Pairing, say: Say) -> None:
        self._controls = controls
        self._pairing = pairing
        self._say = say
        self._phones: dict[int, _Phone] = {}
        self._strangers: Strangers[ServerConnection] = Strangers()
        self._stops = 0
        self._presses: dict[str, _StopPress] = {}
        self._trouble = ""
        self._news = ""
        self._told: dict[str, str] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._number = 0

    async def run(
        self, address: str, number: int, listening: Callable[[int], None], until: asyncio.Event
    ) -> None:
        """Serve until `until` is set. `listening` is told the socket's number.

        Raises:
            OSError: the address or the number cannot be had.
        """
        self._loop = asyncio.get_running_loop()
        self._loop.set_exception_handler(self._went_wrong)
        _hush()
        async with serve(
            self._serve,
            address,
            number,
            process_request=self._asked,
            create_connection=cast("type[ServerConnection]", self._connection),
            compression=None,
            max_size=MAX_BYTES,
            max_queue=16,
            write_limit=16 * 1024,
            open_timeout=STRANGER_S,
            close_timeout=1.0,
            ping_interval=None,  # phones say something by themselves
            server_header=None,
        ) as server:
            self._number = _number_of(server)
            self._controls.begin(self._controls_changed, self._anyone)
            listening(self._number)
            try:
                await until.wait()
            finally:
                await self._end()

    def _went_wrong(self, _: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        """What nobody waited for, such as a connection that the system had no room for."""
        error = context.get("exception")
        words = str(getattr(error, "strerror", None) or error or context["message"])
        if self._trouble != words:
            self._trouble = words
            self._say(f"something went wrong with a connection: {words.lower()}")

    async def _end(self) -> None:
        hands = [phone.hand for phone in self._phones.values()]
        for phone in list(self._phones.values()):
            phone.hand.close()
            phone.connection.transport.abort()
        self._controls.end()
        for hand in hands:
            await asyncio.to_thread(hand.join, 1.0)

    def _connection(self, *words: Any, **named: Any) -> ServerConnection:
        """As the library makes one, and known to be there from its first moment on."""
        return _Connection(self._came, self._strangers.gone, *words, **named)

    def _came(self, connection: ServerConnection) -> None:
        """Somebody opened a socket; where there are too many, another one's is closed for it."""
        leaves = self._strangers.come(connection, _address(connection))
        if leaves is not None:
            leaves.transport.abort()

    # -- pages and sockets -----------------------------------------------------------------------

    def _asked(self, connection: ServerConnection, request: Request) -> Response | None:
        """Answer what is no socket of our own page; None: it may open one."""
        host = request.headers.get_all("Host")
        if len(host) != 1 or not is_own_name(host[0], self._number):
            return _answer(HTTPStatus.MISDIRECTED_REQUEST)
        path = request.path.partition("?")[0]
        if path == "/":
            page = phone_page()
            policy = page.policy(host[0])
            return _answer(HTTPStatus.OK, page.body, "text/html; charset=utf-8", policy)
        if path == "/favicon.ico":  # browsers ask by themselves
            return _answer(HTTPStatus.NO_CONTENT)
        if path != SOCKET_PATH:
            return _answer(HTTPStatus.NOT_FOUND)
        if request.headers.get_all("Origin") != [f"http://{host[0]}"]:
            return _answer(HTTPStatus.FORBIDDEN)
        is_full = len(self._phones) >= MOST_PHONES
        return _answer(HTTPStatus.SERVICE_UNAVAILABLE) if is_full else None

    async def _serve(self, connection: ServerConnection) -> None:
        with suppress(ConnectionClosed):
            phone = await self._let_in(connection)
            if phone:
                await self._attend(phone)

    async def _let_in(self, connection: ServerConnection) -> _Phone | None:
        """The phone behind a socket, once it is known."""
        try:
            async with asyncio.timeout(STRANGER_S):
                said = read_said(await connection.recv())
        except TimeoutError:
            await connection.close(CloseCode.POLICY_VIOLATION, "nothing was said")
            return None
        except NotUnderstoodError as error:
            await connection.close(CloseCode.POLICY_VIOLATION, str(error))
            return None
        address = _address(connection)
        found = self._decide(address, said)
        if not isinstance(found, LetIn):
            words = {} if found is None else {"left": found.left, "wait_s": round(found.wait_s)}
            await connection.send(_packed({"turned_away": words}))
            await connection.close(CloseCode.POLICY_VIOLATION, "not let in")
            return None
        return await self._welcome(connection, found, address)

    def _decide(self, address: str, said: PhoneSaid) -> LetIn | TurnedAway | None:
        """None: a pass that is none of ours, so the page asks for the code."""
        if said.do == "return":
            return self._pairing.enter_again(said.word)
        if said.do != "pair":
            return None
        found = self._pairing.enter(address, said.word, time.monotonic())
        if not isinstance(found, LetIn):
            waits = "" if found.left else f", and has to wait for {found.wait_s:.0f} s"
            self._say(f"somebody at {address} gave a wrong code{waits}")
        return found

    async def _welcome(
        self, connection: ServerConnection, found: LetIn, address: str
    ) -> _Phone | None:
        self._strangers.gone(connection)
        earlier = self._phones.pop(found.phone, None)
        if earlier:  # it came again before its old socket was missed
            earlier.hand.close()
            earlier.connection.transport.abort()
        if len(self._phones) >= MOST_PHONES:
            await connection.close(CloseCode.TRY_AGAIN_LATER, "no more phones")
            return None
        connection.transport.get_extra_info("socket").setsockopt(
            socket.SOL_SOCKET, socket.SO_SNDBUF, SYSTEM_ROOM
        )
        phone = self._new_phone(connection, found.phone)
        self._phones[found.phone] = phone
        self._put(
            phone, {"phone": found.phone, "pass": found.pass_, "show": self._controls.shown()}
        )
        self._put_news(phone)
        self._say(f"phone {found.phone} at {address} has come")
        return phone

    def _new_phone(self, connection: ServerConnection, number: int) -> _Phone:
        holder: list[_Phone] = []

        def tell(message: dict[str, Any]) -> None:
            self._in_loop(lambda: self._put(holder[0], message))

        hand = self._controls.hand(f"phone {number}", lambda: self._stops, tell)
        holder.append(_Phone(number, connection, hand))
        return holder[0]

    async def _attend(self, phone: _Phone) -> None:
        writing = asyncio.create_task(self._write(phone))
        try:
            while True:
                async with asyncio.timeout(GONE_S):
                    text = await phone.connection.recv()
                phone.heard = time.monotonic()
                if not self._obey(phone, read_said(text)):
                    await phone.connection.close(CloseCode.POLICY_VIOLATION, "too much at a time")
                    return
        except NotUnderstoodError as error:
            await phone.connection.close(CloseCode.POLICY_VIOLATION, str(error))
        except TimeoutError:
            phone.connection.transport.abort()
        finally:
            phone.hand.close()
            writing.cancel()
            if self._phones.get(phone.number) is phone:
                del self._phones[phone.number]
                self._say(f"phone {phone.number} has gone")

    # -- what phones say -------------------------------------------------------------------------

    def _obey(self, phone: _Phone, said: PhoneSaid) -> bool:
        """Do it, or have it done; False if the phone says too much."""
        if said.do in ("stop", "limp"):
            return self._stop(phone, said)
        if said.do in ("pair", "return"):
            raise NotUnderstoodError("it is let in already")
        if said.do not in self._controls.takes:
            raise NotUnderstoodError("that is of another page")
        if said.do == "beat":
            phone.is_echoed = False
            phone.awake.set()
        return phone.hand.do(said)

    def _stop(self, phone: _Phone, said: PhoneSaid) -> bool:
        known = self._presses.get(said.word)
        if known:  # the phone was not sure that it arrived
            if known.outcome is None:
                known.asked.append((phone, said.n))
            else:
                self._put(phone, {"n": said.n, **known.outcome})
            return True
        if phone.stops >= MOST_STOPS:
            return False
        self._presses[said.word] = _StopPress([(phone, said.n)])
        if len(self._presses) > KNOWN_PRESSES:
            del self._presses[next(iter(self._presses))]
        self._stops += 1
        phone.stops += 1
        threading.Thread(target=self._press, args=(phone, said), daemon=True).start()
        self._say(f"phone {phone.number} presses {said.do}")
        return True

    def _press(self, phone: _Phone, said: PhoneSaid) -> None:
        """In a thread: past everything else to all boards, also to those that seem to be away."""
        kind: Pressed = "limp" if said.do == "limp" else "stop"
        boards = self._controls.boards()
        names = {port: name for name, port in boards if port}
        wrong = [f"`{name}`" for name, port in boards if not port]

        def heard(port: str, found: Reply | LinkFailure) -> None:
            if port not in names:
                return
            if isinstance(found, LinkFailure) or not found.done:
                wrong.append(f"`{names[port]}`")
            else:
                self._in_loop(lambda: self._put(phone, {"n": said.n, "taken": names[port]}))

        try:
            press(kind, list(names), everywhere=True, name=phone.hand.name, heard=heard)
        except LinkFailure as failure:
            wrong = [failure.message]
        self._in_loop(lambda: self._stopped(phone, said, wrong))

    def _stopped(self, phone: _Phone, said: PhoneSaid, wrong: list[str]) -> None:
        phone.stops -= 1
        words = f"{said.do} is not confirmed on {', '.join(wrong)}" if wrong else ""
        outcome: dict[str, Any] = {"failed": words} if wrong else {"done": True}
        pressed = self._presses.get(said.word) or _StopPress([(phone, said.n)])
        pressed.outcome = outcome
        for one, n in pressed.asked:
            self._put(one, {"n": n, **outcome})
        pressed.asked.clear()
        if wrong:
            self._say(words)

    # -- what phones are told --------------------------------------------------------------------

    def _put(self, phone: _Phone, message: dict[str, Any]) -> None:
        phone.said.append(_packed(message))
        if len(phone.said) > MOST_UNTOLD:
            phone.connection.transport.abort()
        phone.awake.set()

    def _put_news(self, phone: _Phone) -> None:
        phone.news = self._news or self._newest()
        phone.awake.set()

    async def _write(self, phone: _Phone) -> None:
        """Tell a phone what there is to tell, the newest of what changes."""
        try:
            while True:
                await phone.awake.wait()
                phone.awake.clear()
                while text := self._next(phone):
                    async with asyncio.timeout(SEND_S):
                        await phone.connection.send(text)
        except TimeoutError:
            phone.connection.transport.abort()
        except ConnectionClosed:
            pass

    def _next(self, phone: _Phone) -> str:
        if phone.said:
            return phone.said.popleft()
        if phone.news:
            text, phone.news = phone.news, ""
            return text
        if not phone.is_echoed:
            phone.is_echoed = True
            return '{"beat":true}'
        return ""

    def _newest(self) -> str:
        return _packed(self._controls.news())

    def _controls_changed(self) -> None:
        """In a thread of the controls'."""
        for phone in list(self._phones.values()):
            phone.hand.look_again()
        self._in_loop(self._spread_news)

    def _spread_news(self) -> None:
        newest = self._newest()
        if newest == self._news:
            return
        self._news = newest
        for phone in self._phones.values():
            self._put_news(phone)
        for row in json.loads(newest)["boards"]:
            words = f"board `{row['name']}` {row['words']}"
            if self._told.get(row["name"]) != words:
                self._told[row["name"]] = words
                self._say(words)

    def _anyone(self) -> bool:
        """Whether a phone is there that said something a moment ago."""
        now = time.monotonic()
        return any(now - phone.heard < 1.0 for phone in list(self._phones.values()))

    def _in_loop(self, act: Callable[[], None]) -> None:
        """From a thread."""
        assert self._loop
        with suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(act)


class _Connection(ServerConnection):
    """A socket that tells when it is opened and when it is closed. Most are never let in."""

    def __init__(
        self,
        came: Callable[[ServerConnection], None],
        gone: Callable[[ServerConnection], None],
        *words: Any,
        **named: Any,
    ) -> None:
        super().__init__(*words, **named)
        self._came, self._gone = came, gone

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)
        self._came(self)

    def connection_lost(self, exc: Exception | None) -> None:
        self._gone(self)
        super().connection_lost(exc)


def _address(connection: ServerConnection) -> str:
    found = connection.remote_address
    return str(found[0]) if found else ""


def is_own_name(host: str, number: int) -> bool:
    """Whether a page was asked for by an address and this socket's number.

    A page from elsewhere can have a name of its own point here, but no address (DNS rebinding).
    """
    name, _, port = host.rpartition(":") if ":" in host else (host, "", "80")
    if port != str(number):
        return False
    if name == "localhost":
        return True
    try:
        ipaddress.IPv4Address(name)
    except ValueError:
        return False
    return True


def _answer(
    status: HTTPStatus,
    body: bytes = b"",
    kind: str = "text/plain",
    policy: str = "default-src 'none'",
) -> Response:
    if status not in (HTTPStatus.OK, HTTPStatus.NO_CONTENT):
        body = status.phrase.encode()
    fields = {
        "Content-Type": kind,
        "Content-Length": str(len(body)),
        "Content-Security-Policy": policy,
        "Cache-Control": "no-store",
        "Referrer-Policy": "no-referrer",
        "X-Content-Type-Options": "nosniff",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Connection": "close",
    }
    return Response(status.value, status.phrase, Headers(fields), body)


def _packed(message: dict[str, Any]) -> str:
    return json.dumps(message, separators=(",", ":"))


def _number_of(server: Server) -> int:
    return int(next(iter(server.sockets)).getsockname()[1])


def _hush() -> None:
    """What strangers send is no message to whoever sits at the laptop."""
    for name in ("websockets.server", "asyncio"):
        logger = logging.getLogger(name)
        logger.addHandler(logging.NullHandler())
        logger.propagate = False
