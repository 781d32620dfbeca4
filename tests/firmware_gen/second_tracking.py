"""Section 10 of `TABLE.md` on the second player, and from that page alone as well."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import isqrt

from tests.firmware_gen.second_player import (
    FIFTH_DEGREE,
    FRAME,
    SERVO,
    UNIFORM,
    Law,
    Light,
    Motion,
    Output,
    brake,
    move,
    progress,
    shape,
)

Place = tuple[int, int]
"""q and u."""


@dataclass
class TrackedMotion(Motion):
    """What is seen of a servo that follows."""

    speed: int = 0

    def at(self, t: int) -> Place:
        return self.target, self.speed


@dataclass
class HeldFollow:
    """A follow's record, its output, and what is known of both."""

    number: int
    mixed: bool
    source: int
    low: int
    high: int
    at_low: int
    at_high: int
    speed: int
    acceleration: int
    output: Output = field(default_factory=lambda: Output(SERVO))
    value: int | None = None  # h
    since: int | None = None  # b
    place: Place = (0, 0)
    coming: Place = (0, 0)  # in the next frame

    @property
    def bits(self) -> int:
        return 15 if self.output.kind == SERVO else 8

    @property
    def ends(self) -> Place:
        return (self.output.low, self.output.high) if self.output.kind == SERVO else (0, 51200)

    @property
    def rest(self) -> int:
        return self.output.safe if self.output.kind == SERVO else self.output.safe << 8

    def clamped(self, place: int) -> int:
        low, high = self.ends
        return min(max(place, low), high)

    def hear(self, v: int | None) -> None:
        if v is None or self.value is None:
            self.value = v
        else:
            self.value = min(max(self.value, v - 2), v + 2)

    def wanted(self, own: int, t: int, glide: int) -> int:
        assert self.value is not None
        assert self.since is not None
        a, b = self.at_low << self.bits, self.at_high << self.bits
        if self.value <= self.low:
            w = a
        elif self.value >= self.high:
            w = b
        else:
            w = a + (((b - a) * (((self.value - self.low) << 16) // (self.high - self.low))) >> 16)
        if self.mixed:
            w += own - self.rest
        w = self.clamped(w)
        if t - self.since < glide:
            s, _ = shape(Law(FIFTH_DEGREE), progress(t - self.since, glide))
            w = own + (((w - own) * s) >> 16)
        return w

    def step(self, own: Place, t: int, glide: int) -> None:
        p, v = own
        if self.output.kind == SERVO:
            p = self.clamped(p)
        if self.since is None:
            self.since = t
            self.place = p, min(max(v, -(2**25)), 2**25)
        else:
            self.place = self.coming
        if self.output.kind == SERVO:
            self.coming = self.servo_step(self.wanted(p, t, glide))
        else:
            q = self.place[0]
            change = self.wanted(p, t, glide) - q
            self.coming = q + min(max(change, -self.speed), self.speed), 0

    def servo_step(self, w: int) -> Place:
        q, u = self.place
        most = min(16384 * self.speed // 5, 2**25)
        g, h = (8192 * a // 125 for a in (self.acceleration, self.output.acceleration))
        low, high = self.ends
        p = q + 10 * u
        y = min(max(halting(w - p, g), -most), most)
        y = min(max(y, u - g), u + g)
        if y > 0 and p + 10 * y + dying(y, g) > high:
            y = min(y, max(halting(high - p, h), u - h))
        elif y < 0 and p + 10 * y - dying(-y, g) < low:
            y = max(y, min(halting(low - p, h), u + h))
        q = p + 10 * y
        return (q, y) if low <= q <= high else (self.clamped(q), 0)

    def halted(self, time: int) -> Motion:
        """The motion of a servo that is held."""
        q, u = self.place
        residual, _ = brake(self.output, q, u)
        target = self.clamped(((q + residual + 2**14) >> 15) << 15)
        moving = TrackedMotion(q, speed=u)
        return move(self.output, moving, time, target, 0, Law(FIFTH_DEGREE), None)

    def faded(self, light: Light, time: int) -> None:
        """What a lamp does that is held."""
        light.origin, light.target = (self.place[0],), ((self.place[0] + 128) >> 8 << 8,)
        light.start, light.duration, light.law = time, FRAME, Law(UNIFORM)

    def shown(self, light: Light) -> Light:
        """The light at the level that is followed."""
        return replace(light, origin=self.place[:1], target=self.place[:1], duration=0)


def halting(x: int, g: int) -> int:
    """R of the page."""
    n = (isqrt(1 + 4 * (abs(x) // (10 * g))) - 1) // 2
    assert 10 * n * (n + 1) * g <= abs(x) < 10 * (n + 1) * (n + 2) * g
    speed = (abs(x) // (10 * (n + 1)) + n * g) // 2
    return speed if x >= 0 else -speed


def dying(y: int, g: int) -> int:
    """The way in which a speed dies by g a frame: 10 ms at the speed of each of its ends."""
    way = 0
    while y > 0:
        after = max(y - g, 0)
        way += 10 * (y + after)
        y = after
        if way > 2**40:  # far beyond any travel
            break
    return way
