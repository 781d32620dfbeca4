"""What a board that leads says after each frame: TABLE.md, section 7, worked by hand.

The boards have no servos, so they are ready in frame 0.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import pytest

from sim.model import (
    Binding,
    Board,
    Cue,
    Hold,
    InTurn,
    Press,
    Repeat,
    Rig,
    Score,
    Show,
    Switch,
    Throw,
)
from sim.rehearsal.leading import HubState, Leader
from sim.rehearsal.outputs import OutputRows
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.requests import Request
from sim.rulebook import FRAME_CLOCK, FRAME_MS
from sim.score.planned_moves import motion_limits
from sim.score.threads import board_program
from sim.score.tree import Act

HUB = Board("hub", "atmega2560", 1, leads=True)
ARM = Board("arm", "atmega2560", 2)
FANS = tuple(Switch(f"fan{n}", "hub", n) for n in range(12))
HORN = Switch("horn", "arm", 3)
ERA_FRAMES = 250_000


def lasting(name: str, fan: int, ms: int = 60_000, let_go: str | None = None) -> Cue:
    return Cue(name, "", InTurn((Throw(f"fan{fan}", True), Hold(ms))), let_go=let_go)


def moment(name: str, fan: int) -> Cue:
    return Cue(name, "", Throw(f"fan{fan}", True))


def show_of(*cues: Cue, bindings: tuple[Binding, ...] = (), idle: tuple[str, ...] = ()) -> Show:
    score = Score("t", cues, bindings, stop_button=30, idle=idle)
    return Show(Rig(boards=(HUB, ARM), outputs=(*FANS, HORN)), score)


@dataclass
class Bench:
    """The board that leads in a show, played frame by frame."""

    show: Show
    frames: int = 0
    states: list[HubState] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.outputs = OutputRows(self.show, "hub", motion_limits(self.show))
        self.leader: Leader[Act] = Leader(board_program(self.show, "hub"), self.outputs)

    def play(self, *requests: Request, frames: int = 1) -> HubState:
        """Frames, the first of which takes the requests; what is told after the last one."""
        for n in range(frames):
            self.outputs.shown = (self.frames - 1) * FRAME_CLOCK
            self.leader.frame(self.frames, requests if n == 0 else (), -1)
            assert self.leader.told is not None
            self.states.append(self.leader.told)
            self.frames += 1
        return self.states[-1]

    def told(self) -> list[tuple[str, int] | None]:
        """The cue and the age that were told frame by frame."""
        runs = (state.run for state in self.states)
        return [None if run is None else (str(run.cue), run.age) for run in runs]


def go(*cues: str) -> list[Request]:
    return [Request("trigger", cue) for cue in cues]


def down(button: int) -> Request:
    return Request("down", button=button)


def up(button: int) -> Request:
    return Request("up", button=button)


def test_what_is_new_is_told_three_times_and_what_is_not_in_turn() -> None:
    bench = Bench(show_of(lasting("a", 0), lasting("b", 1), lasting("c", 2)))
    bench.play()
    bench.play(*go("a", "b"), frames=8)
    bench.play(*go("c"), frames=7)
    assert bench.told() == [
        None,
        *[("a", 0), ("b", 1), ("a", 2), ("b", 3), ("a", 4), ("b", 5)],
        *[("a", 6), ("b", 7)],
        *[("c", 0), ("c", 1), ("c", 2)],
        *[("a", 11), ("b", 12), ("c", 5), ("a", 14)],
    ]
    assert [sorted(state.live) for state in bench.states] == [[], *[[0, 1]] * 8, *[[0, 1, 2]] * 7]


def test_of_several_that_are_as_new_the_lowest_is_told_first() -> None:
    bench = Bench(show_of(lasting("a", 0), lasting("b", 1), lasting("c", 2)))
    bench.play(*go("a"))
    bench.play(*go("b", "c"), frames=8)
    names = [one[0] for one in bench.told() if one]
    assert names == ["a", "b", "c", "a", "b", "c", "a", "b", "c"]


@pytest.mark.parametrize("again", [False, True])
def test_a_button_holds_a_run_until_it_goes_up_and_that_is_news(again: bool) -> None:
    bench = Bench(show_of(lasting("a", 0), lasting("b", 1), bindings=(Binding(1, "a", again),)))
    bench.play(down(1), *go("b"), frames=6)
    bench.play(frames=2)
    bench.play(up(1), frames=5)
    held = [(s.run.cue, s.run.held, s.run.again, s.run.let_go) for s in bench.states if s.run]
    a, b = ("a", True, again, False), ("b", False, False, False)
    assert held[:8] == [a, b] * 4
    let_go = ("a", False, again, False)
    assert held[8:] == [let_go, let_go, let_go, b, let_go]
    assert [age for _, age in filter(None, bench.told())] == list(range(13))


def test_what_has_a_part_for_that_is_told_as_let_go_since_the_frame_in_which_it_was() -> None:
    cues = lasting("a", 0, let_go="part"), lasting("part", 0)
    bench = Bench(show_of(*cues, bindings=(Binding(1, "a"),)))
    bench.play(down(1), frames=5)
    bench.play(up(1), frames=4)
    runs = [state.run for state in bench.states if state.run]
    assert [(run.cue, run.age) for run in runs] == [
        ("a", age) for age in (0, 1, 2, 3, 4, 0, 1, 2, 3)
    ]
    assert [run.let_go for run in runs] == [False] * 5 + [True] * 4
    assert [run.held for run in runs] == [True] * 5 + [False] * 4
    assert bench.states[-1].live == {0}


def test_a_run_that_ended_by_itself_is_told_on_as_long_as_it_is_news() -> None:
    """A moment that a button holds is told as not held."""
    bench = Bench(show_of(moment("a", 0), bindings=(Binding(1, "a"),)))
    bench.play(down(1), frames=4)
    assert bench.told() == [("a", 0), ("a", 1), ("a", 2), None]
    assert [state.live for state in bench.states] == [{0}, {0}, {0}, set()]
    assert [state.run.held for state in bench.states if state.run] == [False] * 3


def test_a_run_that_ends_when_it_is_news_no_more_is_told_no_more() -> None:
    """Started in frame 1, it counts from 0 ms on: what lasts 80 ms is over in frame 4."""
    for ms, frames in ((20, 3), (60, 3), (80, 3), (81, 4), (100, 4), (101, 5)):
        bench = Bench(show_of(lasting("a", 0, ms)))
        bench.play()
        bench.play(*go("a"), frames=8)
        assert sum(bool(state.live) for state in bench.states) == frames, ms


def test_a_run_that_is_taken_over_is_told_no_more() -> None:
    bench = Bench(show_of(lasting("a", 0), lasting("b", 0)))
    bench.play(*go("a"))
    bench.play(*go("b"), frames=2)
    assert [state.run.cue for state in bench.states if state.run] == ["a", "b", "b"]
    assert [state.live for state in bench.states] == [{0}, {0}, {0}]


def test_a_start_takes_the_lowest_place_of_which_nothing_is_told() -> None:
    """What was but a moment is told for three frames."""
    cues = (moment("a", 0), lasting("b", 1), lasting("c", 2))
    for wait, numbers in ((1, {"b": 1}), (2, {"b": 1}), (3, {"b": 0})):
        bench = Bench(show_of(*cues))
        bench.play(*go("a"), frames=wait)
        bench.play(*go("b"))
        assert {str(run.cue.name): run.number for run in bench.leader.runs.values()} == numbers


def test_where_something_is_told_of_all_places_a_start_takes_the_lowest_free_one() -> None:
    cues = [lasting("a", 0), *(moment(f"m{n}", n) for n in range(1, 9)), lasting("z", 9)]
    bench = Bench(show_of(*cues))
    bench.play(*go("a", *(f"m{n}" for n in range(1, 8))), frames=2)
    assert bench.states[-1].live == set(range(8))
    bench.play(*go("z"))
    assert {run.cue.name: run.number for run in bench.leader.runs.values()} == {"a": 0, "z": 1}
    assert bench.states[-1].live == set(range(8))
    assert bench.states[-1].run is not None
    assert (bench.states[-1].run.number, bench.states[-1].run.cue) == (1, "z")


def test_the_order_of_starts_counts_modulo_256() -> None:
    bench = Bench(show_of(lasting("a", 0), lasting("b", 1)))
    orders = []
    for n in range(258):
        state = bench.play(*go("ab"[n % 2]), frames=2 if n % 2 == 0 else 1)
        assert state.run is not None
        orders.append(state.run.order)
    assert orders == [*range(256), 0, 1]


def test_it_says_in_which_mode_it_is_and_who_wanted_limp() -> None:
    bench = Bench(show_of(lasting("a", 0)))
    bench.play(*go("a"), frames=5)
    assert (bench.states[-1].mode, bench.states[-1].limp_asked) == ("ready", False)
    limp = bench.play(Request("limp"), frames=1)
    assert (limp.mode, limp.limp_asked, limp.live, limp.run) == ("limp", True, set(), None)
    starting = bench.play(Request("standby"), frames=1)
    assert (starting.mode, starting.limp_asked) == ("starting", False)
    ready = bench.play()
    assert (ready.mode, ready.limp_asked, ready.frame) == ("ready", False, 7)
    stopped = bench.play(Request("stop"))  # nothing moves: it is limp at once, by itself
    assert (stopped.mode, stopped.limp_asked) == ("limp", False)
    assert bench.play(Request("stop")).limp_asked is False
    bench.play(Request("standby"), frames=2)
    assert bench.play(Request("limp")).limp_asked is True


def test_idle_counts_from_when_its_strands_began_and_is_none_of_the_runs() -> None:
    strand = Cue("idle", "", Repeat(InTurn((Throw("fan0", True), Hold(1000))), None))
    bench = Bench(show_of(strand, lasting("a", 1), idle=("idle",)))
    bench.play(frames=4)
    assert [state.idle_age for state in bench.states] == [0, 1, 2, 3]
    assert bench.states[-1].live == set()
    state = bench.play(*go("a"))
    assert (state.idle_age, state.live) == (4, {1})
    assert bench.play(Request("limp"), frames=3).idle_age == 0
    bench.play(Request("standby"))
    assert [bench.play().idle_age for _ in range(3)] == [0, 1, 2]


def test_as_long_as_there_is_news_the_next_frame_tells_it() -> None:
    bench = Bench(show_of(lasting("a", 0, 10_000), lasting("b", 1, 10_000)))
    bench.play()
    bench.play(*go("a"), frames=3)
    assert bench.leader.next_frame(3) == 500  # its end: it counts from 0 ms on
    assert bench.leader.turns == 1
    bench.play(*go("b"), frames=2)
    assert bench.leader.next_frame(5) == 6
    bench.play()
    assert bench.leader.next_frame(6) == 500
    assert bench.leader.turns == 2


def test_without_anything_to_do_the_next_frame_is_that_in_which_idle_begins_anew() -> None:
    bench = Bench(show_of(moment("a", 0)))
    bench.play(frames=2)
    assert bench.leader.next_frame(2) == ERA_FRAMES
    bench.play(Request("limp"))
    bench.play()
    assert bench.leader.next_frame(4) == float("inf")


# -- what comes of it on a board that follows ------------------------------------------------------


@pytest.mark.parametrize("leads", [False, True])
def test_idle_begins_anew_on_all_boards_of_a_leader_after_250000_frames(leads: bool) -> None:
    """On for 400 s, off for 300 s: the eighth time on from 4900 s on. At 5000 s it begins anew, on
    until 5400 s, where it would be off at 5300 s."""
    steps = []
    for name in ("fan0", "horn"):
        row = (Throw(name, True), Hold(400_000), Throw(name, False), Hold(300_000))
        steps.append(Cue(f"idle {name}", "", Repeat(InTurn(row), None)))
    show = show_of(*steps, idle=("idle fan0", "idle horn"))
    if not leads:
        rig = Rig(boards=(Board("hub", "atmega2560", 1), ARM), outputs=(*FANS, HORN))
        show = Show(rig, show.score)
    thrown = rehearse(show, (), 5_500_000).switches
    for name in ("fan0", "horn"):
        last = [(row.start_ms / 1000, row.on) for row in thrown[name] if row.start_ms > 4.8e6]
        if leads:
            began = ERA_FRAMES * FRAME_MS / 1000 - 0.02
            assert last == [(4899.98, True), (began, True), (pytest.approx(began + 400), False)], (
                name
            )
        else:
            assert last == [(4899.98, True), (5299.98, False)], name


def test_what_was_but_a_moment_ends_on_all_boards_when_it_is_news_no_more() -> None:
    """Of an old run nothing is new. Seven moments start in one frame: they are told in turn, three
    times each. The last is told as the seventh, fourteenth and twenty-first, and then left out."""
    others = [moment(f"m{n}", n) for n in range(1, 7)]
    last = Cue("last", "", InTurn((Throw("fan7", True), Throw("horn", True))))
    names = [*(cue.name for cue in others), "last"]
    bindings = tuple(Binding(1, name) for name in names)
    show = show_of(lasting("old", 0, 600_000), *others, last, bindings=bindings)
    played = rehearse(show, (Press(100, cue="old"), Press(1000, button=1)), 60_000)
    runs = {run.board: (run.start_ms, run.end_ms) for run in played.runs if run.cue == "last"}
    assert runs["hub"] == (980.0, 980.0)
    assert runs["arm"] == (980.0, 1000.0 + 21 * FRAME_MS)


def test_a_stop_button_is_down_from_its_down_to_its_up_and_no_other_is_one() -> None:
    bench = Bench(show_of(lasting("a", 0)))
    for request, is_down in ((down(1), False), (down(30), True), (up(1), True), (up(30), False)):
        bench.play(request)
        assert bench.leader.stop_is_down == is_down, request
    show = show_of(lasting("a", 0))
    bench = Bench(Show(show.rig, replace(show.score, stop_button=None)))
    for button in (1, 2, 30):
        bench.play(down(button))
        assert not bench.leader.stop_is_down
