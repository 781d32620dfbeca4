"""Text to syntax tree, with every syntax error of the file in one run."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, cast

from lark import UnexpectedInput

from seqlang.text.grammar import parser

if TYPE_CHECKING:
    from seqlang.text.findings import Finding
    from seqlang.text.pieces import ReadPieces
    from seqlang.text.source import Source
    from seqlang.text.syntax import TopLine


class Parsed(NamedTuple):
    """A show's syntax, as far as it could be read."""

    items: list[TopLine]
    findings: list[Finding]
    lost_names: frozenset[str]
    """Names that broken lines would have declared."""


def parse(source: Source, pieces: ReadPieces | None = None) -> Parsed:
    """The items of a show and its syntax errors; lines that cannot be read become `Broken`.

    `pieces`: what was read of the text's last version, if there was one; it is brought up to date.
    """
    try:
        if pieces is None:
            return Parsed(cast("list[TopLine]", parser().parse(source.text)), [], frozenset())
        pieces.turn()
        return Parsed(pieces.all(parser(), source.text), [], frozenset())
    except UnexpectedInput:
        from seqlang.text.recover import recovered

        found = recovered(source, parser(), pieces)
        return Parsed(found.items, found.findings, frozenset(found.lost_names))
