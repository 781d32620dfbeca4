"""The lists of motion laws, fitted to their closed forms.

`python -m firmware_gen.build.fit_laws` prints them as they stand in `sim/score/fixed_laws.py`; a
test holds those against these. A new law that is held as a list gets its name there first.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from math import floor
from typing import Final

import numpy as np

from sim.model import Law, LawName
from sim.score.fixed_laws import LAW_LISTS, LIST_STEPS
from sim.score.laws import shape

LIST_GRAIN: Final = 6
"""Gains of a list are multiples of it: what they change by from one to the next fits in a byte."""
LIST_START_GRAIN: Final = 18
"""The first is a multiple of this."""
_KEPT: Final = 64
_FINE: Final = 32
"""Places in a step at which a list is fitted to its law."""


def fitted(name: LawName) -> tuple[int, ...]:
    """The list of a law: the least squares' fit to its speed.

    From rest to an even speed at half-way. Meant for laws whose acceleration does not jump inside.
    """
    steps = np.arange(LIST_STEPS * _FINE + 1) / _FINE
    speeds = shape(Law(name), steps / (2 * LIST_STEPS)).v / (2 * LIST_STEPS)
    # Column k: what a gain of 1 at step k, falling to 0 at both neighbours, adds to the speed.
    u = np.clip(steps[:, None] - np.arange(LIST_STEPS), -1.0, 1.0)
    added = np.where(u < 0.0, (1.0 + u) ** 2, 2.0 - (1.0 - u) ** 2) / 2.0
    added[:, 0] -= 0.5
    gains = np.linalg.lstsq(added, speeds, rcond=None)[0]
    if gains[0] < 0.0:
        gains[0] = 0.0
        gains[1:] = np.linalg.lstsq(added[:, 1:], speeds, rcond=None)[0]
    # Thousandths, so that the choice is the same with every library behind numpy.
    return _grained([round(gain, 3) for gain in (2.0**20 * gains).tolist()])


def _grained(gains: Sequence[float]) -> tuple[int, ...]:
    """Gains as multiples of their grain, then 0.

    Speeds have the least squares of errors, among those with which the way ends half-way.
    """
    first = LIST_START_GRAIN * floor(gains[0] / LIST_START_GRAIN + 0.5)
    more = first - gains[0]
    ends = sum(accumulate(gains)) - (len(gains) / 2.0 + 1.0 / 6.0) * gains[0] - 2.0**19
    # Squares so far, how much speed and way are too much, the gains; the best of them go on.
    chosen: list[tuple[float, float, float, tuple[int, ...]]] = [
        (0.0, more / 2.0, ends - more / 6.0, (first,))
    ]
    for gain in gains[1:]:
        low = LIST_GRAIN * floor(gain / LIST_GRAIN)
        chosen = sorted(
            (squares + (speed + g - gain) ** 2, speed + g - gain, way + speed + g - gain, (*row, g))
            for squares, speed, way, row in chosen
            for g in (low, low + LIST_GRAIN)
        )[:_KEPT]
    return (*min(chosen, key=lambda one: one[0] + 10.0 * one[2] ** 2)[3], 0)


if __name__ == "__main__":
    for listed in LAW_LISTS:
        print(f'"{listed}": {fitted(listed)},')
