"""Light that flashes because a cue takes over from another or joins it.

Candidates are found by counting changes: those within any part of a second of the one cue, plus
those at the start of the other, plus one for the change-over, each from the state in which it
changes most; of each light, of all as one, and of every two that go up and down often enough
(beside a large light that moves, two small ones hardly count in the sum of all). Only where that
could make more than three flashes are the two rehearsed together; what is reported was seen in such
a rehearsal. Cues that run side by side are looked at in every phase (`sim.strain.side_by_side`).
What takes over: every cue with a button, the cue for a lost remote, the stop, standby right after
limp, and idle where the first cue ends by itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import combinations
from math import inf
from typing import Final

import numpy as np

from sim.arrays import Array
from sim.light.counting import TOO_MANY
from sim.light.flash import SECOND_MS, Flashing
from sim.model import Cue
from sim.rulebook import EFFECT_SOFT_MS, FRAME_MS
from sim.score.tree import duration_ms, outputs_used, parts_for_letting_go
from sim.strain.eye import Changing, Eye, Sight, TwoLights
from sim.strain.light_bound import together as turns_together
from sim.strain.light_states import STANDBY, STOP, Entry
from sim.strain.side_by_side import side_by_side

MOST_PAIRS: Final = 60
"""The most candidates that are rehearsed: those with the most changes (own limit)."""

MOST_INSTANTS: Final = 24
"""A pair is rehearsed at so many of the likely instants at most (own limit)."""

LATER_MS: Final = (FRAME_MS, 3 * FRAME_MS, 6 * FRAME_MS)
"""A cue takes over so long after the last of the changes that are packed most densely."""


@dataclass(frozen=True, slots=True)
class InterruptedFlash:
    """What flashes when `then` starts `after_ms` after `first`, which finds `finds`.

    `also`: what runs besides, and how long after `first` it starts.
    """

    first: Cue
    then: Cue
    after_ms: int
    found: Flashing
    finds: Entry
    also: tuple[tuple[Cue, int], ...] = ()


@dataclass(frozen=True)
class _Seen:
    """A cue's changes, of each kind and output from the state in which it makes most of them."""

    cue: Cue
    changes: Changing
    finds: dict[tuple[str, str | TwoLights], Entry]
    sights: tuple[Sight, ...] = ()

    @cached_property
    def used(self) -> frozenset[str]:
        """Outputs that the cue drives."""
        return outputs_used(self.cue.body)

    @cached_property
    def in_a_second(self) -> dict[tuple[str, str | TwoLights], int]:
        """The most changes within any second; asked when no more are taken in."""
        return {key: _densest(at_ms, SECOND_MS) for key, at_ms in self.changes.items()}

    @cached_property
    def ways(self) -> dict[str, int]:
        """In how many ways up or down each light goes within any second, at most."""
        names = {name for sight in self.sights for name in sight.ways}
        return {name: max(sight.ways[name] for sight in self.sights) for name in names}

    def take_in(self, entry: Entry, changes: Changing) -> None:
        """Keep the changes from a state, of each kind and output where there are the most."""
        for key, at_ms in changes.items():
            if at_ms.size > self.changes.get(key, np.zeros(0)).size:
                self.changes[key] = at_ms
                self.finds[key] = entry


def interruptions(eye: Eye, cues: tuple[Cue, ...]) -> Iterator[InterruptedFlash]:
    """What flashes when something takes over from one of `cues` or joins it; each taker once.

    `cues`: those that can come about. A cue that flashes by itself is left out.
    """
    named: set[str] = set()
    for one in side_by_side(eye, cues, partial(_starts_any_time, eye), named):
        yield InterruptedFlash(one.first, one.then, one.after_ms, one.found, one.finds, one.also)
    seen = _restless(eye, cues)
    pairs = [
        (a, b)
        for a in seen
        for b in seen
        if a.used & b.used and _at_most(a, b) >= TOO_MANY and _can_follow(eye, a.cue, b.cue)
    ]
    ranked = sorted(((_most(*pair), n) for n, pair in enumerate(pairs)), reverse=True)
    for most, n in ranked[:MOST_PAIRS]:
        first, then = pairs[n]
        if eye.is_tired:
            return
        if most < TOO_MANY or then.cue.name in named:
            continue
        found = _confirmed(eye, first, then)
        if found is not None:
            named.add(then.cue.name)
            yield found


