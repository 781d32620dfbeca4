"""Effects judged over their whole pattern, on a light that stands still.

An effect repeats exactly: `breathe` and `run` after one period, `ember` and `sparkle` after 65536
beats, because their noise counts beats modulo 65536 (`firmware_gen/TABLE.md` 3.4). Here the whole
pattern is looked at in continuous time, pixel group by pixel group (`sim.light.area`). A board
shows frames, 20 ms apart, which see only some of these values, each up to a frame late; eight
changes within a second and one frame are therefore too many. So no phase between effect and frames
is left out.

A spot that runs along a strip hops from pixel to pixel. It is taken to glide: each group's light is
the mean over one hop (own). Otherwise the ripple of the hops would count as flashes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil, inf
from typing import Final

import numpy as np

from sim.arrays import Array, Integers
from sim.light.area import group_means, groups
from sim.light.counting import Closest, Counter
from sim.light.effects import (
    FULL,
    MOVING,
    depth_of,
    dimmed,
    is_lit,
    multipliers_at,
    noise,
)
from sim.light.flash import (
    CHANGE,
    FLASHES,
    RED_CHANGE,
    SATURATED,
    SECOND_MS,
    FlashKind,
    passing_effect_ms,
    zigzag,
)
from sim.light.lightness import colour_luminance, luminance
from sim.model import NO_MARK, Effect
from sim.rulebook import FRAME_MS

PATTERN_BEATS: Final = 65536
"""Beats after which the noise of TABLE.md 3.4 comes round."""

TOO_CLOSE_MS: Final = SECOND_MS + FRAME_MS
"""Eight changes within this are more than three flashes in some second of frames."""

FIRST_LOOK_BEATS: Final = 1024
"""What flashes often is found in so many beats already."""

FIRST_COLUMN_BEATS: Final = 64
BEATS_A_COLUMN: Final = 256
"""A long pattern is cut into columns of so many beats, which are looked at side by side."""

HOP_PARTS: Final = 4
"""Instants within each hop of a running spot."""

VALUES_A_LOOK: Final = 600
"""One look takes about as long as working out so many values in an array (measured)."""

_KEPT: Final = 4096


@dataclass(frozen=True, slots=True)
class Lit:
    """What an effect lies on: a light that stands still.

    `levels`: one channel (a lamp) or three (a strip), in half percents of L*. `colour`: linear
    colour of a lamp's full light. `cap_a`, `channel_a`: a strip's cap and channel current.
    """

    levels: tuple[float, ...]
    pixels: int = 1
    least_group: int = 1
    colour: tuple[float, float, float] = (1.0, 1.0, 1.0)
    cap_a: float | None = None
    channel_a: float = 0.02
    trims: tuple[float, ...] = ()
    """Of its channels; none: they give all their light."""


@dataclass(frozen=True, slots=True)
class FastPattern:
    """More than three flashes within a second of an effect's pattern.

    `at_ms`: from the effect's start. `pixels`: the group that flashes, its first pixel (from 0) and
    the one behind its last. `span_ms`: what eight changes in a row take; `count`: flashes in the
    second from `at_ms` on.
    """

    kind: FlashKind
    count: int
    at_ms: float
    span_ms: float
    pixels: tuple[int, int]


def fast_pattern(effect: Effect, lit: Lit, lasts_ms: float = inf) -> tuple[FastPattern, ...]:
    """Where the pattern flashes more than three times in a second, worst of each kind.

    `lasts_ms`: how long the effect stays on. Only the kinds that fail are in the answer; an
    irregular pattern is looked at from its start and no farther than the first that fails.
    """
    return _fast_pattern(*_asked(effect, lit, lasts_ms))


def looks(laid: Iterable[tuple[Effect, Lit, float]]) -> int:
    """About how many looks `fast_pattern` begins with, at effects, lights and how long each stays.

    A look is one instant of a pattern under one measure. What is the same is looked at once.
    """
    return sum(_looks(*asked) for asked in {_asked(*one) for one in laid})


def further_looks(laid: Iterable[tuple[Effect, Lit, float]]) -> int:
    """About how many more are taken of irregular patterns whose first beats do not flash.

    To know that, it looks at the first beats.
    """
    return sum(_further_looks(*asked) for asked in {_asked(*one) for one in laid})


def _asked(effect: Effect, lit: Lit, lasts_ms: float) -> tuple[Effect, Lit, int]:
    beats = ceil(min(lasts_ms / effect.period_ms, PATTERN_BEATS))
    return replace(effect, output="", mark=NO_MARK), lit, beats


@lru_cache(maxsize=_KEPT)
def _looks(effect: Effect, lit: Lit, beats: int) -> int:
    if beats < 1 or not may_flash(effect, lit):
        return 0
    return _cost(_Pattern(effect, lit), _columns(*_first_look(effect, beats)))


@lru_cache(maxsize=_KEPT)
def _further_looks(effect: Effect, lit: Lit, beats: int) -> int:
    if beats < 1 or not may_flash(effect, lit):
        return 0
    first, _ = _first_look(effect, beats)
    if first == beats or not _is_irregular(effect) or _first_found(effect, lit, beats):
        return 0
    return _cost(_Pattern(effect, lit), _columns(beats, BEATS_A_COLUMN))


def _cost(pattern: _Pattern, columns: _Columns) -> int:
    """Looks at a pattern in columns."""
    values = columns.starts.size * len(pattern.spans)
    beats, each = pattern.beats_of(columns), 1 + values // VALUES_A_LOOK
    return sum(beats * len(pattern.instants(measure)) * each for measure in pattern.measures)


def _is_irregular(effect: Effect) -> bool:
    return effect.name not in ("breathe", "run")


def _first_look(effect: Effect, beats: int) -> tuple[int, int]:
    """How many beats are looked at first, and in columns of how many."""
    if not _is_irregular(effect):
        beats = min(beats, ceil(TOO_CLOSE_MS / effect.period_ms) + 3)
        return beats, beats
    return min(beats, FIRST_LOOK_BEATS), FIRST_COLUMN_BEATS


@lru_cache(maxsize=_KEPT)
def _fast_pattern(effect: Effect, lit: Lit, beats: int) -> tuple[FastPattern, ...]:
    if beats < 1 or not may_flash(effect, lit):
        return ()
    found = _first_found(effect, lit, beats)
    if found or _first_look(effect, beats)[0] == beats or not _is_irregular(effect):
        return found
    return _failing(effect, lit, beats, BEATS_A_COLUMN)


@lru_cache(maxsize=_KEPT)
def _first_found(effect: Effect, lit: Lit, beats: int) -> tuple[FastPattern, ...]:
    return _failing(effect, lit, *_first_look(effect, beats))


def may_flash(effect: Effect, lit: Lit) -> bool:
    """Whether the pattern could flash too fast at all: its period and its depth say so."""
    if effect.period_ms >= passing_effect_ms(effect.name, lit.pixels):
        return False
    shown = _light(lit, np.arange(_least(effect), FULL + 1))
    if float(np.ptp(shown.luminance)) >= CHANGE - 1e-9:
        return True
    # a trim may leave so little of a bright channel that the light is red only where it is dimmed
    reddens = bool(_is_red(shown).any())
    return reddens and (float(np.ptp(_excess(shown.excess))) > RED_CHANGE or _least(effect) == 0)


def _least(effect: Effect) -> int:
    return FULL - depth_of(effect)


# -- light of pixels ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _WatchedLight:
    """What is looked at of a light, arrays of one shape: luminance, R - G - B, red and the sum."""

    luminance: Array
    excess: Array
    red: Array
    total: Array


def _light(lit: Lit, multiplier: Integers) -> _WatchedLight:
    """Of one pixel, by multiplier (0 to 256)."""
    levels = np.array(lit.levels) * multiplier[..., np.newaxis] / (2.0 * FULL)
    duty = luminance(levels) * np.array(lit.trims or (1.0,))
    if len(lit.levels) == 1:
        bright, rgb = duty[..., 0], duty * np.array(lit.colour)
    else:
        bright, rgb = np.asarray(colour_luminance(duty)), duty
    red, rest = rgb[..., 0], rgb[..., 1] + rgb[..., 2]
    return _WatchedLight(bright, red - rest, red, red + rest)


def _is_red(light: _WatchedLight) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    return np.asarray((light.total > 0.0) & (light.red >= (SATURATED - 1e-9) * light.total))


# -- what makes a change --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _LightMeasure:
    """What makes a change: a value of a light, and the least change of it that counts.

    `needs`: the fields of the light that the value is made of.
    """

    kind: FlashKind
    needs: tuple[str, ...]
    of: Callable[..., Array]
    least: float


def _as_it_is(luminance: Array) -> Array:
    return luminance


def _excess(excess: Array) -> Array:
    return np.maximum(excess, 0.0)


def _redness(red: Array, total: Array) -> Array:
    """1 where a group is a saturated red, 0 where it is dark, else between: see `flash`.

    Dark counts as white, which lies far enough from red; another light of the same colour does not.
    """
    saturated = (total > 0.0) & (red >= (SATURATED - 1e-9) * total)
    return np.where(saturated, 1.0, np.where(total <= 0.0, 0.0, 0.5))


_GENERAL: Final = _LightMeasure("general", ("luminance",), _as_it_is, CHANGE)
_EXCESS: Final = _LightMeasure("red", ("excess",), _excess, RED_CHANGE + 2e-9)
_REDNESS: Final = _LightMeasure("red", ("red", "total"), _redness, 1.0)


# -- looking at a pattern -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Columns:
    """Beats looked at side by side: `starts` of the columns, `length` beats each."""

    starts: Integers
    length: int


def _columns(beats: int, length: int) -> _Columns:
    """So many beats in columns of `length` beats."""
    return _Columns(np.arange(0, beats, length, dtype=np.int64), length)


class _Pattern:
    """The light of groups of pixels under an effect."""

    def __init__(self, effect: Effect, lit: Lit) -> None:
        self.effect, self._lit = effect, lit
        spans = groups(lit.pixels, min(lit.least_group, lit.pixels))
        if effect.name == "run":  # passes every group of a size alike
            spans = spans[np.unique(spans[:, 1] - spans[:, 0], return_index=True)[1]]
        elif effect.name not in MOVING:
            spans = spans[-1:]
        self.spans = spans
        self._table = _light(lit, np.arange(FULL + 1))
        self._offsets = _offsets(effect, lit)
        self._h = np.floor(np.array(self._offsets) * 256.0).astype(np.int64)[:, np.newaxis]
        self._steady: dict[_LightMeasure, bool] = {}

    @property
    def measures(self) -> tuple[_LightMeasure, ...]:
        reddens = bool(_is_red(self._table).any())
        return (_GENERAL, _EXCESS, _REDNESS) if reddens else (_GENERAL,)

    def rest(self, measure: _LightMeasure) -> Array:
        """The groups' values without the effect."""
        whole = np.full((1, 1, self._lit.pixels), FULL, dtype=np.int64)
        return np.asarray(self._groups(whole, measure)[0, 0])

    def row(
        self, columns: _Columns, measure: _LightMeasure, instants: Sequence[int] | None = None
    ) -> Iterator[tuple[float, Array]]:
        """The groups' values, shape (columns, groups), at one instant after another.

        A column runs on into the next, so that no second is cut. `instants`: those of each beat, by
        their numbers; None: all.
        """
        period = self.effect.period_ms
        numbers = range(len(self._offsets)) if instants is None else instants
        for n in range(self.beats_of(columns)):
            beat = self._beat(columns.starts + n, measure)
            for number in numbers:
                yield (n + self._offsets[number]) * period, beat[:, number]

    def instants(self, measure: _LightMeasure) -> Sequence[int]:
        """The instants of a beat by which a pattern can be told not to flash.

        Where every group's value does nothing but fall during a beat, it has its extremes at the
        beat's two ends.
        """
        last = len(self._offsets) - 1
        return (0, last) if self.falls_steadily(measure) else range(last + 1)

    def falls_steadily(self, measure: _LightMeasure) -> bool:
        """Whether any group's value falls from a beat's first instant to its last."""
        if self.effect.name != "sparkle" or self._lit.cap_a is not None:
            return False
        if measure not in self._steady:
            sizes = np.unique(self.spans[:, 1] - self.spans[:, 0])
            shares = np.concatenate([np.arange(size + 1) / size for size in sizes.tolist()])
            values = self._mixed(shares[np.newaxis, np.newaxis], measure)
            self._steady[measure] = bool(np.all(np.diff(values, axis=1) <= 1e-12))
        return self._steady[measure]

    def beats_of(self, columns: _Columns) -> int:
        """How many beats of each column are looked at."""
        more = ceil(2.0 * TOO_CLOSE_MS / self.effect.period_ms) + 1
        return columns.length + (more if columns.starts.size > 1 else 0)

    def _beat(self, beat: Integers, measure: _LightMeasure) -> Array:
        """The groups' values at the instants of one beat of each column."""
        pixels = self._lit.pixels
        if self.effect.name == "sparkle":
            heard = noise(self.effect.seed, beat[:, np.newaxis], np.arange(pixels))
            lit = is_lit(heard, self.effect.width).astype(np.float64)
            return self._mixed(group_means(lit, self.spans)[:, np.newaxis], measure)
        shape = (beat.size, len(self._offsets), pixels)
        m = multipliers_at(
            self.effect, beat[:, np.newaxis, np.newaxis], self._h, np.arange(pixels), pixels
        )
        return self._groups(np.broadcast_to(m, shape), measure)

    def _mixed(self, share: Array, measure: _LightMeasure) -> Array:
        """The groups' values where a share of their pixels sparkles and the others are dark.

        `share` has the shape (columns, 1, groups); the last group is all of them.
        """
        bright = dimmed(depth_of(self.effect), self._h)

        def mean(name: str) -> Array:
            values = getattr(self._table, name)
            dark = values[_least(self.effect)]
            return np.asarray(dark + (values[bright] - dark) * share)

        capped: Array | float = 1.0
        if self._lit.cap_a is not None:
            capped = self._capped(self._lit.pixels * mean("total")[..., -1:])
        return np.asarray(measure.of(*(mean(name) * capped for name in measure.needs)))

    def _groups(self, m: Integers, measure: _LightMeasure) -> Array:
        """The groups' values by multipliers of shape (columns, instants, pixels)."""
        capped: Array | float = 1.0
        if self._lit.cap_a is not None:
            capped = self._capped(self._table.total[m].sum(axis=-1, keepdims=True))
        means = [
            group_means(getattr(self._table, name)[m] * capped, self.spans)
            for name in measure.needs
        ]
        if self.effect.name == "run":
            means = [_gliding(part) for part in means]
        return np.asarray(measure.of(*means))

    def _capped(self, total: Array) -> Array:
        """By how much a cap dims a strip whose channels are on that much in all."""
        assert self._lit.cap_a is not None
        with np.errstate(divide="ignore"):
            return np.minimum(1.0, self._lit.cap_a / (total * self._lit.channel_a))


