"""Lamps and strips in integers: TABLE.md, sections 3.3 and 3.4.

Levels are half percents of L* with 8 fractional bits, times 1/256 ms.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np

from firmware_gen.player.bar import covered
from firmware_gen.player.shine import PlayedShine
from firmware_gen.table.layout import EFFECTS, ORDERS, PRIMARIES
from firmware_gen.table.lightness import UNTRIMMED, channel_bytes, duty_of, lightness_of, trimmed
from firmware_gen.table.ops import Modulate
from firmware_gen.table.records import StripRecord
from sim.arrays import Integers
from sim.light.effects import (
    FULL,
    Whole,
    breath_shares,
    depth_share,
    dimmed,
    ember_share,
    noise,
    run_share,
    sparkle_share,
    weighed,
)
from sim.model import UNIFORM
from sim.rulebook import CAP_STEP, EFFECT_STEPS, FRAME_CLOCK, LEVEL_BITS
from sim.score.fixed_laws import FixedLaw, fixed_law, progress

FixedLevels: TypeAlias = tuple[int, ...]
"""One channel of a lamp, three of a strip."""

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
        if elapsed >= self.duration or not self.duration:
            return self.goal
        if elapsed <= 0:
            return self.origin
        s = self.law.position(progress(elapsed, self.duration))
        return tuple(a + (((b - a) * s) >> 16) for a, b in zip(self.origin, self.goal, strict=True))


class RunningEffect:
    """A running effect over a number of pixels, by the arithmetic of `sim.light.effects`."""

    def __init__(self, op: Modulate, start: int, pixels: int) -> None:
        self._kind, self._period, self._seed, self._width = op.kind, op.period_ms, op.seed, op.width
        self._start = start
        self._pixels = pixels
        self._depth = depth_share(op.depth)
        self.values = op

    def multipliers(self, time: int, weight: int = EFFECT_STEPS) -> list[int]:
        """One multiplier for each pixel; a single one where all are alike.

        `weight`: how much of the effect is there, in `EFFECT_STEPS`.
        """
        depth = weighed(self._depth, weight)
        beat, rest = divmod((time - self._start) >> 8, self._period)
        h = (rest << 8) // self._period
        if self._kind == _BREATHE:
            return [dimmed(depth, breath_shares()[h])]
        if self._pixels == 1:
            return [dimmed(depth, self._share(h, 0, beat, self._single))]
        shares = self._share(np.asarray(h), pixel_numbers(self._pixels), beat, self._row)
        made: list[int] = dimmed(depth, shares).tolist()
        return made

    def _share(self, h: Whole, pixel: Whole, beat: int, heard: Callable[[int], Whole]) -> Whole:
        if self._kind == _RUN:
            return run_share(h, pixel, self._pixels, self._width)
        if self._kind == _EMBER:
            return ember_share(heard(beat), heard(beat + 1), h)
        return sparkle_share(heard(beat), h, self._width)

    def _row(self, beat: int) -> Integers:
        return noise_row(self._seed, beat & 0xFFFF, self._pixels)

    def _single(self, beat: int) -> int:
        return noise(self._seed, beat, 0)


@lru_cache(maxsize=1024)
def noise_row(seed: int, beat: int, pixels: int) -> Integers:
    """The noise of all pixels in one beat."""
    return noise(seed, np.asarray(beat), pixel_numbers(pixels))


@lru_cache(maxsize=64)
def pixel_numbers(pixels: int) -> Integers:
    return np.arange(pixels)


class PlayedLight:
    """A lamp (one channel) or a strip (three): its levels, its fade and its effect.

    An effect that `leaves` goes over some frames; `coming` is the one that takes its place then.
    """

    def __init__(self, channels: int, pixels: int = 1) -> None:
        self._pixels = pixels
        self._dark = (0,) * channels
        self.shine: PlayedShine | None = None
        """How a lamp shines with a move, if it may."""
        self.jump(self._dark)

    def jump(self, levels: FixedLevels) -> None:
        """Be at these levels, with no fade and no effect."""
        self.rest: FixedLevels = levels
        self.fade: RunningFade | None = None
        if self.shine:
            self.shine.end()
        self.tracked: FixedLevels | None = None
        """Where it follows a source to, whatever its own fade does."""
        self._drop()

    def _drop(self) -> None:
        self.effect: RunningEffect | None = None
        self.coming: RunningEffect | None = None
        self.leaves = False
        self.weight = 0

    def darken(self) -> None:
        self.jump(self._dark)

    def levels(self, time: int) -> FixedLevels:
        """Levels before the effect."""
        own = self.fade.levels(time) if self.fade else self.rest
        return (self.shine.level(own[0], time),) if self.shine else own

    def shown(self, time: int) -> FixedLevels:
        """The levels that are seen, before the effect."""
        return self.levels(time) if self.tracked is None else self.tracked

    def halt(self, levels: FixedLevels, time: int) -> None:
        """Go to the whole levels next to these, within a frame."""
        goal = tuple((one + (1 << LEVEL_BITS - 1)) >> LEVEL_BITS << LEVEL_BITS for one in levels)
        self.fade = RunningFade(levels, goal, time, FRAME_CLOCK, fixed_law(UNIFORM))

    def start_fade(self, goal: FixedLevels, time: int, duration: int, law: FixedLaw) -> None:
        self.fade = RunningFade(self.levels(time), goal, time, duration, law)
        if self.shine:
            self.shine.end()
        if duration < FRAME_CLOCK and self.leaves and self.coming is None:
            self._drop()

    def lay(self, op: Modulate, time: int) -> None:
        """Begin an effect, or let it go."""
        if not op.kind:
            self.steady()
        elif self.effect is None:
            self.effect = RunningEffect(op, time, self._pixels)
        elif self.effect.values == op:
            self.leaves, self.coming = False, None
        else:
            self.leaves, self.coming = True, RunningEffect(op, time, self._pixels)

    def steady(self) -> None:
        """The effect, if there is one, goes."""
        self.leaves, self.coming = self.effect is not None, None

    def settle(self, time: int) -> None:
        """A frame later: a fade that has ended is at rest; the effect comes or goes on."""
        if self.fade and self.fade.end <= time:
            self.rest, self.fade = self.fade.goal, None
        if not self.leaves:
            self.weight = min(self.weight + 1, EFFECT_STEPS) if self.effect else 0
            return
        self.weight = max(self.weight - 1, 0)
        if self.weight == 0:
            self.effect, self.coming, self.leaves = self.coming, None, False

    def multipliers(self, time: int) -> list[int]:
        """Of the effect that there is, after `settle`."""
        return self.effect.multipliers(time, self.weight) if self.effect else [FULL]


def lamp_duty(lamp: PlayedLight, time: int, trim: int = UNTRIMMED) -> int:
    """The lamp's duty, of 65535, under its trim."""
    lightness = lightness_of(lamp.shown(time)[0])
    if lamp.effect:
        lightness = (lightness * lamp.multipliers(time)[0]) >> 8
    return trimmed(duty_of(lightness), trim)


