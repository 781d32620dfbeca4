"""How a board mixes numbers until they look drawn (TABLE.md 3.4): for light and for draws."""

from __future__ import annotations

from typing import Final, TypeVar

from sim.arrays import Integers
from sim.rulebook import WORD_MAX

Whole = TypeVar("Whole", int, Integers)
"""One integer, or an array of them."""

SEED_FACTOR: Final = 0x9E37
BEAT_FACTOR: Final = 0x85EB
PIXEL_FACTOR: Final = 0xC2B3


def mixed(h: Whole) -> Whole:
    """16 bits of the same number: each value comes from just one."""
    h = h & WORD_MAX
    h = (h ^ (h >> 7)) * 0x2C1B & WORD_MAX
    h = (h ^ (h >> 9)) * 0x297B & WORD_MAX
    return h ^ (h >> 8)