def _can_follow(eye: Eye, first: Cue, then: Cue) -> bool:
    """Whether `then` can start while `first` runs, or right after it."""
    if first.name in (STOP, STANDBY):
        return False
    return _starts_any_time(eye, then, first) or _idles_after(eye, first, then)


def _starts_any_time(eye: Eye, cue: Cue, beside: Cue) -> bool:
    """Whether a button, or a lost remote, starts the cue; idle may have a button as well,
    and goes on all the time on what others leave it.

    A button that is let go starts a part for letting go.
    """
    score = eye.show.score
    if cue.name in score.idle and _beside(beside, cue):
        return True
    started = {STOP, STANDBY, *score.unasked, *(binding.cue for binding in score.bindings)}
    part_of = parts_for_letting_go(score).get(cue.name)
    return cue.name in started or (part_of is not None and part_of.name in started)


def _idles_after(eye: Eye, first: Cue, then: Cue) -> bool:
    is_idle = then.name in eye.show.score.idle
    return is_idle and first.name != then.name and duration_ms(first.body) < inf


def _restless(eye: Eye, cues: tuple[Cue, ...]) -> list[_Seen]:
    """Cues whose changes could be part of a second with too many, rehearsed; the stop among them.

    One of two cues must bring half of the changes; the other needs to be rehearsed only if it could
    make up the rest. The one more is the change from the light that is cut to the one that begins.
    """
    half = TOO_MANY / 2.0
    able = [(cue, eye.bound.of(cue)) for cue in cues]
    seen = [_seen(eye, cue) for cue, most in able if most >= half]
    if not any(one.changes for one in seen):
        return []
    ended = eye.states.stop(), eye.states.standby()
    pairs = _pairs(eye, seen, (*cues, *ended))
    _take_in_pairs(seen, pairs)
    others = [*(cue for cue, most in able if most < half), *ended]
    added = [_seen(eye, cue) for cue in others if _could_add(eye, cue, seen)]
    _take_in_pairs(added, pairs)
    return [one for one in (*seen, *added) if one.changes]


def _pairs(eye: Eye, seen: list[_Seen], cues: tuple[Cue, ...]) -> list[TwoLights]:
    """Every two lights whose sum could turn often enough; of only two, that is the sum of all.

    One of two cues has to bring half of the changes; what the other one changes may be another
    light.
    """
    lights = sorted(n for n in eye.names if any(eye.bound.of_light(cue, n) for cue in cues))
    return [
        (a, b)
        for a, b in combinations(lights if len(lights) > 2 else (), 2)
        if any(
            turns_together(one.ways.get(a, 0) + one.ways.get(b, 0)) >= TOO_MANY / 2.0
            for one in seen
        )
    ]


def _take_in_pairs(seen: list[_Seen], pairs: list[TwoLights]) -> None:
    for one in seen:
        for pair in pairs:
            if any(one.ways.get(name) for name in pair):
                for sight in one.sights:
                    one.take_in(sight.entry, sight.changes_of_two(pair))


def _could_add(eye: Eye, cue: Cue, seen: list[_Seen]) -> bool:
    """Whether a cue of few changes could make up the rest of too many, beside or after another."""
    for one in seen:
        for (_, name), at_ms in one.changes.items():
            own = _own(eye, cue, name)
            if own and _densest(at_ms, SECOND_MS) + own + 1 >= TOO_MANY:
                return True
    return False


