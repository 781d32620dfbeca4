"""How often a strip's light turns on its way from one colour to another.

A fade takes each channel straight from its level to its next one, in L*. Light that gets brighter
or darker in all channels goes one way. Where one channel rises while another falls, luminance
bends: from magenta to green it falls by a tenth and rises by a half. Such a fade holds two changes.
"""

from __future__ import annotations

from collections.abc import Collection
from functools import lru_cache
from typing import Final

import numpy as np

from sim.arrays import Array
from sim.light.flash import CHANGE, RED_CHANGE, saturated_red
from sim.light.lightness import channel_levels, colour_luminance, luminance
from sim.model import BLACK, Strip, StripLight
from sim.rulebook import LEVEL_STEPS_PER_PCT

MOST_LIGHTS: Final = 16
"""If there are more lights, not each fade is looked at: `MOST_WAYS` are taken (own limit)."""

MOST_WAYS: Final = 3

_SHARES: Final = np.linspace(0.0, 1.0, 17)
_CUT_AT: Final = (0.25, 0.5, 0.75)
"""A fade may be cut short, and what takes over then starts between two lights."""

_NEARLY: Final = 0.97
"""Of what counts: a bend between two of the places looked at may be a little deeper."""


def ways_of_fades(strip: Strip, lights: Collection[StripLight]) -> int:
    """The most changes, general or red, that a fade of a strip among these lights may hold.

    Fades that start in the middle of another one, and from darkness, are among them.
    """
    levels = dict.fromkeys(channel_levels(light) for light in (BLACK, *lights))
    if len(levels) <= 2:
        return 1
    if len(levels) > MOST_LIGHTS:
        return MOST_WAYS
    trims = strip.trims or (1.0, 1.0, 1.0)
    share = None if strip.cap_a is None else strip.cap_a / (strip.pixels * strip.channel_a)
    return _most_ways(tuple(levels), trims, share)


@lru_cache(maxsize=64)
def _most_ways(
    levels: tuple[tuple[int, int, int], ...],
    trims: tuple[float, ...],
    cap: float | None,
) -> int:
    """`cap`: the sum of a pixel's channels over which all of them are dimmed."""
    ends = np.array(levels, dtype=np.float64) / LEVEL_STEPS_PER_PCT
    first, then = np.triu_indices(len(levels), 1)
    between = [ends[first] + cut * (ends[then] - ends[first]) for cut in _CUT_AT]
    origins = np.concatenate([ends, *between])
    way = (ends[np.newaxis] - origins[:, np.newaxis]).reshape(-1, 3)
    begins = np.repeat(origins, len(levels), axis=0)
    # under a cap a light of other colours may turn, though all its channels rise
    turning = (way.max(axis=1) > 0.0) & ((way.min(axis=1) < 0.0) | (cap is not None))
    if not turning.any():
        return 1
    path = begins[turning] + _SHARES[:, np.newaxis, np.newaxis] * way[turning]
    linear = luminance(path) * np.array(trims)
    if cap is not None:
        total = linear.sum(axis=-1, keepdims=True)
        linear = linear * np.minimum(1.0, cap / np.maximum(total, cap))
    excess = np.maximum(linear[..., 0] - linear[..., 1] - linear[..., 2], 0.0)
    is_red = saturated_red(linear).astype(np.float64)
    return max(
        1,
        _most_changes(np.asarray(colour_luminance(linear)), _NEARLY * CHANGE),
        _most_changes(excess, _NEARLY * RED_CHANGE),
        _most_changes(is_red, 1.0),
    )


def _most_changes(value: Array, least: float) -> int:
    """The most changes of at least `least` to and fro in any column, down the rows."""
    low, high = value[0].copy(), value[0].copy()
    up = np.zeros(low.size, dtype=bool)
    down = np.zeros(low.size, dtype=bool)
    count = np.zeros(low.size, dtype=np.intp)
    for row in value[1:]:
        falls = ~down & (row <= high - least)
        rises = ~up & ~falls & (row >= low + least)
        count += falls | rises
        down, up = (down & ~rises) | falls, (up & ~falls) | rises
        low = np.where(rises | falls, row, np.minimum(low, row))
        high = np.where(rises | falls, row, np.maximum(high, row))
    return int(count.max(initial=0))
