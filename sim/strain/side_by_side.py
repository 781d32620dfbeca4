"""Light that flashes because cues run side by side: every phase of two, and of more in turn.

Two cues side by side change no light of one another. So only several lights as one can flash more
often than each cue does by itself, and their light is the sum of what either gives alone. Lights
that stand still beside them take nothing away (`sim.light.flash.ensembles`). Each cue is
rehearsed once, from every state it can find. Then the sum is looked at with the second cue begun at
every frame of the first, and the first at every frame of the second: thousands of phases side by
side. Cues without end are watched until they have come round, so phases into which they drift are
among these.

Of more than two cues the worst phase of two is kept, and the next one tried at every phase beside
them. That is a search.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from math import inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sim.arrays import Array, Integers
from sim.light.counting import TOO_MANY, Counter
from sim.light.flash import (
    CHANGE,
    RED_CHANGE,
    SATURATED,
    SECOND_MS,
    Flashing,
    LightSource,
    flashing,
    most_ways,
    redness,
)
from sim.light.lightness import colour_luminance
from sim.model import Cue
from sim.rulebook import FRAME_MS
from sim.score.tree import outputs_used
from sim.strain.eye import Eye, Sight
from sim.strain.light_bound import together
from sim.strain.light_states import Entry

LONGEST_FRAMES: Final = 3_000
"""Of a longer rehearsal its busiest minute is taken (own limit)."""

MOST_PHASES: Final = 60_000_000
"""Frames of all phases that are looked at, of all pairs of a show (own limit)."""

MOST_KEPT: Final = 4_000_000
"""Values of a sum that are kept: 32 MB (own limit)."""

MOST_SEEDS: Final = 3
"""With so many pairs the search for three and more begins (own limit)."""

MOST_SUSPECTS: Final = 200
"""Phases at which a pair may flash that are judged: the closest rows of changes (own limit)."""

_SECOND: Final = int(SECOND_MS // FRAME_MS) + 2
"""Frames that lie before or after a cue and still share a second with it."""

_TOO_CLOSE_MS: Final = SECOND_MS + FRAME_MS


@dataclass(frozen=True, slots=True)
class SideBySide:
    """What flashes when `then` starts `after_ms` after `first`, which finds `finds`.

    `also`: what runs besides, and how long after `first` it starts (before it: negative).
    """

    first: Cue
    then: Cue
    after_ms: int
    found: Flashing
    finds: Entry
    also: tuple[tuple[Cue, int], ...] = ()


@dataclass(frozen=True)
class _Part:
    """What some cues give to the light of all, alone.

    `sources`: their lights, frame by frame from the one before the start of the first cue.
    `still`: all lights of the show as they are then, in one frame. `starts`: each cue, and the
    frame in which it starts.
    """

    sources: dict[str, LightSource]
    still: dict[str, LightSource]
    starts: tuple[tuple[Cue, int], ...]
    finds: Entry

    @cached_property
    def rgb(self) -> Array:
        """Linear light (frames, 3) of its lights, each as often as it has LEDs."""
        return _summed(self.sources)

    @property
    def full(self) -> float:
        """Luminance of all its lights at their full light, on the same scale."""
        return sum(one.weight * one.full_luminance for one in self.sources.values())

    @property
    def frames(self) -> int:
        return len(self.rgb)

    @cached_property
    def turns(self) -> float:
        """The most ways up or down of its lights within a second, each light counted."""
        return float(sum(most_ways(one.rgb) for one in self.sources.values()))

    @cached_property
    def is_red(self) -> bool:
        """Whether it is ever a saturated red: a sum of lights none of which is one is none."""
        return bool(_saturated(self.rgb).any())

    def swing(self, measure: _OfSum) -> float:
        """By how much the measure of its light goes up and down within any second, at most."""
        return _most_within(np.abs(np.diff(measure.of_part(self.rgb))))


def side_by_side(
    eye: Eye,
    cues: Iterable[Cue],
    may_begin: Callable[[Cue, Cue], bool],
    named: set[str],
) -> Iterator[SideBySide]:
    """What flashes of cues that run side by side though each is safe by itself.

    `may_begin`: whether the first cue may start while the second runs. `named`: cues of which
    something was found already; each is named once.
    """
    search = _PhaseSearch(eye, tuple(cues), may_begin)
    for found in search.pairs():
        if found.then.name not in named:
            named.add(found.then.name)
            yield found
    if not search.has_found:
        yield from search.several()


class _PhaseSearch:
    def __init__(
        self, eye: Eye, cues: tuple[Cue, ...], may_begin: Callable[[Cue, Cue], bool]
    ) -> None:
        self._eye = eye
        self._may_begin = may_begin
        self._cues = [cue for cue in cues if eye.bound.ways(cue) > 0]
        self._parts: dict[str, list[_Part]] = {}
        self._left = MOST_PHASES
        self._closest: list[tuple[float, _Part]] = []
        self.has_found = False

    def pairs(self) -> Iterator[SideBySide]:
        """Of two cues, those first that change light most often."""
        likely = [
            (self._eye.bound.ways(a) + self._eye.bound.ways(b), n, a, b)
            for n, (a, b) in enumerate(combinations(self._cues, 2))
            if self._can_meet(a, b)
        ]
        for ways, _, one, other in sorted(likely, key=lambda each: (-each[0], each[1])):
            if together(ways) < TOO_MANY or self._eye.is_tired or self._left <= 0:
                return
            found = self._met(self._parts_of(one), self._parts_of(other))
            if found is not None:
                self.has_found = True
                yield found

    def several(self) -> Iterator[SideBySide]:
        """Of three and more: two as close as they come, and each further cue at its worst
        beside them."""
        cues = sorted(self._cues, key=lambda cue: -self._eye.bound.ways(cue))
        for seed in self._seeds(cues):
            part, left = seed, [cue for cue in cues if cue not in _cues_of(seed)]
            while left and self._left > 0 and not self._eye.is_tired:
                cue = left.pop(0)
                more = self._parts_of(cue)[:1]
                if not more or not all(self._can_meet(one, cue) for one in _cues_of(part)):
                    continue
                found, worst = self._worst(part, more[0])
                if found is not None:
                    yield found
                    return
                part = worst()

    def _seeds(self, cues: list[Cue]) -> list[_Part]:
        """Pairs to begin with: the closest rows of changes, else those that turn most often."""
        if together(sum(self._eye.bound.ways(cue) for cue in cues)) < TOO_MANY:
            return []
        closest = sorted(self._closest, key=lambda each: each[0])[:MOST_SEEDS]
        if closest:
            return [part for _, part in closest]
        for one, other in combinations(cues, 2):
            if self._can_meet(one, other) and self._parts_of(one) and self._parts_of(other):
                return [self._worst(self._parts_of(one)[0], self._parts_of(other)[0])[1]()]
        return []

    def _can_meet(self, one: Cue, other: Cue) -> bool:
        if outputs_used(one.body) & outputs_used(other.body):
            return False
        return self._may_begin(one, other) or self._may_begin(other, one)

    def _parts_of(self, cue: Cue) -> list[_Part]:
        """Its light from every state it can find; none where it flashes by itself."""
        if cue.name not in self._parts:
            parts: list[_Part] = []
            for sight in () if self._eye.flashes(cue) else self._eye.sights(cue):
                part = _part(cue, sight)
                if not any(np.array_equal(part.rgb, known.rgb) for known in parts):
                    parts.append(part)
            self._parts[cue.name] = parts
        return self._parts[cue.name]

    def _met(self, ones: list[_Part], others: list[_Part]) -> SideBySide | None:
        for one in ones:
            for other in others:
                if together(one.turns + other.turns) >= TOO_MANY:
                    found, _ = self._worst(one, other)
                    if found is not None:
                        return found
        return None

    def _worst(self, one: _Part, other: _Part) -> tuple[SideBySide | None, Callable[[], _Part]]:
        """What two flash at the phases at which they may, and how to get both at the worst."""
        long, short = (one, other) if one.frames >= other.frames else (other, one)
        self._left -= long.frames * short.frames
        shifts = self._phases(long, short)
        spans, at_ms = _closest(long, short, shifts)
        order = np.argsort(spans, kind="stable")
        for n in order[:MOST_SUSPECTS].tolist():
            if spans[n] > _TOO_CLOSE_MS:
                break
            found = _judged(long, short, int(shifts[n]), float(at_ms[n]))
            if found is not None:
                return _told(long, short, int(shifts[n]), found), lambda: long
        best = int(order[0])
        if spans[best] < inf:
            both = _joined(long, short, int(shifts[best]))
            self._closest.append((float(spans[best]), both))
            return None, lambda: both
        return None, lambda: _joined(long, short, _most_in_a_second(long, short, shifts))

    def _phases(self, long: _Part, short: _Part) -> Integers:
        """By how many frames the long one may start before the short one."""
        own, others = _cues_of(long), _cues_of(short)
        first, last = -short.frames - _SECOND, long.frames + _SECOND
        if not any(self._may_begin(a, b) for a in own for b in others):
            first = 0
        if not any(self._may_begin(b, a) for a in own for b in others):
            last = 0
        return np.arange(first, last + 1)


# -- the light of one -----------------------------------------------------------------------------


def _part(cue: Cue, sight: Sight) -> _Part:
    """A cue's own lights as one rehearsal shows them, from the frame before its start."""
    begins = int(np.searchsorted(sight.times_ms, -FRAME_MS))
    used = outputs_used(cue.body)
    own = {name: one for name, one in sight.sources.items() if name in used}
    still = _frames_of(sight.sources, np.array([begins]))
    first, last = _busiest(_summed(own)[begins:])
    sources = _frames_of(own, np.arange(begins + first, begins + last))
    return _Part(sources, still, ((cue, 1 - first),), sight.entry)


