"""The tail of `bellcrank check`: how hard servos and supplies are worked, as aligned columns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeVar

from seqlang.text.render import width

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from seqlang.summary import ServoSummary, Summary, SupplySummary

T = TypeVar("T")

_GAP: Final = 2
"""Blanks between columns."""


def servo_table(summary: Summary, most: int | None = None) -> str:
    """A row for each servo, in at most `most` lines of rows: then only the hardest are shown."""
    head = ("servo", "torque", "speed", "both", "at most", "hardest in cue")
    kept = _hardest(summary.servos, most, lambda work: work.line.share / work.allowed)
    return _table(head, [_servo(work) for work in kept], len(summary.servos) - len(kept))


def supply_table(summary: Summary, most: int | None = None, columns: int | None = None) -> str:
    """The same for supplies; in the last column stand as many cues as `columns` have room for."""
    head = ("supply", "peak", "limit", "lowest", "at board", "cues at the peak")
    kept = _hardest(
        summary.supplies, most, lambda work: work.peak_a / work.limit_a if work.limit_a else 0.0
    )
    rows = [_supply(work) for work in kept]
    room = None if columns is None else columns - _column_of_cues(head, rows)
    whole = [(*row, _names(work.cues, room)) for row, work in zip(rows, kept, strict=True)]
    return _table(head, whole, len(summary.supplies) - len(kept))


def _column_of_cues(head: Sequence[str], rows: Sequence[Sequence[str]]) -> int:
    """Where the last column begins, if the others are as wide as their widest cells."""
    lines = [head[:-1], *rows]
    return sum(max(width(line[at]) for line in lines) + _GAP for at in range(len(head) - 1))


def _names(cues: Sequence[str], room: int | None) -> str:
    """The first cues that have room, one at least, and how many more there are."""
    for shown in range(len(cues), 0, -1):
        left = len(cues) - shown
        words = ", ".join(cues[:shown]) + (f" and {left} more" if left else "")
        if room is None or shown == 1 or width(words) <= room:
            return words
    return "none"


def _hardest(rows: Sequence[T], most: int | None, share: Callable[[T], float]) -> Sequence[T]:
    """The rows that are worked hardest, in their order; a line is kept for how many are left."""
    if most is None or len(rows) <= most:
        return rows
    kept = sorted(range(len(rows)), key=lambda at: -share(rows[at]))[: most - 1]
    return [rows[at] for at in sorted(kept)]


def _servo(work: ServoSummary) -> tuple[str, ...]:
    shares = (work.torque.share, work.speed.share, work.line.share, work.allowed)
    return (work.servo, *(_percent(share) for share in shares), work.line.cue)


def _percent(share: float) -> str:
    return f"{share * 100:.0f} %" if share < 100 else "no end"


def _supply(work: SupplySummary) -> tuple[str, ...]:
    """All but the cues at the peak."""
    limit = "none" if work.limit_a is None else f"{work.limit_a:.2f} A ({work.limit})"
    return (
        work.supply,
        f"{work.peak_a:.2f} A",
        limit,
        f"{work.lowest_v:.2f} V",
        work.board,
    )


def _table(head: Sequence[str], rows: Sequence[Sequence[str]], left: int) -> str:
    """Columns as wide as their widest cell; figures to the right, names to the left.

    `left`: rows that are not shown. Nothing for no rows.
    """
    if not rows:
        return ""
    lines = [head, *rows]
    widths = [max(width(line[column]) for line in lines) for column in range(len(head))]
    figures = [
        all(row[column][:1].isdigit() or row[column] in ("none", "no end") for row in rows)
        for column in range(len(head))
    ]
    tail = [f"... and {left} that are worked less; `--all` shows them"] if left else []
    shown = (
        (" " * _GAP)
        .join(
            " " * (size - width(cell)) + cell if right else cell + " " * (size - width(cell))
            for cell, size, right in zip(line, widths, figures, strict=True)
        )
        .rstrip()
        for line in lines
    )
    return "\n".join([*shown, *tail])
