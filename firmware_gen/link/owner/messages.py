"""What travels between a client and the owner: JSON objects, one a line.

A client's first line says who it is. Then each request has an `id` and a `do`; its answer has the
same `id`. Lines with `event` come by themselves to those who watch. Bytes are in hexadecimal.

    {"client": "status", "pid": 7, "mark": "9f3c", "token": ""}
    {"owner": "9f3c", "pid": 5}
    {"id": 1, "do": "greet", "port": "/dev/ttyUSB0", "baud": 250000}
    {"id": 1, "address": 1, "hello": "01..."}
    {"id": 2, "do": "ask", "port": "/dev/ttyUSB0", "kind": 21, "payload": ""}
    {"id": 2, "status": 0, "rest": "02..."}

A board that is reached through the one behind the port has its address as `node` besides.

Stop and limp have a socket of their own and one line, which stays the same in all versions:

    {"urgent": "stop", "ports": ["/dev/ttyUSB0"], "all": false, "baud": 250000, "token": "",
     "client": "stop"}
    {"taken": ["/dev/ttyUSB0"]}
    {"port": "/dev/ttyUSB0", "status": 0}

With `"open": false` only those of `ports` count that the owner has open already.

So does the line that asks an owner of another version to end: `{"id": 1, "do": "end"}`.
"""

from __future__ import annotations

import json
from typing import Any, Final

from firmware_gen.link.awaiting import Reply
from firmware_gen.link.failures import FAILURES, LinkFailure
from firmware_gen.link.frames import LinkFrame
from firmware_gen.link.greeting import Greeted, read_hello
from firmware_gen.link.protocol import REPLY, RequestKind

MAX_LINE: Final = 4096
"""Bytes of a line from a client; a longer one ends the connection."""

Message = dict[str, Any]


class MessageError(ValueError):
    """What came is no message of this kind; the words say why."""


def packed(message: Message) -> bytes:
    return json.dumps(message, separators=(",", ":")).encode() + b"\n"


def read(line: bytes) -> Message:
    """The message in a line.

    Raises:
        MessageError: it is no JSON object.
    """
    try:
        message = json.loads(line)
    except (ValueError, RecursionError):
        raise MessageError("not JSON") from None
    if not isinstance(message, dict):
        raise MessageError("not an object")
    return message


class Lines:
    """Finds lines in a stream of bytes that may be cut anywhere."""

    def __init__(self, longest: int | None = MAX_LINE) -> None:
        self._held = b""
        self._longest = longest

    def feed(self, data: bytes) -> list[bytes]:
        """The lines that these bytes complete.

        Raises:
            MessageError: a line is too long.
        """
        *lines, self._held = (self._held + data).split(b"\n")
        if self._longest and any(len(line) > self._longest for line in (*lines, self._held)):
            raise MessageError("the line is too long")
        return lines


def text(message: Message, key: str) -> str:
    """A field that must be there and be words."""
    value = message.get(key)
    if not isinstance(value, str) or "\0" in value:
        raise MessageError(f"`{key}` is not words")
    return value


def printable(words: str) -> str:
    """Words from elsewhere without what a terminal would obey."""
    return "".join(each if each.isprintable() else "?" for each in words)


def number(message: Message, key: str, least: int = 0, most: int = 1 << 31) -> int:
    """A field that must be there and be a whole number within bounds."""
    value = message.get(key)
    if type(value) is not int or not least <= value <= most:
        raise MessageError(f"`{key}` is not a number from {least} to {most}")
    return value


def some_bytes(message: Message, key: str) -> bytes:
    try:
        return bytes.fromhex(text(message, key))
    except ValueError:
        raise MessageError(f"`{key}` is not hexadecimal") from None


def outcome(found: Reply | Greeted | LinkFailure) -> Message:
    """An answer's fields."""
    if isinstance(found, Reply):
        return {"status": found.status, "rest": found.rest.hex()}
    if isinstance(found, Greeted):
        return {"address": found.address, "hello": found.hello.pack().hex()}
    return {"failure": [found.reason, found.message, found.help]}


def read_outcome(message: Message) -> Reply | Greeted:
    """What an answer says.

    Raises:
        LinkFailure: what the owner failed with.
        MessageError: it is no answer to a request to a board.
    """
    if "failure" in message:
        raise read_failure(message["failure"])
    if "status" in message:
        return Reply(number(message, "status", 0, 255), some_bytes(message, "rest"))
    if "hello" not in message:
        raise MessageError("neither a reply nor a greeting")
    payload = bytes(1) + some_bytes(message, "hello")
    kind = RequestKind.HELLO | REPLY
    return read_hello(LinkFrame(number(message, "address", 0, 255), kind, 0, payload))


def read_failure(fields: object) -> LinkFailure:
    """A failure that came over the socket; an unknown reason is another version's."""
    match fields:
        case [str() as reason, str() as message, str() | None as help] if reason in FAILURES:
            return LinkFailure(reason, message, help)
    return LinkFailure("owner-lost", f"the owner of the ports failed: {fields}", "repeat")
