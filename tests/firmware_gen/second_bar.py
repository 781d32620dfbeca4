"""Section 13 of `TABLE.md` on the second player, and from that page alone as well."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass
class HeldBar:
    strip: int
    lamp: int
    end: int

    def share(self, level: int, pixels: int, pixel: int) -> int:
        """c of a pixel, for the lamp's level."""
        length = level * pixels // 200
        first = 0
        if self.end == 1:
            first = 256 * pixels - length
        if self.end == 2:
            first = 128 * pixels - length // 2
        begin, behind = 256 * pixel, 256 * pixel + 256
        return max(min(first + length, behind) - max(first, begin), 0)
