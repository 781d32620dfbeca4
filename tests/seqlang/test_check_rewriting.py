"""Numbers in findings and in the changes they suggest: rounding, units, digits."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seqlang.checks.context import Context
from seqlang.checks.figures import NOTHING, figure, figures, listed, seconds
from seqlang.checks.rewrite import rewritten
from seqlang.text import units
from seqlang.text.source import Source
from sim.model import Rig, Score, Show


def rewrite(text: str, value: float, measure: units.Measure, direction: str) -> str:
    source = Source("x", text)
    context = Context(Show(Rig(), Score("")), {}, {}, {"x": source})
    return rewritten(context, source.span(0, len(text)), value, measure, direction).text  # type: ignore[arg-type]


def test_a_duration_is_rounded_up_in_its_own_unit_and_digits() -> None:
    assert rewrite("260 ms", 311.2, units.DURATION, "up") == "312 ms"
    assert rewrite("0.3 s", 311.2, units.DURATION, "up") == "0.4 s"
    assert rewrite("0.30 s", 311.2, units.DURATION, "up") == "0.32 s"
    assert rewrite("1 s", 311.2, units.DURATION, "up") == "1 s"


def test_a_value_on_a_written_digit_stays_there() -> None:
    assert rewrite("0.3 s", 400.0, units.DURATION, "up") == "0.4 s"
    assert rewrite("0.1 deg", 0.1 + 0.2, units.DEGREES, "up") == "0.3 deg"


def test_an_angle_is_rounded_into_the_travel() -> None:
    assert rewrite("70 deg", 55.5, units.DEGREES, "down") == "55 deg"
    assert rewrite("-7.5 deg", -2.26, units.DEGREES, "up") == "-2.2 deg"
    assert rewrite("0 deg", 0.4, units.DEGREES, "up") == "1 deg"


def test_a_slower_speed_has_more_seconds_for_sixty_degrees() -> None:
    assert rewrite("0.17 s/60deg", 300.0, units.TURN_SPEED, "down") == "0.20 s/60deg"
    assert rewrite("0.17 s/60deg", 310.0, units.TURN_SPEED, "down") == "0.20 s/60deg"


def test_a_name_is_replaced_by_a_quantity() -> None:
    assert rewrite("pace", 311.2, units.DURATION, "up") == "312 ms"
    assert rewrite("(pace * 2)", 311.2, units.DURATION, "up") == "312 ms"
    assert rewrite("3 times", 2.0, units.PLAIN, "down") == "2"


@pytest.mark.parametrize(
    ("text", "value", "direction", "moved"),
    [
        ("10 deg .. 20 deg", 15.0, "up", "15 deg .. 20 deg"),
        ("10 deg .. 20 deg", 20.0, "up", "20 deg .. 20 deg"),
        ("10 deg .. 20 deg", 15.0, "down", "10 deg .. 15 deg"),
        # an end that passed does not any more: the whole range moves as far
        ("10 deg .. 20 deg", 25.0, "up", "25 deg .. 35 deg"),
        ("10 deg .. 20 deg", 5.0, "down", "-5 deg .. 5 deg"),
        # nobody knows how wide a range with a name was: its ends meet
        ("least .. 20 deg", 25.0, "up", "25 deg .. 25 deg"),
        ("10 deg .. most", 5.0, "down", "5 deg .. 5 deg"),
        # an end with a name stays as it is
        ("10 deg .. most", 25.0, "up", "25 deg .. most"),
        ("least .. most", 25.0, "up", "25 deg .. most"),
    ],
)
def test_of_what_is_drawn_the_end_that_does_not_pass_is_moved(
    text: str, value: float, direction: str, moved: str
) -> None:
    assert rewrite(text, value, units.DEGREES, direction) == moved


@settings(deadline=None, max_examples=200)
@given(
    st.decimals(min_value=0, max_value=5000, places=3, allow_nan=False),
    st.floats(min_value=0.001, max_value=60_000),
    st.sampled_from(["ms", "s", "min"]),
    st.integers(0, 3),
)
def test_a_rewritten_duration_is_enough_and_no_more_than_one_digit_over(
    written: object, value: float, unit: str, places: int
) -> None:
    text = f"{written:.{places}f} {unit}"
    new = rewrite(text, value, units.DURATION, "up")
    back = units.parse_quantity(new).value * units.DURATION.scale
    step = units.UNITS[unit][0] * units.DURATION.scale / 10**places
    slack = step / 10**5
    assert Fraction(value) - slack <= back < Fraction(value) + step + slack
    assert new.endswith(unit)


@settings(deadline=None, max_examples=300)
@given(st.floats(min_value=-1e7, max_value=1e7, allow_nan=False))
def test_a_figure_never_shows_an_exponent_and_keeps_three_digits(value: float) -> None:
    text = figure(value)
    assert re.fullmatch(r"-?\d+(\.\d+)?", text)
    assert abs(float(text) - value) <= max(0.00501 * abs(value), NOTHING)


def test_two_figures_get_digits_until_they_differ() -> None:
    assert figures(100.04, 100.0) == ("100.04", "100")
    assert figures(2.0, 1.0) == ("2", "1")
    assert figures(1.0, 1.0) == ("1", "1")


def test_words_read_as_a_person_would_say_them() -> None:
    assert seconds(260.4) == "260 ms"
    assert seconds(1500) == "1.5 s"
    assert listed(["a"]) == "`a`"
    assert listed(["a", "b", "c"]) == "`a`, `b` and `c`"
    assert figure(float("inf")) == "unlimited"
