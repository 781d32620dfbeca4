"""Section 14 of `TABLE.md`, from that page alone: how far a cue goes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass
class HeldScale:
    source: int
    low: int
    high: int
    at_low: int
    at_high: int
    otherwise: int

    def reach(self, value: int | None) -> Callable[[int, int], int]:
        """Where acts bring servos in a run that starts while the source stands there: of a target
        and the safe angle. None: the source is not live."""
        scale = self.scale(value)

        def reached(target: int, safe: int) -> int:
            return safe + ((target - safe) * scale >> 8)

        return reached

    def scale(self, value: int | None) -> int:
        if value is None:
            level = 256 * self.otherwise
        elif value <= self.low:
            level = 256 * self.at_low
        elif value >= self.high:
            level = 256 * self.at_high
        else:
            share = 65536 * (value - self.low) // (self.high - self.low)
            level = (256 * (self.at_high - self.at_low) * share >> 16) + 256 * self.at_low
        return (level + 100) // 200
