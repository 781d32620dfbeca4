"""Flashing light: general and red flashes as WCAG 2.2 defines them (success criterion 2.3.1).

General flash: a pair of opposing changes in relative luminance of 10 % or more of the maximum
relative luminance, where the darker state is below 0.80. Red flash: a pair of opposing changes that
involve a saturated red. More than three of either within any one second fails.

Those words are for screens. For lamps and strips this tool reads them on the safe side:

* An output is judged by itself, its own full light (white, for a strip) being the maximum 1.0, so
  that a lone blue lamp going on and off counts although its luminance would not on a screen. All
  outputs are judged together as well, each weighted by the luminance of its colour and its number
  of LEDs, so that lamps which pass one by one but flash in turn are seen. So are every two that
  change, and all that change: a large light beside them that stands still, or goes slowly, must
  not hide them.
* No light is excused by its area, however small. The area of 0.006 steradian says which
  neighbouring pixels of a strip are judged as one (`sim.light.area`); here a strip is the mean of
  its pixels.
* Saturated red: R / (R + G + B) >= 0.8 (linear values) in one of the states. The change counts if
  it passes either working note, that of WCAG 2.2 (distance in CIE 1976 u'v' over 0.2) or the older
  one ((R - G - B) * 320 changes by over 20, negatives as 0). Black has no chromaticity and is given
  that of white, so that red against dark counts.
* A second is any closed interval of 1000 ms; a change counts at the instant when it reaches 10 %.

Passing is no promise: some people react to less.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from math import ceil, dist
from typing import Final, Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.arrays import Array, Indices
from sim.light.lightness import colour_luminance
from sim.rulebook import FRAME_MS

CHANGE: Final = 0.1
"""Least change of relative luminance that counts (WCAG 2.2, general flash)."""

BRIGHT: Final = 0.8
"""A change whose darker state is as bright as this does not count (WCAG 2.2, general flash)."""

FLASHES: Final = 3
"""Flashes allowed within any one second (WCAG 2.2, 2.3.1)."""

SECOND_MS: Final = 1000.0

SATURATED: Final = 0.8
"""Share of red from which a colour is a saturated red (WCAG 2.2, red flash)."""

RED_DISTANCE: Final = 0.2
"""Distance in u'v' (CIE 1976) over which a change from or to it counts (WCAG 2.2 working note)."""

RED_CHANGE: Final = 20.0 / 320.0
"""Change of R - G - B (linear, 0 to 1) over which it counts by the older working note."""

AREA_SR: Final = 0.006
"""Solid angle below which concurrent flashes pass on a screen (WCAG 2.2); see `sim.light.area`."""

_ROUND: Final = 1e-9

FlashKind: TypeAlias = Literal["general", "red"]


@dataclass(frozen=True, slots=True)
class Changes:
    """Qualifying changes of a light: when each reached its threshold (ms), and whether upward."""

    at_ms: Array
    rising: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Flashing:
    """More than three flashes within a second.

    `outputs`: whose light; several: taken together. `count` flashes in the worst second, which
    starts at `at_ms`. `first_ms`, `last_ms`: where such seconds begin and end.
    """

    kind: FlashKind
    outputs: tuple[str, ...]
    count: int
    at_ms: float
    first_ms: float
    last_ms: float


@dataclass(frozen=True, slots=True)
class LightSource:
    """One output's light over time.

    `rgb`: linear light, shape (times, 3), 1 being full. `luminance` (times): relative to the
    output's own full light (a lamp: full in its colour; a strip: white, the mean of its pixels).
    `weight`: how much it counts among others, its number of LEDs.
    """

    rgb: Array
    luminance: Array
    weight: float
    full_luminance: float = 1.0
    """Luminance of its full light on the scale of white."""


def general_changes(times_ms: ArrayLike, luminance: ArrayLike) -> Changes:
    """The opposing changes of 10 % or more, darker state below 0.80, that follow one another.

    A change runs from one extreme to the next; wiggles under 10 % within it are part of it.
    `times_ms` and `luminance` (0 to 1) are one-dimensional.
    """
    times = np.asarray(times_ms, dtype=np.float64)
    light = np.asarray(luminance, dtype=np.float64)
    at, start, end = zigzag(times, light, CHANGE - _ROUND)
    keep = np.minimum(light[start], light[end]) < BRIGHT - _ROUND
    return Changes(at[keep], light[end[keep]] > light[start[keep]])


def red_changes(times_ms: ArrayLike, rgb: ArrayLike) -> Changes:
    """The opposing changes that involve a saturated red; `rgb` linear, shape (times, 3).

    By both working notes; where they disagree, the one that finds more changes.
    """
    times = np.asarray(times_ms, dtype=np.float64)
    colour = np.asarray(rgb, dtype=np.float64)
    chroma, amount = _by_chromaticity(times, colour), _by_amount(times, colour)
    return chroma if chroma.at_ms.size >= amount.at_ms.size else amount


def count_in_worst_second(changes: Changes) -> tuple[int, float]:
    """Flashes (pairs of opposing changes) in the worst second, and when that second starts (ms)."""
    counts = _following(changes)
    if counts.size == 0:
        return 0, 0.0
    worst = int(np.argmax(counts))
    return int(counts[worst]) // 2, float(changes.at_ms[worst])


def _following(changes: Changes) -> NDArray[np.int64]:
    """For each change: how many lie in the second that starts with it."""
    at = changes.at_ms
    ends = np.searchsorted(at, at + SECOND_MS + _ROUND, side="right")
    return np.asarray(ends - np.arange(at.size), dtype=np.int64)


def flashing(times_ms: ArrayLike, sources: Mapping[str, LightSource]) -> tuple[Flashing, ...]:
    """All that flashes more than three times in a second: each output, then several as one.

    Several (`ensembles`) are left out where some of them already fail in the same seconds.
    """
    times = np.asarray(times_ms, dtype=np.float64)
    found: list[Flashing] = []
    for name, source in sources.items():
        found += _judged(times, source.luminance, source.rgb, (name,))
    for names in ensembles(sources):
        luminance, rgb = together({name: sources[name] for name in names})
        for one in _judged(times, luminance, rgb, names):
            fewer = [f for f in found if f.kind == one.kind and set(f.outputs) < set(names)]
            if not any(
                f.first_ms <= one.at_ms + SECOND_MS and one.at_ms <= f.last_ms for f in fewer
            ):
                found.append(one)
    return tuple(found)


def ensembles(sources: Mapping[str, LightSource]) -> tuple[tuple[str, ...], ...]:
    """The sets of lights that are judged as one: two that change, all that change, and all.

    WCAG counts what flashes at a time, wherever it is. A light beside that does not flash takes
    nothing away: among 30 dark pixels two eyes that blink in turn would hardly count. Two lights
    that cannot go up and down often enough together, or that go alike, are left out.
    """
    names = tuple(sources)
    ways = {name: most_ways(one.rgb) for name, one in sources.items()}
    changing = tuple(name for name in names if ways[name])
    found: list[tuple[str, ...]] = []
    for a, b in combinations(changing, 2):
        # while one goes slowly up, each short way down of the other turns the sum twice
        if 2 * (ways[a] + ways[b]) - 1 > 2 * FLASHES + 1 and not _alike(sources[a], sources[b]):
            found.append((a, b))
    sets = (changing, names) if len(changing) > 2 else (names,)
    found += [each for each in sets if len(each) > 1]
    return tuple(dict.fromkeys(found))


def _alike(one: LightSource, other: LightSource) -> bool:
    return bool(
        np.array_equal(one.rgb, other.rgb) and np.array_equal(one.luminance, other.luminance)
    )


def most_ways(rgb: Array) -> int:
    """In how many ways up or down a light goes within any second, by whatever is looked at.

    `rgb`: linear, shape (frames, 3).
    """
    most = 0
    for channel in (*rgb.T, np.asarray(colour_luminance(rgb)), redness(rgb)):
        steps = np.diff(channel)
        moving = np.flatnonzero(steps)
        if not moving.size:
            continue
        signs = np.sign(steps[moving])
        turns = np.flatnonzero(signs[1:] != signs[:-1])
        begins = moving[np.concatenate([[0], turns + 1])]
        ends = np.append(moving[turns], moving[-1])
        met = np.searchsorted(begins, ends + _SECOND_FRAMES, side="right") - np.arange(ends.size)
        most = max(most, int(met.max()))
    return most


_SECOND_FRAMES: Final = int(SECOND_MS // FRAME_MS) + 2
"""Frames that lie before or after a change and still share a second with it."""


def redness(rgb: Array) -> Array:
    """R - G - B of linear light along the last axis (WCAG's older working note)."""
    return np.asarray(rgb[..., 0] - rgb[..., 1] - rgb[..., 2])


def together(sources: Mapping[str, LightSource]) -> tuple[Array, Array]:
    """Luminance (times) and linear colour (times, 3) of all outputs, everything full being 1.

    Each output adds the luminance of its colour times its number of LEDs.
    """
    parts = list(sources.values())
    leds = sum(part.weight for part in parts) or 1.0
    rgb = np.sum([part.rgb * part.weight for part in parts], axis=0) / leds
    full = sum(part.weight * part.full_luminance for part in parts) / leds
    return np.asarray(colour_luminance(rgb)) / (full or 1.0), rgb


def _judged(times: Array, luminance: Array, rgb: Array, outputs: tuple[str, ...]) -> list[Flashing]:
    kinds: list[tuple[FlashKind, Changes]] = [
        ("general", general_changes(times, luminance)),
        ("red", red_changes(times, rgb)),
    ]
    found = []
    for kind, changes in kinds:
        counts = _following(changes) // 2
        bad = np.flatnonzero(counts > FLASHES)
        if bad.size:
            worst = int(np.argmax(counts))
            at = changes.at_ms
            ends = float(at[bad[-1]]), float(at[-1])
            last = min(ends[0] + SECOND_MS, ends[1])
            found.append(
                Flashing(
                    kind, outputs, int(counts[worst]), float(at[worst]), float(at[bad[0]]), last
                )
            )
    return found


# -- how slow passes ------------------------------------------------------------------------------


def passing_period_ms(changes_per_period: int = 2) -> int:
    """The shortest period (ms) of anything periodic that passes whatever its shape.

    Eight changes (four pairs) within a closed second fail. With n changes a period, eight of them
    span at least floor(7 / n) whole periods, so a period over 1000 / floor(7 / n) ms passes. For
    an on-and-off, n = 2, that is 334 ms.
    """
    whole = max(1, (2 * FLASHES + 1) // changes_per_period)
    return int(SECOND_MS // whole) + 1


PASSING_EFFECT_MS: Final = {
    "breathe": passing_period_ms(2),
    "sparkle": passing_period_ms(2),
    "run": passing_period_ms(2),
    # one change a beat, which may come late in one beat and early in another: 8 need over 6 beats,
    # and a frame may show the first one late
    "ember": ceil((SECOND_MS + FRAME_MS) / 6.0) + 1,
}
"""Shortest periods (ms) at which an effect passes on a lamp at any depth, from the shapes of
TABLE.md 3.4."""


def passing_effect_ms(name: str, pixels: int = 1) -> int:
    """The shortest period (ms) at which an effect passes at any depth; 0: it always does.

    On a strip some pixels of an `ember` rise while others fall. Luminance bends upward over the
    level, so their sum may fall and rise within one beat: two changes, as the other effects have.
    """
    if name == "ember" and pixels > 1:
        return passing_period_ms(2)
    return PASSING_EFFECT_MS.get(name, 0)


# -- finding changes ------------------------------------------------------------------------------


def zigzag(times: Array, value: Array, least: float) -> tuple[Array, Indices, Indices]:
    """Alternating changes of at least `least`: when each got there, and its two extremes' indices.

    Extremes are samples: where the change came from and where it went on to.
    """
    keep = _bends(value)
    v = value[keep].tolist()
    at: list[float] = []
    ends: list[list[int]] = []
    low = high = 0
    up: bool | None = None
    for i in range(1, len(v)):
        fallen, risen = v[high] - least, v[low] + least
        if up is not False and v[i] <= fallen:
            at.append(_reached(times, value, keep[i - 1], keep[i], fallen))
            ends.append([high, i])
            up, low = False, i
        elif up is not True and v[i] >= risen:
            at.append(_reached(times, value, keep[i - 1], keep[i], risen))
            ends.append([low, i])
            up, high = True, i
        if up is not False and v[i] >= v[high]:
            high = i
        if up is not True and v[i] <= v[low]:
            low = i
        if ends:
            ends[-1][1] = high if up else low
    indices = keep[np.array(ends, dtype=np.intp).reshape(-1, 2)]
    return np.array(at), indices[:, 0], indices[:, 1]


def _bends(value: Array) -> Indices:
    """First, last and every sample at which the direction changes: all that a zigzag needs."""
    steps = np.sign(np.diff(value))
    moving = np.flatnonzero(steps)
    if moving.size == 0:
        return np.array([0], dtype=np.intp)
    turns = moving[1:][steps[moving[1:]] != steps[moving[:-1]]]
    first = moving[:1] if moving[0] == 0 else [0, moving[0]]
    return np.concatenate([first, turns, moving[-1:] + 1]).astype(np.intp)


def _reached(times: Array, value: Array, first: int, last: int, level: float) -> float:
    """The time of the first sample after `first` at which a steady run to `last` is at `level`."""
    run = value[first + 1 : last + 1]
    there = run >= level if value[last] > value[first] else run <= level
    return float(times[first + 1 + int(np.argmax(there))])


def chromaticity(rgb: Array) -> Array:
    """CIE 1976 u'v' of linear sRGB values, shape (..., 2); of black, that of white.

    u' = 4 X / (X + 15 Y + 3 Z), v' = 9 Y / (X + 15 Y + 3 Z) (CIE 15), with the matrix of
    IEC 61966-2-1 as in WCAG 2.2, Understanding 2.3.1.
    """
    to_x, to_y = (0.4124564, 0.3575761, 0.1804375), (0.2126729, 0.7151522, 0.0721750)
    matrix = np.array([to_x, to_y, (0.0193339, 0.1191920, 0.9503041)])
    # three columns by themselves: numpy goes along so short an axis one row after another
    dark = np.maximum(np.maximum(rgb[..., 0], rgb[..., 1]), rgb[..., 2]) <= 0.0
    xyz = np.where(dark[..., None], 1.0, rgb) @ matrix.T
    scale = xyz @ np.array([1.0, 15.0, 3.0])
    return np.stack([4.0 * xyz[..., 0] / scale, 9.0 * xyz[..., 1] / scale], axis=-1)


def saturated_red(rgb: Array) -> NDArray[np.bool_]:
    """Whether R / (R + G + B) >= 0.8, linear values along the last axis; black is not."""
    total = rgb[..., 0] + rgb[..., 1] + rgb[..., 2]
    return np.asarray((total > 0.0) & (rgb[..., 0] >= (SATURATED - _ROUND) * total))


def _by_amount(times: Array, rgb: Array) -> Changes:
    """The older working note: changes of R - G - B that meet a saturated red on their way."""
    excess = np.maximum(rgb[:, 0] - rgb[:, 1] - rgb[:, 2], 0.0)
    red = saturated_red(rgb)
    if not red.any():
        return Changes(np.zeros(0), np.zeros(0, dtype=bool))
    at, start, end = zigzag(times, excess, RED_CHANGE + _ROUND)
    met = np.concatenate([[0], np.cumsum(red)])
    keep = met[end + 1] > met[start]
    return Changes(at[keep], excess[end[keep]] > excess[start[keep]])


def _by_chromaticity(times: Array, rgb: Array) -> Changes:
    """The working note of WCAG 2.2: away from a saturated red by over 0.2 in u'v', and back."""
    red = saturated_red(rgb)
    if not red.any() or red.all():
        return Changes(np.zeros(0), np.zeros(0, dtype=bool))
    uv = chromaticity(rgb)
    fresh = np.flatnonzero(np.r_[True, np.any(np.diff(uv, axis=0) != 0.0, axis=1)])
    at: list[float] = []
    rising: list[bool] = []
    is_red = False
    from_red: tuple[float, float] | None = None
    from_other: tuple[float, float] | None = None
    for i, u, v, now_red in zip(fresh, *uv[fresh].T.tolist(), red[fresh].tolist(), strict=True):
        here = (u, v)
        last = from_other if now_red else from_red
        turned = now_red != is_red and last is not None and dist(here, last) > RED_DISTANCE
        if turned:
            at.append(float(times[i]))
            rising.append(now_red)
            from_other = None if now_red else here
        if now_red:
            is_red, from_red = True, here
        elif turned or not is_red:
            is_red = False
            if from_other is None or dist(here, _RED_UV) > dist(from_other, _RED_UV):
                from_other = here
    return Changes(np.array(at), np.array(rising, dtype=bool))


_RED_UV: Final = (0.45070, 0.52289)
"""u'v' of the sRGB red."""


def lamp_source(colour_linear: Array, duty: Array, leds: float) -> LightSource:
    """A lamp's light: `colour_linear` (3,) its colour, `duty` (times,) 0 to 1, `leds` how many.

    Its own full light is the maximum, so its luminance is its duty.
    """
    return LightSource(
        duty[:, None] * colour_linear, duty, leds, float(colour_luminance(colour_linear))
    )


def strip_source(rgb: Array, pixels: int) -> LightSource:
    """A strip's light: `rgb` (times, 3), the mean of its pixels' linear values, 0 to 1."""
    return LightSource(rgb, np.asarray(colour_luminance(rgb)), float(pixels))