def _gliding(values: Array) -> Array:
    """Means over one hop of a running spot, around the period; `values` (columns, instants, ..)."""
    if values.shape[1] == 1:
        return values
    return np.asarray(sum(np.roll(values, part, axis=1) for part in range(HOP_PARTS)) / HOP_PARTS)


def _offsets(effect: Effect, lit: Lit) -> list[float]:
    """The instants of a beat that are looked at, as shares of the period."""
    if effect.name == "run":
        parts = lit.pixels * HOP_PARTS
    elif effect.name == "ember":  # a beat is one way up or down, only little bent
        parts = 4
    else:
        parts = ceil(effect.period_ms / FRAME_MS)
        parts += parts % 2
    shares = [n / parts for n in range(parts)]
    # a sparkle jumps where its beat ends: the last value before counts too
    return [*shares, 255.0 / 256.0] if effect.name == "sparkle" else shares


def _failing(effect: Effect, lit: Lit, beats: int, length: int) -> tuple[FastPattern, ...]:
    """The worst of each kind in so many beats, looked at in columns of `length` beats."""
    pattern = _Pattern(effect, lit)
    columns = _columns(beats, length)
    found: dict[FlashKind, FastPattern] = {}
    for measure in pattern.measures:
        worst = _worst(pattern, columns, measure)
        known = found.get(measure.kind)
        if worst is not None and (known is None or worst.span_ms < known.span_ms):
            found[measure.kind] = worst
    return tuple(found.values())


