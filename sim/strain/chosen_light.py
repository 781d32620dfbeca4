"""How often light may change in a strand that makes choices: a bound over every way through it.

Fades of a light follow one another on many ways there. So they are the places of a graph: from each
fade a way leads to every fade that may come right behind it, in the least time that it takes to get
there. A row of changes is a walk through the graph. Of all walks that make so many changes the
quickest counts, so what one change takes is not given away at the next one: alternatives count one
after the other, and never all at once.

Several lights of a strand are added up along each walk: a fade brings at most one change of their
sum, and no more of one than it changes its light. What fades at once may turn the sum more often.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from math import ceil, inf
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from sim.arrays import Array
from sim.light.counting import TOO_MANY
from sim.light.hues import ways_of_fades
from sim.model import Effect, Fade, InTurn, Lamp, OneOf, Repeat, Step, Strip, StripLight, Together
from sim.rulebook import FRAME_MS
from sim.score.draws import longest_ms
from sim.score.tree import Lengths, acts, walk
from sim.strain.drawn_stands import (
    ROUND,
    Sense,
    levels_at,
    levels_found,
    levels_of,
    reached,
    way_to,
)
from sim.strain.light_bound import WINDOW_MS, together
from sim.strain.light_states import LightStates

MOST_PLACES: Final = 240
"""If all ways of a second have more fades, the ways of light are counted (own limit)."""

_PARTS: Final = 8
"""Shares of a change are counted in eighths, rounded up (own)."""

_MOST_PARTS: Final = 2 * TOO_MANY * _PARTS

_DARK, _LIT = 0, 1

_Exits: TypeAlias = dict[int, float]
"""By the fade that was the last one, the least time (ms) since its end."""


class _TooHardError(Exception):
    """The ways of light are to be counted instead."""


@dataclass(frozen=True, slots=True)
class _FadesAtOnce:
    """A fade, or several that go on at once."""

    fades: tuple[Fade, ...]
    lasts_ms: float
    turns: float
    """How often the sum of all lights may turn in it at most, and one more."""
    behind: tuple[tuple[int, float], ...] = ()
    """The places before it, and how long after the end of each (ms) it begins."""


class _WaysThrough:
    """The ways through the fades of some lights, in the shortest times.

    Place 0 is the dark before the strand, place 1 what it finds, a frame before it starts.
    """

    def __init__(self, body: Step, names: Collection[str]) -> None:
        self._names = frozenset(names)
        self._lengths = Lengths(body)
        self.places = [
            _FadesAtOnce((), 0.0, 0.0),
            _FadesAtOnce((), 0.0, len(names), ((_DARK, 0.0),)),
        ]
        self._repeated(body, {_LIT: FRAME_MS}, inf)

    def _of(self, step: Step, exits: _Exits) -> _Exits:
        if not self._fades_in(step):
            return _later(exits, self._lengths[step])
        match step:
            case Fade():
                return self._place((step,), step.duration_ms, 1.0, exits)
            case InTurn():
                for child in step.children:
                    exits = self._of(child, exits)
                return exits
            case OneOf():
                found: _Exits = {}
                for child in step.children:
                    for place, since in self._of(child, exits).items():
                        found[place] = min(since, found.get(place, inf))
                return found
            case Together():
                return self._together(step, exits)
            case Repeat():
                times = inf if step.times is None else step.times
                return self._repeated(step.body, exits, times)
        raise AssertionError(step)

    def _repeated(self, body: Step, exits: _Exits, times: float) -> _Exits:
        """So many passes that a second which starts in one of the first two lies within them."""
        enough = ceil(WINDOW_MS / max(1.0, self._lengths[body])) + 2
        for _ in range(int(min(times, enough))):
            exits = self._of(body, exits)
        return {} if times == inf else exits

    def _together(self, step: Together, exits: _Exits) -> _Exits:
        """One of the things fades, or all that fade are one place."""
        fading = [n for n, child in enumerate(step.children) if self._fades_in(child)]
        whole = self._lengths[step]
        if len(fading) > 1:
            return self._at_once(step, whole, exits)
        child = step.children[fading[0]]
        before = fading[0] * step.interval_ms
        found = self._of(child, _later(exits, before))
        return _later(found, max(0.0, whole - before - longest_ms(child)))

    def _at_once(self, step: Together, whole: float, exits: _Exits) -> _Exits:
        fades = [one for one in acts(step) if isinstance(one, Fade) and one.output in self._names]
        endless = any(isinstance(s, Repeat) and s.times is None for s in walk(step))
        if len({one.output for one in fades}) < 2 or endless:
            raise _TooHardError
        return self._place(tuple(fades), whole, together(_made(step, self._names)), exits)

    def _place(
        self, fades: tuple[Fade, ...], lasts_ms: float, turns: float, exits: _Exits
    ) -> _Exits:
        if not exits:  # behind something endless
            return {}
        if len(self.places) >= MOST_PLACES:
            raise _TooHardError
        self.places.append(_FadesAtOnce(fades, lasts_ms, turns, tuple(exits.items())))
        return {len(self.places) - 1: 0.0}

    def _fades_in(self, step: Step) -> bool:
        return any(isinstance(one, Fade) and one.output in self._names for one in acts(step))


def _later(exits: _Exits, by_ms: float) -> _Exits:
    """The same after a wait; nothing comes behind an endless one."""
    if by_ms == inf:
        return {}
    return {place: since + by_ms for place, since in exits.items()}


def _made(step: Step, names: Collection[str]) -> float:
    """How many fades of some lights a step makes at most."""
    match step:
        case Fade():
            return float(step.output in names)
        case InTurn() | Together():
            return sum(_made(child, names) for child in step.children)
        case OneOf():
            return max(_made(child, names) for child in step.children)
        case Repeat():
            return (step.times or 0) * _made(step.body, names)
        case _:
            return 0.0


class ChosenLight:
    """Bounds on the changes of the lights of a strand that makes choices."""

    def __init__(self, body: Step, states: LightStates) -> None:
        self._body, self._states = body, states

    def changes(self, light: Lamp | Strip, senses: Collection[Sense]) -> list[int] | None:
        """The most changes that any second may hold, in each of these senses.

        As far as they are too many. None: the ways of light are to be counted.
        """
        if not self._is_plain((light,)):
            return None
        try:
            ways = _WaysThrough(self._body, (light.name,))
        except _TooHardError:
            return None
        return [_Walks(ways.places, self._levels(ways, light)).most(one) for one in senses]

    def changes_of_all(
        self,
        lights: Collection[Lamp | Strip],
        values: Mapping[str, Callable[[Array], Array]],
        least: float,
    ) -> int | None:
        """The most changes of at least `least` in the sum of what each light gives.

        None: the ways of light are to be counted.
        """
        if not self._is_plain(lights):
            return None
        try:
            ways = _WaysThrough(self._body, tuple(values))
        except _TooHardError:
            return None
        return _most_in_all(ways.places, self._weights(ways, values, least - ROUND))

    def _is_plain(self, lights: Collection[Lamp | Strip]) -> bool:
        """Whether each fade of these lights goes one way, with no effect over it."""
        names = {one.name for one in lights}
        for step in walk(self._body):
            if isinstance(step, Effect) and step.output in names and step.name != "steady":
                return False
            if isinstance(step, Repeat) and step.while_held:
                return False
        for light in lights:
            if isinstance(light, Strip):
                left = self._states.left(light.name)
                several = [one for one in left if isinstance(one, StripLight)]
                if ways_of_fades(light, several) > 1:
                    return False
        return True

    def _levels(self, ways: _WaysThrough, light: Lamp | Strip) -> list[Array]:
        found = levels_found(light, self._states)
        return [
            np.zeros((1, found.shape[1])),
            found,
            *(levels_at(p.fades[0]) for p in ways.places[2:]),
        ]

    def _weights(
        self, ways: _WaysThrough, values: Mapping[str, Callable[[Array], Array]], least: float
    ) -> list[float]:
        """By place, how many changes of the sum of all lights it can bring."""
        ranges: dict[str, tuple[float, float]] = {}
        for name, value in values.items():
            several = np.concatenate(
                [
                    np.atleast_1d(value(levels_of(one)[np.newaxis]))
                    for one in self._states.left(name)
                ]
            )
            ranges[name] = float(several.min()), float(several.max())
        ends = {}
        for place in ways.places:
            for fade in place.fades:
                several = np.atleast_1d(values[fade.output](levels_at(fade)))
                ends[id(fade)] = one = float(several.min()), float(several.max())
                low, high = ranges[fade.output]
                ranges[fade.output] = min(low, one[0]), max(high, one[1])
        found = [0.0, float(len(values))]
        for place in ways.places[2:]:
            way = 0.0
            for fade in place.fades:
                (low, high), (least_end, most_end) = ranges[fade.output], ends[id(fade)]
                way += max(most_end - low, high - least_end)
            found.append(min(place.turns, way / least))
        return found


class _Walks:
    """The quickest walks through the places of one light."""

    def __init__(self, places: list[_FadesAtOnce], levels: list[Array]) -> None:
        self._places, self._levels = places, levels
        count = len(places)
        self._begins = np.full((count, count), inf)
        """The least time from the end of one to the beginning of another."""
        self._begins_over = self._begins.copy()
        """The same over a third one."""
        self._ends = self._begins.copy()
        for n, place in enumerate(places):
            for before, gap_ms in place.behind:
                column = self._ends[:, before] + gap_ms
                self._begins[:, n] = np.minimum(self._begins[:, n], column)
                column[before] = inf
                self._begins_over[:, n] = np.minimum(self._begins_over[:, n], column)
            self._ends[:, n] = self._begins[:, n] + place.lasts_ms
            self._ends[n, n] = 0.0

    def most(self, sense: Sense) -> int:
        """The most changes that a second of frames may hold, as far as it is more than too many."""
        values = [np.atleast_1d(sense.value(levels)) for levels in self._levels]
        low = np.array([float(several.min()) for several in values])
        high = np.array([float(several.max()) for several in values])
        least = sense.least - ROUND
        there = np.isfinite(self._begins)
        turns = {
            True: there
            & (high[np.newaxis] - low[:, np.newaxis] >= least)
            & (low < sense.bright - ROUND)[:, np.newaxis],
            False: there
            & (high[:, np.newaxis] - low[np.newaxis] >= least)
            & (low < sense.bright - ROUND)[np.newaxis],
        }
        # the light that is found may be one from which a fade just counts, at its very end
        first = {way: turns[way].any(axis=0) for way in turns}
        onward = {way: self._before_last(values, turns[way], sense, way) for way in turns}
        steps = {way: np.where(turns[way], self._ends, inf) for way in turns}
        return max(self._row(first[up], onward, steps, not up) for up in (True, False))

    def _row(
        self,
        first: NDArray[np.bool_],
        onward: dict[bool, Array],
        steps: dict[bool, Array],
        way: bool,
    ) -> int:
        """The most changes of a row behind a first one, which ends at the places `first`; `way` is
        that of the second one."""
        took = np.where(np.diag(first), 0.0, inf)
        most, count = 0, 2
        while True:
            if not (took + onward[way][np.newaxis] < WINDOW_MS).any():
                return most
            most = count
            took = _composed(np.where(took < WINDOW_MS, took, inf), steps[way])
            way, count = not way, count + 1

    def _before_last(
        self, values: list[Array], turns: NDArray[np.bool_], sense: Sense, up: bool
    ) -> Array:
        """By place, the least time (ms) from its end until a change away from it counts."""
        found: Array = np.where(turns, self._begins_over, inf).min(axis=1)
        for n, place in enumerate(self._places):
            for before, gap_ms in place.behind:
                if not turns[before, n]:
                    continue
                if not place.fades:
                    found[before] = min(found[before], gap_ms)
                    continue
                ends = values[n]
                far = self._levels[n][int(np.argmax(ends) if up else np.argmin(ends))]
                way = sense.value(way_to(self._levels[before], far, place.fades[0].law))
                soonest = min(
                    reached(row, start, sense.least, up)
                    for row, start in zip(way, values[before], strict=True)
                )
                found[before] = min(found[before], gap_ms + soonest * place.lasts_ms)
        return found


def _composed(took: Array, steps: Array) -> Array:
    """The least times of a walk and one step more."""
    found: Array = np.full(took.shape, inf)
    for m in np.flatnonzero(np.isfinite(took).any(axis=0)):
        np.minimum(found, took[:, m : m + 1] + steps[np.newaxis, m], out=found)
    return found


def _most_in_all(places: list[_FadesAtOnce], weights: list[float]) -> int:
    """The most changes that any second of a walk may bring, each place with its weight.

    For each place where a second starts: the quickest walk from it to each other one that brings so
    many parts of a change.
    """
    parts = [min(_MOST_PARTS, ceil(weight * _PARTS - ROUND)) for weight in weights]
    most = 0
    for start in range(_LIT, len(places)):
        quickest = np.full(_MOST_PARTS + 1, inf)
        quickest[parts[start]] = 0.0
        ends = {start: quickest}
        most = max(most, parts[start])
        for n in range(start + 1, len(places)):
            befores = [ends[one] + gap for one, gap in places[n].behind if one in ends]
            if not befores:
                continue
            begins = np.min(np.array(befores), axis=0)
            begins[begins >= WINDOW_MS] = inf
            if not np.isfinite(begins).any():
                continue
            found = np.full(_MOST_PARTS + 1, inf)
            more = parts[n]
            found[more:] = begins[: _MOST_PARTS + 1 - more]
            found[-1] = min(found[-1], begins[_MOST_PARTS - more :].min())
            most = max(most, int(np.flatnonzero(np.isfinite(found))[-1]))
            ends[n] = found + places[n].lasts_ms
    return int(most) // _PARTS
