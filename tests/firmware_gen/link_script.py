"""A recorded link: what is done to a board, and what it answers.

A case of `vectors/link.json` holds a title, the cells at first (pieces [offset, bytes], the rest is
erased), the bytes of the merged table with its stamp, and steps:

    in HEX OUT        these bytes come, all is stored that there is to store; the board sends OUT
    stalled HEX OUT   the same, but no write ends
    free OUT          the writes end
    frames N SHOWN    so many frames are played; the outputs of the last one
    restart           the power goes and comes back
    cuts ROWS AFTER RESULTS
                      for each result the board starts with the cells of the case; ROWS come one
                      after the other; the power fails during a write and comes back; AFTER comes.
                      A result is: writes that succeed before; what the cell then holds (-1: as
                      before); the row (from 0); the cells' digest; what the board sends at last
    cells DIGEST      the first 8 bytes of SHA-256 over all cells

Bytes that come are given to the board in pieces that end behind each zero: which of two requests
is done first is not compared.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from hashlib import sha256
from typing import Any, Protocol

from firmware_gen.board.board import ReferenceBoard
from firmware_gen.board.storage import Eeprom, PowerLossError
from tests.firmware_gen.host.core import Core, PowerCutError, library
from tests.firmware_gen.second_board import PowerFailsError, SecondBoard

CELLS = 1024
FOR_EVER = 20_000  # polls of a cell; to read cells a chip must wait for the end of a write
SERVICES = 40  # enough for all that can be done while a cell is busy


class Bench(Protocol):
    """A board and what can be done to it. An exchange raises EOFError if the power fails."""

    def exchange(self, data: bytes, stalled: bool) -> bytes: ...

    def frame(self) -> bytes: ...

    def restart(self) -> None: ...

    def cut(self, writes: int, torn: int) -> None: ...

    def anew(self) -> Bench:
        """Another board, with the cells as they were at first."""
        ...

    @property
    def cells(self) -> bytes: ...


def pieces(data: bytes) -> Iterator[bytes]:
    """The bytes cut behind each zero."""
    *ended, rest = data.split(b"\0")
    yield from (piece + b"\0" for piece in ended)
    yield rest


class ReferenceBench:
    """The reference board. It knows no merged table."""

    def __init__(self, cells: bytes, merged: bytes) -> None:
        assert not merged
        self._at_first = cells
        self._storage = Eeprom(contents=cells)
        self._board = ReferenceBoard(self._storage)

    def exchange(self, data: bytes, stalled: bool) -> bytes:
        try:
            for piece in pieces(data):
                self._board.receive(piece)
                while self._board.storing and not (stalled and not self._board.slots.idle):
                    self._board.work()
        except PowerLossError:
            raise EOFError from None
        return self._board.take_output()

    def frame(self) -> bytes:
        frame = self._board.frame()
        return frame.raw if frame else b""

    def restart(self) -> None:
        self._storage.cut_after = self._storage.torn = None
        self._board = ReferenceBoard(self._storage)

    def cut(self, writes: int, torn: int) -> None:
        self._storage.cut_after, self._storage.torn = writes, torn if torn >= 0 else None

    def anew(self) -> ReferenceBench:
        return ReferenceBench(self._at_first, b"")

    @property
    def cells(self) -> bytes:
        return bytes(self._storage.cells)


class CoreBench:
    """The firmware's core, compiled for this machine."""

    def __init__(self, cells: bytes, merged: bytes) -> None:
        self._at_first = cells, merged
        self._core = Core(cells=cells)
        self._core.merged[: len(merged)] = merged
        self._core.start()

    def exchange(self, data: bytes, stalled: bool) -> bytes:
        library().host_slow(FOR_EVER if stalled else 0)
        try:
            for piece in pieces(data):
                self._core.feed(piece)
                if not stalled:
                    self._core.settle()
                for _ in range(SERVICES if stalled else 0):
                    self._core.service()
        except PowerCutError:
            raise EOFError from None
        return self._core.take()

    def frame(self) -> bytes:
        return self._core.frame()

    def restart(self) -> None:
        library().host_cut(-1, -1)
        self._core.start()

    def cut(self, writes: int, torn: int) -> None:
        library().host_cut(writes, torn)

    def anew(self) -> CoreBench:
        return CoreBench(*self._at_first)

    @property
    def cells(self) -> bytes:
        return bytes(self._core.cells)


class SecondBench:
    """The second board, or one made of changed rules."""

    def __init__(
        self,
        cells: bytes,
        merged: bytes,
        make: Callable[[bytearray, bytes], SecondBoard] = SecondBoard,
        failure: type[Exception] = PowerFailsError,
    ) -> None:
        self._at_first, self._cells = cells, bytearray(cells)
        self._make, self._merged, self._failure = make, merged, failure
        self.restart()

    def exchange(self, data: bytes, stalled: bool) -> bytes:
        board = self._board
        try:
            for piece in pieces(data):
                board.receive(piece)
                if not stalled:
                    board.store_all()
                elif board.store.is_idle():
                    board.answer_waiting()
        except self._failure:
            raise EOFError from None
        return board.sent()

    def frame(self) -> bytes:
        return self._board.frame()

    def restart(self) -> None:
        self._board = self._make(self._cells, self._merged)

    def cut(self, writes: int, torn: int) -> None:
        self._board.store.cut_after, self._board.store.torn = writes, torn

    def anew(self) -> SecondBench:
        return SecondBench(self._at_first, self._merged, self._make, self._failure)

    @property
    def cells(self) -> bytes:
        return bytes(self._cells)


def cells_of(case: Mapping[str, Any]) -> bytes:
    cells = bytearray(b"\xff" * CELLS)
    for at, data in case["cells"]:
        cells[at : at + len(data) // 2] = bytes.fromhex(data)
    return bytes(cells)


def done(bench: Bench, step: list[Any]) -> list[Any]:
    """What the board makes of a step: the step with its answers."""
    match step[0], step[1:]:
        case ("in" | "stalled") as how, [data, *_]:
            return [how, data, bench.exchange(bytes.fromhex(data), how == "stalled").hex()]
        case "free", _:
            return ["free", bench.exchange(b"", False).hex()]
        case "frames", [count, *_]:
            return ["frames", count, [bench.frame() for _ in range(count)][-1].hex()]
        case "restart", _:
            bench.restart()
        case "cuts", [rows, after, results]:
            cut = [_cut(bench.anew(), rows, after, *result[:2]) for result in results]
            return ["cuts", rows, after, cut]
        case "cells", _:
            return ["cells", _digest(bench)]
    return step


def _cut(bench: Bench, rows: list[str], after: str, writes: int, torn: int) -> list[Any]:
    """A result of a cut; its row is the number of rows if the power does not fail."""
    bench.cut(writes, torn)
    row = 0
    with suppress(EOFError):
        for row in range(len(rows) + 1):
            bench.exchange(bytes.fromhex("".join(rows[row : row + 1])), False)
    cells = _digest(bench)
    bench.restart()
    return [writes, torn, row, cells, bench.exchange(bytes.fromhex(after), False).hex()]


def _digest(bench: Bench) -> str:
    return sha256(bench.cells).hexdigest()[:16]


def recorded(bench: Bench, steps: Iterable[list[Any]]) -> list[list[Any]]:
    return [done(bench, step) for step in steps]


def leaves_at(bench: Bench, case: Mapping[str, Any]) -> int | None:
    """The number of the first step that a board answers otherwise; None: it answers all."""
    for number, step in enumerate(case["steps"]):
        if done(bench, step) != step:
            return number
    return None
