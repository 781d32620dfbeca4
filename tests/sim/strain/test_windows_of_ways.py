"""How many ways windows of a second hold, against windows laid at every place that matters.

A window of 1,020 ms that starts at t meets a span from a to b where a <= t + 1020 and b >= t, both
ends counted. Between the places where a span comes or goes nothing changes.
"""

from __future__ import annotations

from itertools import pairwise
from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.model import (
    Cue,
    Fade,
    Follow,
    Hold,
    InTurn,
    Lamp,
    Repeat,
    Rig,
    Score,
    Show,
    Step,
    Together,
)
from sim.strain.drawn_times import Late
from sim.strain.light_bound import (
    FEW,
    LightBound,
    _densest,
    _densest_of_many,
    _densest_together,
    _longest,
    _meeting_others,
    _RepeatsAround,
    _span,
    _Ways,
    together,
)
from sim.strain.light_states import LightStates

WINDOW = 1020.0
STARTS = st.sampled_from([0.0, 100.0, 700.0, 1020.0, 1120.0, 2000.0, 3020.0, 3021.0, 9000.0])
LENGTHS = st.sampled_from([0.0, 0.0, 80.0, 320.0, 1000.0, 2500.0])


@st.composite
def spans(draw) -> list[_Ways]:
    rows = st.tuples(st.sampled_from("abc"), STARTS, LENGTHS, st.sampled_from([1.0, 2.0, 4.0]))
    found = draw(st.lists(rows, min_size=1, max_size=10))
    return [_Ways(name, at, at + lasts, most) for name, at, lasts, most in found]


def held(ways: list[_Ways], at: float) -> float:
    return sum(one.most for one in ways if one.start_ms <= at + WINDOW and one.end_ms >= at)


def places(ways: list[_Ways]) -> list[float]:
    """Where spans come and go, and one place between each two of these."""
    edges = sorted({one.start_ms - WINDOW for one in ways} | {one.end_ms for one in ways})
    between = [(a + b) / 2.0 for a, b in pairwise(edges)]
    return sorted([*edges, *between])


