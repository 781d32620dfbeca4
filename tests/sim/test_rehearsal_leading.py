"""Rehearsals of a show in which one board leads: all boards decide alike what may start."""

from __future__ import annotations

from sim.model import Board, Cue, Hold, InTurn, Press, Rig, Score, Show, Switch, Throw
from sim.rehearsal.rehearse import rehearse


def show(*, leads: bool) -> Show:
    """`b` meets `a` on the board `arm` alone, and refuses to start while that runs."""
    horns = (
        Switch("own", "hub", 2, True, False),
        Switch("left", "arm", 2, True, False),
    )
    a = Cue("a", "a", InTurn((Throw("left", True), Hold(2000), Throw("left", False))))
    both = (Throw("own", True), Throw("left", True), Hold(500), Throw("own", False))
    b = Cue("b", "b", InTurn(both), conflict="refuse")
    boards = (Board("hub", "atmega2560", 1, leads=leads), Board("arm", "atmega328p", 2))
    return Show(Rig(boards=boards, outputs=horns), Score(title="t", cues=(a, b)))


def boards_that_ran(made: Show, cue: str) -> set[str]:
    presses = (Press(500, cue="a"), Press(1000, cue="b"))
    return {run.board for run in rehearse(made, presses, 4000).runs if run.cue == cue}


def test_no_board_starts_what_another_one_refuses_where_one_leads() -> None:
    assert boards_that_ran(show(leads=True), "b") == set()


def test_each_board_decides_for_itself_where_none_leads() -> None:
    assert boards_that_ran(show(leads=False), "b") == {"hub"}
