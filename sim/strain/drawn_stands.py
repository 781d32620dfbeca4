"""Where lights of a strand can stand between its fades, whatever is drawn, and how they are seen.

All times are the shortest: so most changes come into a second. Where a fade goes on beside
something longer, its own longer times count as well (`sim.strain.drawn_times`). What a strand
repeats is written out as often as any second can hold.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from math import inf
from typing import Final

import numpy as np

from sim.arrays import Array
from sim.light.flash import BRIGHT, CHANGE, RED_CHANGE, FlashKind, saturated_red
from sim.light.hues import ways_of_fades
from sim.light.lightness import channel_levels, colour_luminance, luminance, srgb_to_linear
from sim.model import (
    Effect,
    Fade,
    Lamp,
    Law,
    OneOf,
    Repeat,
    Step,
    Strip,
    StripLight,
)
from sim.rulebook import FRAME_MS, LEVEL_STEPS_PER_PCT
from sim.score.laws import position
from sim.score.tree import walk
from sim.strain.drawn_times import in_time
from sim.strain.light_bound import WINDOW_MS
from sim.strain.light_states import Light, LightStates

MOST_FADES: Final = 400
"""If a light has more fades than this, its ways are counted (own limit)."""

ROUND: Final = 1e-9

TINGE: Final = 5.0
"""Among other lights a red one counts as going when it changes by so much: by less, no mixture
comes from a saturated red to 0.2 away from it in u'v'."""

SHARES: Final = np.linspace(0.0, 1.0, 65)


@dataclass(frozen=True, slots=True)
class Stand:
    """An end of a fade, and the lights at which it may be: `levels` (lights, channels) in L*.

    It is reached by a fade that takes `lasts_ms`.
    """

    levels: Array
    lasts_ms: float
    law: Law


@dataclass(frozen=True)
class RowOfStands:
    """The stands of a light, one after the other.

    `until_ms[i, j]`: the least time from the end of the fade that leads to stand i to the beginning
    of the one that leads away from stand j, whatever is drawn; infinite where none does.
    """

    stands: tuple[Stand, ...]
    until_ms: Array


@dataclass(frozen=True)
class Sense:
    """What counts as a change to the eye: the value of light, and the least change of it."""

    kind: FlashKind
    outputs: tuple[str, ...]
    value: Callable[[Array], Array] = field(repr=False)
    """Of levels (..., channels) in L*."""
    least: float
    bright: float = inf
    """A change whose lower end is as high as this does not count."""


# -- stands ---------------------------------------------------------------------------------------


def stands_of(body: Step, light: Lamp | Strip, states: LightStates) -> RowOfStands | None:
    """The ends of a light's fades, from what the strand finds on, in the shortest times.

    As many passes as any second can hold. None: ways are to be counted.
    """
    name = light.name
    steps = tuple(walk(body))
    if any(isinstance(s, Effect) and s.output == name and s.name != "steady" for s in steps):
        return None
    if any(isinstance(step, OneOf) for step in steps):
        return None
    if any(isinstance(step, Repeat) and step.while_held for step in steps):
        return None
    left = states.left(name)
    if isinstance(light, Strip):
        several = [one for one in left if isinstance(one, StripLight)]
        if ways_of_fades(light, several) > 1:
            return None
    times = in_time(body, (name,), WINDOW_MS, MOST_FADES)
    if len(times.fades) > MOST_FADES or not times.in_order:
        return None
    fades = [one.act for one in times.fades if isinstance(one.act, Fade)]
    found = levels_found(light, states)
    # after power-up the safe light comes on a frame before the strand starts
    dark = Stand(np.zeros((1, found.shape[1])), 0.0, Law("uniform"))
    lit = Stand(found, 0.0, Law("uniform"))
    ends = (Stand(levels_at(one), float(one.duration_ms), one.law) for one in fades)
    until = np.full((len(fades) + 2,) * 2, inf)
    until[_LIT, _LIT:-1] = [one.begins_ms + FRAME_MS for one in times.fades]
    until[_LIT + 1 :, _LIT:-1] = times.least_ms
    return RowOfStands((dark, lit, *ends), until)


_LIT: Final = 1
"""The number of the stand that a strand finds."""


def levels_found(light: Lamp | Strip, states: LightStates) -> Array:
    """The levels at which a strand may find a light, shape (lights, channels), in L*."""
    levels = np.array([levels_of(one) for one in states.left(light.name)])
    return _steps(0.0, float(levels.max())) if isinstance(light, Lamp) else levels


def _steps(low_pct: float, high_pct: float) -> Array:
    """Every level that may be drawn, shape (levels, 1)."""
    steps = round((high_pct - low_pct) * LEVEL_STEPS_PER_PCT)
    return np.linspace(low_pct, high_pct, steps + 1)[:, np.newaxis]


def levels_of(light: Light) -> Array:
    """L* by channel."""
    if isinstance(light, StripLight):
        return np.array(channel_levels(light)) / LEVEL_STEPS_PER_PCT
    return np.array([light])


def levels_at(fade: Fade) -> Array:
    """Every level at which a fade may end, shape (lights, channels), in L*."""
    one = fade.drawn
    if isinstance(fade.light, StripLight) or one is None or not one.target_key:
        return levels_of(fade.light)[np.newaxis]
    return _steps(fade.light, one.most)


# -- how they are seen ----------------------------------------------------------------------------


def own_luminance(light: Lamp | Strip) -> Callable[[Array], Array]:
    """A light's luminance relative to its own full light, of levels (..., channels)."""
    linear = _linear(light)
    if isinstance(light, Lamp):
        return lambda levels: linear(levels)[..., 0]
    return lambda levels: np.asarray(colour_luminance(linear(levels)))


