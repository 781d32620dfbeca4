"""When fades of a strand may come, whatever times it draws: each worked out by hand.

A strand here ends in a wait without end, or begins again. `40..60` is a time drawn from 40 to 60.
"""

from __future__ import annotations

from math import inf

import pytest

from sim.model import Drawn, Effect, Fade, Hold, InTurn, OneOf, Repeat, Step, Together
from sim.strain.drawn_times import InTime, Late, in_time, lateness, surely_apart

STAYS = Repeat(Hold(10), None)
SECOND_MS = 1020.0


def fade(ms: int, longest: int | None = None, name: str = "c") -> Fade:
    drawn = None if longest is None else Drawn(time_key=1, most_ms=longest)
    return Fade(name, 50.0, ms, drawn=drawn)


def wait(ms: int, longest: int | None = None) -> Hold:
    drawn = None if longest is None else Drawn(time_key=2, most_ms=longest)
    return Hold(ms, drawn=drawn)


def times(*steps: Step, names: str = "c", window_ms: float = SECOND_MS, most: int = 400) -> InTime:
    return in_time(InTurn((*steps, STAYS)), tuple(names), window_ms, most)


def spans(found: InTime) -> list[tuple[float, float]]:
    return [(one.begins_ms, one.ends_ms) for one in found.fades]


def gap_before_next(*beside: Step, interval_ms: int = 0) -> float:
    """From the first fade to the one right behind a `together`."""
    found = times(Together(beside, interval_ms), fade(10))
    return float(found.least_ms[0, -1])


def test_a_row_comes_in_its_shortest_times() -> None:
    found = times(fade(100, 900), wait(50, 800), fade(200))
    assert spans(found) == [(0, 100), (150, 350)]
    assert found.least_ms.tolist() == [[-100, 50], [-350, -200]]
    assert found.in_order
    assert not found.drifts


@pytest.mark.parametrize(
    ("beside", "gap_ms"),
    [
        # the fade's own draw: it still ends 10 before the wait, or with it
        ((fade(40), wait(100)), 60),
        ((fade(40, 90), wait(100)), 10),
        ((fade(40, 100), wait(100)), 0),
        ((fade(40, 130), wait(100)), 0),
        # what stands before the fade is drawn
        ((InTurn((wait(10, 35), fade(40))), wait(100)), 25),
        ((InTurn((fade(10, 35, "d"), fade(40, 50))), wait(100)), 15),
        # what stands behind it takes 20 at least
        ((InTurn((fade(40, 70), wait(20))), wait(100)), 30),
        ((InTurn((fade(40, 100), wait(20))), wait(100)), 20),
        ((InTurn((fade(40, 100), wait(10), wait(10))), wait(100)), 20),
        # it is the longest itself, or becomes it: what follows waits for it
        ((wait(20), fade(40, 90)), 0),
        ((wait(60), fade(40, 90)), 0),
        # one level more around it
        ((Together((fade(40, 60), wait(70))), wait(100)), 40),
        ((Together((fade(40, 60), wait(70))), wait(70)), 10),
    ],
)
def test_a_fade_beside_something_longer_comes_as_close_as_it_may(
    beside: tuple[Step, ...], gap_ms: float
) -> None:
    assert gap_before_next(*beside) == gap_ms


def test_an_interval_puts_off_what_comes_later_in_a_together() -> None:
    """The fade goes from 30 to 70, or to 100 at most; the third thing ends at 60 + 50."""
    assert gap_before_next(wait(100), fade(40), interval_ms=30) == 30
    assert gap_before_next(wait(100), fade(40, 60), interval_ms=30) == 10
    assert gap_before_next(wait(100), fade(40, 90), interval_ms=30) == 0
    assert gap_before_next(wait(0), fade(40, 60), wait(50), interval_ms=30) == 20


def test_inside_one_part_only_the_inner_together_counts() -> None:
    """Behind the inner wait of 70 comes the next fade, whatever else goes on beside both."""
    inner = InTurn((Together((fade(40, 60), wait(70))), fade(10)))
    found = times(Together((inner, wait(300))))
    assert found.least_ms[0, 1] == 10


def test_of_two_parts_one_comes_late_by_what_is_drawn_in_it() -> None:
    found = times(Together((fade(40, 70), fade(100, name="d"))), fade(10), names="cd")
    assert spans(found) == [(0, 40), (0, 100), (100, 110)]
    # c ends up to 30 later than it does beside d, and 30 before what follows at best
    assert found.least_ms[0].tolist() == [-40, -70, 30]
    assert found.least_ms[1].tolist() == [-100, -100, 0]
    assert not found.in_order


def test_alternatives_all_begin_where_the_choice_does_and_it_takes_the_quickest() -> None:
    found = times(OneOf((fade(40), InTurn((wait(10), fade(60))))), fade(10))
    assert spans(found) == [(0, 40), (10, 70), (40, 50)]


# -- repeats --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("every_ms", "window_ms", "count"),
    [(100, 1000.0, 12), (100, 1000.5, 13), (500, 1020.0, 5), (2000, 1020.0, 3), (40, 10.0, 3)],
)
def test_a_repeat_is_written_out_as_often_as_a_window_may_meet_and_two_more(
    every_ms: int, window_ms: float, count: int
) -> None:
    beat = InTurn((fade(40), wait(every_ms - 40)))
    for times_ in (20, None):
        found = times(Repeat(beat, times_), window_ms=window_ms)
        assert spans(found) == [(n * every_ms, n * every_ms + 40) for n in range(count)]
    assert len(times(Repeat(beat, 2), window_ms=window_ms).fades) == 2