def _cues_of(part: _Part) -> list[Cue]:
    return [cue for cue, _ in part.starts]


def _frames_of(sources: dict[str, LightSource], frames: Integers) -> dict[str, LightSource]:
    """Some frames of lights; before the first and behind the last they stand still."""
    return {
        name: replace(one, rgb=one.rgb[at], luminance=one.luminance[at])
        for name, one in sources.items()
        for at in (np.clip(frames, 0, len(one.rgb) - 1),)
    }


def _summed(sources: dict[str, LightSource]) -> Array:
    return np.asarray(sum(one.rgb * one.weight for one in sources.values()))


def _busiest(rgb: Array) -> tuple[int, int]:
    """First and last frame of what is looked at: all, or the minute in which most changes."""
    if len(rgb) <= LONGEST_FRAMES:
        return 0, len(rgb)
    steps = np.abs(np.diff(rgb, axis=0)).sum(axis=1)
    sums = np.concatenate([[0.0], np.cumsum(steps)])
    within = LONGEST_FRAMES - 1  # steps between so many frames
    first = int(np.argmax(sums[within:] - sums[:-within]))
    return first, first + LONGEST_FRAMES


def _rest(*parts: _Part) -> dict[str, LightSource]:
    """What belongs to none of them, at its safe light."""
    own = {name for part in parts for name in part.sources}
    return {name: one for name, one in parts[0].still.items() if name not in own}


