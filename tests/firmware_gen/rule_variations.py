"""Rules of a page, each changed in a small implementation that was written from the page.

The folder `variations` holds a file for each page. It reads:

    > what the page says (the words stand in the page)

    = the rule as it is changed
    @ the title of the vector that notices it
    - lines of the implementation
    + what stands there instead

Several pairs of - and + make one change. The piece taken out stands exactly once in the source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent / "variations"


@dataclass(frozen=True)
class Variation:
    """One rule, changed."""

    name: str
    says: str
    """The page's words."""
    noticed_by: str
    """Title of a vector."""
    changes: tuple[tuple[str, str], ...]
    """Pieces of the source and what stands there instead."""

    def apply(self, source: str) -> dict[str, Any]:
        """Names of the implementation with the rule changed.

        Raises ValueError if a piece does not stand exactly once in the source.
        """
        for old, new in self.changes:
            if source.count(old) != 1:
                raise ValueError(f"{self.name}: {source.count(old)} times {old!r}")
            source = source.replace(old, new)
        names: dict[str, Any] = {"__name__": __name__}
        exec(compile(source, self.name, "exec", dont_inherit=True), names)
        return names


def read(page: str) -> list[Variation]:
    """All variations of a page's file."""
    return list(_read((FOLDER / f"{page}.txt").read_text(encoding="utf-8").splitlines()))


def _read(lines: Iterable[str]) -> Iterator[Variation]:
    says = name = noticed_by = ""
    for mark, group in groupby(lines, key=lambda line: "-" if line[:1] == "+" else line[:1]):
        block = list(group)
        if mark == ">":
            says = " ".join(line[2:] for line in block)
        elif mark == "=":
            name, noticed_by = block[0][2:], ""
        elif mark == "@":
            noticed_by = block[0][2:]
        elif mark == "-":
            yield Variation(name, says, noticed_by, tuple(_pairs(block)))


def _pairs(block: list[str]) -> Iterator[tuple[str, str]]:
    pieces = [
        "\n".join(line[2:] for line in group) for _, group in groupby(block, lambda line: line[0])
    ]
    return zip(pieces[::2], pieces[1::2], strict=True)


def write_titles(page: str, noticed_by: dict[str, str]) -> None:
    """Put the titles of the vectors that notice the variations (by name) into a page's file."""
    path = FOLDER / f"{page}.txt"
    rows: list[str] = []
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith("@"):
            continue
        rows.append(line)
        if line.startswith("= "):
            rows.append(f"@ {noticed_by.get(line[2:], '')}".rstrip())
    path.write_text("\n".join(rows) + "\n", encoding="utf-8", newline="\n")
