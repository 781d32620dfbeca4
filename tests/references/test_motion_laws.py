"""Motion laws against the handbooks' coefficients and positions.

Status words: S, seen in print at the address given; R, recomputed from symbolic expressions at
400,001 points a segment; M, from memory, not seen in print.
"""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from sim.model import Law
from sim.score.laws import LAW_NAMES, coefficients, position, shape

THIRD = Law("trapezoid", 1 / 3)

COEFFICIENTS = [
    # law, Cv, Ca, Cj (None: infinite). R, each equal to its closed form to 1e-6.
    (Law("uniform"), 1.0, None, None),
    (Law("parabolic"), 2.0, 4.0, None),
    (THIRD, 1.5, 4.5, None),
    (Law("harmonic"), pi / 2, pi**2 / 2, None),
    (Law("cycloidal"), 2.0, 2 * pi, 4 * pi**2),
    # 1.875, 10/sqrt(3), 60: S, socsci.ru.nl/wilberth/physics/smooth.html
    (Law("3-4-5"), 1.875, 10 / sqrt(3), 60.0),
    (Law("4-5-6-7"), 35 / 16, 84 * sqrt(5) / 25, 52.5),
    # 1.76, 5.53, 69.47: S, mechdesigner.support/motion-cam-law-modified-sinusoid.htm
    (Law("modified sine"), 1.759603, 5.527957, 69.46636),
    (Law("modified trapezoid"), 2.0, 4.888124, 61.42597),
    # symmetric double-S: Cv = 1/(1 - alpha), Ca = Cv/(alpha (1 - beta)), Cj = Ca/(alpha beta); R
    (Law("double-S", 1 / 3, 0.2), 1.5, 5.625, 84.375),
    (Law("double-S", 0.5, 0.5), 2.0, 8.0, 32.0),
    (Law("double-S", 1 / 3, 0.5), 1.5, 9.0, 54.0),
]

POSITIONS_AT = (0.1, 0.2, 0.25, 0.3, 0.4, 0.5)
POSITIONS = [
    # s at the shares above; R
    (Law("uniform"), (0.1, 0.2, 0.25, 0.3, 0.4, 0.5)),
    (Law("parabolic"), (0.02, 0.08, 0.125, 0.18, 0.32, 0.5)),
    (THIRD, (0.0225, 0.09, 0.140625, 0.2025, 0.35, 0.5)),
    (Law("harmonic"), (0.0244717, 0.0954915, 0.1464466, 0.2061074, 0.3454915, 0.5)),
    (Law("cycloidal"), (0.0064511, 0.0486347, 0.0908451, 0.1486347, 0.3064511, 0.5)),
    (Law("3-4-5"), (0.00856, 0.05792, 0.1035156, 0.16308, 0.31744, 0.5)),
    (Law("4-5-6-7"), (0.002728, 0.033344, 0.0705566, 0.126036, 0.289792, 0.5)),
    (Law("modified sine"), (0.0106972, 0.0683939, 0.1171785, 0.1778878, 0.3278652, 0.5)),
    (Law("modified trapezoid"), (0.0094591, 0.0605903, 0.1044802, 0.1605903, 0.3094591, 0.5)),
]


@pytest.mark.parametrize(("law", "cv", "ca", "cj"), COEFFICIENTS, ids=lambda v: str(v)[:24])
def test_coefficients_are_those_of_the_handbooks(
    law: Law, cv: float, ca: float | None, cj: float | None
) -> None:
    found = coefficients(law)
    assert found.cv == pytest.approx(cv, rel=1e-6)
    assert found.ca == (np.inf if ca is None else pytest.approx(ca, rel=1e-6))
    assert found.cj == (np.inf if cj is None else pytest.approx(cj, rel=1e-6))


@pytest.mark.parametrize(("law", "expected"), POSITIONS, ids=lambda v: str(v)[:24])
def test_positions_are_those_of_the_tables(law: Law, expected: tuple[float, ...]) -> None:
    assert position(law, np.array(POSITIONS_AT)) == pytest.approx(expected, abs=6e-8)
    rest = position(law, 1.0 - np.array(POSITIONS_AT))
    assert rest == pytest.approx(1.0 - np.array(expected), abs=6e-8)


def test_double_s_positions_are_those_of_the_tables() -> None:
    # R, from the seven segments of the profile
    for law, tenth, quarter in (
        (Law("double-S", 1 / 3, 0.2), 0.01354167, 0.13307292),
        (Law("double-S", 0.5, 0.5), 0.00533333, 0.08333333),
        (Law("double-S", 1 / 3, 0.5), 0.009, 0.13020833),
    ):
        assert position(law, [0.1, 0.25]) == pytest.approx([tenth, quarter], abs=6e-9)


