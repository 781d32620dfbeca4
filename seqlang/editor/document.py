"""An open text as an editor sees it: lines, positions in its own units, and changes.

Lines end at `\\n`, `\\r\\n` or `\\r` and nowhere else (Language Server Protocol 3.17, Text
Documents); characters count in code units of the encoding that was agreed with the editor. Inside,
every line end is `\\n`, so that offsets are those of `seqlang.text`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal, NamedTuple, TypeAlias

from seqlang.text.source import Source

if TYPE_CHECKING:
    from collections.abc import Sequence

Encoding: TypeAlias = Literal["utf-8", "utf-16", "utf-32"]

_LINE_END = re.compile(r"\r\n|\r|\n")


class EditorPlace(NamedTuple):
    """A place as the protocol gives it: line and code units before it, both from 0."""

    line: int
    character: int


class Change(NamedTuple):
    """New text between two places; without places, in the stead of everything."""

    text: str
    start: EditorPlace | None = None
    end: EditorPlace | None = None


@dataclass(frozen=True)
class Document:
    """One version of a text."""

    path: str
    lines: Sequence[str]
    version: int = 0
    encoding: Encoding = "utf-16"
    line_end: str = "\n"
    """As the file came; text for the editor is written with it."""

    @classmethod
    def of(cls, path: str, text: str, version: int = 0, encoding: Encoding = "utf-16") -> Document:
        found = _LINE_END.search(text)
        lines = _LINE_END.split(text.removeprefix("\ufeff"))
        return cls(path, lines, version, encoding, found[0] if found else "\n")

    @cached_property
    def source(self) -> Source:
        """The text as the language takes it, with a line end at its end."""
        text = "\n".join(self.lines).replace("\0", "\ufffd")  # which a file cannot hold either
        return Source(self.path, text if text.endswith("\n") else text + "\n")

    def changed(self, changes: Sequence[Change], version: int) -> Document:
        """The next version. A place outside the text counts as the nearest one in it."""
        lines = list(self.lines)
        for change in changes:
            if change.start is None or change.end is None:
                lines = _LINE_END.split(change.text)
                continue
            first, column = self._inside(lines, change.start)
            last, end = self._inside(lines, change.end)
            if (last, end) < (first, column):
                (first, column), (last, end) = (last, end), (first, column)
            whole = lines[first][:column] + change.text + lines[last][end:]
            lines[first : last + 1] = _LINE_END.split(whole)
        return replace(self, lines=lines, version=version)

    def _inside(self, lines: Sequence[str], place: EditorPlace) -> tuple[int, int]:
        """Line and column in characters; inside a pair of code units: before the character."""
        if place.line >= len(lines):
            return len(lines) - 1, len(lines[-1])
        number = max(0, place.line)
        return number, _column(lines[number], max(0, place.character), self.encoding)

    def offset(self, place: EditorPlace) -> int:
        """Characters before a place in `source.text`."""
        number, column = self._inside(self.lines, place)
        return self.source.line_starts[number] + column

    def place(self, offset: int) -> EditorPlace:
        """Where a character of `source.text` stands."""
        offset = min(max(0, offset), len(self.source.text))
        number = self.source.line_number(offset) - 1
        if number >= len(self.lines):  # behind the line end that `source` has added
            number = len(self.lines) - 1
            return EditorPlace(number, units(self.lines[number], self.encoding))
        column = offset - self.source.line_starts[number]
        return EditorPlace(number, units(self.lines[number][:column], self.encoding))


def units(text: str, encoding: Encoding) -> int:
    """Code units that a text takes."""
    if text.isascii() or encoding == "utf-32":
        return len(text)
    if encoding == "utf-8":
        return len(text.encode("utf-8", "surrogatepass"))
    return len(text) + sum(letter > "\uffff" for letter in text)


def _column(line: str, character: int, encoding: Encoding) -> int:
    """Characters before a place that is told in code units."""
    if line.isascii() or encoding == "utf-32":
        return min(character, len(line))
    taken = 0
    for column, letter in enumerate(line):
        taken += units(letter, encoding)
        if taken > character:
            return column
    return len(line)
