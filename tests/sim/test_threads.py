"""A cue's tree as threads: order, time, and what cannot be laid out."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given, settings

from sim.model import (
    Board,
    Cue,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Move,
    Repeat,
    Rig,
    Score,
    Show,
    Step,
    Throw,
    Together,
)
from sim.score.program import Do, Fork, LoopEnd, LoopStart, Wait
from sim.score.threads import ScoreOp, ThreadError, cues_on, program, threads
from sim.score.tree import duration_ms, timeline
from tests.firmware_gen.random_tables import dices


def move(output: str, ms: int = 100) -> Move:
    return Move(output, 10.0, ms)


def rows(body: Step) -> list[list[object]]:
    """Threads in short: output names, waits as numbers, forks as `>n`, loops as `(n` and `)`."""
    return [[_short(item) for item in thread] for thread in threads(Cue("c", "", body))]


def _short(item: ScoreOp) -> object:
    match item:
        case Do():
            return item.act.output
        case Wait():
            return item.duration_ms
        case Fork():
            return f">{item.thread}"
        case LoopStart():
            return "(held" if item.while_held else f"({item.times}"
        case _:
            return ")"


def test_statements_in_turn_follow_one_another() -> None:
    assert rows(InTurn((move("a"), Hold(50), move("b", 30)))) == [["a", 150, "b", 30]]


def test_statements_together_are_merged_by_time_then_by_the_text() -> None:
    body = Together(
        (InTurn((Hold(50), move("a"))), move("b"), InTurn((Hold(50), Throw("c", True))))
    )
    assert rows(body) == [["b", 50, "a", "c", 100]]


def test_a_stagger_starts_each_child_one_interval_later() -> None:
    assert rows(Together((move("a"), move("b"), move("c")), 40)) == [["a", 40, "b", 40, "c", 100]]


def test_a_repeat_in_turn_is_a_loop_of_the_same_thread() -> None:
    body = InTurn((move("a"), Repeat(move("b"), 3), move("c")))
    assert rows(body) == [["a", 100, "(3", "b", 100, ")", "c", 100]]


def test_a_repeat_once_is_none_and_never_does_nothing() -> None:
    assert rows(Repeat(move("a"), 1)) == [["a", 100]]
    assert rows(InTurn((Repeat(move("a"), 0), move("b")))) == [["b", 100]]


def test_a_repeat_beside_something_forks_and_the_thread_waits_for_it() -> None:
    body = InTurn((Together((move("a", 50), Repeat(move("b"), 3))), move("c")))
    assert rows(body) == [[">1", "a", 300, "c", 100], ["(3", "b", 100, ")"]]


def test_a_held_repeat_keeps_the_thread_and_the_others_fork() -> None:
    body = InTurn((Together((move("a"), Repeat(move("b"), None, True))), move("c")))
    assert rows(body) == [[">1", "(held", "b", 100, ")", "c", 100], ["a"]]


def test_forks_stand_first_and_wait_for_their_offset_themselves() -> None:
    body = Together((Repeat(move("a"), 2), Repeat(move("b"), 2), move("c")), 40)
    assert rows(body) == [
        [">1", ">2", 80, "c", 160],
        ["(2", "a", 100, ")"],
        [40, "(2", "b", 100, ")"],
    ]


def test_nothing_follows_a_repeat_without_end() -> None:
    body = InTurn((Repeat(move("a"), None), move("b")))
    assert rows(body) == [["(None", "a", 100, ")"]]


def test_a_repeat_that_takes_no_time_cannot_be_laid_out() -> None:
    with pytest.raises(ThreadError, match="no time") as caught:
        threads(Cue("c", "", Repeat(Throw("a", True), 3, mark=7)))
    assert caught.value.mark == 7


def test_nothing_can_follow_two_held_repeats_side_by_side() -> None:
    both = Together((Repeat(move("a"), None, True), Repeat(move("b"), None, True)), mark=8)
    assert len(rows(both)) == 2
    with pytest.raises(ThreadError) as caught:
        threads(Cue("c", "", InTurn((both, move("c")))))
    assert caught.value.mark == 8


def test_deep_nesting_needs_no_deep_stack() -> None:
    body: Step = move("a")
    for number in range(5000):
        body = InTurn((body,)) if number % 2 else Together((body,))
    assert rows(body) == [["a", 100]]
    looped: Step = Repeat(move("a"), 2)
    for _ in range(5000):
        looped = InTurn((looped,))
    assert rows(looped) == [["(2", "a", 100, ")"]]


# -- boards ------------------------------------------------------------------------------------


def test_a_board_keeps_the_time_of_what_others_do() -> None:
    body = InTurn((move("a"), Repeat(move("a"), 3), move("b"), move("a", 70)))
    found = program(Cue("c", "", body), {"b"})
    assert found.threads == ((Wait(400), Do(move("b")), Wait(170)),)
    assert found.reserved == 1


def test_threads_that_do_nothing_on_a_board_are_left_out() -> None:
    body = Together((Repeat(move("a"), 2), Repeat(move("b"), 2), move("c")))
    cue = Cue("c", "", body)
    assert program(cue, {"a", "b", "c"}).reserved == 3
    assert len(program(cue, {"a", "c"}).threads) == 2
    assert program(cue, {"c"}).threads == ((Do(move("c")), Wait(200)),)


def test_a_held_repeat_keeps_its_loop_on_every_board() -> None:
    found = program(Cue("c", "", Repeat(move("a"), None, True)), {"b"})
    assert found.threads == ((LoopStart(None, True), Wait(100), LoopEnd()),)


def test_threads_of_one_repeat_after_another_are_not_needed_at_once() -> None:
    pair = Together((Repeat(move("a"), 2), move("b", 300)))
    assert program(Cue("c", "", InTurn((pair, pair, pair))), {"a", "b"}).reserved == 2
    tight = Together((Repeat(move("a"), 2), move("b", 200)))
    # the first repeat ends at the very time the second begins: both count
    assert program(Cue("c", "", InTurn((tight, tight))), {"a", "b"}).reserved == 3
    assert program(Cue("c", "", Repeat(tight, 5)), {"a", "b"}).reserved == 3


def test_a_board_holds_the_cues_that_use_it_whether_it_idles_or_not() -> None:
    boards = (Board("one", "atmega328p", 1), Board("two", "atmega328p", 2))
    lamps = (Lamp("a", "one", 22), Lamp("b", "two", 22))
    cues = (Cue("x", "", Fade("a", 50.0, 100)), Cue("y", "", Fade("b", 50.0, 100)))
    show = Show(Rig(boards=boards, outputs=lamps), Score("t", cues))
    assert [cue.name for cue in cues_on(show, "one")] == ["x"]
    idling = Show(show.rig, Score("t", cues, idle=("x",)))
    assert [cue.name for cue in cues_on(idling, "one")] == ["x"]
    assert [cue.name for cue in cues_on(idling, "two")] == ["y"]


# -- random trees ------------------------------------------------------------------------------


def _tree(dice: Random, depth: int = 0) -> Step:
    kind = dice.random()
    if depth > 4 or kind < 0.4:
        return dice.choice((move("a", 90), move("b", 40), Hold(30), Throw("c", True)))
    inside = tuple(_tree(dice, depth + 1) for _ in range(dice.randint(1, 3)))
    if kind < 0.65:
        return InTurn(inside)
    if kind < 0.85:
        return Together(inside, dice.choice((0, 25)))
    return Repeat(InTurn((*inside, Hold(20))), dice.choice((2, 3)))


def _played(rows: tuple[tuple[ScoreOp, ...], ...], index: int, at: int) -> list[tuple[int, str]]:
    """(time, output) of every statement, loops passed and forks followed; ends with the length."""
    found: list[tuple[int, str]] = []
    loops: list[tuple[int, int]] = []
    place, row = 0, rows[index]
    while place < len(row):
        item = row[place]
        match item:
            case Wait():
                at += item.duration_ms
            case Do():
                found.append((at, item.act.output))
            case Fork():
                found += _played(rows, item.thread, at)[:-1]
            case LoopStart():
                assert item.times is not None
                loops.append((place, item.times))
            case _:
                start, left = loops.pop()
                if left > 1:
                    loops.append((start, left - 1))
                    place = start
        place += 1
    return [*found, (at, "end")]


def _planned(step: Step, at: int) -> list[tuple[int, str]]:
    """The same from the tree itself."""
    match step:
        case Move() | Fade() | Throw():
            return [(at, step.output)]
        case InTurn():
            found = []
            for child in step.children:
                found += _planned(child, at)
                at += int(duration_ms(child))
            return found
        case Together():
            pairs = enumerate(step.children)
            return [one for n, child in pairs for one in _planned(child, at + n * step.interval_ms)]
        case Repeat():
            once = int(duration_ms(step.body))
            assert step.times is not None
            return [one for n in range(step.times) for one in _planned(step.body, at + n * once)]
    return []


@given(dices())
@settings(max_examples=300)
def test_random_cues_do_what_their_tree_says_when_it_says(dice: Random) -> None:
    body = _tree(dice)
    laid = threads(Cue("c", "", body))
    played = _played(laid, 0, 0)
    assert played[-1] == (duration_ms(body), "end")
    assert sorted(played[:-1]) == sorted(_planned(body, 0))
    assert len(list(timeline(body))) >= len({output for _, output in played[:-1]})
    for number, thread in enumerate(laid):
        assert all(item.thread > number for item in thread if isinstance(item, Fork))
