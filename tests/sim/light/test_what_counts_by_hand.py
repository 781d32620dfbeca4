"""What of a light counts as a flash, by numbers worked out from the definitions themselves.

WCAG 2.2, general flash: opposing changes of a tenth of the luminance. Red flash: the share of red
in the linear light is 0.8 or more in a state; by the older working note R - G - B changes by over
20 of 320, and what is below 0 counts as 0. CIE 15: L* of a part of the light. More than three
flashes within a second are too many.
"""

from __future__ import annotations

from math import pi, sin

import numpy as np
import pytest

from sim.light.effects import breath_shares
from sim.light.flash import _by_amount, zigzag
from sim.light.hues import _most_ways
from sim.light.patterns import (
    _GENERAL,
    _REDNESS,
    FastPattern,
    Lit,
    _Pattern,
    fast_pattern,
    further_looks,
    looks,
    may_flash,
)
from sim.model import Effect

TEN_A_SECOND = Effect("", "breathe", 100, 100.0)


def kinds(lit: Lit, effect: Effect = TEN_A_SECOND) -> set[str]:
    return {one.kind for one in fast_pattern(effect, lit, 5_000.0)}


def red_lamp(red: float, other: float) -> Lit:
    """At full L*, with so much linear red, and as much green as blue."""
    return Lit((200.0,), colour=(red, other, other))


# -- which light is a saturated red ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("red", "other", "is_red"),
    [
        (0.8, 0.1, True),
        (0.79, 0.105, False),
        (0.4, 0.05, True),
        (0.395, 0.0525, False),
        (0.5, 0.25, False),
        (1.0, 0.0, True),
        (0.0, 0.5, False),
    ],
)
def test_a_light_flashes_red_from_eight_tenths_of_all_its_light_on(
    red: float, other: float, is_red: bool
) -> None:
    """Of 0.8, 0.1 and 0.1 red is 0.8; of 0.4, 0.05 and 0.05 as well, however dim the lamp is."""
    expected = {"general", "red"} if is_red else {"general"}
    assert kinds(red_lamp(red, other)) == expected


TRIMMED = Lit((100.0, 200.0, 0.0), trims=(1.0, 0.05, 1.0))
"""Red at 50 % of L* gives 0.1842, green at 100 % and 5 % of it 0.05: the share of red is 0.786."""


@pytest.mark.parametrize("name", ["breathe", "sparkle"])
def test_a_light_that_is_a_saturated_red_only_where_it_is_dimmed_flashes_red(name: str) -> None:
    """At 60 % of its level red is at 30 %, 0.0623; green at 60 %, 0.2812 and 5 % of it 0.0141: the
    share of red is 0.816. R - G - B goes from 0.134 to 0, over 0.0625; luminance by 0.075 only."""
    effect = Effect("", name, 100, 100.0, seed=4, width=100)  # type: ignore[arg-type]
    assert may_flash(effect, TRIMMED)
    assert kinds(TRIMMED, effect) == {"red"}


def test_a_light_that_stays_short_of_a_saturated_red_however_dim_does_not_flash_red() -> None:
    """With 10 % of the green the share of red is 0.648 at full, and at 60 % of its level 0.689."""
    effect = Effect("", "breathe", 100, 40.0)
    assert kinds(Lit((100.0, 200.0, 0.0), trims=(1.0, 0.1, 1.0)), effect) <= {"general"}


@pytest.mark.parametrize(("depth_pct", "flashes"), [(28.0, False), (35.0, True)])
def test_a_dim_red_flashes_by_how_far_its_red_falls(depth_pct: float, flashes: bool) -> None:
    """Red at 40 % of L*, 0.1125; luminance falls by a fortieth at most. 28 % deep it is at 28.8 %,
    0.0576, and has fallen by 0.055; 35 % deep at 26 %, 0.0475, by 0.065. The limit is 0.0625."""
    lit = Lit((80.0, 0.0, 0.0))
    assert may_flash(Effect("", "breathe", 100, depth_pct), lit) == flashes


@pytest.mark.parametrize(("depth_pct", "flashes"), [(100.0, True), (99.0, False)])
def test_a_red_that_is_too_dim_for_its_amount_flashes_against_the_dark_alone(
    depth_pct: float, flashes: bool
) -> None:
    """At 30 % of L* red is 0.0624, under 0.0625. But dark counts as white, which is 0.2587 from red
    in u'v', and 0.2 is the limit of the newer working note. A sparkle leaves whole beats dark."""
    expected = {"red"} if flashes else set()
    effect = Effect("", "sparkle", 60, depth_pct, seed=4, width=50)
    assert kinds(Lit((60.0, 0.0, 0.0)), effect) == expected


@pytest.mark.parametrize(
    ("period_ms", "depth_pct", "may"),
    [(333, 4.5, True), (334, 4.5, False), (333, 4.0, False), (333, 100.0, True)],
)
def test_a_light_may_flash_from_a_tenth_of_luminance_and_three_a_second_on(
    period_ms: int, depth_pct: float, may: bool
) -> None:
    """4 % deep is 10 of 256 parts: 96.09 % of L*, 0.9022. 4.5 % is 12: 95.31 %, 0.8837. Of 334 ms
    the eighth change comes behind a second."""
    assert may_flash(Effect("", "breathe", period_ms, depth_pct), Lit((200.0,))) is may


