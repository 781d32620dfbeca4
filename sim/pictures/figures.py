"""Torque, current and voltage of a rehearsal, small enough to go with a page.

They are worked out in every frame, a stretch at a time, so that a rehearsal of hours takes no more
memory than one of minutes. A longer one is thinned: of the frames that fall together the worst
stays, which is the torque nearest to its limit, the most current and the least voltage.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import ceil
from typing import Final

import numpy as np

from sim.arrays import Array
from sim.model import Servo
from sim.rehearsal.sampling import sample
from sim.rehearsal.trajectories import Trajectories
from sim.rig.slide import of_horn
from sim.rulebook import FRAME_MS
from sim.strain.torque_and_current import RigWork, work

MOST_POINTS: Final = 6000
"""Kept of one row; at one frame each that is two minutes."""
STRETCH: Final = 4096
"""Frames worked out at once."""


@dataclass(frozen=True)
class WorkFigures:
    """Rows over a rehearsal, one point every `frames` frames.

    `torque` and `limit` are at the horn, N.m (N of a linear servo), `current` of a servo in A; of
    supplies the feed's current in A; of boards their voltage.
    """

    frames: int
    torque: dict[str, Array]
    limit: dict[str, Array]
    current: dict[str, Array]
    feed_a: dict[str, Array]
    board_v: dict[str, Array]


def work_figures(played: Trajectories) -> WorkFigures:
    """The figures of a whole rehearsal."""
    count = played.length_ms // FRAME_MS + 1
    together = max(1, ceil(count / MOST_POINTS))
    servos = (one for one in played.show.rig.outputs if isinstance(one, Servo))
    units = {one.name: of_horn(one).newton_metres for one in servos}
    found: dict[str, dict[str, list[Array]]] = {}
    for done in _stretches(played, count, together):
        for kind, rows in _thinned(done, together, units).items():
            for name, row in rows.items():
                found.setdefault(kind, {}).setdefault(name, []).append(row)
    whole = {
        kind: {name: np.concatenate(rows) for name, rows in named.items()}
        for kind, named in found.items()
    }
    kinds = ("torque", "limit", "current", "feed_a", "board_v")
    return WorkFigures(together, *(whole.get(kind, {}) for kind in kinds))


def _stretches(played: Trajectories, count: int, together: int) -> Iterator[RigWork]:
    step = together * max(1, STRETCH // together)
    for first in range(0, count, step):
        frames = np.arange(first, min(first + step, count), dtype=np.float64)
        yield work(played.show.rig, sample(played, frames * FRAME_MS))


def _thinned(
    done: RigWork, together: int, units: Mapping[str, float]
) -> dict[str, dict[str, Array]]:
    starts = np.arange(0, done.times_ms.size, together)
    torque: dict[str, Array] = {}
    limit: dict[str, Array] = {}
    for name, one in done.servos.items():
        worst = starts
        if together > 1:
            parts = (one.share[at : at + together] for at in starts)
            worst = starts + np.array([int(np.argmax(part)) for part in parts])
        torque[name] = np.abs(one.torque_nm)[worst] / units[name]
        limit[name] = one.allowed_nm[worst] / units[name]
    most, least = np.maximum.reduceat, np.minimum.reduceat
    return {
        "torque": torque,
        "limit": limit,
        "current": {n: most(one.current_a, starts) for n, one in done.servos.items()},
        "feed_a": {n: most(one.feed_a, starts) for n, one in done.supplies.items()},
        "board_v": {n: least(volts, starts) for n, volts in done.board_v.items()},
    }
