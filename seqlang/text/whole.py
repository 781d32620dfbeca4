"""A show's text as one, whatever files it stands in, and the way back from it to the files.

What an `include` brings stands in the whole text right behind its line. Reading works on the whole
text and knows of no files; what is told to anybody is located first.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from seqlang.text.findings import Fix, Origin, Span

if TYPE_CHECKING:
    from seqlang.text.findings import Finding, Passage
    from seqlang.text.source import Source


class FileStretch(NamedTuple):
    """A stretch of the whole text (`start` to `end`) that stands in a file from `at` on."""

    start: int
    end: int
    path: str
    at: int


@dataclass(frozen=True)
class WholeText:
    """The whole text, under the path of the main file; its stretches in order, without gaps."""

    source: Source
    files: Mapping[str, Source]
    """By path, in the order of reading: the main file first."""
    stretches: tuple[FileStretch, ...]

    @classmethod
    def of_one(cls, source: Source) -> WholeText:
        """The text of a show in one file."""
        return cls(source, {source.path: source}, ())

    @property
    def is_one_file(self) -> bool:
        return len(self.files) == 1

    @cached_property
    def _starts(self) -> list[int]:
        return [stretch.start for stretch in self.stretches]

    def span(self, start: int, end: int, trail: tuple[Passage, ...] = ()) -> Span:
        """A place of the whole text in its file. What goes beyond the file ends with it."""
        if self.is_one_file:
            return Span(self.source.path, start, end, trail)
        stretch = self.stretches[max(0, bisect_right(self._starts, start) - 1)]
        shift = stretch.at - stretch.start
        return Span(stretch.path, start + shift, max(start, min(end, stretch.end)) + shift, trail)

    def offset(self, path: str, offset: int) -> int | None:
        """Where a character of a file stands in the whole text; None if the file is not in it."""
        if self.is_one_file:
            return offset if path == self.source.path else None
        found = None
        for stretch in self.stretches:
            if stretch.path == path and stretch.at <= offset:
                found = min(offset - stretch.at + stretch.start, stretch.end)
        return found

    # -- from the whole text to its files -------------------------------------------------------

    def located(self, span: Span) -> Span:
        """A span of the whole text in its file, with its trail."""
        if self.is_one_file:
            return span
        trail = tuple(
            replace(
                way,
                span=None if way.span is None else self.located(way.span),
                values=tuple((name, self.located(at), said) for name, at, said in way.values),
            )
            for way in span.trail
        )
        return self.span(span.start, span.end, trail)

    def located_findings(self, findings: Iterable[Finding]) -> tuple[Finding, ...]:
        if self.is_one_file:
            return tuple(findings)
        return tuple(
            replace(
                finding,
                span=self.located(finding.span),
                related=tuple((self.located(span), words) for span, words in finding.related),
                fix=None if finding.fix is None else self._located_fix(finding.fix),
            )
            for finding in findings
        )

    def _located_fix(self, fix: Fix) -> Fix:
        more = tuple((self.located(span), text) for span, text in fix.more)
        return Fix(self.located(fix.span), fix.text, more)

    def located_origin(self, origin: Origin) -> Origin:
        if self.is_one_file:
            return origin
        parts = tuple((name, self.located(span)) for name, span in origin.parts)
        return Origin(self.located(origin.span), parts)

    def located_origins(self, origins: Mapping[int, Origin]) -> Mapping[int, Origin]:
        return origins if self.is_one_file else _LocatedOrigins(self, origins)


class _LocatedOrigins(Mapping[int, Origin]):
    """Origins in the files; each is located when it is asked for."""

    def __init__(self, whole: WholeText, origins: Mapping[int, Origin]) -> None:
        self._whole = whole
        self._origins = origins

    def __getitem__(self, mark: int) -> Origin:
        return self._whole.located_origin(self._origins[mark])

    def __iter__(self) -> Iterator[int]:
        return iter(self._origins)

    def __len__(self) -> int:
        return len(self._origins)
