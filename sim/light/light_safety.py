"""Flashes of a whole show: every cue on its own, and every cue started while another runs.

Each cue is rehearsed from a quiet start and its light judged by `sim.light.flash`, frame by frame,
as the board changes it. Effects stay on after their cue has ended, so fast ones are watched for a
while longer. For a cue started at any moment of another, a bound comes first: the changes within
any part of a second of the one, plus those at the start of the other, plus one for the change-over.
Only where that could make more than three flashes are the two rehearsed together, at instants
spread over the first; what is reported was seen in such a rehearsal.

Not covered here: a hand that presses buttons several times a second can make any light flash; the
checks of a show rehearse that for one button.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf
from typing import Final

import numpy as np
from numpy.typing import NDArray

from sim.light.flash import (
    FLASHES,
    PASSING_EFFECT_MS,
    SECOND_MS,
    Changes,
    Flashing,
    Source,
    flashing,
    general_changes,
    lamp_source,
    red_changes,
    strip_source,
    together,
)
from sim.light.lightness import srgb_to_linear
from sim.model import FRAME_MS, Cue, Effect, Fade, Lamp, Press, Show, Strip
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import Samples, sample
from sim.score.tree import acts, duration_ms, ready_ms

EFFECT_WATCH_MS: Final = 20_000
"""How long the light is watched after a cue that leaves a fast effect on."""

ENDLESS_WATCH_MS: Final = 20_000
"""How long a cue without an end is watched."""

INSTANTS: Final = 12
"""Moments of one cue at which another is started, where the bound does not clear the pair."""


@dataclass(frozen=True, slots=True)
class CueFlashing:
    """Flashing seen while `cue` runs, or, with `then`, when that cue starts `after_ms` into it.

    Times in `flashing` count from the start of `cue`.
    """

    cue: str
    then: str | None
    after_ms: float
    flashing: Flashing


def show_flashes(show: Show) -> tuple[CueFlashing, ...]:
    """All flashing of a show's cues; pairs only where neither cue fails alone."""
    lit = [cue for cue in show.score.cues if _lights(cue)]
    found: list[CueFlashing] = []
    calm: list[tuple[Cue, dict[str, Changes]]] = []
    for cue in lit:
        times, sources = watch(show, [(0.0, cue)])
        seen = flashing(times, sources)
        found += [CueFlashing(cue.name, None, 0.0, one) for one in seen]
        if not seen:
            calm.append((cue, _changes(times, sources)))
    for cue, changes in calm:
        for then, later in calm:
            if then.name != show.score.idle and _may_flash(changes, later):
                found += _pair(show, cue, then)
    return tuple(found)


def watch(
    show: Show, starts: list[tuple[float, Cue]]
) -> tuple[NDArray[np.float64], dict[str, Source]]:
    """The light of all outputs, frame by frame, while cues start at given times (ms)."""
    begin = ready_ms(show) + FRAME_MS
    quiet = replace(show, score=replace(show.score, idle=None))
    last = max(at + _watch_ms(cue) for at, cue in starts)
    presses = [Press(begin + round(at), cue=cue.name) for at, cue in starts]
    trajectories = rehearse(quiet, presses, begin + int(last) + FRAME_MS)
    samples = sample(trajectories, np.arange(begin - FRAME_MS, begin + last, FRAME_MS, dtype=float))
    return samples.times_ms - begin, light_sources(show, samples)


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


def _lights(cue: Cue) -> bool:
    return any(isinstance(act, Fade | Effect) for act in acts(cue.body))


def _watch_ms(cue: Cue) -> float:
    lasts = duration_ms(cue.body)
    lasts = ENDLESS_WATCH_MS if lasts == inf else lasts
    effects = [act for act in acts(cue.body) if isinstance(act, Effect)]
    fast = any(act.period_ms < PASSING_EFFECT_MS.get(act.name, 0) for act in effects)
    return lasts + (EFFECT_WATCH_MS if fast else SECOND_MS if effects else 2 * FRAME_MS)


def _changes(times: NDArray[np.float64], sources: dict[str, Source]) -> dict[str, Changes]:
    """Every kind of change by what it was seen in: each output, and all together."""
    found: dict[str, Changes] = {}
    for name, source in sources.items():
        found[f"general {name}"] = general_changes(times, source.luminance)
        found[f"red {name}"] = red_changes(times, source.rgb)
    if len(sources) > 1:
        luminance, rgb = together(sources)
        found["general"] = general_changes(times, luminance)
        found["red"] = red_changes(times, rgb)
    return found


def _may_flash(first: dict[str, Changes], then: dict[str, Changes]) -> bool:
    """Whether a change-over could make more than three flashes in a second."""
    return any(
        _most_across(changes.at_ms, then[key].at_ms) // 2 > FLASHES
        for key, changes in first.items()
    )


def _most_across(first: NDArray[np.float64], then: NDArray[np.float64]) -> int:
    """The most changes in a second that ends one cue and starts another, change-over included."""
    most = 0
    heads = np.concatenate([[0.0], then[then <= SECOND_MS]])
    for n, head in enumerate(heads.tolist()):
        reach = np.searchsorted(first, first + (SECOND_MS - head) + 1e-9, side="right")
        tail = int(np.max(reach - np.arange(first.size), initial=0))
        most = max(most, tail + n + 1)
    return most


def _pair(show: Show, cue: Cue, then: Cue) -> list[CueFlashing]:
    """Rehearse `then` at moments of `cue`; the worst flashing of each kind that is seen."""
    lasts = duration_ms(cue.body)
    lasts = ENDLESS_WATCH_MS / 4.0 if lasts == inf else lasts
    worst: dict[str, CueFlashing] = {}
    for after in np.unique(np.linspace(0.0, lasts, INSTANTS) // FRAME_MS * FRAME_MS).tolist():
        for one in flashing(*watch(show, [(0.0, cue), (after, then)])):
            known = worst.get(one.kind)
            if known is None or one.count > known.flashing.count:
                worst[one.kind] = CueFlashing(cue.name, then.name, after, one)
    return list(worst.values())
