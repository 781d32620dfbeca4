"""Patterns of effects, whole and by groups of pixels, against plain sampling of the same light."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.light import patterns
from sim.light.area import group_means, groups, least_group
from sim.light.counting import TOO_MANY, Counter
from sim.light.effects import FULL, multipliers, multipliers_at, noise
from sim.light.flash import SECOND_MS, general_changes, passing_effect_ms, zigzag
from sim.light.lightness import luminance
from sim.light.patterns import PATTERN_BEATS, TOO_CLOSE_MS, Lit, fast_pattern
from sim.model import Effect
from sim.rulebook import FRAME_MS

WHITE_LAMP = Lit((200.0,))


def frames(effect: Effect, phase_ms: float, seconds: float, pixels: int = 1) -> np.ndarray:
    """Luminance of each pixel at the frames of a full white light, shape (times, pixels)."""
    times = np.arange(phase_ms, 1000.0 * seconds, FRAME_MS)
    return luminance(100.0 * multipliers(effect, times, pixels) / FULL)


def most_flashes(light: np.ndarray) -> int:
    times = FRAME_MS * np.arange(light.size, dtype=float)
    at = general_changes(times, light).at_ms
    ends = np.searchsorted(at, at + SECOND_MS + 1e-9, side="right")
    return int((ends - np.arange(at.size)).max(initial=0)) // 2


def test_noise_comes_round_after_the_beats_of_a_pattern() -> None:
    beats = np.arange(300)
    for seed in (0, 7, 255):
        first, later = noise(seed, beats, 3), noise(seed, beats + PATTERN_BEATS, 3)
        assert np.array_equal(first, later)
    halved = noise(7, beats + PATTERN_BEATS // 2, 3)
    assert not np.array_equal(noise(7, beats, 3), halved)


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(["breathe", "ember", "sparkle"]),
    st.integers(60, 360),
    st.sampled_from([100.0, 60.0, 30.0]),
    st.integers(0, 255),
    st.integers(20, 80),
    st.integers(0, FRAME_MS - 1),
)
def test_no_phase_of_the_frames_flashes_where_the_pattern_does_not(
    name: str, period: int, depth: float, seed: int, width: int, phase: int
) -> None:
    effect = Effect("", name, period, depth, seed, width)  # type: ignore[arg-type]
    if not fast_pattern(effect, WHITE_LAMP):
        assert most_flashes(frames(effect, phase, 60.0)[:, 0]) <= 3


@pytest.mark.parametrize("period", range(100, 161, 10))
def test_every_ember_that_frames_show_to_flash_is_found(period: int) -> None:
    """Idle embers, seeds 0 to 11: those that flash too fast within three minutes, and more."""
    early = []
    for seed in range(12):
        effect = Effect("", "ember", period, 100.0, seed)
        seen = most_flashes(frames(effect, 0.0, 180.0)[:, 0]) > 3
        found = fast_pattern(effect, WHITE_LAMP)
        early.append(seen)
        assert found or not seen
        for one in found:
            begins = max(0.0, one.at_ms - 4.0 * period)
            worst = max(
                most_flashes(frames(effect, begins + phase, (begins + 2500.0) / 1000.0)[:, 0])
                for phase in range(FRAME_MS)
            )
            assert worst >= 3  # a second and a frame may hold the fourth one only just
    assert any(early) or period > 140


def test_what_is_found_is_nearly_always_seen_at_some_phase_of_the_frames() -> None:
    seen = []
    for seed in range(12):
        effect = Effect("", "ember", 130, 100.0, seed)
        (found,) = fast_pattern(effect, WHITE_LAMP)
        begins = max(0.0, found.at_ms - 600.0)
        seen.append(
            max(
                most_flashes(frames(effect, begins + phase, (begins + 2500.0) / 1000.0)[:, 0])
                for phase in range(FRAME_MS)
            )
            > 3
        )
    assert sum(seen) >= 10


@pytest.mark.parametrize("name", ["breathe", "ember", "sparkle", "run"])
@pytest.mark.parametrize("pixels", [1, 6])
def test_a_passing_period_passes_without_looking_and_half_of_it_fails(
    name: str, pixels: int
) -> None:
    lit = Lit((200.0,) if pixels == 1 else (200.0,) * 3, pixels)
    period = passing_effect_ms(name, pixels)
    assert fast_pattern(Effect("", name, period, 100.0, 1, 3), lit) == ()  # type: ignore[arg-type]
    fast = Effect("", name, period // 2, 100.0, 1, 50 if name == "sparkle" else 1)  # type: ignore[arg-type]
    if not (name == "run" and pixels == 1):
        assert fast_pattern(fast, lit) != ()


def test_an_effect_too_shallow_to_count_passes_at_any_period() -> None:
    """L* 100 to 96 is a change of luminance of 9.9 %; to 95 of 12.3 %."""
    assert fast_pattern(Effect("", "breathe", 100, 4.0), WHITE_LAMP) == ()
    assert fast_pattern(Effect("", "breathe", 100, 5.0), WHITE_LAMP) != ()


def test_an_effect_that_lasts_too_short_cannot_flash_four_times() -> None:
    breathe = Effect("", "breathe", 200, 100.0)
    assert fast_pattern(breathe, WHITE_LAMP, 500.0) == ()
    assert fast_pattern(breathe, WHITE_LAMP, 1200.0) != ()


@pytest.mark.parametrize(
    ("name", "period", "seed"),
    [("ember", 60, 0), ("ember", 70, 4), ("ember", 80, 2), ("sparkle", 120, 1)],
)
def test_the_flashes_of_the_worst_second_are_counted(name: str, period: int, seed: int) -> None:
    """Plain sampling, millisecond by millisecond, from 2 s before; two changes are a flash."""
    effect = Effect("", name, period, 100.0, seed, 50)  # type: ignore[arg-type]
    (found,) = fast_pattern(effect, WHITE_LAMP)
    assert found.count > 4
    times = np.arange(max(0.0, np.floor(found.at_ms) - 2000.0), found.at_ms + 1500.0)
    light = luminance(100.0 * multipliers(effect, times, 1) / FULL)[:, 0]
    at = general_changes(times, light).at_ms
    inside = (at >= found.at_ms - 2.0) & (at <= found.at_ms + TOO_CLOSE_MS + 1.0)
    assert found.count == pytest.approx(int(inside.sum()) // 2, abs=1)


def test_the_pixels_of_a_group_that_is_named_do_flash() -> None:
    """A sparkle at 240 ms over twelve pixels, five of which fill the angle."""
    lit = Lit((200.0, 200.0, 200.0), 12, 5)
    effect = Effect("", "sparkle", 240, 100.0, 9, 30)
    (found,) = fast_pattern(effect, lit)
    first, last = found.pixels
    assert last - first >= 5
    begins = max(0.0, found.at_ms - 900.0)
    worst = 0
    for phase in range(FRAME_MS):
        light = frames(effect, begins + phase, (begins + 3000.0) / 1000.0, 12)
        worst = max(worst, most_flashes(light[:, first:last].mean(axis=1)))
    assert worst >= 4


def test_a_strip_s_cap_is_kept_in_mind() -> None:
    """The board dims a strip that draws too much, all of it alike: here to a twentieth."""
    free = Lit((200.0, 200.0, 200.0), 10, 10)
    capped = Lit((200.0, 200.0, 200.0), 10, 10, cap_a=0.03)
    breathe = Effect("", "breathe", 200, 100.0)
    assert fast_pattern(breathe, free) != ()
    assert fast_pattern(breathe, capped) == ()


def test_a_red_light_flashes_red_by_its_amount_where_its_luminance_hardly_changes() -> None:
    """L* 100 to 90 of full red: luminance 0.2126 by 0.05, R - G - B by 0.24."""
    red = Lit((200.0, 0.0, 0.0), 10, 10)
    found = fast_pattern(Effect("", "breathe", 150, 10.0), red)
    assert [one.kind for one in found] == ["red"]
    white = Lit((200.0, 200.0, 200.0), 10, 10)
    assert [one.kind for one in fast_pattern(Effect("", "breathe", 150, 10.0), white)] == [
        "general"
    ]


def test_a_red_too_dim_for_its_amount_still_flashes_against_the_dark() -> None:
    """L* 29 of red is 0.058, below 20 of 320; but dark counts as white, far enough from red.

    Eight changes take seven beats, so a period of 120 ms is needed.
    """
    dim = Lit((58.0, 0.0, 0.0), 3, 1)
    found = fast_pattern(Effect("", "sparkle", 120, 100.0, 3, 50), dim)
    assert [one.kind for one in found] == ["red"]
    assert fast_pattern(Effect("", "sparkle", 120, 90.0, 3, 50), dim) == ()


# -- groups ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pitch_m", "viewing_m", "pixels", "expected"),
    [
        (0.0333, 0.5, 30, 1),  # 15 cm2 and 11.1 cm2 a pixel
        (0.0167, 0.5, 30, 5),  # 2.79 cm2 a pixel
        (0.0069, 0.6, 144, 45),  # 21.6 cm2 and 0.476 cm2 a pixel
        (0.0167, 2.0, 30, 30),  # 240 cm2: more than the whole strip
    ],
)
def test_a_group_fills_the_solid_angle(
    pitch_m: float, viewing_m: float, pixels: int, expected: int
) -> None:
    assert least_group(pitch_m, viewing_m, pixels) == expected


@given(st.integers(1, 100), st.integers(1, 100))
def test_groups_hold_every_place_of_the_least_size_and_the_whole_strip(
    pixels: int, least: int
) -> None:
    spans = groups(pixels, min(least, pixels)).tolist()
    sizes = {last - first for first, last in spans}
    assert [0, pixels] in spans
    assert min(sizes) == min(least, pixels)
    assert all(0 <= first < last <= pixels for first, last in spans)
    if least < pixels:
        assert sum(last - first == least for first, last in spans) == pixels - least + 1
    for size in sizes - {least, pixels}:
        starts = [first for first, last in spans if last - first == size]
        assert starts[0] == 0
        assert starts[-1] == pixels - size
        assert max(b - a for a, b in pairwise(starts)) <= size // 2


def test_larger_groups_are_judged_at_every_half_of_their_length() -> None:
    pairs = [[first, first + 2] for first in range(8)]
    fours = [[0, 4], [2, 6], [4, 8], [5, 9]]
    assert groups(9, 2).tolist() == [*pairs, *fours, [0, 8], [1, 9], [0, 9]]


@given(st.integers(1, 30), st.integers(1, 30), st.integers(0, 1000))
def test_group_means_are_means_of_slices(pixels: int, least: int, seed: int) -> None:
    values = np.random.default_rng(seed).random((4, pixels))
    spans = groups(pixels, min(least, pixels))
    means = group_means(values, spans)
    for number, (first, last) in enumerate(spans.tolist()):
        assert means[:, number] == pytest.approx(values[:, first:last].mean(axis=1))


# -- many columns at once -------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([0.1, 0.0625, 0.4]))
def test_columns_are_counted_as_one_light_is(seed: int, least: float) -> None:
    """The same changes as `zigzag`, which has its own published cases; they start from rest."""
    chance = np.random.default_rng(seed)
    values = chance.random((60, 7)) * chance.choice([0.2, 1.0], size=7)
    times = 40.0 * np.arange(60)
    counter = Counter(values[0], values[0], least)
    for time_ms, row in zip(times[1:].tolist(), values[1:], strict=True):
        counter.take(time_ms, row)
    closest = counter.closest()
    for column in range(7):
        fine = np.linspace(0.0, times[-1], 59 * 400 + 1)
        reached, start, end = zigzag(fine, np.interp(fine, times, values[:, column]), least)
        ways = np.interp(fine[end], times, values[:, column])
        ways -= np.interp(fine[start], times, values[:, column])
        falls_first = reached.size > 0 and ways[0] < 0.0
        counted = reached if falls_first else reached[1:]  # a first rise from rest is no change
        spans = counted[TOO_MANY - 1 :] - counted[: max(0, counted.size - TOO_MANY + 1)]
        if spans.size == 0:
            assert closest.span_ms[column] == np.inf
        else:
            assert closest.span_ms[column] == pytest.approx(spans.min(), abs=0.3)


def test_a_second_and_a_frame_is_what_frames_can_squeeze_together() -> None:
    assert TOO_CLOSE_MS == SECOND_MS + FRAME_MS


# -- quick ways to look at a sparkle, beside the plain one -----------------------------------------

SPARKLING = st.builds(
    Lit,
    st.sampled_from(((120.0, 120.0, 120.0), (200.0, 0.0, 0.0), (200.0, 60.0, 40.0), (60.0,) * 3)),
    st.sampled_from((3, 8, 20)),
    st.sampled_from((1, 2, 4)),
    cap_a=st.sampled_from((None, 0.05, 0.2)),
)
SPARKLES = st.builds(
    Effect,
    st.just("belly"),
    st.just("sparkle"),
    st.sampled_from((55, 120, 200, 230, 300)),
    st.sampled_from((100.0, 60.0, 40.0)),
    st.integers(0, 255),
    st.sampled_from((1, 2, 10, 50, 99)),
)


@given(SPARKLES, SPARKLING)
def test_a_group_shows_the_share_of_its_pixels_that_sparkle(effect: Effect, lit: Lit) -> None:
    pattern = patterns._Pattern(effect, lit)
    beats = np.arange(40)
    beat, pixel = beats[:, np.newaxis, np.newaxis], np.arange(lit.pixels)
    each = multipliers_at(effect, beat, pattern._h, pixel, lit.pixels)
    for measure in pattern.measures:
        plain = pattern._groups(each, measure)
        np.testing.assert_allclose(pattern._beat(beats, measure), plain, atol=1e-12)


@given(SPARKLES, SPARKLING)
def test_only_columns_that_cannot_fail_are_left_out(effect: Effect, lit: Lit) -> None:
    pattern, columns = patterns._Pattern(effect, lit), patterns._columns(1024, 64)
    for measure in pattern.measures:
        kept = set(patterns._suspect(pattern, columns, measure).starts.tolist())
        spans = patterns._closest(pattern, columns, measure).span_ms.reshape(16, -1).min(axis=1)
        assert set(columns.starts[spans <= patterns.TOO_CLOSE_MS].tolist()) <= kept


def test_a_sparkle_that_only_falls_in_a_beat_costs_two_looks_a_beat() -> None:
    """A capped strip's dark pixels brighten as its sparks fade, so that each instant counts."""
    effect = Effect("", "sparkle", 200, 60.0, 3, 40)
    strip = Lit((200.0, 200.0, 200.0), pixels=8, least_group=1)
    capped = replace(strip, cap_a=0.1)
    falling, any_way = (patterns.looks([(effect, one, 10_000.0)]) for one in (strip, capped))
    assert falling > 0
    assert any_way > 2 * falling
