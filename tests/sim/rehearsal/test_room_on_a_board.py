"""How much runs at once on a board: 8 runs, 10 threads of all runs together, 64 statements a frame
(TABLE.md, 2)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.model import (
    Binding,
    Board,
    Conflict,
    Cue,
    Hold,
    InTurn,
    Press,
    Repeat,
    Rig,
    Score,
    Show,
    Step,
    Switch,
    Throw,
    Together,
)
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.trajectories import Trajectories

FANS = tuple(Switch(f"fan{n}", "b", n) for n in range(20))


def blinking(fan: int) -> Step:
    """A repeat: beside something else it needs a thread of its own."""
    return Repeat(InTurn((Throw(f"fan{fan}", True), Hold(400))), 50)


def cue(name: str, *fans: int, conflict: Conflict = "take") -> Cue:
    """A cue of as many threads as fans."""
    return Cue(name, "", Together(tuple(blinking(fan) for fan in fans)), conflict)


def played(*cues: Cue, at_ms: tuple[int, ...] = (), length_ms: int = 4000) -> Trajectories:
    """Each cue pressed in turn, 100 ms apart from 1 s on, or at `at_ms`.

    A board takes a press up at the end of the frame before, 20 ms earlier.
    """
    bindings = tuple(Binding(n, each.name) for n, each in enumerate(cues, start=1))
    score = Score("t", cues, bindings, stop_button=31)
    show = Show(Rig((), (Board("b", "atmega328p", 1),), FANS), score)
    times = at_ms or tuple(1000 + 100 * n for n in range(len(cues)))
    presses = [Press(at, button=n) for n, at in enumerate(times, start=1)]
    return rehearse(show, presses, length_ms)


def ran(trajectories: Trajectories) -> set[str]:
    return {run.cue for run in trajectories.runs}


def refused(trajectories: Trajectories) -> list[str]:
    return [refusal.cue for refusal in trajectories.refusals]


def test_ten_threads_run_and_an_eleventh_is_refused() -> None:
    six = cue("six", *range(6))
    found = played(six, cue("four", *range(6, 10)))
    assert (ran(found), refused(found)) == ({"six", "four"}, [])
    found = played(six, cue("five", *range(6, 11)))
    assert (ran(found), refused(found)) == ({"six"}, ["five"])


def test_a_cue_of_ten_threads_runs_alone() -> None:
    ten = cue("ten", *range(10))
    assert refused(played(ten)) == []
    assert refused(played(ten, cue("one", 11))) == ["one"]


def test_threads_of_a_run_that_is_taken_over_are_free_again() -> None:
    found = played(cue("six", *range(6)), cue("ten", *range(10)))
    assert refused(found) == []
    assert [(run.cue, run.end_ms) for run in found.runs] == [("six", 1100.0), ("ten", 4000.0)]
    # one output of `six` is left to it: it goes on, and keeps its threads
    assert refused(played(cue("six", *range(6)), cue("other", *range(1, 6)))) == ["other"]
    assert refused(played(cue("six", *range(6)), cue("other", *range(1, 5)))) == []


def test_eight_cues_run_at_once_and_a_ninth_is_refused() -> None:
    eight = [Cue(f"c{n}", "", InTurn((Throw(f"fan{n}", True), Hold(9000)))) for n in range(9)]
    assert refused(played(*eight[:8])) == []
    assert refused(played(*eight)) == ["c8"]


def test_a_cue_that_ends_makes_room() -> None:
    eight = [Cue(f"c{n}", "", InTurn((Throw(f"fan{n}", True), Hold(9000)))) for n in range(9)]
    eight[0] = Cue("c0", "", InTurn((Throw("fan0", True), Hold(200))))
    assert refused(played(*eight)) == []


def test_a_cue_that_waits_starts_when_its_output_is_free() -> None:
    first = Cue("first", "", InTurn((Throw("fan0", True), Hold(500))))
    second = Cue("second", "", InTurn((Throw("fan0", False), Hold(500))), "wait")
    found = played(first, second)
    assert [(run.cue, run.start_ms, run.end_ms) for run in found.runs] == [
        ("first", 980.0, 1480.0),
        ("second", 1480.0, 1980.0),
    ]


def test_a_waiting_cue_waits_for_room_too() -> None:
    """It finds its output free at 1.48 s, and ten threads taken until 1.78 s."""
    ten = Together(tuple(Repeat(InTurn((Throw(f"fan{n}", True), Hold(100))), 7) for n in range(9)))
    first = Cue("first", "", InTurn((Throw("fan15", True), Hold(500))))
    full = Cue("full", "", ten)
    late = cue("late", 15, 16, conflict="wait")
    found = played(first, full, late)
    starts = {run.cue: run.start_ms for run in found.runs}
    ends = {run.cue: run.end_ms for run in found.runs}
    assert refused(found) == []
    assert (ends["first"], ends["full"]) == (1480.0, 1780.0)
    assert starts["late"] == 1780.0


def throws(found: Trajectories, fan: int) -> list[float]:
    """When a fan was thrown, after what it did at start."""
    return [round(row.shown_ms) for row in found.switches[f"fan{fan}"] if row.cue]


@pytest.mark.parametrize("count", [60, 64])
def test_as_many_statements_as_a_frame_has_are_carried_out_in_it(count: int) -> None:
    many = tuple(Throw(f"fan{n % 2}", n % 3 == 0) for n in range(count - 1))
    body = InTurn((*many, Throw("fan5", True), Hold(500)))
    found = played(Cue("many", "", body))
    assert throws(found, 5) == [980]


def test_what_a_frame_has_no_room_for_comes_in_the_next() -> None:
    many = tuple(Throw(f"fan{n % 2}", n % 3 == 0) for n in range(64))
    body = InTurn((*many, Throw("fan5", True), Hold(500)))
    found = played(Cue("many", "", body))
    assert throws(found, 5) == [1000]
    # it is late by what it lost, and nothing catches up
    assert [run.end_ms for run in found.runs] == [1500.0]


def test_the_earliest_thread_goes_first() -> None:
    """80 statements of one thread leave the other's until the next frame only if it is later."""
    many = tuple(Throw(f"fan{n % 2}", n % 3 == 0) for n in range(80))
    body = Together(
        (
            Repeat(InTurn((*many, Hold(500))), 1),
            Repeat(InTurn((Hold(10), Throw("fan5", True), Hold(9))), 1),
        )
    )
    found = played(Cue("many", "", body))
    assert throws(found, 5)[0] >= 990
    early = replace(Cue("many", "", body), conflict="wait")
    assert refused(played(early)) == []
