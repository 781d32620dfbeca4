"""What may follow a repeat that lasts as long as a button is held, and what may not."""

from __future__ import annotations

from itertools import combinations
from typing import TypeAlias

from hypothesis import given
from hypothesis import strategies as st

from sim.model import Cue, Fade, Hold, InTurn, Move, Repeat, Step, Together
from sim.score.overlaps import overlaps

Shape: TypeAlias = "str | tuple[str, list[Shape]]"


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


@given(
    st.recursive(
        st.just("move"),
        lambda inner: st.tuples(st.sampled_from("it"), st.lists(inner, min_size=1, max_size=4)),
        max_leaves=9,
    )
)
def test_endless_repeats_clash_if_their_innermost_common_block_runs_them_side_by_side(
    shape: Shape,
) -> None:
    """Each pair asked on its own, as the rule is written."""
    ways: list[tuple[tuple[int, str], ...]] = []

    def made(shape: Shape, way: tuple[tuple[int, str], ...]) -> Step:
        if isinstance(shape, str):
            ways.append(way)
            return Repeat(InTurn((Move("jaw", float(len(ways)), 500),)), None, while_held=True)
        kind, inner = shape
        steps = tuple(made(one, (*way, (n, kind))) for n, one in enumerate(inner))
        return Together(steps, 0) if kind == "t" else InTurn(steps)

    cue = Cue("a", "", made(shape, ()))

    def meet(one: tuple[tuple[int, str], ...], other: tuple[tuple[int, str], ...]) -> bool:
        (_, kind), _ = next(pair for pair in zip(one, other, strict=False) if pair[0] != pair[1])
        return kind == "t"

    found = overlaps(cue)
    for one in found:
        assert isinstance(one.first, Move)
        assert isinstance(one.second, Move)
        assert meet(ways[int(one.first.angle_deg) - 1], ways[int(one.second.angle_deg) - 1])
    assert bool(found) == any(meet(one, other) for one, other in combinations(ways, 2))
