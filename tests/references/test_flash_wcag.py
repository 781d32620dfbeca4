"""Flash counting against WCAG 2.2 and the colour library.

Definition, thresholds and the count of three: WCAG 2.2, success criterion 2.3.1 and its terms
"general flash and red flash thresholds" (W3C's own source text, read). Vectors of extremes: derived
from the definition, not published (two opposing qualifying changes are one flash). u'v' of sRGB
primaries: formula and matrix of Understanding 2.3.1 (read), recomputed, and `colour-science`.
Areas: derived from the 0.006 steradian of the definition. Strobe lights at public events: guidance
of the United Kingdom's Health and Safety Executive as pages of the events trade report it (read
there; its own text was not found).
"""

from __future__ import annotations

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.light import area, flash, sequences
from sim.light.effects import FULL, multipliers
from sim.light.lightness import colour_luminance, luminance, srgb_to_linear
from sim.model import Effect

VECTORS = [
    ([0, 1, 0, 1, 0, 1, 0, 1, 0], 4),
    ([0, 1, 0, 1, 0, 1, 0], 3),
    ([0, 0.09, 0, 0.09, 0], 0),
    ([0, 0.1, 0], 1),
    ([0.85, 1, 0.85, 1, 0.85], 0),
    ([0.79, 0.9, 0.79], 1),
    ([0.8, 0.95, 0.8], 0),
    ([0, 0.5, 1, 0.5, 0], 1),
]
"""Relative luminance at extremes within a second; general flashes."""

UV = {
    (255, 0, 0): (0.4507040960712041, 0.5228873429895101),
    (0, 255, 0): (0.12500000109242482, 0.5625000049159118),
    (0, 0, 255): (0.1754386050201377, 0.15789474451812394),
    (255, 255, 255): (0.19783980937881362, 0.4683363132095571),
    (255, 128, 0): (0.3194788350063909, 0.5388471727334466),
    (255, 0, 255): (0.30504438186742794, 0.3297475586422859),
}


def linear(*srgb8: int) -> np.ndarray:
    return srgb_to_linear(np.array(srgb8) / 255.0)


@pytest.mark.parametrize(("extremes", "expected"), VECTORS)
def test_extremes_make_as_many_general_flashes_as_defined(
    extremes: list[float], expected: int
) -> None:
    times = np.linspace(0.0, 900.0, len(extremes))
    assert flash.count_in_worst_second(flash.general_changes(times, extremes))[0] == expected


@pytest.mark.parametrize(("extremes", "expected"), VECTORS)
def test_sampling_between_the_extremes_changes_no_count(
    extremes: list[float], expected: int
) -> None:
    coarse = np.linspace(0.0, 900.0, len(extremes))
    times = np.linspace(0.0, 900.0, 901)
    changes = flash.general_changes(times, np.interp(times, coarse, extremes))
    assert flash.count_in_worst_second(changes)[0] == expected


def test_three_flashes_in_a_second_pass_and_four_fail() -> None:
    """SC 2.3.1: "more than three times in any one second period" fails."""
    assert flash.FLASHES == 3
    for flashes, fails in ((3, False), (4, True)):
        extremes = [0.0] + [1.0, 0.0] * flashes
        times = np.linspace(0.0, 900.0, len(extremes))
        rgb = np.repeat(np.array(extremes)[:, None], 3, axis=1)
        source = flash.LightSource(rgb, np.array(extremes), 1.0)
        found = flash.flashing(times, {"eye": source})
        assert bool(found) is fails
        if fails:
            assert (found[0].kind, found[0].count, found[0].outputs) == ("general", 4, ("eye",))


@pytest.mark.parametrize("srgb8", UV)
def test_chromaticity_is_the_published_one(srgb8: tuple[int, int, int]) -> None:
    assert flash.chromaticity(linear(*srgb8)) == pytest.approx(UV[srgb8], abs=1e-6)


@given(st.tuples(*[st.integers(0, 255)] * 3).filter(any))
def test_chromaticity_agrees_with_the_colour_library(srgb8: tuple[int, int, int]) -> None:
    xyz = colour.RGB_to_XYZ(linear(*srgb8), "sRGB", apply_cctf_decoding=False)
    expected = colour.Luv_to_uv(colour.XYZ_to_Luv(xyz, [0.3127, 0.3290]), [0.3127, 0.3290])
    assert flash.chromaticity(linear(*srgb8)) == pytest.approx(expected, abs=2e-4)


def test_saturated_red_begins_where_published() -> None:
    """(255, 136, 0) has R / (R + G + B) = 0.802439, (255, 137, 0) 0.799899: recomputed."""
    assert not flash.saturated_red(linear(255, 137, 0))
    assert flash.saturated_red(linear(255, 136, 0))
    assert not flash.saturated_red(linear(0, 0, 0))


def alternating(one: tuple[int, ...], other: tuple[int, ...], flashes: int = 3) -> flash.Changes:
    states = np.array([linear(*one)] + [linear(*other), linear(*one)] * flashes)
    return flash.red_changes(np.linspace(0.0, 900.0, len(states)), states)


