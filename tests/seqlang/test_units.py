"""Units: every conversion is exact, checked against the standards that define the units."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqlang.text.units import (
    DEGREES,
    NUMBER,
    PERCENT,
    TIME,
    TORQUE,
    UNITS,
    Quantity,
    multiplied,
    parse_quantity,
    title_of,
    units_of,
)

BY_DEFINITION = {
    # NIST SP 811 (2008), appendix B.8: kilogram-force 9.80665 N, ounce and inch by definition.
    "1 kgf.cm": "0.0980665",
    "1 ozf.in": "0.00706155181422604375",
    # SI brochure, 9th edition, table 7 (prefixes) and table 8 (minute, hour).
    "1 N.cm": "0.01",
    "1 N.mm": "0.001",
    "1 mN.m": "0.001",
    "1 min": "60",
    "1 h": "3600",
    "1 ms": "0.001",
    "1 us": "0.000001",
    "1 mAh": "3.6",
    "1 Ah": "3600",
    "1 mA": "0.001",
    "1 mohm": "0.001",
    "1 mV": "0.001",
    "1 mm": "0.001",
    "1 cm": "0.01",
    "1 g": "0.001",
    # NIST SP 811, B.8: inch 25.4 mm, avoirdupois ounce 28.349523125 g, both exact.
    "1 inch": "0.0254",
    "1 in": "0.0254",
    "1 oz": "0.028349523125",
    # One turn is 360 deg: 1 rpm is 6 deg/s.
    "1 rpm": "6",
    "1 g.cm2": "0.0000001",
}

KGF_CM = {
    # Computed with an independent unit library (Pint 0.25) from the same definition.
    "1": 0.0980665,
    "1.8": 0.1765197,
    "2.5": 0.24516625,
    "3.2": 0.3138128,
    "9.4": 0.9218251,
    "13": 1.2748645,
    "25": 2.4516625,
    "35": 3.4323275,
}


@pytest.mark.parametrize(("text", "exact"), BY_DEFINITION.items())
def test_a_unit_has_the_size_that_its_standard_gives_it(text: str, exact: str) -> None:
    assert parse_quantity(text).value == Fraction(exact)


@pytest.mark.parametrize(("number", "newton_metres"), KGF_CM.items())
def test_a_stall_torque_in_kgf_cm_is_right_to_the_last_bit(
    number: str, newton_metres: float
) -> None:
    assert float(parse_quantity(f"{number} kgf.cm").value) == newton_metres


def test_a_radian_is_right_to_the_last_bit() -> None:
    assert float(parse_quantity("1 rad").value) == math.degrees(1.0)
    assert float(parse_quantity("2.5 rad/s").value) == math.degrees(2.5)


def test_seconds_per_60_deg_become_degrees_per_second() -> None:
    # 60 deg in 0.15 s is 400 deg/s; rounding must happen once, at the end.
    assert parse_quantity("0.15 s/60deg") == parse_quantity("400 deg/s")
    assert float(parse_quantity("0.17 s/60deg").value) == 60 / 0.17


def test_zero_seconds_per_60_deg_is_a_division_by_zero() -> None:
    with pytest.raises(ZeroDivisionError):
        parse_quantity("0 s/60deg")


def test_text_that_is_no_quantity_is_refused() -> None:
    for text in ("", "nan", "inf deg", "1e5 ms", "--3 s", "٣ s"):
        with pytest.raises((ValueError, KeyError)):
            parse_quantity(text)
    with pytest.raises(KeyError):
        parse_quantity("3 parsec")


@given(st.integers(0, 10**9), st.integers(0, 6), st.sampled_from(sorted(UNITS)))
def test_a_conversion_loses_nothing(digits: int, places: int, unit: str) -> None:
    number = f"{digits // 10**places}.{digits % 10**places:0{max(places, 1)}d}"
    size, dimension = UNITS[unit]
    found = None
    try:
        found = parse_quantity(f"{number} {unit}")
    except ZeroDivisionError:
        assert unit == "s/60deg"
        assert Fraction(number) == 0
        return
    back = size / found.value if unit == "s/60deg" else found.value / size
    assert back == Fraction(number)
    assert found.dimension == dimension


def test_a_percentage_of_a_quantity_is_a_share_of_it() -> None:
    two_seconds, half = parse_quantity("2 s"), parse_quantity("50 %")
    assert multiplied(two_seconds, half) == parse_quantity("1 s")
    assert multiplied(half, two_seconds) == parse_quantity("1 s")
    assert multiplied(two_seconds, half, -1) == parse_quantity("4 s")
    assert multiplied(half, half) == parse_quantity("25 %")
    assert multiplied(half, half, -1) == Quantity(Fraction(1), NUMBER)
    assert multiplied(half, parse_quantity("0.5")) == Quantity(Fraction(25), PERCENT)


def test_volts_over_amperes_are_ohms() -> None:
    assert multiplied(parse_quantity("6 V"), parse_quantity("2 A"), -1) == parse_quantity("3 ohm")


def test_every_dimension_has_a_name_and_its_units() -> None:
    assert units_of(TIME) == ("us", "ms", "s", "min", "h")
    assert "kgf.cm" in units_of(TORQUE)
    assert title_of(DEGREES.dimension) == "an angle"
    for _, dimension in UNITS.values():
        assert title_of(dimension) != "a mixture of units"
