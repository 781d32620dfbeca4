"""What the cues of a show ask of a fuse for longer than a peak lasts.

A fuse's standard promises that it carries a share of its rating for so many seconds
(`sim.rig.fuse`). What flows for longer than that may open it at that share. So of each cue, which a
button may start again and again, the greatest RMS current over a stretch just longer than each of
those times is found: heat goes with the square of the current, and a wire that melts has taken the
heat of the whole stretch.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from sim.arrays import Array
from sim.model import Supply
from sim.rig.disturbance import settled
from sim.rig.fuse import Standard
from sim.strain.sag import FULL_CHARGE
from sim.strain.torque_and_current import work
from sim.strain.usage import SAMPLE_MS, Book, CueAlone


@dataclass(frozen=True, slots=True)
class Lasting:
    """The RMS current (A) that `cue` takes from a source over a stretch of `lasts_s`, as often as
    somebody likes."""

    amps: float
    lasts_s: float
    cue: str | None


def lasting(books: Iterable[Book], supply: Supply, standard: Standard) -> tuple[Lasting, ...]:
    """For each time up to which the kind of fuse carries something, what most is asked for just
    longer; the shortest first."""
    squares = [row for book in books for row in _squares(book, supply)]
    found = []
    for seconds in sorted({lasts for _, lasts in standard.carries})[:-1]:
        rows = int(seconds * 1000.0 / SAMPLE_MS) + 1
        most, cue = max(
            ((busiest(row, rows), name) for name, row in squares), key=lambda one: one[0]
        )
        found.append(Lasting(most**0.5, rows * SAMPLE_MS / 1000.0, cue))
    return tuple(found)


def _squares(book: Book, supply: Supply) -> Iterator[tuple[str | None, Array]]:
    """The square of the source's current (A2) over each cue and each round of what has no end."""
    for name in (*book.cues, None):
        run = book[name]
        amps = _source_a(run, supply)
        yield name, amps**2
        if run.goes_round != (None, None):
            yield name, amps[slice(*run.goes_round)] ** 2


def _source_a(run: CueAlone, supply: Supply) -> Array:
    """In the worst posture without jolts, of an empty or a full battery, whichever gives more."""
    calm = settled(run.rig.wearer)
    full = work(run.rig, run.samples, FULL_CHARGE, calm).supplies[supply.name].source_a
    return np.asarray(np.maximum(run.settled.supplies[supply.name].source_a, full))


def busiest(row: Array, count: int) -> float:
    """The greatest mean of `count` samples in turn of a row that comes again and again."""
    whole, rest = divmod(count, row.size)
    if rest == 0:
        return float(np.mean(row))
    sums = np.concatenate([[0.0], np.cumsum(np.concatenate([row, row[:rest]]))])
    part = float(np.max(sums[rest:] - sums[:-rest]))
    return (whole * float(np.sum(row)) + part) / count