def _most_within(steps: Array) -> float:
    sums = np.concatenate([[0.0], np.cumsum(steps)])
    wide = min(_SECOND, steps.size)
    return float((sums[wide:] - sums[: sums.size - wide]).max(initial=0.0))


# -- the light of two -----------------------------------------------------------------------------


def _luminance(rgb: Array) -> Array:
    return np.asarray(colour_luminance(rgb))


def _as_it_is(value: Array) -> Array:
    return value


def _excess(redness: Array) -> Array:
    return np.maximum(redness, 0.0)


def _saturated(rgb: Array) -> NDArray[np.bool_]:
    total = rgb[..., 0] + rgb[..., 1] + rgb[..., 2]
    return np.asarray((total > 0.0) & (rgb[..., 0] >= (SATURATED - 1e-9) * total))


def _redden(rgb: Array) -> Array:
    """1 for a saturated red, else 0. Two such reds lie too near to one another to count as a change
    (at most 0.144 in u'v'), so each change goes from the one to the other; whether it goes far
    enough is judged later."""
    return np.where(_saturated(rgb), 1.0, 0.0)


@dataclass(frozen=True, slots=True)
class _OfSum:
    """What makes a change: a value of the sum of what each part has, and the least that counts."""

    of_part: Callable[[Array], Array]
    of_sum: Callable[[Array], Array]
    least: float


_GENERAL: Final = _OfSum(_luminance, _as_it_is, CHANGE)
_EXCESS: Final = _OfSum(redness, _excess, RED_CHANGE)
_CHROMA: Final = _OfSum(_as_it_is, _redden, 1.0)


def _measures(long: _Part, short: _Part, many: int) -> Iterator[_OfSum]:
    """What may make so many changes of their sum."""
    reddens = (_GENERAL, _EXCESS) if long.is_red or short.is_red else (_GENERAL,)
    for measure in reddens:
        swing = (long.swing(measure) + short.swing(measure)) / _full(long, short)
        if swing >= many * measure.least - 1e-6:
            yield measure
    if len(reddens) > 1:
        yield _CHROMA


def _most_in_a_second(long: _Part, short: _Part, shifts: Integers) -> int:
    """The phase at which a second holds most changes, none too many."""
    sums: dict[_OfSum, _LightSum] = {}
    for many in range(TOO_MANY - 1, 1, -1):
        spans, _ = _closest(long, short, shifts, many, sums)
        if float(spans.min()) <= _TOO_CLOSE_MS:
            return int(shifts[int(np.argmin(spans))])
    return 0


