"""How often a light may change in a row of fades that is drawn: counted by hand, at both sides.

A row of changes counts if it lies within a window of a second and a frame (1,020 ms), ends of it
not included. The lamp is found at any level up to its brightest, a frame before the strand starts.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np
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
from sim.strain.drawn_light import (
    MayFlash,
    _most_changes,
    _shares,
    _sums,
    _under_effects,
    draws_something,
    may_flash,
)
from sim.strain.drawn_stands import Sense, own_luminance, stands_of
from sim.strain.light_bound import LightBound
from sim.strain.light_states import LightStates

STAYS = Repeat(Hold(10), None)
LURE, EYE = Lamp("lure", "b", 9), Lamp("eye", "b", 10)
BELLY = Strip("belly", "b", 3, pixels=3)
GENERAL = Sense("general", ("lure",), own_luminance(LURE), 0.1, 0.8)


def show_of(body: Step, *lights: Lamp | Strip) -> Show:
    return Show(Rig((), (), lights or (LURE, EYE)), Score("t", (Cue("c", "", body),), idle=("c",)))


def changes(*steps: Step, sense: Sense = GENERAL) -> int:
    body = InTurn((*steps, STAYS))
    row = stands_of(body, LURE, LightStates(show_of(body)))
    assert row is not None
    return _most_changes(row, sense)


def cut(level: float, ms: int = 0, most: float | None = None, name: str = "lure") -> Fade:
    drawn = None if most is None else Drawn(target_key=1, most=most)
    return Fade(name, level, ms, drawn=drawn)


def row(gap_ms: int, *fades: Step) -> Step:
    return InTurn(tuple(one for fade in fades for one in (fade, Hold(gap_ms))))


def blinks(count: int, ms: int = 0, high: float = 100.0, low: float = 0.0) -> list[Fade]:
    return [cut((high, low)[n % 2], ms) for n in range(count)]


@pytest.mark.parametrize(
    ("gap_ms", "count"), [(100, 11), (101, 11), (102, 10), (339, 4), (340, 3), (1019, 2), (1020, 0)]
)
def test_cuts_count_that_a_window_holds(gap_ms: int, count: int) -> None:
    """A long wait first: the light is found far away from them. (n - 1) gaps are below 1,020."""
    assert changes(Hold(5000), row(gap_ms, *blinks(20))) == count


def test_what_is_found_is_a_change_a_frame_before_the_first_cut() -> None:
    """Dark until a frame before the strand, then full: cuts at 0, 100 .. 900 are ten more.

    From full at -20 the first one falls; the last that counts begins before 1,000.
    """
    assert changes(row(100, *blinks(20, high=0.0, low=100.0))) == 11
    assert changes(row(111, *blinks(3, high=0.0, low=100.0))) == 3 + 1


@pytest.mark.parametrize(
    ("ms", "count"),
    # a fall from full counts at 2 of 64 parts (L* 95.6), a rise from dark at 24 (L* 37.8)
    [(112, 11), (113, 10)],
)
def test_of_fades_the_first_counts_late_and_the_last_early(ms: int, count: int) -> None:
    """What is found may be just short of counting, so a row may begin at the very end of a rise."""
    assert (9 + 2 / 64) * 112 < 1020 < (9 + 2 / 64) * 113
    assert changes(InTurn(tuple(blinks(30, ms)))) == count


@pytest.mark.parametrize(("gap_ms", "count"), [(92, 11), (93, 10)])
def test_a_change_of_two_fades_may_count_as_the_second_begins(gap_ms: int, count: int) -> None:
    """L* 30 is a luminance of 0.062, L* 45 of 0.146: only both together count. The first may have
    gone most of the way, so they are the eleventh change, eleven gaps behind the first of ten cuts:
    1,012 ms or 1,023."""
    rise = (cut(30.0), cut(45.0))
    assert changes(Hold(5000), row(gap_ms, *blinks(10), *rise)) == count


@pytest.mark.parametrize(("level", "count"), [(37.0, 0), (39.0, 11)])
def test_a_change_counts_from_a_tenth_on(level: float, count: int) -> None:
    """L* 37 is a luminance of 0.095, L* 39 of 0.107 (CIE 1976)."""
    assert changes(row(101, *blinks(20, high=level))) == count


@pytest.mark.parametrize(("low", "is_seen"), [(91.0, True), (92.0, False)])
def test_a_change_counts_only_where_its_dark_end_is_below_eight_tenths(
    low: float, is_seen: bool
) -> None:
    """L* 91 is a luminance of 0.784, 92 of 0.808 (CIE 1976)."""
    cuts = row(101, *blinks(20, low=low))
    assert (changes(Hold(5000), cuts) == 11) is is_seen
    assert changes(Hold(5000), cuts, sense=replace(GENERAL, bright=2.0)) == 11


def test_just_a_tenth_counts_and_just_eight_tenths_do_not_however_they_are_rounded() -> None:
    """0.6 - 0.5 is less than 0.1 in binary, by 2e-17."""
    assert 0.6 - 0.5 < 0.1
    linear = replace(GENERAL, value=lambda levels: levels[..., 0] / 100.0, bright=2.0)
    for low, high, bright, is_seen in (
        (50.0, 60.0, 2.0, True),
        (50.5, 60.0, 2.0, False),
        (79.5, 100.0, 0.8, True),
        (80.0, 100.0, 0.8, False),
    ):
        cuts = row(101, *blinks(20, high=high, low=low))
        found = changes(Hold(5000), cuts, sense=replace(linear, bright=bright))
        assert (found == 11) is is_seen


def test_what_is_drawn_goes_as_far_as_it_may_and_counts_at_once() -> None:
    """90 is 0.763, so up to 100 it is a change and to 92 none."""
    for most, count in ((100.0, 11), (92.0, 0)):
        drawn = [one for _ in range(10) for one in (cut(91.0, 0, most), cut(90.0))]
        assert changes(Hold(5000), row(101, *drawn)) in ((count,) if count else (0, 2))


# -- a whole strand -------------------------------------------------------------------------------

MAYBE = Hold(1500, drawn=Drawn(time_key=1, most_ms=1600))


def found_in(body: Step, *lights: Lamp | Strip) -> tuple[MayFlash, ...]:
    show = show_of(body, *(lights or (LURE,)))
    (cue,) = show.score.cues
    return may_flash(show, cue, cue, LightBound(show, {"c": body}), LightStates(show))


@pytest.mark.parametrize(("cuts", "count"), [(7, None), (8, 4), (9, 4), (10, 5)])
def test_eight_changes_are_four_flashes(cuts: int, count: int | None) -> None:
    """Up from dark first: seven cuts behind it, and the next pass comes 1,500 ms later."""
    body = InTurn((row(100, *blinks(cuts)[:-1]), blinks(cuts)[-1], MAYBE))
    expected = () if count is None else (MayFlash("general", ("lure",), count),)
    assert found_in(body) == expected


def test_what_draws_nothing_is_left_to_rehearsals() -> None:
    body = InTurn((row(100, *blinks(10)), Hold(1500)))
    assert not draws_something(Cue("c", "", body))
    assert found_in(body) == ()
    assert draws_something(Cue("c", "", InTurn((body, MAYBE))))


def test_of_two_lights_neither_of_which_flashes_both_together_may() -> None:
    """Four cuts of one, then four of the other; each is half of all light."""
    four = [*blinks(4), *(cut(one.light, name="eye") for one in blinks(4))]  # type: ignore[arg-type]
    body = InTurn((row(100, *four), MAYBE))
    assert found_in(body, LURE, EYE) == (MayFlash("general", ("lure", "eye"), 4),)
    three = [*blinks(4), *(cut(one.light, name="eye") for one in blinks(3))]  # type: ignore[arg-type]
    assert found_in(InTurn((row(100, *three), MAYBE)), LURE, EYE) == ()


def test_a_light_counts_in_a_sum_by_its_part_of_all_light_and_of_all_leds() -> None:
    """A red lamp and three pixels: luminance 0.2126 and 3 of 3.2126, LEDs one and three of four."""
    ember = Lamp("ember", "b", 11, colour=(255, 0, 0))
    full, red = np.array([100.0]), np.array([100.0, 0.0, 0.0])
    sums = list(_sums({"ember": ember, "belly": BELLY}, ("ember", "belly")))
    assert [(kind, least) for kind, _, least in sums] == [
        ("general", 0.1),
        ("red", 20 / 320),
        ("red", 1.0),
    ]
    own, redness = sums[0][1], sums[1][1]
    assert float(own["ember"](full)) == pytest.approx(0.2126 * 1.0 / 3.2126)
    assert float(own["belly"](np.full(3, 100.0))) == pytest.approx(3.0 / 3.2126)
    assert float(redness["ember"](full)) == pytest.approx(0.25)
    assert float(redness["belly"](red)) == pytest.approx(0.75)
    assert [kind for kind, _, _ in _sums({"lure": LURE, "eye": EYE}, ("lure", "eye"))] == [
        "general"
    ]


def test_ways_of_a_faint_light_count_by_how_many_tenths_it_can_give() -> None:
    """One LED among 200 gives a two hundredth: a twentieth of what counts, twice; at L* 50 less."""
    crowd = Lamp("eye", "b", 10, count=199)
    for level, part in ((100.0, 1.0), (50.0, ((50 + 16) / 116) ** 3)):
        body = InTurn((cut(level), cut(100.0, name="eye"), MAYBE))
        states = LightStates(show_of(body, LURE, crowd))
        found = _shares({"lure": LURE, "eye": crowd}, states)
        assert found == {"lure": pytest.approx(0.1 * part), "eye": 2.0}


# -- under effects --------------------------------------------------------------------------------


def under(*steps: Step, light: Lamp | Strip = LURE) -> float:
    body = InTurn((Together(steps), MAYBE, STAYS))
    show = show_of(body, light)
    return _under_effects(show, show.score.cues[0], light, LightStates(show))


def test_an_effect_makes_two_changes_for_each_tenth_that_it_brings_a_light_to_and_fro() -> None:
    """Sparkle of 500 ms: two whole beats and two cut ones, of two ways each, so eight swings.

    At a depth of 50 percent full light goes down to L* 50, a luminance of 0.184 (CIE 1976): a swing
    is 0.816. The strand stays, so it is laid once: one swing more as it comes or goes. The cut is
    one change, and so is what is found after power-up.
    """
    swing = 1.0 - ((50 + 16) / 116) ** 3
    lit = cut(100.0)
    found = under(Effect("lure", "sparkle", 500, 50.0), lit)
    assert found == 2 + 2 * ((8 * swing + 1 * swing) // 0.1)
    # quite dark and back: nine swings of the whole are just ninety tenths, however they are rounded
    assert under(Effect("lure", "sparkle", 500, 100.0), lit) == 2 + 2 * 90
    shallow = 1.0 - ((98 + 16) / 116) ** 3
    assert 8 * shallow + shallow < 0.5
    found = under(Effect("lure", "sparkle", 500, 2.0), lit)
    assert found == 2 + 2 * ((9 * shallow) // 0.1)


def test_a_soft_effect_is_no_faster_than_its_shape_is_steep() -> None:
    """Breathing of 2 s at a depth of 10 percent: pi times the depth in a beat, half a beat."""
    steep = 100.0 * 3.0 / 116.0 * 0.01  # of luminance in a hundredth of full L*, at full light
    found = under(Effect("lure", "breathe", 2000, 2.0), cut(100.0))
    swing = 1.0 - ((98 + 16) / 116) ** 3
    slope = 3.1416 * 1020 / 2000 * 0.02 * steep / 0.01
    most = min((2 * 1020 // 2000 + 2) * swing, slope)
    assert found == 2 + 2 * ((most + swing) // 0.1)


def test_a_red_light_that_goes_quite_dark_under_an_effect_counts_without_end() -> None:
    lit = Fade("belly", StripLight((255, 0, 0)), 0)
    assert under(Effect("belly", "sparkle", 500, 100.0), lit, light=BELLY) == inf
    assert under(Effect("belly", "sparkle", 500, 99.0), lit, light=BELLY) < inf
    assert under(Effect("lure", "sparkle", 500, 100.0), cut(100.0)) < inf


def test_of_ways_and_of_tenths_under_an_effect_the_fewer_are_told() -> None:
    """Twelve beats of sparkle within a second, and two that are cut: ways by the dozen. At a depth
    of 2 percent they are worth 29 times 0.0505 (L* 98, CIE 1976), 14 tenths: 2 + 28 changes. At 90
    percent they are worth hundreds, and the ways, which no depth changes, are fewer."""

    def told(depth_pct: float) -> tuple[int, float, float]:
        body = InTurn((cut(100.0), Effect("lure", "sparkle", 80, depth_pct), Hold(5000), MAYBE))
        show = show_of(body, LURE)
        (cue,) = show.score.cues
        bound = LightBound(show, {"c": body})
        (one,) = may_flash(show, cue, cue, bound, LightStates(show))
        assert (one.kind, one.outputs, one.is_near) == ("general", ("lure",), False)
        tenths = _under_effects(show, cue, LURE, LightStates(show))
        return one.count, tenths, bound.of_light(cue, "lure")

    count, tenths, ways = told(2.0)
    assert tenths < ways
    assert count == tenths // 2
    count, tenths, ways = told(90.0)
    assert tenths > ways
    assert count == ways // 2


@pytest.mark.parametrize(("gap_ms", "count"), [(150, 4), (200, None)])
def test_two_lights_by_turns_in_a_choice_count_by_the_quickest_way(
    gap_ms: int, count: int | None
) -> None:
    """Both are found lit, two changes, a frame before; each cut that begins within 1,020 ms of that
    is one more: at 0, 150 .. 900 seven, at 0, 200 .. 800 five. Ways of two lights turn their sum
    2 n - 1 times by themselves, which is far more."""
    cuts = [cut(level, name=name) for level in (100.0, 0.0) for name in ("lure", "eye")]
    by_turns = InTurn((row(gap_ms, *cuts), OneOf((Hold(5), Hold(7)))))
    body = Repeat(OneOf((by_turns, Hold(5000))), None)
    expected = () if count is None else (MayFlash("general", ("lure", "eye"), count, False),)
    assert found_in(body, LURE, EYE) == expected


@pytest.mark.parametrize(
    ("gap_ms", "often"),
    # passes of 510, 511 and 1,021 ms begin 2, 1 and no times within 1,020 ms, and twice at its ends
    [(510, 4), (511, 3), (1021, 2)],
)
def test_an_effect_that_is_repeated_comes_and_goes_in_each_pass(gap_ms: int, often: int) -> None:
    effect = Effect("lure", "sparkle", 500, 50.0)
    beat = Repeat(InTurn((cut(100.0), effect, Hold(gap_ms))), None)
    swing = 1.0 - ((50 + 16) / 116) ** 3
    plain = changes_of_cuts(gap_ms)
    assert under(beat) == plain + 2 * ((8 + often) * swing // 0.1)


def changes_of_cuts(gap_ms: int) -> float:
    """Of a cut every so often: those that a window meets, ends of it included; one at power-up."""
    return 1.0 + 1020 // gap_ms + 1.0
