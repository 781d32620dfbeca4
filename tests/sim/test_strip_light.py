"""Light as a table holds it: levels of colours, dimmed without a change of hue."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.light.lightness import channel_levels, colour_luminance, lightness, luminance, strip_linear
from sim.model import StripLight

codes = st.tuples(*[st.integers(0, 255)] * 3)


@given(st.floats(0.0, 100.0))
def test_lightness_undoes_luminance(level: float) -> None:
    assert float(lightness(luminance(level))) == pytest.approx(level, abs=1e-9)


@given(codes, st.floats(0.0, 100.0))
def test_dimming_scales_a_colours_own_lightness(colour: tuple[int, int, int], pct: float) -> None:
    whole = float(lightness(colour_luminance(strip_linear(StripLight(colour)))))
    dimmed = float(lightness(colour_luminance(strip_linear(StripLight(colour, pct)))))
    assert dimmed == pytest.approx(whole * pct / 100.0, abs=1e-7)


@given(codes.filter(lambda colour: max(colour) > 20), st.floats(5.0, 100.0))
def test_dimming_keeps_the_hue(colour: tuple[int, int, int], pct: float) -> None:
    whole, dimmed = strip_linear(StripLight(colour)), strip_linear(StripLight(colour, pct))
    assert dimmed / dimmed.sum() == pytest.approx(whole / whole.sum(), abs=1e-9)


def test_levels_are_half_percents() -> None:
    assert channel_levels(StripLight((255, 255, 255))) == (200, 200, 200)
    assert channel_levels(StripLight((255, 255, 255), 50.0)) == (100, 100, 100)
    assert channel_levels(StripLight((255, 0, 0), 0.0)) == (0, 0, 0)
    assert channel_levels(StripLight((0, 0, 0), 100.0)) == (0, 0, 0)


@given(codes, st.floats(0.0, 100.0))
def test_levels_fit_a_byte_and_grow_with_the_light(
    colour: tuple[int, int, int], pct: float
) -> None:
    levels = np.array(channel_levels(StripLight(colour, pct)))
    assert levels.min() >= 0
    assert levels.max() <= 200
    assert (levels <= np.array(channel_levels(StripLight(colour)))).all()
