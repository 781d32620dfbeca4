"""Lightness and duty in the integers of the chip: TABLE.md, section 3.3."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from sim.rulebook import LEVEL_BITS, LEVEL_MAX

LEVEL_TOP: Final = LEVEL_MAX << LEVEL_BITS
"""The highest light level, Q8."""

LIGHTNESS_GROWTH: Final = 6780
CUBE_START: Final = 4520
CUBE_OFFSET: Final = 9039
"""CIE 15: Y = ((L* + 16) / 116)^3 above L* 8; chosen so that duties are nearest (2.6 of 65535)."""


def lightness_of(level: int) -> int:
    """A light level (Q8 of half percents, 0 to 51200) as lightness: L* with 116 as 65535."""
    return level + ((level * LIGHTNESS_GROWTH) >> 16)


def duty_of(lightness: int) -> int:
    """Duty (0 to 65535) of a lightness (0 to 56496): CIE's cube above L* 8, its line below."""
    if lightness < CUBE_START:
        return ((lightness * 33) >> 8) - (lightness >> 11)
    root = lightness + CUBE_OFFSET
    return ((((root * root) >> 16) * root) >> 16) + 2


def trimmed(duty: int, trim: int) -> int:
    """A duty under a light's trim, 0 to 255: it is multiplied by (trim + 1) / 256."""
    return (duty * (trim + 1)) >> 8


def channel_byte(duty: int) -> int:
    """Byte of a strip's channel (0 to 255) for a duty."""
    return (duty - (duty >> 8) + 128) >> 8


UNTRIMMED: Final = 255


@lru_cache(maxsize=16)
def channel_bytes(trim: int = UNTRIMMED) -> bytes:
    """Byte of a strip's channel at every lightness, under its trim."""
    top = lightness_of(LEVEL_TOP)
    return bytes(channel_byte(trimmed(duty_of(n), trim)) for n in range(top + 1))
