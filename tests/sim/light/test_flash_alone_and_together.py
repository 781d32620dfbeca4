"""Lights that pass alone and flash together, with square waves whose changes can be counted.

WCAG 2.2, success criterion 2.3.1: more than three flashes within any one second; a flash is a pair
of opposing changes of 10 % of the luminance or more, the darker state below 0.80.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from sim.light.flash import (
    Flashing,
    LightSource,
    count_in_worst_second,
    ensembles,
    flashing,
    general_changes,
    most_ways,
    together,
)

TIMES = np.arange(0.0, 4000.0, 5.0)


def pulses(
    every_ms: float, first_ms: float = 0.0, on_ms: float = 100.0, until_ms: float = 4000.0
) -> NDArray[np.float64]:
    """Full light for `on_ms` from `first_ms` on, again and again."""
    since = (TIMES - first_ms) % every_ms
    return ((since < on_ms) & (first_ms <= TIMES) & (until_ms > TIMES)).astype(np.float64)


def white(luminance: NDArray[np.float64], weight: float = 1.0) -> LightSource:
    return LightSource(np.repeat(luminance[:, None], 3, axis=1), luminance, weight)


def found(**sources: LightSource) -> list[tuple[str, tuple[str, ...], int]]:
    return [(one.kind, one.outputs, one.count) for one in flashing(TIMES, sources)]


def one_found(**sources: LightSource) -> Flashing:
    (one,) = flashing(TIMES, sources)
    return one


def test_two_lights_in_turn_flash_as_often_as_both() -> None:
    """Each twice a second; together four times."""
    left, right = pulses(500.0), pulses(500.0, first_ms=250.0)
    assert found(left=white(left)) == []
    assert found(right=white(right)) == []
    assert found(left=white(left), right=white(right)) == [("general", ("left", "right"), 4)]


def test_two_lights_at_once_flash_as_often_as_one() -> None:
    same = pulses(500.0)
    assert found(left=white(same), right=white(same)) == []


def test_lights_that_go_alike_are_not_judged_as_a_pair() -> None:
    """Beside a third one each of them is, and all three are. Half as bright is not alike."""
    one, other = pulses(100.0, on_ms=50.0), pulses(100.0, first_ms=25.0, on_ms=50.0)
    sources = {"a": white(one), "b": white(one), "c": white(other)}
    assert ensembles(sources) == (("a", "c"), ("b", "c"), ("a", "b", "c"))
    dimmer = {"a": white(one), "b": white(one / 2.0), "c": white(other)}
    assert ensembles(dimmer) == (("a", "b"), ("a", "c"), ("b", "c"), ("a", "b", "c"))


@pytest.mark.parametrize(("leds", "count"), [(9.0, 1), (10.0, 0)])
def test_a_light_counts_by_its_leds(leds: float, count: int) -> None:
    """One LED among ten changes the whole by a tenth, among eleven by less."""
    big, small = white(pulses(500.0), leds), white(pulses(500.0, first_ms=250.0), 1.0)
    assert len(found(big=big, small=small)) == count


@pytest.mark.parametrize(("every_ms", "count"), [(334.0, 0), (330.0, 0), (250.0, 4), (200.0, 5)])
def test_a_light_alone_flashes_as_often_as_it_is_lit(every_ms: float, count: int) -> None:
    expected = [("general", ("eye",), count)] if count else []
    assert found(eye=white(pulses(every_ms))) == expected


def test_what_fails_alone_is_not_said_again_of_all_together() -> None:
    fast, still = white(pulses(200.0)), white(np.ones(TIMES.size))
    assert found(fast=fast, still=still) == [("general", ("fast",), 5)]


def alone_from(first_ms: float) -> NDArray[np.float64]:
    """Four flashes within 1.2 s."""
    return pulses(250.0, first_ms=first_ms, until_ms=first_ms + 1200.0)


@pytest.mark.parametrize(
    ("alone", "in_turn"), [(100.0, 2500.0), (2600.0, 100.0)], ids=["later", "before"]
)
def test_what_fails_together_at_another_time_is_said_too(alone: float, in_turn: float) -> None:
    """One blinks four times in a second; at another time two take turns five times."""
    left = alone_from(alone) + pulses(400.0, first_ms=in_turn, until_ms=in_turn + 1400.0)
    right = pulses(400.0, first_ms=in_turn + 200.0, until_ms=in_turn + 1400.0)
    seen = found(left=white(left), right=white(right))
    assert [outputs for _, outputs, _ in seen] == [("left",), ("left", "right")]


@pytest.mark.parametrize(("begins_ms", "together_too"), [(1100.0, False), (1105.0, True)])
def test_the_second_of_all_together_is_closed_towards_what_fails_alone_later(
    begins_ms: float, together_too: bool
) -> None:
    """Two in turn flash five times in the second from 100 ms on; a third one begins where that
    second ends, or 5 ms later."""
    left = pulses(400.0, first_ms=100.0, until_ms=1100.0)
    right = pulses(400.0, first_ms=300.0, until_ms=1100.0)
    eye = pulses(250.0, first_ms=begins_ms, until_ms=begins_ms + 1200.0)
    seen = [outputs for _, outputs, _ in found(a=white(left), b=white(right), eye=white(eye))]
    assert seen == [("eye",), ("a", "b", "eye")][: 1 + together_too]


def test_the_seconds_that_flash_too_fast_have_their_ends() -> None:
    one = one_found(eye=white(pulses(200.0, first_ms=1000.0, until_ms=2500.0)))
    assert one.count == 5
    # up at 1.0, 1.2, .. 2.4 s, down 0.1 s later each; the last four pairs in a second from 1.7 s
    assert one.first_ms == pytest.approx(1000.0, abs=5.0)
    assert one.at_ms == pytest.approx(1000.0, abs=5.0)
    assert one.last_ms == pytest.approx(2500.0, abs=5.0)


def test_a_second_is_closed_at_both_ends() -> None:
    """Changes at 0, 125, .. 1000 ms: the ninth counts, and makes no pair."""
    changes = general_changes(TIMES, pulses(250.0, on_ms=125.0, first_ms=100.0))
    count, at_ms = count_in_worst_second(changes)
    assert (count, at_ms) == (4, pytest.approx(100.0, abs=5.0))
    assert count_in_worst_second(general_changes(TIMES, np.ones(TIMES.size))) == (0, 0.0)


def test_together_is_the_mean_by_leds() -> None:
    half, full = white(np.full(TIMES.size, 0.5), 3.0), white(np.ones(TIMES.size), 1.0)
    luminance, rgb = together({"half": half, "full": full})
    assert luminance == pytest.approx(np.full(TIMES.size, 0.625))
    assert rgb == pytest.approx(np.full((TIMES.size, 3), 0.625))
    nothing = white(np.ones(TIMES.size), 0.0)
    assert together({"none": nothing})[0] == pytest.approx(np.zeros(TIMES.size))


def test_a_dark_colour_counts_by_its_own_full_light() -> None:
    """A blue lamp is full at 0.0722 of white (sRGB), and is seen to flash all the same."""
    blue = np.zeros((TIMES.size, 3))
    blue[:, 2] = pulses(200.0)
    lamp = LightSource(blue, pulses(200.0), 1.0, full_luminance=0.0722)
    assert [kind for kind, *_ in found(eye=lamp)] == ["general"]
    luminance, _ = together({"eye": lamp})
    assert luminance.max() == pytest.approx(1.0, rel=1e-3)


@pytest.mark.parametrize(("frames", "ways"), [(1, 2), (51, 2), (52, 2), (53, 1)])
def test_two_ways_meet_where_a_second_and_two_frames_hold_both(frames: int, ways: int) -> None:
    """On at the first frame, off so many frames of 20 ms later; one more on either side."""
    light = np.zeros((frames + 3, 3))
    light[1 : frames + 1] = 1.0
    assert most_ways(light) == ways
