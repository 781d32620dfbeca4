"""Long rows of flashes, as guidance for strobe lights at public events has it.

Guidance published in the United Kingdom (Health and Safety Executive, reported by venues and
makers; its own text was not found) asks for at most four flashes a second, no more than 30 seconds
at a time, and a warning to the audience. More than three a second is too many here already
(`sim.light.flash`), so that only the length is left to judge. The guidance does not say how slow a
row may be and still count: here flashes that follow one another within half a second do (own).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np

from sim.arrays import Array
from sim.light.flash import SECOND_MS

STROBE_FLASHES: Final = 4
"""Flashes a second that a strobe light may make at a public event (guidance, reported)."""

STROBE_S: Final = 30
"""Seconds for which a strobe light may flash at a time (guidance, reported)."""

NEXT_FLASH_MS: Final = 500.0
"""Flashes that follow one another within this belong to one row (own)."""

STROBING_MS: Final = {"breathe": 500, "sparkle": 500, "run": 500, "ember": 250}
"""Periods up to which an effect can make a row: two changes a beat, `ember` one."""


@dataclass(frozen=True, slots=True)
class Row:
    """A row of flashes: from, to (ms; inf: it goes on), and flashes a second over it."""

    start_ms: float
    end_ms: float
    rate: float

    @property
    def lasts_s(self) -> float:
        return (self.end_ms - self.start_ms) / 1000.0


def longest_row(changes_ms: Array, seen_until_ms: float = inf) -> Row | None:
    """The longest row of flashes among changes of light; None where there is none.

    A row that still goes on at `seen_until_ms` has no end.
    """
    if changes_ms.size < 3:
        return None
    near = np.concatenate([[False], changes_ms[2:] - changes_ms[:-2] <= NEXT_FLASH_MS, [False]])
    edges = np.flatnonzero(np.diff(near.astype(np.int8)))
    if edges.size == 0:
        return None
    first, last = edges[::2], edges[1::2] + 1
    lasts = changes_ms[last] - changes_ms[first]
    n = int(np.argmax(lasts))
    start, end = float(changes_ms[first[n]]), float(changes_ms[last[n]])
    rate = (last[n] - first[n]) / 2.0 / max((end - start) / SECOND_MS, 1e-3)
    goes_on = end >= seen_until_ms - 2.0 * NEXT_FLASH_MS
    return Row(start, inf if goes_on else end, float(rate))
