"""How often pixels of a strip that shows a level may change while buttons are pressed: a bound.

A press starts a run, and a run brings a light to one target after another, each a way up or down;
two ways in a row to the same target are one. How many ways a second can hold is found by putting
runs behind one another: of the run that goes on already any part, then runs from their start, each
for at least as long as a quick finger leaves it (`PRESSES_MS`), or to its end where nothing that
shares the light takes over. Behind a run that ends, what holds the light otherwise (idle, a source,
a move) has it again. Of the strip's own light the same is found, and both are put together as in
`sim.strain.bar_light`.

A way counts once the end of the bar can have gone far enough: a change of a group of g pixels
takes a tenth of g at the strip's brightest.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from math import ceil, floor, inf
from typing import Final

from sim.light.area import least_group
from sim.model import (
    Cue,
    Fade,
    InTurn,
    LevelBar,
    OneOf,
    Repeat,
    Show,
    Step,
    Strip,
    StripLight,
    Together,
)
from sim.rulebook import FRAME_MS
from sim.score.laws import coefficients
from sim.score.tree import Lengths, duration_ms, outputs_used
from sim.strain.bar_light import contrast, is_capped, may_be_red, put_together
from sim.strain.light_bound import LightBound
from sim.strain.light_states import LightStates
from sim.strain.quick_fingers import PRESSES_MS
from sim.strain.ways_of_runs import FRAMES, LightInRuns, LightRun, LightWay, MostWays

SLOT: Final = PRESSES_MS[0] // FRAME_MS
"""Frames between two presses of the quickest finger."""

ROUND: Final = 1e-9

MOST_WAYS: Final = 400
"""Of a run with more fades of a light its busiest second stands for any part (own limit)."""


class Pressed:
    """Bounds for the bars of a show; each light is read once."""

    def __init__(self, show: Show, bound: LightBound, states: LightStates) -> None:
        """`show`: with the fades of lamps that shine with moves (`sim.strain.shining_light`)."""
        self._show, self._bound, self._states = show, bound, states
        self._strips = {o.name: o for o in show.rig.outputs if isinstance(o, Strip)}

    def taken_over(self, bar: LevelBar, first: Cue, then: Cue) -> MostWays:
        """The most changes when one cue, in whatever moment, is followed by another one."""
        level, own = (
            self._light(name, (then,)).followed(self._runs(first, name, (then,)))
            for name in (bar.lamp, bar.strip)
        )
        return self._together(bar, level, own)

    def in_quick_turn(self, bar: LevelBar, cues: Collection[Cue]) -> MostWays:
        """The most changes while the buttons of cues are pressed in any order, quickly."""
        level, own = (self._light(name, cues).in_turn() for name in (bar.lamp, bar.strip))
        return self._together(bar, level, own)

    def _together(self, bar: LevelBar, level: MostWays, own: MostWays) -> MostWays:
        capped = is_capped(self._strips[bar.strip], self._states)
        ways, own_ways = floor(level.most + ROUND), floor(own.most + ROUND)
        changes = put_together(ways * (2 if capped else 1), own_ways)
        return MostWays(float(changes), level.cues if ways >= own_ways else own.cues)

    def _least_pct(self, name: str) -> float:
        """How far a light has to go to be seen: of a lamp, by the bars that show it.

        Where a cap, or a red, or what a strip is lit with counts, the least way may be a change.
        """
        found: list[float] = []
        for bar in (each for each in self._show.rig.bars if each.lamp == name):
            strip = self._strips[bar.strip]
            group = least_group(strip.pitch_m, self._show.rig.wearer.viewing_m, strip.pixels)
            change = group / max(contrast(strip, self._states), 1.0)
            calm = may_be_red(strip, self._states) or is_capped(strip, self._states)
            lit = any(bar.strip in outputs_used(cue.body) for cue in self._show.score.cues)
            found.append(0.0 if calm or lit else 100.0 * change / strip.pixels)
        return min(found, default=0.0)

    # -- runs ---------------------------------------------------------------------------------

    def _light(self, name: str, cues: Collection[Cue]) -> LightInRuns:
        using = [cue for cue in cues if name in outputs_used(cue.body)]
        runs = [run for cue in using for run in self._runs(cue, name, using)]
        idle = [run for cue in self._strands() for run in self._runs(cue, name, ())]
        takes = any(cue.conflict == "take" for cue in using)
        late = [c.name for c in using if takes and c.conflict == "wait"]
        return LightInRuns(runs, idle, self._is_given_back(name), late)

    def _is_given_back(self, name: str) -> bool:
        """Whether something has the light when no cue does."""
        rig = self._show.rig
        follows = {*(one.output for one in rig.follows), *(one.output for one in rig.shines)}
        return name in follows or any(name in outputs_used(cue.body) for cue in self._strands())

    def _strands(self) -> list[Cue]:
        score = self._show.score
        return [cue for cue in score.cues if cue.name in score.idle]

    def _runs(self, cue: Cue, name: str, beside: Collection[Cue]) -> list[LightRun]:
        """The ways in which a cue can run; with its part for letting go behind it, where it has
        one: between a press and the next one there is time for both."""
        if name not in outputs_used(cue.body) or len(set(self._states.left(name))) < 2:
            return []
        takes = any(each.conflict == "take" for each in beside)
        part = next((c for c in self._show.score.cues if c.name == cue.let_go), None)
        found: list[LightRun] = []
        for one in self._states.runs(cue):
            ends = duration_ms(one.body) / FRAME_MS
            run = LightRun(cue.name, self._ways(one, name), SLOT if takes else ends, ends)
            found.append(run)
            if part is not None:
                found += self._let_go(run, self._ways(part, name), part)
        return found

    def _let_go(self, run: LightRun, then: tuple[LightWay, ...], part: Cue) -> Iterator[LightRun]:
        lasts = duration_ms(part.body) / FRAME_MS
        for count in range(len(run.ways) + 1):
            kept = run.ways[:count]
            at = max(1, kept[-1].start if kept else 1)
            behind = tuple(LightWay(at + w.start, at + w.end, w.target) for w in then)
            yield LightRun(run.name, (*kept, *behind), min(run.least, SLOT), at + lasts)

    def _ways(self, cue: Cue, name: str) -> tuple[LightWay, ...]:
        fades: list[tuple[float, Fade]] = []
        plain = not self._bound.draws(cue) and _written_out(cue.body, name, fades)
        if plain and len(fades) <= MOST_WAYS:
            return tuple(self._timed(fades, self._least_pct(name)))
        # nothing is known of when they come
        most = ceil(self._bound.of_light(cue, name))
        return tuple(LightWay(0, FRAMES, None) for _ in range(most))

    def _timed(self, fades: list[tuple[float, Fade]], least_pct: float) -> Iterator[LightWay]:
        """The ways of fades with the time that each needs to go so far, from wherever it begins."""
        before: tuple[float, float] | None = None  # when the last one has ended, and where
        for at, fade in fades:
            if isinstance(fade.light, StripLight):
                bends = self._bound.of_one_fade(fade.output)
                yield LightWay(*_span(at, fade), fade.light, bends=bends)
                continue
            if before is not None and before[0] <= at:
                goes = abs(fade.light - before[1])
            else:
                left = self._states.left(fade.output)
                goes = max(abs(fade.light - one) for one in left if isinstance(one, float | int))
            fastest = coefficients(fade.law).cv * goes / max(fade.duration_ms, 1)
            needs = least_pct / fastest // FRAME_MS if fastest else float(FRAMES)
            yield LightWay(*_span(at, fade), fade.light, int(min(max(needs, 1), FRAMES)))
            before = at + fade.duration_ms, fade.light


def _span(at_ms: float, fade: Fade) -> tuple[int, int]:
    return int(at_ms // FRAME_MS), ceil((at_ms + fade.duration_ms) / FRAME_MS)


def _written_out(body: Step, name: str, found: list[tuple[float, Fade]]) -> bool:
    """Write the fades of a light into `found` in the order of time, passes after passes.

    Without end for a second and a frame more. What stands behind something without end is never
    done. False: what is chosen is not known.
    """
    lengths = Lengths(body)
    stack: list[tuple[float, Step]] = [(0.0, body)]
    while stack and len(found) <= MOST_WAYS:
        at, step = stack.pop()
        if at == inf:
            continue
        match step:
            case Fade() if step.output == name:
                found.append((at, step))
            case InTurn():
                for child in step.children:
                    stack.append((at, child))
                    at += lengths[child]
            case Together():
                stack += [(at + n * step.interval_ms, c) for n, c in enumerate(step.children)]
            case Repeat():
                stack += _passes(at, step, lengths[step.body])
            case OneOf():
                return False
    found.sort(key=lambda each: each[0])
    return not stack


def _passes(at_ms: float, repeat: Repeat, lasts_ms: float) -> list[tuple[float, Step]]:
    endless = repeat.times is None
    times = MOST_WAYS if endless else min(repeat.times or 0, MOST_WAYS + 1)
    if endless and lasts_ms > 0:
        times = min(times, int(2 * FRAMES * FRAME_MS // lasts_ms) + 2)
    step = max(lasts_ms, FRAME_MS) if endless else lasts_ms
    if step == inf:
        return [(at_ms, repeat.body)]
    return [(at_ms + n * step, repeat.body) for n in range(times)]
