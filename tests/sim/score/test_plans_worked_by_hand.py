"""Threads, limits, and rest angles, each worked by hand with its figures.

The rules are the project's own: `sim.score.threads`, `sim.score.planned_moves`, TABLE.md 3.1.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.model import (
    Cue,
    Hold,
    InTurn,
    Law,
    Move,
    Repeat,
    Step,
    Together,
)
from sim.score.law_numbers import law_numbers, table_law
from sim.score.laws import LAW_NAMES, forms
from sim.score.planned_moves import motion_limits, planned_moves, rest_angles
from sim.score.program import Choose, Fork, LoopEnd, LoopStart, Wait
from sim.score.threads import ThreadError, program, reserved, threads
from sim.score.tree import ready_ms
from tests.sim.small_shows import BACK, TAIL, show_of


def jaw(angle: float, ms: int = 1000) -> Move:
    return Move("jaw", angle, ms, Law("3-4-5"))


def fin(angle: float, ms: int = 1000) -> Move:
    return Move("fin", angle, ms, Law("3-4-5"))


# -- laws -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", LAW_NAMES)
@pytest.mark.parametrize("order", [0, 1, 2, 3])
def test_a_law_gives_as_many_rates_as_are_asked_for(name: str, order: int) -> None:
    law = Law(name, 0.3, 0.2)  # type: ignore[arg-type]
    x = np.linspace(0.0, 1.0, 9)
    found, all_rates = forms(law, x, order), forms(law, x, 3)
    assert len(found) == order + 1
    for one, other in zip(found, all_rates, strict=False):
        assert one == pytest.approx(other, abs=0.0)


@pytest.mark.parametrize(
    ("law", "held"),
    [
        # 0.3 * 65536 = 19660.8, 0.2 * 65536 = 13107.2; least alpha 64, least beta 1
        (Law("trapezoid", 0.3), Law("trapezoid", 19661 / 65536)),
        (Law("double-S", 0.3, 0.2), Law("double-S", 19661 / 65536, 13107 / 65536)),
        (Law("double-S", 1e-4, 1e-6), Law("double-S", 64 / 65536, 1 / 65536)),
        (Law("double-S", 0.5, 0.5), Law("double-S", 0.5, 0.5)),
        (Law("cycloidal"), Law("cycloidal")),
    ],
)
def test_a_table_holds_the_shares_of_a_law_in_steps(law: Law, held: Law) -> None:
    assert table_law(law) == held


def test_a_law_that_would_hardly_overlap_does_not() -> None:
    """K of a trapezoid is 2 alpha, as its ramp is a straight line: y / g(y) = alpha / (1/2)."""
    assert law_numbers(Law("trapezoid", 0.25)).overlap == 128
    assert law_numbers(Law("trapezoid", 0.2499)).overlap == 0
    assert law_numbers(Law("parabolic")).overlap == 256


# -- threads --------------------------------------------------------------------------------------

BOTH = Together((Repeat(jaw(9), None, True), Repeat(fin(9), None, True)), mark=8)


@pytest.mark.parametrize(
    ("body", "passes"),
    [
        (InTurn((fin(3), BOTH)), True),
        (InTurn((BOTH, fin(3))), False),
        (InTurn((InTurn((fin(3), BOTH)), fin(3))), False),
        (InTurn((fin(3), InTurn((fin(3), BOTH)))), True),
    ],
)
def test_two_held_repeats_side_by_side_may_only_come_last(body: Step, passes: bool) -> None:
    if passes:
        assert len(threads(Cue("c", "", body))) == 2
        return
    with pytest.raises(ThreadError, match="something follows"):
        threads(Cue("c", "", body))


def test_a_thread_counts_until_all_that_it_forked_has_ended() -> None:
    """The first fork ends after 10 ms, but what it forked lives on beside the second: four."""
    rows = (
        (Fork(1), Wait(100), Fork(2), Wait(10)),
        (Fork(3), Wait(10)),
        (Wait(10),),
        (Wait(500),),
    )
    assert reserved(rows) == 4
    ended = (*rows[:3], (Wait(99),))
    assert reserved(ended) == 3


def test_a_thread_that_may_never_end_counts_beside_all_that_follows() -> None:
    held = (LoopStart(None, True), Wait(10), LoopEnd())
    counted = (LoopStart(3), Wait(10), LoopEnd())
    for row, most in ((held, 3), (counted, 2)):
        assert reserved(((Fork(1), Wait(100), Fork(2), Wait(5)), row, (Wait(5),))) == most


def test_the_passes_of_a_loop_push_back_what_comes_after_it() -> None:
    """Three passes of 10 ms: the fork at 30 ms meets the one of 25 ms no more, one of 30 still."""
    loop = (LoopStart(3), Wait(10), LoopEnd())
    for ms, most in ((29, 2), (30, 3)):
        assert reserved(((Fork(1), *loop, Fork(2), Wait(5)), (Wait(ms),), (Wait(5),))) == most


def test_a_choice_pushes_back_what_comes_after_it_by_its_longest_way() -> None:
    """Ways of 10 and 30 ms: the fork behind them meets the one of 29 ms no more, one of 30 still.

    The way that is drawn runs in the place of what waits for it.
    """
    ways = (Wait(10),), (Wait(30),)
    for ms, most in ((29, 2), (30, 3)):
        row = (Fork(1), Choose(5, (2, 3)), Fork(4), Wait(5))
        assert reserved((row, (Wait(ms),), *ways, (Wait(5),))) == most
        assert reserved((row, (Wait(ms),), *reversed(ways), (Wait(5),))) == most


def test_a_fork_in_a_loop_meets_the_one_of_the_pass_before() -> None:
    for ms, most in ((9, 2), (10, 3)):
        row = (LoopStart(4), Fork(1), Wait(10), LoopEnd())
        assert reserved((row, (Wait(ms),))) == most


def test_a_counted_loop_of_waits_for_others_is_one_wait() -> None:
    body = InTurn((fin(9, 20), Repeat(InTurn((jaw(9, 30), jaw(5, 40))), 3), fin(5, 20)))
    (row,) = program(Cue("c", "", body), {"fin"}).threads
    waits = [item.duration_ms for item in row if isinstance(item, Wait)]
    assert waits == [20 + 3 * 70, 20]


# -- rest angles and limits -----------------------------------------------------------------------


def resting(count: int) -> tuple[float, ...]:
    cues = [Cue(f"c{n}", "", fin(1 + n)) for n in range(count)]
    return rest_angles(show_of(*cues))["fin"]


def test_fifteen_angles_beside_the_safe_one_are_all_kept() -> None:
    assert resting(15) == (0.0, *range(1, 16))


def test_of_more_angles_the_ends_and_an_even_choice_are_kept() -> None:
    assert resting(16) == (0.0, *range(1, 15), 16)
    assert resting(29) == (0.0, *range(1, 30, 2))


def test_a_limit_is_never_over_what_two_bytes_hold() -> None:
    """46 deg in 4 ms: 1.875 * 46 / 0.004 = 21563 deg/s, 5.77 * 46 / 0.004**2 = 1.7e7 deg/s2."""
    assert motion_limits(show_of(Cue("c", "", jaw(50, 4))))["jaw"] == (21564, 65535)


def test_a_move_that_takes_no_time_asks_for_no_limit() -> None:
    assert motion_limits(show_of(Cue("c", "", jaw(50, 0))))["jaw"] == (1, 1)


def test_the_larger_of_two_moves_makes_the_limit_in_any_order() -> None:
    """46 deg in 1 s from the safe 4: 1.875 * 46 = 86.25, 5.7735 * 46 = 265.6; from 10, 40 deg."""
    quick, slow = jaw(50, 1000), jaw(10, 9000)
    for body, limits in (
        (InTurn((quick, slow)), (88, 267)),
        (InTurn((slow, quick)), (76, 232)),
    ):
        assert motion_limits(show_of(Cue("c", "", body)))["jaw"] == limits


def test_a_uniform_move_brakes_as_one_of_least_jerk() -> None:
    """Cv is 1: 46 deg/s; braking as 3-4-5: 5.7735 * 46 = 265.6 deg/s2."""
    body = Move("jaw", 50, 1000, Law("uniform"))
    assert motion_limits(show_of(Cue("c", "", body)))["jaw"] == (47, 267)


# -- the default rehearsal ------------------------------------------------------------------------


def test_boards_are_ready_when_the_one_with_most_servos_has_enabled_them() -> None:
    """Ten frames of 20 ms a servo: two on the head, one on the back."""
    show = show_of(Cue("c", "", jaw(9)))
    rig = replace(show.rig, boards=(*show.rig.boards, BACK), outputs=(*show.rig.outputs, TAIL))
    assert ready_ms(replace(show, rig=rig)) == 400
    assert ready_ms(replace(show, rig=replace(rig, outputs=(TAIL,)))) == 200
    assert ready_ms(replace(show, rig=replace(rig, outputs=()))) == 0


def test_a_strand_with_an_end_begins_anew_from_where_it_ended_when_that_is_over() -> None:
    """Half a second, a second there, two back as far as 10 deg, a fifth: 3.7 s in all."""
    body = InTurn((Hold(500), fin(30.0, 1000), fin(10.0, 2000), Hold(200)))
    planned = planned_moves(show_of(Cue("sway", "", body), idle=("sway",)))
    anew = {(one.start_ms, one.from_deg) for one in planned if one.move.angle_deg == 30.0}
    assert (3700 + 500, 10.0) in anew


def test_a_strand_glides_back_within_the_limits_of_the_moves_that_are_written() -> None:
    """The fastest goes from 30 deg to -20 deg in 4 s: 15/8 x 50 / 4 = 23.4 deg/s. A table states
    25, one over what is rounded up, so 30 deg back take 15/8 x 30 / 24 = 2.344 s."""
    sway = Cue("sway", "", Repeat(InTurn((fin(5.0), fin(0.0))), None))
    stretch = Cue("stretch", "", InTurn((fin(-20.0, 4000), fin(30.0, 8000))))
    show = show_of(sway, stretch, idle=("sway",))
    strong = tuple(
        replace(one, accel_deg_s2=1000.0) if one.name == "fin" else one for one in show.rig.outputs
    )
    show = replace(show, rig=replace(show.rig, outputs=strong))
    assert motion_limits(show)["fin"] == (25, 1001)
    back = {
        one.move.angle_deg: one.move.duration_ms
        for one in planned_moves(show)
        if one.cue == "sway" and one.from_deg == 30.0
    }
    assert back == {0.0: 2344, 5.0: 1954}
