"""Lightness, sRGB and colour names against their standards and against colour-science."""

from __future__ import annotations

from fractions import Fraction

import colour
import numpy as np
import pytest
from matplotlib.colors import CSS4_COLORS

from sim.light.lightness import (
    COLOURS,
    colour_luminance,
    lightness,
    linear_to_srgb,
    luminance,
    srgb_to_linear,
)

# CIE 1976 L* with the exact rationals epsilon = 216/24389 and kappa = 24389/27 (CIE eilv
# 17-23-076, cie.co.at; electropedia 845-23-076); figures recomputed, equal to colour-science
# within 1e-12.
LIGHTNESS = {
    0.0: 0.0,
    0.001: 0.9032963,
    0.005: 4.5164815,
    216 / 24389: 8.0,
    0.01: 8.9914424,
    0.02: 15.4872444,
    0.05: 26.7347654,
    0.1: 37.8424305,
    0.18: 49.4961076,
    0.2: 51.8372115,
    0.25: 57.0754209,
    0.5: 76.0692610,
    0.75: 89.3929944,
    0.8: 91.6848609,
    0.9: 95.9967686,
    1.0: 100.0,
}

LUMINANCE = {0: 0, 1: 73, 5: 363, 8: 580, 10: 738, 20: 1959, 25: 2894, 30: 4087, 40: 7373}
LUMINANCE |= {50: 12071, 60: 18431, 70: 26705, 75: 31639, 80: 37146, 90: 50005, 100: 65535}
"""L* in percent to round(65535 Y); recomputed."""

# IEC 61966-2-1:1999, 8-bit code to linear light; recomputed, equal to colour-science
LINEAR = {
    0: 0.0,
    1: 0.0003035270,
    10: 0.0030352698,
    11: 0.0033465358,
    64: 0.0512694584,
    127: 0.2122307574,
    128: 0.2158605001,
    192: 0.5271151257,
    231: 0.7991027380,
    255: 1.0,
}


def test_lightness_of_luminance_is_that_of_the_standard() -> None:
    found = lightness(list(LIGHTNESS))
    assert found == pytest.approx(list(LIGHTNESS.values()), abs=6e-8)


def test_luminance_of_lightness_is_that_of_the_standard() -> None:
    found = np.rint(65535 * luminance(list(LUMINANCE)))
    assert found.tolist() == list(LUMINANCE.values())


def test_both_branches_of_lightness_meet_at_eight_percent_exactly() -> None:
    # with the rationals: kappa epsilon = 8; (8 + 16)/116 cubed is epsilon
    assert Fraction(24389, 27) * Fraction(216, 24389) == 8
    assert Fraction(24, 116) ** 3 == Fraction(216, 24389)
    below, above = luminance([8.0 - 1e-9, 8.0 + 1e-9])
    assert above - below == pytest.approx(2e-9 * 27 / 24389, rel=1e-3)


def test_lightness_agrees_with_colour_science_everywhere() -> None:
    y = np.linspace(0.0, 1.0, 1001)
    assert lightness(y) == pytest.approx(
        colour.colorimetry.lightness_CIE1976(100 * y, 100), abs=1e-10
    )
    level = np.linspace(0.0, 100.0, 1001)
    reference = colour.colorimetry.luminance_CIE1976(level, 1.0)
    assert luminance(level) == pytest.approx(reference, abs=1e-12)


def test_srgb_codes_decode_as_the_standard_says() -> None:
    codes = np.array(list(LINEAR)) / 255
    assert srgb_to_linear(codes) == pytest.approx(list(LINEAR.values()), abs=6e-11)


def test_srgb_agrees_with_colour_science_for_every_code() -> None:
    codes = np.arange(256) / 255
    reference = colour.models.eotf_sRGB(codes)
    assert srgb_to_linear(codes) == pytest.approx(reference, abs=1e-12)
    assert linear_to_srgb(reference) == pytest.approx(codes, abs=1e-9)


def test_luminance_of_colours_weighs_as_the_standard_does() -> None:
    # 0.2126 R + 0.7152 G + 0.0722 B: w3c.github.io/wcag/guidelines/relative-luminance.html
    assert colour_luminance(np.eye(3)).tolist() == [0.2126, 0.7152, 0.0722]
    assert float(colour_luminance([1.0, 1.0, 1.0])) == pytest.approx(1.0, abs=1e-12)


def test_colour_names_are_those_of_css() -> None:
    # CSS Color Module Level 4, section 6.1: 148 names; matplotlib keeps the same list
    assert len(COLOURS) == 148
    assert set(COLOURS) == set(CSS4_COLORS)
    for name, code in CSS4_COLORS.items():
        assert "#{:02X}{:02X}{:02X}".format(*COLOURS[name]) == code
    assert COLOURS["rebeccapurple"] == (0x66, 0x33, 0x99)
    assert COLOURS["grey"] == COLOURS["gray"] == (128, 128, 128)
