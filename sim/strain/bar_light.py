"""How often pixels of a strip that shows a level may change, and how quickly a hand may move it.

The end of a bar passes over neighbouring pixels: they go on or off at once, however little the
level changes. So each way of the level up or down counts as one change of their light, and so does
each way of what the strip itself is lit with. While the bar is there, what turns in the strip's own
light turns the product twice at most; where it is not, nothing is seen of that.

A lamp that follows a source may be moved to and fro by a hand. A group of g neighbouring pixels
changes by a tenth of its full light when the end of the bar goes a tenth of g pixels, at the
strip's brightest. Eight such changes within a second need seven times that way.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from math import ceil

import numpy as np

from sim.arrays import Array
from sim.light.area import least_group
from sim.light.counting import TOO_MANY
from sim.light.flash import CHANGE, RED_CHANGE, saturated_red
from sim.light.lightness import luminance
from sim.model import Cue, Follow, LevelBar, Strip
from sim.strain.drawn_stands import SHARES, levels_of, own_luminance, redness_of
from sim.strain.light_bound import WINDOW_MS, LightBound
from sim.strain.light_states import LightStates


def contrast(strip: Strip, states: LightStates) -> float:
    """How many least changes the strip's strongest light is away from dark; below 1 none counts.

    A red light counts, however dim, as one at least; see `sim.light.flash`. A cap dims no short
    bar, so it does not count.
    """
    levels = _levels(strip, states)
    bright = replace(strip, cap_a=None)
    general = float(own_luminance(bright)(levels).max()) / CHANGE
    red = float(redness_of(bright)(levels).max()) / RED_CHANGE
    return max(general, red, 1.0 if may_be_red(strip, states) else 0.0)


def may_be_red(strip: Strip, states: LightStates) -> bool:
    """Whether the strip is a saturated red at any of its lights, or on the way between two."""
    ends = _levels(strip, states)
    path = ends + (ends[:, np.newaxis] - ends) * SHARES[:, np.newaxis, np.newaxis, np.newaxis]
    return bool(saturated_red(luminance(path) * np.array(strip.trims or (1.0,))).any())


def is_capped(strip: Strip, states: LightStates) -> bool:
    """Whether the strip's cap dims any of its lights when all of its pixels are lit."""
    if strip.cap_a is None:
        return False
    linear = luminance(_levels(strip, states)) * np.array(strip.trims or (1.0,))
    return bool((linear.sum(axis=-1) * strip.pixels * strip.channel_a > strip.cap_a).any())


def _levels(strip: Strip, states: LightStates) -> Array:
    return np.array([levels_of(one) for one in states.left(strip.name)])


def put_together(level: int, own: int) -> int:
    """The most changes of pixels whose bar changes so often, and their own light so often."""
    return max(own, level + max(0, 2 * own - 1)) if level else own


def changes_of_bar(
    bound: LightBound, cues: Collection[Cue], bar: LevelBar, capped: bool = False
) -> tuple[int, Cue | None]:
    """The most changes of any pixels within a second, and the cue that moves the level most.

    Other cues may light the strip meanwhile. `capped`: as `is_capped` finds.
    """
    busiest = max(cues, key=lambda cue: bound.of_light(cue, bar.lamp), default=None)
    if busiest is None:
        return 0, None
    level = ceil(bound.of_light(busiest, bar.lamp)) * (2 if capped else 1)
    own = ceil(max(bound.of_light(cue, bar.strip) for cue in cues))
    return put_together(level, own), busiest


def shortest_way_ms(
    strip: Strip, follow: Follow, viewing_m: float, states: LightStates, both_ends: bool
) -> int:
    """The shortest time from one target of the lamp to the other (ms) in which no second holds too
    many changes of any group of pixels.

    `both_ends`: the bar begins in the middle, so each end goes half the way. A bar that gets no
    longer than a group may have both of its ends in one.
    """
    strength = contrast(strip, states)
    if strength < 1.0:
        return 0
    group = least_group(strip.pitch_m, viewing_m, strip.pixels)
    way = abs(follow.target_to - follow.target_from) / 100.0 * strip.pixels
    shortest = min(follow.target_from, follow.target_to) / 100.0 * strip.pixels
    if both_ends and shortest >= group:
        way /= 2.0
    return ceil(way * WINDOW_MS * strength / ((TOO_MANY - 1) * group))
