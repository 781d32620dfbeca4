"""One number in the text, one duration that passes: from every start, in every cue."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.findings import Finding
from seqlang.text.source import Source

ROOT = Path(__file__).parents[2]
OWL = (ROOT / "shows" / "owl" / "owl.cues").read_text()
SAG = (Path(__file__).parent / "findings" / "voltage-sag.cues").read_text()


def grave(text: str) -> list[Finding]:
    found = check(load_text(Source("test.cues", text))).findings
    return [f for f in found if f.severity != "advice"]


def applied(text: str, found: Finding) -> str:
    assert found.fix is not None, found
    return text[: found.fix.span.start] + found.fix.text + text[found.fix.span.end :]


def test_a_move_that_several_cues_play_is_one_finding_with_one_duration() -> None:
    text = OWL.replace("lids to 0 deg in 220 ms", "lids to 0 deg in 100 ms")
    found = grave(text)
    assert [f.name for f in found] == ["servo-speed"]
    assert grave(applied(text, found[0])) == []


def test_two_parts_in_one_statement_are_given_the_duration_that_passes_for_both() -> None:
    text = OWL.replace(
        "wing to 4 deg in 1.2 s",
        "wing to 4 deg in 1.2 s\n    lids to 0 deg, wing to 52 deg in 90 ms",
    )
    found = [f for f in grave(text) if f.fix is not None and "ms" in f.fix.text]
    assert len(found) == 2
    assert len({(f.fix.span, f.fix.text) for f in found if f.fix}) == 1
    assert grave(applied(text, found[0])) == []


@pytest.mark.parametrize("asked_ms", [150, 250, 300, 340])
def test_a_failing_move_s_own_sag_does_not_lengthen_what_is_proposed(asked_ms: int) -> None:
    """One servo at the end of a long wire: however wrong the number, the same one is proposed."""
    text = SAG.partition("cue flap")[0].replace("in 379 ms", f"in {asked_ms} ms")
    text = (
        text.replace("cue snap", "cue snap", 1)
        + "remote\n    button 1: go snap\n    stop button 2\n"
    )
    (found,) = grave(text)
    assert found.name == "servo-speed"
    proposed = int(re.findall(r"\d+", found.fix.text)[0])  # type: ignore[union-attr]
    assert grave(applied(text, found)) == []
    shorter = text.replace(f"in {asked_ms} ms", f"in {proposed - 3} ms")
    assert grave(shorter) != []


@pytest.mark.parametrize("gauge", [24, 25, 26])
@pytest.mark.parametrize("from_deg", [4, 12, 20])
def test_a_duration_for_a_sagging_voltage_passes_by_itself_as_well(
    gauge: int, from_deg: int
) -> None:
    text = SAG.replace("of 26 AWG", f"of {gauge} AWG").replace("jaw 4 deg", f"jaw {from_deg} deg")
    for _ in range(3):
        found = [f for f in grave(text) if f.name in ("voltage-sag", "servo-speed")]
        if not found:
            break
        names = {f.name for f in found}
        text = applied(text, found[0])
        again = {f.name for f in grave(text)}
        assert "servo-speed" not in again or "servo-speed" in names
    assert [f.name for f in grave(text) if f.name in ("voltage-sag", "servo-speed")] == []
