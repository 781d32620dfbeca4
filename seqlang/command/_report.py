"""What `bellcrank check` prints: on one screen what a person needs, in full what is asked for.

From top to bottom: the cautions, a line each; advice; how hard the rig is worked; warnings; errors,
which so stand where a terminal is read; the count. Only advice and the easy rows of a table give
way to a small screen: a warning or an error is never left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TextIO, TypeAlias

from seqlang.command._summary import servo_table, supply_table
from seqlang.text.render import (
    FEWEST_LINES,
    columns_of,
    heads,
    in_order,
    is_caution,
    lines_of,
    text,
    wants_colour,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from seqlang.check import Checked
    from seqlang.loading import Loaded
    from seqlang.text.findings import Finding

Detail: TypeAlias = Literal["quiet", "usual", "all"]
"""`quiet`: cautions and errors. `usual`: what fits a screen. `all`: everything in full."""

MOST_ADVICE: Final = 3
"""Pieces of advice that are shown without `--all`; beside warnings they are only counted."""
FEWEST_ROWS: Final = 2
"""Rows of a table that are shown on however small a screen: the hardest, and how many more."""
_PROMPTS: Final = 3
"""Lines of a screen for the command, the count and the next prompt."""

CAUTIONS: Final = "cautions, in full with `bellcrank explain cautions`:"
ADVICE: Final = "advice, in full with `--all`:"


@dataclass(frozen=True, slots=True)
class Screen:
    """Where a report is read: `columns` None is no terminal, where lines are not broken."""

    columns: int | None = None
    lines: int = FEWEST_LINES
    colour: bool = False

    @classmethod
    def of(cls, stream: TextIO) -> Screen:
        return cls(columns_of(stream), lines_of(stream), wants_colour(stream))


def report(loaded: Loaded, checked: Checked, detail: Detail, screen: Screen) -> str:
    """The findings and, if the show passes, how hard it works the rig; no count."""
    if detail == "all":
        return _all(loaded, checked, screen)
    found = checked.findings
    cautions = [finding for finding in found if is_caution(finding)]
    parts = [CAUTIONS + "\n" + _heads(cautions, loaded, screen)] if cautions else []
    errors = [finding for finding in found if finding.severity == "error"]
    if detail == "usual" and checked.failed:
        parts += _beside_errors(loaded, checked, screen)
    elif detail == "usual":
        parts = _passing(loaded, checked, screen, parts)
    if errors:
        parts.append(_full(errors, loaded, screen))
    return "\n".join(parts)


def _beside_errors(loaded: Loaded, checked: Checked, screen: Screen) -> list[str]:
    warnings = [finding for finding in checked.findings if finding.severity == "warning"]
    heads_alone = [_heads(warnings, loaded, screen)] if warnings else []
    return [*_advice(loaded, checked.findings, screen, 1), *heads_alone]


def _passing(
    loaded: Loaded, checked: Checked, screen: Screen, cautions: Sequence[str]
) -> list[str]:
    """Cautions, advice, tables and warnings: as much advice as the screen has room for.

    Below warnings `bellcrank explain` is named. What still finds no room moves closer: advice to
    the cautions, then the tables to each other.
    """
    warnings = [finding for finding in checked.findings if finding.severity == "warning"]
    below = _warnings(loaded, warnings, screen, 0)
    usual = [(most, 0) for most in range(0 if warnings else MOST_ADVICE, -1, -1)]
    head: Sequence[str] = []
    tables: Sequence[str] = []
    room = 0
    for most, joined in (*usual, (0, 1), (0, 2)):
        head = [*cautions, *_advice(loaded, checked.findings, screen, most)]
        head = ["".join(head)] if joined and head else head
        room = screen.lines - _PROMPTS - bool(warnings) - _height(head)
        tables = _worked(checked, room - _height(below) + (joined > 1), screen.columns)
        tables = ["".join(tables)] if joined > 1 and tables else tables
        room -= _height(tables)
        if room >= _height(below):
            break
    return [*head, *tables, *_warnings(loaded, warnings, screen, room)]


def _all(loaded: Loaded, checked: Checked, screen: Screen) -> str:
    tables = _worked(checked, None, None)
    others = [finding for finding in checked.findings if finding.severity != "error"]
    errors = [finding for finding in checked.findings if finding.severity == "error"]
    parts = [*([_full(others, loaded, screen)] if others else []), *tables]
    return "\n".join([*parts, _full(errors, loaded, screen)] if errors else parts)


def _advice(loaded: Loaded, found: Sequence[Finding], screen: Screen, most: int) -> list[str]:
    """The first `most` pieces, and how many are left."""
    advice = [finding for finding in in_order(found) if finding.severity == "advice"]
    if not advice:
        return []
    if not most:
        return [f"advice: {len(advice)}, shown with `--all`\n"]
    left = len(advice) - most
    tail = f"... and {left} more\n" if left > 0 else ""
    return [ADVICE + "\n" + _heads(advice[:most], loaded, screen) + tail]


def _warnings(loaded: Loaded, warnings: Sequence[Finding], screen: Screen, room: int) -> list[str]:
    """In full while there is room, then the rest with their heads alone; none is left out."""
    if not warnings:
        return []
    full = _full(warnings, loaded, screen)
    if _lines(full) <= room:
        return [full]
    return ["warnings, in full with `--all`:\n" + _heads(warnings, loaded, screen)]


def _worked(checked: Checked, room: int | None, columns: int | None) -> list[str]:
    """Both tables, in at most `room` lines if that can be; all rows without one.

    With `columns`, a supply's row names no more cues than fit in its line.
    """
    if checked.summary is None:
        return []
    supplies = supply_table(checked.summary, None if room is None else FEWEST_ROWS, columns)
    left = None if room is None else max(FEWEST_ROWS, room - _lines(supplies) - 3)
    servos = servo_table(checked.summary, left)
    return [table + "\n" for table in (servos, supplies) if table]


def _heads(found: Sequence[Finding], loaded: Loaded, screen: Screen) -> str:
    return heads(found, loaded.sources, colour=screen.colour, columns=screen.columns)


def _full(found: Sequence[Finding], loaded: Loaded, screen: Screen) -> str:
    return text(found, loaded.sources, colour=screen.colour, columns=screen.columns)


def _lines(part: str) -> int:
    """Lines of a part with the empty one behind it."""
    return part.count("\n") + 1


def _height(parts: Sequence[str]) -> int:
    """Lines of several parts."""
    return sum(map(_lines, parts))
