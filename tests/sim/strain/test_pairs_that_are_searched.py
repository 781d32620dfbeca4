"""Which pairs of moves are searched for the worst cut, of more than there is time for.

The figures are the project's own limits: 64 pairs, 8 of them for how long they stretch.
"""

from __future__ import annotations

import pytest

from sim.model import Move
from sim.score.tree import PlannedMove
from sim.strain.interruption import _haste, _selected
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
