"""Draws are even, the same for everybody, and written out at their hardest."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chisquare

from sim.model import Cue, Drawn, Hold, InTurn, Move, Repeat, Rig, Score, Show
from sim.score.draws import at_its_hardest, drawn, draws_in, key_of, noise, numbered


@given(st.integers(1, 255))
def test_one_key_draws_every_number_once_in_a_whole_turn_of_the_count(key: int) -> None:
    assert len({noise(key, count) for count in range(0, 65536, 7)}) == len(range(0, 65536, 7))


@given(st.integers(-32768, 32767), st.integers(0, 65000), st.integers(1, 255))
def test_a_draw_lies_between_its_ends(least: int, span: int, key: int) -> None:
    values = [drawn(least, least + span, key, count) for count in range(200)]
    assert least <= min(values)
    assert max(values) <= least + span


def test_without_a_key_nothing_is_drawn() -> None:
    assert drawn(5, 9, 0, 77) == 5


def test_the_first_thousand_draws_are_even_and_one_does_not_tell_the_next() -> None:
    """By the chi-squared test of general statistics, over pairs in eight by eight fields."""
    for key in (1, 5, 100, 255):
        values = [drawn(0, 7, key, count) for count in range(2001)]
        fields = np.zeros((8, 8))
        for one, then in pairwise(values):
            fields[one, then] += 1
        assert chisquare(np.bincount(values, minlength=8)).pvalue > 1e-4
        assert chisquare(fields.ravel()).pvalue > 1e-4


def test_the_keys_of_a_strand_differ() -> None:
    for seed in (0, 7, 255):
        keys = {key_of(seed, number) for number in range(255)}
        assert keys == set(range(1, 256))


def gaze(*moves: Move) -> Show:
    hold = Hold(1000, drawn=Drawn(time_key=99, most_ms=3000))
    body = Repeat(InTurn((*moves, hold)), None)
    cue = Cue("gaze", "", numbered(InTurn((body,)), 3))
    return Show(Rig(), Score("", (cue,), idle=("gaze",)))


def look(low: float, high: float) -> Move:
    return Move("neck", low, 400, drawn=Drawn(1, 900, 2, high))


@given(st.integers(1, 7))
def test_at_its_hardest_every_value_comes_after_every_other_in_the_shortest_time(
    count: int,
) -> None:
    show = gaze(*(look(-20.0, 20.0) for _ in range(count)))
    (cue,) = at_its_hardest(show).score.cues
    assert not list(draws_in(cue.body))
    (repeat,) = cue.body.children  # type: ignore[union-attr]
    rounds = [one.children for one in repeat.body.children]
    row = [step for one in rounds for step in one]
    angles = [step.angle_deg for step in row if isinstance(step, Move)]
    places = (-20.0, 0.0, 20.0)
    met = {*pairwise(angles), (angles[-1], angles[0])}
    assert met == {(one, then) for one in places for then in places}
    for first in range(count):
        at_first = {place for n, place in enumerate(angles) if n % count == first}
        assert at_first == set(places)
    assert {step.duration_ms for step in row if isinstance(step, Move)} == {400}
    assert {step.duration_ms for step in row if isinstance(step, Hold)} == {1000}


def test_at_its_hardest_waits_may_also_be_the_longest() -> None:
    (cue,) = at_its_hardest(gaze(look(0.0, 5.0)), "longest").score.cues
    (repeat,) = cue.body.children  # type: ignore[union-attr]
    waits = {s.duration_ms for one in repeat.body.children for s in one.children[1:]}
    assert waits == {3000}


def test_a_show_that_draws_nothing_is_itself_at_its_hardest() -> None:
    show = gaze(Move("neck", 3.0, 400))
    plain = Show(Rig(), Score("", (Cue("nod", "", InTurn((Move("neck", 3.0, 400),))),)))
    assert at_its_hardest(plain) is plain
    assert at_its_hardest(show) is not show
