"""Of very many motions the fastest are interrupted; all different ones of fewer."""

from __future__ import annotations

from sim.model import Move
from sim.score.planned_moves import PlannedMove
from sim.strain.interruption import MOTIONS_KEPT, _haste, _motions


def planned(angle_deg: float, ms: int = 1000, from_deg: float = 0.0) -> PlannedMove:
    return PlannedMove("c", Move("jaw", angle_deg, ms), from_deg, 0.0, False)


def test_as_many_motions_as_are_kept_stay_in_their_order() -> None:
    row = [planned(1.0 + n) for n in range(MOTIONS_KEPT)]
    assert _motions(row) == row


def test_of_one_motion_more_the_slowest_is_left_out() -> None:
    """Degrees over milliseconds, either way round."""
    row = [planned(100.0 + n) for n in range(MOTIONS_KEPT - 1)]
    slow, quick = planned(50.0), planned(0.0, 100, from_deg=90.0)
    kept = _motions([slow, *row, quick])
    assert len(kept) == MOTIONS_KEPT
    assert kept[0] == quick
    assert kept[1:] == row[::-1]


def test_the_same_motion_and_one_of_no_way_or_no_time_are_not_taken_again() -> None:
    one = planned(40.0)
    assert _motions([one, planned(40.0), planned(0.0), planned(30.0, 0)]) == [one]


def test_a_pair_is_as_fast_as_its_two_moves_whichever_way_they_go() -> None:
    """40 deg in 1 s, then 60 deg back in 0.5 s: 0.04 and 0.12 deg a millisecond."""
    for side in (1.0, -1.0):
        moving, then = planned(40.0 * side), Move("jaw", -20.0 * side, 500)
        assert abs(_haste((moving, "by", then)) - 0.16) < 1e-12
    assert abs(_haste((planned(40.0), "by", Move("jaw", 41.0, 0))) - 1.04) < 1e-12


def test_how_fast_a_motion_is_does_not_hang_on_where_it_begins() -> None:
    """60 deg across the middle go before 59 deg and less above it."""
    across = planned(30.0, from_deg=-30.0)
    above = [planned(80.0 + n / 10.0, from_deg=40.0 + n / 20.0) for n in range(MOTIONS_KEPT)]
    kept = _motions([*above, across])
    assert kept[0] == across
    assert len(kept) == MOTIONS_KEPT
