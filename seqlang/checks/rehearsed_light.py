"""The light of one cue as the eye gets it: the cue rehearsed alone, over idle, frame by frame.

Shared by `flashing_light`. Servos are left out: they do not shine, and a rehearsal without them is
quick. Cues in which no light can change eight times within a second are not rehearsed at all.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf
from typing import TYPE_CHECKING

import numpy as np

from sim.flash import FLASHES, SECOND_MS, Source, lamp_source, strip_source
from sim.light import srgb_to_linear
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
from sim.score import duration_ms, timeline, walk

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

LEAD_MS = 1000
"""Idle shines this long before the cue starts, so that the change from one to the other counts."""

LONGEST_MS = 12_000
"""What repeats is watched this long: an effect's pattern has shown itself by then (own limit)."""

_CHANGES = 2 * (FLASHES + 1)


def can_flash(cue: Cue) -> bool:
    """Whether lights could change eight times in a second; says yes when in doubt."""
    starts: list[float] = []
    ends: list[float] = []
    for start, step in timeline(cue.body):
        if isinstance(step, Effect) and step.name != "steady":
            return True
        if isinstance(step, Repeat) and any(isinstance(inner, Fade) for inner in walk(step.body)):
            fades = sum(isinstance(inner, Fade) for inner in walk(step.body))
            once = duration_ms(step.body)
            if once == inf or fades * (SECOND_MS / max(once, 1.0) + 1.0) >= _CHANGES - 2:
                return True
        if isinstance(step, Fade) and start < inf:
            starts.append(start)
            ends.append(start + step.duration_ms)
    if len(starts) < _CHANGES - 2:
        return False
    first, last = np.sort(np.array(starts)), np.sort(np.array(ends))
    inside = np.searchsorted(first, last + SECOND_MS, "right") - np.searchsorted(last, last)
    # idle before and after may add a change each
    return bool(inside.max() >= _CHANGES - 2)


def light_show(show: Show) -> Show:
    """The show with its lights alone."""
    lights = tuple(o for o in show.rig.outputs if isinstance(o, Lamp | Strip))
    return replace(show, rig=replace(show.rig, outputs=lights, inputs=()))


def watch(lights: Show, cue: Cue) -> tuple[NDArray[np.float64], dict[str, Source]]:
    """Times (ms from the cue's start) and the light of each output of a show of lights alone."""
    idle = next((c for c in lights.score.cues if c.name == lights.score.idle), None)
    cues = (cue,) if idle is None or idle.name == cue.name else (idle, cue)
    score = Score("", cues, idle=lights.score.idle if idle is not None else None)
    alone = replace(lights, score=score)
    is_idle = idle is not None and idle.name == cue.name
    start = 0 if is_idle else LEAD_MS
    length = start + int(min(duration_ms(cue.body), LONGEST_MS)) + int(SECOND_MS)
    presses = () if is_idle else (Press(start, cue=cue.name),)
    times = np.arange(0.0, length, FRAME_MS)
    samples = sample(rehearse(alone, presses, length), times)
    sources: dict[str, Source] = {}
    for output in lights.rig.outputs:
        if isinstance(output, Lamp) and output.name in samples.lamps:
            colour = srgb_to_linear(np.array(output.colour) / 255.0)
            duty = samples.lamps[output.name].luminance
            sources[output.name] = lamp_source(colour, duty, float(output.count))
        elif isinstance(output, Strip) and output.name in samples.strips:
            mean = samples.strips[output.name].linear.mean(axis=1)
            sources[output.name] = strip_source(mean, output.pixels)
    return times - start, sources


def swapped(step: Step, change: Callable[[Step], Step]) -> Step:
    """The tree with `change` applied to every step without children."""
    match step:
        case InTurn() | Together():
            return replace(step, children=tuple(swapped(c, change) for c in step.children))
        case Repeat():
            return replace(step, body=swapped(step.body, change))
        case _:
            return change(step)
