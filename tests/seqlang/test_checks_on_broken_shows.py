"""Each small broken show gives its finding, in the words its header quotes, and its fix passes.

A show's header says what it must give:

    # finds: servo-speed         its findings; advice only where it is meant
    # says: ...                  part of the message of the first of them
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from seqlang.check import check
from seqlang.load import load

SHOWS = sorted((Path(__file__).parent / "findings").glob("*.cues"))


def header(text: str, key: str) -> str:
    found = re.search(rf"^# {key}: (.*)$", text, re.MULTILINE)
    assert found is not None, f"the show has no `# {key}:` line"
    return found[1]


def findings_of(path: Path):
    return [f for f in check(load(path)).findings if not f.name.startswith("caution-")]


@pytest.fixture(params=SHOWS, ids=lambda path: path.stem)
def broken(request: pytest.FixtureRequest) -> Path:
    return request.param


def test_a_broken_show_gives_just_its_findings_in_the_quoted_words(broken: Path) -> None:
    text = broken.read_text()
    found = findings_of(broken)
    meant = header(text, "finds").split(", ")
    given = {f.name for f in found if f.severity != "advice" or f.name in meant}
    assert sorted(given) == sorted(meant), found
    name = meant[0]
    messages = [f.message for f in found if f.name == name]
    assert any(header(text, "says") in message for message in messages), messages


def test_every_finding_points_into_the_text(broken: Path) -> None:
    text = broken.read_text()
    for finding in findings_of(broken):
        spans = [finding.span, *(span for span, _ in finding.related)]
        for span in spans:
            assert span.path == str(broken), finding
            assert 0 <= span.start < span.end <= len(text), finding
        assert "\n" not in text[finding.span.start : finding.span.end]


def test_applying_a_fix_makes_its_finding_disappear(broken: Path, tmp_path: Path) -> None:
    text = broken.read_text()
    for finding in findings_of(broken):
        if finding.fix is None:
            continue
        start, end = finding.fix.span.start, finding.fix.span.end
        mended = tmp_path / broken.name
        mended.write_text(text[:start] + finding.fix.text + text[end:])
        left = findings_of(mended)
        assert (finding.name, finding.message) not in {(f.name, f.message) for f in left}
        before = {f.name for f in findings_of(broken)} - {finding.name}
        new = [f for f in left if f.severity != "advice" and f.name not in before]
        assert not new, new


def test_no_message_shows_a_number_with_an_exponent(broken: Path) -> None:
    for finding in findings_of(broken):
        words = " ".join([finding.message, finding.label, finding.help or "", *finding.notes])
        assert not re.search(r"\d[eE][-+]?\d", words), words
        assert "nan" not in words.split()