@pytest.mark.parametrize(
    ("one", "other", "counts"),
    [
        ((255, 0, 0), (255, 255, 255), True),  # distance 0.2587
        ((255, 0, 0), (0, 0, 255), True),
        ((255, 0, 0), (0, 0, 0), True),  # R - G - B changes by 320 of 320
        ((70, 0, 0), (0, 0, 0), True),  # too dim for the older note, but against dark
        ((0, 0, 255), (0, 255, 0), False),
        ((255, 255, 255), (0, 0, 0), False),
        ((255, 60, 0), (255, 0, 0), False),  # both red, and R - G - B changes by 14.9
        ((255, 137, 0), (0, 0, 0), False),  # not saturated
    ],
)
def test_red_flashes_need_a_saturated_red(
    one: tuple[int, ...], other: tuple[int, ...], counts: bool
) -> None:
    expected = 3 if counts else 0
    assert flash.count_in_worst_second(alternating(one, other))[0] == expected


def test_the_older_note_counts_a_dim_red_from_code_71_on() -> None:
    """Pure red at 8-bit code 70 gives (R - G - B) * 320 = 19.60 against black, 80 gives 25.67."""
    assert 320.0 * linear(70, 0, 0)[0] == pytest.approx(19.60, abs=0.005)
    assert 320.0 * linear(80, 0, 0)[0] == pytest.approx(25.67, abs=0.005)
    step = np.repeat(np.array([[70.0], [80.0]]), 3, axis=1) * [1.0, 0.0, 0.0] / 255.0
    excess = srgb_to_linear(step)[:, 0]
    assert excess[0] < flash.RED_CHANGE < excess[1]


def test_the_area_threshold_is_the_published_solid_angle() -> None:
    """0.006 sr, a quarter of a 10 degree field (read); 60 cm2 at 1 m, 15 at 0.5 m (derived)."""
    quarter = 0.25 * 2.0 * np.pi * (1.0 - np.cos(np.radians(5.0)))
    assert quarter == pytest.approx(flash.AREA_SR, abs=5e-5)
    assert area.area_m2(1.0) == pytest.approx(60e-4)
    assert area.area_m2(0.5) == pytest.approx(15e-4)


@pytest.mark.parametrize(
    ("distance_m", "area_cm2"),
    [(0.3, 5.4), (0.5, 15.0), (0.6, 21.6), (0.7, 29.4), (1.0, 60.0), (2.0, 240.0), (5.0, 1500.0)],
)
def test_areas_that_fill_the_angle_grow_with_the_square_of_the_distance(
    distance_m: float, area_cm2: float
) -> None:
    """Derived, A = 0.006 d2; flat, which at 0.3 % of a sphere makes no difference."""
    assert 1e4 * area.area_m2(distance_m) == pytest.approx(area_cm2)


@pytest.mark.parametrize(("pixels_a_metre", "fill"), [(30, 1), (60, 5), (144, 31)])
def test_pixels_of_usual_strips_that_fill_the_angle_at_half_a_metre(
    pixels_a_metre: int, fill: int
) -> None:
    """Strips are sold with 30, 60 and 144 pixels a metre (common practice, no source)."""
    pitch = 1.0 / pixels_a_metre
    assert area.least_group(pitch, 0.5, 144) == fill
    assert fill * pitch**2 <= area.area_m2(0.5) < (fill + 1) * pitch**2


def test_flashes_of_a_strobe_are_limited_as_guidance_for_events_is_reported() -> None:
    """At most 4 flashes a second and 30 s at a time; WCAG's three a second are stricter."""
    assert (sequences.STROBE_FLASHES, sequences.STROBE_S) == (4, 30)
    assert flash.FLASHES < sequences.STROBE_FLASHES


@pytest.mark.parametrize(("changes", "lasts_s"), [(121, 30.0), (123, 30.5)])
def test_a_row_of_flashes_is_as_long_as_from_its_first_change_to_its_last(
    changes: int, lasts_s: float
) -> None:
    row = sequences.longest_row(250.0 * np.arange(changes))
    assert row is not None
    assert row.lasts_s == pytest.approx(lasts_s)
    assert row.rate == pytest.approx(2.0, rel=0.01)
    assert (row.lasts_s > sequences.STROBE_S) is (lasts_s > 30.0)


def test_flashes_more_than_half_a_second_apart_are_no_row() -> None:
    assert sequences.longest_row(251.0 * np.arange(200)) is None
    broken = np.concatenate([200.0 * np.arange(50), 11_000.0 + 200.0 * np.arange(80)])
    row = sequences.longest_row(broken)
    assert row is not None
    assert (row.start_ms, row.end_ms) == (11_000.0, broken[-1])


def test_a_row_that_is_still_seen_at_the_end_has_none() -> None:
    row = sequences.longest_row(200.0 * np.arange(50), 9900.0)
    assert row is not None
    assert row.lasts_s == np.inf


def test_a_lone_blue_lamp_counts_by_its_own_full_light() -> None:
    """On a screen full blue is 0.0722 and never flashes: the reading for LEDs is stricter."""
    blue = linear(0, 0, 255)
    assert float(colour_luminance(blue)) == pytest.approx(0.0722)
    duty = np.array([0.0, 1.0] * 6)
    source = flash.lamp_source(blue, duty, 1)
    assert flash.flashing(np.linspace(0.0, 900.0, 12), {"eye": source})


