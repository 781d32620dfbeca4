"""Checks against figures from outside: handbook coefficients, WCAG's count of flashes."""

from __future__ import annotations

import re

import pytest

from seqlang.text.findings import Finding
from tests.seqlang.show_text import LAMP, checked, show


def findings(cue: str) -> tuple[Finding, ...]:
    text = show(
        supply=None,
        jaw={"travel": "0 deg to 90 deg", "load": None},
        rig=LAMP,
        poses="safe pose shut\n    jaw 0 deg\n",
        cues={'test "Test"': cue},
        remote="button 1: go test\nstop button 2",
    )
    return checked(text).findings


def errors(cue: str) -> list[Finding]:
    return [f for f in findings(cue) if f.severity == "error"]


@pytest.mark.parametrize(
    ("law", "cv"),
    [
        # peak velocities of the cam handbooks, h = T = 1 (recomputed from the closed forms)
        ("uniform", 1.0),
        ("parabolic", 2.0),
        ("harmonic", 1.570796),
        ("cycloidal", 2.0),
        ("3-4-5", 1.875),
        ("4-5-6-7", 2.1875),
        ("modified sine", 1.759603),
        ("modified trapezoid", 2.0),
    ],
)
def test_an_unloaded_move_may_be_as_quick_as_its_peak_speed_allows(law: str, cv: float) -> None:
    # rated 0.15 s/60deg = 400 deg/s (reference: unit table), 20 % kept as margin: 320 deg/s
    shortest = cv * 60.0 / 320.0 * 1000.0
    found = errors(f"    jaw to 60 deg in 50 ms, {law}\n    jaw to 0 deg in 2 s")
    speeds = [f for f in found if f.name == "servo-speed"]
    assert len(speeds) == 1
    fix = speeds[0].fix
    assert fix is not None
    assert int(fix.text.removesuffix(" ms")) == pytest.approx(shortest, abs=1.0)
    assert not errors(f"    jaw to 60 deg in {fix.text}, {law}\n    jaw to 0 deg in 2 s")


def test_the_limit_of_an_unloaded_move_is_the_rated_speed_less_the_margin() -> None:
    finding = next(f for f in errors("    jaw to 60 deg in 50 ms") if f.name == "servo-speed")
    assert finding.limit == pytest.approx(320.0, rel=1e-3)
    # minimum jerk: peak 15/8 of the mean speed (Flash and Hogan 1985)
    assert finding.asked == pytest.approx(1.875 * 60.0 / 0.050, rel=1e-3)
    assert finding.unit == "deg/s"


def blink(period_ms: int, high_pct: int = 100, low_pct: int = 0) -> str:
    return (
        "    repeat 6 times\n"
        f"        lure cut to {high_pct}%\n"
        f"        hold {period_ms // 2} ms\n"
        f"        lure cut to {low_pct}%\n"
        f"        hold {period_ms - period_ms // 2} ms"
    )


def test_three_flashes_in_a_second_pass_and_four_do_not() -> None:
    # WCAG 2.2, success criterion 2.3.1: "more than three times in any one second period"
    assert not errors(blink(360))
    found = errors(blink(240))
    assert [f.name for f in found] == ["general-flash"]
    assert found[0].asked is not None
    assert found[0].asked >= 4
    assert found[0].limit == 3


def test_a_change_under_a_tenth_of_the_luminance_is_no_flash() -> None:
    # WCAG 2.2: 10 % of the maximum relative luminance. L* 37 is 0.095, L* 39 is 0.107 (CIE 1976)
    assert not errors(blink(200, high_pct=37))
    assert [f.name for f in errors(blink(200, high_pct=39))] == ["general-flash"]


def test_a_change_between_two_bright_states_is_no_flash() -> None:
    # WCAG 2.2: the darker state must be below 0.80; L* 90 is 0.763, L* 92 is 0.807 (CIE 1976)
    assert not errors(blink(200, low_pct=92))
    assert [f.name for f in errors(blink(200, low_pct=90))] == ["general-flash"]


def test_messages_keep_the_rules_of_wording() -> None:
    for finding in findings("    jaw to 95 deg in 50 ms\n    jaw to 0 deg in 40 ms"):
        assert not finding.message.endswith(".")
        assert not re.match(r"[A-Z]", finding.message)
        assert "invalid value" not in finding.message
