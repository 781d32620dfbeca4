"""How often light may change in a strand that makes choices: counted by hand, at both sides.

A row of changes counts if it lies within a window of a second and a frame (1,020 ms), ends of it
not included. Cuts take no time, so a row of n of them every t ms lasts (n - 1) t.
"""

from __future__ import annotations

import pytest

from sim.model import (
    Cue,
    Drawn,
    Effect,
    Fade,
    Hold,
    InTurn,
    Lamp,
    OneOf,
    Repeat,
    Rig,
    Score,
    Show,
    Step,
    Strip,
    StripLight,
    Together,
)
from sim.strain.chosen_light import MOST_PLACES, ChosenLight
from sim.strain.drawn_stands import Sense, own_luminance
from sim.strain.light_states import LightStates

STAYS = Repeat(Hold(10), None)
"""At the end of a strand, which else begins again."""

LURE, EYE = Lamp("lure", "b", 9), Lamp("eye", "b", 10)
GENERAL = Sense("general", ("lure",), own_luminance(LURE), 0.1, 0.8)


def of(body: Step) -> ChosenLight:
    return ChosenLight(body, LightStates(Show(Rig((), (), (LURE, EYE)), Score("t", (cue(body),)))))


def cue(body: Step) -> Cue:
    return Cue("c", "", body)


def changes(body: Step, sense: Sense = GENERAL) -> int | None:
    found = of(body).changes(LURE, (sense,))
    return None if found is None else found[0]


def cut(level: float, name: str = "lure", lasts_ms: int = 0) -> Fade:
    return Fade(name, level, lasts_ms)


def blink(every_ms: int, level: float = 100.0, lasts_ms: int = 0) -> Step:
    wait = Hold(every_ms)
    return InTurn((cut(level, lasts_ms=lasts_ms), wait, cut(0.0, lasts_ms=lasts_ms), wait))


def again(*choices: Step) -> Step:
    return Repeat(OneOf((*choices, Hold(5000))), None)


@pytest.mark.parametrize(
    ("every_ms", "count"), [(100, 11), (102, 10), (101, 11), (339, 4), (340, 3), (1019, 2)]
)
def test_cuts_count_that_a_window_holds(every_ms: int, count: int) -> None:
    assert changes(again(blink(every_ms))) == count


def test_the_quickest_choice_counts_and_not_all_at_once() -> None:
    assert changes(again(blink(300), blink(101))) == 11
    assert changes(again(blink(101), blink(300))) == 11
    assert changes(again(blink(300), blink(340))) == 4
    # one of two goes up and one goes down: at best by turns
    turns = OneOf((cut(100.0), cut(0.0)))
    assert changes(Repeat(InTurn((turns, Hold(101))), None)) == 11
    # both go up, and nothing brings it down
    assert changes(Repeat(InTurn((OneOf((cut(100.0), cut(99.0))), Hold(101))), None)) == 0


@pytest.mark.parametrize(("lasts_ms", "count"), [(112, 11), (113, 10)])
def test_of_fades_the_first_counts_late_and_the_last_early(lasts_ms: int, count: int) -> None:
    """The first may start just below what counts, so it may count at its very end.

    A fall from full counts from L* 95.6 on (a tenth below; CIE 1976): 2 of the 64 parts of a fade
    that are looked at. Of 11 in turn nine go the whole way between.
    """
    assert (9 + 2 / 64) * 112 < 1020 < (9 + 2 / 64) * 113
    assert changes(again(blink(0, lasts_ms=lasts_ms))) == count


def test_a_change_counts_from_a_tenth_on_and_below_eight_tenths() -> None:
    """L* 37 is a luminance of 0.095, L* 39 of 0.107; 91 of 0.784, 92 of 0.808 (CIE 1976)."""
    assert changes(again(blink(101, level=37.0))) == 0
    assert changes(again(blink(101, level=39.0))) == 11

    def between(low: float) -> Step:
        wait = Hold(101)
        return again(InTurn((cut(100.0), wait, cut(low), wait)))

    assert changes(between(91.0)) == 11
    assert changes(between(92.0)) in (0, 2)  # the way out of the dark alone
    any_height = Sense("general", ("lure",), own_luminance(LURE), 0.1)
    assert changes(between(92.0), any_height) == 11


