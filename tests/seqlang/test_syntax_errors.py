"""Syntax errors: each in plain words, all of them in one run."""

from __future__ import annotations

import pytest
from rig_text import RIG, loaded, names

from seqlang.loading import Loaded
from seqlang.text.findings import applied
from seqlang.text.grammar import failure
from seqlang.text.syntax_examples import BLOCK_DUE, EXAMPLES, Example

ALL = [(example, wrong) for example in (*EXAMPLES, BLOCK_DUE) for wrong in example.wrong]


def syntax_of(found: Loaded) -> list[str]:
    return [f.message for f in found.findings if f.name in ("syntax", "unknown-unit")]


@pytest.mark.parametrize(("example", "wrong"), ALL, ids=[repr(wrong) for _, wrong in ALL])
def test_an_example_of_the_table_is_explained_by_its_own_entry(
    example: Example, wrong: str
) -> None:
    assert failure(wrong) is not None
    found = loaded(wrong)
    finding = next(f for f in found.findings if f.name in ("syntax", "unknown-unit"))
    if finding.message != example.due or finding.fix is not None:  # a slip known by itself
        assert finding.help
        assert finding.fix is not None or "is not a name" in finding.message
        if finding.fix is not None:
            left = syntax_of(loaded(applied(wrong, finding.fix)))
            assert set(left) <= {BLOCK_DUE.due}
        return
    assert syntax_of(found) == [example.due]
    assert finding.help == example.help
    assert 0 <= finding.span.start < finding.span.end <= len(wrong)


@pytest.mark.parametrize("example", [*EXAMPLES, BLOCK_DUE], ids=lambda example: example.due[:40])
def test_an_explanation_is_written_as_findings_are(example: Example) -> None:
    assert not example.due.endswith(".")
    assert example.due[0] == "`" or example.due[0].islower()


@pytest.mark.parametrize("line", ["answers pin PD3", "answers yes", "answers: the leader"])
def test_a_line_that_stands_alone_is_left_alone(line: str) -> None:
    text = f"board arm: atmega2560, address 2\n    {line}\n"
    (found,) = (one for one in loaded(text).findings if one.name == "syntax")
    assert found.message == "`answers` is a whole line: its pin is fixed by the chip"
    assert found.fix is not None
    assert applied(text, found.fix) == "board arm: atmega2560, address 2\n    answers\n"


SLIPS = {
    "servoo jaw: body pin PB1\n": ("servoo", "servo"),
    "cue a\n    hodl 3 s\n": ("hodl", "hold"),
    "cue a\n    repeat 3 time\n        hold 1 s\n": ("time", "times"),
    "wearer\n    tild 3 deg\n": ("tild", "tilt"),
    "cue a\n    hold 3 sec\n": ("sec", "s"),
    "cue a\n    hold 3 Ms\n": ("Ms", "ms"),
    "cue a\n    jaw to 3 degs in 1 s\n": ("degs", "deg"),
    "cue a\n    jaw too 3 deg in 1 s\n": ("too", "to"),
    "cue a\n    hold 3\u00a0s\n": ("\u00a0", " "),
    "show \u201ca\u201d\n": ("\u201ca\u201d", '"a"'),
}


@pytest.mark.parametrize("text", SLIPS)
def test_a_slip_of_the_pen_comes_with_what_was_meant(text: str) -> None:
    wrong, meant = SLIPS[text]
    fix = loaded(text).findings[0].fix
    assert fix is not None
    assert (text[fix.span.start : fix.span.end], fix.text) == (wrong, meant)


def test_every_syntax_error_of_a_file_is_reported_at_its_own_line() -> None:
    text = RIG + (
        'show "open\n'
        "cue a\n"
        "    jaw to 30 deg\n"
        "    repeat 3\n"
        "        fin to in 3 s\n"
        "        jaw to 3 degg in 1 s\n"
        "    hold 1 s\n"
        "    play\n"
        "remote\n"
        "    button 1 go a\n"
        "    button 2: go b\n"
    )
    found = loaded(text)
    source = found.sources["test.cues"]
    base = RIG.count("\n")
    lines = [source.line_number(f.span.start) - base for f in found.findings]
    assert lines == [1, 3, 4, 5, 6, 8, 10, 11]
    assert names(found)[-1] == "unknown-name"


def test_what_a_broken_header_declares_is_missed_nowhere() -> None:
    found = loaded(
        RIG.replace("servo jaw: body", "servo jaw body") + "cue a\n    jaw to 30 deg in 1 s\n"
    )
    assert names(found) == ["syntax"]


def test_what_a_broken_line_may_hold_is_not_called_missing() -> None:
    found = loaded(RIG.replace("rating 0.17 s/60deg,", "rating 0.17 s/60deg;"))
    assert names(found) == ["syntax", "syntax"]


def test_the_statements_of_a_block_with_a_broken_header_are_read() -> None:
    found = loaded(
        RIG
        + "cue a\n    stagger by 80 ms\n        jwa to 30 deg in 1 s\n        fin to 3 V in 1 s\n"
    )
    assert names(found) == ["syntax", "unknown-name", "unit-mismatch"]


def test_a_line_indented_without_a_header_is_told_so() -> None:
    found = loaded("cue a\n    hold 1 s\n        hold 2 s\n    hold soon\n")
    assert found.findings[0].message == (
        "this line is indented, but the line above it has no block"
    )
    assert names(found) == ["syntax", "unknown-name"]


def test_after_many_errors_the_rest_is_not_read_and_that_is_said() -> None:
    found = loaded("what is this\n" * 500)
    assert len(found.findings) == 21
    assert names(found)[-1] == "too-many-errors"
