"""Light that flashes under a quick finger: one button again and again, two or three in turn.

A hand can press four to eight times a second. Fewer than four presses cannot make more than three
flashes by themselves. Which buttons could is read off the text: where each cue has brought each
light by the next press, from where the other one left it. What could change by a tenth of full
light is rehearsed; only what flashes there is named.

Three buttons in turn change a light at most twice in three presses by what they leave it at (of
three values one is the greatest and one the least), under six times a second. So they matter only
where one of the cues changes its lights there and back by itself, and another one frees the outputs
for it to start again. The same goes for a cue that refuses to start while it runs.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import Final

from sim.light.flash import CHANGE, RED_CHANGE, Flashing
from sim.light.lightness import lightness, luminance
from sim.model import Cue, Effect, Fade, StripLight
from sim.score.tree import timeline
from sim.strain.eye import Eye
from sim.strain.light_states import light_luminance, light_redness

PRESSES_MS: Final = (120, 180, 240)
"""A quick finger's presses are so far apart (common practice, no source)."""

MOST_PAIRS: Final = 4
"""Pairs of buttons that are rehearsed: those that change a light most (own limit)."""


MOST_TRIPLES: Final = 2
"""The same of three buttons; each is rehearsed in both orders (own limit)."""


LIGHTS_KEPT: Final = 10_000
"""Lights of which luminance or lightness is kept: many pairs of cues share them."""


@dataclass(frozen=True, slots=True)
class Hurry:
    """What flashes while the buttons of `cues` are pressed in turn every `every_ms`."""

    cues: tuple[Cue, ...]
    every_ms: int
    found: Flashing


def hurry(eye: Eye, cue: Cue) -> Hurry | None:
    """What flashes under a quick finger on the cue's button, if the cue does not by itself."""
    if not _changes_at_once(cue) or eye.flashes(cue):
        return None
    return _pressed(eye, (cue,))


def hurry_in_turn(eye: Eye, cues: tuple[Cue, ...]) -> Hurry | None:
    """What flashes under quick fingers on two or three of the cues' buttons: the first found.

    `cues`: those with a button. A cue that flashes under one finger needs no second one.
    """
    reaches = {cue.name: _reached(eye, cue) for cue in cues}
    swings = (
        (_driven((one, other), reaches[one.name], reaches[other.name]), one, other)
        for one, other in combinations(cues, 2)
    )
    likely = sorted((s for s in swings if s[0] >= 1.0), key=lambda s: -s[0])
    for _, one, other in likely[:MOST_PAIRS]:
        found = _pressed(eye, (one, other))
        if found is not None:
            return found
    return _three_in_turn(eye, cues)


def _driven(
    pair: tuple[Cue, Cue], one: dict[str, _LightReach], other: dict[str, _LightReach]
) -> float:
    """How far two cues drive a light, over the least change that counts.

    One that waits or refuses starts again only where the other has taken its lights and ended.
    """
    taking = [cue.conflict == "take" for cue in pair]
    if all(taking):
        return _swing(one, other)
    quick = any(taking) and bool(one.keys() & other.keys())
    return 1.0 if quick and any(map(_changes_at_once, pair)) else 0.0


def _three_in_turn(eye: Eye, cues: tuple[Cue, ...]) -> Hurry | None:
    """What flashes while three buttons are pressed in turn, in either order.

    Those with most cues that change their lights at once, one of them at least, first.
    """
    likely: list[tuple[int, tuple[Cue, Cue, Cue]]] = []
    changing = {cue.name for cue in cues if _changes_at_once(cue)}
    for row in combinations(cues, 3):
        restless = sum(cue.name in changing for cue in row)
        if restless and any(cue.conflict == "take" for cue in row):
            likely.append((restless, row))
    likely.sort(key=lambda each: -each[0])
    for _, (one, other, third) in likely[:MOST_TRIPLES]:
        for row in ((one, other, third), (one, third, other)):
            found = _pressed(eye, row)
            if found is not None:
                return found
    return None


def _pressed(eye: Eye, cues: tuple[Cue, ...]) -> Hurry | None:
    for every_ms in PRESSES_MS:
        for found in eye.watch_pressed(cues, every_ms).flashing:
            return Hurry(cues, every_ms, found)
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


@dataclass(frozen=True, slots=True)
class _LightReach:
    """Where a cue takes a light before the next press: a way towards a light, `share` of it."""

    luminance: float
    redness: float
    share: float


def _reached(eye: Eye, cue: Cue) -> dict[str, _LightReach]:
    """By light, what the cue's first fade of it brings about in the time between two presses."""
    found: dict[str, _LightReach] = {}
    for start, step in timeline(cue.body):
        if not isinstance(step, Fade) or step.output not in eye.names or step.output in found:
            continue
        if start < PRESSES_MS[-1]:
            share = min(1.0, (PRESSES_MS[-1] - start) / max(step.duration_ms, 1))
            light: float | StripLight = step.light
            found[step.output] = _LightReach(light_luminance(light), light_redness(light), share)
    return found


@lru_cache(maxsize=LIGHTS_KEPT)
def _lightness(relative: float) -> float:
    return float(lightness(relative))


@lru_cache(maxsize=LIGHTS_KEPT)
def _luminance(level_pct: float) -> float:
    return float(luminance(level_pct))


def _swing(one: dict[str, _LightReach], other: dict[str, _LightReach]) -> float:
    """How far two cues drive a light to and fro, over the least change that counts."""
    worst = 0.0
    for name in one.keys() & other.keys():
        a, b = one[name], other[name]
        # each goes its share of what is left of the way: the two meet in a swing of this size
        part = a.share * b.share / (a.share + b.share - a.share * b.share)
        levels = sorted((_lightness(a.luminance), _lightness(b.luminance)))
        low, high = levels[0], levels[0] + part * (levels[1] - levels[0])
        top = levels[1] - part * (levels[1] - levels[0])
        change = max(_luminance(high) - _luminance(low), _luminance(levels[1]) - _luminance(top))
        red = part * abs(a.redness - b.redness)
        worst = max(worst, change / CHANGE, red / RED_CHANGE)
    return worst
