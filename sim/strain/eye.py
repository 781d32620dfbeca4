"""The light of one cue as the eye gets it: the cue rehearsed alone, over idle, frame by frame.

Servos are left out: they do not shine, and a rehearsal without them is quick. Cues in which no
light can change eight times within a second need not be rehearsed at all.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import inf
from typing import Final

import numpy as np

from sim.light.flash import (
    FLASHES,
    PASSING_EFFECT_MS,
    SECOND_MS,
    Array,
    Flashing,
    Source,
    flashing,
    lamp_source,
    strip_source,
)
from sim.light.lightness import srgb_to_linear
from sim.model import Cue, Effect, Fade, Lamp, Press, Repeat, Score, Show, Strip
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import Samples, sample
from sim.rulebook import FRAME_MS
from sim.score.tree import Lengths, acts, duration_ms, timeline, walk

LEAD_MS: Final = 1000
"""Idle shines this long before the cue starts, so that the change from one to the other counts."""

LEAST_MS: Final = 12_000
"""What repeats for ever is watched at least this long, and for two passes: an effect's pattern has
shown itself by then (own limit)."""

LONGEST_MS: Final = 600_000
"""Nothing is watched for longer than ten minutes (own limit)."""

PRESSED_MS: Final = 3_000
"""A button is pressed again and again for so long (own limit)."""

CHUNK: Final = 600
"""Frames sampled at a time: a strip takes 48 bytes a pixel and frame."""

TOO_MANY: Final = 2 * (FLASHES + 1)
"""Changes within a second that make one flash too many."""

SLOWEST_MS: Final = 4_000
"""No longer duration or period is tried as a suggestion (own limit)."""

Sight = tuple[Array, dict[str, Source]]
"""Times (ms from the cue's start) and the light of each output at these times."""


class Eye:
    """Looks at the lights of a show; each cue is rehearsed once."""

    def __init__(self, show: Show) -> None:
        lights = tuple(o for o in show.rig.outputs if isinstance(o, Lamp | Strip))
        self.show = replace(show, rig=replace(show.rig, outputs=lights, inputs=()))
        """The show with its lights alone."""
        self.names = frozenset(output.name for output in lights)
        self._idle = next((c for c in show.score.cues if c.name == show.score.idle), None)
        self._seen: dict[str, Sight] = {}

    def watched(self, cue: Cue) -> Sight:
        """The light of a cue of the show by itself."""
        if cue.name not in self._seen:
            self._seen[cue.name] = self.watch(cue)
        return self._seen[cue.name]

    def watch(self, cue: Cue, then: Cue | None = None, after_ms: int = 0) -> Sight:
        """The light of any cue; `then` is started `after_ms` after it, whatever that does to it."""
        start = 0 if self._is_idle(cue) else LEAD_MS
        presses = () if self._is_idle(cue) else (Press(start, cue=cue.name),)
        length = start + watched_ms(cue) + int(SECOND_MS)
        if then is not None:
            presses = (*presses, Press(start + after_ms, cue=then.name))
            length = start + after_ms + min(watched_ms(then), LEAST_MS) + int(SECOND_MS)
        return self._rehearsed((cue, then), presses, start, length)

    def watch_pressed(self, cue: Cue, every_ms: int) -> Sight:
        """The same while the cue's button is pressed every `every_ms` for `PRESSED_MS`."""
        presses = tuple(Press(LEAD_MS + at, cue=cue.name) for at in range(0, PRESSED_MS, every_ms))
        return self._rehearsed((cue,), presses, LEAD_MS, LEAD_MS + PRESSED_MS)

    def flashing(self, cue: Cue) -> tuple[Flashing, ...]:
        """What flashes more than three times in a second of the cue by itself."""
        return flashing(*self.watched(cue)) if can_flash(cue) else ()

    def _is_idle(self, cue: Cue) -> bool:
        return self._idle is not None and self._idle.name == cue.name

    def _rehearsed(
        self, cues: tuple[Cue | None, ...], presses: tuple[Press, ...], start: int, length: int
    ) -> Sight:
        cast = {c.name: c for c in (self._idle, *cues) if c is not None}
        score = Score("", tuple(cast.values()), idle=self.show.score.idle)
        trajectories = rehearse(replace(self.show, score=score), presses, length)
        times = np.arange(0.0, length, FRAME_MS)
        parts = [
            light_sources(self.show, sample(trajectories, times[at : at + CHUNK]))
            for at in range(0, times.size, CHUNK)
        ]
        return times - start, {name: _joined([part[name] for part in parts]) for name in parts[0]}


def light_sources(show: Show, samples: Samples) -> dict[str, Source]:
    """The sampled light of every lamp and strip as `sim.light.flash` judges it."""
    sources: dict[str, Source] = {}
    for output in show.rig.outputs:
        if isinstance(output, Lamp) and output.name in samples.lamps:
            colour = srgb_to_linear(np.array(output.colour) / 255.0)
            duty = samples.lamps[output.name].luminance
            sources[output.name] = lamp_source(colour, duty, output.count)
        elif isinstance(output, Strip) and output.name in samples.strips:
            mean = samples.strips[output.name].linear.mean(axis=1)
            sources[output.name] = strip_source(mean, output.pixels)
    return sources


def _joined(parts: list[Source]) -> Source:
    return replace(
        parts[0],
        rgb=np.concatenate([part.rgb for part in parts]),
        luminance=np.concatenate([part.luminance for part in parts]),
    )


# -- how long to watch, and whether at all --------------------------------------------------------


def can_flash(cue: Cue) -> bool:
    """Whether lights could change eight times in a second; says yes when in doubt.

    Idle before and after the cue may add a change each.
    """
    return most_changes(cue) >= TOO_MANY - 2


def most_changes(cue: Cue) -> float:
    """How many changes of light a second of the cue could hold at most, read off its text.

    A fade makes one change at most, a beat of an effect two. What is in a repeat is counted as
    often as it could come round, besides.
    """
    starts: list[float] = []
    ends: list[float] = []
    beats = 0.0
    lengths = Lengths(cue.body)
    for start, step in timeline(cue.body, lengths):
        if isinstance(step, Effect):
            beats += _effect_changes(step)
        elif isinstance(step, Repeat):
            fades = sum(isinstance(inner, Fade) for inner in walk(step.body))
            beats += fades * (SECOND_MS // max(lengths[step.body], 1.0) + 1.0)
        elif isinstance(step, Fade) and start < inf:
            starts.append(start)
            ends.append(start + step.duration_ms)
    if not starts:
        return beats
    first, last = np.sort(np.array(starts)), np.sort(np.array(ends))
    inside = np.searchsorted(first, last + SECOND_MS, "right") - np.searchsorted(last, last)
    return beats + float(inside.max())


def _effect_changes(effect: Effect) -> float:
    if effect.name == "steady":
        return 0.0
    if effect.name == "breathe":  # one up and one down a beat, evenly
        return 2.0 * SECOND_MS // effect.period_ms + 2.0
    return 2.0 * (SECOND_MS // effect.period_ms + 2.0)


def watched_ms(cue: Cue) -> int:
    """How long the cue is watched: all of it, or two passes of what has no end."""
    whole = duration_ms(cue.body)
    if whole == inf:
        lengths = Lengths(cue.body)
        ends = [
            start + lengths[step]
            for start, step in timeline(cue.body, lengths)
            if start + lengths[step] < inf
        ]
        whole = max(LEAST_MS, 2 * max(ends, default=0))
    elif any(isinstance(act, Effect) and _is_fast(act) for act in acts(cue.body)):
        whole += LEAST_MS  # an effect stays on after its cue
    return int(min(whole, LONGEST_MS))


def _is_fast(effect: Effect) -> bool:
    return effect.period_ms < PASSING_EFFECT_MS.get(effect.name, 0)


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
