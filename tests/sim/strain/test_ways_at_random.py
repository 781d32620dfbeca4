"""Strands that choose, at random: every way through them is played here one by one, and its changes
are counted as `sim.strain.drawn_light` says, fade by fade, without graphs or matrices.

L* and luminance are by the formula of CIE 1976, the law 3-4-5 by its polynomial.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import product
from math import ceil, inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.model import (
    UNIFORM,
    Cue,
    Drawn,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Law,
    OneOf,
    Repeat,
    Rig,
    Score,
    Show,
    Step,
    Together,
)
from sim.score.tree import acts
from sim.strain.chosen_light import ChosenLight
from sim.strain.drawn_light import _most_changes
from sim.strain.drawn_stands import Sense, own_luminance, stands_of
from sim.strain.light_states import LightStates

STAYS = Repeat(Hold(10), None)
SECOND_MS = 1020
FRAME_MS = 20
LURE, EYE = Lamp("lure", "b", 9), Lamp("eye", "b", 10)

Way = tuple[tuple[tuple[int, Fade], ...], int]
"""Fades with their beginnings (ms), and how long all of it takes."""
Row = tuple[tuple[int, Fade], ...]
Levels = tuple[float, ...]


# -- the strands ----------------------------------------------------------------------------------

LEVELS = (0.0, 30.0, 37.5, 45.0, 60.0, 88.0, 92.0, 100.0)


def fades(names: tuple[str, ...]) -> st.SearchStrategy[Fade]:
    drawn = st.sampled_from((None, None, None, 2.0, 12.0))

    def made(name: str, level: float, ms: int, law: Law, more: float | None) -> Fade:
        most = None if more is None else min(100.0, level + more)
        one = None if most is None or most <= level else Drawn(target_key=1, most=most)
        return Fade(name, level, ms, law, drawn=one)

    return st.builds(
        made,
        st.sampled_from(names),
        st.sampled_from(LEVELS),
        st.sampled_from((0, 0, 60, 113, 250)),
        st.sampled_from((UNIFORM, Law("3-4-5"))),
        drawn,
    )


def waits() -> st.SearchStrategy[Hold]:
    return st.sampled_from((60, 101, 145, 204, 339)).map(Hold)


def bodies(names: tuple[str, ...], is_exact: bool = True) -> st.SearchStrategy[Step]:
    """`is_exact`: what chooses beside something else takes as long either way."""
    fade = fades(names)
    row = st.lists(st.one_of(fade, waits()), min_size=1, max_size=4).map(
        lambda steps: InTurn(tuple(steps))
    )
    choice = st.lists(st.one_of(fade, row, waits()), min_size=2, max_size=3).map(
        lambda steps: OneOf(tuple(steps))
    )
    cuts = st.lists(st.sampled_from(LEVELS), min_size=2, max_size=2).map(
        lambda levels: OneOf(tuple(Fade(names[0], level, 0) for level in levels))
    )
    alone = st.one_of(fade, row, cuts) if is_exact else st.one_of(choice, row)
    beside = st.builds(
        lambda one, ms, interval, is_first: Together(
            (one, Hold(ms)) if is_first else (Hold(ms), one), interval
        ),
        alone,
        st.sampled_from((0, 50, 400)),
        st.sampled_from((0, 40)),
        st.booleans(),
    )
    again = st.builds(Repeat, st.one_of(row, choice), st.integers(1, 2))
    whole = st.lists(st.one_of(row, choice, beside, again), min_size=2, max_size=4)
    return whole.map(lambda steps: InTurn((*steps, OneOf((Hold(9), Hold(70))))))


def ways(step: Step) -> list[Way]:
    """Every way through a step, played."""
    match step:
        case Fade():
            return [(((0, step),), step.duration_ms)]
        case Hold():
            return [((), step.duration_ms)]
        case OneOf():
            return [way for child in step.children for way in ways(child)]
        case InTurn():
            return [in_row(several) for several in product(*(ways(c) for c in step.children))]
        case Repeat():
            assert step.times is not None
            return ways(InTurn((step.body,) * step.times))
        case Together():
            return [
                at_once(several, step.interval_ms)
                for several in product(*(ways(c) for c in step.children))
            ]
    raise AssertionError(step)


def in_row(several: tuple[Way, ...]) -> Way:
    start, found = 0, []
    for inner, lasts in several:
        found += [(start + begins, fade) for begins, fade in inner]
        start += lasts
    return tuple(found), start


def at_once(several: tuple[Way, ...], interval_ms: int) -> Way:
    found = [(n * interval_ms + b, f) for n, (inner, _) in enumerate(several) for b, f in inner]
    return tuple(found), max(n * interval_ms + lasts for n, (_, lasts) in enumerate(several))


def count_of_ways(step: Step) -> int:
    match step:
        case OneOf():
            return sum(map(count_of_ways, step.children))
        case InTurn() | Together():
            found = 1
            for child in step.children:
                found *= count_of_ways(child)
            return found
        case Repeat():
            return int(count_of_ways(step.body) ** (step.times or 1))
    return 1


# -- the count ------------------------------------------------------------------------------------


def luminance(level: float | np.ndarray) -> np.ndarray:
    lightness = np.asarray(level, dtype=float)
    return np.where(lightness > 8.0, ((lightness + 16.0) / 116.0) ** 3, lightness / 903.2963)


def ends(fade: Fade) -> Levels:
    assert isinstance(fade.light, float)
    return steps(fade.light, fade.light if fade.drawn is None else fade.drawn.most)


def steps(low: float, high: float) -> Levels:
    return tuple(low + n / 2.0 for n in range(round(2.0 * (high - low)) + 1))


@lru_cache(maxsize=5000)
def soonest(start: Levels, far: float, law: Law, least: float, is_up: bool) -> float:
    """The least share of a fade after which it counts, from any of these levels: of 64 parts the
    end of the last one before which it does not."""
    x = np.arange(65) / 64.0
    gone = x if law == UNIFORM else 10 * x**3 - 15 * x**4 + 6 * x**5
    levels = np.array(start)[:, np.newaxis]
    away = luminance(levels + (far - levels) * gone) - luminance(levels)
    there = np.flatnonzero(((away if is_up else -away) >= least - 1e-9).any(axis=0))
    return max(0, int(there[0]) - 1) / 64.0 if there.size else inf


def counted(fades: Row, found: Levels, least: float, bright: float) -> int:
    """The most changes of a row within a second; the light is `found`, and dark before."""
    stands = [(0.0,), found, *(ends(fade) for _, fade in fades)]
    begins = [-inf, -inf, *(begin for begin, _ in fades)]
    done = [-inf, -FRAME_MS, *(begin + fade.duration_ms for begin, fade in fades)]
    low = [bright_as(min(one)) for one in stands]
    high = [bright_as(max(one)) for one in stands]
    count_of_stands = len(stands)

    def turns(one: int, other: int, is_up: bool) -> bool:
        under, over = (one, other) if is_up else (other, one)
        return high[over] - low[under] >= least - 1e-9 and low[under] < bright - 1e-9

    def last_ms(one: int, is_up: bool) -> float:
        """When a change away from a stand counts at the soonest."""
        onward = [n for n in range(one + 1, count_of_stands) if turns(one, n, is_up)]
        best = min((begins[n] for n in onward if n > one + 1), default=inf)
        if one + 1 in onward and one > 0:
            begin, fade = fades[one - 1]
            far = max(stands[one + 1]) if is_up else min(stands[one + 1])
            share = soonest(stands[one], far, fade.law, least, is_up)
            best = min(best, begin + share * fade.duration_ms)
        return best

    onward = {
        way: [
            [n for n in range(one + 1, count_of_stands) if turns(one, n, way)]
            for one in range(count_of_stands)
        ]
        for way in (True, False)
    }
    last = {way: [last_ms(one, way) for one in range(count_of_stands)] for way in (True, False)}
    most = 0
    for first in range(1, count_of_stands):
        until = done[first] + SECOND_MS
        for is_up in (True, False):
            if not any(first in onward[is_up][n] for n in range(first)):
                continue
            there, way, count = {first}, not is_up, 2
            while any(last[way][one] < until for one in there):
                most = max(most, count)
                there = {n for one in there for n in onward[way][one] if begins[n] < until}
                way, count = not way, count + 1
    return most


@lru_cache
def bright_as(level: float) -> float:
    return float(luminance(level))


def brightest(body: Step) -> float:
    return max((max(ends(fade)) for way, _ in ways(body) for _, fade in way), default=0.0)


def of(body: Step) -> ChosenLight:
    return ChosenLight(body, states(body))


def states(body: Step) -> LightStates:
    """As of a show whose lamps get as bright, without choices: to write those out takes long."""
    fades = [one for one in acts(body) if isinstance(one, Fade)]
    cue = Cue("c", "", InTurn(tuple(Fade(one.output, max(ends(one)), 0) for one in fades)))
    return LightStates(Show(Rig((), (), (LURE, EYE)), Score("t", (cue,))))


@pytest.mark.parametrize("bright", [0.8, inf])
@given(body=bodies(("lure",)))
@settings(max_examples=40, deadline=None)
def test_a_strand_counts_as_the_worst_of_its_ways(bright: float, body: Step) -> None:
    if count_of_ways(body) > 24:
        return
    sense = Sense("general", ("lure",), own_luminance(LURE), 0.1, bright)
    found = steps(0.0, brightest(body))
    expected = max(counted(way, found, 0.1, bright) for way, _ in ways(body))
    strand = InTurn((body, STAYS))
    assert of(strand).changes(LURE, (sense,)) == [expected]


@given(body=bodies(("lure",), is_exact=False))
@settings(max_examples=40, deadline=None)
def test_of_what_chooses_beside_something_else_no_way_counts_more(body: Step) -> None:
    if count_of_ways(body) > 24:
        return
    sense = Sense("general", ("lure",), own_luminance(LURE), 0.1, 0.8)
    found = steps(0.0, brightest(body))
    expected = max(counted(way, found, 0.1, 0.8) for way, _ in ways(body))
    bound = of(InTurn((body, STAYS))).changes(LURE, (sense,))
    assert bound is not None
    assert bound[0] >= expected


@given(body=bodies(("lure",)), bright=st.sampled_from((0.8, inf)))
@settings(max_examples=40, deadline=None)
def test_a_row_without_choices_counts_as_it_is_played(body: Step, bright: float) -> None:
    """The first of its ways."""
    (way, lasts) = ways(body)[0]
    start = 0
    row: list[Step] = []
    for begins, fade in way:
        row += [Hold(begins - start), fade]
        start = begins + fade.duration_ms
    strand = InTurn((*row, Hold(lasts), STAYS))
    if not way:
        return
    sense = Sense("general", ("lure",), own_luminance(LURE), 0.1, bright)
    found = stands_of(strand, LURE, states(strand))
    assert found is not None
    known = steps(0.0, max(max(ends(fade)) for _, fade in way))
    assert _most_changes(found, sense) == counted(way, known, 0.1, bright)


# -- several lights -------------------------------------------------------------------------------


def summed(way: Row, parts: dict[int, int], found: int) -> int:
    """The most eighths of changes that a second holds which starts where a fade ends."""
    begins = [-inf, *(begin for begin, _ in way)]
    done = [-FRAME_MS, *(begin + fade.duration_ms for begin, fade in way)]
    each = [found, *(parts[id(fade)] for _, fade in way)]
    return max(
        each[n]
        + sum(
            part
            for begin, part in zip(begins[n + 1 :], each[n + 1 :], strict=True)
            if begin - done[n] < SECOND_MS
        )
        for n in range(len(each))
    )


@given(body=bodies(("lure", "eye")), share=st.sampled_from((0.04, 0.09, 0.3)))
@settings(max_examples=40, deadline=None)
def test_lights_together_count_by_what_each_fade_adds_at_most(body: Step, share: float) -> None:
    """A fade may come from anywhere that its light may be, and brings one change at most; so much
    of a tenth as it goes, in eighths, rounded up. No more than 16 changes are told apart."""
    if count_of_ways(body) > 24:
        return
    every = ways(body)
    used = [fade for way, _ in every for _, fade in way]
    most = {
        name: max((max(ends(f)) for f in used if f.output == name), default=0.0)
        for name in ("lure", "eye")
    }
    parts = {}
    for fade in used:
        low, high = float(luminance(min(ends(fade)))), float(luminance(max(ends(fade))))
        # a lamp may be found dark, or as bright as it ever becomes
        goes = share * max(high, float(luminance(most[fade.output])) - low)
        parts[id(fade)] = min(8, ceil(8.0 * goes / 0.1 - 1e-6))
    expected = max(summed(way, parts, 2 * 8) for way, _ in every)
    values = {
        one.name: lambda levels, one=one: share * own_luminance(one)(levels) for one in (LURE, EYE)
    }
    counted_ = of(InTurn((body, STAYS))).changes_of_all((LURE, EYE), values, 0.1)
    assert counted_ == min(expected, 16 * 8) // 8
