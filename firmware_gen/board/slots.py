"""Two places for tables, one of them current, whatever happens to the power: LINK.md section 6.

Writes are slow, so they wait in a queue; `work` does one of them. Bytes that already hold the
wanted value are not written.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from firmware_gen.board.storage import ERASED, Storage
from firmware_gen.chips import Chip
from firmware_gen.link.protocol import NO_SLOT

FIRST_BYTE: Final = 4
"""Where slot 0 starts; the cells before are the likeliest to be spoilt by a failing supply."""
MARKS: Final = (0x3C, 0xC3)
"""The mark's value for each slot; eight bits apart."""

_LENGTH_AT: Final = 2
"""Where a table states its length (u16)."""


@dataclass(frozen=True, slots=True)
class _Write:
    address: int
    value: int
    ends_chunk: bool = False


class Slots:
    """The slots of one board.

    Args:
        storage: the cells.
        chip: gives the number and size of the slots.
        refusal_of: why the board would not play a table; 0: it would.
    """

    def __init__(self, storage: Storage, chip: Chip, refusal_of: Callable[[bytes], int]) -> None:
        self._storage = storage
        self._slot_bytes = chip.slot_bytes
        self._mark_at = FIRST_BYTE + len(MARKS) * chip.slot_bytes
        self._refusal_of = refusal_of
        self._queue: deque[_Write] = deque()
        self._first = ERASED
        self.current = NO_SLOT
        self.table = b""
        """The current table; empty on a blank board."""
        self.refusal = 0
        """Why no table plays; 0 if one does."""
        self.choose()

    def choose(self) -> None:
        """Find the current slot, as at every start."""
        named = self._named()
        order = (1, 0) if named == 1 else (0, 1)
        refusals = []
        for slot in order:
            table = self.held(slot)
            refusals.append(self._refusal_of(table))
            if refusals[-1] == 0:
                self.current, self.table, self.refusal = slot, table, 0
                return
        self.current, self.table, self.refusal = NO_SLOT, b"", refusals[0]

    def held(self, slot: int) -> bytes:
        """What a slot holds, as long as its header says; the whole slot if that cannot be."""
        base = self._base(slot)
        whole = self._storage.read(base, self._slot_bytes)
        length = int.from_bytes(whole[_LENGTH_AT : _LENGTH_AT + 2], "little")
        return whole[:length] if length <= self._slot_bytes else whole

    @property
    def idle(self) -> bool:
        """Nothing waits to be written."""
        return not self._queue

    @property
    def waiting_chunks(self) -> int:
        """Pieces given to `put` whose last byte is not stored yet."""
        return sum(write.ends_chunk for write in self._queue)

    @property
    def target(self) -> int:
        """The slot a transfer fills."""
        return 1 if self.current == 0 else 0

    def open(self) -> None:
        """Prepare the slot that is not current."""
        self._queue.clear()
        self._first = ERASED
        if self.current != NO_SLOT and self._named() != self.current:
            self._queue.append(_Write(self._mark_at, MARKS[self.current]))
        self._queue.append(_Write(self._base(self.target), ERASED))

    def put(self, offset: int, data: bytes) -> None:
        """Queue table bytes for the slot being filled; its first byte waits for `commit`."""
        if offset == 0:
            self._first = data[0]
            offset, data = 1, data[1:]
        base = self._base(self.target) + offset
        for place, value in enumerate(data, 1):
            self._queue.append(_Write(base + place - 1, value, ends_chunk=place == len(data)))

    def filled(self, length: int) -> bytes:
        """The `length` bytes stored in the slot being filled, with the first as it will be."""
        stored = self._storage.read(self._base(self.target), length)
        return bytes([self._first]) + stored[1:]

    def commit(self) -> None:
        """Queue the two writes that make the filled slot a table, and current."""
        self._queue.append(_Write(self._base(self.target), self._first))
        self._queue.append(_Write(self._mark_at, MARKS[self.target]))

    def work(self) -> bool:
        """Do the next write that changes a cell; whether there was one."""
        while self._queue:
            write = self._queue[0]
            differs = self._storage.read(write.address, 1)[0] != write.value
            if differs:
                self._storage.write(write.address, write.value)
            self._queue.popleft()
            if differs:
                return True
        return False

    def _base(self, slot: int) -> int:
        return FIRST_BYTE + slot * self._slot_bytes

    def _named(self) -> int:
        mark = self._storage.read(self._mark_at, 1)[0]
        return MARKS.index(mark) if mark in MARKS else NO_SLOT
