"""Who is who among things that are described once.

What stands below `mirror left, right` exists on both sides; what stands below `row of 5` exists
five times. A servo `feather` in a row of a mirrored side makes a family of ten. A name tells which
of them are meant: `left_feather_3`, `left_feather` (that row), `feather_3` (on both sides) and
`feather` (all). Only the longest form names a thing by itself; it is the name that everybody else
gets to see.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from lark import Token

from seqlang.text.names import MOST_IN_ROW
from seqlang.text.occurrences import places_in
from seqlang.text.syntax import CueText, GestureText, Line

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from seqlang.text.names import MOST_IN_ROW
from seqlang.text.occurrences import Named

Sides = tuple[str, ...]
"""The two sides of a mirror, the one that is written first; empty for what is not mirrored."""


class Family(NamedTuple):
    """Things of one description."""

    named: Named
    base: Token
    """The name as it is written."""
    sides: Sides
    row: int
    """Which of the text's rows they stand in, counted from 0; -1 for none."""
    size: int
    """How many of them stand in a row; 0 for what stands in none."""


class Member(NamedTuple):
    """What a name means: one thing of a family, or those of a side, or of a place in the row."""

    family: Family
    side: str | None
    item: int | None

    @property
    def is_single(self) -> bool:
        """Whether it is one thing."""
        family = self.family
        return bool(self.side) == bool(family.sides) and bool(self.item) == bool(family.size)


def spelled(base: str, side: str | None, item: int | None) -> str:
    """The name of a thing, or of several things, of a family."""
    return "_".join([*([side] if side else []), base, *([str(item)] if item else [])])


def sides_of(mirror: Line) -> Sides:
    return str(mirror.token(1)), str(mirror.token(2))


def row_count(row: Line) -> int:
    """How many things are in a row; 0 where that is not within its limits."""
    number = str(row.token(1))
    most = MOST_IN_ROW
    return int(number) if number.isdecimal() and 2 <= min(int(number), most + 1) <= most else 0


def families(items: Iterable[object]) -> Iterator[Family]:
    """Every family of a text's top-level items, in the order of the text."""
    rows = 0
    for item in items:
        if not isinstance(item, Line) or item.kind not in ("mirror", "row"):
            continue
        sides = sides_of(item) if item.kind == "mirror" else ()
        if item.kind == "row":
            yield from _in_row(item, sides, rows)
            rows += 1
            continue
        yield from families_of(item, sides, -1, 0)
        for row in item.lines():
            if row.kind == "row":
                yield from _in_row(row, sides, rows)
                rows += 1


def _in_row(row: Line, sides: Sides, number: int) -> Iterator[Family]:
    count = row_count(row)
    return families_of(row, sides, number, count) if count else iter(())


def families_of(block: Line, sides: Sides, row: int, count: int) -> Iterator[Family]:
    """The families whose things are described in a block."""
    for entry in block.items:
        if isinstance(entry, CueText):
            yield Family("cue", entry.name, sides, row, count)
        elif isinstance(entry, GestureText):
            yield Family("gesture", entry.name, sides, row, count)
        elif isinstance(entry, Line) and entry.kind != "row":
            for index, (named, declares) in places_in(entry).items():
                if declares and isinstance(entry.items[index], Token):
                    yield Family(named, entry.token(index), sides, row, count)


def row_sizes(items: Iterable[object]) -> dict[int, int]:
    """How many things are in each row of a text."""
    rows = (
        row
        for item in items
        if isinstance(item, Line) and item.kind in ("mirror", "row")
        for row in ((item,) if item.kind == "row" else item.lines())
        if row.kind == "row"
    )
    return {number: row_count(row) for number, row in enumerate(rows)}


def members(found: Iterable[Family]) -> dict[Named, dict[str, Member]]:
    """What each name of a family means, by what it names; the first family of a name."""
    known: dict[Named, dict[str, Member]] = {}
    for family in found:
        names = known.setdefault(family.named, {})
        for side in (None, *family.sides):
            for item in (None, *range(1, family.size + 1)):
                name = spelled(str(family.base), side, item)
                names.setdefault(name, Member(family, side, item))
    return known


def names_of(member: Member) -> Iterator[str]:
    """The names of the single things that a name stands for."""
    family = member.family
    for side in (member.side,) if member.side else family.sides or (None,):
        for item in (member.item,) if member.item else range(1, family.size + 1) or (None,):
            yield spelled(str(family.base), side, item)


def told_as(members_: Mapping[Named, Mapping[str, Member]]) -> dict[str, str]:
    """The family's name for each name of a single thing."""
    return {
        name: str(member.family.base)
        for names in members_.values()
        for name, member in names.items()
        if member.is_single
    }
