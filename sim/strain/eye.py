"""The light of a cue as the eye gets it: rehearsed from every state it can find, and judged.

Servos are left out: they do not shine, and a rehearsal without them is quick. A cue that the bound
of `sim.strain.light_bound` clears is not rehearsed. The others are run from each state in which the
show can leave their lights (`sim.strain.light_states`), frame by frame, once as written and once
held. An effect fast enough to flash is judged over its whole pattern as well, group of pixels by
group of pixels, at each light that it lies on (`sim.light.patterns`).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import groupby
from math import inf
from typing import Final, TypeAlias

import numpy as np

from sim.arrays import Array
from sim.light.area import least_group
from sim.light.counting import TOO_MANY
from sim.light.effects import MOVING
from sim.light.flash import (
    PASSING_EFFECT_MS,
    SECOND_MS,
    Flashing,
    LightSource,
    flashing,
    general_changes,
    most_ways,
    red_changes,
    together,
)
from sim.light.lightness import srgb_to_linear
from sim.light.patterns import FastPattern, Lit, fast_pattern, further_looks, looks
from sim.light.sequences import STROBE_S, Row, longest_row
from sim.model import (
    Cue,
    Effect,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Move,
    Press,
    Score,
    Show,
    Step,
    Strip,
    Together,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.rehearsal.trajectories import Fading, Modulation, Trajectories
from sim.rulebook import FRAME_MS
from sim.score.tree import (
    OneStep,
    acts,
    duration_ms,
    outputs_used,
    swapped,
)
from sim.strain.drawn_light import MayFlash, draws_something, may_flash
from sim.strain.light_bound import WINDOW_MS, LightBound
from sim.strain.light_sources import joined, light_sources, luminances
from sim.strain.light_states import Entry, Light, LightStates, dark_of
from sim.strain.watched import carried_out, may_go_on, may_last, watched_ms

LEAD_MS: Final = 1000
"""What the cue finds shines this long before it starts, so that the first change counts."""

PRESSED_MS: Final = 3_000
"""A button is pressed again and again for so long (own limit)."""

CHUNK: Final = 600
"""Frames sampled at a time: a strip takes 48 bytes a pixel and frame."""

SLOWEST_MS: Final = 4_000
"""No longer duration or period is tried as a suggestion (own limit)."""

MOST_FRAMES: Final = 300_000
"""Frames for which all cues of a show are watched by themselves: 100 minutes (own limit)."""

MOST_STATEMENTS: Final = 100_000
"""Statements that are carried out meanwhile (own limit)."""

MOST_LOOKS: Final = 450_000
"""Looks at the patterns of effects (`sim.light.patterns.looks`) of all cues (own limit): about 40
of the fastest `run` on 100 white pixels."""

MOST_PIXELS: Final = 30_000_000
"""Pixels that are worked out in the frames of all cues (own limit): 100 for all the frames. A strip
whose pixels differ has all of its own in each frame, any other light is one."""

PATIENCE: Final = 2
"""So many times that much is watched in all. Then nothing more is looked for: no further pair of
cues, no number that would pass (own limit)."""

_ENTRY: Final = "\0"
"""Name of the cue that brings about what another one finds; no text can hold it."""


TwoLights: TypeAlias = tuple[str, str]

Changing: TypeAlias = dict[tuple[str, str | TwoLights], Array]
"""The instants (ms) of a cue's changes, per kind and output (two: both as one; "": all that change
as one)."""


@dataclass(frozen=True)
class Sight:
    """One rehearsal. `times_ms` count from the cue's start, `start_ms` after power-up.

    Of `run`, the cue, only the lights count: a move in it is a pause. `pixels` are those of all
    lights that were worked out in each frame.
    """

    run: Cue
    entry: Entry
    times_ms: Array
    sources: dict[str, LightSource]
    trajectories: Trajectories
    start_ms: float
    pixels: int

    @cached_property
    def flashing(self) -> tuple[Flashing, ...]:
        return flashing(self.times_ms, self.sources)

    @cached_property
    def changes(self) -> Changing:
        """The changes of each kind that count towards a flash, of each light and of all that
        change."""
        found: Changing = {}
        moving = {name: one for name, one in self.sources.items() if self.ways[name]}
        whole = {"": together(moving)} if moving and len(self.sources) > 1 else {}
        own = {name: (source.luminance, source.rgb) for name, source in self.sources.items()}
        for name, (luminance, rgb) in {**own, **whole}.items():
            found |= self._changing(name, luminance, rgb)
        return found

    @cached_property
    def ways(self) -> dict[str, int]:
        """In how many ways up or down each light goes within any second."""
        return {name: most_ways(one.rgb) for name, one in self.sources.items()}

    def changes_of_two(self, lights: TwoLights) -> Changing:
        """The changes of two lights as one, as in `changes`."""
        return self._changing(lights, *together({name: self.sources[name] for name in lights}))

    def _changing(self, name: str | TwoLights, luminance: Array, rgb: Array) -> Changing:
        by_kind = {
            "general": general_changes(self.times_ms, luminance).at_ms,
            "red": red_changes(self.times_ms, rgb).at_ms,
        }
        return {(kind, name): at_ms for kind, at_ms in by_kind.items() if at_ms.size}


Cast: TypeAlias = "tuple[Cue, ...]"
"""Cues that are rehearsed, with the light of each alone."""

Circumstances: TypeAlias = "tuple[bool, tuple[tuple[str, Light], ...], tuple[Press, ...], int]"
"""What a rehearsal depends on besides: what its cues find (and whether out of darkness), presses,
and how long it goes on (ms)."""

Rehearsals: TypeAlias = "dict[Cast, dict[Circumstances, Sight]]"


@dataclass(frozen=True, slots=True)
class Flash:
    """More than three flashes within a second of a cue.

    `found`: which lights, how often and when. `finds`: what the cue then finds, where that matters.
    `effect`: whose pattern it is, and `pixels` the group that flashes, first and last (from 1).
    """

    found: Flashing
    finds: Entry | None = None
    effect: Effect | None = None
    pixels: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class LongRow:
    """A row of flashes longer than guidance for events has it."""

    outputs: tuple[str, ...]
    row: Row


@dataclass(frozen=True, slots=True)
class Laid:
    """An effect on one of the lights it lies on: from `begins_ms` after the cue's start."""

    output: str
    effect: Effect
    lit: Lit
    lasts_ms: float
    begins_ms: float


