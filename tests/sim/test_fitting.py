"""Moves that were sampled are found again: as many, by the same laws where one can tell."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.arrays import Array
from sim.model import Law
from sim.score.fitting import (
    LONGEST_S,
    SHORTEST_S,
    FittedMotion,
    FittedStep,
    NotFittedError,
    fitted,
)
from sim.score.laws import LAW_NAMES, position

TOLERANCE_DEG = 1.5


def played(
    start: float, stretches: list[FittedStep], times_s: Array, start_s: float = 0.0
) -> Array:
    """Where a part is that plays these stretches: the laws' own closed forms."""
    found = np.full(times_s.shape, start)
    at_s, place = start_s, start
    for one in stretches:
        lasts_s = one.duration_ms / 1000.0
        if one.law is not None:
            after = times_s >= at_s
            share = (times_s[after] - at_s) / lasts_s
            found[after] = place + (one.place - place) * position(one.law, share)
        at_s, place = at_s + lasts_s, one.place
    return found


def misses(motion: FittedMotion, times_s: Array, places: Array) -> Array:
    again = played(motion.start, list(motion.stretches), times_s, motion.start_s)
    return np.abs(again - places)


def sampled(
    stretches: list[FittedStep], start: float = 10.0, every_s: float = 0.04
) -> FittedMotion:
    """A second of standing before and behind the stretches, as somebody waits there."""
    lasts_s = sum(one.duration_ms for one in stretches) / 1000.0
    times_s = np.arange(0.0, lasts_s + 2.0, every_s)
    return fitted(times_s, played(start, stretches, times_s, 1.0), TOLERANCE_DEG)


@pytest.mark.parametrize(
    "law",
    [
        Law("3-4-5"),
        Law("uniform"),
        Law("parabolic"),
        Law("4-5-6-7"),
        Law("trapezoid", 0.1),
        *(Law("trapezoid", share) for share in (0.2, 0.3)),
        *(Law("double-S", share, 0.5) for share in (0.1, 0.2, 0.3, 0.4)),
        Law("3-4-5", peak=0.3),
        Law("3-4-5", peak=0.7),
    ],
)
def test_a_move_comes_back_with_its_law_its_time_and_its_place(law: Law) -> None:
    motion = sampled([FittedStep(60.0, 1500, law)])
    assert motion.stretches == (FittedStep(60.0, 1500, law),)
    assert motion.start == 10.0
    assert motion.start_s == pytest.approx(1.0, abs=0.02)
    assert motion.worst_miss < 0.3


def test_a_gesture_comes_back_with_its_holds() -> None:
    gesture = [
        FittedStep(55.0, 1200, Law("3-4-5")),
        FittedStep(55.0, 700, None),
        FittedStep(20.0, 900, Law("cycloidal")),
        FittedStep(40.0, 800, Law("3-4-5")),
        FittedStep(40.0, 500, None),
        FittedStep(0.0, 2000, Law("uniform")),
    ]
    motion = sampled(gesture)
    assert [(one.place, one.law is None) for one in motion.stretches] == [
        (one.place, one.law is None) for one in gesture
    ]
    for found, wanted in zip(motion.stretches, gesture, strict=True):
        assert found.duration_ms == pytest.approx(wanted.duration_ms, abs=60)


def test_a_plain_law_is_written_where_another_is_no_nearer_to_be_seen() -> None:
    """The modified sine differs from 3-4-5 by less than 0.1 deg on so short a way."""
    motion = sampled([FittedStep(16.0, 900, Law("modified sine"))])
    assert [one.law for one in motion.stretches] == [Law("3-4-5")]


def test_two_moves_on_one_way_stay_two_where_the_part_rests_between_them() -> None:
    motion = sampled([FittedStep(30.0, 900, Law("3-4-5")), FittedStep(50.0, 900, Law("3-4-5"))])
    assert motion.moves == 2


LAWS = st.builds(
    lambda name, peak: Law(
        name,
        {"trapezoid": 0.25, "double-S": 0.25}.get(name, 0.0),
        {"double-S": 0.5}.get(name, 0.0),
        0.5 if name == "uniform" else peak,
    ),
    st.sampled_from(LAW_NAMES),
    st.sampled_from((0.3, 0.4, 0.5, 0.5, 0.6, 0.7)),
)
WAYS = st.tuples(
    st.floats(8.0, 50.0), st.integers(300, 2000), LAWS, st.sampled_from((0, 0, 300, 900))
)


