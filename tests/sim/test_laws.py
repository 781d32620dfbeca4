"""Motion laws: derivatives, symmetry, edges, and what the overlap factor promises."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.model import Law
from sim.rulebook import PEAK_SHARES
from sim.score.laws import (
    LAW_NAMES,
    at_share,
    coefficients,
    double_s,
    overlap_factor,
    position,
    shape,
)

laws = st.builds(
    Law,
    st.sampled_from(LAW_NAMES),
    alpha=st.floats(0.01, 0.5),
    beta=st.floats(0.01, 0.5),
    peak=st.just(0.5) | st.floats(*PEAK_SHARES),
)

SMOOTH = ("harmonic", "cycloidal", "3-4-5", "4-5-6-7", "modified sine", "modified trapezoid")


@pytest.mark.parametrize("peak", [0.5, 0.27, 0.71])
@pytest.mark.parametrize("name", LAW_NAMES)
def test_each_rate_is_the_derivative_of_what_is_before_it(name: str, peak: float) -> None:
    law = Law(name, 0.3, 0.2, peak)
    x = np.linspace(0.0, 1.0, 40_001)
    step = x[1]
    form = shape(law, x)
    for value, rate in ((form.s, form.v), (form.v, form.a), (form.a, form.j)):
        central = (value[2:] - value[:-2]) / (2 * step)
        # away from jumps: where neither value nor rate jumps within the three points
        calm = np.abs(rate[2:] - rate[:-2]) < 1e-2 * (1.0 + np.abs(rate).max())
        calm &= np.abs(value[2:] - value[:-2]) < 1e-2 * (1.0 + np.abs(value).max())
        assert calm.mean() > 0.99
        assert np.abs(central - rate[1:-1])[calm].max() < 3e-3 * (1.0 + np.abs(rate).max())


@given(laws, st.floats(0.0, 1.0))
def test_laws_are_the_same_backwards(law: Law, x: float) -> None:
    there, back = shape(law, x), shape(replace(law, peak=1.0 - law.peak), 1.0 - x)
    assert float(back.s) == pytest.approx(1.0 - float(there.s), abs=1e-12)
    assert float(back.v) == pytest.approx(float(there.v), abs=1e-9)


@given(laws)
def test_laws_go_from_rest_to_rest_and_never_back(law: Law) -> None:
    s = position(law, np.linspace(0.0, 1.0, 501))
    assert (s[0], s[-1]) == (0.0, 1.0)
    assert np.diff(s).min() >= 0.0


@given(laws)
def test_no_law_exceeds_its_coefficients(law: Law) -> None:
    form, peaks = shape(law, np.linspace(0.0, 1.0, 2001)), coefficients(law)
    assert form.v.max() <= peaks.cv * (1.0 + 1e-12)
    assert np.abs(form.a).max() <= peaks.ca * (1.0 + 1e-12)
    assert np.abs(form.j).max() <= peaks.cj * (1.0 + 1e-12)


@given(laws)
def test_a_law_is_fastest_at_its_peak_which_lies_as_far_in_the_stroke(law: Law) -> None:
    at_peak = shape(law, law.peak)
    assert float(at_peak.v) == pytest.approx(coefficients(law).cv, rel=1e-9)
    if law.name != "uniform":
        assert float(at_peak.s) == pytest.approx(law.peak, abs=1e-12)


@given(laws, st.floats(0.0, 0.5))
def test_halves_with_another_peak_have_the_shape_of_the_even_law(law: Law, share: float) -> None:
    even = replace(law, peak=0.5)
    for part in (share, 1.0 - share):
        moved, there = shape(law, at_share(law, part)), shape(even, part)
        if law.name != "uniform":
            assert float(moved.v) == pytest.approx(float(there.v), abs=1e-6)


def test_the_shorter_half_is_the_steeper_one() -> None:
    # worked by hand: a constant acceleration to the speed 2 within a quarter of the time
    law = Law("parabolic", peak=0.25)
    form = shape(law, np.array([0.1, 0.3, 0.5, 0.9]))
    assert form.a.tolist() == pytest.approx([8.0, -8 / 3, -8 / 3, -8 / 3])
    assert form.v.tolist() == pytest.approx([0.8, 28 / 15, 4 / 3, 4 / 15])
    assert form.s.tolist() == pytest.approx([0.04, 26 / 75, 2 / 3, 1 - 4 / 300])
    assert coefficients(law)[:2] == (2.0, 8.0)


@given(laws, st.floats(-3.0, 4.0))
def test_laws_rest_outside_their_duration(law: Law, x: float) -> None:
    form = shape(law, x)
    if x < 0.0 or x > 1.0:
        assert (float(form.v), float(form.a), float(form.j)) == (0.0, 0.0, 0.0)
        assert float(form.s) == (0.0 if x < 0.0 else 1.0)


@given(laws)
def test_a_brake_and_a_swelling_move_stay_under_the_speed_limit_together(law: Law) -> None:
    factor = overlap_factor(law)
    if law.name == "uniform":
        assert factor == 0.0
        return
    assert 0.0 < factor <= 1.0
    y = np.linspace(0.0, 1.0, 1001)
    share = shape(law, y * law.peak).v / coefficients(law).cv
    together = (1.0 - y) + factor * share
    assert together.max() <= 1.0 + 1e-9
    larger = (1.0 - y) + (factor + 0.02) * share
    assert factor > 0.98 or larger.max() > 1.0


@pytest.mark.parametrize("name", SMOOTH)
def test_an_array_gives_what_its_numbers_give(name: str) -> None:
    x = np.linspace(-0.2, 1.2, 57).reshape(3, 19)
    form = shape(Law(name), x)
    assert form.s.shape == x.shape
    singly = [float(shape(Law(name), one).a) for one in x.ravel()]
    assert form.a.ravel().tolist() == pytest.approx(singly, abs=1e-12)


@pytest.mark.parametrize(
    ("law", "what"),
    [
        (Law("trapezoid", 0.0), "alpha of trapezoid is 0.0"),
        (Law("trapezoid", 0.6), "alpha of trapezoid is 0.6"),
        (Law("double-S", 0.3, 0.0), "beta of double-S is 0.0"),
        (Law("double-S", 0.3, 0.7), "beta of double-S is 0.7"),
        (Law("3-4-5", peak=0.0), "the peak of 3-4-5 is at 0.0"),
        (Law("cycloidal", peak=1.0), "the peak of cycloidal is at 1.0"),
    ],
)
def test_parameters_out_of_range_are_named(law: Law, what: str) -> None:
    for ask in (lambda: shape(law, 0.5), lambda: position(law, 0.5), lambda: coefficients(law)):
        with pytest.raises(ValueError, match=what):
            ask()


def test_double_s_refuses_a_limit_that_is_not_positive() -> None:
    with pytest.raises(ValueError, match="j_max is 0"):
        double_s(10.0, 5.0, 10.0, 0)


def test_double_s_of_no_way_takes_no_time() -> None:
    assert double_s(0.0, 5.0, 10.0, 30.0)[0] == 0.0


def test_double_s_backwards_takes_as_long() -> None:
    assert double_s(-40.0, 300.0, 2000.0, 2e4) == double_s(40.0, 300.0, 2000.0, 2e4)


def test_a_double_s_with_hardly_any_jerk_phase_is_a_trapezoid() -> None:
    x = np.linspace(0.0, 1.0, 1001)
    nearly = position(Law("double-S", 0.3, 1e-4), x)
    assert nearly == pytest.approx(position(Law("trapezoid", 0.3), x), abs=2e-5)
