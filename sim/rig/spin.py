"""A part that turns round and round: its place is a speed.

The pulse of a continuous-rotation servo sets how fast it turns, not where it stands. Everything
that takes a place over time (the score, the board, the takeover of an interrupted move) takes such
a speed as well, in rpm: a move from 0 to 60 rpm is a rise of speed by a law, and its speed is how
steeply the speed rises, in rpm/s. Only the mechanics differ: what the rest calls angle, speed and
acceleration of a part stands one derivative higher here.

Where the part points is not known (a servo of this kind does not count its turns), so its weight,
where it is out of balance, pulls either way at every instant.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import Array

if TYPE_CHECKING:
    from sim.model import Load

RPM_DEG_S: Final = 6.0
"""One turn a minute in deg/s."""


def turning(
    load: Load, place: ArrayLike, rate: ArrayLike, second: ArrayLike
) -> tuple[Array, Array, Array]:
    """Angle (deg), speed (deg/s) and acceleration (deg/s2) of a part, for its mechanics.

    `place`, `rate` and `second`: its commanded place and the first two derivatives, arrays that go
    together. They are the same for a part whose places are angles. For one that turns round and
    round they are rpm, rpm/s and rpm/s2, and its angle, which nobody knows, is given as 0.
    """
    at, first, then = (np.asarray(v, dtype=np.float64) for v in (place, rate, second))
    if not load.spins:
        return at, first, then
    whole = np.broadcast_shapes(at.shape, first.shape, then.shape)
    speed = np.broadcast_to(RPM_DEG_S * at, whole)
    return np.zeros(whole), speed, np.broadcast_to(RPM_DEG_S * first, whole)