def test_a_strand_begins_again_and_nothing_follows_what_is_endless() -> None:
    again = in_time(InTurn((fade(40), wait(360))), "c", SECOND_MS, 400)
    assert [one.begins_ms for one in again.fades] == [0, 400, 800, 1200, 1600]
    assert len(in_time(fade(0), "c", 5.0, 400).fades) == 7  # a pass counts as 1 ms at least
    assert len(times(Repeat(wait(10), None), fade(40)).fades) == 0


def test_of_too_many_fades_one_more_than_asked_for_is_read() -> None:
    beat = Repeat(InTurn((fade(1), wait(1))), 100)
    assert len(times(beat, most=5).fades) == 6
    assert len(times(beat, most=6).fades) == 7


def test_all_passes_of_a_long_repeat_may_be_late() -> None:
    """Twenty passes of 40..50 take 800 to 1,000 beside 1,500: 500 are left at least.

    Three are written out (a window of 10 ms), and the first two end as long before the last one as
    they do by themselves.
    """
    beats = Repeat(fade(40, 50), 20)
    found = times(Together((beats, wait(1500))), fade(10), window_ms=10.0)
    assert spans(found) == [(0, 40), (40, 80), (80, 120), (820, 830)]
    assert found.least_ms[2, 3] == 500
    assert found.least_ms[0, 1:3].tolist() == [0, 40]
    assert not found.drifts  # one light alone


@pytest.mark.parametrize(
    ("one", "other", "drifts"),
    [
        (fade(40), fade(40, name="d"), False),
        (Repeat(fade(40), 3), fade(40, name="d"), False),
        (Repeat(fade(40), 2000), fade(40, name="d"), True),
        (Repeat(fade(40), None), fade(40, name="d"), True),
        (fade(40), Repeat(fade(40, name="d"), None), True),
        (Repeat(fade(40), None), wait(40), False),
    ],
)
def test_repeats_side_by_side_drift_where_not_all_of_them_is_written_out(
    one: Step, other: Step, drifts: bool
) -> None:
    found = times(Together((one, other)), names="cd")
    assert found.drifts is drifts
    if drifts:
        assert not found.in_order


@pytest.mark.parametrize("is_first", [True, False])
def test_what_a_long_repeat_leaves_out_is_missing_beside_another_light_too(is_first: bool) -> None:
    """Of 2,000 passes of 40 ms a window meets 26 and two more, and the next fade follows them."""
    parts = (Repeat(fade(40), 2000), fade(70, name="d"))
    found = times(Together(parts if is_first else parts[::-1]), fade(10), names="cd")
    assert spans(found)[-1] == (28 * 40, 28 * 40 + 10)


def test_fades_are_surely_apart_where_one_ends_before_the_other_begins() -> None:
    def apart(*steps: Step) -> bool:
        found = times(*steps, names="cd")
        assert surely_apart(found, 0, 1) == surely_apart(found, 1, 0)
        return surely_apart(found, 0, 1)

    assert apart(fade(40), fade(10, name="d"))
    assert apart(Together((fade(40), InTurn((wait(40), fade(10, name="d"))))))
    assert not apart(Together((fade(40), InTurn((wait(39), fade(10, name="d"))))))
    assert not apart(Together((fade(40, 41), InTurn((wait(40), fade(10, name="d"))))))
    assert not apart(Together((fade(0), fade(0, name="d"))))


# -- how late a statement may be ------------------------------------------------------------------


def test_what_stands_in_no_together_is_never_late() -> None:
    one, glow = fade(40, 900), Effect("c", "breathe", 500)
    body = InTurn((wait(10, 90), one, glow, Effect("d", "breathe", 500)))
    assert lateness(body, "c") == {id(one): Late(0, 0), id(glow): Late(0, 0)}


def test_an_effect_is_late_by_what_stands_before_it() -> None:
    glow = Effect("c", "breathe", 500)
    body = Together((InTurn((wait(10, 50), glow)), wait(100)))
    assert lateness(body, "c") == {id(glow): Late(40, 0)}


def test_what_is_repeated_is_late_in_its_pass_and_as_a_whole() -> None:
    """In its pass by 40..60 beside 100; three passes of 40..60 beside 200 by 60 together."""
    one = fade(40, 60)
    in_pass = Repeat(Together((one, wait(100))), 3)
    assert lateness(InTurn((in_pass, wait(10))), "c") == {id(one): Late(0, 20)}
    assert lateness(Repeat(Together((in_pass, wait(400))), 2), "c") == {id(one): Late(0, 20)}
    whole = Together((Repeat(one, 3), wait(200)))
    assert lateness(whole, "c") == {id(one): Late(60, 0)}
    assert lateness(Together((Repeat(one, None), wait(200))), "c") == {id(one): Late(0, 0)}


def test_of_two_places_the_later_one_counts() -> None:
    one = fade(40, 60)
    late = Together((one, wait(100)))
    for row in ((one, late), (late, one)):
        assert lateness(InTurn(row), "c") == {id(one): Late(20, 0)}


def test_beside_another_light_a_fade_is_late_by_its_own_draw() -> None:
    """It is the longest part, so what follows waits for it; the other light need not."""
    one, other = fade(40, 70), fade(20, name="d")
    assert lateness(Together((one, other)), "cd")[id(one)] == Late(30, 0)
    assert lateness(Together((one, other)), "c")[id(one)] == Late(0, 0)
    assert inf not in lateness(Together((one, STAYS)), "c")[id(one)]
