"""The states in which a show can leave its lights, and so in which a cue can find them.

A cue finds its lights as whatever ran before has left them: dark (power-up, standby), at their
safe light (ready, stop), at a light that some cue fades them to, or anywhere on the way there.
Effects on its lights end when it starts, so they are no part of what it finds.
(`firmware_gen/TABLE.md`, section 2.) Any cue can be started by name over the link; so all count.

Of the lights a cue can find, those are tried that can make it flash most: the brightest, since
every change scales with it; the darkest, which is one change away from any other; the reddest; the
brightest whose darker state under the cue's own effect is just dark enough to count (WCAG 2.2:
below 0.80); and, in the middle of a fade, the brightest from which the cue's own first light is
still a change.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Final, TypeAlias

import numpy as np

from sim.light.flash import BRIGHT, CHANGE
from sim.light.lightness import colour_luminance, lightness, luminance, strip_linear
from sim.model import (
    BLACK,
    Cue,
    Effect,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Repeat,
    Servo,
    Show,
    Step,
    Strip,
    StripLight,
    Together,
)
from sim.rulebook import ENABLE_INTERVAL_FRAMES, FRAME_MS, LEVEL_STEP_PCT
from sim.score.draws import at_its_hardest
from sim.score.tree import acts, acts_in_time, children, duration_ms, walk

Light: TypeAlias = float | StripLight

STOP: Final = "stop"
"""Name of what the stop button does, among cues."""

STANDBY: Final = "standby"
"""Name of what limp and standby after it do, among cues."""


@dataclass(frozen=True, slots=True)
class Entry:
    """What a cue finds: a light for each of its lights.

    `from_dark`: they were dark the frame before, as at power-up.
    """

    lights: Mapping[str, Light]
    from_dark: bool = False


class LightStates:
    """What the cues of a show can find and leave."""

    def __init__(self, show: Show) -> None:
        self.show = show = at_its_hardest(show)
        self.lights = {o.name: o for o in show.rig.outputs if isinstance(o, Lamp | Strip)}

    @cached_property
    def _left(self) -> dict[str, tuple[Light, ...]]:
        found: dict[str, list[Light]] = {
            name: [dark_of(_safe(light)), _safe(light)] for name, light in self.lights.items()
        }
        for cue in self.show.score.cues:
            for act in acts(cue.body):
                if isinstance(act, Fade) and act.output in found:
                    found[act.output].append(act.light)
        for follow in self.show.rig.follows:
            if follow.output in found:
                found[follow.output] += [follow.target_from, follow.target_to]
        return {name: tuple(dict.fromkeys(several)) for name, several in found.items()}

    @cached_property
    def _outermost(self) -> dict[str, tuple[Light, Light, Light]]:
        """The first state of each light, its brightest and its reddest: alike for every cue."""
        return {
            name: (several[0], max(several, key=light_luminance), max(several, key=light_redness))
            for name, several in self._left.items()
        }

    @cached_property
    def _faded(self) -> frozenset[str]:
        """The lights that some cue fades through what lies between."""
        everything = (act for cue in self.show.score.cues for act in acts(cue.body))
        return frozenset(
            act.output for act in everything if isinstance(act, Fade) and act.duration_ms > FRAME_MS
        ) | {follow.output for follow in self.show.rig.follows}

    def left(self, name: str) -> tuple[Light, ...]:
        """Every light that the show brings this one to: dark first."""
        return self._left[name]

    def entries(self, cue: Cue) -> tuple[Entry, ...]:
        """The states that a cue is judged from; all dark is the first."""
        used = [name for name in self.lights if any(a.output == name for a in acts(cue.body))]
        choices = {name: self._choices(name, cue) for name in used}
        count = max((len(several) for several in choices.values()), default=1)
        found = [
            Entry({name: several[min(n, len(several) - 1)] for name, several in choices.items()})
            for n in range(count)
        ]
        if cue.name in self.show.score.idle:
            safe = {name: _safe(self.lights[name]) for name in used}
            found.append(Entry(safe, from_dark=True))
        return tuple(found)

    def _choices(self, name: str, cue: Cue) -> tuple[Light, ...]:
        _, brightest, _ = outermost = self._outermost[name]
        chosen: list[Light] = [*outermost]
        for effect in _first_effects(cue, name):
            chosen.append(_just_counting(brightest, effect))
        first = next(
            (a.light for a in acts_in_time(cue.body) if isinstance(a, Fade) and a.output == name),
            None,
        )
        if first is not None and name in self._faded:
            chosen += _in_mid_fade(brightest, first)
        return tuple(dict.fromkeys(chosen))

    def runs(self, cue: Cue) -> tuple[Cue, ...]:
        """The ways a cue can run: as written, and for ever where a button can hold it, or where it
        is a strand of idle, which begins again when it comes to its end."""
        held = any(
            binding.while_held and binding.cue == cue.name for binding in self.show.score.bindings
        )
        loops = [step for step in walk(cue.body) if isinstance(step, Repeat) and step.while_held]
        found = [cue]
        if loops:
            found.append(replace(cue, body=_held(cue.body)))
        again = held or cue.name in self.show.score.idle
        if again and 0 < duration_ms(cue.body) < float("inf"):
            found.append(replace(cue, body=Repeat(cue.body, None)))
        return tuple(found)

    def standby(self) -> Cue:
        """What standby right after limp does to the lights: dark at once, then the safe light."""
        counts = Counter(o.board for o in self.show.rig.outputs if isinstance(o, Servo))
        wait = max(1, max(counts.values(), default=0) * ENABLE_INTERVAL_FRAMES) * FRAME_MS
        dark = (Fade(name, dark_of(_safe(light)), 0) for name, light in self.lights.items())
        safe = (Fade(name, _safe(light), 0) for name, light in self.lights.items())
        body = InTurn((Together(tuple(dark)), Hold(wait), Together(tuple(safe))))
        return Cue(STANDBY, "", body)

    def stop(self) -> Cue:
        """What the stop does to the lights: each fades to its safe light."""
        fades = (
            Fade(name, _safe(light), self.show.score.stop_ms) for name, light in self.lights.items()
        )
        return Cue(STOP, "", Together(tuple(fades)))


def dark_of(light: Light) -> Light:
    """Darkness, as a lamp or a strip has it."""
    return BLACK if isinstance(light, StripLight) else 0.0


def _safe(light: Lamp | Strip) -> Light:
    return light.safe_pct if isinstance(light, Lamp) else light.safe


@lru_cache(maxsize=4096)
def light_luminance(light: Light) -> float:
    """Relative luminance of a lamp's or a strip's light, 0 to 1."""
    if isinstance(light, StripLight):
        return float(colour_luminance(strip_linear(light)))
    return float(luminance(light))


@lru_cache(maxsize=4096)
def light_redness(light: Light) -> float:
    """How red a strip's light is: R - G - B, linear; a lamp's level has no colour."""
    if not isinstance(light, StripLight):
        return 0.0
    red, green, blue = strip_linear(light).tolist()
    return float(red - green - blue)


def _first_effects(cue: Cue, name: str) -> list[Effect]:
    """Effects that the cue lays over a light before it has faded it itself."""
    found: list[Effect] = []
    for act in acts_in_time(cue.body):
        if act.output != name:
            continue
        if isinstance(act, Fade):
            break
        if isinstance(act, Effect) and act.name != "steady":
            found.append(act)
    return found


def _just_counting(brightest: Light, effect: Effect) -> Light:
    """The light at most as bright whose darkest state under the effect is just below 0.80."""
    share = 1.0 - effect.depth_pct / 100.0
    whole = float(lightness(np.array(light_luminance(brightest))))
    limit = float(lightness(np.array(BRIGHT))) - LEVEL_STEP_PCT
    if whole * share <= limit:
        return brightest
    scale = limit / (whole * share)
    if isinstance(brightest, StripLight):
        return replace(brightest, level_pct=brightest.level_pct * scale)
    return brightest * scale


def _in_mid_fade(brightest: Light, first: Light) -> list[Light]:
    """The brightest light on a fade's way from which a cue's first light counts as a change.

    From a light over 0.80 a bright one is no change, nor is one nearly as bright (WCAG 2.2). Empty
    where the brightest light itself is a change.
    """
    target, whole = light_luminance(first), light_luminance(brightest)
    least = min(target - CHANGE, BRIGHT)
    if least <= 0.0 or whole <= least or (target < BRIGHT and whole - target >= CHANGE):
        return []
    level = float(lightness(np.array(least))) - LEVEL_STEP_PCT
    scale = level / float(lightness(np.array(whole)))
    if isinstance(brightest, StripLight):
        return [replace(brightest, level_pct=brightest.level_pct * scale)]
    return [brightest * scale]


def _held(step: Step) -> Step:
    """The step with every `while held` going on for ever."""
    match step:
        case InTurn() | Together():
            return replace(step, children=tuple(_held(child) for child in children(step)))
        case Repeat():
            times = None if step.while_held else step.times
            return replace(step, body=_held(step.body), times=times, while_held=False)
        case _:
            return step
