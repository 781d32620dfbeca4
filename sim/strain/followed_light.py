"""How quickly a lamp may follow a source so that no hand can make it flash.

A lamp that follows goes no faster than evenly from one of its targets to the other in a given time
(`firmware_gen/TABLE.md`, section 10). So within a second, however the source is moved, its light
goes so far and no farther, up and down added up. Each change of a flash needs a tenth of its full
light (WCAG 2.2, general flash). The first change of a second may have been nearly done before it.

Several lamps that follow are bounded as well, whatever each of them does: the light of all together
is a mean of theirs, which goes no farther than the one that goes farthest.
"""

from __future__ import annotations

from math import ceil
from typing import Final

import numpy as np

from sim.light.counting import TOO_MANY
from sim.light.flash import CHANGE, RED_CHANGE, saturated_red
from sim.light.lightness import luminance, srgb_to_linear
from sim.model import Follow, Lamp
from sim.strain.light_bound import WINDOW_MS

_STEP_PCT: Final = 0.25


def steepest_per_pct(follow: Follow) -> float:
    """The greatest gain of relative luminance per percent of L* between the targets of a lamp.

    Luminance is convex in L* (CIE 1976: a straight line, then a cube), so it is at the upper end.
    """
    high = max(follow.target_from, follow.target_to)
    # a chord below the end is flatter than the curve there: one as long above is steeper
    above = luminance(np.array([high, high + _STEP_PCT]))
    return float(above[1] - above[0]) / _STEP_PCT


def is_red(lamp: Lamp) -> bool:
    """Whether its light is a saturated red (WCAG 2.2, red flash)."""
    return bool(saturated_red(srgb_to_linear(np.array(lamp.colour) / 255.0)))


def shortest_way_ms(lamp: Lamp, follow: Follow) -> int:
    """The shortest time from one target to the other (ms) in which no second holds too many
    changes, general or red."""
    way_pct = abs(follow.target_to - follow.target_from)
    gain = steepest_per_pct(follow) * way_pct * WINDOW_MS
    needs = gain / ((TOO_MANY - 1) * CHANGE)
    if is_red(lamp):
        red, green, blue = srgb_to_linear(np.array(lamp.colour) / 255.0).tolist()
        needs = max(needs, gain * (red - green - blue) / ((TOO_MANY - 1) * RED_CHANGE))
    return ceil(needs)
