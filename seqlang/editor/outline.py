"""What a show consists of, as a tree of headings for the editor's outline."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from lark import Token

from seqlang.text.syntax import Broken, CueText, GestureText, Line, end_of, start_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator


class Heading(NamedTuple):
    """A statement at the left margin: its kind (`servo`, `cue`), name, and where both stand."""

    kind: str
    name: str
    detail: str
    start: int
    end: int
    name_start: int
    name_end: int
    children: tuple[Heading, ...] = ()
    """What is described below it, each once."""


def headings(items: Iterable[object]) -> Iterator[Heading]:
    for item in items:
        if isinstance(item, Broken) or not isinstance(item, Line | CueText | GestureText):
            continue
        if isinstance(item, CueText):
            kind, named = "cue", item.name
            detail = "" if item.title is None else str(item.title)[1:-1]
        elif isinstance(item, GestureText):
            kind, named = "gesture", item.name
            detail = ", ".join(str(line.items[0]) for line in item.parameters)
        else:
            kind, detail = item.kind, ""
            named = _naming_token(item)
        start, end = named.start_pos or 0, named.end_pos or 0
        name, inner = str(named).strip('"'), tuple[Heading, ...]()
        if isinstance(item, Line) and item.kind in ("mirror", "row"):
            words = ", ".join(item.tokens()[1:])
            name = f"mirror {words}" if kind == "mirror" else f"row of {words}"
            inner = tuple(headings(item.items))
        place = start_of(item), end_of(item)
        yield Heading(kind, name, detail, *place, start, end, inner)


def _naming_token(line: Line) -> Token:
    """The word that tells a line from others of its kind; its first where there is none."""
    tokens = line.tokens()
    if line.kind == "pose":
        return tokens[-1]
    if line.kind in ("usage", "remote", "wearer") or len(tokens) < 2:
        return tokens[0]
    return tokens[1]
