"""What the language's page says of a word, for whoever points at it."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Final

_CELL: Final = re.compile(r"(?<!\\)\|")
_CODE: Final = re.compile(r"`([^`]+)`")
_WORDS: Final = re.compile(r"[a-z0-9][\w-]*(?: [a-z][\w-]*)*")


@cache
def entries() -> dict[str, tuple[str, ...]]:
    """Rows of the page's tables in Markdown, by the words that they explain.

    A row explains the words that its first cell begins with: `load rod` and `load` for
    `load rod MASS, LENGTH`.
    """
    page = Path(__file__).parents[1].joinpath("LANGUAGE.md").read_text("utf-8")
    found: dict[str, list[str]] = {}
    for line in page.splitlines():
        if not line.startswith("| `"):
            continue
        first, *rest = [cell.strip() for cell in _CELL.split(line)[1:-1]]
        row = " ".join([first, *(f"— {cell}" for cell in rest[:1] if cell)])
        row += "".join(f" *(without it: {cell})*" for cell in rest[1:2] if not _is_figure(cell))
        for code in _CODE.findall(first):
            for key in _keys(code):
                rows = found.setdefault(key, [])
                if row not in rows:
                    rows.append(row)
    return {key: tuple(rows) for key, rows in found.items()}


def _is_figure(cell: str) -> bool:
    """The laws' table has a figure in its third column, others what holds without the line."""
    return not cell or cell[0].isdigit()


def _keys(code: str) -> list[str]:
    """`load rod` and `load` of `load rod MASS`; `breathe` of `NAME breathe`."""
    bare = re.sub(r"^(?:[A-Z]+ |, )+", "", code)
    match = _WORDS.match(bare)
    if match is None:
        return []
    words = match[0].split(" ")
    return [" ".join(words[:count]) for count in range(1, len(words) + 1)]


def explained(line: str, column: int) -> tuple[int, int, tuple[str, ...]] | None:
    """The longest words at a column of a line that the page explains: from, to, and its rows."""
    known = entries()
    best: tuple[int, int, tuple[str, ...]] | None = None
    starts = [match.start() for match in re.finditer(r"(?<![\w-])[\w]", line[: column + 1])]
    for start in starts[-4:]:
        words = re.match(r"[\w-]+(?: +[\w-]+){0,4}", line[start:])
        if words is None:
            continue
        parts = re.split(r"( +)", words[0])
        for count in range(len(parts), 0, -2):
            written = "".join(parts[:count])
            end = start + len(written)
            key = re.sub(" +", " ", written)
            if key in known and start <= column <= end:
                if best is None or end - start > best[1] - best[0]:
                    best = (start, end, known[key])
                break
    return best