def test_modified_sine_crosses_over_at_the_published_jerk() -> None:
    # -23.15 at the crossover: S, mechdesigner.support/motion-cam-law-modified-sinusoid.htm
    assert float(shape(Law("modified sine"), 0.5).j) == pytest.approx(-23.155452, abs=5e-6)


def test_published_displacement_constants_of_the_modified_laws_hold() -> None:
    # S, saltire.com/CamDesign/Cam%20Functions.html: the modified sine is
    # 0.43990085 x - 0.0350062 sin(4 pi x) at first, then
    # 0.28004957 + 0.43990085 x - 0.31505577 cos(4 pi x / 3 - pi / 6);
    # the modified trapezoid starts as 0.38898448 x - 0.0309544 sin(4 pi x).
    x = np.linspace(0.0, 0.125, 26)
    first = 0.43990085 * x - 0.0350062 * np.sin(4 * pi * x)
    assert position(Law("modified sine"), x) == pytest.approx(first, abs=2e-7)
    first = 0.38898448 * x - 0.0309544 * np.sin(4 * pi * x)
    assert position(Law("modified trapezoid"), x) == pytest.approx(first, abs=2e-7)
    x = np.linspace(0.126, 0.874, 27)
    middle = 0.28004957 + 0.43990085 * x - 0.31505577 * np.cos(4 * pi * x / 3 - pi / 6)
    assert position(Law("modified sine"), x) == pytest.approx(middle, abs=2e-7)


@pytest.mark.parametrize(
    ("law", "ca_printed", "within"),
    [
        # M: rows of printed tables (Norton) carry rounding errors; wide bounds on purpose
        (Law("3-4-5"), 5.777, 0.003),
        (Law("4-5-6-7"), 7.526, 0.003),
        (Law("harmonic"), 4.945, 0.003),
    ],
)
def test_printed_handbook_rows_agree_to_their_rounding(
    law: Law, ca_printed: float, within: float
) -> None:
    assert coefficients(law).ca == pytest.approx(ca_printed, rel=within)


@pytest.mark.parametrize(
    ("law", "dynamic_torque"),
    [
        # greatest |v a|, the handbooks' coefficient of inertial power; VDI 2143: 8.16 cycloidal,
        # 5.46 modified sine, 6.69 fifth-degree polynomial, 8.09 modified trapezoid (M; R agrees)
        (Law("cycloidal"), 8.1621),
        (Law("3-4-5"), 6.69427),
        (Law("4-5-6-7"), 10.7502),
        (Law("modified sine"), 5.45775),
        (Law("modified trapezoid"), 8.08998),
        (Law("harmonic"), 3.87578),
    ],
)
def test_inertial_power_peaks_as_the_handbooks_say(law: Law, dynamic_torque: float) -> None:
    form = shape(law, np.linspace(0.0, 1.0, 200_001))
    assert np.abs(form.v * form.a).max() == pytest.approx(dynamic_torque, rel=3e-5)


@pytest.mark.parametrize(
    ("law", "rms"),
    [
        # root of the mean square of the acceleration; R
        (Law("parabolic"), 4.0),
        (THIRD, 3.67423),
        (Law("harmonic"), 3.48943),
        (Law("cycloidal"), 4.44288),
        (Law("3-4-5"), 4.14039),
        (Law("4-5-6-7"), 5.04525),
        (Law("modified sine"), 3.90886),
        (Law("modified trapezoid"), 4.23324),
    ],
)
def test_mean_acceleration_is_that_of_the_tables(law: Law, rms: float) -> None:
    middles = (np.arange(120_000) + 0.5) / 120_000
    found = sqrt(float(np.mean(shape(law, middles).a ** 2)))
    assert found == pytest.approx(rms, rel=3e-6)


def test_the_default_law_is_minimum_jerk() -> None:
    # Flash and Hogan 1985, J. Neurosci. 5:1688-1703: minimum jerk from rest to rest solves
    # s'''''' = 0, which is the 3-4-5 polynomial (S, shadmehrlab.org/book/minimum_jerk)
    x = np.linspace(0.0, 1.0, 21)
    start = [0.0, 0.0, 0.0, 60.0, -360.0, 720.0]
    solved = solve_ivp(
        lambda _, y: [*y[1:], 0.0], (0.0, 1.0), start, t_eval=x, rtol=1e-11, atol=1e-13
    )
    assert position(Law(), x) == pytest.approx(solved.y[0], abs=1e-9)
    assert Law().name == "3-4-5"


def test_every_law_has_a_row_of_coefficients() -> None:
    assert {law.name for law, *_ in COEFFICIENTS} == set(LAW_NAMES)
