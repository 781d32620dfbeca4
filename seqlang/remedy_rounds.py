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
from typing import TYPE_CHECKING, Final

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.findings import Finding, applied
from seqlang.text.source import Source

if TYPE_CHECKING:
    from collections.abc import Sequence

    from seqlang.text.findings import Fix

MOST_CHANGES: Final = 1000
"""Remedies of one run; each may cost a whole check."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A remedy that passes, and the text with it. `line` counts from 1."""

    finding: Finding
    fix: Fix
    line: int
    before: tuple[str, ...]
    """The lines that change, as they are."""
    after: tuple[str, ...]
    text: str


class Rounds:
    """The remedies of a text, offered one by one; answer each with `take` or `leave`."""

    def __init__(self, path: str, text: str) -> None:
        self._path = path
        self.text = text
        self.changes = 0
        self.failing: list[Finding] = []
        """Findings whose remedy would leave an error: not offered."""
        self._answered: set[tuple[str, str, str]] = set()
        self._findings = self._of(text)

    def _of(self, text: str) -> tuple[tuple[Finding, ...], frozenset[int]]:
        loaded = load_text(Source(self._path, text))
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
        self.text = offer.text
        self.changes += 1
        self._findings = self._of(offer.text)

    def leave(self, offer: Offer) -> None:
        self._answered.add(self._key(offer.finding, offer.before))

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
            key = self._key(finding, made.before)
            if key in self._answered:
                continue
            if self._passes(finding, made.text):
                return made
            self._answered.add(key)
            self.failing.append(finding)
        return None

    def _key(self, finding: Finding, before: Sequence[str]) -> tuple[str, str, str]:
        return finding.name, finding.message, "\n".join(before)

    def _offer(self, finding: Finding, fix: Fix) -> Offer:
        source = Source(self._path, self.text)
        new = applied(self.text, fix)
        old_lines, new_lines = self.text.split("\n"), new.split("\n")
        spans = [span for span, _ in fix.places]
        first = source.line_number(spans[0].start) - 1
        last = source.line_number(max(span.end for span in spans)) - 1
        end = last + len(new_lines) - len(old_lines)
        before, after = old_lines[first : last + 1], new_lines[first : end + 1]
        if len(before) == len(after):  # lines between two places stay as they are
            pairs = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
            before, after = [a for a, _ in pairs], [b for _, b in pairs]
        return Offer(finding, fix, first + 1, tuple(before), tuple(after), new)

    def _passes(self, finding: Finding, text: str) -> bool:
        return passes(finding, *self._findings, *self._of(text))


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
