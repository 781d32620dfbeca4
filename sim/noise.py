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
MIX_FACTORS: Final = (0x2C1B, 0x297B)


def mixed(h: Whole) -> Whole:
    """16 bits of the same number: each value comes from just one."""
    h = h & WORD_MAX
    h = (h ^ (h >> 7)) * MIX_FACTORS[0] & WORD_MAX
    h = (h ^ (h >> 9)) * MIX_FACTORS[1] & WORD_MAX
    return h ^ (h >> 8)
