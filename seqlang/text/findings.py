"""Findings: what is wrong with a show, where, and what would pass.

Plain data; `seqlang.text.render` turns it into text or JSON. Wording: lower case, no full stop,
back-quotes round the user's words, the number with its limit and unit together; only `help`
says how to mend it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Callable

Severity: TypeAlias = Literal["error", "warning", "advice"]


@dataclass(frozen=True, slots=True)
class Span:
    """Part of a source file: `start` and `end` are character offsets, end exclusive.

    `trail`: how the text there came to mean what it means, where that is not said by the text
    alone: which call of a gesture, which side. It does not count when spans are compared.
    """

    path: str
    start: int
    end: int
    trail: tuple[Passage, ...] = field(default=(), compare=False)


@dataclass(frozen=True, slots=True)
class Passage:
    """One step of the way from a text to what it means there; the outermost step comes first.

    A gesture is written once and played in many places, a side is written once and stands for two:
    a finding in such a text shows its line, then each passage.
    """

    words: str
    """Such as `in the gesture `wave`, played here`, `on the left side`: what a marker says."""
    span: Span | None = None
    """Where it is written; None if the words say it all."""
    values: tuple[tuple[str, Span, str], ...] = ()
    """Names that stand for something else on each way, each with the place where that is said, and
    what must stand there before it: a change of what the name stands for is made there."""


@dataclass(frozen=True, slots=True)
class Fix:
    """Replacing the text at `span` by `text` makes the finding disappear.

    `more`: further places that must change with it, in the same way. No two places overlap.
    """

    span: Span
    text: str
    more: tuple[tuple[Span, str], ...] = ()
    bench: str = ""
    """What must be done to the rig itself with it, in words: a wire that moves to another pin."""

    @property
    def places(self) -> tuple[tuple[Span, str], ...]:
        """Every place with what belongs there, in the order of each text."""
        places = ((self.span, self.text), *self.more)
        return tuple(sorted(places, key=lambda one: (one[0].path, one[0].start)))

    @property
    def by_file(self) -> dict[str, Fix]:
        """The part of the change that each file has; most changes have one file only."""
        found: dict[str, list[tuple[Span, str]]] = {}
        for span, text in self.places:
            found.setdefault(span.path, []).append((span, text))
        return {
            path: Fix(*places[0], tuple(places[1:]), self.bench) for path, places in found.items()
        }


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

    @property
    def trail(self) -> tuple[Passage, ...]:
        """How its text came to mean what is found: that of its place."""
        return self.span.trail


def said_there(fix: Fix, trail: tuple[Passage, ...], named: Callable[[Span], str]) -> Fix:
    """A change of a name that stands for something on this way, made where that is said.

    `named`: the text at a place.
    """
    if fix.more or not trail:
        return fix
    name = named(fix.span)
    for known, span, before in trail[-1].values:
        if known == name and name:
            there = Fix(span, before + fix.text)
            return there if before else said_there(there, trail[:-1], named)
    return fix


def applied(text: str, fix: Fix) -> str:
    """A text (of the fix's one file) with a fix made in all its places."""
    for span, instead in reversed(fix.places):
        text = text[: span.start] + instead + text[span.end :]
    return text


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a domain value came from: its statement, and the parts a fix may replace.

    `parts` maps a part's name to its span; for a move: `target`, `duration`, `law`, `name`; the
    checker looks parts up by name and falls back to `span`. All of these spans have the same
    `trail`, so that a finding at any of them shows it.
    """

    span: Span
    parts: tuple[tuple[str, Span], ...] = ()

    @property
    def trail(self) -> tuple[Passage, ...]:
        """The way from the text to this value; empty for a value that the text says by itself."""
        return self.span.trail

    def part(self, name: str) -> Span:
        return next((span for key, span in self.parts if key == name), self.span)