def _linear(light: Lamp | Strip) -> Callable[[Array], Array]:
    trims = np.array(light.trims or (1.0,))
    cap = None
    if isinstance(light, Strip) and light.cap_a is not None:
        cap = light.cap_a / (light.pixels * light.channel_a)

    def linear(levels: Array) -> Array:
        value = luminance(levels) * trims
        if cap is not None:
            total = value.sum(axis=-1, keepdims=True)
            value = value * np.minimum(1.0, cap / np.maximum(total, cap))
        return np.asarray(value)

    return linear


def weights_of(lights: Collection[Lamp | Strip]) -> dict[str, float]:
    """The share of each light in the luminance of all of them, all full."""
    full = {
        light.name: light.count * float(colour_luminance(_colour(light)))
        if isinstance(light, Lamp)
        else float(light.pixels)
        for light in lights
    }
    whole = sum(full.values()) or 1.0
    return {name: one / whole for name, one in full.items()}


def _colour(lamp: Lamp) -> Array:
    return srgb_to_linear(np.array(lamp.colour) / 255.0)


def can_be_red(light: Lamp | Strip) -> bool:
    """Whether a light can be a saturated red."""
    return isinstance(light, Strip) or bool(saturated_red(_colour(light)))


def redness_of(light: Lamp | Strip) -> Callable[[Array], Array]:
    """R - G - B, linear and not below 0, of levels (..., channels)."""
    if isinstance(light, Lamp):
        own, colour = own_luminance(light), _colour(light)
        excess = max(0.0, float(colour[0] - colour[1] - colour[2]))
        return lambda levels: own(levels) * excess
    linear = _linear(light)

    def redness(levels: Array) -> Array:
        rgb = linear(levels)
        return np.asarray(np.maximum(rgb[..., 0] - rgb[..., 1] - rgb[..., 2], 0.0))

    return redness


def _is_red(light: Lamp | Strip) -> Callable[[Array], Array]:
    """1 where the light is a saturated red and not dark, else 0."""
    if isinstance(light, Lamp):
        own, red = own_luminance(light), float(saturated_red(_colour(light)))
        return lambda levels: np.asarray(np.where(own(levels) > 0.0, red, 0.0))
    linear = _linear(light)
    return lambda levels: saturated_red(linear(levels)).astype(np.float64)


def tinge_of(light: Lamp | Strip) -> Callable[[Array], Array]:
    """How much a light makes a mixture red, or keeps it from being so: `TINGE` times as much is 1.

    A strip may change its colour at the same luminance, too.
    """
    own, is_red = own_luminance(light), _is_red(light)
    sign = 1.0 if can_be_red(light) else -1.0

    def tinge(levels: Array) -> Array:
        amount = np.log(np.maximum(own(levels), 1e-9)) / np.log(TINGE)
        return np.asarray(sign * amount + (is_red(levels) if isinstance(light, Strip) else 0.0))

    return tinge


def senses_of(light: Lamp | Strip, beside: tuple[Lamp | Strip, ...]) -> Iterator[Sense]:
    """The ways to see a light: by itself, then as one of all lights, the others steady."""
    own, name = own_luminance(light), (light.name,)
    yield Sense("general", name, own, CHANGE, BRIGHT)
    if can_be_red(light):
        yield Sense("red", name, redness_of(light), RED_CHANGE)
        yield Sense("red", name, _is_red(light), 1.0)
    if not beside:
        return
    everything = tuple(one.name for one in beside)
    share = weights_of(beside)[light.name]
    if share > 0.0:
        yield Sense("general", everything, own, CHANGE / share)
    if any(can_be_red(one) for one in beside):
        counts = {o.name: o.count if isinstance(o, Lamp) else o.pixels for o in beside}
        part = counts[light.name] / sum(counts.values())
        yield Sense("red", everything, redness_of(light), RED_CHANGE / part)
        yield Sense("red", everything, tinge_of(light), 1.0)


def way_to(levels: Array, to: Array, law: Law) -> Array:
    """Levels on the way from each of several lights to one, shape (lights, shares, channels)."""
    share = position(law, SHARES)[:, np.newaxis]
    return levels[:, np.newaxis] + (to - levels[:, np.newaxis]) * share


def reached(value: Array, start: float, least: float, up: bool) -> float:
    """The share of a fade's time at which it is `least` away from `start`; infinite: it never is.

    Between two places that are looked at it is the first one.
    """
    away = value - start if up else start - value
    there = np.flatnonzero(away >= least - ROUND)
    if not there.size:
        return inf
    return float(SHARES[max(0, int(there[0]) - 1)])
