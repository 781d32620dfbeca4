"""What is read off a score's tree, beside the same read the plain way: everything walked anew.

The modules take one pass over the tree, so that large scores stay quick. Here each repeat and each
pair is looked at by itself.
"""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sim.model import Binding, Cue, Fade, Hold, InTurn, Law, Move, Repeat, Step, Together
from sim.rulebook import LOOP_DEPTH
from sim.score.law_numbers import law_numbers
from sim.score.laws import coefficients, overlap_factor
from sim.score.overlaps import overlaps
from sim.score.planned_moves import motion_limits, planned_moves, rest_angles
from sim.score.program import Do, Fork, LoopEnd, LoopStart, Wait
from sim.score.threads import (
    ThreadError,
    board_program,
    program,
    reserved,
    threads,
)
from sim.score.tree import children, duration_ms, swapped, walk
from tests.sim.small_shows import show_of

SERVOS = ("jaw", "fin")


def moved(output: str, angle: float, ms: int = 1000) -> Move:
    return Move(output, angle, ms, Law("3-4-5"))


def tree_of(dice: Random, depth: int = 0) -> Step:
    kind = dice.random()
    if depth > 4 or kind < 0.3:
        if dice.random() < 0.2:
            return Hold(dice.choice((10, 500)))
        return moved(dice.choice(SERVOS), dice.randint(5, 30), dice.choice((200, 700)))
    inside = tuple(tree_of(dice, depth + 1) for _ in range(dice.randint(1, 3)))
    if kind < 0.6:
        return InTurn(inside)
    if kind < 0.8:
        return Together(inside, dice.choice((0, 0, 450)))
    return Repeat(InTurn((*inside, Hold(20))), dice.choice((1, 2, 3)), dice.random() < 0.3)


trees = st.integers(0, 1 << 40).map(lambda seed: tree_of(Random(seed)))


def rows(step: Step, at: float, above: tuple[Step, ...] = ()) -> list[tuple]:
    """Every move of a first pass: start, move, and the steps that it stands in."""
    here = (*above, step)
    if isinstance(step, Move):
        return [(at, step, here)]
    found = []
    for child in children(step):
        found += rows(child, at, here)
        at += step.interval_ms if isinstance(step, Together) else duration_ms(child)
    return found


# -- planned moves --------------------------------------------------------------------------------


def planned_plainly(body: Step, rest: dict[str, tuple[float, ...]]) -> list[tuple]:
    found = []
    for name in SERVOS:
        own = [(at, move) for at, move, _ in rows(body, 0) if move.output == name]
        own.sort(key=lambda row: row[0])
        for at, move in own[:1]:
            found += [(move, angle, at, True) for angle in rest[name]]
        for (_, before), (at, move) in pairwise(own):
            found.append((move, before.angle_deg, at, False))
        for start, step in every_repeat(body, 0):
            inside = [row for row in rows(step.body, start) if row[1].output == name]
            if inside and (step.while_held or step.times > 1):
                at, first, _ = min(inside, key=lambda row: row[0])
                *_, last = sorted(inside, key=in_its_last_pass)
                late = at + duration_ms(step.body)
                found.append((first, last[1].angle_deg, late, False))
    return found


def in_its_last_pass(row: tuple) -> float:
    """When a move starts for the last time."""
    at, _, above = row
    repeats = [step for step in above if isinstance(step, Repeat) and not step.while_held]
    return at + sum((step.times - 1) * duration_ms(step.body) for step in repeats)


def every_repeat(step: Step, at: float) -> list[tuple[float, Repeat]]:
    found = [(at, step)] if isinstance(step, Repeat) else []
    for child in children(step):
        found += every_repeat(child, at)
        at += step.interval_ms if isinstance(step, Together) else duration_ms(child)
    return found


def key(row: tuple) -> tuple:
    move, angle, at, entry = row
    return id(move), angle, at, entry


@given(trees)
@settings(max_examples=150)
def test_moves_start_where_the_part_was_left_and_each_repeat_returns_from_its_own_end(
    body: Step,
) -> None:
    show = show_of(Cue("c", "", body))
    found = [(p.move, p.from_deg, p.start_ms, p.entry) for p in planned_moves(show)]
    plain = planned_plainly(body, rest_angles(show))
    assert sorted(map(key, found)) == sorted(map(key, plain))


def test_only_a_cue_that_ends_by_being_taken_over_may_leave_a_part_in_its_middle() -> None:
    """The jaw's safe angle is 4 deg."""
    body = InTurn((moved("jaw", 9), moved("jaw", 20)))
    assert rest_angles(show_of(Cue("c", "", body)))["jaw"] == (4.0, 20.0)
    assert rest_angles(show_of(Cue("c", "", body), idle=("c",)))["jaw"] == (4.0, 9.0, 20.0)
    endless = Cue("c", "", Repeat(body, None))
    assert rest_angles(show_of(endless))["jaw"] == (4.0, 9.0, 20.0)


