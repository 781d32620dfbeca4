"""Servos on more volts than they are rated at: common practice, no source."""

from __future__ import annotations

from pathlib import Path

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.source import Source
from tests.seqlang.mistakes.base import LINES, with_line
from tests.seqlang.show_text import checked, findings, show

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


def test_without_a_rating_or_a_supply_nobody_knows_what_is_too_much() -> None:
    far = "source adapter 12.0 V, 6 A"
    assert findings(show(supply=far), "servo-overvoltage") != []
    assert findings(show(supply=None), "servo-overvoltage") == []
    unrated = checked(show(supply=far, jaw={"rating": None})).findings
    assert "servo-overvoltage" not in [one.name for one in unrated]


@pytest.mark.parametrize("pack", ["adapter 12 V, 5 A", "3 li-ion cells, 3000 mAh, 60 mohm"])
def test_twelve_volts_are_called_too_much_for_what_they_break_and_too_little_for_nothing(
    pack: str,
) -> None:
    """Servos at 6 V, a chip at 5.5 V (ATmega328P data sheet, absolute maximum ratings 6 V), and
    pixels of 5 V.
    """
    show = with_line("feed", f"{dict(LINES)['feed'].strip()}\nlogic direct")
    show = show.replace("    regulator 6 V, 5 A, dropout 0.4 V, efficiency 92 %\n", "")
    show = show.replace("2 li-ion cells, 3000 mAh, 60 mohm", pack)
    loaded = load_text(Source("test.cues", show))
    found = [f for f in check(loaded).findings if f.severity != "advice" and "button" not in f.name]
    assert [(f.name, f.message.partition(" can get ")[0]) for f in found] == [
        ("chip-overvoltage", "the chip of board `body`"),
        ("servo-overvoltage", "servo `jaw`"),
        ("strip-overvoltage", "strip `belly`"),
    ]
    assert found[1].notes == ("the same goes for `left_fin`",)
    assert all("resets" not in f.message + f.label + (f.help or "") for f in found)


def test_twelve_volts_behind_a_regulator_for_the_servos_are_no_fault() -> None:
    loaded = load_text(Source("test.cues", with_line("source", "source adapter 12 V, 5 A")))
    assert [f.name for f in check(loaded).findings if f.severity == "error"] == []


def test_the_regulator_that_is_suggested_passes() -> None:
    source = "    source adapter 12.0 V, 6 A\n"
    assert source in SHOW
    text = SHOW.replace(source, f"{source}    regulator 6.0 V, 5 A\n")
    found = check(load_text(Source("test.cues", text))).findings
    assert [f.name for f in found if f.severity != "advice"] == []
