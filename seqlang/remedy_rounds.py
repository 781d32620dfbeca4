"""Remedies one after another: each is tried on the whole show before it is offered.

A remedy is offered only if the show, checked with it, has lost its finding and gained no error.
What was offered and accepted changes the text; then everything is asked of the new text, until
nothing is left that has not been answered. While a line cannot be read, only what mends such lines
is offered: the rest was worked out without them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Final

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.findings import Finding, applied
from seqlang.text.included import plain_file, real_path
from seqlang.text.source import Source

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from seqlang.text.findings import Fix

MOST_CHANGES: Final = 1000
"""Remedies of one run; each may cost a whole check."""


@dataclass(frozen=True, slots=True)
class FileChange:
    """What a remedy changes in one file. `line` counts from 1."""

    path: str
    line: int
    before: tuple[str, ...]
    """The lines that change, as they are."""
    after: tuple[str, ...]
    text: str
    """The whole file with the remedy."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A remedy that passes, and what it changes in each file that it touches."""

    finding: Finding
    fix: Fix
    changes: tuple[FileChange, ...]


class Rounds:
    """The remedies of a show, offered one by one; answer each with `take` or `leave`."""

    def __init__(self, path: str, text: str) -> None:
        self._path = path
        self.texts = {path: text}
        """The main file, and what has been changed of the files that it includes."""
        self.changes = 0
        self.failing: list[Finding] = []
        """Findings whose remedy would leave an error: not offered."""
        self._answered: set[tuple[str, str, str]] = set()
        self.sources: Mapping[str, Source] = {}
        """All files as they stand, by path."""
        self._findings = self._of(self.texts)

    @property
    def text(self) -> str:
        """The main file as it stands."""
        return self.texts[self._path]

    def _of(self, texts: Mapping[str, str]) -> tuple[tuple[Finding, ...], frozenset[int]]:
        loaded = load_text(Source(self._path, texts[self._path]), partial(changed_file, texts))
        if texts is self.texts:
            self.sources = loaded.sources
        reading = frozenset(map(id, loaded.findings))
        return check(loaded).findings, reading

    def offers(self) -> Iterator[Offer]:
        """What passes, the text's first remedy first, of the text as it stands at each time."""
        while self.changes < MOST_CHANGES:
            offer = self._next()
            if offer is None:
                return
            yield offer

    def take(self, offer: Offer) -> None:
        self.texts = self._with(offer)
        self.changes += 1
        self._findings = self._of(self.texts)

    def leave(self, offer: Offer) -> None:
        self._answered.add(self._key(offer))

    def _with(self, offer: Offer) -> dict[str, str]:
        return {**self.texts, **{one.path: one.text for one in offer.changes}}

    @property
    def waiting(self) -> int:
        """Remedies that are not offered because something of the text cannot be read."""
        findings, _ = self._findings
        return sum(f.fix is not None and not self._is_due(f) for f in findings)

    def _is_due(self, finding: Finding) -> bool:
        """Whether its remedy can be offered now: what was found beside an error of reading may be
        wrong."""
        findings, reading = self._findings
        unread = any(id(f) in reading and f.severity == "error" for f in findings)
        return not unread or (id(finding) in reading and finding.severity == "error")

    def _next(self) -> Offer | None:
        findings, _ = self._findings
        for finding in findings:
            if finding.fix is None or not self._is_due(finding):
                continue
            made = self._offer(finding, finding.fix)
            key = self._key(made)
            if key in self._answered:
                continue
            if self._passes(finding, self._with(made)):
                return made
            self._answered.add(key)
            self.failing.append(finding)
        return None

    def _key(self, offer: Offer) -> tuple[str, str, str]:
        before = "\n".join(line for one in offer.changes for line in one.before)
        return offer.finding.name, offer.finding.message, before

    def _offer(self, finding: Finding, fix: Fix) -> Offer:
        changes = (file_change(self.sources[path], part) for path, part in fix.by_file.items())
        return Offer(finding, fix, tuple(changes))

    def _passes(self, finding: Finding, texts: Mapping[str, str]) -> bool:
        return passes(finding, *self._findings, *self._of(texts))


def file_change(source: Source, fix: Fix) -> FileChange:
    """What a remedy changes in its one file."""
    new = applied(source.text, fix)
    old_lines, new_lines = source.text.split("\n"), new.split("\n")
    spans = [span for span, _ in fix.places]
    first = source.line_number(spans[0].start) - 1
    last = source.line_number(max(span.end for span in spans)) - 1
    end = last + len(new_lines) - len(old_lines)
    before, after = old_lines[first : last + 1], new_lines[first : end + 1]
    if len(before) == len(after):  # lines between two places stay as they are
        pairs = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
        before, after = [a for a, _ in pairs], [b for _, b in pairs]
    return FileChange(source.path, first + 1, tuple(before), tuple(after), new)


def changed_file(texts: Mapping[str, str], path: Path) -> bytes:
    """An included file as it has become, or as it lies on the disk. Raises OSError."""
    changed = next((text for name, text in texts.items() if real_path(name) == path), None)
    return plain_file(path) if changed is None else changed.encode("utf-8")


def passes(
    finding: Finding,
    findings: Sequence[Finding],
    reading: frozenset[int],
    after: Sequence[Finding],
    reading_after: frozenset[int],
) -> bool:
    """Whether a finding is gone with its remedy, and no error came.

    `findings` and `after`: all of the show before and with the remedy; those of reading it have
    their `id` in `reading` and `reading_after`. A line that could not be read may show errors of
    its own once it can: those of checks, which could not look at it before, and those of reading in
    other lines.
    """
    old, new = _counted(findings), _counted(after)
    key = (finding.name, finding.message)
    if new[key] >= old[key]:
        return False
    came = [f for f in after if f.severity == "error" and (f.name, f.message) not in old]
    if id(finding) not in reading:
        return not came
    return not any(id(f) in reading_after and f.name == finding.name for f in came)


def _counted(findings: Sequence[Finding]) -> Counter[tuple[str, str]]:
    return Counter((finding.name, finding.message) for finding in findings)
