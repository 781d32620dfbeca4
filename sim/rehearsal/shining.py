"""Lamps that shine with a move in a rehearsal: TABLE.md, section 12.

From when on a lamp shines with its servo's move is known to the frame. How bright it is then is
worked out of the servo's pieces, in closed form.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import Any

import numpy as np

from sim.arrays import Array
from sim.model import Shine
from sim.rehearsal.takeover import POSITIONS_PER_DEG
from sim.rehearsal.trajectories import TimeSpan
from sim.rulebook import CLOCK_PER_MS, LEVEL_STEPS_PER_PCT

MS_PER_S = 1000.0


class ShiningRow:
    """The spans in which one lamp shines with its move; the last of them may be open."""

    def __init__(self, shine: Shine, glide_ms: float) -> None:
        self.shine, self._glide_ms = shine, glide_ms
        self.spans: list[TimeSpan] = []
        self._since: float | None = None

    def begin(self, at_ms: float) -> None:
        """Nobody has the lamp: unless it does already, it shines with its move from now on."""
        if self._since is None:
            self._since = at_ms

    def end(self, at_ms: float) -> None:
        if self._since is not None:
            self.spans.append(TimeSpan(self._since, max(at_ms, self._since)))
            self._since = None

    def seen(self, own: float, now: int, state: tuple[int, int]) -> float:
        """What is seen of a level (half percents) at a time of the player's clock; the servo's
        position and speed by then are given."""
        if self._since is None:
            return own
        position, speed = state
        turned = speed * MS_PER_S if self.shine.by_speed else position
        wanted = LEVEL_STEPS_PER_PCT * self.shine.level_pct(turned / POSITIONS_PER_DEG)
        come = share(now / CLOCK_PER_MS - self._since, self._glide_ms)
        return float(own + (wanted - own) * come)


def share(since_ms: Any, glide_ms: float) -> Any:
    """How much of the move's light has come after some time, 0 to 1; arrays as well."""
    if glide_ms == 0.0:
        return since_ms * 0.0 + 1.0
    return np.clip(since_ms / glide_ms, 0.0, 1.0)


def shone(
    own: Array,
    times_ms: Array,
    shine: Shine,
    spans: Sequence[TimeSpan],
    glide_ms: float,
    angle_deg: Array,
    velocity_deg_s: Array,
) -> Array:
    """What is seen of a lamp's own levels (half percents), arrays over the times."""
    starts = np.array([span.start_ms for span in spans] or [inf])
    ends = np.array([span.end_ms for span in spans] or [inf])
    held = np.maximum(np.searchsorted(starts, times_ms, side="right") - 1, 0)
    on = (times_ms >= starts[held]) & (times_ms < ends[held])
    place = np.abs(velocity_deg_s) if shine.by_speed else angle_deg
    x = np.clip((place - shine.low) / (shine.high - shine.low), 0.0, 1.0)
    wanted = LEVEL_STEPS_PER_PCT * (shine.low_pct + (shine.high_pct - shine.low_pct) * x)
    since = np.where(on, times_ms - starts[held], 0.0)
    return np.asarray(np.where(on, own + (wanted - own) * share(since, glide_ms), own))
