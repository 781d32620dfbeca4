"""Asking what boot loader waits behind a port, at which rate, and on which chip.

Two protocols are usual. "STK500 Communication Protocol" (application note AVR061) is spoken by the
boot loaders of small chips, "STK500 Protocol" of version 2 (application note AVR068) by those of
large ones. Only what tells them apart is asked here: synchronise, and read the chip's signature.
What is written is left to the uploader, which is called afterwards.

A newer boot loader answers the first protocol's question with two bytes of its own choosing (from
memory), and is known by that. A boot loader listens for a second or so after a reset. Common boards
are reset by the port's line DTR over a capacitor, so it is let go and pulled again (common
practice, no source).
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias, get_args

from firmware_gen.chips import CHIPS
from firmware_gen.link.failures import LinkFailure
from firmware_gen.link.ports import SerialPort, open_port

if TYPE_CHECKING:
    from firmware_gen.chips import Chip

BootProtocol: TypeAlias = Literal["stk500v1", "stk500v2"]
PROTOCOLS: Final[tuple[BootProtocol, ...]] = get_args(BootProtocol)
"""By their names in the uploader."""

LISTENS_S: Final = 1.2
"""After a reset, for so long it is asked again and again; boot loaders wait about as long."""
ROUNDS: Final = 2
"""As many times every way is tried: boards without a reset by the port need somebody's finger."""
_EACH_S: Final = 0.15
_RESET_S: Final = (0.25, 0.05)
"""DTR let go for, and pulled before the first question."""
_ENOUGH: Final = 3
"""Times that an answer of a boot loader's own choosing has to come the same."""

# AVR061, sections 5 and 6.
_SYNC, _IN_SYNC, _OK = b"\x30\x20", 0x14, 0x10
_NO_SYNC: Final = b"\x15\x15"
_READ_SIGNATURE: Final = b"\x75\x20"
# AVR068, message format and commands.
_START, _TOKEN = 0x1B, 0x0E
_SIGN_ON, _SPI_MULTI = 0x01, 0x1D
_DONE: Final = 0x00
_SIGNATURE_BYTES: Final = 3


@dataclass(frozen=True, slots=True)
class WayIn:
    """A protocol and a rate at which a boot loader may answer."""

    protocol: BootProtocol
    baud: int


@dataclass(frozen=True, slots=True)
class FoundLoader:
    """One that answered.

    `is_newer`: it speaks a protocol of its own behind the first question. `signature`: the chip's
    three bytes; empty if it does not tell.
    """

    way: WayIn
    is_newer: bool = False
    signature: bytes = b""

    @property
    def chip(self) -> Chip | None:
        """The chip of that signature, if it is one of ours."""
        return next((c for c in CHIPS.values() if c.tools.signature == self.signature), None)


def usual_ways(chip: Chip | None = None, baud: int | None = None) -> tuple[WayIn, ...]:
    """Ways in to be tried, most likely first. `chip`: the one that is expected. `baud`: only it."""
    chips = sorted(CHIPS.values(), key=lambda each: (each is not chip, each.chip_id))
    return tuple(
        dict.fromkeys(
            WayIn(protocol, rate)
            for each in chips
            for protocol in PROTOCOLS
            if protocol == each.tools.boot_protocol
            for rate in ([baud] if baud else [each.tools.boot_baud, each.tools.old_boot_baud])
        )
    )


def find_boot_loader(port: str, ways: Sequence[WayIn]) -> FoundLoader:
    """Reset the board behind a port, and ask in each way until a boot loader answers.

    Nobody else may have the port meanwhile. Takes at most some 3 s for each way.

    Raises:
        LinkFailure: no-boot-loader, or why the port does not open, or went away.
    """
    newer: dict[bytes, WayIn] = {}
    for way in [*ways] * ROUNDS:
        opened = open_port(port, way.baud)
        try:
            found = _asked(opened, way)
        finally:
            opened.close()
        if isinstance(found, FoundLoader):
            return found
        # what a boot loader of another rate says looks like an answer of its own, too; but only the
        # newer one understands every rate, and says the same at each
        if found and newer.setdefault(found, way).baud != way.baud:
            return FoundLoader(newer[found], is_newer=True)
    rates = ", ".join(str(rate) for rate in dict.fromkeys(way.baud for way in ways))
    raise LinkFailure(
        "no-boot-loader",
        f"no boot loader answers on {port} (asked at {rates} baud)",
        "look at the cable and the board's power, and take off what is wired to the pins of the "
        "link; on a board without a reset by the port press its reset button while this command "
        "looks; a chip without a boot loader needs a programmer: `bellcrank firmware --way isp`",
    )


