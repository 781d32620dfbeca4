"""Where lights of a strand stand between its fades, and how they are seen, by hand."""

from __future__ import annotations

from dataclasses import replace
from math import inf, log

import numpy as np
import pytest

from sim.light.lightness import lightness
from sim.model import (
    UNIFORM,
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
from sim.strain.drawn_stands import (
    MOST_FADES,
    RowOfStands,
    can_be_red,
    levels_at,
    own_luminance,
    reached,
    redness_of,
    senses_of,
    stands_of,
    tinge_of,
    way_to,
    weights_of,
)
from sim.strain.light_states import LightStates

STAYS = Repeat(Hold(10), None)
"""At the end of a strand, which else begins again."""

LURE = Lamp("lure", "b", 9, safe_pct=5.0)
EMBER = Lamp("ember", "b", 10, colour=(255, 0, 0))
BELLY = Strip("belly", "b", 3, pixels=20)
FULL = np.array([100.0, 100.0, 100.0])
RED = np.array([100.0, 0.0, 0.0])


def stands(body: Step, light: Lamp | Strip = LURE) -> RowOfStands | None:
    show = Show(Rig((), (), (LURE, EMBER, BELLY)), Score("t", (Cue("c", "", body),)))
    return stands_of(body, light, LightStates(show))


def fade(ms: int, level: float = 50.0) -> Fade:
    return Fade("lure", level, ms)


def test_where_ways_are_to_be_counted_there_are_no_stands() -> None:
    lit = fade(100)
    assert stands(InTurn((lit, Effect("lure", "breathe", 500)))) is None
    assert stands(InTurn((lit, Effect("lure", "steady")))) is not None
    assert stands(InTurn((lit, Effect("ember", "breathe", 500)))) is not None
    assert stands(OneOf((lit, Hold(10)))) is None
    assert stands(Repeat(lit, 2, while_held=True)) is None
    assert stands(Together((lit, fade(200)), 99)) is None  # the first is cut short
    assert stands(Together((lit, fade(200)), 100)) is not None
    several = tuple(fade(1) for _ in range(MOST_FADES))
    assert stands(InTurn((*several, STAYS))) is not None
    assert stands(InTurn((*several, lit, STAYS))) is None


def test_between_two_stands_is_the_least_time_from_fade_to_fade() -> None:
    """Found a frame before the strand starts; 100 to 160 ms beside 200, 50 of rest, then 300.

    The first fade ends at 160 at the latest, 40 before the rest. Nothing leads away from the last
    stand, and nothing into the dark.
    """
    drawn = replace(fade(100), drawn=Drawn(time_key=1, most_ms=160))
    found = stands(InTurn((Together((drawn, Hold(200))), Hold(50), fade(300), STAYS)))
    assert found is not None
    assert [one.lasts_ms for one in found.stands] == [0.0, 0.0, 100.0, 300.0]
    assert found.until_ms.tolist() == [
        [inf, inf, inf, inf],
        [inf, 20.0, 20.0 + 250.0, inf],
        [inf, -100.0, 40.0 + 50.0, inf],
        [inf, -550.0, -300.0, inf],
    ]


def test_a_lamp_is_found_dark_or_at_any_level_up_to_its_brightest() -> None:
    found = stands(InTurn((fade(100, 60.0), STAYS)))
    assert found is not None
    assert found.stands[0].levels.tolist() == [[0.0]]
    assert found.stands[1].levels[:, 0].tolist() == [n / 2.0 for n in range(121)]
    assert found.stands[2].levels.tolist() == [[60.0]]


def test_a_strip_whose_fades_turn_on_their_way_has_no_stands() -> None:
    """From magenta to green luminance falls first; from red to white it rises alone."""

    def between(*colours: tuple[int, int, int]) -> Step:
        return InTurn(tuple(Fade("belly", StripLight(one), 100) for one in colours))

    assert stands(between((255, 0, 255), (0, 255, 0)), BELLY) is None
    assert stands(between((0, 0, 255), (255, 255, 255)), BELLY) is not None


def test_what_is_drawn_may_end_at_every_half_percent() -> None:
    drawn = replace(fade(10, 20.0), drawn=Drawn(target_key=1, most=22.0))
    assert levels_at(drawn)[:, 0].tolist() == [20.0, 20.5, 21.0, 21.5, 22.0]
    of_time = replace(fade(10, 20.0), drawn=Drawn(time_key=1, most_ms=90))
    assert levels_at(of_time).tolist() == [[20.0]]
    assert levels_at(Fade("belly", StripLight((255, 0, 0), 50.0), 10)).shape == (1, 3)


# -- how they are seen ----------------------------------------------------------------------------


def test_a_way_is_reached_at_the_last_of_64_shares_before_it_is_there() -> None:
    value = np.linspace(0.0, 1.0, 65)
    # 0.34 is 21.76 shares: between the 21st and the 22nd
    assert reached(value, 0.0, 0.34, True) == 21 / 64
    assert reached(value[::-1], 1.0, 0.34, False) == 21 / 64
    assert reached(value, 0.5, 0.25, True) == 47 / 64  # just there at the 48th
    assert reached(value, 0.0, 1.01, True) == inf
    assert reached(value, 0.0, 0.34, False) == inf
    assert reached(value, -1.0, 0.5, True) == 0.0
    assert reached(value, 0.0, 1.0, True) == 63 / 64


def test_a_way_goes_straight_from_each_light_to_one() -> None:
    found = way_to(np.array([[0.0], [80.0]]), np.array([40.0]), UNIFORM)
    assert found.shape == (2, 65, 1)
    assert found[:, [0, 16, 64], 0].tolist() == [[0.0, 10.0, 40.0], [80.0, 70.0, 40.0]]


def test_lights_weigh_by_what_they_give_at_full() -> None:
    """A red lamp has 0.2126 of a white one's luminance (IEC 61966-2-1)."""
    three = replace(LURE, count=3)
    whole = 3 + 20 + 0.2126
    found = weights_of((three, BELLY, EMBER))
    assert found == pytest.approx({"lure": 3 / whole, "belly": 20 / whole, "ember": 0.2126 / whole})
    assert weights_of(()) == {}


def test_luminance_keeps_to_trims_and_to_the_cap() -> None:
    """0.6 A of the 1.2 A that 20 pixels of three colours ask, so white is halved and red is not."""
    assert float(own_luminance(replace(LURE, trims=(0.5,)))(np.array([100.0]))) == 0.5
    assert float(own_luminance(BELLY)(FULL)) == pytest.approx(1.0)
    capped = replace(BELLY, cap_a=0.6)
    assert float(own_luminance(capped)(FULL)) == pytest.approx(0.5)
    assert float(own_luminance(capped)(RED)) == pytest.approx(0.2126)
    tight = replace(BELLY, cap_a=0.2)
    assert float(own_luminance(tight)(RED)) == pytest.approx(0.2126 / 2)


def test_redness_is_what_red_has_more_than_the_others() -> None:
    assert float(redness_of(BELLY)(RED)) == pytest.approx(1.0)
    assert float(redness_of(BELLY)(np.array([100.0, 100.0, 0.0]))) == 0.0
    half = float(lightness(0.25))
    assert float(redness_of(BELLY)(np.array([100.0, half, half]))) == pytest.approx(0.5, abs=1e-6)
    assert float(redness_of(EMBER)(np.array([half]))) == pytest.approx(0.25, abs=1e-6)
    assert float(redness_of(LURE)(np.array([100.0]))) == 0.0
    assert [can_be_red(one) for one in (LURE, EMBER, BELLY)] == [False, True, True]


def test_a_lamp_is_as_red_as_its_red_has_more_than_both_others() -> None:
    """255, 60, 30 is linear 1, 0.0452 and 0.0130 (IEC 61966-2-1); what is rather green is not."""
    full = np.array([100.0])
    others = sum(((one / 255 + 0.055) / 1.055) ** 2.4 for one in (60, 30))
    assert float(redness_of(replace(EMBER, colour=(255, 60, 30)))(full)) == pytest.approx(
        1.0 - others
    )
    assert float(redness_of(replace(EMBER, colour=(60, 255, 30)))(full)) == 0.0
    assert float(redness_of(replace(EMBER, colour=(255, 200, 200)))(full)) == 0.0
    assert float(redness_of(BELLY)(np.array([0.0, 100.0, 0.0]))) == 0.0


def test_a_tinge_counts_by_powers_of_five_and_red_against_the_others() -> None:
    fifth = np.array([float(lightness(0.2))])
    assert float(tinge_of(LURE)(fifth)) == pytest.approx(1.0)
    assert float(tinge_of(EMBER)(fifth)) == pytest.approx(-1.0)
    assert float(tinge_of(BELLY)(FULL)) == pytest.approx(0.0)
    assert float(tinge_of(BELLY)(RED)) == pytest.approx(1.0 + log(0.2126) / log(5.0))


def test_a_red_light_is_one_as_soon_as_it_is_not_dark() -> None:
    """WCAG 2.2: a saturated red has R / (R + G + B) of 0.8 and more."""

    def is_red(light: Lamp | Strip, *levels: float) -> float:
        (sense,) = (one for one in senses_of(light, ()) if one.kind == "red" and one.least == 1.0)
        return float(sense.value(np.array(levels)))

    assert [is_red(EMBER, level) for level in (0.0, 0.5, 100.0)] == [0.0, 1.0, 1.0]
    assert is_red(BELLY, 100.0, 0.0, 0.0) == 1.0
    assert is_red(BELLY, 0.0, 0.0, 0.0) == 0.0
    # of linear light 1 to 0.12 and 0.12 is a share of 0.806, to 0.13 and 0.13 of 0.794
    for part, red in ((0.12, 1.0), (0.13, 0.0)):
        assert is_red(BELLY, 100.0, *(float(lightness(part)),) * 2) == red


def test_a_light_is_seen_by_itself_and_among_all() -> None:
    def seen(light: Lamp | Strip, *beside: Lamp | Strip) -> list[tuple[object, ...]]:
        return [
            (one.kind, one.outputs, pytest.approx(one.least), one.bright)
            for one in senses_of(light, beside)
        ]

    alone = [("general", ("lure",), 0.1, 0.8)]
    assert seen(LURE) == alone
    red = [("red", ("ember",), 20 / 320, inf), ("red", ("ember",), 1.0, inf)]
    assert seen(EMBER) == [("general", ("ember",), 0.1, 0.8), *red]
    both = "lure", "ember"
    share = 1.0 / 1.2126
    among = [
        ("general", both, 0.1 / share, inf),
        ("red", both, 20 / 320 / 0.5, inf),
        ("red", both, 1.0, inf),
    ]
    assert seen(LURE, LURE, EMBER) == [*alone, *among]
    twin = replace(LURE, name="twin", count=3)
    assert seen(LURE, LURE, twin) == [*alone, ("general", ("lure", "twin"), 0.4, inf)]
