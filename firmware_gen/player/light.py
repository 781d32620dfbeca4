"""Lamps and strips in integers: TABLE.md, sections 3.3 and 3.4.

Levels are half percents of L* with 8 fractional bits, times 1/256 ms.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final, TypeAlias

from firmware_gen.table.layout import EFFECTS, ORDERS
from firmware_gen.table.lightness import channel_bytes, duty_of, lightness_of
from firmware_gen.table.ops import Modulate
from firmware_gen.table.records import StripRecord
from sim.model import Law
from sim.rulebook import CAP_STEP, EFFECT_ONE, LEVEL_MAX, WIDTH_MAX
from sim.score.fixed_laws import FixedLaw, fixed_law, progress

FixedLevels: TypeAlias = tuple[int, ...]
"""One channel of a lamp, three of a strip."""

FULL: Final = EFFECT_ONE
_HARMONIC: Final = fixed_law(Law("harmonic"))
_BREATHE, _EMBER, _SPARKLE, _RUN = (
    EFFECTS.index(name) for name in ("breathe", "ember", "sparkle", "run")
)


@dataclass(frozen=True, slots=True)
class RunningFade:
    origin: FixedLevels
    goal: FixedLevels
    start: int
    duration: int
    law: FixedLaw

    @property
    def end(self) -> int:
        return self.start + self.duration

    def levels(self, time: int) -> FixedLevels:
        elapsed = time - self.start
        if elapsed >= self.duration:
            return self.goal
        if elapsed <= 0:
            return self.origin
        s = self.law.position(progress(elapsed, self.duration))
        return tuple(a + (((b - a) * s) >> 16) for a, b in zip(self.origin, self.goal, strict=True))


class RunningEffect:
    """A running effect over a number of pixels."""

    def __init__(self, op: Modulate, start: int, pixels: int) -> None:
        self._kind, self._period, self._seed, self._width = op.kind, op.period_ms, op.seed, op.width
        self._start = start
        self._pixels = pixels
        self._z = (FULL * op.depth + LEVEL_MAX // 2) // LEVEL_MAX
        self._tail = op.width << 8
        self._beat = -1
        self._now: list[int] = []
        self._next: list[int] = []

    def multipliers(self, time: int) -> list[int]:
        """One multiplier for each pixel; a single one where all are alike."""
        n, rest = divmod((time - self._start) >> 8, self._period)
        h = (rest << 8) // self._period
        if self._kind == _BREATHE:
            return [self._dimmed(_half_swing(h))]
        if self._kind == _RUN:
            return self._running(h)
        if n != self._beat:
            self._beat = n
            self._now = noise_row(self._seed, n & 0xFFFF, self._pixels)
            if self._kind == _EMBER:
                self._next = noise_row(self._seed, (n + 1) & 0xFFFF, self._pixels)
        z = self._z
        if self._kind == _EMBER:
            return [
                FULL - ((z * (a + (((b - a) * h) >> 8))) >> 8)
                for a, b in zip(self._now, self._next, strict=True)
            ]
        lit, dark, share = self._dimmed(h), self._dimmed(FULL), FULL * self._width
        return [lit if WIDTH_MAX * a < share else dark for a in self._now]

    def _running(self, h: int) -> list[int]:
        around, tail = self._pixels << 8, self._tail
        head = h * self._pixels
        behind = ((head - (j << 8)) % around for j in range(self._pixels))
        return [self._dimmed(d // self._width if d < tail else FULL) for d in behind]

    def _dimmed(self, share: int) -> int:
        """The multiplier of a pixel that has a share (0 to 256) of the effect's depth."""
        return FULL - ((self._z * share) >> 8)


@lru_cache(maxsize=256)
def _half_swing(h: int) -> int:
    y = 2 * h if h < 128 else 510 - 2 * h
    return _HARMONIC.position(y << 8) >> 8


def noise(seed: int, a: int, b: int) -> int:
    """A hash of three integers to 0..255, in 16-bit arithmetic."""
    h = (seed * 0x9E37 ^ a * 0x85EB ^ b * 0xC2B3) & 0xFFFF
    h = (h ^ (h >> 7)) * 0x2C1B & 0xFFFF
    h = (h ^ (h >> 9)) * 0x297B & 0xFFFF
    return (h ^ (h >> 8)) & 255


