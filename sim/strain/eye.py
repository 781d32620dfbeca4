"""The light of one cue as the eye gets it: the cue rehearsed alone, over idle, frame by frame.

Shared by `flashing_light`. Servos are left out: they do not shine, and a rehearsal without them is
quick. Cues in which no light can change eight times within a second are not rehearsed at all.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray

from sim.light.flash import FLASHES, PASSING_EFFECT_MS, SECOND_MS, Source
from sim.light.light_safety import light_sources
from sim.model import (
    FRAME_MS,
    Cue,
    Effect,
    Fade,
    InTurn,
    Lamp,
    Press,
    Repeat,
    Score,
    Show,
    Step,
    Strip,
    Together,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.score.tree import Lengths, acts, duration_ms, timeline, walk

if TYPE_CHECKING:
    from collections.abc import Callable

Times: TypeAlias = NDArray[np.float64]

LEAD_MS = 1000
"""Idle shines this long before the cue starts, so that the change from one to the other counts."""

LEAST_MS = 12_000
"""What repeats for ever is watched at least this long, and for two passes: an effect's pattern has
shown itself by then (own limit)."""

LONGEST_MS = 600_000
"""Nothing is watched for longer than ten minutes (own limit)."""

PRESSED_MS = 3_000
"""A button is pressed again and again for so long (own limit)."""

CHUNK = 600
"""Frames sampled at a time: a strip takes 48 bytes a pixel and frame."""

TOO_MANY = 2 * (FLASHES + 1)
"""Changes within a second that make one flash too many."""


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


def light_show(show: Show) -> Show:
    """The show with its lights alone."""
    lights = tuple(o for o in show.rig.outputs if isinstance(o, Lamp | Strip))
    return replace(show, rig=replace(show.rig, outputs=lights, inputs=()))


def watch(
    lights: Show, cue: Cue, then: Cue | None = None, after_ms: int = 0
) -> tuple[Times, dict[str, Source]]:
    """Times (ms from the cue's start) and the light of each output of a show of lights alone.

    `then` is started `after_ms` after the first cue, whatever that does to it.
    """
    idle = next((c for c in lights.score.cues if c.name == lights.score.idle), None)
    is_idle = idle is not None and idle.name == cue.name
    start = 0 if is_idle else LEAD_MS
    presses = () if is_idle else (Press(start, cue=cue.name),)
    length = start + watched_ms(cue) + int(SECOND_MS)
    if then is not None:
        presses = (*presses, Press(start + after_ms, cue=then.name))
        length = start + after_ms + min(watched_ms(then), LEAST_MS) + int(SECOND_MS)
    cast = {c.name: c for c in (idle, cue, then) if c is not None}
    return _seen(lights, tuple(cast.values()), presses, start, length)


def watch_pressed(lights: Show, cue: Cue, every_ms: int) -> tuple[Times, dict[str, Source]]:
    """The same while the cue's button is pressed every `every_ms` for `PRESSED_MS`."""
    idle = next((c for c in lights.score.cues if c.name == lights.score.idle), None)
    cast = {c.name: c for c in (idle, cue) if c is not None}
    presses = tuple(Press(LEAD_MS + at, cue=cue.name) for at in range(0, PRESSED_MS, every_ms))
    return _seen(lights, tuple(cast.values()), presses, LEAD_MS, LEAD_MS + PRESSED_MS)


def _seen(
    lights: Show, cast: tuple[Cue, ...], presses: tuple[Press, ...], start: int, length: int
) -> tuple[Times, dict[str, Source]]:
    alone = replace(lights, score=Score("", cast, idle=lights.score.idle))
    trajectories = rehearse(alone, presses, length)
    times = np.arange(0.0, length, FRAME_MS)
    parts = [
        light_sources(lights, sample(trajectories, times[at : at + CHUNK]))
        for at in range(0, times.size, CHUNK)
    ]
    return times - start, {name: _joined([part[name] for part in parts]) for name in parts[0]}


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


def _joined(parts: list[Source]) -> Source:
    return Source(
        np.concatenate([part.rgb for part in parts]),
        np.concatenate([part.luminance for part in parts]),
        parts[0].weight,
    )


def swapped(step: Step, change: Callable[[Step], Step]) -> Step:
    """The tree with `change` applied to every step without children."""
    match step:
        case InTurn() | Together():
            return replace(step, children=tuple(swapped(c, change) for c in step.children))
        case Repeat():
            return replace(step, body=swapped(step.body, change))
        case _:
            return change(step)