def _own(eye: Eye, cue: Cue, name: str | TwoLights) -> float:
    """The most changes within any second of a cue, of a light, of two, or of all."""
    if isinstance(name, tuple):
        return eye.bound.weighted(cue, dict.fromkeys(name, 1.0))
    return eye.bound.of_light(cue, name) if name else eye.bound.of(cue)


def _seen(eye: Eye, cue: Cue) -> _Seen:
    if eye.flashes(cue):
        return _Seen(cue, {}, {})  # a finding of its own
    seen = _Seen(cue, {}, {}, eye.sights(cue))
    for sight in seen.sights:
        seen.take_in(sight.entry, sight.changes)
    return seen


def _at_most(first: _Seen, then: _Seen) -> int:
    """No fewer than `_most`: the busiest second of the one with that of the other, and one more."""
    own, others = first.in_a_second, then.in_a_second
    return 1 + max(
        (own.get(k, 0) + others.get(k, 0) for k in own.keys() | others.keys()), default=0
    )


def _most(first: _Seen, then: _Seen) -> int:
    """The most changes a second could hold when `then` follows `first`."""
    worst = 0
    for key in first.changes.keys() | then.changes.keys():
        before = first.changes.get(key, np.zeros(0))
        after = then.changes.get(key, np.zeros(0))
        starts = after[(after >= 0.0) & (after <= SECOND_MS)]
        for number, at in enumerate(starts, start=1):
            # one change more, from the light that is cut to the one that begins; what the first
            # has laid goes on for a little
            lasts = min(SECOND_MS - at + EFFECT_SOFT_MS, SECOND_MS)
            worst = max(worst, number + 1 + _densest(before, lasts))
    return worst


def _beside(first: Cue, then: Cue) -> bool:
    """Whether the two can run at the same time."""
    return not outputs_used(first.body) & outputs_used(then.body)


def _densest(at_ms: Array, window_ms: float) -> int:
    """The most changes within any window of that length."""
    if not at_ms.size:
        return 0
    ends = np.searchsorted(at_ms, at_ms + window_ms, side="right")
    return int((ends - np.arange(at_ms.size)).max())


def _confirmed(eye: Eye, first: _Seen, then: _Seen) -> InterruptedFlash | None:
    """What a rehearsal at one of the likely instants really shows."""
    entries = list({id(entry): entry for entry in first.finds.values()}.values())
    for entry in entries or [eye.states.entries(first.cue)[0]]:
        for after_ms in _instants(eye, first, then):
            sight = eye.watch(first.cue, entry, then.cue, after_ms)
            if sight.flashing:
                return InterruptedFlash(first.cue, then.cue, after_ms, sight.flashing[0], entry)
    return None


def _enough(first: _Seen, then: _Seen, key: tuple[str, str | TwoLights]) -> bool:
    """Whether busiest seconds of the two and the cut make too many changes of that light."""
    return first.in_a_second.get(key, 0) + then.in_a_second.get(key, 0) + 1 >= TOO_MANY


def _instants(eye: Eye, first: _Seen, then: _Seen) -> list[int]:
    end = [int(duration_ms(first.cue.body))] if _idles_after(eye, first.cue, then.cue) else []
    if not _starts_any_time(eye, then.cue, first.cue):
        return end
    instants: set[int] = set()
    for key, at_ms in first.changes.items():
        after = then.changes.get(key, np.zeros(0))
        if isinstance(key[1], tuple) and not _enough(first, then, key):
            continue  # there are many pairs: their instants would crowd out better ones
        heads = after[(after >= 0.0) & (after < SECOND_MS)].tolist()
        for window in {SECOND_MS / 2.0, *(SECOND_MS - head - 2 * FRAME_MS for head in heads)}:
            ends = np.searchsorted(at_ms, at_ms + window, side="right")
            densest = int(np.argmax(ends - np.arange(at_ms.size)))
            last = float(at_ms[int(ends[densest]) - 1])
            instants |= {max(0, int(last) + later) for later in LATER_MS}
    likely = sorted(instants)
    return [*end, *likely[:: len(likely) // MOST_INSTANTS + 1]]
