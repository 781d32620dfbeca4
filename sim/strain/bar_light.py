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
from math import ceil

import numpy as np

from sim.light.area import least_group
from sim.light.counting import TOO_MANY
from sim.light.flash import CHANGE, RED_CHANGE
from sim.model import Cue, Follow, LevelBar, Strip
from sim.strain.drawn_stands import levels_of, own_luminance, redness_of
from sim.strain.light_bound import WINDOW_MS, LightBound
from sim.strain.light_states import LightStates


def contrast(strip: Strip, states: LightStates) -> float:
    """How many least changes the strip's strongest light is away from dark; below 1 none counts.

    A red light counts by how red it is, however dim; see `sim.light.flash`.
    """
    levels = np.array([levels_of(one) for one in states.left(strip.name)])
    general = float(own_luminance(strip)(levels).max()) / CHANGE
    red = float(redness_of(strip)(levels).max()) / RED_CHANGE
    return max(general, red)


def changes_of_bar(
    bound: LightBound, cues: Collection[Cue], bar: LevelBar
) -> tuple[int, Cue | None]:
    """The most changes of any pixels within a second, and the cue that moves the level most.

    Other cues may light the strip meanwhile.
    """
    busiest = max(cues, key=lambda cue: bound.of_light(cue, bar.lamp), default=None)
    if busiest is None:
        return 0, None
    level = ceil(bound.of_light(busiest, bar.lamp))
    own = ceil(max(bound.of_light(cue, bar.strip) for cue in cues))
    return max(own, level + max(0, 2 * own - 1)) if level else own, busiest


def shortest_way_ms(
    strip: Strip, follow: Follow, viewing_m: float, states: LightStates, both_ends: bool
) -> int:
    """The shortest time from one target of the lamp to the other (ms) in which no second holds too
    many changes of any group of pixels.

    `both_ends`: the bar begins in the middle, so each end goes half the way.
    """
    strength = contrast(strip, states)
    if strength < 1.0:
        return 0
    group = least_group(strip.pitch_m, viewing_m, strip.pixels)
    way = abs(follow.target_to - follow.target_from) / 100.0 * strip.pixels
    if both_ends:
        way /= 2.0
    return ceil(way * WINDOW_MS * strength / ((TOO_MANY - 1) * group))
