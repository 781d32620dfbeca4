"""Each small broken show gives its finding, in the words its header quotes, and its fix passes.

`examples.py` says what stands in a header.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest
from examples import SHOWS, example, mended
from examples import found_in as findings_in

from seqlang.check import check
from seqlang.loading import load
from seqlang.text.findings import applied

WITHOUT_A_PLACE = {"empty-show"}

UNTOLD = {
    "cord-slack": {"limit"},  # no push at all
    "follow-flashes": {"asked"},  # dark, or the time that the label tells
    "interrupted-overload": {"asked", "limit"},  # the note tells torques
    "interrupted-stretch": {"limit"},  # two frames are not worth a word
    "left-spinning": {"limit"},
    "repeat-too-long": {"asked", "limit"},  # told in days
    "repeat-without-time": {"asked"},
    "safe-pose-spins": {"limit"},
    "servo-overvoltage": {"limit"},  # a share over the rated voltage, which is told
    "watch-limits": {"limit"},  # of a cell, or the other line's
}
"""Findings whose figures for programs stand in other words for people."""


@cache
def findings_of(path: Path):
    return [f for f in check(load(path)).findings if not f.name.startswith("caution-")]


@pytest.fixture(params=SHOWS, ids=lambda path: path.stem)
def broken(request: pytest.FixtureRequest) -> Path:
    return request.param


def test_a_broken_show_gives_just_its_findings_in_the_quoted_words(broken: Path) -> None:
    shown = example(broken)
    found = findings_of(broken)
    given = {f.name for f in found if f.severity != "advice" or f.name in shown.finds}
    assert sorted(given) == sorted(shown.finds), found
    messages = [f.message for f in found if f.name == shown.name]
    assert any(shown.says in message for message in messages), messages


def test_every_finding_points_into_the_text(broken: Path) -> None:
    text = broken.read_text()
    for finding in findings_of(broken):
        if finding.name in WITHOUT_A_PLACE:
            continue
        spans = [finding.span, *(span for span, _ in finding.related)]
        for span in spans:
            assert span.path == str(broken), finding
            assert 0 <= span.start < span.end <= len(text), finding
        assert "\n" not in text[finding.span.start : finding.span.end]


def test_applying_a_fix_makes_its_finding_disappear(broken: Path) -> None:
    text = broken.read_text()
    for finding in findings_of(broken):
        if finding.fix is None:
            continue
        left = findings_in(applied(text, finding.fix), broken)
        assert (finding.name, finding.message) not in {(f.name, f.message) for f in left}
        before = {f.name for f in findings_of(broken)} - {finding.name}
        new = [f for f in left if f.severity != "advice" and f.name not in before]
        assert not new, new


@pytest.mark.parametrize(
    "path", [path for path in SHOWS if example(path).name == path.stem], ids=lambda path: path.stem
)
def test_the_remedy_of_the_example_of_a_kind_makes_its_show_pass(path: Path) -> None:
    shown = example(path)
    left = findings_in(mended(shown))
    assert [f for f in left if f.name == shown.name or f.severity != "advice"] == []


def test_no_message_shows_a_number_with_an_exponent(broken: Path) -> None:
    for finding in findings_of(broken):
        words = " ".join([finding.message, finding.label, finding.help or "", *finding.notes])
        assert not re.search(r"\d[eE][-+]?\d", words), words
        assert "nan" not in words.split()


def test_the_figures_for_programs_are_those_of_the_words(broken: Path) -> None:
    """To the digits that are told, in the unit or in per cent, thousandths or thousands of it."""
    for finding in findings_of(broken):
        words = " ".join([finding.message, finding.label, finding.help or ""])
        told = [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", words)]
        scaled = [number * scale for number in told for scale in (1, -1, 100, 0.01, 1000, 0.001)]
        for what, value in (("asked", finding.asked), ("limit", finding.limit)):
            if value is not None and what not in UNTOLD.get(finding.name, ()):
                assert any(number == pytest.approx(value, rel=6e-3) for number in scaled), finding
