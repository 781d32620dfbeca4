"""Syntax errors in plain words, found by example.

Each entry of `EXAMPLES` pairs wrong texts with what to say about them. An error is explained by
the first entry one of whose texts fails in the same state of the parser at the same kind of
token; what no entry knows is explained from the tokens that could have come next.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from lark import UnexpectedInput

from seqlang.diagnostics import Finding, Span

if TYPE_CHECKING:
    from seqlang.source import Source


class Example(NamedTuple):
    """What to say about texts that fail like `wrong`."""

    message: str
    help: str
    wrong: tuple[str, ...]


EXAMPLES: Final[tuple[Example, ...]] = ()


def explain(error: UnexpectedInput, source: Source, line: int) -> Finding:
    """The finding for a syntax error in the line that starts at offset `line`."""
    start = error.pos_in_stream or 0
    expected = sorted(getattr(error, "expected", None) or getattr(error, "allowed", None) or ())
    return Finding("error", "syntax", f"expected {expected}", Span(source.path, start, start + 1))
