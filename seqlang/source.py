"""Source text of a show, and where the values made from it came from."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from seqlang.diagnostics import Origin, Span

if TYPE_CHECKING:
    from collections.abc import Callable


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


Parts = tuple[tuple[str, Place], ...]


class Origins(Mapping[int, Origin]):
    """Origins by mark. A mark costs one list entry; its spans are made when asked for.

    Most values of a show are never at fault, so their spans are never made.
    """

    def __init__(self, path: str) -> None:
        self._path = path
        self._makers: list[tuple[Callable[..., tuple[Place, Parts]], tuple[object, ...]]] = []

    def mark(self, maker: Callable[..., tuple[Place, Parts]], *material: object) -> int:
        """A new mark whose origin is `maker(*material)`: the statement's place and its parts."""
        self._makers.append((maker, material))
        return len(self._makers) - 1

    def __getitem__(self, mark: int) -> Origin:
        if not 0 <= mark < len(self._makers):
            raise KeyError(mark)
        maker, material = self._makers[mark]
        whole, parts = maker(*material)
        return Origin(
            Span(self._path, *whole), tuple((name, Span(self._path, *at)) for name, at in parts)
        )

    def __iter__(self) -> Iterator[int]:
        return iter(range(len(self._makers)))

    def __len__(self) -> int:
        return len(self._makers)