def _worst(pattern: _Pattern, columns: _Columns, measure: _LightMeasure) -> FastPattern | None:
    columns = _suspect(pattern, columns, measure)
    if not columns.starts.size:
        return None
    closest = _closest(pattern, columns, measure)
    where = closest.worst()
    span = float(closest.span_ms[where])
    if span > TOO_CLOSE_MS:
        return None
    column, group = divmod(where, len(pattern.spans))
    at = float(columns.starts[column]) * pattern.effect.period_ms + float(closest.at_ms[where])
    first_pixel, last_pixel = pattern.spans[group].tolist()
    count = _count(pattern, measure, at, group)
    return FastPattern(measure.kind, count, at, span, (first_pixel, last_pixel))


def _suspect(pattern: _Pattern, columns: _Columns, measure: _LightMeasure) -> _Columns:
    """The columns in which eight changes may come too close together.

    By the ends of its beats: the changes are the same, and each is at most a beat off. Of the first
    and the last of eight one comes where a beat ends, and that one is exact.
    """
    if not pattern.falls_steadily(measure):
        return columns
    spans = _closest(pattern, columns, measure, pattern.instants(measure)).span_ms
    shortest = spans.reshape(columns.starts.size, -1).min(axis=1) - pattern.effect.period_ms
    return replace(columns, starts=columns.starts[shortest <= TOO_CLOSE_MS])


def _closest(
    pattern: _Pattern,
    columns: _Columns,
    measure: _LightMeasure,
    instants: Sequence[int] | None = None,
) -> Closest:
    rest = np.tile(pattern.rest(measure), columns.starts.size)
    row = pattern.row(columns, measure, instants)
    _, first = next(row)
    counter = Counter(rest, first.ravel(), measure.least)
    for time_ms, value in row:
        counter.take(time_ms, value.ravel())
    return counter.closest()


def _count(pattern: _Pattern, measure: _LightMeasure, at_ms: float, group: int) -> int:
    """Flashes of one group in the second (and frame) that begins with the change at a time."""
    period = pattern.effect.period_ms
    first = max(0, int(at_ms // period) - 3)
    columns = _Columns(np.array([first]), ceil(TOO_CLOSE_MS / period) + 5)
    seen = [(time_ms, value[0, group]) for time_ms, value in pattern.row(columns, measure)]
    times, values = np.array(seen).T
    reached = zigzag(times + first * period, values, measure.least)[0]
    inside = (reached >= at_ms - 1e-6) & (reached <= at_ms + TOO_CLOSE_MS)
    return max(FLASHES + 1, int(inside.sum()) // 2)
