"""Draws are even, the same for everybody, and written out at their hardest."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chisquare

from sim.model import (
    Cue,
    Drawn,
    Fade,
    Hold,
    InTurn,
    Move,
    Repeat,
    Rig,
    Score,
    Show,
    Step,
    Throw,
    Together,
)
from sim.score.draws import at_its_hardest, at_place, drawn, draws_in, key_of, noise, numbered


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


KEYS_COMPARED = (1, 37, 39, 48, 76, 110, 123, 190, 194, 202, 213, 241, 255)


def test_no_two_keys_draw_alike() -> None:
    """By the strength of association of general statistics (Cramer's V), in four by four fields.

    Two independent rows of 2^16 draws have one of 0.004 on average; with keys mixed once, some
    pairs had up to 0.16. All pairs were measured when the rule was made (0.014 at most); these are
    those with differences that were the worst then, and some of all.
    """
    count = np.arange(65536)
    rows = {key: np.array([drawn(0, 3, key, int(n)) for n in count]) for key in KEYS_COMPARED}
    for one, other in combinations(rows, 2):
        fields = np.zeros((4, 4))
        np.add.at(fields, (rows[one], rows[other]), 1)
        expected = np.outer(fields.sum(1), fields.sum(0)) / count.size
        chi = ((fields - expected) ** 2 / expected).sum()
        assert np.sqrt(chi / count.size / 3) < 0.02, (one, other)


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


def played(step: Step, rounds: int = 1) -> list[Step]:
    """Its statements in turn; what has no end comes round so often."""
    match step:
        case InTurn():
            return [one for child in step.children for one in played(child, rounds)]
        case Repeat():
            return played(step.body, rounds) * (rounds if step.times is None else step.times)
        case _:
            return [step]


def idling(*steps: Step) -> list[Step]:
    """What a strand that repeats them for ever plays when it comes round once at its hardest."""
    body = numbered(Repeat(InTurn(steps), None), 3)
    show = Show(Rig(), Score("", (Cue("gaze", "", InTurn((body,))),), idle=("gaze",)))
    return played(at_its_hardest(show).score.cues[0].body)


@given(st.integers(1, 60), st.integers(1, 4))
def test_draws_in_a_repeat_keep_its_passes_and_leave_each_of_their_values(
    times: int, count: int
) -> None:
    inner = Repeat(InTurn(tuple(look(-20.0, 20.0) for _ in range(count))), times)
    row = idling(Move("neck", 30.0, 250), inner)
    angles = [step.angle_deg for step in row if isinstance(step, Move)]
    once = 1 + count * times
    assert len(angles) % once == 0
    assert [n for n, angle in enumerate(angles) if angle == 30.0] == list(
        range(0, len(angles), once)
    )
    found = {angles[(n - 1) % len(angles)] for n in range(0, len(angles), once)}
    assert found == {-20.0, 0.0, 20.0}
    follows = {(one, then) for one, then in pairwise(angles) if 30.0 not in (one, then)}
    if count * times > 1:
        assert len(follows) == 9


@given(st.integers(1, 9))
def test_a_repeat_that_draws_nothing_stays_as_it_is_beside_what_draws(times: int) -> None:
    row = idling(look(-20.0, 20.0), Repeat(InTurn((Move("neck", 30.0, 250), Hold(90))), times))
    once = 1 + 2 * times
    assert len(row) % once == 0
    for first in range(0, len(row), once):
        _, *behind = row[first : first + once]
        lasts = [one.duration_ms for one in behind if isinstance(one, Move | Hold)]
        assert lasts == [250, 90] * times
    assert {one.angle_deg for one in row[::once] if isinstance(one, Move)} == {-20.0, 0.0, 20.0}


def test_what_stands_before_a_repeat_without_end_has_all_its_values_before_it() -> None:
    body = numbered(InTurn((look(-20.0, 20.0), Repeat(InTurn((Hold(900),)), None))), 3)
    show = Show(Rig(), Score("", (Cue("gaze", "", body),), idle=("gaze",)))
    written = at_its_hardest(show).score.cues[0].body
    assert isinstance(written, InTurn)
    assert [
        isinstance(one, InTurn) and isinstance(one.children[-1], Repeat) for one in written.children
    ] == [False] * (len(written.children) - 1) + [True]
    row = played(written)
    assert {one.angle_deg for one in row if isinstance(one, Move)} == {-20.0, 0.0, 20.0}


@given(st.integers(1, 5))
def test_light_goes_to_and_fro_as_often_as_more_than_three_flashes_ask(count: int) -> None:
    fade = Fade("heart", 10.0, 60, drawn=Drawn(target_key=1, most=90.0))
    levels = [step.light for step in idling(*(fade for _ in range(count)))]  # type: ignore[union-attr]
    to_and_fro = [10.0, 90.0] * 4
    assert any(levels[n : n + 8] == to_and_fro for n in range(len(levels)))
    assert {*pairwise(levels), (levels[-1], levels[0])} == {
        (one, then) for one in (10.0, 50.0, 90.0) for then in (10.0, 50.0, 90.0)
    }


def test_each_statement_draws_by_keys_of_its_own_and_its_parts_share_them() -> None:
    both = Together((look(0.0, 5.0), Move("tail", 0.0, 400, drawn=Drawn(1, 900, 3, 8.0))))
    fan = Throw("fan", True)
    hold = Hold(1000, drawn=Drawn(time_key=1, most_ms=3000))
    body = numbered(InTurn((look(0.0, 5.0), fan, hold, both)), 3)
    assert isinstance(body, InTurn)
    assert body.children[1] == fan
    first, wait, neck, tail = (one.drawn for one in draws_in(body))
    assert first is not None
    assert wait is not None
    assert neck is not None
    assert tail is not None
    assert neck.time_key == tail.time_key
    keys = [first.time_key, first.target_key, wait.time_key, neck.time_key, neck.target_key]
    keys.append(tail.target_key)
    assert keys == [key_of(3, number) for number in range(6)]


def test_one_draw_of_a_part_takes_nine_passes_and_of_a_light_seventeen() -> None:
    """The nine pairs of three values; before a light's, eight changes to and fro."""
    fade = Fade("heart", 10.0, 60, drawn=Drawn(target_key=1, most=90.0))
    assert len(idling(look(-20.0, 20.0))) == 9
    assert len(idling(fade)) == 17


def test_what_is_between_is_as_fine_as_a_table_holds() -> None:
    """A hundredth of a degree, half a percent of light."""
    move = at_place(look(0.0, 5.01), 0.5)
    fade = at_place(Fade("heart", 10.0, 60, drawn=Drawn(target_key=1, most=90.5)), 0.5)
    assert isinstance(move, Move)
    assert move.angle_deg in (2.5, 2.51)
    assert isinstance(fade, Fade)
    assert fade.light in (50.0, 50.5)
