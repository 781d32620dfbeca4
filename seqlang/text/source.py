"""Source text of a show, and places in it."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from seqlang.text.findings import Span


@dataclass(frozen=True)
class Source:
    """One file as text; offsets count characters from its start."""

    path: str
    text: str

    @cached_property
    def line_starts(self) -> list[int]:
        """Offset of the first character of each line."""
        starts, at = [0], self.text.find("\n")
        while at >= 0:
            starts.append(at + 1)
            at = self.text.find("\n", at + 1)
        return starts

    def line_number(self, offset: int) -> int:
        """Line of a character, counted from 1."""
        return bisect_right(self.line_starts, offset)

    def column_number(self, offset: int) -> int:
        """Place of a character in its line, counted from 1."""
        return offset - self.line_starts[self.line_number(offset) - 1] + 1

    def line_text(self, number: int) -> str:
        """A line (counted from 1) without its line end."""
        start = self.line_starts[number - 1]
        end = self.text.find("\n", start)
        return self.text[start : len(self.text) if end < 0 else end].rstrip("\r")

    def span(self, start: int, end: int) -> Span:
        return Span(self.path, start, end)


class Place(NamedTuple):
    """A stretch of the text by offsets, before anybody needs it as a `Span`."""

    start: int
    end: int
