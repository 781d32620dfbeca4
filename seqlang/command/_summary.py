"""The tail of `bellcrank check`: how hard servos and supplies are worked, as aligned columns."""

from __future__ import annotations

from typing import TYPE_CHECKING

from seqlang.text.render import width

if TYPE_CHECKING:
    from collections.abc import Sequence

    from seqlang.summary import ServoSummary, Summary, SupplySummary


def summary_text(summary: Summary) -> str:
    """Both tables; empty where there is neither a moving servo nor a loaded supply."""
    parts = []
    if summary.servos:
        head = ("servo", "torque", "speed", "both", "at most", "hardest in cue")
        parts.append(_table(head, [_servo(work) for work in summary.servos]))
    if summary.supplies:
        head = ("supply", "peak", "limit", "lowest", "at board", "cues at the peak")
        parts.append(_table(head, [_supply(work) for work in summary.supplies]))
    return "\n\n".join(parts)


def _servo(work: ServoSummary) -> tuple[str, ...]:
    shares = (work.torque.share, work.speed.share, work.line.share, work.allowed)
    return (work.servo, *(_percent(share) for share in shares), work.line.cue)


def _percent(share: float) -> str:
    return f"{share * 100:.0f} %" if share < 100 else "no end"


def _supply(work: SupplySummary) -> tuple[str, ...]:
    limit = "none" if work.limit_a is None else f"{work.limit_a:.2f} A ({work.limit})"
    return (
        work.supply,
        f"{work.peak_a:.2f} A",
        limit,
        f"{work.lowest_v:.2f} V",
        work.board,
        ", ".join(work.cues) or "none",
    )


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Columns as wide as their widest cell; figures to the right, names to the left."""
    lines = [head, *rows]
    widths = [max(width(line[column]) for line in lines) for column in range(len(head))]
    figures = [
        all(row[column][:1].isdigit() or row[column] in ("none", "no end") for row in rows)
        for column in range(len(head))
    ]
    return "\n".join(
        "  ".join(
            " " * (size - width(cell)) + cell if right else cell + " " * (size - width(cell))
            for cell, size, right in zip(line, widths, figures, strict=True)
        ).rstrip()
        for line in lines
    )
