"""Effects: exactly repeating modulations of a light, in the integers the board uses.

A multiplier runs from 0 (dark) to 256 (the light as it is). The arithmetic is that of the table's
specification, section 3.4, so that preview and board show the same flicker to the bit.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final, TypeVar

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import Integers
from sim.model import Effect, Law
from sim.noise import BEAT_FACTOR, PIXEL_FACTOR, SEED_FACTOR, mixed
from sim.rulebook import EFFECT_ONE, EFFECT_STEPS, LEVEL_MAX, LEVEL_STEPS_PER_PCT, WIDTH_MAX
from sim.score.fixed_laws import fixed_law

FULL: Final = EFFECT_ONE
MOVING: Final = ("ember", "sparkle", "run")
"""Effects that differ from pixel to pixel."""

Whole = TypeVar("Whole", int, Integers)
"""One integer, as a player has it, or an array of them."""


def depth_level(effect: Effect) -> int:
    """The depth in steps of a level, as a table holds it."""
    return round(LEVEL_STEPS_PER_PCT * effect.depth_pct)


def depth_of(effect: Effect) -> int:
    """The depth as the multiplier's arithmetic has it, 0 to 256."""
    return depth_share(depth_level(effect))


# -- the arithmetic of TABLE.md 3.4; shares are those of the depth, 0 to 256 ---------------------


def depth_share(level: int) -> int:
    """A depth in steps of a level as a share of 256."""
    return (FULL * level + LEVEL_MAX // 2) // LEVEL_MAX


def weighed(depth: Whole, weight: Whole) -> Whole:
    """The depth of an effect that comes or goes: so many of `EFFECT_STEPS` parts are there."""
    return depth * weight // EFFECT_STEPS


def dimmed(depth: Whole | int, share: Whole) -> Whole:
    """The multiplier of a pixel that has a share of the effect's depth."""
    return FULL - ((depth * share) >> 8)


@lru_cache(maxsize=1)
def breath_shares() -> tuple[int, ...]:
    """The share by place in the beat: half a swing there and half a swing back."""
    swing = fixed_law(Law("harmonic"))
    there = [swing.position(2 * h << 8) >> 8 for h in range(128)]
    back = [swing.position(510 - 2 * h << 8) >> 8 for h in range(128, 256)]
    return (*there, *back)


def ember_share(now: Whole, after: Whole, h: Whole) -> Whole:
    """Between the noise of this beat and that of the next."""
    return now + (((after - now) * h) >> 8)


def is_lit(noise_of_beat: Whole, width: int) -> Whole:
    """1 if a pixel sparkles in a beat, else 0."""
    return (WIDTH_MAX * noise_of_beat < FULL * width) * 1


def sparkle_share(noise_of_beat: Whole, h: Whole, width: int) -> Whole:
    """A lit pixel fades over the beat; the others are dark."""
    return FULL - (FULL - h) * is_lit(noise_of_beat, width)


def run_share(h: Whole, pixel: Whole, pixels: int, width: int) -> Whole:
    """How far the running light is past a pixel, of its tail; behind the tail it is dark."""
    behind = (h * pixels - (pixel << 8)) % (pixels << 8)
    lit = behind < width << 8
    return FULL - (FULL - behind // max(width, 1)) * lit


def noise(seed: int, a: Whole, b: Whole) -> Whole:
    """A hash of three integers to 0..255; the same inputs always give the same number."""
    return mixed(seed * SEED_FACTOR ^ a * BEAT_FACTOR ^ b * PIXEL_FACTOR) & 255


# -- many at once --------------------------------------------------------------------------------


def multiplier(effect: Effect, elapsed_ms: int, pixel: int = 0, pixels: int = 1) -> int:
    """The multiplier of one pixel, `elapsed_ms` whole milliseconds after the effect's start."""
    return int(_multipliers(effect, np.asarray(elapsed_ms), np.asarray(pixel), pixels))


def multipliers(
    effect: Effect, elapsed_ms: ArrayLike, pixels: int = 1, weights: Integers | None = None
) -> Integers:
    """Multipliers of all pixels at many times: shape (times, pixels).

    `elapsed_ms` is cut to whole milliseconds. A lamp has one pixel. `weights`: at each time, how
    much of the effect is there, in `EFFECT_STEPS`; None: all of it.
    """
    elapsed = np.floor(np.asarray(elapsed_ms, dtype=np.float64)).astype(np.int64)
    weight = np.array([EFFECT_STEPS]) if weights is None else weights
    m = _multipliers(
        *(effect, elapsed[:, np.newaxis], np.arange(pixels)[np.newaxis, :], pixels),
        weight[:, np.newaxis],
    )
    return np.broadcast_to(m, (elapsed.size, pixels))


def _multipliers(
    effect: Effect,
    elapsed: Integers,
    pixel: Integers,
    pixels: int,
    weight: Integers | int = EFFECT_STEPS,
) -> Integers:
    n, left = np.divmod(np.asarray(elapsed), effect.period_ms)
    return multipliers_at(effect, n, (left << 8) // effect.period_ms, pixel, pixels, weight)


def multipliers_at(
    effect: Effect,
    beat: Integers,
    h: Integers,
    pixel: Integers,
    pixels: int,
    weight: Integers | int = EFFECT_STEPS,
) -> Integers:
    """Multipliers by beat, place in the beat (0 to 255) and pixel, which broadcast together."""
    z = weighed(np.asarray(depth_of(effect)), np.asarray(weight))
    if effect.name == "breathe":
        return dimmed(z, np.array(breath_shares())[h])
    if effect.name == "ember":
        now, after = noise(effect.seed, beat, pixel), noise(effect.seed, beat + 1, pixel)
        return dimmed(z, ember_share(now, after, h))
    if effect.name == "sparkle":
        return dimmed(z, sparkle_share(noise(effect.seed, beat, pixel), h, effect.width))
    if effect.name == "run":
        return dimmed(z, run_share(h, pixel, pixels, effect.width))
    return np.full(np.broadcast_shapes(np.shape(beat), np.shape(h), np.shape(pixel)), FULL)
