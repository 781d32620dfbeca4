"""Numbers as findings print them, at the limits of their rounding."""

from __future__ import annotations

from math import inf, nextafter

import pytest

from seqlang.checks.figures import counted, figure, figures, listed, seconds


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (nextafter(1e-9, 0.0), "0"),
        (1e-9, "0.000000001"),
        (1.1e-9, "0.0000000011"),
        (nextafter(-1e-9, 0.0), "0"),
        (-1e-9, "-0.000000001"),
        (0.0999, "0.0999"),
        (0.09994, "0.0999"),
        (0.1, "0.1"),
        (9.994, "9.99"),
        (99.94, "99.9"),
        (100.4, "100"),
        (1234.5, "1234"),
        (1235.5, "1236"),
        (1e6, "1000000"),
        (-inf, "unlimited"),
    ],
)
def test_three_digits_are_told_and_of_whole_numbers_all(value: float, text: str) -> None:
    assert figure(value) == text


@pytest.mark.parametrize(
    ("asked", "limit", "texts"),
    [
        (1.5, 1.0, ("1.5", "1")),
        (1.004, 1.0, ("1.004", "1")),
        (1.00000004, 1.0, ("1", "1")),
        (1.0000004, 1.0, ("1.0000004", "1")),
        (1.0, 1.0, ("1", "1")),
    ],
)
def test_two_numbers_have_as_many_digits_as_tell_them_apart_and_eight_at_most(
    asked: float, limit: float, texts: tuple[str, str]
) -> None:
    assert figures(asked, limit) == texts


@pytest.mark.parametrize(("ms", "text"), [(999, "999 ms"), (1000, "1 s"), (1260, "1.26 s")])
def test_from_a_thousand_milliseconds_on_seconds_are_told(ms: float, text: str) -> None:
    assert seconds(ms) == text


@pytest.mark.parametrize(("count", "text"), [(0, "0 parts"), (1, "1 part"), (2, "2 parts")])
def test_one_of_a_thing_is_said_otherwise(count: int, text: str) -> None:
    assert counted(count, "part", "parts") == text


def test_two_names_are_joined_without_a_comma() -> None:
    assert listed(["a", "b"]) == "`a` and `b`"