def test_lamps_that_flash_in_turn_are_seen_together() -> None:
    """Two lamps, twice a second each, a quarter second apart: each passes, the sum does not."""
    times = np.arange(0.0, 2000.0, 20.0)
    pulse = (times % 400.0 < 60.0).astype(float)
    later = ((times + 200.0) % 400.0 < 60.0).astype(float)
    white = np.ones(3)
    pair = {"left": flash.lamp_source(white, pulse, 1), "right": flash.lamp_source(white, later, 1)}
    found = flash.flashing(times, pair)
    assert [one.outputs for one in found] == [("left", "right")]
    assert found[0].count >= 4
    for name, source in pair.items():
        assert not flash.flashing(times, {name: source})


def in_turn(times: np.ndarray, every_ms: float, beside: dict[str, float]) -> dict:
    """Two eyes that blink in turn, and lights beside them at a steady level, by their LEDs."""
    white = np.ones(3)
    pulse = (times % every_ms < 60.0).astype(float)
    later = ((times + every_ms / 2.0) % every_ms < 60.0).astype(float)
    eyes = {"left": flash.lamp_source(white, pulse, 1), "right": flash.lamp_source(white, later, 1)}
    steady = np.zeros(times.size)
    others = {
        name: flash.lamp_source(white, steady + 0.2 * n, int(leds))
        for n, (name, leds) in enumerate(beside.items())
    }
    return {**eyes, **others}


@pytest.mark.parametrize("beside", [{}, {"strip": 30}, {"strip": 30, "lantern": 5}])
def test_lights_that_stand_still_hide_no_flash_of_two_that_flash_in_turn(
    beside: dict[str, float],
) -> None:
    """WCAG 2.2 counts the area that flashes, not its share of all there is."""
    times = np.arange(0.0, 2000.0, 20.0)
    found = flash.flashing(times, in_turn(times, 400.0, beside))
    assert {one.outputs for one in found} == {("left", "right")}
    # three of both in any second pass: both sides of the limit
    assert not flash.flashing(times, in_turn(times, 740.0, beside))


def test_a_large_light_that_fades_slowly_hides_no_flash_of_two_small_ones() -> None:
    times = np.arange(0.0, 2000.0, 20.0)
    lights = in_turn(times, 400.0, {})
    lights["strip"] = flash.strip_source(np.outer(times / 4000.0, np.ones(3)), 60)
    assert {one.outputs for one in flash.flashing(times, lights)} == {("left", "right")}


def test_what_two_lights_that_go_alike_do_is_told_of_each_alone() -> None:
    times = np.arange(0.0, 2000.0, 20.0)
    pulse = flash.lamp_source(np.ones(3), (times % 200.0 < 100.0).astype(float), 1)
    found = flash.flashing(times, {"left": pulse, "right": pulse})
    assert {one.outputs for one in found} == {("left",), ("right",)}


@settings(max_examples=60)
@given(
    st.floats(334.0, 900.0),
    st.floats(0.05, 0.95),
    st.floats(0.0, 1.0),
    st.sampled_from(["square", "saw", "sine"]),
)
def test_the_passing_period_passes_whatever_the_shape(
    period: float, duty: float, phase: float, form: str
) -> None:
    assert flash.passing_period_ms() == 334
    times = np.arange(0.0, 4000.0, 20.0)
    x = (times / period + phase) % 1.0
    light = {
        "square": (x < duty).astype(float),
        "saw": np.where(x < duty, x / duty, (1.0 - x) / (1.0 - duty)),
        "sine": 0.5 + 0.5 * np.sin(2.0 * np.pi * x),
    }[form]
    changes = flash.general_changes(times, light)
    assert flash.count_in_worst_second(changes)[0] <= flash.FLASHES


@pytest.mark.parametrize("period", [200.0, 250.0, 280.0])
def test_a_shorter_period_fails(period: float) -> None:
    times = np.arange(0.0, 4000.0, 20.0)
    changes = flash.general_changes(times, (times % period < period / 2.0).astype(float))
    assert flash.count_in_worst_second(changes)[0] > flash.FLASHES


@settings(max_examples=40)
@given(
    st.sampled_from(sorted(flash.PASSING_EFFECT_MS)),
    st.integers(0, 255),
    st.integers(1, 100),
    st.integers(0, 300),
)
def test_an_effect_at_its_passing_period_passes_at_full_depth(
    name: str, seed: int, width: int, longer: int
) -> None:
    """The board's own integers (TABLE.md 3.4), at the board's frames, on a lamp fully on."""
    period = flash.PASSING_EFFECT_MS[name] + longer
    effect = Effect("l", name, period, 100.0, seed, width)  # type: ignore[arg-type]
    times = np.arange(0.0, 30_000.0, 20.0)
    light = luminance(100.0 * multipliers(effect, times)[:, 0] / FULL)
    changes = flash.general_changes(times, light)
    assert flash.count_in_worst_second(changes)[0] <= flash.FLASHES