@settings(max_examples=12, deadline=None)
@given(st.lists(WAYS, min_size=1, max_size=5), st.integers(0, 10_000))
def test_random_gestures_come_back_within_the_tolerance_with_no_more_moves(
    ways: list[tuple[float, int, Law, int]], seed: int
) -> None:
    """To and fro, sampled about every 40 ms at uneven moments, each sample 0.25 deg off at most."""
    stretches, place = [], 30.0
    for way, duration_ms, law, stand_ms in ways:
        place += way if place < 30.0 else -way
        duration_ms = max(duration_ms, round(1000.0 * way / 120.0))
        stretches.append(FittedStep(place, duration_ms, law))
        if stand_ms:
            stretches.append(FittedStep(place, stand_ms, None))
    dice = Random(seed)
    lasts_s = sum(one.duration_ms for one in stretches) / 1000.0
    times_s = np.array([t + dice.uniform(0, 0.015) for t in np.arange(0.0, lasts_s + 0.6, 0.04)])
    exact = played(30.0, stretches, times_s, 0.3)
    places = exact + np.array([dice.uniform(-0.25, 0.25) for _ in times_s])
    motion = fitted(times_s, places, TOLERANCE_DEG)
    again = misses(motion, times_s, places)
    assert motion.worst_miss == pytest.approx(again.max(), abs=1e-6)
    assert motion.worst_miss <= TOLERANCE_DEG
    assert motion.worst_s == times_s[again.argmax()]
    assert motion.moves <= len(ways)
    assert all(one.duration_ms >= 1000.0 * SHORTEST_S for one in motion.stretches)
    laws = [one.law for one in motion.stretches]
    assert all(one is not None or other is not None for one, other in pairwise(laws))
    if laws:
        assert laws[0] is not None
        assert laws[-1] is not None


def test_what_stood_all_the_time_has_no_moves() -> None:
    motion = fitted([0.0, 1.0, 2.0], [20.2, 20.0, 19.9], TOLERANCE_DEG)
    assert motion.stretches == ()
    assert motion.start == pytest.approx(20.0, abs=0.3)


def test_what_is_rougher_than_the_tolerance_is_refused_in_words() -> None:
    times_s = np.arange(0.0, 1.0, 0.002)
    rough = 20.0 + 5.0 * (np.arange(times_s.size) % 2)
    with pytest.raises(NotFittedError, match="too rough"):
        fitted(times_s, rough, TOLERANCE_DEG)


@pytest.mark.parametrize("seed", [1, 4, 25])
def test_few_samples_of_a_rough_way_are_answered_whatever_they_leave_open(seed: int) -> None:
    """Too few for one best solution: equations of the search are singular where none is damped."""
    dice = Random(seed)
    times_s = np.arange(0.0, 0.16, 0.02)
    places = np.array([dice.uniform(15.0, 25.0) for _ in times_s])
    try:
        motion = fitted(times_s, places, 0.5)
    except NotFittedError:
        return
    assert misses(motion, times_s, places).max() <= 0.5


def test_a_motion_may_last_as_long_as_stated_and_no_longer() -> None:
    places = [10.0, 10.0]
    assert fitted([0.0, LONGEST_S], places, 1.0).stretches == ()
    with pytest.raises(NotFittedError, match="at most 120 s"):
        fitted([0.0, LONGEST_S + 0.1], places, 1.0)


@pytest.mark.parametrize(
    ("times_s", "places", "tolerance"),
    [
        ([0.0], [1.0], 1.0),
        ([0.0, 1.0], [1.0], 1.0),
        ([0.0, 0.0], [1.0, 2.0], 1.0),
        ([1.0, 0.5], [1.0, 2.0], 1.0),
        ([0.0, 1.0], [1.0, float("nan")], 1.0),
        ([0.0, 1.0], [1.0, 2.0], 0.0),
    ],
)
def test_samples_that_are_none_are_refused(
    times_s: list[float], places: list[float], tolerance: float
) -> None:
    with pytest.raises(ValueError, match=r"samples|times"):
        fitted(times_s, places, tolerance)