def test_just_a_tenth_counts_and_just_eight_tenths_do_not_however_they_are_rounded() -> None:
    """0.6 - 0.5 is less than 0.1 in binary, by 2e-17."""

    def linear(bright: float) -> Sense:
        return Sense("general", ("lure",), lambda levels: levels[..., 0] / 100.0, 0.1, bright)

    def between(low: float, high: float) -> Step:
        wait = Hold(101)
        return again(InTurn((cut(high), wait, cut(low), wait)))

    assert 0.6 - 0.5 < 0.1
    assert changes(between(50.0, 60.0), linear(2.0)) == 11
    assert changes(between(50.5, 60.0), linear(2.0)) in (0, 2)
    assert changes(between(79.5, 100.0), linear(0.8)) == 11
    assert changes(between(80.0, 100.0), linear(0.8)) in (0, 2)


@pytest.mark.parametrize(("low", "count"), [(40.0, 11), (40.5, 0)])
def test_of_what_is_drawn_each_change_takes_the_end_that_suits_it(low: float, count: int) -> None:
    """From `low` up to 50 it is a tenth, and from 45 it is none; and down again likewise."""
    wait = Hold(101)
    drawn = Fade("lure", low, 0, drawn=Drawn(target_key=1, most=45.0))
    linear = Sense("general", ("lure",), lambda levels: levels[..., 0] / 100.0, 0.1)
    body = Repeat(InTurn((drawn, wait, OneOf((cut(50.0), cut(49.9))), wait)), None)
    found = changes(body, linear)
    assert found == count or (count == 0 and found in (0, 2))


def test_a_strip_whose_fades_turn_on_their_way_is_counted_in_another_way() -> None:
    """From magenta to green luminance falls first; from blue to white it rises alone."""
    belly = Strip("belly", "b", 3, pixels=20)

    def known(*colours: tuple[int, int, int]) -> bool:
        fades = tuple(Fade("belly", StripLight(one), 100) for one in colours)
        body = Repeat(OneOf((InTurn((*fades, Hold(400))), Hold(5000))), None)
        show = Show(Rig((), (), (belly,)), Score("t", (cue(body),)))
        sense = Sense("general", ("belly",), own_luminance(belly), 0.1, 0.8)
        return ChosenLight(body, LightStates(show)).changes(belly, (sense,)) is not None

    assert known((0, 0, 255), (255, 255, 255))
    assert not known((255, 0, 255), (0, 255, 0))


def test_what_is_drawn_goes_as_far_as_it_may() -> None:
    """From L* 90 (0.763) to 91 no tenth; drawn up to 100 a tenth and more."""
    wait = Hold(101)

    def drawn(most: float) -> Step:
        target = Fade("lure", 91.0, 0, drawn=Drawn(target_key=1, most=most))
        return Repeat(OneOf((InTurn((target, wait, cut(90.0), wait)), Hold(5000))), None)

    assert changes(drawn(100.0)) == 11
    assert changes(drawn(92.0)) in (0, 2)


def test_a_repeat_counts_its_passes_and_nothing_comes_behind_an_endless_one() -> None:
    choice = OneOf((blink(101), blink(150)))
    assert changes(InTurn((Repeat(choice, 2), STAYS))) == 4
    assert changes(InTurn((Repeat(choice, 3), STAYS))) == 6
    assert changes(InTurn((choice, STAYS, choice))) == 2
    assert changes(InTurn((choice, Repeat(Hold(10), 2), choice, STAYS))) == 4
    # nor does anything come behind what goes on beside the choice without end
    assert changes(InTurn((Together((choice, STAYS)), choice, STAYS))) == 2
    # one of two ways never comes to its end
    for ways in ((InTurn((choice, STAYS)), blink(101)), (blink(101), InTurn((choice, STAYS)))):
        assert changes(InTurn((OneOf(ways), choice, STAYS))) == 4
        assert changes(InTurn((OneOf((ways[0], ways[0])), choice, STAYS))) in (2, 4)


def test_things_together_start_by_their_interval_and_end_with_the_longest() -> None:
    """The light is the second of two: it begins 40 ms late, and the first lasts 60 ms longer."""
    for lasts_ms, count in ((101, 11), (102, 10)):
        one = Together((Hold(lasts_ms), OneOf((cut(100.0), cut(99.0)))), 40)
        other = Together((Hold(lasts_ms), OneOf((cut(0.0), cut(1.0)))), 40)
        assert changes(Repeat(InTurn((one, other)), None)) == count


def test_what_is_not_plain_is_counted_in_another_way() -> None:
    plain = blink(101)
    assert changes(again(plain, Effect("lure", "breathe", 500))) is None
    assert changes(again(InTurn((plain, Effect("lure", "breathe", 500))))) is None
    assert changes(again(InTurn((Effect("lure", "breathe", 500), plain)))) is None
    assert changes(again(InTurn((plain, Effect("lure", "steady"))))) == 11
    assert changes(again(InTurn((plain, Effect("eye", "breathe", 500))))) == 11
    assert changes(again(Repeat(plain, 2, while_held=True))) is None
    assert changes(again(Together((plain, plain)))) is None


