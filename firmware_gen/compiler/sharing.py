"""Threads that are alike, or end alike, kept once: what they share stands in the table once."""

from __future__ import annotations

from collections.abc import Sequence
from heapq import heapify, heappop, heappush
from typing import Final

from firmware_gen.compiler.code import Marked
from firmware_gen.table.ops import ForkTo, GoOn, Loop, LoopBack, Thread, op_bytes, renumbered

_GO_ON_BYTES: Final = 3
_END_BYTES: Final = 1


def share_threads(
    rows: Sequence[Sequence[Marked]], kinds: Sequence[int]
) -> tuple[list[tuple[Marked, ...]], list[int]]:
    """Fewer or shorter threads that do the same, and where each of the old ones went.

    Forks and go-ons of the result point forward. `kinds`: those of all outputs.
    """
    pool = _Pool([list(row) for row in rows], kinds)
    pool.merge_alike()
    while pool.share_best_tail():
        pool.merge_alike()
    return pool.in_order(len(rows))


class _Pool:
    def __init__(self, rows: list[list[Marked]], kinds: Sequence[int]) -> None:
        self.rows: dict[int, list[Marked]] = dict(enumerate(rows))
        self.kinds = kinds
        self.instead: dict[int, int] = {}
        """For each thread that is gone: the one that stands for it."""

    def merge_alike(self) -> None:
        """Drop threads that do the same as another, until none does."""
        while True:
            first: dict[Thread, int] = {}
            gone: dict[int, int] = {}
            for index, row in self.rows.items():
                kept = first.setdefault(_ops(row), index)
                if kept != index:
                    gone[index] = kept
            if not gone:
                return
            for index in gone:
                del self.rows[index]
            self.instead |= gone
            number = {index: gone.get(index, index) for index in (*self.rows, *gone)}
            self.rows = {index: _pointing(row, number) for index, row in self.rows.items()}

    def share_best_tail(self) -> bool:
        """Let threads that end alike go on in one; False if none would save a byte."""
        owners: dict[Thread, list[int]] = {}
        for index, row in self.rows.items():
            ops = _ops(row)
            for start in _starts(ops):
                owners.setdefault(ops[start:], []).append(index)
        best: tuple[int, Thread] | None = None
        for tail, indices in owners.items():
            saved = self._saved(tail, indices)
            if saved > 0 and (best is None or saved > best[0]):
                best = saved, tail
        if best is None:
            return False
        tail = best[1]
        whole = [index for index in owners[tail] if len(self.rows[index]) == len(tail)]
        if not whole:
            whole = [max([*self.rows, *self.instead]) + 1]
            self.rows[whole[0]] = self.rows[owners[tail][0]][-len(tail) :]
        for index in owners[tail]:
            if index != whole[0]:
                self.rows[index][-len(tail) :] = [Marked(GoOn(whole[0]))]
        return True

    def _saved(self, tail: Thread, indices: Sequence[int]) -> int:
        if len(indices) < 2 or isinstance(tail[0], GoOn):
            return 0
        size = sum(len(op_bytes(op, self.kinds)) for op in tail)
        size += 0 if isinstance(tail[-1], GoOn) else _END_BYTES
        stands = any(len(self.rows[index]) == len(tail) for index in indices)
        others = len(indices) - stands
        return others * (size - _GO_ON_BYTES) - (0 if stands else size)

    def in_order(self, count: int) -> tuple[list[tuple[Marked, ...]], list[int]]:
        """Threads before all that they point to, else as they came."""
        pointed = dict.fromkeys(self.rows, 0)
        for row in self.rows.values():
            for target in _targets(row):
                pointed[target] += 1
        free = [index for index, times in pointed.items() if times == 0]
        heapify(free)
        order: list[int] = []
        while free:
            index = heappop(free)
            order.append(index)
            for target in _targets(self.rows[index]):
                pointed[target] -= 1
                if pointed[target] == 0:
                    heappush(free, target)
        number = {index: place for place, index in enumerate(order)}
        rows = [tuple(_pointing(self.rows[index], number)) for index in order]
        return rows, [number[self._standing_for(index)] for index in range(count)]

    def _standing_for(self, index: int) -> int:
        while index in self.instead:
            index = self.instead[index]
        return index


def _ops(row: Sequence[Marked]) -> Thread:
    return tuple(one.op for one in row)


def _targets(row: Sequence[Marked]) -> list[int]:
    return [one.op.thread for one in row if isinstance(one.op, ForkTo | GoOn)]


def _pointing(row: Sequence[Marked], number: dict[int, int]) -> list[Marked]:
    return [
        Marked(op, one.mark) for op, one in zip(renumbered(_ops(row), number), row, strict=True)
    ]


def _starts(ops: Thread) -> list[int]:
    """Where a tail may begin: outside every loop."""
    depth, found = 0, []
    for place, op in enumerate(ops):
        if depth == 0:
            found.append(place)
        depth += isinstance(op, Loop) - isinstance(op, LoopBack)
    return found