@lru_cache(maxsize=1024)
def noise_row(seed: int, beat: int, pixels: int) -> list[int]:
    """The noise of all pixels in one beat."""
    return [noise(seed, beat, pixel) for pixel in range(pixels)]


class PlayedLight:
    """A lamp (one channel) or a strip (three): its levels, its fade and its effect."""

    def __init__(self, channels: int, pixels: int = 1) -> None:
        self._pixels = pixels
        self._dark = (0,) * channels
        self.jump(self._dark)

    def jump(self, levels: FixedLevels) -> None:
        """Be at these levels, with no fade and no effect."""
        self.rest: FixedLevels = levels
        self.fade: RunningFade | None = None
        self.effect: RunningEffect | None = None

    def darken(self) -> None:
        self.jump(self._dark)

    def levels(self, time: int) -> FixedLevels:
        """Levels before the effect."""
        return self.fade.levels(time) if self.fade else self.rest

    def start_fade(self, goal: FixedLevels, time: int, duration: int, law: FixedLaw) -> None:
        self.fade = RunningFade(self.levels(time), goal, time, duration, law)

    def lay(self, op: Modulate, time: int) -> None:
        """Begin an effect, or take it off."""
        self.effect = RunningEffect(op, time, self._pixels) if op.kind else None

    def settle(self, time: int) -> None:
        """A fade that has ended is at rest from now on."""
        if self.fade and self.fade.end <= time:
            self.rest, self.fade = self.fade.goal, None


def lamp_duty(lamp: PlayedLight, time: int) -> int:
    """The lamp's duty, of 65535."""
    lightness = lightness_of(lamp.levels(time)[0])
    if lamp.effect:
        lightness = (lightness * lamp.effect.multipliers(time)[0]) >> 8
    return duty_of(lightness)


class StripPainter:
    """Turns a strip's light into the bytes that go out on its wire."""

    def __init__(self, strip: StripRecord) -> None:
        self._pixels = strip.pixels
        self._cap = strip.cap
        self._places = tuple("rgb".index(letter) for letter in ORDERS[strip.order])
        self._channel_bytes = channel_bytes()
        self._levels: FixedLevels = ()
        self._wired: tuple[int, int, int] = (0, 0, 0)
        self._by_multiplier: dict[int, bytes] = {}

    def paint(self, light: PlayedLight, time: int) -> bytes:
        """The bytes of all pixels, in the strip's order and under its cap."""
        levels = light.levels(time)
        if levels != self._levels:
            self._levels = levels
            first, second, third = self._places
            self._wired = (
                lightness_of(levels[first]),
                lightness_of(levels[second]),
                lightness_of(levels[third]),
            )
            self._by_multiplier.clear()
        if light.effect is None:
            return self._capped(self._pixel(FULL) * self._pixels)
        multipliers = light.effect.multipliers(time)
        if len(multipliers) == 1:
            return self._capped(self._pixel(multipliers[0]) * self._pixels)
        known = self._by_multiplier
        try:
            data = b"".join([known[m] for m in multipliers])
        except KeyError:
            data = b"".join([self._pixel(m) for m in multipliers])
        return self._capped(data)

    def _pixel(self, multiplier: int) -> bytes:
        found = self._by_multiplier.get(multiplier)
        if found is None:
            one, two, three = self._wired
            table = self._channel_bytes
            found = bytes(
                (
                    table[one * multiplier >> 8],
                    table[two * multiplier >> 8],
                    table[three * multiplier >> 8],
                )
            )
            self._by_multiplier[multiplier] = found
        return found

    def _capped(self, data: bytes) -> bytes:
        if self._cap == 0:
            return data
        total = sum(data)
        if total <= CAP_STEP * self._cap:
            return data
        factor = (self._cap << 15) // ((total + 1) >> 1)
        return bytes([(byte * factor) >> 8 for byte in data])