def test_what_no_servo_of_the_rig_is_has_no_rest_angle() -> None:
    wrong = InTurn((moved("nobody", 9), Fade("lure", 5.0, 100), moved("jaw", 9)))
    found = rest_angles(show_of(Cue("c", "", wrong)))
    assert set(found) == {"jaw", "fin"}
    assert found["jaw"] == (4.0, 9.0)


def test_a_move_to_where_the_part_stands_asks_for_no_speed() -> None:
    assert motion_limits(show_of(Cue("c", "", moved("jaw", 4))))["jaw"] == (1, 1)


@given(trees)
def test_a_change_of_statements_leaves_the_order_and_the_form_of_a_tree(body: Step) -> None:
    def doubled(step: Step) -> Step:
        return Hold(step.duration_ms * 2) if isinstance(step, Hold) else step

    before, after = list(walk(body)), list(walk(swapped(body, doubled)))
    assert [type(step) for step in before] == [type(step) for step in after]
    for one, other in zip(before, after, strict=True):
        if isinstance(one, Hold):
            assert other == Hold(one.duration_ms * 2)
        elif isinstance(one, Move):
            assert other == one


# -- overlaps -------------------------------------------------------------------------------------


def clashes_plainly(cue: Cue) -> list[float]:
    """The start of every statement that begins while another holds its output."""
    found: list[float] = []

    def apart(one: tuple[Step, ...], other: tuple[Step, ...]) -> bool:
        shared = [step for step in one if any(step is s for s in other)]
        return isinstance(shared[-1], Together)

    def look(spans: list[tuple]) -> None:
        for name in SERVOS:
            own = sorted((s for s in spans if s[2].output == name), key=lambda s: s[0])
            for number, (start, _, _, line) in enumerate(own):
                earlier = own[:number]
                if any(
                    apart(above, line) if e == float("inf") else start < e
                    for _, e, _, above in earlier
                ):
                    found.append(start)

    def read(step: Step, at: float, above: tuple[Step, ...]) -> list[tuple]:
        here = (*above, step)
        if isinstance(step, Move):
            return [(at, at + step.duration_ms, step, here)]
        spans, start = [], at
        for child in children(step):
            spans += read(child, start, here)
            start += step.interval_ms if isinstance(step, Together) else duration_ms(child)
        if isinstance(step, Repeat) and (step.while_held or step.times != 1):
            look(spans)
            later = float("inf") if step.while_held else (step.times - 1) * duration_ms(step.body)
            joined = []
            for name in SERVOS:
                own = [span for span in spans if span[2].output == name]
                if own:
                    first = min(own, key=lambda span: span[0])
                    joined.append((first[0], max(s[1] for s in own) + later, *first[2:]))
            return joined
        return spans

    look(read(cue.body, 0, ()))
    return sorted(found)


@given(trees)
@settings(max_examples=250)
def test_statements_that_meet_are_those_that_meet_when_each_pair_is_looked_at(body: Step) -> None:
    found = overlaps(Cue("c", "", body))
    assert [one.second_ms[0] for one in found] == clashes_plainly(Cue("c", "", body))
    for one in found:
        assert one.output == one.first.output == one.second.output
        assert one.first_ms[0] <= one.second_ms[0]


def test_statements_that_take_no_time_clash_only_side_by_side_at_one_instant() -> None:
    at_once = Fade("lure", 5.0, 0)
    for rest, count in ((Fade("lure", 9.0, 0), 1), (Fade("lure", 9.0, 100), 0)):
        assert len(overlaps(Cue("c", "", Together((at_once, rest))))) == count
        assert not overlaps(Cue("c", "", InTurn((at_once, rest))))


@pytest.mark.parametrize(("at_ms", "clashes"), [(1750, True), (1799, True), (1800, False)])
def test_a_repeat_holds_its_output_until_the_last_move_of_its_last_pass(
    at_ms: int, clashes: bool
) -> None:
    """Two passes of 200 and 700 ms: from 0 to 1800 ms, also between its moves."""
    twice = Repeat(InTurn((moved("jaw", 9, 200), moved("jaw", 20, 700))), 2)
    beside = InTurn((Hold(at_ms), moved("jaw", 5, 100)))
    found = overlaps(Cue("c", "", Together((twice, beside))))
    assert bool(found) is clashes
    if clashes:
        assert found[0].first_ms == (0, 1800)
        assert found[0].second_ms == (at_ms, at_ms + 100)


# -- threads --------------------------------------------------------------------------------------


def test_a_repeat_of_two_held_repeats_side_by_side_cannot_be_laid_out() -> None:
    held = tuple(Repeat(moved(name, 9), None, True) for name in SERVOS)
    with pytest.raises(ThreadError, match="something follows"):
        threads(Cue("c", "", Repeat(Together(held), 2)))


def test_the_message_of_a_cue_that_cannot_be_laid_out_is_its_text() -> None:
    with pytest.raises(ThreadError) as caught:
        threads(Cue("c", "", Repeat(Hold(0), 2, mark=7)))
    assert str(caught.value) == "the body of this repeat takes no time"
    assert caught.value.mark == 7


