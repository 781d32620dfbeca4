"""What may follow a repeat that lasts as long as a button is held, and what may not."""

from __future__ import annotations

from sim.model import Cue, Fade, Hold, InTurn, Move, Repeat, Step, Together
from sim.score.overlaps import overlaps


def chew() -> Repeat:
    return Repeat(InTurn((Move("jaw", 26.0, 500), Move("jaw", 8.0, 500))), None, while_held=True)


def clashes(*steps: Step) -> int:
    return len(overlaps(Cue("a", "", InTurn(steps))))


def test_a_statement_after_a_held_repeat_waits_for_its_end() -> None:
    assert clashes(chew(), Move("jaw", 0.0, 400)) == 0
    assert clashes(chew(), Hold(100), Move("jaw", 0.0, 400), Move("jaw", 9.0, 400)) == 0
    assert clashes(chew(), Together((Move("jaw", 0.0, 400), Fade("lure", 3.0, 400)))) == 0


def test_a_statement_beside_a_held_repeat_clashes_whenever_it_comes() -> None:
    late = InTurn((Hold(60_000), Move("jaw", 0.0, 400)))
    assert clashes(Together((chew(), late))) == 1


def test_what_follows_a_held_repeat_hides_no_clash_with_the_repeat_itself() -> None:
    closing = InTurn((chew(), Move("jaw", 0.0, 400)))
    late = InTurn((Hold(60_000), Move("jaw", 0.0, 400)))
    assert clashes(Together((closing, late))) == 1


def test_two_statements_after_a_held_repeat_still_clash_with_each_other() -> None:
    both = Together((Move("jaw", 0.0, 400), Move("jaw", 9.0, 400)))
    assert clashes(chew(), both) == 1
