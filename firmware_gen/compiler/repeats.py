"""Which sequences of numbers occur more than once: pairs of neighbours, paired again and again.

The method is Re-Pair: N. J. Larsson, A. Moffat, "Off-line dictionary-based compression", Proc. IEEE
88 (11), 2000. Its time grows with the length of the sequences, but for a factor of the logarithm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from typing import Final, TypeAlias

Pair: TypeAlias = tuple[int, int]

_GONE: Final = -1
_BETWEEN: Final = -2
"""Stands between two sequences."""


@dataclass(frozen=True, slots=True)
class Paired:
    """Sequences in which no two neighbours occur twice, and what the new numbers stand for."""

    rows: tuple[tuple[int, ...], ...]
    pairs: dict[int, Pair]
    """By new number, in the order in which they were made."""


def paired(rows: Sequence[Sequence[int]], new: int, worth: Callable[[int], int]) -> Paired:
    """Replace pairs that occur twice by a new number, `new` and up, until none does.

    Of several pairs the one with the greatest `worth` goes first, taken times the places that it
    would save; of equal ones the one that was seen first. `worth` is asked about old numbers, that
    of a pair is the sum of both.
    """
    return _PairReplacing(rows, new, worth).run()


class _PairReplacing:
    def __init__(self, rows: Sequence[Sequence[int]], new: int, worth: Callable[[int], int]):
        self.new = new
        self.pairs: dict[int, Pair] = {}
        self.symbols: list[int] = [_BETWEEN]
        for row in rows:
            self.symbols += [*row, _BETWEEN]
        count = len(self.symbols)
        self.before = list(range(-1, count - 1))
        self.after = list(range(1, count + 1))
        self.worth = {symbol: worth(symbol) for symbol in set(self.symbols) if symbol >= 0}
        self.places: dict[Pair, dict[int, None]] = {}
        self.seen: dict[Pair, int] = {}
        for at in range(count - 1):
            self._add(at)
        self.heap = [self._rank(pair) for pair, at in self.places.items() if len(at) > 1]
        heapify(self.heap)

    def run(self) -> Paired:
        while self.heap:
            rank = heappop(self.heap)
            pair = rank[2]
            if len(self.places.get(pair, ())) < 2:
                continue
            if rank != self._rank(pair):  # fewer places by now than when it was put there
                heappush(self.heap, self._rank(pair))
                continue
            places = self._apart(pair)
            if len(places) > 1:
                self._replace(pair, places)
            del self.places[pair]
        return Paired(self._rows(), self.pairs)

    def _rank(self, pair: Pair) -> tuple[int, int, Pair]:
        saved = (len(self.places[pair]) - 1) * (self.worth[pair[0]] + self.worth[pair[1]])
        return -saved, self.seen[pair], pair

    def _pair(self, at: int) -> Pair | None:
        """The pair that begins at a place, if one does."""
        first = self.symbols[at]
        second = self.symbols[self.after[at]] if first >= 0 else _BETWEEN
        return (first, second) if second >= 0 else None

    def _add(self, at: int) -> Pair | None:
        pair = self._pair(at)
        if pair is not None:
            self.places.setdefault(pair, {})[at] = None
            self.seen.setdefault(pair, len(self.seen))
        return pair

    def _drop(self, at: int) -> None:
        pair = self._pair(at)
        if pair in self.places:
            self.places[pair].pop(at, None)

    def _apart(self, pair: Pair) -> list[int]:
        """Its places in the order of the text, but for those that overlap the one before."""
        places: list[int] = []
        for at in sorted(self.places[pair]):
            if not places or self.after[places[-1]] != at:
                places.append(at)
        return places

    def _replace(self, pair: Pair, places: Sequence[int]) -> None:
        number = self.new
        self.new += 1
        self.pairs[number] = pair
        self.worth[number] = self.worth[pair[0]] + self.worth[pair[1]]
        fresh: dict[Pair, None] = {}
        for at in places:
            gone, before = self.after[at], self.before[at]
            for place in (before, gone):
                self._drop(place)
            self.symbols[at], self.symbols[gone] = number, _GONE
            self.after[at] = self.after[gone]
            self.before[self.after[gone]] = at
            for made in (self._add(before), self._add(at)):
                if made is not None:
                    fresh[made] = None
        for one in fresh:
            if len(self.places[one]) > 1:
                heappush(self.heap, self._rank(one))

    def _rows(self) -> tuple[tuple[int, ...], ...]:
        rows: list[tuple[int, ...]] = []
        row: list[int] = []
        at = self.after[0]
        while at < len(self.symbols):
            if self.symbols[at] == _BETWEEN:
                rows.append(tuple(row))
                row = []
            else:
                row.append(self.symbols[at])
            at = self.after[at]
        return tuple(rows)
