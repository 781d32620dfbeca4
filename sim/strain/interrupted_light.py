"""Light that flashes because a cue takes over from another, joins it, or is started again.

Candidates are found by counting changes: those within any part of a second of the one cue, plus
those at the start of the other, plus one for the change-over. Only where that could make more than
three flashes are the two rehearsed together; what is reported was seen in such a rehearsal.

Not covered: several buttons pressed in turn several times a second.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np

from sim.light.flash import (
    SECOND_MS,
    Array,
    Flashing,
    flashing,
    general_changes,
    red_changes,
    together,
)
from sim.model import Cue, Effect, Fade
from sim.score.tree import outputs_used, timeline
from sim.strain.eye import TOO_MANY, Eye, most_changes

MOST_PAIRS: Final = 60
"""Of more candidates those with the most changes are rehearsed (own limit)."""

OFFSETS_MS: Final = (0, 240, 500, 740)
"""Two cues that run beside each other are started so far apart."""

PRESSES_MS: Final = (120, 180, 240)
"""A quick finger's presses are so far apart: four to eight a second (common practice, no source).
Fewer than four a second cannot make more than three flashes by themselves."""

Changing: TypeAlias = dict[tuple[str, str], Array]
"""The instants (ms) of a cue's changes, per kind and output ("": all together)."""


@dataclass(frozen=True, slots=True)
class Interruption:
    """What flashes when `then` starts `after_ms` after `first`."""

    first: Cue
    then: Cue
    after_ms: int
    found: Flashing


@dataclass(frozen=True, slots=True)
class Hurry:
    """What flashes while the cue's button is pressed every `every_ms`."""

    cue: Cue
    every_ms: int
    found: Flashing


@dataclass(frozen=True, slots=True)
class _Seen:
    cue: Cue
    changes: Changing


def interruptions(eye: Eye, cues: tuple[Cue, ...]) -> Iterator[Interruption]:
    """The cues that flash when they take over from one of `cues` or join it; each named once.

    `cues`: those that can come about. Only bound ones interrupt. A cue that flashes by itself is
    left out.
    """
    bound = {binding.cue for binding in eye.show.score.bindings}
    seen = _restless(eye, cues)
    pairs = [(a, b) for a in seen for b in seen if b.cue.name in bound]
    ranked = sorted(((_most(eye, *pair), n) for n, pair in enumerate(pairs)), reverse=True)
    named: set[str] = set()
    for most, n in ranked[:MOST_PAIRS]:
        first, then = pairs[n]
        if most < TOO_MANY or then.cue.name in named:
            continue
        found = _confirmed(eye, first, then)
        if found is not None:
            named.add(then.cue.name)
            yield found


def hurry(eye: Eye, cue: Cue) -> Hurry | None:
    """What flashes under a quick finger on the cue's button, if the cue does not by itself."""
    if not _changes_at_once(cue) or any(flashing(*eye.watched(cue))):
        return None
    for every_ms in PRESSES_MS:
        for found in flashing(*eye.watch_pressed(cue, every_ms)):
            return Hurry(cue, every_ms, found)
    return None


def _changes_at_once(cue: Cue) -> bool:
    """Whether a restart could change a light there and back before the next press."""
    fades: list[str] = []
    for start, step in timeline(cue.body):
        if start > PRESSES_MS[-1]:
            continue
        if isinstance(step, Effect) and step.name != "steady":
            return True
        if isinstance(step, Fade):
            fades.append(step.output)
    return len(fades) > len(set(fades))


def _restless(eye: Eye, cues: tuple[Cue, ...]) -> list[_Seen]:
    """Cues whose changes could be part of a second with too many, rehearsed.

    One of two cues must bring half of the changes; the other needs to be rehearsed only if it could
    make up the rest. The one more is the change from the light that is cut to the one that begins.
    """
    half = TOO_MANY / 2.0
    able = [(cue, most_changes(cue)) for cue in cues]
    seen = [_seen(eye, cue) for cue, most in able if most >= half]
    busiest = max(
        (_densest(at, SECOND_MS) for one in seen for at in one.changes.values()), default=0
    )
    seen += [
        _seen(eye, cue) for cue, most in able if most < half and most + busiest + 1 >= TOO_MANY
    ]
    return [one for one in seen if one.changes]


def _seen(eye: Eye, cue: Cue) -> _Seen:
    times, sources = eye.watched(cue)
    if any(flashing(times, sources)):
        return _Seen(cue, {})  # a finding of its own
    changes: Changing = {}
    whole = {"": together(sources)} if len(sources) > 1 else {}
    own = {name: (source.luminance, source.rgb) for name, source in sources.items()}
    for name, (luminance, rgb) in {**own, **whole}.items():
        for kind, found in (
            ("general", general_changes(times, luminance).at_ms),
            ("red", red_changes(times, rgb).at_ms),
        ):
            if found.size:
                changes[kind, name] = found
    return _Seen(cue, changes)


def _most(eye: Eye, first: _Seen, then: _Seen) -> int:
    """The most changes a second could hold when `then` follows or joins `first`, from above."""
    worst = 0
    for key in first.changes.keys() | then.changes.keys():
        before = first.changes.get(key, np.zeros(0))
        after = then.changes.get(key, np.zeros(0))
        if _beside(eye, first.cue, then.cue):
            worst = max(worst, _densest(before, SECOND_MS) + _densest(after, SECOND_MS))
            continue
        starts = after[(after >= 0.0) & (after <= SECOND_MS)]
        for number, at in enumerate(starts, start=1):
            # one change more, from the light that is cut to the one that begins
            worst = max(worst, number + 1 + _densest(before, SECOND_MS - at))
    return worst


def _beside(eye: Eye, first: Cue, then: Cue) -> bool:
    """Whether the two can run at the same time."""
    shared = outputs_used(first.body) & outputs_used(then.body)
    return first.name != eye.show.score.idle and not shared


def _densest(at_ms: Array, window_ms: float) -> int:
    """The most changes within any window of that length."""
    if not at_ms.size:
        return 0
    ends = np.searchsorted(at_ms, at_ms + window_ms, side="right")
    return int((ends - np.arange(at_ms.size)).max())


def _confirmed(eye: Eye, first: _Seen, then: _Seen) -> Interruption | None:
    """What a rehearsal at one of the likely instants really shows."""
    for after_ms in _instants(eye, first, then):
        found = flashing(*eye.watch(first.cue, then.cue, after_ms))
        if found:
            return Interruption(first.cue, then.cue, after_ms, found[0])
    return None


def _instants(eye: Eye, first: _Seen, then: _Seen) -> list[int]:
    if _beside(eye, first.cue, then.cue):
        return list(OFFSETS_MS)
    instants: set[int] = set()
    for at_ms in first.changes.values():
        ends = np.searchsorted(at_ms, at_ms + SECOND_MS / 2.0, side="right")
        densest = int(np.argmax(ends - np.arange(at_ms.size)))
        last = float(at_ms[int(ends[densest]) - 1])
        instants |= {max(0, int(last) + later) for later in (20, 60, 120)}
    return sorted(instants)
