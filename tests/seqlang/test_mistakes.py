"""Hundreds of mistakes: each answered at the right place, in the right words, by what passes.

The tables in `mistakes/` hold one wrong line each: a spreadsheet's, another language's, a phone's,
a hurried hand's. Whoever changes an answer reads it there as the maker would.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.findings import Finding, applied
from seqlang.text.source import Source
from tests.seqlang.inside_names import of_the_grammar, shown_in
from tests.seqlang.mistakes.base import LINES, LIVE, NAMES, show_of, with_line

TABLES = sorted((Path(__file__).parent / "mistakes").glob("*.txt"))
OPEN, CLOSE = "\u27e6", "\u27e7"


class Mistake(NamedTuple):
    """A wrong line in the place of the one called `line`; `right` None: nothing is proposed."""

    line: str
    marked: str
    says: str
    help: str
    right: str | None

    @property
    def wrong(self) -> str:
        return self.marked.replace(OPEN, "").replace(CLOSE, "")


def read(path: Path) -> list[Mistake]:
    found = []
    for record in path.read_text(encoding="utf-8").split("\n\n")[1:]:
        first, *rest = record.rstrip("\n").split("\n")
        line, _, marked = first.partition(": ")
        fields: dict[str, list[str]] = {}
        for words in rest:
            fields.setdefault(words[4:8].strip(), []).append(words[9:])
        right = [*fields.get("pass", []), *fields.get("and", [])]
        help_ = "".join(fields.get("help", []))
        found.append(
            Mistake(line, marked, fields["says"][0], help_, "\n".join(right) if right else None)
        )
    return found


ALL = [mistake for path in TABLES for mistake in read(path)]


@cache
def errors(text: str) -> tuple[Finding, ...]:
    found = check(load_text(Source("test.cues", text))).findings
    return tuple(one for one in found if one.severity == "error")


def answer(mistake: Mistake) -> tuple[str, Finding]:
    text = with_line(mistake.line, mistake.wrong)
    (found,) = (f for f in load_text(Source("test.cues", text)).findings if f.severity == "error")
    return text, found


def test_there_are_hundreds_of_mistakes_and_none_stands_twice() -> None:
    assert len({(mistake.line, mistake.wrong) for mistake in ALL}) == len(ALL)
    assert len(ALL) >= 1400
    assert sum(mistake.right is not None for mistake in ALL) >= 600


@pytest.mark.parametrize("lines", [LINES, LIVE], ids=["cues", "live"])
def test_the_show_without_a_mistake_has_no_error(lines: tuple[tuple[str, str], ...]) -> None:
    name, line = lines[0]
    assert errors(with_line(name, line)) == ()


def test_no_two_lines_of_both_shows_share_a_name() -> None:
    assert len(NAMES) == len(LINES) + len(LIVE)


@pytest.mark.parametrize("mistake", ALL, ids=lambda one: f"{one.line}: {one.wrong}")
def test_a_mistake_is_answered_once_at_its_place_with_what_passes(mistake: Mistake) -> None:
    text, found = answer(mistake)
    assert found.message.startswith(mistake.says)
    assert (found.help or "").startswith(mistake.help)
    start = text.index(mistake.wrong, _start(mistake))
    marked = mistake.marked
    begin = start + marked.index(OPEN)
    end = start + marked.index(CLOSE) - 1
    assert (found.span.start, found.span.end) == (begin, end)
    if mistake.right is None:
        assert found.fix is None
        return
    assert found.fix is not None
    mended = applied(text, found.fix)
    assert mended == with_line(mistake.line, mistake.right)
    assert errors(mended) == ()


def _start(mistake: Mistake) -> int:
    """Where the line begins in the show."""
    before = 0
    for name, line in show_of(mistake.line):
        if name == mistake.line:
            return before
        before += len(line) + 1
    raise AssertionError(mistake.line)


@pytest.mark.parametrize(
    ("line", "header"),
    [
        ("voice", "sensor: hub pin PF0"),
        ("stick", "channel 1: hub pin PL0"),
        ("beak", "servo 3: hub pin PA2"),
        ("nod", "cue 7"),
    ],
)
def test_a_thing_whose_name_was_lost_is_not_missed_where_it_is_used(line: str, header: str) -> None:
    found = load_text(Source("test.cues", with_line(line, header))).findings
    assert [one.name for one in found if one.severity == "error"] == ["syntax"]


def test_beside_a_header_without_a_name_a_name_of_another_kind_is_missed() -> None:
    text = with_line("voice", "sensor: hub pin PF0").replace("paw to 40", "pow to 40")
    found = load_text(Source("test.cues", text)).findings
    names = sorted(one.name for one in found if one.severity == "error")
    assert names == ["syntax", "unknown-name"]


def test_no_answer_shows_a_name_from_inside_the_program() -> None:
    """Tokens of the grammar have names of their own, which nobody writes into a show."""
    inside = of_the_grammar() | {"multiply"}
    said = set()
    for mistake in ALL:
        _, found = answer(mistake)
        said |= {found.message, found.help or "", found.label, *found.notes}
        if found.fix is not None:
            said.add(found.fix.text)
    for words in said:
        assert not shown_in(words) & inside, words
        assert "due here" not in words


def test_a_line_with_very_many_strands_of_idle_is_answered() -> None:
    """Words that begin like `go` can be read in two ways each: that must not be tried out."""
    text = with_line("idle", "idle: " + "gone, " * 48 + "!")
    assert any(found.severity == "error" for found in load_text(Source("t.cues", text)).findings)