@given(spans())
def test_the_densest_window_is_that_of_all_that_may_be_laid(ways: list[_Ways]) -> None:
    most = max(held(ways, at) for at in places(ways))
    assert _densest(ways) == most
    assert _densest_of_many(ways) == most
    many = ways * (FEW // len(ways) + 1)
    assert _densest(many) == most * (FEW // len(ways) + 1)


@given(spans(), st.sampled_from([1.0, 2.0, 3.5, 4.0, 6.0, 8.0]))
@settings(max_examples=300)
def test_the_longest_time_is_that_in_which_windows_may_start_one_behind_the_other(
    ways: list[_Ways], changes: float
) -> None:
    longest, since = 0.0, None
    for at in places(ways):
        if held(ways, at) < changes:
            since = None
            continue
        since = at if since is None else since
        longest = max(longest, at - since)
    assert _longest(ways, changes) == longest


@given(spans())
def test_those_that_meet_others_share_some_window_with_one_of_another_light(
    ways: list[_Ways],
) -> None:
    def meet(one: _Ways, other: _Ways) -> bool:
        """Some window meets both: they are no farther from one another than its length."""
        return max(one.start_ms, other.start_ms) - min(one.end_ms, other.end_ms) <= WINDOW

    several = [one for one in ways if any(o.output != one.output and meet(one, o) for o in ways)]
    assert _meeting_others(ways) == several
    names = {one.output for one in ways}
    alone = max(_densest([one for one in ways if one.output == name]) for name in names)
    sums = max(0.0, 2.0 * (_densest(several) if several else 0.0) - 1.0)
    assert _densest_together(ways) == (max(alone, sums) if len(names) > 1 else alone)


@pytest.mark.parametrize(("ways", "changes"), [(0, 0), (0.5, 0), (1, 1), (2, 3), (4.5, 8)])
def test_several_lights_turn_their_sum_twice_for_each_way_but_one(
    ways: float, changes: float
) -> None:
    assert together(ways) == changes


# -- how long -------------------------------------------------------------------------------------

LURE, EYE = Lamp("lure", "b", 9, safe_pct=5.0), Lamp("eye", "b", 10)


def show(*cues: Cue, **rig: object) -> Show:
    return Show(Rig((), (), (LURE, EYE), **rig), Score("t", cues))  # type: ignore[arg-type]


def longest(changes: float, *steps: Step, written: dict[str, Step] | None = None) -> float:
    cue = Cue("c", "", InTurn(steps))
    return LightBound(show(cue), written).longest_ms(cue, changes)


def beats(times: int | None, name: str = "lure") -> Repeat:
    """Two ways in 200 ms: eleven in a window at most, with the one that is cut, twelve."""
    return Repeat(InTurn((Fade(name, 90.0, 100), Fade(name, 10.0, 100))), times)


def test_what_is_repeated_holds_its_changes_from_a_window_before_it_until_its_end() -> None:
    """Ten passes are two seconds. A window that holds six of either fade begins 1,020 ms before
    the second one at the earliest."""
    assert longest(12.0, beats(10)) == 920.0 + 2000.0
    assert longest(6.0, beats(10)) == 1020.0 + 2000.0
    assert longest(12.0, beats(10), Hold(9000), beats(20)) == 920.0 + 4000.0
    assert longest(13.0, beats(10)) == 0.0
    assert longest(12.0, beats(None)) == inf


def test_of_two_lights_half_as_many_ways_and_one_more_make_as_many_changes() -> None:
    """12 and 12 ways turn the sum 2 * 24 - 1 times: of 47 changes, not of 48."""
    both = Together((beats(10), beats(10, "eye")))
    assert longest(47.0, both) == 920.0 + 2000.0
    assert longest(48.0, both) == 0.0
    assert longest(12.0, both) == 1020.0 + 2000.0
    # a light that stands still is none of several
    assert longest(12.0, beats(10), Hold(50)) == 920.0 + 2000.0
    assert longest(13.0, beats(10), Hold(50)) == 0.0


def test_what_draws_its_times_may_go_on_as_long_as_it_likes() -> None:
    written: dict[str, Step] = {"c": InTurn((beats(10),))}
    assert longest(12.0, beats(10), written=written) == inf
    assert longest(12.5, beats(10), written=written) == 0.0


# -- spans ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("loop", "late", "expected"),
    [
        (None, Late(0.0, 0.0), (300.0, 400.0, 3.0)),
        (None, Late(50.0, 70.0), (300.0, 450.0, 3.0)),
        # a window and the fade meet 1,120 ms: five passes of 200 and a sixth
        (_RepeatsAround(2300.0, 200.0, 10.0), Late(0.0, 0.0), (300.0, 2300.0, 6 * 3.0)),
        (_RepeatsAround(2300.0, 200.0, 4.0), Late(0.0, 0.0), (300.0, 2300.0, 4 * 3.0)),
        # 80 ms late in its pass, just a seventh begins; 79 are too few
        (_RepeatsAround(2300.0, 200.0, 10.0), Late(50.0, 80.0), (300.0, 2350.0, 7 * 3.0)),
        (_RepeatsAround(2300.0, 200.0, 10.0), Late(50.0, 79.0), (300.0, 2350.0, 6 * 3.0)),
        # no pass is shorter than a millisecond
        (_RepeatsAround(2300.0, 0.0, inf), Late(0.0, 0.0), (300.0, 2300.0, 1121 * 3.0)),
        (_RepeatsAround(2300.0, 1.0, inf), Late(0.0, 0.0), (300.0, 2300.0, 1121 * 3.0)),
        (_RepeatsAround(2300.0, 2.0, inf), Late(0.0, 0.0), (300.0, 2300.0, 561 * 3.0)),
    ],
)
def test_a_span_counts_the_passes_that_a_window_meets(
    loop: _RepeatsAround | None, late: Late, expected: tuple[float, float, float]
) -> None:
    found = _span(Fade("lure", 9.0, 100), 300.0, 100.0, 3.0, loop, late)
    assert found == _Ways("lure", *expected)


@pytest.mark.parametrize(("each_ms", "ends_ms"), [(0, 7.0), (1, 7.0), (2, 14.0), (200, 1400.0)])
def test_a_repeat_ends_behind_its_passes_each_of_a_millisecond_at_least(
    each_ms: int, ends_ms: float
) -> None:
    (found,) = LightBound(show())._read(Cue("c", "", Repeat(Fade("lure", 9.0, each_ms), 7)))
    assert (found.start_ms, found.end_ms) == (0.0, ends_ms)


def test_of_repeats_in_one_another_the_outermost_end_and_the_innermost_pass_count() -> None:
    """The inner one begins 50 ms into a pass of 250; three of these end at 850."""
    inner = Repeat(Fade("lure", 9.0, 100), 2)
    body = InTurn((Hold(100), Repeat(InTurn((Hold(50), inner)), 3)))
    first, before = LightBound(show())._read(Cue("c", "", body))
    assert (first.start_ms, first.end_ms, first.most) == (150.0, 850.0, 1120 // 100 + 1)
    assert (before.start_ms, before.end_ms, before.most) == (0.0, 150.0, 1.0)


def test_what_idle_lights_at_power_up_comes_on_a_frame_before_it() -> None:
    cue = Cue("c", "", InTurn((Fade("lure", 9.0, 100), Repeat(Hold(10), None))))
    made = show(cue)
    idle = Show(made.rig, Score("t", (cue,), idle=("c",)))
    assert LightBound(idle)._read(cue) == [
        _Ways("lure", 0.0, 100.0, 1.0),
        _Ways("lure", -20.0, -20.0, 1.0),
    ]


# -- where lights stand ---------------------------------------------------------------------------


def test_a_light_that_follows_a_source_is_left_at_either_end_of_its_way() -> None:
    follow = Follow("eye", "knob", 0.0, 1.0, 15.0, 85.0)
    found = LightStates(show(follows=(follow, Follow("jaw", "knob", 0.0, 1.0, 0.0, 9.0))))
    assert found.left("eye") == (0.0, 15.0, 85.0)
    assert found.left("lure") == (0.0, 5.0)
    assert found._faded == {"eye", "jaw"}