class StripPainter:
    """Turns a strip's light into the bytes that go out on its wire."""

    def __init__(self, strip: StripRecord) -> None:
        self._pixels = strip.pixels
        self._cap = strip.cap
        self._places = tuple(PRIMARIES.index(letter) for letter in ORDERS[strip.order])
        trims = strip.trims or (UNTRIMMED,) * 3
        self._channel_bytes = tuple(channel_bytes(trims[place]) for place in self._places)
        self.bar: tuple[PlayedLight, int] | None = None
        """The lamp whose level it shows, and where its bar begins, if it does."""
        self._levels: FixedLevels = ()
        self._wired: tuple[int, int, int] = (0, 0, 0)
        self._by_multiplier: dict[int, bytes] = {}

    def paint(self, light: PlayedLight, time: int) -> bytes:
        """The bytes of all pixels, in the strip's order and under its cap."""
        data = self._painted(light, time)
        if self.bar is not None:
            lamp, end = self.bar
            data = covered(data, lamp.shown(time)[0], self._pixels, end)
        return self._capped(data)

    def _painted(self, light: PlayedLight, time: int) -> bytes:
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
            return self._pixel(FULL) * self._pixels
        multipliers = light.multipliers(time)
        if len(multipliers) == 1:
            return self._pixel(multipliers[0]) * self._pixels
        known = self._by_multiplier
        try:
            return b"".join([known[m] for m in multipliers])
        except KeyError:
            return b"".join([self._pixel(m) for m in multipliers])

    def _pixel(self, multiplier: int) -> bytes:
        found = self._by_multiplier.get(multiplier)
        if found is None:
            one, two, three = self._wired
            first, second, third = self._channel_bytes
            found = bytes(
                (
                    first[one * multiplier >> 8],
                    second[two * multiplier >> 8],
                    third[three * multiplier >> 8],
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
