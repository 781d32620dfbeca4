"""The time-optimal double-S against ruckig, an independent trajectory generator.

The formulas are those of Biagiotti and Melchiorri, Trajectory Planning for Automatic Machines and
Robots, section 3.4 (rest to rest). Figures of the table: recomputed, and equal to ruckig's.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruckig import InputParameter, Result, Ruckig, Trajectory

from sim.score.laws import coefficients, double_s, shape

CASES = [
    # stroke, speed, acceleration and jerk limits; duration; reached peaks of speed, acceleration
    (10, 5, 10, 30, 2.8333333333, 5, 10),
    (10, 10, 10, 30, 2.3609208434, 8.4712709, 10),
    (60, 300, 2000, 20000, 0.4605551275, 260.55513, 2000),
    (90, 200, 1500, 30000, 0.6333333333, 200, 1500),
    (5, 400, 6000, 60000, 0.1386722549, 72.112479, 2080.0838),
    (180, 353, 4000, 80000, 0.6481650142, 353, 4000),
    (1, 1, 1, 1, 3.1748021039, 0.62996052, 0.79370053),
    (30, 50, 3000, 20000, 0.7, 50, 1000),
    (0.5, 2, 10, 200, 0.5, 2, 10),
    (1.570796327, 6, 40, 800, 0.4617993878, 6, 40),
]


def _ruckig(stroke: float, speed: float, acceleration: float, jerk: float) -> Trajectory:
    ask = InputParameter(1)
    ask.current_position, ask.target_position = [0.0], [stroke]
    ask.max_velocity, ask.max_acceleration, ask.max_jerk = [speed], [acceleration], [jerk]
    found = Trajectory(1)
    assert Ruckig(1).calculate(ask, found) in (Result.Working, Result.Finished)
    return found


@pytest.mark.parametrize(("h", "v", "a", "j", "duration", "v_peak", "a_peak"), CASES)
def test_durations_and_peaks_are_those_of_the_table(
    h: float, v: float, a: float, j: float, duration: float, v_peak: float, a_peak: float
) -> None:
    lasts, law = double_s(h, v, a, j)
    assert lasts == pytest.approx(duration, abs=6e-11)
    cv, ca, _ = coefficients(law)
    assert cv * h / lasts == pytest.approx(v_peak, rel=1e-7)
    assert ca * h / lasts**2 == pytest.approx(a_peak, rel=1e-7)


@settings(max_examples=60)
@given(st.floats(0.5, 300.0), st.floats(5.0, 900.0), st.floats(50.0, 9e3), st.floats(500.0, 3e5))
def test_double_s_is_the_profile_that_ruckig_finds(
    stroke: float, speed: float, acceleration: float, jerk: float
) -> None:
    lasts, law = double_s(stroke, speed, acceleration, jerk)
    reference = _ruckig(stroke, speed, acceleration, jerk)
    assert lasts == pytest.approx(reference.duration, rel=1e-9)
    times = np.linspace(0.0, lasts, 31)
    expected = np.array([reference.at_time(time) for time in times]).squeeze().T
    form = shape(law, times / lasts)
    for found, wanted, scale in (
        (form.s * stroke, expected[0], stroke),
        (form.v * stroke / lasts, expected[1], speed),
        (form.a * stroke / lasts**2, expected[2], acceleration),
    ):
        assert found == pytest.approx(wanted, abs=1e-6 * scale)


def test_samples_of_the_first_case_are_those_of_the_table() -> None:
    # ruckig's: time, position, speed, acceleration
    lasts, law = double_s(10, 5, 10, 30)
    for time, p, v, a in (
        (0.1, 0.005, 0.15, 3.0),
        (0.25, 0.078125, 0.9375, 7.5),
        (0.5, 0.601851852, 3.333333333, 10.0),
        (1.0, 2.916666667, 5.0, 0.0),
        (2.0, 7.916666667, 5.0, 0.0),
        (2.5, 9.814814815, 1.666666667, -10.0),
    ):
        form = shape(law, time / lasts)
        assert float(form.s) * 10 == pytest.approx(p, abs=1e-9)
        assert float(form.v) * 10 / lasts == pytest.approx(v, abs=1e-9)
        assert float(form.a) * 10 / lasts**2 == pytest.approx(a, abs=1e-8)