@pytest.mark.parametrize(("fades", "is_known"), [(MOST_PLACES - 2, True), (MOST_PLACES - 1, False)])
def test_of_more_places_than_allowed_the_ways_are_counted(fades: int, is_known: bool) -> None:
    """The dark and what is found are two of them; behind something endless there are none."""
    row = InTurn((*(cut(100.0, lasts_ms=9) for _ in range(fades - 1)), OneOf((cut(0.0), Hold(5)))))
    body = InTurn((row, STAYS, row))
    assert (changes(body) is not None) is is_known
    assert (all_changes(body) is not None) is is_known


# -- several lights -------------------------------------------------------------------------------


def all_changes(body: Step, share: float = 0.5) -> int | None:
    values = {
        one.name: lambda levels, one=one: share * own_luminance(one)(levels) for one in (LURE, EYE)
    }
    return of(body).changes_of_all((LURE, EYE), values, 0.1)


def by_turns(every_ms: int) -> Step:
    wait = Hold(every_ms)
    cuts = cut(100.0), cut(100.0, "eye"), cut(0.0), cut(0.0, "eye")
    return again(InTurn(tuple(one for each in cuts for one in (each, wait))))


@pytest.mark.parametrize(("every_ms", "count"), [(99, 2 + 11), (100, 2 + 10)])
def test_both_lights_come_on_and_then_each_cut_counts_once(every_ms: int, count: int) -> None:
    """What both lights are found at is two changes, a frame before; cuts 1,000 ms off are in."""
    assert all_changes(by_turns(every_ms)) == count


@pytest.mark.parametrize(("share", "eighths"), [(0.0624, 5), (0.0626, 6), (0.0999, 8), (0.3, 8)])
def test_a_light_that_changes_the_sum_by_less_counts_by_eighths(share: float, eighths: int) -> None:
    assert all_changes(by_turns(100), share) == 2 + 10 * eighths // 8


@pytest.mark.parametrize(("left", "eighths"), [(30.0, 5), (100.0, 8)])
def test_a_light_may_come_from_wherever_another_cue_has_left_it(left: float, eighths: int) -> None:
    """Up to L* 40 and down is a luminance of 0.113 (CIE 1976), half of it in the sum: 5 eighths of
    a tenth. From full light it is more than a tenth. Ten of them follow what both are found at."""
    wait = Hold(100)
    body = again(InTurn((cut(40.0), wait, cut(0.0), wait)))
    other = Cue("other", "", cut(left))
    show = Show(Rig((), (), (LURE, EYE)), Score("t", (cue(body), other)))
    values = {
        one.name: lambda levels, one=one: 0.5 * own_luminance(one)(levels) for one in (LURE, EYE)
    }
    found = ChosenLight(body, LightStates(show)).changes_of_all((LURE, EYE), values, 0.1)
    assert found == 2 + 10 * eighths // 8


def test_fades_at_once_turn_the_sum_as_often_as_both_may() -> None:
    """Two at once turn it three times: one more than each by itself."""
    both = [
        Together((cut(level, lasts_ms=50), cut(100.0 - level, "eye", lasts_ms=50)))
        for level in (100.0, 0.0)
    ]
    wait = Hold(500)
    body = again(InTurn((both[0], wait, both[1], wait)))
    # a window from the beginning of one to that of the next: found, and two pairs
    assert all_changes(body) == 2 + 2 * 3
    assert all_changes(again(InTurn((both[0], Hold(2000))))) == 2 + 3
    endless = Together((cut(100.0), Repeat(InTurn((cut(0.0, "eye"), Hold(10))), None)))
    assert all_changes(again(endless)) is None


@pytest.mark.parametrize(
    ("inner", "fades"),
    [
        (InTurn((Hold(10), cut(100.0), Effect("lure", "steady"))), 1),
        (InTurn((cut(100.0), Hold(10), cut(0.0))), 2),
        (OneOf((cut(100.0), InTurn((cut(50.0), cut(0.0))), Hold(10))), 2),
        (Repeat(InTurn((cut(100.0), Hold(10))), 3), 3),
        (Together((cut(100.0), Hold(10))), 1),
    ],
)
def test_what_is_at_once_turns_the_sum_by_the_fades_it_makes_at_most(
    inner: Step, fades: int
) -> None:
    """With the other light's one they are n + 1, which turn the sum 2 (n + 1) - 1 times."""
    body = again(InTurn((Together((inner, cut(100.0, "eye"))), Hold(2000))))
    found = all_changes(body, 5.0)  # so bright that each turn is a whole change
    assert found == 2 + min(2 * (fades + 1) - 1, 2 * 8)