def _asked(port: SerialPort, way: WayIn) -> FoundLoader | bytes:
    """The boot loader; or what was answered instead, which may be an answer of its own choosing."""
    _reset(port)
    ask = _ask_first if way.protocol == "stk500v1" else _ask_second
    end_s = port.now() + LISTENS_S
    while port.now() < end_s:
        if found := ask(port, way):
            return found
    return b""


def _reset(port: SerialPort) -> None:
    for is_pulled, pause_s in zip((False, True), _RESET_S, strict=True):
        port.pull_reset(is_pulled)
        time.sleep(pause_s)
    while port.read(0.0):
        pass  # what the firmware, or noise, had to say before


def _answer(port: SerialPort, request: bytes, at_least: int) -> bytes:
    """What comes back within a moment."""
    port.write(request)
    end_s = port.now() + _EACH_S
    found = b""
    while len(found) < at_least and (left_s := end_s - port.now()) > 0.0:
        found += port.read(left_s)
    return found


def _ask_first(port: SerialPort, way: WayIn) -> FoundLoader | bytes:
    heard = _answer(port, _SYNC, 2)
    if heard.endswith(bytes((_IN_SYNC, _OK))):
        told = _answer(port, _READ_SIGNATURE, _SIGNATURE_BYTES + 2)
        is_told = len(told) == _SIGNATURE_BYTES + 2 and (told[0], told[-1]) == (_IN_SYNC, _OK)
        return FoundLoader(way, signature=told[1:-1] if is_told else b"")
    if len(heard) != 2 or heard in (_SYNC, _NO_SYNC):
        return b""  # nothing, noise, an echo, or a plain no
    again = [_answer(port, _SYNC, 2) for _ in range(_ENOUGH)]
    return heard if all(each == heard for each in again) else b""


def _ask_second(port: SerialPort, way: WayIn) -> FoundLoader | bytes:
    answered = _message_answered(port, 1, bytes((_SIGN_ON,)))
    if answered[:2] != bytes((_SIGN_ON, _DONE)):
        return b""
    signature = b""
    for number in range(_SIGNATURE_BYTES):
        # the chip's own instruction, Read Signature Byte, is 30 00 nn and answers in its fourth
        instruction = bytes((_SPI_MULTI, 4, 4, 0, 0x30, 0, number, 0))
        told = _message_answered(port, 2 + number, instruction)
        if len(told) != 7 or told[:2] != bytes((_SPI_MULTI, _DONE)):
            return FoundLoader(way)
        signature += told[5:6]
    return FoundLoader(way, signature=signature)


def message(number: int, body: bytes) -> bytes:
    """A message of the second protocol: start, number, size, token, body, exclusive or of all."""
    whole = bytes((_START, number)) + len(body).to_bytes(2, "big") + bytes((_TOKEN,)) + body
    return whole + bytes((_check(whole),))


def _check(data: Iterable[int]) -> int:
    found = 0
    for byte in data:
        found ^= byte
    return found


def _message_answered(port: SerialPort, number: int, body: bytes) -> bytes:
    """The body of the answer; empty if none came whole."""
    heard = _answer(port, message(number, body), 6)
    with suppress(ValueError):
        heard = heard[heard.index(bytes((_START, number))) :]
        if len(heard) >= 6:
            length = int.from_bytes(heard[2:4], "big")
            end_s = port.now() + _EACH_S
            while len(heard) < length + 6 and (left_s := end_s - port.now()) > 0.0:
                heard += port.read(left_s)
            if len(heard) == length + 6 and _check(heard) == 0:
                return heard[5:-1]
    return b""
