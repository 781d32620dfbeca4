"""Section 12 of `TABLE.md` on the second player, and from that page alone as well."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from tests.firmware_gen.second_player import FRAME, Law, Light, Motion, progress


@dataclass
class HeldShine:
    lamp: int
    servo: int
    by_speed: bool
    low: int
    high: int
    low_level: int
    high_level: int
    since: int | None = None  # it shines with the move since then

    def wanted(self, motion: Motion, t: int) -> int:
        p, v = motion.at(t)
        place = 10 * abs(v) if self.by_speed else p
        beyond = place - (self.low << 15)
        share = progress(beyond >> 8, (self.high - self.low) << 7) if beyond > 0 else 0
        return (self.low_level << 8) + ((((self.high_level - self.low_level) << 8) * share) >> 16)


@dataclass
class HeldLight(Light):
    shine: HeldShine | None = None
    glide: int = 0  # in frames
    motion: Callable[[], Motion] = field(default=lambda: Motion(0))

    def levels(self, t: int) -> tuple[int, ...]:
        own = super().levels(t)
        assert self.shine is not None
        if self.shine.since is None:
            return own
        s = progress(t - self.shine.since, FRAME * self.glide) if self.glide else 65536
        return (own[0] + (((self.shine.wanted(self.motion(), t) - own[0]) * s) >> 16),)

    def fade(self, time: int, target: tuple[int, ...], duration: int, law: Law) -> None:
        super().fade(time, target, duration, law)
        assert self.shine is not None
        self.shine.since = None
