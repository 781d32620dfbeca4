"""Changes of many lights at once: how close together eight changes of each can come.

The same changes as in `sim.light.flash`, counted for thousands of columns side by side, so that a
pattern of hours and every group of a strip's pixels can be looked at.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sim.arrays import Array
from sim.light.flash import FLASHES

TOO_MANY: Final = 2 * (FLASHES + 1)
"""Changes within a second that make one flash too many."""

_ROUND: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Closest:
    """Per column: the shortest time (ms) that so many changes in a row take, and its start.

    `span_ms` is infinite where there are fewer changes. Times count from the column's first value.
    """

    span_ms: Array
    at_ms: Array

    def worst(self) -> int:
        """The column with the shortest span."""
        return int(np.argmin(self.span_ms))


class Counter:
    """Takes the values of all columns, one time after another."""

    def __init__(self, rest: Array, first: Array, least: float, many: int = TOO_MANY) -> None:
        """`rest`: the values before anything happens, one a column; `first`: those at time 0.

        `least`: the change that counts. A first change is one down from rest. `many`: how many
        changes in a row are looked for.
        """
        columns = first.size
        self._many = many
        self._least = least - _ROUND
        self._sign = np.ones(columns)
        """1 where the last change went up, -1 where it went down."""
        self._extreme = np.maximum(rest, first)
        """The farthest since then, times the sign; the next change goes the other way."""
        self._before, self._before_ms = rest, 0.0
        self._count = np.zeros(columns, dtype=np.intp)
        self._reached = np.full((many, columns), -inf)
        self._span = np.full(columns, inf)
        self._at = np.zeros(columns)
        self.take(0.0, first)

    def take(self, time_ms: float, value: Array) -> None:
        """The values of all columns at a time later than the one before; straight in between.

        A change counts at the instant when it gets to the least that counts.
        """
        signed = value * self._sign
        turned = np.flatnonzero(signed <= self._extreme - self._least)
        np.maximum(self._extreme, signed, out=self._extreme)
        if turned.size:
            sign = self._sign[turned]
            level = (self._extreme[turned] - self._least) * sign
            self._note(self._reached_ms(time_ms, value[turned], level, turned), turned)
            self._sign[turned] = -sign
            self._extreme[turned] = -sign * value[turned]
        self._before, self._before_ms = value, time_ms

    def _reached_ms(
        self, time_ms: float, now: Array, level: Array, columns: NDArray[np.intp]
    ) -> Array:
        before = self._before[columns]
        share = (level - before) / np.where(now == before, 1.0, now - before)
        lasts = time_ms - self._before_ms
        return np.asarray(self._before_ms + lasts * np.clip(share, 0.0, 1.0))

    def _note(self, time_ms: Array, columns: NDArray[np.intp]) -> None:
        count = self._count[columns]
        self._reached[count % self._many, columns] = time_ms
        self._count[columns] = count + 1
        began = self._reached[(count + 1) % self._many, columns]
        closer = time_ms - began < self._span[columns]
        self._span[columns[closer]] = time_ms[closer] - began[closer]
        self._at[columns[closer]] = began[closer]

    def closest(self) -> Closest:
        """What was found so far."""
        return Closest(self._span, self._at)
