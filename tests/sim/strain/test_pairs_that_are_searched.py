"""Which pairs of moves are searched for the worst cut, of more than there is time for.

The figures are the project's own limits: 64 pairs, 8 of them for how long they stretch.
"""

from __future__ import annotations

import pytest

from sim.model import Cue, InTurn, Law, Move
from sim.score.planned_moves import PlannedMove
from sim.strain.interruption import MOTIONS_KEPT, _by_law, _entries, _haste, _motions, _selected
from tests.sim.small_shows import JAW, move

LIMITS = 400, 4000


def pair(number: int) -> tuple[PlannedMove, str, Move]:
    """The higher the number, the slower."""
    ms = 200 + 10 * number
    return PlannedMove("first", move("jaw", 50, ms), 5.0, 0.0, False), "then", move("jaw", 10, ms)


@pytest.mark.parametrize("count", [63, 64])
def test_few_pairs_are_all_searched(count: int) -> None:
    pairs = [pair(number) for number in range(count)]
    assert _selected(JAW, pairs, LIMITS) == pairs


@pytest.mark.parametrize("count", [65, 66, 150])
def test_of_many_pairs_the_fastest_are_searched_and_no_more_than_there_is_time_for(
    count: int,
) -> None:
    pairs = [pair(number) for number in range(count)]
    kept = _selected(JAW, list(reversed(pairs)), LIMITS)
    assert 56 <= len(kept) <= 64
    assert len(set(map(id, kept))) == len(kept)
    assert sorted(kept, key=_haste, reverse=True)[:56] == pairs[:56]


@pytest.mark.parametrize(
    ("from_deg", "to_deg", "ms", "then_deg", "then_ms", "haste"),
    [
        (5.0, 50.0, 100, 10.0, 200, 0.45 + 0.2),
        (50.0, 5.0, 100, 10.0, 200, 0.45 + 0.025),
        (-20.0, -50.0, 300, 10.0, 0, 0.1 + 60.0),
        (-20.0, -50.0, 300, 10.0, 1, 0.1 + 60.0),
        (-20.0, -50.0, 300, 10.0, 2, 0.1 + 30.0),
    ],
)
def test_the_haste_of_a_pair_is_the_mean_speed_of_both_moves(
    from_deg: float, to_deg: float, ms: int, then_deg: float, then_ms: int, haste: float
) -> None:
    """Of the second one from the target of the first; a jump lasts a millisecond."""
    moving = PlannedMove("first", move("jaw", to_deg, ms), from_deg, 0.0, False)
    assert _haste((moving, "then", move("jaw", then_deg, then_ms))) == pytest.approx(haste)


def test_a_cue_cuts_with_the_first_move_of_the_part_that_it_has() -> None:
    fin, first, later = move("fin", 9, 100), move("jaw", 20, 300), move("jaw", 30, 200)
    both, other = Cue("both", "", InTurn((fin, first, later))), Cue("other", "", InTurn((fin,)))
    assert list(_entries((both, other), "jaw")) == [(both, first)]
    assert list(_entries((both, other), "fin")) == [(both, fin), (other, fin)]
    assert list(_entries((both, other), "tail")) == []


def test_a_motion_that_is_planned_twice_is_one_and_of_many_the_fastest_are_kept() -> None:
    def planned(to_deg: float, ms: int, from_deg: float = 5.0) -> PlannedMove:
        return PlannedMove("c", move("jaw", to_deg, ms), from_deg, 0.0, False)

    one, back = planned(50, 400), planned(5, 400, 50.0)
    assert _motions([one, planned(50, 400), back, planned(5, 400), planned(50, 0)]) == [one, back]
    rows = [planned(50, 400 + n) for n in range(MOTIONS_KEPT + 3)]
    assert _motions(rows[:MOTIONS_KEPT][::-1]) == rows[:MOTIONS_KEPT][::-1]
    assert _motions(rows[::-1]) == rows[:MOTIONS_KEPT]
    # by degrees a millisecond, whichever way
    slow, fast = planned(10, 100), planned(-60, 900)
    assert _motions([*rows[: MOTIONS_KEPT - 1], slow, fast])[-1] == fast


def test_pairs_are_put_together_by_both_of_their_laws() -> None:
    def of(law: str, then: str) -> tuple[PlannedMove, str, Move]:
        one, other = (Move("jaw", 9.0, 100, Law(name)) for name in (law, then))  # type: ignore[arg-type]
        return PlannedMove("first", one, 5.0, 0.0, False), "then", other

    rows = [of("uniform", "3-4-5"), of("3-4-5", "uniform"), of("uniform", "3-4-5")]
    assert _by_law(rows) == {
        (Law("uniform"), Law("3-4-5")): [0, 2],
        (Law("3-4-5"), Law("uniform")): [1],
    }
