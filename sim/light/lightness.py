"""Light as the eye sees it: CIE lightness, relative luminance and sRGB.

Levels are CIE 1976 L* in percent (0 to 100); luminance is relative (0 to 1), which for an LED is
its duty. The constants are the exact rationals of CIE 15, (6/29)**3 and (29/3)**3; the sRGB
transfer function is that of IEC 61966-2-1:1999.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import Array
from sim.light.colours import COLOURS
from sim.model import StripLight
from sim.rulebook import LEVEL_STEPS_PER_PCT

__all__ = [
    "COLOURS",
    "channel_levels",
    "colour_luminance",
    "lightness",
    "linear_to_srgb",
    "luminance",
    "srgb_to_linear",
    "strip_linear",
]


_EPSILON: Final = 216.0 / 24389.0
_KAPPA: Final = 24389.0 / 27.0

LUMINANCE_WEIGHTS: Final = (0.2126, 0.7152, 0.0722)
"""Shares of red, green and blue in the luminance of sRGB (IEC 61966-2-1; ITU-R BT.709)."""


def luminance(level_pct: ArrayLike) -> Array:
    """Relative luminance (0 to 1) of a lightness in percent: the inverse of CIE L*."""
    level = np.asarray(level_pct, dtype=np.float64)
    root = (level + 16.0) / 116.0
    # a power of 3 takes numpy ten times as long
    return np.where(level > 8.0, root * root * root, level / _KAPPA)


def lightness(relative_luminance: ArrayLike) -> Array:
    """CIE 1976 L* in percent of a relative luminance (0 to 1)."""
    y = np.asarray(relative_luminance, dtype=np.float64)
    return np.where(y > _EPSILON, 116.0 * np.cbrt(y) - 16.0, _KAPPA * y)


def srgb_to_linear(value: ArrayLike) -> Array:
    """Linear light (0 to 1) of an encoded sRGB value from 0 to 1 (an 8-bit code over 255)."""
    v = np.asarray(value, dtype=np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0.0) + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(linear: ArrayLike) -> Array:
    """Encoded sRGB value (0 to 1) of a linear light from 0 to 1."""
    y = np.asarray(linear, dtype=np.float64)
    return np.where(y <= 0.0031308, 12.92 * y, 1.055 * np.maximum(y, 0.0) ** (1.0 / 2.4) - 0.055)


def colour_luminance(linear_rgb: ArrayLike) -> Array:
    """Relative luminance of linear red, green, blue along the last axis."""
    rgb = np.asarray(linear_rgb, dtype=np.float64)
    return np.asarray(rgb @ np.asarray(LUMINANCE_WEIGHTS))


def strip_linear(light: StripLight) -> Array:
    """Linear red, green, blue (0 to 1) of a strip's light, shape (3,).

    Dimming scales the three alike, so the hue stays: the luminance goes to that of `level_pct`
    percent of the colour's own lightness.
    """
    full = srgb_to_linear(np.asarray(light.colour, dtype=np.float64) / 255.0)
    whole = float(colour_luminance(full))
    if whole == 0.0:
        return np.zeros(3)
    wanted = float(luminance(float(lightness(whole)) * light.level_pct / 100.0))
    return full * (wanted / whole)


def channel_levels(light: StripLight) -> tuple[int, int, int]:
    """Levels of red, green and blue, 0 to 200 each: half percents of L*, as a table holds them."""
    red, green, blue = (
        np.rint(LEVEL_STEPS_PER_PCT * lightness(strip_linear(light))).astype(int).tolist()
    )
    return red, green, blue
