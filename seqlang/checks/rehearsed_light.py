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

from sim.flash import FLASHES, PASSING_EFFECT_MS, SECOND_MS, Source
from sim.light_safety import light_sources
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
from sim.rehearse import rehearse
from sim.sampling import sample
from sim.score import Lengths, acts, duration_ms, timeline, walk

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

CHUNK = 600
"""Frames sampled at a time: a strip takes 48 bytes a pixel and frame."""

_CHANGES = 2 * (FLASHES + 1)


def can_change(cue: Cue) -> bool:
    """Whether lights could change three times in a second, a part of two cues' flashing."""
    return can_flash(cue, 3)


def can_flash(cue: Cue, changes: int = _CHANGES) -> bool:
    """Whether lights could change so often in a second; says yes when in doubt."""
    starts: list[float] = []
    ends: list[float] = []
    for start, step in timeline(cue.body):
        if isinstance(step, Effect) and step.name != "steady":
            return True
        if isinstance(step, Repeat) and any(isinstance(inner, Fade) for inner in walk(step.body)):
            fades = sum(isinstance(inner, Fade) for inner in walk(step.body))
            once = duration_ms(step.body)
            if once == inf or fades * (SECOND_MS / max(once, 1.0) + 1.0) >= changes - 2:
                return True
        if isinstance(step, Fade) and start < inf:
            starts.append(start)
            ends.append(start + step.duration_ms)
    if len(starts) < changes - 2:
        return False
    first, last = np.sort(np.array(starts)), np.sort(np.array(ends))
    inside = np.searchsorted(first, last + SECOND_MS, "right") - np.searchsorted(last, last)
    # idle before and after may add a change each
    return bool(inside.max() >= changes - 2)


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
    alone = replace(lights, score=Score("", tuple(cast.values()), idle=lights.score.idle))
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
