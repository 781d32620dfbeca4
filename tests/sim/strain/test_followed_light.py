"""A lamp that follows a source: however that is moved, no second holds too many changes."""

from __future__ import annotations

from itertools import pairwise
from math import ceil

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.light.flash import count_in_worst_second, general_changes, red_changes
from sim.light.lightness import luminance, srgb_to_linear
from sim.model import Follow, Lamp
from sim.rulebook import FRAME_MS
from sim.strain.followed_light import shortest_way_ms

WHITE, RED = Lamp("lure", "b", 1), Lamp("lure", "b", 1, colour=(255, 0, 0))


def levels(follow: Follow, wanted: list[float], shaking_ms: float = 10_000) -> np.ndarray:
    """L* percent in each frame: one step of the most that the way allows toward what is wanted."""
    most = abs(follow.target_to - follow.target_from) * FRAME_MS / follow.way_ms
    at, seen = follow.target_from, []
    for n in range(int(shaking_ms / FRAME_MS)):
        goal = wanted[n % len(wanted)]
        at += float(np.clip(goal - at, -most, most))
        seen.append(at)
    return np.array(seen)


def flashes(lamp: Lamp, follow: Follow, wanted: list[float]) -> int:
    """The most flashes of either kind in any second."""
    light = luminance(levels(follow, wanted))
    times = np.arange(light.size) * float(FRAME_MS)
    colour = srgb_to_linear(np.array(lamp.colour) / 255.0)
    kinds = general_changes(times, light), red_changes(times, light[:, None] * colour)
    return max(count_in_worst_second(changes)[0] for changes in kinds)


def shaken(follow: Follow, frames: int, ends: tuple[float, float]) -> list[float]:
    """What is wanted if the source goes to and fro between two shares of its way."""
    low, high = (follow.target_from + (follow.target_to - follow.target_from) * e for e in ends)
    return [low] * frames + [high] * frames


@pytest.mark.parametrize("ends", [(40.0, 80.0), (80.0, 40.0)])
def test_the_way_takes_seven_windows_for_all_that_it_may_change(ends: tuple[float, float]) -> None:
    """40 percent of L*, at 80 as steep as its cube above it (CIE 1976), in seven tenths of light.

    A red of 255, 0, 64 is 1 - 0.0513 redder than black (IEC 61966-2-1); 20 of 320 count.
    """
    steep = (((80.25 + 16.0) / 116.0) ** 3 - ((80.0 + 16.0) / 116.0) ** 3) / 0.25
    ways = steep * 40.0 * 1020.0 / 7.0
    follow = Follow("lure", "stick", 0, 1, *ends)
    assert shortest_way_ms(WHITE, follow) == ceil(ways / 0.1)
    red = Lamp("lure", "b", 1, colour=(255, 0, 64))
    blue = ((64 / 255 + 0.055) / 1.055) ** 2.4
    assert shortest_way_ms(red, follow) == ceil(ways * (1.0 - blue) / (20.0 / 320.0))


@pytest.mark.parametrize(("green", "is_red"), [(60, True), (200, False)])
def test_only_a_saturated_red_counts_by_how_red_it_is(green: int, is_red: bool) -> None:
    """255, 60, 30 is linear 1, 0.0452 and 0.0130 (IEC 61966-2-1): a share of 0.945 (WCAG 2.2 takes
    0.8), and 0.942 redder than black. With 200 green it is 0.62 of all: an orange."""
    follow = Follow("lure", "stick", 0, 1, 40.0, 80.0)
    lamp = Lamp("lure", "b", 1, colour=(255, green, 30))
    linear = [((one / 255 + 0.055) / 1.055) ** 2.4 for one in (green, 30)]
    assert (1.0 / (1.0 + sum(linear)) >= 0.8) is is_red
    steep = (((80.25 + 16.0) / 116.0) ** 3 - ((80.0 + 16.0) / 116.0) ** 3) / 0.25
    ways = steep * 40.0 * 1020.0 / 7.0
    red = ceil(ways * (1.0 - sum(linear)) / (20.0 / 320.0))
    assert shortest_way_ms(lamp, follow) == (red if is_red else ceil(ways / 0.1))


def test_in_the_straight_part_of_the_curve_every_place_is_as_steep() -> None:
    """Below L* 8 luminance is L* / 903.3 (CIE 1976)."""
    for ends in ((0.0, 0.1), (0.0, 5.0), (5.0, 2.0)):
        way = abs(ends[1] - ends[0]) / 903.2963 * 1020.0 / 0.7
        assert shortest_way_ms(WHITE, Follow("lure", "s", 0, 1, *ends)) == ceil(way)


@settings(max_examples=300)
@given(
    st.sampled_from([WHITE, RED]),
    st.floats(1, 100),
    st.floats(1, 100),
    st.lists(st.floats(0, 1), min_size=1, max_size=40),
    st.integers(1, 12),
)
def test_no_hand_makes_a_lamp_flash_that_is_as_slow_as_it_must_be(
    lamp: Lamp, low: float, high: float, hand: list[float], often: int
) -> None:
    follow = Follow("lure", "stick", 0, 1, low, high, 20)
    follow = Follow("lure", "stick", 0, 1, low, high, max(20, shortest_way_ms(lamp, follow)))
    wanted = [low + (high - low) * share for share in hand for _ in range(often)]
    assert flashes(lamp, follow, wanted) <= 3


@pytest.mark.parametrize("lamp", [WHITE, RED])
@pytest.mark.parametrize("high", [40.0, 60.0, 80.0, 100.0])
def test_a_hand_makes_it_flash_where_it_is_much_quicker(lamp: Lamp, high: float) -> None:
    least = shortest_way_ms(lamp, Follow("lure", "stick", 0, 1, 1.0, high, 20))
    quick = Follow("lure", "stick", 0, 1, 1.0, high, max(20, round(0.4 * least)))
    just = Follow("lure", "stick", 0, 1, 1.0, high, least)
    hands = [(frames, low / 20) for frames in range(1, 13) for low in range(20)]
    worst = {
        way.way_ms: max(flashes(lamp, way, shaken(way, n, (low, 1.0))) for n, low in hands)
        for way in (quick, just)
    }
    assert worst[quick.way_ms] > 3 >= worst[just.way_ms]


def test_the_brighter_the_slower_and_red_the_slowest() -> None:
    ways = [shortest_way_ms(WHITE, Follow("lure", "s", 0, 1, 0.0, h)) for h in (20, 40, 60, 80)]
    assert all(one < other for one, other in pairwise(ways))
    of_red = shortest_way_ms(RED, Follow("lure", "s", 0, 1, 1.0, 60.0))
    assert of_red > shortest_way_ms(WHITE, Follow("lure", "s", 0, 1, 1.0, 60.0))


def test_which_end_is_brighter_does_not_matter() -> None:
    up, down = (Follow("lure", "s", 0, 1, *ends) for ends in ((5.0, 70.0), (70.0, 5.0)))
    assert shortest_way_ms(WHITE, up) == shortest_way_ms(WHITE, down)
