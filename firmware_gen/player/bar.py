"""Strips that show a level, in integers: TABLE.md, section 13."""

from __future__ import annotations

from collections.abc import Iterator

from sim.rulebook import LEVEL_MAX

PIXEL = 256
"""Parts of a pixel's length."""


def coverings(level: int, pixels: int, end: int) -> Iterator[int]:
    """How much of each pixel a bar covers, of 256; `level` has 8 fractional bits."""
    length = level * pixels // LEVEL_MAX
    first = (0, PIXEL * pixels - length, PIXEL // 2 * pixels - (length >> 1))[end]
    last = first + length
    for start in range(0, PIXEL * pixels, PIXEL):
        yield max(0, min(last, start + PIXEL) - max(first, start))


def covered(data: bytes, level: int, pixels: int, end: int) -> bytes:
    """The bytes of all pixels under the bar."""
    several = zip(coverings(level, pixels, end), zip(*[iter(data)] * 3, strict=True), strict=True)
    return bytes(byte * share >> 8 for share, pixel in several for byte in pixel)
