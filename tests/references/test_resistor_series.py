"""Series resistors against the preferred numbers.

E24: IEC 60063:2015, read on an encyclopedia's page. Worked values, (V - Vf) / I
rounded up: recomputed.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.rig.resistor import E24, POWER_USED, preferred_ohm, series_resistor

PRINTED = (
    *(1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0),
    *(3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1),
)

WORKED = [
    (5.0, 2.1, 0.02, 145.0, 150.0, 0.01933333333, 0.05606666667),
    (5.0, 3.2, 0.02, 90.0, 91.0, 0.01978021978, 0.03560439560),
    (12.0, 2.0, 0.015, 666.666667, 680.0, 0.01470588235, 0.1470588235),
    (9.0, 1.9, 0.01, 710.0, 750.0, 0.009466666667, 0.06721333333),
    (7.4, 3.3, 0.02, 205.0, 220.0, 0.01863636364, 0.07640909091),
    (12.0, 6.4, 0.02, 280.0, 300.0, 0.01866666667, 0.1045333333),
]
"""V, Vf, I wanted; exact ohm, E24 ohm, A, W."""


def test_the_series_is_the_standard_s() -> None:
    assert tuple(float(step) for step in E24) == PRINTED


@pytest.mark.parametrize("row", WORKED)
def test_a_worked_resistor_comes_out(row: tuple[float, ...]) -> None:
    volts, forward, wanted, exact, preferred, amperes, watts = row
    found = series_resistor(volts, forward, wanted)
    assert found is not None
    assert found.exact_ohm == pytest.approx(exact, rel=1e-6)
    assert found.preferred_ohm == preferred
    assert found.current_a == pytest.approx(amperes, rel=1e-9)
    assert found.power_w == pytest.approx(watts, rel=1e-9)
    assert found.rating_w is not None
    assert found.rating_w * POWER_USED >= found.power_w


def test_binary_fractions_cost_no_step() -> None:
    """(5 - 3.2) / 0.02 is 89.99999999999999 in binary, and a hair over 91 must not become 100."""
    assert (5 - 3.2) / 0.02 != 90.0
    assert preferred_ohm((5 - 3.2) / 0.02) == 91.0
    assert preferred_ohm(91.00000000000001) == 91.0
    assert preferred_ohm(0.1 + 0.2) == 0.3
    assert preferred_ohm(9.2) == 10.0
    assert preferred_ohm(95.0) == 100.0


@given(st.floats(0.01, 1e7))
def test_the_preferred_value_is_the_next_one_up(ohm: float) -> None:
    found = preferred_ohm(ohm)
    assert found >= ohm * (1.0 - 1e-8)
    assert found <= ohm * 1.5 / 1.3 * (1.0 + 1e-8)  # the widest step of the series
    digits = f"{found:.1e}".split("e")[0]
    assert digits in E24


@pytest.mark.parametrize(
    ("milliwatts", "rating_w"),
    [
        *((62, 0.125), (63, 0.25), (124, 0.25), (126, 0.5), (249, 0.5), (251, 1.0)),
        *((499, 1.0), (501, 2.0), (999, 2.0), (1001, 3.0), (1499, 3.0), (1501, 5.0)),
        *((2499, 5.0), (2501, None)),
    ],
)
def test_a_resistor_is_loaded_to_half_of_a_rating_that_is_sold(
    milliwatts: int, rating_w: float | None
) -> None:
    """1/8, 1/4, 1/2, 1, 2, 3 and 5 W: common practice, no source. P = V**2 / R at 100 ohm."""
    volts = (milliwatts / 1000.0 * 100.0) ** 0.5
    found = series_resistor(volts + 2.0, 2.0, volts / 100.0)
    assert found is not None
    assert found.preferred_ohm == 100.0
    assert found.power_w == pytest.approx(milliwatts / 1000.0)
    assert found.rating_w == rating_w


def test_no_resistor_helps_a_feed_that_does_not_reach_above_the_forward_voltage() -> None:
    assert series_resistor(3.0, 3.2, 0.02) is None
    assert series_resistor(3.2, 3.2, 0.02) is None
    just = series_resistor(3.3, 3.2, 0.02)
    assert just is not None
    assert just.preferred_ohm == 5.1  # 0.1 V / 20 mA are 5 ohm
    with pytest.raises(ValueError, match="must be over 0"):
        preferred_ohm(0.0)


def test_a_resistor_may_take_just_half_its_rating() -> None:
    """10 V over 100 ohm are 1 W, half of 2 W; over 91 ohm 1.1 W (both in E24, IEC 60063)."""
    found = series_resistor(10.0, 0.0, 10.0 / 100.0)
    assert found is not None
    assert (found.preferred_ohm, found.power_w, found.rating_w) == (100.0, pytest.approx(1.0), 2.0)
    more = series_resistor(10.0, 0.0, 10.0 / 91.0)
    assert more is not None
    assert more.rating_w == 3.0
