"""What may be written at a place: `|` marks it."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rig_text import RIG

from seqlang.editor.completion import proposals
from seqlang.editor.naming import ShowNames
from seqlang.loading import load_text
from seqlang.text.source import Source
from seqlang.text.units import UNITS

BASE = (
    "given wide = 40 deg\ngiven warm = #ff8000\n"
    + RIG
    + "safe pose shut\n    jaw 0 deg\ncue blink\n    hold 1 s\n"
)


def offered(text: str, kind: str | None = None) -> list[str]:
    """What is offered at the mark in a text that goes on behind the base."""
    whole = BASE + text
    at = whole.index("|")
    whole = whole.replace("|", "") + "\n"
    names = ShowNames(load_text(Source("x.cues", BASE)).items)
    found = proposals(Source("x.cues", whole), at, names).all
    return [one.text for one in found if kind is None or one.kind == kind]


CUE = "cue act\n    "


@pytest.mark.parametrize(
    ("text", "some", "none"),
    [
        ("|", ["servo", "cue", "given", "safe"], ["hold", "jaw"]),
        ("ser|", ["servo"], ["cue"]),
        (CUE + "|", ["hold", "together", "in turn", "jaw", "lure"], ["servo", "shut"]),
        (CUE + "together\n        |", ["hold", "repeat", "jaw"], ["servo"]),
        (CUE + "jwa to 3\n    j|", ["jaw"], ["fin"]),
        (CUE + "jaw |", ["to", "fade", "breathe", "and"], ["in", "jaw"]),
        (CUE + "jaw and |", ["fin", "lure"], ["shut"]),
        (CUE + "jaw to |", ["wide"], ["jaw", "orange"]),
        (CUE + "jaw to 40 |", ["deg", "rad", "in", "as fast as it can"], ["ms", "mm"]),
        (CUE + "jaw to 40d|", ["deg"], ["rad"]),
        (CUE + "jaw to 40 deg as f|", ["as fast as it can"], ["in"]),
        (CUE + "jaw to 40 deg in 3 |", ["s", "ms"], ["deg"]),
        (CUE + "jaw to 40 deg at 3 |", ["deg/s", "rpm"], ["deg", "s"]),
        (CUE + "jaw to 40 deg in 3 s, |", ["cycloidal", "3-4-5", "modified sine"], ["in"]),
        (CUE + "jaw to 40 deg in 3 s, modified s|", ["modified sine"], ["cycloidal"]),
        (CUE + "belly fade to |", ["orange", "warm", "off"], ["jaw"]),
        (CUE + "belly breathe |", ["every"], ["depth"]),
        (CUE + "play |", ["blink"], ["shut", "jaw"]),
        (CUE + "pose |", ["shut"], ["blink"]),
        (CUE + "repeat |", ["for ever", "while held"], ["jaw"]),
        (CUE + "repeat 3 |", ["times"], ["s", "ms"]),
        (CUE + "stagger 80 |", ["ms"], []),
        ("cue |", [], ["blink"]),
        ("cue act, if busy |", ["take", "wait", "refuse"], ["jaw"]),
        ("idle: go |", ["blink"], ["jaw"]),
        ("servo new: |", ["body"], ["pack"]),
        ("servo new: body pin |", ["PB1", "PD6"], ["body"]),
        ("servo new: body pin PB3\n    |", ["pulse", "travel", "load"], ["hold", "source"]),
        ("servo new: body pin PB3\n    on |", ["jaw"], ["body"]),
        ("board new: |", ["atmega328p"], ["body"]),
        ("board new: atmega328p, address 3\n    feed |", ["pack"], ["body"]),
        ("wearer\n    near |", ["chest", "hand"], ["jaw"]),
        ("wearer\n    tilt 3 |", ["deg"], ["ms"]),
        ("given new = 3 |", ["deg", "ms", "kgf.cm"], []),
        (CUE + "hold (3 |", ["s", "ms"], []),
        ("# jaw |", [], ["jaw"]),
        ('show "jaw |', [], ["jaw"]),
    ],
)
def test_what_is_due_is_offered(text: str, some: list[str], none: list[str]) -> None:
    found = offered(text)
    assert set(some) <= set(found)
    assert not set(none) & set(found)


def test_the_unit_most_likely_meant_stands_first() -> None:
    assert offered(CUE + "jaw to 40 deg in 300 |")[0] == "ms"
    assert offered(CUE + "jaw to 40 deg in 0.3 |")[0] == "s"
    assert set(offered("given new = 3 |", "unit")) == set(UNITS)


@settings(max_examples=60)
@given(st.integers(0, len(BASE)), st.text(st.sampled_from('abjw 1.-#"(,:\n\tß🦉'), max_size=12))
def test_no_text_and_place_is_too_odd_to_be_answered(at: int, junk: str) -> None:
    text = BASE[:at] + junk + BASE[at:]
    found = proposals(Source("x.cues", text), at + len(junk), ShowNames(()))
    assert 0 <= found.start <= at + len(junk)
