"""One slip gives one finding, and hides none of the others."""

from __future__ import annotations

from pathlib import Path

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.render import text
from seqlang.text.source import Source

FIRST = (Path(__file__).parents[2] / "shows/first/first.cues").read_text("utf-8")


def found_after(*changes: tuple[str, str]) -> list[str]:
    words = FIRST
    for old, new in changes:
        assert old in words
        words = words.replace(old, new)
    findings = check(load_text(Source("first.cues", words))).findings
    return [f.name for f in findings if not f.name.startswith("caution-")]


CALIBRATION = ("2000 us at 90 deg", "2000 us at 0 deg")


def test_a_wrong_address_does_not_hide_what_is_wrong_on_its_board() -> None:
    found = found_after(("address 1", "address 300"), CALIBRATION)
    assert found == ["number-out-of-range", "calibration-order"]


@pytest.mark.parametrize(
    "change",
    [("stop button 2", "stop button 99"), ("stop button 2", "stop buton 2")],
    ids=["number", "word"],
)
def test_a_stop_button_that_cannot_be_read_is_not_called_missing(change: tuple[str, str]) -> None:
    found = found_after(change)
    assert "no-stop-button" not in found
    assert len(found) >= 1


def test_a_button_that_cannot_be_read_leaves_no_cue_out_of_reach() -> None:
    assert "unreachable-cue" not in found_after(("button 1: go wave", "button 99: go wave"))


def test_a_change_is_proposed_once() -> None:
    words = FIRST.replace("    stop button 2\n", "")
    source = Source("first.cues", words)
    found = [f for f in check(load_text(source)).findings if f.name == "no-stop-button"]
    shown = text(found, {"first.cues": source}, colour=False)
    assert shown.count("stop button 2") == 1
