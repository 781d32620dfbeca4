"""Effects: bounded, exactly repeating, alike for one number and for many."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_gen.player.light import RunningEffect
from firmware_gen.table.layout import EFFECTS
from firmware_gen.table.ops import Modulate
from sim.light.effects import FULL, depth_level, multiplier, multipliers, noise
from sim.model import Effect
from sim.rulebook import CLOCK_PER_MS

effects = st.builds(
    Effect,
    output=st.just("belly"),
    name=st.sampled_from(("steady", "breathe", "ember", "sparkle", "run")),
    period_ms=st.integers(40, 65535),
    depth_pct=st.integers(0, 200).map(lambda level: level / 2),
    seed=st.integers(0, 255),
    width=st.integers(1, 255),
)


@given(effects, st.integers(0, 10_000_000), st.integers(1, 100))
def test_multipliers_stay_between_the_depth_and_the_light(
    effect: Effect, elapsed: int, pixels: int
) -> None:
    row = multipliers(effect, [elapsed], pixels)[0]
    least = FULL - (256 * depth_level(effect) + 100) // 200
    assert row.shape == (pixels,)
    assert row.min() >= (FULL if effect.name == "steady" else least)
    assert row.max() <= FULL


@given(effects, st.integers(0, 2_000_000), st.integers(1, 40))
def test_one_pixel_gives_what_the_whole_row_gives(
    effect: Effect, elapsed: int, pixels: int
) -> None:
    row = multipliers(effect, [elapsed], pixels)[0].tolist()
    assert row == [multiplier(effect, elapsed, pixel, pixels) for pixel in range(pixels)]


@given(effects, st.integers(0, 2_000_000), st.sampled_from((1, 1, 7, 30)))
def test_multipliers_are_those_of_the_board_to_the_bit(
    effect: Effect, elapsed: int, pixels: int
) -> None:
    """`run` was rounded once here and twice there: a lamp was a hundredth of full light off."""
    kind, depth = EFFECTS.index(effect.name), depth_level(effect)
    op = Modulate(0, kind, effect.period_ms, depth, effect.seed, effect.width)
    board = RunningEffect(op, 0, pixels).multipliers(elapsed * CLOCK_PER_MS) if kind else [FULL]
    row = multipliers(effect, [elapsed], pixels)[0].tolist()
    assert row == (board * pixels if len(board) == 1 else board)


@given(effects)
def test_an_effect_repeats_exactly(effect: Effect) -> None:
    times = np.arange(0, 3 * effect.period_ms, max(1, effect.period_ms // 7))
    assert np.array_equal(multipliers(effect, times, 5), multipliers(effect, times, 5))
    if effect.name in ("breathe", "run"):
        later = multipliers(effect, times + 5 * effect.period_ms, 5)
        assert np.array_equal(multipliers(effect, times, 5), later)


def test_breathe_goes_down_and_up_within_a_period() -> None:
    row = multipliers(Effect("lure", "breathe", 1000, 50.0), np.arange(0, 1001, 250))[:, 0]
    assert row.tolist() == pytest.approx([256, 192, 128, 192, 256], abs=2)


def test_run_moves_along_the_strip_once_a_period() -> None:
    effect = Effect("belly", "run", 1000, 100.0, width=1)
    brightest = multipliers(effect, [0, 150, 550, 950], 10).argmax(axis=1)
    assert brightest.tolist() == [0, 1, 5, 9]


def test_sparkle_lights_its_share_of_pixels() -> None:
    effect = Effect("belly", "sparkle", 1000, 100.0, seed=3, width=30)
    lit = multipliers(effect, np.arange(0, 100_000, 1000), 100) == FULL
    assert lit.mean() == pytest.approx(0.3, abs=0.03)


def test_seeds_give_different_patterns() -> None:
    rows = {
        tuple(multipliers(Effect("lure", "ember", 400, 80.0, seed), np.arange(0, 9000, 100))[:, 0])
        for seed in range(256)
    }
    assert len(rows) == 256


def test_noise_is_spread_evenly() -> None:
    counts = np.bincount(noise(7, np.arange(4096)[:, None], np.arange(16)).ravel(), minlength=256)
    assert counts.min() > 0.5 * counts.mean()
    assert counts.max() < 1.6 * counts.mean()


def test_fractions_of_a_millisecond_are_cut_off() -> None:
    effect = Effect("lure", "breathe", 100, 100.0)
    assert multipliers(effect, [10.0])[0, 0] == multipliers(effect, [10.99])[0, 0]
