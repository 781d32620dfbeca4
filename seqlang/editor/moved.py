"""From an older text to a newer one: where findings stand now, and which lines have changed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from itertools import accumulate
from typing import TYPE_CHECKING, Final

from seqlang.text.findings import Finding, Fix, Span

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator


@dataclass(frozen=True, slots=True)
class _Edit:
    """The stretch of the old text between what begins and what ends both texts alike."""

    start: int
    end: int
    grown: int
    path: str | None

    def moved(self, span: Span) -> Span | None:
        """The span in the new text; None if its words have changed."""
        if self.path not in (None, span.path) or span.end <= self.start:
            return span
        if span.start >= self.end:
            return replace(span, start=span.start + self.grown, end=span.end + self.grown)
        return None

    def moved_with_trail(self, span: Span) -> Span | None:
        """The same; None as well if the way that led there has changed."""
        moved = self.moved(span)
        if moved is None or not span.trail:
            return moved
        ways = []
        for way in span.trail:
            place = None if way.span is None else self.moved(way.span)
            if place is None and way.span is not None:
                return None
            ways.append(replace(way, span=place))
        return replace(moved, trail=tuple(ways))


def moved_along(
    findings: Iterable[Finding], old: str, new: str, path: str | None = None
) -> Iterator[Finding]:
    """The findings about words that both texts have, in the places of the new one.

    `path`: that of the text, where findings have places in other texts as well.
    """
    start = _alike(old, new, min(len(old), len(new)))
    most = min(len(old), len(new)) - start
    ends = _alike(old[::-1], new[::-1], most)
    edit = _Edit(start, len(old) - ends, len(new) - len(old), path)
    for finding in findings:
        span = edit.moved_with_trail(finding.span)
        if span is None:
            continue
        related = ((edit.moved(place), label) for place, label in finding.related)
        yield replace(
            finding,
            span=span,
            related=tuple((place, label) for place, label in related if place is not None),
            fix=None if finding.fix is None else _moved_fix(edit, finding.fix),
        )


def _alike(one: str, other: str, most: int) -> int:
    """Characters that two texts begin with alike, `most` at most."""
    low, high = 0, most
    while low < high:
        middle = (low + high + 1) // 2
        if one[low:middle] == other[low:middle]:
            low = middle
        else:
            high = middle - 1
    return low


def _moved_fix(edit: _Edit, fix: Fix) -> Fix | None:
    places = [(edit.moved(span), text) for span, text in fix.places]
    kept = [(span, text) for span, text in places if span is not None]
    if len(kept) < len(places):
        return None
    return Fix(*kept[0], tuple(kept[1:]), fix.bench)


MOST_COMPARED: Final = 20_000
"""Lines of two texts that are compared line by line."""


def line_changes(old: str, new: str) -> Iterator[tuple[int, int, str]]:
    """What turns one text into the other: stretches of whole lines and what stands there then."""
    before, after = old.splitlines(keepends=True), new.splitlines(keepends=True)
    if old == new:
        return
    if len(before) + len(after) > MOST_COMPARED:
        yield 0, len(old), new
        return
    starts = [0, *accumulate(map(len, before))]
    for kind, first, last, start, end in SequenceMatcher(None, before, after).get_opcodes():
        if kind != "equal":
            yield starts[first], starts[last], "".join(after[start:end])
