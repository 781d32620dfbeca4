"""The board's side of a transfer: open, data, verify, commit. LINK.md sections 2 and 6."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from firmware_gen.board.slots import Slots
from firmware_gen.chips import Chip
from firmware_gen.crc import crc16
from firmware_gen.link.frames import LinkFrame
from firmware_gen.link.protocol import (
    DATA,
    EVERYBODY,
    NO_ADDRESS,
    OPEN,
    VERIFY_REPLY,
    RequestKind,
    Status,
)
from firmware_gen.table.layout import BAD_ADDRESS, CRC_SIZE, HEADER

WINDOW: Final = 2
"""Data requests that may be under way unanswered: as many chunks wait in RAM to be stored."""

ADDRESS_AT: Final = HEADER.offsets()["address"]

_SHORTEST_TABLE: Final = HEADER.size + CRC_SIZE


@dataclass(frozen=True, slots=True)
class RequestRefusedError(Exception):
    """A request that is answered by a status other than done."""

    status: Status
    rest: bytes = b""


@dataclass(slots=True)
class _Transfer:
    """The table being received."""

    length: int
    crc: int
    address: int
    verified: bool = False


class TableReceiver:
    """Takes tables into the slot that is not current.

    Its requests give the rest of the reply, None if that comes later, and raise
    RequestRefusedError or, for a payload of the wrong length, struct.error.

    Args:
        slots: where tables go.
        chip: gives the sizes.
        refusal_of: why the board would not play a table; 0: it would.
    """

    def __init__(self, slots: Slots, chip: Chip, refusal_of: Callable[[bytes], int]) -> None:
        self._slots = slots
        self._chip = chip
        self._refusal_of = refusal_of
        self._transfer: _Transfer | None = None
        self.waiting: LinkFrame | None = None
        """The verify or commit that is answered when all is stored."""

    @property
    def committing(self) -> bool:
        return self.waiting is not None and self.waiting.kind == RequestKind.COMMIT

    def open(self, payload: bytes, own_address: int) -> bytes:
        length, crc, address = OPEN.unpack(payload)
        if self.committing:
            raise RequestRefusedError(Status.BUSY)
        if length < _SHORTEST_TABLE or address == NO_ADDRESS:
            raise RequestRefusedError(Status.MALFORMED)
        if length > self._chip.slot_bytes:
            raise RequestRefusedError(Status.TOO_LARGE)
        if address not in (EVERYBODY, own_address) and own_address != NO_ADDRESS:
            raise RequestRefusedError(Status.WRONG_ADDRESS)
        self._transfer, self.waiting = _Transfer(length, crc, address), None
        self._slots.open()
        return b""

    def data(self, payload: bytes) -> bytes:
        (offset,) = DATA.unpack(payload[: DATA.size])
        chunk = payload[DATA.size :]
        if self.waiting is not None:
            raise RequestRefusedError(Status.BUSY)
        transfer = self._opened()
        fits = 1 <= len(chunk) <= self._chip.chunk_bytes
        if not fits or offset + len(chunk) > transfer.length:
            raise RequestRefusedError(Status.MALFORMED)
        if self._slots.waiting_chunks >= WINDOW:
            raise RequestRefusedError(Status.BUSY)
        transfer.verified = False
        self._slots.put(offset, chunk)
        return b""

    def verify(self) -> None:
        if self.committing:
            raise RequestRefusedError(Status.BUSY)
        self._opened()

    def verdict(self) -> tuple[Status, bytes]:
        """The answer to a verify, once all is stored: its status and the rest."""
        transfer = self._opened()
        table = self._slots.filled(transfer.length)
        found = crc16(table[:-CRC_SIZE])
        refusal = self._refusal_of(table)
        if refusal == 0 and transfer.address not in (EVERYBODY, table[ADDRESS_AT]):
            refusal = BAD_ADDRESS
        status = Status.DONE
        if found != transfer.crc or found != int.from_bytes(table[-CRC_SIZE:], "little"):
            status = Status.CRC_DIFFERS
        elif refusal:
            status = Status.REFUSED
        transfer.verified = status == Status.DONE
        return status, VERIFY_REPLY.pack(found, refusal)

    def commit(self) -> None:
        if self.waiting is not None or not self._opened().verified:
            raise RequestRefusedError(Status.OUT_OF_ORDER)
        self._slots.commit()

    def change_over(self) -> None:
        """The commit is stored: the filled slot is current from now on."""
        self._transfer = None
        self._slots.choose()

    def _opened(self) -> _Transfer:
        if self._transfer is None:
            raise RequestRefusedError(Status.OUT_OF_ORDER)
        return self._transfer