def test_a_body_of_one_millisecond_is_laid_out() -> None:
    (row,) = threads(Cue("c", "", Repeat(Hold(1), 5)))
    assert row == (LoopStart(5, False), Wait(1), LoopEnd())


def test_a_repeat_without_end_keeps_the_thread_and_the_others_fork() -> None:
    beside = Together((moved("jaw", 9), Repeat(moved("fin", 9), None)))
    main, forked = threads(Cue("c", "", beside))
    assert main == (Fork(1), LoopStart(None, False), Do(moved("fin", 9)), Wait(1000), LoopEnd())
    assert [type(item) for item in forked] == [Do]


def test_what_a_board_has_no_part_in_is_cut_from_the_end_of_a_forked_thread() -> None:
    later = InTurn((moved("fin", 5), moved("jaw", 9), Hold(5)))
    body = Together((Repeat(moved("jaw", 9, 10), 2), later))
    rows_of_fin = program(Cue("c", "", body), {"fin"}).threads
    assert [item for row in rows_of_fin for item in row if isinstance(item, Do)] == [
        Do(moved("fin", 5))
    ]


def test_passes_of_unknown_number_count_as_two() -> None:
    """Two passes of 10 ms each: what is forked at their end meets the 20 ms before no more."""
    held = (LoopStart(None, True), Wait(10), LoopEnd())
    for ms, most in ((19, 2), (20, 3)):
        assert reserved(((Fork(1), *held, Fork(2), Wait(5)), (Wait(ms),), (Wait(5),))) == most


def test_a_thread_without_an_end_lives_beside_all_that_follows() -> None:
    endless = (LoopStart(None), Wait(10), LoopEnd())
    row = (Fork(1), Wait(100), Fork(2), Wait(5))
    assert reserved((row, endless, (Wait(5),))) == 3


def test_a_pass_lasts_from_its_loops_own_start() -> None:
    """A loop behind a wait of 100: its second pass forks 10 ms after its first, not 210."""
    for ms, most in ((9, 2), (10, 3)):
        row = (Wait(100), LoopStart(2), Fork(1), Wait(10), LoopEnd())
        assert reserved((row, (Wait(ms),))) == most
    follows = (Wait(100), LoopStart(2), Wait(10), LoopEnd(), Fork(1), Wait(5))
    for ms, most in ((119, 2), (120, 3)):
        assert reserved(((Fork(2), *follows[:-1], Wait(5)), (Wait(5),), (Wait(ms),))) == most


def test_of_loops_deeper_than_a_board_runs_only_the_outer_ones_are_passed_twice() -> None:
    def nested(depth: int) -> tuple:
        return (*[LoopStart(2)] * depth, Fork(1), Wait(10), *[LoopEnd()] * depth)

    endless = (LoopStart(None), Wait(1), LoopEnd())
    for depth in range(1, LOOP_DEPTH + 3):
        assert reserved((nested(depth), endless)) == 1 + 2 ** min(depth, LOOP_DEPTH)


@pytest.mark.parametrize(("lost_ms", "frames"), [(None, 0), (1, 5), (100, 5), (101, 10)])
def test_silence_counts_in_steps_of_a_tenth_of_a_second(lost_ms: int | None, frames: int) -> None:
    """A frame lasts 20 ms: five in each step."""
    show = show_of(
        Cue("c", "", moved("jaw", 9)), lost_ms=lost_ms, lost_cue="c" if lost_ms else None
    )
    assert board_program(show, "head").lost_frames == frames


def test_a_boards_bindings_point_at_its_cues_and_say_whether_they_are_held() -> None:
    cues = [Cue(name, "", moved("jaw", 9)) for name in ("a", "b")]
    bound = (Binding(7, "b", while_held=True), Binding(8, "a"))
    held, once = board_program(show_of(*cues, bindings=bound), "head").bindings
    assert (held.button, held.cue, held.again) == (7, 1, True)
    assert (once.button, once.cue, once.again) == (8, 0, False)


# -- laws -----------------------------------------------------------------------------------------


@given(st.integers(64, 32768), st.integers(1, 32768))
@example(32768, 1)
@example(32768, 32768)
def test_whole_numbers_of_a_law_stay_on_the_safe_side_of_the_closed_forms(
    alpha: int, beta: int
) -> None:
    """Peaks are rounded up, the overlap factor down (TABLE.md 3.1)."""
    law = Law("double-S", alpha / 65536, beta / 65536)
    numbers, exact = law_numbers(law), coefficients(law)
    assert -1e-6 < numbers.cv - 4096 * exact.cv < 1
    assert -1e-6 < numbers.ca - 4096 * exact.ca < 1.01 + 4096 * exact.ca / 16384
    factor = 256 * overlap_factor(law)
    expected = 0.0 if factor < 127.9 else factor
    if not 127.9 <= factor < 128.1:
        assert -0.01 < expected - numbers.overlap < 1.01
