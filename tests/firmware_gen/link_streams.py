"""Random streams of requests: mostly what a host would say, some of what it never would."""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from random import Random

from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.link.frames import LinkFrame, encode
from firmware_gen.link.protocol import ONE_WAY, RequestKind
from firmware_gen.table.decode import decode
from firmware_gen.table.layout import TableError

CHUNK = ATMEGA328P.chunk_bytes
PLAIN = (
    RequestKind.VERIFY,
    RequestKind.COMMIT,
    RequestKind.STOP,
    RequestKind.LIMP,
    RequestKind.STANDBY,
    RequestKind.STATUS,
    RequestKind.BEACON,
)


class Talker:
    """Makes frames for a board; `tables` are what it may try to put there."""

    def __init__(self, dice: Random, tables: Sequence[bytes]) -> None:
        self._dice = dice
        self._tables = tables
        self._seq = dice.randrange(256)
        self._table = tables[0]
        self._tags = [0xBEEF] + [cue.tag for table in tables for cue in _cues(table)]
        self._plan: list[tuple[int, bytes]] = []

    def frames(self, count: int) -> Iterator[bytes]:
        """Bytes of frames; one in ten is spoilt."""
        for _ in range(count):
            data = self._frame()
            yield spoilt(data, self._dice) if self._dice.random() < 0.1 else data

    def _frame(self) -> bytes:
        dice = self._dice
        kind, payload = self._request()
        step = dice.choices((1, 0, 2, 255, 128, 127), (85, 8, 3, 2, 1, 1))[0]
        self._seq = (self._seq + step) & 0xFF
        if dice.random() < 0.05:
            payload = dice.choice((payload[:-1], payload + b"\0", dice.randbytes(3)))
        if dice.random() < 0.08:
            kind |= ONE_WAY
        if dice.random() < 0.01:
            kind |= 0x80
        to = dice.choices((0, self._table[5], 255, 9), (90, 6, 2, 2))[0]
        return encode(LinkFrame(to, kind, self._seq, payload))

    def _request(self) -> tuple[int, bytes]:
        dice = self._dice
        if self._plan and dice.random() < 0.8:
            return self._plan.pop(0)
        what = dice.random()
        if what < 0.1:
            return RequestKind.HELLO, struct.pack("<H", dice.randrange(3))
        if what < 0.16:
            self._plan = self._transfer()
            return self._plan.pop(0)
        if what < 0.3:
            return RequestKind.READ, struct.pack(
                "<HB", dice.choice((0, 30, 400)), dice.choice((0, 1, 32, 33))
            )
        if what < 0.5:
            return RequestKind.TRIGGER, struct.pack("<H", dice.choice(self._tags))
        if what < 0.65:
            return RequestKind.BUTTON, bytes(
                (dice.choice((0, 1, 2, 3, 31, 32)), dice.choice((0, 1, 1, 2)))
            )
        if what < 0.7:
            at = dice.choice((0, 1, 480, 600))
            return RequestKind.DATA, struct.pack("<H", at) + dice.randbytes(
                dice.choice((0, 1, 32, 33, 64))
            )
        if what < 0.73:
            return dice.randrange(0x40), dice.randbytes(dice.randrange(5))
        if what < 0.78:
            pulse = dice.choice((799, 800, 3000, 5200, 5201))
            return RequestKind.JOG, struct.pack("<BH", dice.choice((0, 0, 1, 9)), pulse)
        if what < 0.8:
            return RequestKind.PULSE, bytes((dice.choice((0, 0, 1, 9)),))
        weights = (2, 2, 2, 1, 6, 12, 6)
        return dice.choices(PLAIN, weights)[0], b""

    def _transfer(self) -> list[tuple[int, bytes]]:
        """A whole transfer, its pieces in any order, some of them twice."""
        dice = self._dice
        table = self._table = dice.choice(self._tables)
        if dice.random() < 0.15:
            table = spoilt(table, dice)
        address = dice.choice((0, table[5], table[5], 77))
        pieces = [
            (int(RequestKind.DATA), struct.pack("<H", at) + table[at : at + CHUNK])
            for at in range(0, len(table), CHUNK)
        ]
        if dice.random() < 0.4:
            dice.shuffle(pieces)
        if dice.random() < 0.3:
            pieces += pieces[:2]
        stated = table[-2:] if dice.random() < 0.9 else b"\0\0"
        opening = struct.pack("<H", len(table)) + stated + bytes([address])
        return [
            (RequestKind.OPEN, opening),
            *pieces,
            (RequestKind.VERIFY, b""),
            (RequestKind.COMMIT, b""),
        ]


def spoilt(data: bytes, dice: Random) -> bytes:
    """The bytes with some flipped, lost, or put in."""
    found = bytearray(data)
    at = dice.randrange(len(found))
    match dice.randrange(4):
        case 0:
            found[at] ^= 1 << dice.randrange(8)
        case 1:
            del found[at : at + dice.randint(1, 5)]
        case 2:
            found[at:at] = dice.randbytes(dice.randint(1, 90))
        case _:
            found[at] = dice.randrange(256)
    return bytes(found) or b"\1"


def _cues(table: bytes) -> Sequence[object]:
    try:
        return decode(table).cues
    except TableError:
        return ()
