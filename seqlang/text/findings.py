"""Findings: what is wrong with a show, where, and what would pass.

Plain data; `seqlang.text.render` turns it into text or JSON. Wording: lower case, no full stop,
back-quotes round the user's words, the number with its limit and unit together; only `help`
says how to mend it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

Severity: TypeAlias = Literal["error", "warning", "advice"]


@dataclass(frozen=True, slots=True)
class Span:
    """Part of a source file: `start` and `end` are character offsets, end exclusive."""

    path: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Fix:
    """Replacing the text at `span` by `text` makes the finding disappear.

    `more`: further places that must change with it, in the same way. No two places overlap.
    """

    span: Span
    text: str
    more: tuple[tuple[Span, str], ...] = ()

    @property
    def places(self) -> tuple[tuple[Span, str], ...]:
        """Every place with what belongs there, in the order of the text."""
        return tuple(sorted(((self.span, self.text), *self.more), key=lambda one: one[0].start))


@dataclass(frozen=True, slots=True)
class Finding:
    severity: Severity
    name: str
    """Stable, readable, named for the bad thing: `servo-speed`, `pin-clash`."""
    message: str
    span: Span
    label: str = ""
    """What the marker under the source line says."""
    related: tuple[tuple[Span, str], ...] = ()
    notes: tuple[str, ...] = ()
    help: str | None = None
    fix: Fix | None = None
    asked: float | None = None
    limit: float | None = None
    unit: str | None = None


def applied(text: str, fix: Fix) -> str:
    """A text (of the fix's one file) with a fix made in all its places."""
    for span, instead in reversed(fix.places):
        text = text[: span.start] + instead + text[span.end :]
    return text


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a domain value came from: its statement, and the parts a fix may replace.

    `parts` maps a part's name to its span; for a move: `target`, `duration`, `law`, `name`; the
    checker looks parts up by name and falls back to `span`.
    """

    span: Span
    parts: tuple[tuple[str, Span], ...] = ()

    def part(self, name: str) -> Span:
        return next((span for key, span in self.parts if key == name), self.span)
