"""How an output that follows a source goes after it, in integers: TABLE.md, section 10.

A part that follows has a position and a speed. In each frame it takes the quickest speed from which
it can still halt where the source wants it, under its own limits: so it never goes beyond that
place nor beyond its travel, whatever the source does.

Positions are 0.01 deg with 15 fractional bits, speeds the same per ms; levels are half percents of
L* with 8.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isqrt
from typing import Final

from sim.rehearsal.takeover import POSITIONS_PER_DEG
from sim.rulebook import FASTEST_FOLLOWING, FOLLOW_PLAY, FRAME_MS, SHARE_ONE

HALF_FRAME_MS: Final = FRAME_MS // 2


@dataclass(frozen=True, slots=True)
class FollowSpan:
    """Where an output is wanted by the value of its source: `at_low` up to the value `low`,
    `at_high` from `high` on, in positions or levels."""

    low: int
    high: int
    at_low: int
    at_high: int

    def wanted(self, value: int) -> int:
        part = min(max(value, self.low), self.high) - self.low
        share = part * SHARE_ONE // (self.high - self.low)
        return self.at_low + (((self.at_high - self.at_low) * share) >> 16)


def held_value(value: int, before: int | None) -> int:
    """A source's value without its tremble: it moves on where the newest leaves its play.

    `before`: what this gave in the frame before; None: the source was not live.
    """
    if before is None:
        return value
    return max(value - FOLLOW_PLAY, min(value + FOLLOW_PLAY, before))


def gone_over(own: int, wanted: int, share: int) -> int:
    """Where an output is wanted that goes over to its source; `share`: how far that has come."""
    return own + (((wanted - own) * share) >> 16)


@dataclass(frozen=True, slots=True)
class PaceLimits:
    """What a part that follows keeps to: speed; gain of speed in a frame; travel.

    `hard_gain` is by how much it may brake where it came to following too fast to stay in its
    travel otherwise.
    """

    speed: int
    gain: int
    hard_gain: int
    low: int
    high: int


def pace_limits(
    speed_deg_s: int, acceleration_deg_s2: int, hardest_deg_s2: int, travel: tuple[int, int]
) -> PaceLimits:
    """The limits of a follow's record and of its servo's; `travel` in positions."""
    speed = min(speed_deg_s * POSITIONS_PER_DEG // 1000, FASTEST_FOLLOWING)
    return PaceLimits(speed, _gain(acceleration_deg_s2), _gain(hardest_deg_s2), *travel)


def _gain(acceleration_deg_s2: int) -> int:
    return acceleration_deg_s2 * POSITIONS_PER_DEG * FRAME_MS // 1_000_000


def tracked(limits: PaceLimits, position: int, speed: int, wanted: int) -> tuple[int, int]:
    """Position and speed a frame later. Speed grows evenly within the frame."""
    gone = position + HALF_FRAME_MS * speed
    new = _within(_reaching(wanted - gone, limits.gain), limits.speed)
    new = min(max(new, speed - limits.gain), speed + limits.gain)
    high, low = limits.high - gone, limits.low - gone
    if new > 0 and new > _reaching(high, limits.gain):
        new = min(new, max(_reaching(high, limits.hard_gain), speed - limits.hard_gain))
    elif new < 0 and new < _reaching(low, limits.gain):
        new = max(new, min(_reaching(low, limits.hard_gain), speed + limits.hard_gain))
    end = gone + HALF_FRAME_MS * new
    if limits.low <= end <= limits.high:
        return end, new
    return min(max(end, limits.low), limits.high), 0


def _within(value: int, most: int) -> int:
    return min(max(value, -most), most)


def _reaching(way: int, gain: int) -> int:
    """The quickest speed at the end of a frame after which a part can halt within the way.

    The way counts from where it would be if it halted in that frame.
    """
    size = abs(way)
    steps = (isqrt(4 * (size // (HALF_FRAME_MS * gain)) + 1) - 1) // 2
    speed = (size // (HALF_FRAME_MS * (steps + 1)) + steps * gain) // 2
    return speed if way >= 0 else -speed


def stepped(level: int, wanted: int, most: int) -> int:
    """A lamp's level a frame later."""
    return level + _within(wanted - level, most)
