"""The statements at the left margin, each read by itself; those that an edit left alone, again.

Where such a statement stands changes nothing about what it says, only its tokens' offsets.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, TypeVar, cast

from lark import TextSlice, Token

if TYPE_CHECKING:
    from lark import Lark

    from seqlang.text.syntax import TopLine

T = TypeVar("T")


def pieces_of(text: str) -> list[tuple[int, int]]:
    """Start and end of each top-level statement with its block."""
    starts = [match.start() for match in re.finditer(r"^[^ \t\n#]", text, re.MULTILINE)]
    if not starts or starts[0] != 0:
        starts.insert(0, 0)
    return list(zip(starts, [*starts[1:], len(text)], strict=True))


class ReadPieces:
    """What was read of one text, for reading its next version. Of older versions nothing stays."""

    def __init__(self) -> None:
        self._now: dict[str, tuple[int, list[TopLine]]] = {}
        self._before = self._now

    def turn(self) -> None:
        """The text's next version begins."""
        self._before, self._now = self._now, {}

    def all(self, parser: Lark, text: str) -> list[TopLine]:
        """The items of a whole text. Raises lark's UnexpectedInput."""
        cut = pieces_of(text)
        return [item for start, end in cut for item in self.piece(parser, text, start, end)]

    def piece(self, parser: Lark, text: str, start: int, end: int) -> list[TopLine]:
        """The items between two offsets of a text. Raises lark's UnexpectedInput."""
        words = text[start:end]
        known = self._now.get(words) or self._before.get(words)
        if known is None:
            items = cast("list[TopLine]", parser.parse(TextSlice(text, start, end)))
        else:
            items = (
                known[1] if known[0] == start else [shifted(i, start - known[0]) for i in known[1]]
            )
        self._now[words] = (start, items)
        return items


def shifted(node: T, by: int) -> T:
    """A piece of a syntax tree whose text stands `by` characters further on."""
    if isinstance(node, Token):
        start, end = (node.start_pos or 0) + by, (node.end_pos or 0) + by
        return cast("T", Token(node.type, node, start, None, None, None, None, end))
    if not isinstance(node, tuple):
        return node
    parts = [shifted(part, by) for part in node]
    make = getattr(node, "_make", tuple)
    return cast("T", make(parts))
