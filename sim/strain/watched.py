"""For how long the light of a cue is watched, and how many statements it makes meanwhile.

What ends is watched to its end. What goes on without end is watched until it has come round, or as
long as a row of flashes would take to be too long.
"""

from __future__ import annotations

from math import inf
from typing import Final

from sim.light.counting import TOO_MANY
from sim.light.sequences import STROBE_S, STROBING_MS
from sim.model import Cue, Effect, Fade, Repeat, Step
from sim.score.tree import Lengths, acts, acts_in_time, children, duration_ms, timeline, walk
from sim.strain.light_bound import effect_ways

GOES_ON_MS: Final = 3_000
"""What has no end and comes round is watched for so long at least: a row seen then goes on."""

ROW_MS: Final = 1000 * STROBE_S + 5000
"""An irregular effect that may make a row of flashes is watched for so long."""

MIXED_MS: Final = 180_000
"""Patterns that never come round together are watched for so long (own limit)."""

MIXED_REPEAT_MS: Final = 60_000
"""A pattern beside a repeat is watched for so long (own limit)."""

LONGEST_MS: Final = 600_000
"""Nothing is watched for longer than ten minutes (own limit)."""


def watched_ms(cue: Cue) -> int:
    """How long the cue is watched: all of it; of what has no end three passes.

    Longer where it could make a row of flashes, or where a pattern and a repeat never come round
    together.
    """
    lasts = _last_light_ms(cue)
    whole = duration_ms(cue.body)
    longest = max(whole, lasts) if whole < inf else max(lasts, 3.0 * _once_ms(cue) + GOES_ON_MS)
    if _leaves_a_mixture(cue):
        longest = max(longest, lasts + (MIXED_REPEAT_MS if _once_ms(cue) else MIXED_MS))
    elif may_go_on(cue):
        longest = max(longest, lasts + (GOES_ON_MS if _is_regular(cue) else ROW_MS))
    return int(min(longest, LONGEST_MS))


def may_last(cue: Cue, runs: tuple[Cue, ...]) -> bool:
    """Whether the cue could make a long row of flashes: long enough, or an effect stays on."""
    return may_go_on(cue) or any(duration_ms(run.body) > 1000 * STROBE_S for run in runs)


def may_go_on(cue: Cue) -> bool:
    """Whether effects stay on that could make a row of flashes."""
    return any(
        isinstance(act, Effect) and act.period_ms <= STROBING_MS.get(act.name, 0)
        for act in acts(cue.body)
    )


def carried_out(cue: Cue, span_ms: int) -> int:
    """How many statements for lights a cue carries out within that time, at most."""
    lengths = Lengths(cue.body)
    count = 0
    stack: list[tuple[Step, int]] = [(cue.body, 1)]
    while stack:
        step, times = stack.pop()
        if isinstance(step, Fade | Effect):
            count += times
        elif isinstance(step, Repeat) and not step.while_held:
            passes = span_ms // max(int(min(lengths[step.body], span_ms)), 1) + 1
            times = min(times * min(passes, step.times or passes), passes)
        stack.extend((child, times) for child in children(step))
    return count


def _once_ms(cue: Cue) -> float:
    """When the first pass of the last endless repeat of lights is over; 0: there is none."""
    lengths = Lengths(cue.body)
    return max(
        (
            start + lengths[step.body]
            for start, step in timeline(cue.body)
            if isinstance(step, Repeat) and lengths[step] == inf and _has_light(step)
        ),
        default=0.0,
    )


def _is_regular(cue: Cue) -> bool:
    """Whether all effects of the cue flash alike in every beat."""
    return all(a.name in ("breathe", "run") for a in acts(cue.body) if isinstance(a, Effect))


def _last_light_ms(cue: Cue) -> float:
    """When the last fade or effect that comes to an end has come to it."""
    lengths = Lengths(cue.body)
    return max(
        (
            start + lengths[step]
            for start, step in timeline(cue.body)
            if isinstance(step, Fade | Effect) and start < inf
        ),
        default=0.0,
    )


def _leaves_a_mixture(cue: Cue) -> bool:
    """Whether effects stay on that never come round together, or not with a repeat beside them."""
    last = {act.output: act for act in acts_in_time(cue.body) if isinstance(act, Effect)}
    ways = [effect_ways(effect) for effect in last.values() if effect.name != "steady"]
    repeated = {
        id(inner)
        for step in walk(cue.body)
        if isinstance(step, Repeat) and step.times is None and _has_light(step)
        for inner in walk(step)
    }
    apart = any(effect_ways(effect) and id(effect) not in repeated for effect in last.values())
    return (len(ways) > 1 and sum(ways) >= TOO_MANY) or (bool(repeated) and apart)


def _has_light(step: Repeat) -> bool:
    return any(isinstance(inner, Fade | Effect) for inner in walk(step))
