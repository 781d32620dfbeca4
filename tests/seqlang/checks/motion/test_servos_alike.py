"""Servos of one make that do the same: one finding names all, and its change mends all."""

from __future__ import annotations

import pytest

from seqlang.text.findings import Finding
from tests.seqlang.show_text import applied, findings, servo, show

PINS = ("PB2", "PC0", "PC1", "PC2")
NAMES = ("jaw", *(f"f{n}" for n in range(1, 5)))
ALL = "jaw and f1 and f2 and f3 and f4"


def hand(lines: dict[str, str | None], last: dict[str, str | None] | None = None) -> str:
    """Five servos with the same lines, the last one maybe with others, closed together."""
    others = [
        servo(f"f{n}", pin, last if n == 4 and last else lines)
        for n, pin in enumerate(PINS, start=1)
    ]
    cues = {"close": f"{ALL} to 50 deg in 3 s", "open": f"{ALL} to 0 deg in 3 s"}
    return show(
        supply="source adapter 6.0 V, 20 A",
        jaw=lines,
        rig="".join(others),
        cues=cues,
        remote="button 1: go close\nbutton 3: go open\nstop button 2",
    )


def grips(line: str) -> dict[str, str | None]:
    word, rest = line.split(" ", 1)
    return {"load": None, word: rest}


CASES = {
    "grip-too-weak": grips("grips 30 N at 60 mm, past 40 deg, for 1 s"),
    "grip-too-long": grips("grips 12 N at 60 mm, past 40 deg, for 9 s"),
    "servo-heat": {"load": "400 g at 100 mm"},
    "servo-overvoltage": {"rating": "0.15 s/60deg, 10 kgf.cm, 2 A at 4.8 V"},
}


def whom(one: Finding) -> str:
    (note,) = [note for note in one.notes if note.startswith("the same goes for")]
    return note


@pytest.mark.parametrize("name", CASES)
def test_what_is_wrong_with_five_alike_is_one_finding_that_names_all(name: str) -> None:
    text = hand(CASES[name])
    (one,) = findings(text, name)
    assert "`jaw`" in one.message
    assert whom(one) == "the same goes for `f1`, `f2`, `f3` and `f4`"
    shown = [span for span, words in one.related if words == "the same here"]
    assert len(shown) == 3
    assert all(span.start > one.span.start for span in shown)
    if one.fix is not None:
        assert len(one.fix.places) == 5
        assert findings(applied(text, one), name) == []


@pytest.mark.parametrize("name", CASES)
def test_one_of_them_that_is_different_keeps_a_finding_of_its_own(name: str) -> None:
    other = {
        "grip-too-weak": grips("grips 31 N at 60 mm, past 40 deg, for 1 s"),
        "grip-too-long": grips("grips 12 N at 60 mm, past 40 deg, for 8 s"),
        "servo-heat": {"load": "430 g at 100 mm"},
        "servo-overvoltage": {"rating": "0.15 s/60deg, 10 kgf.cm, 2 A at 4.7 V"},
    }[name]
    first, last = findings(hand(CASES[name], other), name)
    assert whom(first) == "the same goes for `f1`, `f2` and `f3`"
    assert "`f4`" in last.message
    assert not any("the same goes" in note for note in last.notes)


def test_one_servo_alone_is_told_as_ever() -> None:
    (one,) = findings(show(jaw={"load": "400 g at 100 mm"}), "servo-heat")
    assert not any("the same" in words for words in (*one.notes, *(w for _, w in one.related)))