# -- how much of a pattern is looked at -----------------------------------------------------------


@pytest.mark.parametrize(("beats", "flashes"), [(3, False), (4, True)])
def test_an_effect_flashes_too_often_from_its_fourth_whole_beat_on(
    beats: int, flashes: bool
) -> None:
    """Each beat of 200 ms goes down and up again: in the fourth is the fourth flash."""
    effect = Effect("", "breathe", 200, 100.0)
    found = fast_pattern(effect, Lit((200.0,)), 200.0 * beats)
    assert [one.kind for one in found] == (["general"] if flashes else [])


def test_what_does_not_last_or_is_slow_has_no_fast_pattern() -> None:
    lamp = Lit((200.0,))
    slow = Effect("", "breathe", 2000, 100.0)
    assert fast_pattern(TEN_A_SECOND, lamp, 0.0) == ()
    assert fast_pattern(slow, lamp) == ()
    assert looks([(TEN_A_SECOND, lamp, 0.0), (slow, lamp, 9e9)]) == 0
    assert further_looks([(TEN_A_SECOND, lamp, 0.0), (slow, lamp, 9e9)]) == 0


def test_ten_flashes_a_second_are_told_as_ten() -> None:
    """Changes are 50 ms apart on average, so eight of them span 350 ms, and twenty-one a second."""
    (found,) = fast_pattern(TEN_A_SECOND, Lit((200.0,)), 5_000.0)
    assert isinstance(found, FastPattern)
    assert found.count == 10
    assert found.span_ms == pytest.approx(350.0, abs=50.0)


@pytest.mark.parametrize(("lit", "falls"), [(TRIMMED, False), (Lit((200.0, 0.0, 0.0)), True)])
def test_a_sparkle_that_reddens_as_it_dims_does_not_fall_steadily(lit: Lit, falls: bool) -> None:
    """From a light of another colour to a saturated red, and then to the dark."""
    pattern = _Pattern(Effect("", "sparkle", 100, 100.0, width=50), lit)
    assert pattern.falls_steadily(_REDNESS) == falls
    assert pattern.falls_steadily(_GENERAL)


# -- changes to and fro ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "changes"),
    [
        # a small dip on a slow way up, from the start and after a change; and the same downward
        ([0.0, 0.2, 0.1, 0.35], [(0.0, 0.35)]),
        ([1.0, 0.0, 0.2, 0.1, 0.35], [(1.0, 0.0), (0.0, 0.35)]),
        ([1.0, 0.8, 0.9, 0.65], [(1.0, 0.65)]),
        ([0.0, 1.0, 0.8, 0.9, 0.65], [(0.0, 1.0), (1.0, 0.65)]),
    ],
)
def test_a_slow_change_counts_from_its_extreme_though_it_falters(
    values: list[float], changes: list[tuple[float, float]]
) -> None:
    value = np.array(values)
    _, start, end = zigzag(np.arange(value.size, dtype=float), value, 0.3)
    assert list(zip(value[start].tolist(), value[end].tolist(), strict=True)) == changes


@pytest.mark.parametrize(("red", "changes"), [(0.06, 0), (0.065, 2)])
def test_less_red_than_green_and_blue_counts_as_none(red: float, changes: int) -> None:
    """From cyan, R - G - B = -2, to a dim red and back: 0.06 of 320 is 19.2, and 0.065 is 20.8."""
    cyan = [0.0, 1.0, 1.0]
    found = _by_amount(10.0 * np.arange(3), np.array([cyan, [red, 0.0, 0.0], cyan]))
    assert found.at_ms.size == changes


# -- fades from colour to colour ------------------------------------------------------------------


@pytest.mark.parametrize(("magenta_pct", "ways"), [(90, 2), (88, 2), (80, 1)])
def test_a_fade_whose_light_dips_by_a_tenth_turns(magenta_pct: int, ways: int) -> None:
    """From magenta to green at 75 % of L*. From magenta at 90 or 88 % luminance is 0.2173 or 0.2052
    first, and gets down to 0.1070 or 0.1040 on its way to 0.3453: by 0.110 or 0.101. From 80 % it
    is 0.1614 first, and falls by less. Red beside as much blue is no red."""
    levels = ((0, 0, 0), (2 * magenta_pct, 0, 2 * magenta_pct), (0, 150, 0))
    assert _most_ways(levels, (1.0, 1.0, 1.0), None) == ways


def test_green_and_blue_that_change_places_are_no_red_that_turns() -> None:
    """R - G - B goes from -1 to -0.37 and back to -1, and all of it counts as 0; luminance only
    rises, but for a hundredth."""
    levels = ((0, 0, 0), (0, 0, 200), (0, 200, 0))
    assert _most_ways(levels, (1.0, 1.0, 1.0), None) == 1


# -- breath ---------------------------------------------------------------------------------------


def test_a_breath_swings_as_far_back_as_there_by_the_square_of_a_sine() -> None:
    """TABLE.md 3.4: at y = 2h on the way there and 510 - 2h back sin2(pi y / 512) of the depth."""
    shares = breath_shares()
    assert len(shares) == 256
    for h, share in enumerate(shares):
        y = 2 * h if h < 128 else 510 - 2 * h
        assert share == pytest.approx(256.0 * sin(pi * y / 512.0) ** 2, abs=1.0)
    assert shares[127] == shares[128]
    assert (shares[0], shares[255]) == (0, 0)
