"""Servos on more volts than they are rated at: common practice, no source."""

from __future__ import annotations

from pathlib import Path

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.source import Source

SHOW = (Path(__file__).parent / "findings" / "servo-overvoltage.cues").read_text()


def severities(text: str) -> list[str]:
    found = check(load_text(Source("test.cues", text))).findings
    return [f.severity for f in found if f.name == "servo-overvoltage"]


@pytest.mark.parametrize(
    ("source", "rated", "severity"),
    [
        ("adapter 12.0 V, 6 A", "6.0 V", ["error"]),
        ("2 li-ion cells, 3000 mAh", "6.0 V", ["error"]),  # 8.4 V when full
        ("2 li-ion cells, 3000 mAh", "7.4 V", []),
        ("adapter 7.2 V, 6 A", "6.0 V", ["warning"]),
        ("adapter 6.0 V, 6 A", "6.0 V", []),
    ],
)
def test_volts_over_the_rated_ones_are_named(source: str, rated: str, severity: list[str]) -> None:
    text = SHOW.replace("adapter 12.0 V, 6 A", source).replace("at 6.0 V", f"at {rated}")
    assert severities(text) == severity


def test_the_regulator_that_is_suggested_passes() -> None:
    source = "    source adapter 12.0 V, 6 A\n"
    assert source in SHOW
    text = SHOW.replace(source, f"{source}    regulator 6.0 V, 5 A\n")
    found = check(load_text(Source("test.cues", text))).findings
    assert [f.name for f in found if f.severity != "advice"] == []
