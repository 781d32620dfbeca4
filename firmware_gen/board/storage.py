"""Bytes that outlast the power: what a board keeps its tables in, with faults on request.

A write can be the last thing that happens: `cut_after` writes the power fails, and what the
byte under way then holds is anyone's guess (`torn`).
"""

from __future__ import annotations

from typing import Protocol

from firmware_gen.chips import FIRST

ERASED = 0xFF


class PowerLossError(Exception):
    """The supply failed during a write. What was running is gone; the stored bytes are not."""


class Storage(Protocol):
    """Bytes that are read at once and written slowly, one at a time."""

    @property
    def size(self) -> int: ...

    def read(self, address: int, count: int) -> bytes:
        """`count` bytes from `address` on."""
        ...

    def write(self, address: int, value: int) -> None:
        """Store one byte; the power may fail during it."""
        ...


class Eeprom:
    """Cells in memory, erased at first; counts the writes of each and fails when told to.

    Args:
        size: in bytes.
        contents: what the cells hold at first, from address 0 on.
    """

    def __init__(self, size: int = FIRST.memory.eeprom, contents: bytes = b"") -> None:
        if len(contents) > size:
            raise ValueError(f"{len(contents)} bytes do not fit into {size}")
        self.cells = bytearray(contents + bytes([ERASED]) * (size - len(contents)))
        self.wear = [0] * size
        self.writes = 0
        self.cut_after: int | None = None
        """Writes that still succeed before the power fails; None: it does not fail."""
        self.torn: int | None = None
        """What the byte whose write is cut then holds; None: still its old value."""

    @property
    def size(self) -> int:
        return len(self.cells)

    def read(self, address: int, count: int) -> bytes:
        if not 0 <= address <= address + count <= self.size:
            raise IndexError(f"no bytes {address} to {address + count} in {self.size}")
        return bytes(self.cells[address : address + count])

    def write(self, address: int, value: int) -> None:
        """Store one byte.

        Raises:
            PowerLossError: the power fails during this write, or has failed before.
        """
        if not 0 <= address < self.size:
            raise IndexError(f"no byte {address} in {self.size}")
        if self.cut_after == 0:
            if self.torn is not None:
                self.cells[address] = self.torn
                self.torn = None
            raise PowerLossError(f"power failed while byte {address} was written")
        if self.cut_after is not None:
            self.cut_after -= 1
        self.cells[address] = value
        self.wear[address] += 1
        self.writes += 1
