"""The lines of one rig entry: each kind once where once is due, nothing forgotten."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lark import Token

from seqlang.meaning.notes import Fault
from seqlang.meaning.values import Reading
from seqlang.text.findings import Fix, Span
from seqlang.text.syntax import Broken, Line, head_place, place

if TYPE_CHECKING:
    from collections.abc import Iterable

    from seqlang.text.units import Measure

ALIKE = {
    "cells": "source",
    "adapter": "source",
    "levers": "gear",
    "four_bar": "gear",
    "ram": "gear",
    "drum": "gear",
    "rack": "gear",
    "time_constant": "rotor",
    "stalls": "grips",
}
"""Grammar rules that state the same thing, by the question."""


def said_twice(first: str, second: str) -> str:
    """What is wrong with a second line; some lines state the same thing in other words."""
    if first == second:
        return f"`{second}` is stated twice"
    return f"`{first}` and `{second}` state the same thing"


class Sheet:
    """A rig entry (`servo jaw ...`) with its lines sorted by kind."""

    def __init__(self, reading: Reading, entry: Line, several: Iterable[str] = ()) -> None:
        self.reading = reading
        self.entry = entry
        self.broken = any(isinstance(item, Broken) for item in entry.items)
        """A line could not be read: what seems missing may stand in it."""
        self._lines: dict[str, list[Line]] = {}
        for line in entry.lines():
            kind = ALIKE.get(line.kind, line.kind)
            lines = self._lines.setdefault(kind, [])
            if lines and kind not in several:
                reading.error(
                    "duplicate-line",
                    said_twice(reading.text(lines[0].items[0]), reading.text(line.items[0])),
                    line,
                    related=((lines[0], "first stated here"),),
                    help="keep one of the two lines",
                    fix=reading.said_again(lines[0], line),
                )
                continue
            lines.append(line)

    @property
    def head(self) -> tuple[Token, Token]:
        """First and last token of the header line."""
        tokens = self.entry.tokens()
        return tokens[0], tokens[-1]

    def get(self, kind: str) -> Line | None:
        """The line of a kind, if there is one."""
        lines = self._lines.get(kind)
        return lines[0] if lines else None

    def all(self, kind: str) -> list[Line]:
        return self._lines.get(kind, [])

    def need(self, kind: str, example: str) -> Line:
        """The line of a kind, which must be there. Raises Fault."""
        line = self.get(kind)
        if line is None:
            if not self.broken:
                self.missing(kind, example)
            raise Fault
        return line

    def missing(self, kind: str, example: str) -> None:
        first, last = self.head
        what = self.reading.text(self.entry.items[0])
        name = f" `{self.entry.items[1]}`" if len(self.entry.tokens()) > 1 else ""
        self.reading.error(
            "missing-line",
            f"{what}{name} has no `{kind}` line",
            head_place(first, last),
            help=f"add one below it, such as `{example}`",
        )


def options(reading: Reading, line: Line) -> dict[str, Line | Token]:
    """The options after the fixed amounts of a line, by kind; one of a kind only.

    Bare keywords (`flat`, `crossed`, `solid`, `sinks`, `mixed with idle`) count as options by their
    first word.
    """
    found: dict[str, Line | Token] = {}
    for item in line.items[1:]:
        if isinstance(item, Line):
            kind = item.kind
        elif isinstance(item, Token) and item.type in (
            "FLAT",
            "CROSSED",
            "SOLID",
            "SINKS",
            "MIXED",
        ):
            kind = str(item).split()[0]
        else:
            continue
        if kind in found:
            said = reading.text(item.items[0]) if isinstance(item, Line) else item
            reading.error(
                "duplicate-line",
                f"`{said}` is stated twice",
                item,
                related=((found[kind], "first stated here"),),
                help="keep one of the two",
            )
            continue
        found[kind] = item
    return found


def without(reading: Reading, option: object) -> Fix:
    """The change that takes an option and the comma before it out of its line."""
    start, end = place(option)
    comma = reading.source.text.rindex(",", 0, start)
    spare = len(reading.source.text[:comma]) - len(reading.source.text[:comma].rstrip())
    return Fix(Span(reading.source.path, comma - spare, end), "")


def item_of(line: Line | None, index: int = 1) -> object:
    """An item of a line, for its place; None: there is no such line."""
    return None if line is None else line.items[index]


def changed_round(reading: Reading, line: Line, at: int = 1) -> Fix:
    """Two amounts of a line, the first of them its item `at`, in each other's place."""
    (one, first), (two, second) = (
        (reading.span(i), reading.text(i)) for i in line.items[at : at + 2]
    )
    return Fix(one, second, ((two, first),))


def single(
    reading: Reading,
    sheet: Sheet,
    kind: str,
    measure: Measure,
    low: float | None = None,
    above: float | None = None,
) -> float | None:
    """The amount of a line that has just one, in its SI unit; None where it is missing or wrong."""
    line = sheet.get(kind)
    if line is None:
        return None
    what = f"`{reading.text(line.items[0])}`"
    return reading.tried(reading.within, line.amount(1), measure, what, low, above=above)
