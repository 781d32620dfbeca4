"""What a cue does first and last is told by the clock, not by the order of the text: two branches
that run side by side may drive one output one after the other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.model import Cue, Effect, Fade, Hold, InTurn, Move, Press, Repeat, Step, Together
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import sample
from sim.score.planned_moves import last_moves, planned_moves, rest_angles
from sim.score.tree import acts_in_time, duration_ms, ready_ms
from tests.sim.test_reachable_states import jaw


def later_first(late: Step, early: Step, after_ms: int = 5000) -> Together:
    """Two branches; the one that comes later stands first in the text."""
    return Together((InTurn((Hold(after_ms), late)), early))


BOTH = later_first(Move("jaw", 40.0, 700), Move("jaw", -20.0, 800))


def test_a_part_is_left_where_its_last_move_in_time_brings_it() -> None:
    show = jaw(Cue("c", "", BOTH))
    assert rest_angles(show) == {"jaw": (0.0, 40.0)}
    at = ready_ms(show)
    seen = sample(rehearse(show, [Press(at, cue="c")], at + 9000), np.array([at + 8000.0]))
    assert seen.servos["jaw"].angle_deg[0] == pytest.approx(40.0, abs=0.01)


def test_moves_start_where_the_one_before_them_in_time_ends() -> None:
    moves = planned_moves(jaw(Cue("c", "", BOTH)))
    ways = {(one.from_deg, one.move.angle_deg) for one in moves}
    assert ways == {(0.0, -20.0), (40.0, -20.0), (-20.0, 40.0)}
    assert {one.move.angle_deg for one in moves if one.entry} == {-20.0}


def test_a_second_pass_begins_where_the_first_ends_in_time() -> None:
    moves = planned_moves(jaw(Cue("c", "", Repeat(BOTH, 2))))
    assert (40.0, -20.0) in {(one.from_deg, one.move.angle_deg) for one in moves}
    assert (-20.0, -20.0) not in {(one.from_deg, one.move.angle_deg) for one in moves}


def test_the_last_pass_of_a_repeat_beside_another_branch_counts() -> None:
    """Ten passes of 2 s end after the other branch, though each begins before it."""
    shut = InTurn((Move("jaw", 5.0, 500), Hold(1500)))
    both = Together((Repeat(shut, 10), InTurn((Hold(600), Move("jaw", 30.0, 500)))))
    assert last_moves(Cue("c", "", both))["jaw"].angle_deg == 5.0
    assert (
        last_moves(Cue("c", "", replace(both, children=both.children[::-1])))["jaw"].angle_deg
        == 5.0
    )


def test_lights_are_told_in_time_too() -> None:
    both = later_first(Fade("lamp", 80.0, 100), Effect("lamp", "breathe", 200, 50.0))
    assert [type(act) for act in acts_in_time(both)] == [Effect, Fade]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(-30, 50), st.integers(150, 900), st.integers(20, 400)),
        min_size=2,
        max_size=6,
    ),
    st.randoms(use_true_random=False),
)
def test_rehearsed_moves_are_all_planned(rows: list[tuple[int, int, int]], chance: object) -> None:
    """Moves one after another, each in a branch of its own, in any order of the text."""
    branches, start = [], 0
    for angle, lasts, pause in rows:
        branches.append(InTurn((Hold(start + pause), Move("jaw", float(angle), lasts))))
        start += pause + lasts
    chance.shuffle(branches)  # type: ignore[attr-defined]
    cue = Cue("c", "", Together(tuple(branches)))
    show = jaw(cue)
    at = ready_ms(show)
    run = rehearse(show, [Press(at, cue="c")], at + int(duration_ms(cue.body)) + 500)
    seen = sample(run, np.arange(float(at), at + duration_ms(cue.body) + 400, 1.0)).servos["jaw"]
    assert seen.angle_deg[-1] == pytest.approx(rows[-1][0], abs=0.01)
    fastest = 0.0
    for one in planned_moves(show):
        if one.from_deg == 0.0 or not one.entry:
            way = abs(one.move.angle_deg - one.from_deg)
            fastest = max(fastest, 1.875 * way / one.move.duration_ms * 1000.0)
    assert np.abs(seen.velocity_deg_s).max() <= fastest * (1 + 1e-3) + 1e-6
