"""Effects: exactly repeating modulations of a light, in the integers the board uses.

A multiplier runs from 0 (dark) to 256 (the light as it is). The arithmetic is that of the table's
specification, section 3.4, so that preview and board show the same flicker to the bit.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import Integers
from sim.model import Effect, Law
from sim.rulebook import EFFECT_ONE, LEVEL_MAX, LEVEL_STEPS_PER_PCT, SHARE_ONE, WIDTH_MAX
from sim.score.laws import position

FULL: Final = EFFECT_ONE
MOVING: Final = ("ember", "sparkle", "run")
"""Effects that differ from pixel to pixel."""

_HALF_SWING: Final = np.rint(SHARE_ONE * position(Law("harmonic"), np.arange(257) / 256.0)).astype(
    np.int64
)


def depth_level(effect: Effect) -> int:
    """The depth in steps of a level, as a table holds it."""
    return round(LEVEL_STEPS_PER_PCT * effect.depth_pct)


def depth_of(effect: Effect) -> int:
    """The depth as the multiplier's arithmetic has it, 0 to 256."""
    return (FULL * depth_level(effect) + LEVEL_MAX // 2) // LEVEL_MAX


def noise(seed: ArrayLike, a: ArrayLike, b: ArrayLike) -> Integers:
    """A hash of three integers to 0..255; the same inputs always give the same number."""
    h = _word(np.asarray(seed) * 0x9E37) ^ _word(np.asarray(a) * 0x85EB)
    h = h ^ _word(np.asarray(b) * 0xC2B3)
    h = _word((h ^ (h >> 7)) * 0x2C1B)
    h = _word((h ^ (h >> 9)) * 0x297B)
    return (h ^ (h >> 8)) & 255


def multiplier(effect: Effect, elapsed_ms: int, pixel: int = 0, pixels: int = 1) -> int:
    """The multiplier of one pixel, `elapsed_ms` whole milliseconds after the effect's start."""
    return int(_multipliers(effect, np.asarray(elapsed_ms), np.asarray(pixel), pixels))


def multipliers(effect: Effect, elapsed_ms: ArrayLike, pixels: int = 1) -> Integers:
    """Multipliers of all pixels at many times: shape (times, pixels).

    `elapsed_ms` is cut to whole milliseconds. A lamp has one pixel.
    """
    elapsed = np.floor(np.asarray(elapsed_ms, dtype=np.float64)).astype(np.int64)
    m = _multipliers(effect, elapsed[:, np.newaxis], np.arange(pixels)[np.newaxis, :], pixels)
    return np.broadcast_to(m, (elapsed.size, pixels))


def _multipliers(effect: Effect, elapsed: Integers, pixel: Integers, pixels: int) -> Integers:
    n, left = np.divmod(np.asarray(elapsed), effect.period_ms)
    return multipliers_at(effect, n, (left << 8) // effect.period_ms, pixel, pixels)


def multipliers_at(
    effect: Effect, beat: Integers, h: Integers, pixel: Integers, pixels: int
) -> Integers:
    """Multipliers by beat, place in the beat (0 to 255) and pixel, which broadcast together."""
    z = depth_of(effect)
    if effect.name == "breathe":
        y = np.where(h < 128, 2 * h, 510 - 2 * h)
        return FULL - ((z * (_HALF_SWING[y] >> 8)) >> 8)
    if effect.name == "ember":
        a, b = noise(effect.seed, beat, pixel), noise(effect.seed, beat + 1, pixel)
        return FULL - ((z * (a + (((b - a) * h) >> 8))) >> 8)
    if effect.name == "sparkle":
        lit = WIDTH_MAX * noise(effect.seed, beat, pixel) < FULL * effect.width
        return np.where(lit, FULL - ((z * h) >> 8), FULL - z)
    if effect.name == "run":
        behind = (h * pixels - (pixel << 8)) % (pixels << 8)
        share = np.where(behind < effect.width << 8, behind // effect.width, FULL)
        return FULL - ((z * share) >> 8)
    return np.full(np.broadcast_shapes(np.shape(beat), np.shape(h), np.shape(pixel)), FULL)


def _word(value: Integers) -> Integers:
    return value & 0xFFFF
