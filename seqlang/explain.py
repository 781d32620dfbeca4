"""What each finding means, why it matters and what helps: `FINDINGS.md` as data.

The page is made from the checks' docstrings, `text/reading_kinds.py`, the cautions and the example
shows of the tests (`python -m tests.seqlang.findings_page`), and goes with the wheel. So the
command, the page and what programs get are the same words.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Final

PAGE: Final = "FINDINGS.md"

LABELS: Final = {
    "What is checked": "what",
    "Why": "why",
    "Example": "example",
    "Remedy": "remedy",
    "Source of the limit": "source",
}
"""The headings of an explanation on the page, and its fields."""


@dataclass(frozen=True, slots=True)
class Explanation:
    """One finding explained. What does not apply is empty.

    `finding` is the finding of the example as a check prints it; `change` the lines of the example
    that the remedy takes out (`-`) and puts in (`+`). `points`: what a caution asks to mind.
    """

    name: str
    subject: str
    title: str
    what: str = ""
    why: str = ""
    example: str = ""
    finding: str = ""
    remedy: str = ""
    change: str = ""
    source: str = ""
    points: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FindingSubject:
    """Findings of one subject, such as `supply`."""

    name: str
    title: str
    explanations: tuple[Explanation, ...]


@cache
def subjects() -> tuple[FindingSubject, ...]:
    """All findings by subject, as the page lists them."""
    return parse((files("seqlang") / PAGE).read_text(encoding="utf-8"))


def explanations() -> dict[str, Explanation]:
    """All explanations by the names of their findings."""
    return {one.name: one for subject in subjects() for one in subject.explanations}


_SUBJECT: Final = re.compile(r"^## ([a-z]+): (.*)$", re.MULTILINE)
_FINDING: Final = re.compile(r"^### `([a-z-]+)`\n\n(.*)\.$", re.MULTILINE)
_FIELD: Final = re.compile(r"^\*\*([A-Z][a-z ]+)\.\*\*(?: (.*))?$", re.MULTILINE)
_BLOCK: Final = re.compile(r"^```[a-z]*\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_POINT: Final = re.compile(r"^- (.*)\.$", re.MULTILINE)


def parse(page: str) -> tuple[FindingSubject, ...]:
    """The subjects and explanations of a page."""
    found = []
    for name, title, part in _parts(_SUBJECT, page):
        explained = (_explanation(name, *each) for each in _parts(_FINDING, part))
        found.append(FindingSubject(name, title, tuple(explained)))
    return tuple(found)


def _parts(heading: re.Pattern[str], text: str) -> list[tuple[str, str, str]]:
    """Both groups of each heading, and the text below it."""
    _, *rest = heading.split(text)
    return [(rest[at], rest[at + 1], rest[at + 2]) for at in range(0, len(rest), 3)]


def _explanation(subject: str, name: str, title: str, part: str) -> Explanation:
    fields = {}
    points: tuple[str, ...] = tuple(_POINT.findall(part)) if "**" not in part else ()
    for label, words, below in _parts(_FIELD, part):
        fields[LABELS[label]] = words or ""
        blocks = _BLOCK.findall(below)
        if blocks:
            fields[{"example": "finding", "remedy": "change"}[LABELS[label]]] = blocks[0]
    return Explanation(name, subject, title, points=points, **fields)
