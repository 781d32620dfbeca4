"""Draws by the words of TABLE.md 2.9 and 3.4, and the passes that choices are written out as.

Which passes there must be follows from what a check has to see: each way right behind each, and of
light each in turns with each for four flashes, one more than WCAG 2.2 allows within a second.
"""

from __future__ import annotations

from itertools import pairwise, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.light.effects import noise as light_noise
from sim.model import Cue, Drawn, Fade, Hold, InTurn, Move, OneOf, Repeat, Rig, Score, Show, Step
from sim.score.draws import at_its_hardest, noise, numbered


def mixed(h: int) -> int:
    """N of 3.4 from its first shift on, in a machine word of 16 bits."""
    h = h % 65536
    h = h ^ (h // 128)
    h = h * 11291 % 65536  # 2C1B
    h = h ^ (h // 512)
    h = h * 10619 % 65536  # 297B
    return h ^ (h // 256)


@given(st.integers(1, 255), st.integers(0, 65535))
def test_a_draw_is_the_hash_of_the_page(key: int, rounds: int) -> None:
    """0x9E37 is 40503, 0x85EB 34283."""
    k = key * 40503 % 65536
    assert noise(key, rounds) == mixed(mixed(k ^ (rounds * 34283 % 65536)) + k)


@given(st.integers(0, 255), st.integers(0, 65535), st.integers(0, 255))
def test_the_noise_of_light_is_the_hash_of_the_page(seed: int, beat: int, pixel: int) -> None:
    """0xC2B3 is 49843."""
    h = (seed * 40503 ^ beat * 34283 ^ pixel * 49843) % 65536
    assert light_noise(seed, beat, pixel) == mixed(h) % 256


def written(*steps: Step) -> Step:
    """A strand that repeats the steps for ever, once round at its hardest."""
    body = numbered(Repeat(InTurn(steps), None), 3)
    show = Show(Rig(), Score("", (Cue("gaze", "", InTurn((body,))),), idle=("gaze",)))
    return at_its_hardest(show).score.cues[0].body


def played(step: Step) -> list[Step]:
    """Its statements in turn; what has no end comes round once."""
    match step:
        case InTurn():
            return [one for child in step.children for one in played(child)]
        case Repeat():
            return played(step.body) * (step.times or 1)
        case _:
            return [step]


def angles(*steps: Step) -> list[float]:
    return [one.angle_deg for one in played(written(*steps)) if isinstance(one, Move)]


def move(angle_deg: float) -> Move:
    return Move("neck", angle_deg, 300)


def test_of_two_moves_each_comes_behind_each_and_no_more_often_than_that_asks() -> None:
    assert angles(OneOf((move(10.0), move(20.0)))) == [10.0, 10.0, 20.0, 10.0, 20.0, 20.0]


def test_light_of_two_choices_goes_to_and_fro_four_times_in_every_pair() -> None:
    choice = OneOf((Fade("heart", 0.0, 40), Fade("heart", 100.0, 40)))
    levels = [one.light for one in played(written(choice)) if isinstance(one, Fade)]
    each_behind_each = [0.0, 0.0, 100.0, 0.0, 100.0, 100.0]
    assert levels == each_behind_each + [0.0] * 8 + [0.0, 100.0] * 4 + [100.0] * 8


@pytest.mark.parametrize("times", [1, 2, 3, 5, 6])
def test_a_repeat_of_a_choice_keeps_its_passes_and_takes_two_ways_in_turns(times: int) -> None:
    row = angles(Repeat(OneOf((move(10.0), move(20.0))), times), move(0.0))
    passes = [row[n : n + times + 1] for n in range(0, len(row), times + 1)]
    assert {one[-1] for one in passes} == {0.0}
    pairs = {tuple((one[:times] * 2)[:2]) for one in passes}
    ways = [10.0, 20.0]
    assert pairs == (set(product(ways, ways)) if times > 1 else {(10.0,) * 2, (20.0,) * 2})
    for one in passes:
        assert one[:times] == ([one[0], one[min(1, times - 1)]] * times)[:times]
    follows = {(tuple(one[:times]), tuple(then[:times])) for one, then in pairwise(passes)}
    assert len(follows) == len(pairs) ** 2


def test_a_repeat_without_end_behind_a_choice_comes_in_the_last_pass_alone() -> None:
    body = numbered(InTurn((OneOf((move(10.0), move(20.0))), Repeat(Hold(900), None))), 3)
    show = Show(Rig(), Score("", (Cue("gaze", "", body),), idle=("gaze",)))
    passes = at_its_hardest(show).score.cues[0].body
    assert isinstance(passes, InTurn)
    ends = [
        isinstance(one, InTurn)
        and any(isinstance(child, Repeat) and child.times is None for child in one.children)
        for one in passes.children
    ]
    assert ends == [False] * 5 + [True]


@pytest.mark.parametrize(("draws", "passes"), [(1, 9), (2, 9), (3, 10), (6, 11)])
def test_draws_of_a_pass_that_would_always_meet_the_same_places_take_more_passes(
    draws: int, passes: int
) -> None:
    """Nine pairs of three values; 3 and 9 have a common factor, 3 and 10 none; 6 and 11 none."""
    looks = tuple(Move("neck", 0.0, 300, drawn=Drawn(1, 300, 2, 40.0)) for _ in range(draws))
    assert len(angles(*looks)) == draws * passes
