"""Angles that a table does not hold, and what to write instead."""

from __future__ import annotations

import pytest

from seqlang.checks.figures import figure
from tests.seqlang.show_text import findings, show

NAME = "number-out-of-range"
WIDE = {"pulse": "700 us at -327 deg, 2300 us at 327 deg", "gear": "2", "load": "5 g at 5 mm"}
SLOW = "jaw to 300 deg in 9 s\njaw to -300 deg in 12 s\njaw to 0 deg in 9 s"


def wide(travel: str, **lines: str) -> str:
    return show(jaw={**WIDE, "travel": travel, **lines}, cues={"snap": SLOW})


def test_a_servo_of_nearly_two_turns_passes_every_check() -> None:
    text = wide("-327 deg to 327 deg")
    assert [one for one in findings(text) if one.severity != "advice"] == []


@pytest.mark.parametrize("travel", ["-327.01 deg to 300 deg", "-300 deg to 1800 deg"])
def test_more_turns_than_the_table_holds_are_told_with_what_to_write(travel: str) -> None:
    (found,) = findings(wide(travel), NAME)
    assert found.message.startswith("an angle of a part is at most 327 deg to either side, but ")
    assert found.limit == 327
    assert found.help is not None
    assert "`gear RATIO`" in found.help


def test_a_calibration_and_a_target_are_held_to_the_same() -> None:
    text = wide("-300 deg to 300 deg", pulse="700 us at -327 deg, 2300 us at 400 deg")
    assert len(findings(text, NAME)) == 1
    assert len(findings(wide("-300 deg to 300 deg").replace("to 300 deg in", "to 3000 deg in"))) > 0


def test_what_arithmetic_leaves_over_of_nothing_is_shown_as_nothing() -> None:
    """A reel's worst instant was said to be at -0.000000000000568 deg."""
    assert figure(-5.68e-13) == "0"
    assert figure(-0.00012) == "-0.00012"
