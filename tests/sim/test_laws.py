"""Motion laws: derivatives, symmetry, edges, and what the overlap factor promises."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.model import Law
from sim.score.laws import LAW_NAMES, coefficients, double_s, overlap_factor, position, shape

laws = st.builds(
    Law,
    st.sampled_from(LAW_NAMES),
    alpha=st.floats(0.01, 0.5),
    beta=st.floats(0.01, 0.5),
)

SMOOTH = ("harmonic", "cycloidal", "3-4-5", "4-5-6-7", "modified sine", "modified trapezoid")


@pytest.mark.parametrize("name", LAW_NAMES)
def test_each_rate_is_the_derivative_of_what_is_before_it(name: str) -> None:
    law = Law(name, 0.3, 0.2)
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
    there, back = shape(law, x), shape(law, 1.0 - x)
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
    share = shape(law, y / 2.0).v / coefficients(law).cv
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