def _closest(
    long: _Part,
    short: _Part,
    shifts: Integers,
    many: int = TOO_MANY,
    sums: dict[_OfSum, _LightSum] | None = None,
) -> tuple[Array, Array]:
    """Per phase the shortest time (ms) of so many changes in a row, and when it begins.

    `shifts`: how many frames the long one starts before the short one. Times count from the short
    one's first frame. `sums` keeps what was added up, for those who look again for fewer changes.
    """
    spans, at_ms = np.full(shifts.size, inf), np.zeros(shifts.size)
    for measure in _measures(long, short, many):
        value = None if sums is None else sums.get(measure)
        if value is None:
            value = _LightSum(long, short, shifts, measure, keeps=sums is not None)
        if sums is not None:
            sums[measure] = value
        first = value[-_SECOND]
        # a counter's first change is one down; the other sees all upside down
        falling = Counter(first, first, measure.least, many)
        rising = Counter(-first, -first, measure.least, many)
        for frame in range(1 - _SECOND, short.frames + _SECOND):
            now, time_ms = value[frame], float(frame + _SECOND) * FRAME_MS
            falling.take(time_ms, now)
            rising.take(time_ms, -now)
        for found in (falling.closest(), rising.closest()):
            closer = found.span_ms < spans
            spans[closer] = found.span_ms[closer]
            at_ms[closer] = found.at_ms[closer] - _SECOND * FRAME_MS
    return spans, at_ms


def _full(long: _Part, short: _Part) -> float:
    return long.full + short.full or 1.0


class _LightSum:
    """A measure of the light of both, everything full being 1, at every phase, by the frame of the
    short one. Lights beside them stand still and take nothing away."""

    def __init__(
        self, long: _Part, short: _Part, shifts: Integers, measure: _OfSum, keeps: bool
    ) -> None:
        self._kept: dict[int, Array] | None = None
        """By frame, as far as there is room for them."""
        if keeps and shifts.size * (short.frames + 2 * _SECOND) <= MOST_KEPT:
            self._kept = {}
        self._measure, self._shifts = measure, shifts
        full = _full(long, short)
        self._short, of_long = (measure.of_part(one.rgb / full) for one in (short, long))
        # a light stands still for most of the time, so it has few values
        self._values, places = np.unique(of_long, axis=0, return_inverse=True)
        self._places = places.reshape(len(of_long))

    def __getitem__(self, frame: int) -> Array:
        if self._kept is None:
            return self._at(frame)
        if frame not in self._kept:
            self._kept[frame] = self._at(frame)
        return self._kept[frame]

    def _at(self, frame: int) -> Array:
        at = np.clip(self._shifts + frame, 0, len(self._places) - 1)
        own = self._short[min(max(frame, 0), len(self._short) - 1)]
        return self._measure.of_sum(self._values + own)[self._places[at]]


def _judged(long: _Part, short: _Part, shift: int, at_ms: float) -> Flashing | None:
    """What all lights together really flash about that time, as a rehearsal is judged."""
    around = np.arange(-2 * _SECOND, 3 * _SECOND) + int(at_ms // FRAME_MS)
    sources = {
        **_frames_of(_rest(long, short), around),
        **_frames_of(long.sources, around + shift),
        **_frames_of(short.sources, around),
    }
    ordered = {name: sources[name] for name in long.still}
    several = [one for one in flashing(around * FRAME_MS, ordered) if len(one.outputs) > 1]
    return max(several, key=lambda one: one.count, default=None)


def _joined(long: _Part, short: _Part, shift: int) -> _Part:
    """The two as one, at that phase."""
    first = min(0, shift)
    frames = np.arange(first, max(long.frames, short.frames + shift))
    sources = {**_frames_of(long.sources, frames), **_frames_of(short.sources, frames - shift)}
    starts = tuple((cue, at - first) for cue, at in _starts(long, short, shift))
    return _Part(sources, long.still, starts, _finds(long, short))


def _starts(long: _Part, short: _Part, shift: int) -> list[tuple[Cue, int]]:
    """When each cue of both starts, in the frames of the long one."""
    return [*long.starts, *((cue, at + shift) for cue, at in short.starts)]


def _finds(long: _Part, short: _Part) -> Entry:
    return Entry({**long.finds.lights, **short.finds.lights})


def _told(long: _Part, short: _Part, shift: int, found: Flashing) -> SideBySide:
    """In the order in which the cues start; times of what was found count from the first one's."""
    ordered = sorted(_starts(long, short, shift), key=lambda each: each[1])
    (first, begins), *others = ordered
    then, at = others[-1]
    late = (shift - begins) * FRAME_MS
    moved = replace(
        found,
        at_ms=found.at_ms + late,
        first_ms=found.first_ms + late,
        last_ms=found.last_ms + late,
    )
    also = tuple((cue, (start - begins) * FRAME_MS) for cue, start in others[:-1])
    return SideBySide(first, then, (at - begins) * FRAME_MS, moved, _finds(long, short), also)
