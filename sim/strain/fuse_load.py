"""What the cues of a show ask of a fuse for longer than a peak lasts.

A fuse's standard promises one share of its rating for hours, and a greater one for some seconds
(`sim.rig.fuse`). What a cue takes lies between the two, and swells and falls. Heat goes with the
square of the current, and a fuse's wire gives it off with a time constant. So of each cue, which a
button may start again and again, the steady current is found that makes the wire as hot as the cue
does at its worst instant: this is what the fuse has to carry for hours.
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
from sim.strain.usage import Book, CueAlone


@dataclass(frozen=True, slots=True)
class Warming:
    """The steady current (A) that makes a fuse's wire as hot as `cue` does, played again and again.

    `cue` is None for standing by.
    """

    amps: float
    cue: str | None


def warming(books: Iterable[Book], supply: Supply, standard: Standard) -> Warming | None:
    """What warms a supply's fuse most; None where a peak asks for no less (`Standard.warms_s`)."""
    if standard.warms_s is None:
        return None
    warms_ms = standard.warms_s * 1000.0
    rows = (row for book in books for row in _squares(book, supply))
    square, cue = max(
        ((warmest(row, warms_ms / step_ms), name) for name, row, step_ms in rows),
        key=lambda one: one[0],
    )
    return Warming(square**0.5, cue)


def _squares(book: Book, supply: Supply) -> Iterator[tuple[str | None, Array, int]]:
    """The square of the source's current (A2) over each cue and each round of what has no end, and
    how far apart its samples are (ms)."""
    for name in (*book.cues, None):
        run = book[name]
        amps = _source_a(run, supply)
        yield name, amps**2, run.step_ms
        if run.goes_round != (None, None):
            yield name, amps[slice(*run.goes_round)] ** 2, run.step_ms


def _source_a(run: CueAlone, supply: Supply) -> Array:
    """In the worst posture without jolts, of an empty or a full battery, whichever gives more."""
    calm = settled(run.rig.wearer)
    full = work(run.rig, run.samples, FULL_CHARGE, calm).supplies[supply.name].source_a
    return np.asarray(np.maximum(run.settled.supplies[supply.name].source_a, full))


def warmest(heat: Array, constant: float) -> float:
    """The greatest warmth from heat that comes in a row of samples again and again, for ever.

    Warmth follows steady heat to the same figure, with a time constant in samples:
    w[n] = a w[n-1] + (1 - a) heat[n], a = exp(-1 / constant). All rounds before are the weights
    a**k (1 - a) / (1 - a**size) on one round, taken in a circle.
    """
    ages = np.arange(heat.size)
    decay = np.exp(-1.0 / constant)
    weights = decay**ages * (1.0 - decay) / (1.0 - decay**heat.size)
    warmth = np.fft.irfft(np.fft.rfft(heat) * np.fft.rfft(weights), heat.size)
    return float(np.max(warmth))
