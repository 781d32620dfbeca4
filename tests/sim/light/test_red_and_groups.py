"""Red light and groups of pixels, step by step.

Red: away from a saturated red by over 0.2 in u'v', and back (WCAG 2.2, working note). Areas: as few
neighbours as fill the angle, then twice as many and so on (the project's own reading).
"""

from __future__ import annotations

from dataclasses import replace
from math import dist

import numpy as np
import pytest

from sim.light.area import group_means, groups, least_group
from sim.light.flash import _by_amount, _by_chromaticity, chromaticity
from sim.light.lightness import srgb_to_linear
from sim.light.patterns import Lit, fast_pattern
from sim.model import Effect

RED, PINK, NEAR, BLACK = (255, 0, 0), (255, 170, 170), (255, 165, 165), (0, 0, 0)
"""PINK lies 0.2016 from RED in u'v', NEAR 0.1966 (recomputed below)."""


def linear(*colours: tuple[int, int, int]) -> np.ndarray:
    return srgb_to_linear(np.array(colours) / 255.0)


def turns(*colours: tuple[int, int, int]) -> list[tuple[float, bool]]:
    """When the light turns, 10 ms a colour, and whether towards red."""
    found = _by_chromaticity(10.0 * np.arange(len(colours)), linear(*colours))
    return list(zip(found.at_ms.tolist(), found.rising.tolist(), strict=True))


def test_the_two_pinks_lie_on_either_side_of_the_distance() -> None:
    red, pink, near = chromaticity(linear(RED, PINK, NEAR))
    assert dist(red, pink) == pytest.approx(0.2016, abs=5e-5)
    assert dist(red, near) == pytest.approx(0.1966, abs=5e-5)


@pytest.mark.parametrize(
    ("colours", "expected"),
    [
        ((RED, PINK, RED, PINK), [(10, False), (20, True), (30, False)]),
        ((PINK, RED, PINK), [(10, True), (20, False)]),
        ((RED, NEAR, RED, NEAR), []),
        # a change that takes two steps counts where it is far enough
        ((RED, NEAR, PINK, RED), [(20, False), (30, True)]),
        # what stays as it is does not count again
        ((RED, RED, PINK, PINK, RED, RED, PINK), [(20, False), (40, True), (60, False)]),
        # black counts as white, 0.2587 away
        ((BLACK, RED, BLACK), [(10, True), (20, False)]),
        ((PINK, BLACK, PINK), []),
        ((RED, RED), []),
        # the farthest that the light went from red is what it comes back from
        ((RED, PINK, NEAR, RED), [(10, False), (30, True)]),
    ],
)
def test_a_light_turns_from_red_and_back(
    colours: tuple[tuple[int, int, int], ...], expected: list[tuple[float, bool]]
) -> None:
    assert turns(*colours) == expected


def test_by_its_amount_a_red_that_falls_turns_away_and_one_that_rises_turns_to() -> None:
    """R - G - B of full red is 1, and 20 of 320 is the least that counts."""
    found = _by_amount(10.0 * np.arange(4), linear(BLACK, RED, BLACK, RED))
    assert found.at_ms.tolist() == [10.0, 20.0, 30.0]
    assert found.rising.tolist() == [True, False, True]
    calm = _by_amount(10.0 * np.arange(3), np.array([[0.0] * 3, [0.0625, 0, 0], [0.0] * 3]))
    assert calm.at_ms.size == 0
    over = _by_amount(10.0 * np.arange(3), np.array([[0.0] * 3, [0.0626, 0, 0], [0.0] * 3]))
    assert over.at_ms.size == 2


def test_by_its_amount_a_red_that_other_colours_wash_out_turns_away_too() -> None:
    """R - G - B of yellow and of magenta is 0, of white below."""
    for other in ((255, 255, 0), (255, 0, 255), (255, 255, 255)):
        found = _by_amount(10.0 * np.arange(3), linear(RED, other, RED))
        assert found.at_ms.tolist() == [10.0, 20.0]
        assert found.rising.tolist() == [False, True]


# -- groups ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pixels", "least", "expected"),
    [
        (1, 1, [(0, 1)]),
        (3, 3, [(0, 3)]),
        # one, two at every place, and all
        (3, 1, [(0, 1), (1, 2), (2, 3), (0, 2), (1, 3), (0, 3)]),
        # two at every place, four at every second and at the end, and all
        (7, 2, [(n, n + 2) for n in range(6)] + [(0, 4), (2, 6), (3, 7), (0, 7)]),
        # three at every place, six at every third
        (9, 3, [(n, n + 3) for n in range(7)] + [(0, 6), (3, 9), (0, 9)]),
        (5, 4, [(0, 4), (1, 5), (0, 5)]),
    ],
)
def test_groups_double_up_to_the_whole_strip(
    pixels: int, least: int, expected: list[tuple[int, int]]
) -> None:
    assert [tuple(span) for span in groups(pixels, least).tolist()] == expected


def test_one_pixel_and_all_of_them_are_the_least_and_the_largest_group() -> None:
    """0.006 sr at 0.5 m are 15 cm2."""
    assert least_group(0.1, 0.5, 30) == 1
    assert least_group(0.015**0.5 / 10.0, 0.5, 30) == 10
    assert least_group(0.001, 0.5, 30) == 30


def test_a_mean_of_one_column_is_itself() -> None:
    values = np.array([[0.25], [0.5]])
    assert group_means(values, groups(1, 1)).tolist() == values.tolist()


@pytest.mark.parametrize(
    "effect",
    [
        Effect("", "ember", 120, 100.0, seed=4),
        Effect("", "sparkle", 300, 100.0, seed=4, width=10),
    ],
    ids=lambda one: one.name,
)
def test_pixels_that_go_their_own_ways_flash_where_the_strip_as_a_whole_does_not(
    effect: Effect,
) -> None:
    """The mean of forty hardly changes, but that of a few flashes."""
    strip = Lit((200.0,), pixels=40, least_group=40)
    assert not fast_pattern(effect, strip, 5_000.0)
    (found,) = fast_pattern(effect, replace(strip, least_group=2), 5_000.0)
    first, last = found.pixels
    assert 2 <= last - first < 40


def test_pixels_that_breathe_flash_all_together() -> None:
    effect = Effect("", "breathe", 200, 100.0)
    (found,) = fast_pattern(effect, Lit((200.0,), pixels=40, least_group=2), 20_000.0)
    assert found.pixels == (0, 40)
