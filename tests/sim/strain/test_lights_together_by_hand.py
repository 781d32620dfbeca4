"""How often several lights of a strand change together at most, whatever it draws, by hand.

Each light adds its level to the sum, full as `share`; a change is a tenth of the sum. A second of
frames is a window of 1,020 ms, its end not included. Fewer than eight changes are given as none.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from sim.arrays import Array
from sim.model import UNIFORM, Drawn, Fade, Hold, InTurn, Repeat, Step, Together
from sim.strain.drawn_stands import Stand, levels_at
from sim.strain.drawn_times import InTime, in_time
from sim.strain.drawn_together import (
    MOST_IN_A_SECOND,
    most_changes_together,
    most_turns_of_drifting,
    most_turns_of_overlapping,
)

STAYS = Repeat(Hold(10), None)
DARK = Stand(np.zeros((1, 1)), 0.0, UNIFORM)


def cut(name: str, level: float, lasts_ms: int = 0) -> Fade:
    return Fade(name, level, lasts_ms)


def every(gap_ms: int, *fades: Step) -> InTurn:
    return InTurn(tuple(one for fade in fades for one in (fade, Hold(gap_ms))))


ROW = [(n, cut("c", 0.0)) for n in range(20)]

Counted = Callable[..., int]


def most(count: Counted, body: Step, share: float = 0.5, names: str = "cd") -> int:
    """Both lights are found dark."""
    times: InTime = in_time(InTurn((body, STAYS)), tuple(names), 1020.0, 400)
    stands: dict[str, list[Stand]] = {name: [DARK, DARK] for name in names}
    for one in times.fades:
        assert isinstance(one.act, Fade)
        stand = Stand(levels_at(one.act), float(one.act.duration_ms), UNIFORM)
        stands[one.act.output].append(stand)

    def value(levels: Array) -> Array:
        return levels[..., 0] / 100.0 * share

    return count(times, stands, dict.fromkeys(names, value), 0.1)


def blinks(name: str, count: int, low: float = 0.0, high: float = 100.0) -> list[Fade]:
    return [cut(name, (high, low)[n % 2]) for n in range(count)]


# -- one after the other --------------------------------------------------------------------------


@pytest.mark.parametrize(("count", "changes"), [(7, 0), (8, 8), (9, 9), (11, 11)])
def test_from_eight_changes_in_turn_they_are_too_many(count: int, changes: int) -> None:
    """Fades end at once, 100 ms apart: the first and the last lie within a second."""
    assert most(most_changes_together, every(100, *blinks("c", count))) == changes
    halves = [*blinks("c", count // 2 * 2), *blinks("d", count % 2)]
    assert most(most_changes_together, every(100, *halves)) == changes


@pytest.mark.parametrize(("gap_ms", "changes"), [(145, 8), (146, 0)])
def test_a_second_and_a_frame_hold_eight_changes(gap_ms: int, changes: int) -> None:
    """Seven gaps of 145 are 1,015 ms, of 146 are 1,022."""
    assert most(most_changes_together, every(gap_ms, *blinks("c", 20))) == changes


@pytest.mark.parametrize(
    ("lasts_ms", "changes"), [(124, 10), (125, 9), (141, 9), (142, 8), (164, 8), (165, 0)]
)
def test_the_last_fade_counts_where_it_has_gone_a_tenth(lasts_ms: int, changes: int) -> None:
    """Of half of the sum a tenth is a fifth of a fade: the twelfth of 64 parts, at the soonest.

    From the end of the first fade on, ten changes are eight whole fades and 12/64 of one.
    """
    for whole in (8, 7, 6):
        if (whole + 12 / 64) * lasts_ms < 1020:
            assert changes == whole + 2
            break
    row = InTurn(tuple(cut(one.output, (100.0, 0.0)[n % 2], lasts_ms) for n, one in ROW))
    assert most(most_changes_together, row) == changes


@pytest.mark.parametrize(("gap_ms", "changes"), [(118, 8), (119, 0)])
def test_a_slow_last_fade_counts_at_the_last_place_before_a_tenth(
    gap_ms: int, changes: int
) -> None:
    """Seven cuts, then a fade of 1 s: a fifth of it is behind the twelfth of 64 parts, 187.5 ms."""
    assert 7 * 118 + 187.5 < 1020 < 7 * 119 + 187.5
    fades = [*blinks("c", 7), cut("c", 0.0, 1000)]
    assert most(most_changes_together, every(gap_ms, *fades)) == changes


def test_lights_that_go_up_by_turns_and_then_down_by_turns_change_half_as_often() -> None:
    """Up, up, down, down: of eleven fades six turn the sum."""
    row = [cut("c", 100.0), cut("d", 100.0), cut("c", 0.0), cut("d", 0.0)] * 5
    assert most(most_changes_together, every(100, *row)) == 0
    # one up and down, then the other: every fade turns it
    row = [*blinks("c", 2), *blinks("d", 2)] * 5
    assert most(most_changes_together, every(100, *row)) == 11


@pytest.mark.parametrize(("step", "changes"), [(10.0, 8), (9.5, 0)])
def test_two_fades_in_a_row_make_one_change_where_they_go_a_tenth(
    step: float, changes: int
) -> None:
    """Up in two, down in one: eleven fades from an end of a rise on are up, down and 3 (2 + 1)."""
    row = [cut("c", step), cut("c", 2.0 * step), cut("c", 0.0)] * 7
    assert most(most_changes_together, every(100, *row)) == changes


@pytest.mark.parametrize(("every_ms", "changes"), [(93, 0), (92, 9)])
def test_of_twelve_fades_in_a_second_each_counts_by_its_share_of_a_change(
    every_ms: int, changes: int
) -> None:
    """Up in three, each three quarters of a change, and down in one: six changes of twelve fades.
    Eleven gaps of 92 are 1,012 ms: then they are 3 x (3 x 0.75 + 1) = 9.75."""
    row = [cut("c", light) for light in (15.0, 30.0, 45.0, 0.0)] * 5
    assert most(most_changes_together, every(every_ms, *row)) == changes


@pytest.mark.parametrize("parts", [1, 2, 3, 4])
def test_as_many_fades_make_one_change_as_a_second_has_room_for(parts: int) -> None:
    """Eight changes of eleven fades leave four for one of them."""
    assert parts <= MOST_IN_A_SECOND - 7
    rise = [cut("c", 24.0 * (n + 1) / parts) for n in range(parts)]
    row = [*blinks("c", 2), *rise, cut("c", 0.0), *blinks("c", 4)]
    assert most(most_changes_together, every(101, *row)) == 8


@pytest.mark.parametrize(
    ("gap_ms", "share", "changes"),
    # twelve fades begin within 1,020 ms: 0, 92 .. 1,012; each may make a change or a part of one
    [(92, 0.5, 12), (92, 0.1, 12), (92, 0.07, 8), (92, 0.066, 0), (93, 0.1, 11), (93, 0.09, 0)],
)
def test_of_more_fades_in_a_second_each_counts_by_how_far_it_goes(
    gap_ms: int, share: float, changes: int
) -> None:
    assert most(most_changes_together, every(gap_ms, *blinks("c", 12)), share) == changes


@pytest.mark.parametrize(("low", "high", "changes"), [(40.0, 60.0, 11), (40.0, 59.5, 0)])
def test_what_is_drawn_turns_the_sum_where_its_range_has_room(
    low: float, high: float, changes: int
) -> None:
    """Half of 20 percent are a tenth of the sum."""
    row = [Fade("c", low, 0, drawn=Drawn(target_key=1, most=high))] * 12
    assert most(most_changes_together, every(100, *row)) == changes


def test_a_light_has_room_only_as_far_as_it_may_have_come_from() -> None:
    """Up to 40..60, then down to 35..45, and so on: each way has room for a tenth, but only by
    turns. Where both go up to 60 at most, what falls a tenth each time soon is too low."""

    def drawn(low: float, high: float) -> Fade:
        return Fade("c", low, 0, drawn=Drawn(target_key=1, most=high))

    turns = [drawn(40.0, 60.0), drawn(35.0, 45.0)] * 6
    assert most(most_changes_together, every(100, *turns)) == 11
    tight = [drawn(40.0, 60.0), drawn(45.0, 45.0)] * 6
    assert most(most_changes_together, every(100, *tight)) == 0


# -- at once --------------------------------------------------------------------------------------


def over_a_slow_one(cuts: int, before: int = 0) -> Step:
    """While one light goes up for a second, the other one is cut so often; and as often before."""
    row = InTurn((Hold(50), every(150, *blinks("d", cuts))))
    early = every(10, *blinks("d", before))
    return InTurn((early, Hold(1100), Together((cut("c", 100.0, 1000), row))))


@pytest.mark.parametrize(
    ("cuts", "share", "changes"),
    # n ways turn the sum 2 n - 1 times, but only as often as all of them go a tenth
    [(3, 0.5, 0), (4, 0.5, 9), (5, 0.5, 11), (4, 0.15, 0), (4, 0.17, 8), (4, 0.2, 9)],
)
def test_each_short_way_over_a_slow_one_turns_the_sum_twice(
    cuts: int, share: float, changes: int
) -> None:
    assert most(most_turns_of_overlapping, over_a_slow_one(cuts), share) == changes
    assert most(most_turns_of_overlapping, over_a_slow_one(cuts, before=4), share) == changes


@pytest.mark.parametrize(("cuts", "changes"), [(6, 0), (7, 8)])
def test_eight_ways_of_just_a_tenth_each_are_eight_changes(cuts: int, changes: int) -> None:
    """A slow way over a fifth of its light, half of the sum, and cuts over as much."""
    row = InTurn((Hold(50), every(140, *blinks("d", cuts, high=20.0))))
    body = InTurn((Hold(1100), Together((cut("c", 20.0, 1000), row))))
    assert most(most_turns_of_overlapping, body) == changes


@pytest.mark.parametrize(("gap_ms", "changes"), [(300, 15), (340, 11)])
def test_cuts_of_both_lights_at_once_all_turn_the_sum(gap_ms: int, changes: int) -> None:
    """Four pairs begin within 1,020 ms, or three: n ways turn it 2 n - 1 times."""
    pairs = [Together((cut("c", to), cut("d", to))) for to in (100.0, 0.0)] * 5
    assert most(most_turns_of_overlapping, every(gap_ms, *pairs)) == changes


def test_what_follows_one_another_does_not_overlap() -> None:
    assert most(most_turns_of_overlapping, every(50, *blinks("c", 12), *blinks("d", 12))) == 0


def both(gap_ms: int, cuts: int | None = None) -> Step:
    beats = [Repeat(every(gap_ms, *blinks(name, 2)), cuts) for name in "cd"]
    return Together(tuple(beats))


@pytest.mark.parametrize(
    ("gap_ms", "share", "changes"),
    # a window that starts at a cut holds those that begin within 1,020 ms: 6, 3 or 2 of each light
    [(200, 0.5, 23), (500, 0.5, 11), (600, 0.5, 0), (500, 0.14, 8), (500, 0.13, 0), (510, 0.5, 0)],
)
def test_repeats_side_by_side_meet_in_their_busiest_second(
    gap_ms: int, share: float, changes: int
) -> None:
    assert most(most_turns_of_drifting, both(gap_ms), share) == changes


@pytest.mark.parametrize(("gap_ms", "changes"), [(300, 8), (340, 0)])
def test_side_by_side_ways_of_just_a_tenth_are_changes(gap_ms: int, changes: int) -> None:
    """Four of each light within 1,020 ms, or three; each a fifth of half of the sum."""
    beats = [Repeat(every(gap_ms, *blinks(name, 2, high=20.0)), None) for name in "cd"]
    assert most(most_turns_of_drifting, Together(tuple(beats))) == changes


def test_fades_of_both_lights_at_once_make_one_change_by_any_of_them() -> None:
    """Both up, both down: each pair turns the sum once at least, as the sum of both goes."""
    pairs = [Together((cut("c", to, 50), cut("d", to, 50))) for to in (100.0, 0.0)] * 5
    assert most(most_changes_together, every(50, *pairs), 0.06) >= 8
    assert most(most_changes_together, every(50, *pairs), 0.01) == 0