class Eye:
    """Looks at the lights of a show; each cue is rehearsed once.

    `before`: an eye that has looked at an earlier version of the show. What it has rehearsed with
    the same lights is not rehearsed again.
    """

    def __init__(self, show: Show, written: Show | None = None, before: Eye | None = None) -> None:
        """`written`: the show as it was written, where it draws something and `show` has that
        written out."""
        lights = tuple(o for o in show.rig.outputs if isinstance(o, Lamp | Strip))
        self.show = replace(show, rig=replace(show.rig, outputs=lights, inputs=(), shines=()))
        """The show with its lights alone."""
        self.names = frozenset(output.name for output in lights)
        self.states = LightStates(show)
        self._written = {cue.name: cue for cue in (written or show).score.cues}
        draws = {name: cue.body for name, cue in self._written.items() if draws_something(cue)}
        self.bound = LightBound(self.show, draws)
        same = before is not None and before.show.rig == self.show.rig
        self._earlier: Rehearsals = before._rehearsals if before is not None and same else {}
        self._rehearsals: Rehearsals = {}
        self._seen: dict[str, tuple[Sight, ...]] = {}
        self._found: dict[str, tuple[Flash, ...]] = {}
        self._frames = 0
        self._statements = 0
        self._pixels = 0
        self._looks = 0

    @property
    def is_tired(self) -> bool:
        """Whether so much has been watched that nothing more is looked for."""
        return (
            self._frames > PATIENCE * MOST_FRAMES
            or self._statements > PATIENCE * MOST_STATEMENTS
            or self._pixels > PATIENCE * MOST_PIXELS
            or self._looks > PATIENCE * MOST_LOOKS
        )

    def effort(self, cue: Cue) -> tuple[int, int]:
        """How many frames of a cue are watched, and about how many statements it then makes.

        Of a cue that cannot flash nothing is watched.
        """
        if self.bound.cannot_flash(cue) and not self.may_make_row(cue):
            return 0, 0
        entries = len(self.states.entries(cue))
        runs = [(run, watched_ms(run)) for run in self.states.runs(cue)]
        frames = sum(span_ms // FRAME_MS for _, span_ms in runs)
        return entries * frames, entries * sum(carried_out(*each) for each in runs)

    def pixels(self, cue: Cue) -> int:
        """How many pixels are worked out in all frames of a cue that are watched."""
        frames, _ = self.effort(cue)
        return frames * _pixels(_with_few_pixels(replace(self.show, score=Score("", (cue,)))))

    def looks(self, cue: Cue) -> int:
        """With how many looks a cue's patterns are begun: it is rehearsed for that."""
        return looks(self._patterns_of(cue))

    def further_looks(self, cue: Cue) -> int:
        """How many more they take: so many beats are looked at that do not flash at first."""
        return further_looks(self._patterns_of(cue))

    def _patterns_of(self, cue: Cue) -> Iterator[tuple[Effect, Lit, float]]:
        """Each effect that a cue lays, on what, and for how long at most."""
        if not self.bound.cannot_flash(cue):
            for sight in self.sights(cue):
                yield from ((one.effect, one.lit, one.lasts_ms) for one in self._laid(sight))

    # -- judging a cue --------------------------------------------------------------------------

    def flashes(self, cue: Cue) -> tuple[Flash, ...]:
        """What flashes more than three times in a second of the cue, whatever it finds."""
        if cue.name not in self._found:
            calm = self.bound.cannot_flash(cue)
            self._found[cue.name] = () if calm else self._judged(self.sights(cue))
        return self._found[cue.name]

    def flashes_as(self, cue: Cue) -> tuple[Flash, ...]:
        """The same for a cue that the show does not have in this form."""
        return self._judged(self._sights(cue))

    def may_flash(self, cue: Cue) -> tuple[MayFlash, ...]:
        """What may flash in a cue of the show by what it draws, seen or not."""
        return may_flash(self.show, cue, self._written[cue.name], self.bound, self.states)

    def may_flash_as(self, cue: Cue, change: Callable[[Step], Step]) -> tuple[MayFlash, ...]:
        """The same with `change` applied to every step without steps inside it."""
        written = self._written[cue.name]
        slow = replace(cue, body=swapped(cue.body, change))
        as_written = replace(written, body=swapped(written.body, change))
        bound = LightBound(self.show, {cue.name: as_written.body})
        return may_flash(self.show, slow, as_written, bound, self.states)

    def may_make_row(self, cue: Cue) -> bool:
        """Whether the cue changes often and long enough for a row of flashes that is too long.

        Three changes that follow one another in a row lie within half a second (`NEXT_FLASH_MS`),
        so as long as a row goes on each second of it holds four.
        """
        if not may_last(cue, self.states.runs(cue)):
            return False
        return self.bound.longest_ms(cue, TOO_MANY / 2) > 1000 * STROBE_S - WINDOW_MS

    def long_rows(self, cue: Cue) -> tuple[LongRow, ...]:
        """Rows of flashes, none of them too fast, that go on for too long."""
        if not self.may_make_row(cue):
            return ()
        worst: dict[tuple[str, ...], Row] = {}
        for sight in self.sights(cue):
            stays = duration_ms(sight.run.body) == inf or may_go_on(cue)
            until = float(sight.times_ms[-1]) if stays else inf
            for outputs, luminance in luminances(sight.sources).items():
                changes = general_changes(sight.times_ms, luminance).at_ms
                row = longest_row(changes, until)
                known = worst.get(outputs)
                if row and row.lasts_s > STROBE_S and (not known or row.lasts_s > known.lasts_s):
                    worst[outputs] = row
        alone = [outputs for outputs in worst if len(outputs) == 1]
        return tuple(LongRow(o, row) for o, row in worst.items() if o in alone or not alone)

    def sights(self, cue: Cue) -> tuple[Sight, ...]:
        """A cue of the show rehearsed from every state it can find."""
        if cue.name not in self._seen:
            self._seen[cue.name] = self._sights(cue)
        return self._seen[cue.name]

    def _sights(self, cue: Cue) -> tuple[Sight, ...]:
        entries = self.states.entries(cue)
        return tuple(self.watch(run, entry) for run in self.states.runs(cue) for entry in entries)

    def _judged(self, sights: tuple[Sight, ...]) -> tuple[Flash, ...]:
        worst: dict[tuple[str, tuple[str, ...]], Flash] = {}
        for n, sight in enumerate(sights):
            frames = [Flash(one, sight.entry if n else None) for one in sight.flashing]
            for flash in (*frames, *self._patterns(sight)):
                key = flash.found.kind, flash.found.outputs
                known = worst.get(key)
                if known is None or (known.finds and flash.found.count > known.found.count):
                    worst[key] = flash
        return tuple(worst.values())

    # -- patterns of effects --------------------------------------------------------------------

    def _patterns(self, sight: Sight) -> Iterator[Flash]:
        """What flashes of the effects that the cue lays, each on every light that it lies on."""
        laid = tuple(self._laid(sight))
        asked = [(one.effect, one.lit, one.lasts_ms) for one in laid]
        self._looks += looks(asked) + further_looks(asked)
        for one in laid:
            for fast in fast_pattern(one.effect, one.lit, one.lasts_ms):
                yield _flash(one, fast)

    def _laid(self, sight: Sight) -> Iterator[Laid]:
        """The effects that the cue lays, on every light that each lies on."""
        for name, pieces in sight.trajectories.effects.items():
            fadings = sight.trajectories.lights[name]
            starts = [fading.start_ms for fading in fadings]
            longest: dict[tuple[Effect, tuple[float, ...]], tuple[float, float]] = {}
            for piece, effect, until in self._stays(sight, name, pieces):
                first = max(0, bisect_right(starts, piece.start_ms) - 1)
                under = fadings[first : bisect_left(starts, until) + 1]
                for levels, ends in _lights_under(under, piece.start_ms, until):
                    known, _ = longest.get((effect, levels), (0.0, 0.0))
                    lasts = ends - piece.start_ms
                    if lasts > known:
                        longest[effect, levels] = lasts, piece.start_ms
            for (effect, levels), (lasts, start) in longest.items():
                lit = self._lit(name, levels)
                yield Laid(name, effect, lit, lasts, start - sight.start_ms)

    def _stays(
        self, sight: Sight, name: str, pieces: Sequence[Modulation]
    ) -> Iterator[tuple[Modulation, Effect, float]]:
        """Each effect that the cue lays on a light: its piece, itself, and until when it stays.

        An effect that is stated again while it goes over is one with itself: it keeps its start,
        and makes two more pieces. Told apart, all of them would be looked at from the first one's
        start.
        """
        ends = [*(piece.shown_ms for piece in pieces[1:]), self._stays_until(sight, name)]
        laid = [
            (piece, until)
            for piece, until in zip(pieces, ends, strict=True)
            if piece.start_ms >= sight.start_ms - FRAME_MS
        ]
        for _, going_on in groupby(laid, lambda one: (one[0].start_ms, one[0].effect)):
            stated = list(going_on)
            piece, _ = stated[0]
            if piece.effect is not None:
                yield piece, piece.effect, max(until for _, until in stated)

    def _stays_until(self, sight: Sight, name: str) -> float:
        """Until when an effect stays on that its cue leaves on, on the rehearsal's clock.

        A strand of idle takes it off when the cue ends.
        """
        score = self.show.score
        strands = [cue for cue in score.cues if cue.name in score.idle]
        if sight.run.name in score.idle:
            return inf
        if not any(name in outputs_used(strand.body) for strand in strands):
            return inf
        return sight.start_ms + duration_ms(sight.run.body)

    def _lit(self, name: str, levels: tuple[float, ...]) -> Lit:
        light = self.states.lights[name]
        if isinstance(light, Lamp):
            red, green, blue = srgb_to_linear(np.array(light.colour) / 255.0).tolist()
            return Lit(levels, colour=(red, green, blue), trims=light.trims)
        least = least_group(light.pitch_m, self.show.rig.wearer.viewing_m, light.pixels)
        return Lit(
            *(levels, light.pixels, least),
            cap_a=light.cap_a,
            channel_a=light.channel_a,
            trims=light.trims,
        )

    # -- rehearsing -----------------------------------------------------------------------------

    def watch(
        self,
        cue: Cue,
        entry: Entry,
        then: Cue | None = None,
        after_ms: int = 0,
        longest_ms: float = SECOND_MS,
    ) -> Sight:
        """A run of any cue; `then` is started `after_ms` after it, whatever that does to it.

        What comes of that is watched for `longest_ms` and a second.
        """
        presses = [Press(0, cue=_ENTRY), Press(LEAD_MS, cue=cue.name)]
        length = LEAD_MS + watched_ms(cue) + int(SECOND_MS)
        if then is not None:
            presses.append(Press(LEAD_MS + after_ms, cue=then.name))
            length = LEAD_MS + after_ms + min(watched_ms(then), int(longest_ms)) + int(SECOND_MS)
        return self._rehearsed(entry, (cue,) if then is None else (cue, then), presses, length)

    def watch_pressed(self, cues: tuple[Cue, ...], every_ms: int) -> Sight:
        """The cues' buttons, pressed in turn every `every_ms` for `PRESSED_MS`.

        The first cue finds its lights at their brightest.
        """
        entries = self.states.entries(cues[0])
        presses = [Press(0, cue=_ENTRY)]
        for n, at in enumerate(range(0, PRESSED_MS, every_ms)):
            presses.append(Press(LEAD_MS + at, cue=cues[n % len(cues)].name))
        entry = entries[min(1, len(entries) - 1)]
        return self._rehearsed(entry, cues, presses, LEAD_MS + PRESSED_MS, as_written=True)

    def _rehearsed(
        self,
        entry: Entry,
        cues: tuple[Cue, ...],
        presses: list[Press],
        length: int,
        as_written: bool = False,
    ) -> Sight:
        cast = tuple({c.name: _lights_alone(c, as_written) for c in cues}.values())
        asked = entry.from_dark, tuple(entry.lights.items()), tuple(presses), length
        of_cast = self._rehearsals.setdefault(cast, {})
        sight = of_cast.get(asked) or self._earlier.get(cast, {}).get(asked)
        if sight is None:
            sight = self._watched(cast, entry, presses, length)
        of_cast[asked] = sight
        self._frames += sight.times_ms.size
        self._pixels += sight.times_ms.size * sight.pixels
        shown = sight.trajectories
        self._statements += sum(map(len, (*shown.lights.values(), *shown.effects.values())))
        return sight

    def _watched(
        self, cast: tuple[Cue, ...], entry: Entry, presses: list[Press], length: int
    ) -> Sight:
        show = _with_few_pixels(replace(self.show, score=Score("", (_bringing(entry), *cast))))
        trajectories = rehearse(show, presses, length)
        times = np.arange(0.0, length, FRAME_MS)
        parts = [
            light_sources(self.show, sample(trajectories, times[at : at + CHUNK]))
            for at in range(0, times.size, CHUNK)
        ]
        sources = {name: joined([part[name] for part in parts]) for name in parts[0]}
        return Sight(cast[0], entry, times - LEAD_MS, sources, trajectories, LEAD_MS, _pixels(show))


def _bringing(entry: Entry) -> Cue:
    """A cue that brings its lights to what another one shall find, and keeps them there."""
    fades = _all_to(entry.lights)
    wait = Hold(LEAD_MS + 10 * FRAME_MS)
    if not entry.from_dark:
        return Cue(_ENTRY, "", InTurn((fades, wait)))
    # a rehearsal begins ready, with every light safe already
    dark = {name: dark_of(light) for name, light in entry.lights.items()}
    return Cue(_ENTRY, "", InTurn((_all_to(dark), Hold(LEAD_MS - FRAME_MS), fades, wait)))


def _all_to(lights: Mapping[str, Light]) -> Together:
    return Together(tuple(Fade(name, light, 0) for name, light in lights.items()))


def _lights_alone(cue: Cue, as_written: bool) -> Cue:
    """The cue with a pause for each move, so that it is unrolled quickly."""
    body = _still(OneStep(cue.body))
    return replace(cue, body=body, conflict=cue.conflict if as_written else "take")


@lru_cache(maxsize=256)
def _still(root: OneStep) -> Step:
    def still(step: Step) -> Step:
        return Hold(step.duration_ms) if isinstance(step, Move) else step

    return swapped(root.step, still)


def _with_few_pixels(show: Show) -> Show:
    """The show with one pixel in place of those strips whose pixels are all alike."""
    moving = {
        act.output
        for cue in show.score.cues
        for act in acts(cue.body)
        if isinstance(act, Effect) and act.name in MOVING
    }
    outputs = tuple(
        replace(o, pixels=1, cap_a=None if o.cap_a is None else o.cap_a / o.pixels)
        if isinstance(o, Strip) and o.name not in moving
        else o
        for o in show.rig.outputs
    )
    return replace(show, rig=replace(show.rig, outputs=outputs))


def _pixels(show: Show) -> int:
    """Pixels of all lights of a show; a lamp is one."""
    return sum(o.pixels if isinstance(o, Strip) else 1 for o in show.rig.outputs)


def _lights_under(
    fadings: tuple[Fading, ...], start_ms: float, until_ms: float
) -> list[tuple[tuple[float, ...], float]]:
    """The lights an effect lies on between two times, each with when it is there last.

    Of a fade both ends are taken, as if each stood still until the fade's end.
    """
    last: dict[tuple[float, ...], float] = {}
    for n, fading in enumerate(fadings):
        ends = fadings[n + 1].start_ms if n + 1 < len(fadings) else inf
        if ends <= start_ms or fading.start_ms >= until_ms:
            continue
        arrives = min(fading.end_ms, ends)
        if arrives > start_ms:
            last[fading.origin] = max(last.get(fading.origin, 0.0), min(arrives, until_ms))
        if arrives == fading.end_ms:
            last[fading.target] = max(last.get(fading.target, 0.0), min(ends, until_ms))
    return [(levels, ends) for levels, ends in last.items() if any(levels)]


def _flash(laid: Laid, fast: FastPattern) -> Flash:
    at = laid.begins_ms + fast.at_ms
    found = Flashing(fast.kind, (laid.output,), fast.count, at, at, at + fast.span_ms)
    first, last = fast.pixels
    group = (first + 1, last) if last - first < laid.lit.pixels else None
    return Flash(found, None, laid.effect, group)


# -- what would pass ------------------------------------------------------------------------------


def least_passing_ms(now_ms: int, passes: Callable[[int], bool], regular: bool) -> int | None:
    """The least number of milliseconds over `now_ms` that passes; None: none that is sensible.

    `regular`: what passes at one number passes at every greater one, as far as is known. The
    pattern of an effect is not: only periods that pass for a reason are tried, and doublings.
    """
    known = set() if regular else set(PASSING_EFFECT_MS.values())
    doubled = {now_ms * factor for factor in (2, 4, 8, 16)}
    trials = (t for t in sorted(known | doubled) if now_ms < t <= SLOWEST_MS)
    high = next((t for t in trials if passes(t)), None)
    if high is None or not regular:
        return high
    low = now_ms
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if passes(middle) else (middle, high)
    return high
