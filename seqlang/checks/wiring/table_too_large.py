"""table-too-large, table-refused: the byte table of a board does not fit, or cannot be made.

What: each board's table fits one of its two slots.

Why: the chip keeps both the old and the new show, so that a failed transfer leaves the old one.

Example: forty moves more than the slot holds.

Instead: put the longest cue's repeated part into a `repeat`, or a part of the rig on a second
board.

Source of the limit: the chip's entry in `firmware_gen/chips` (slot size), TABLE.md.
"""

from __future__ import annotations

from firmware_gen.compiler.show import CompiledBoard, CompiledShow, CompileError, compile_show
from firmware_gen.listing.account import account
from seqlang.checks.context import Context
from seqlang.text.findings import Finding
from sim.model import NO_MARK
from sim.rulebook import CUES

LARGEST_NAMED = 3
"""So many of the largest cues are pointed at."""


def check(context: Context, failed: bool) -> tuple[CompiledShow | None, tuple[Finding, ...]]:
    """The compiled show, if it could be made, and what is wrong with it.

    `failed`: the show has errors already; then a table that cannot be made is their consequence.
    """
    if failed and len(context.cues) > CUES:
        return None, ()
    try:
        compiled = compile_show(context.show)
    except CompileError as error:
        return None, () if failed else (_refused(context, error),)
    over = tuple(_finding(context, board) for board in compiled.boards if not board.fits)
    return (None if over else compiled), over


def _refused(context: Context, error: CompileError) -> Finding:
    span = context.place("show") if error.mark == NO_MARK else context.span(error.mark, error.part)
    return Finding(
        "error",
        "table-refused",
        str(error),
        span,
        label="no table can be made of this",
        asked=error.asked,
        limit=error.limit,
        unit=error.unit,
    )


def _finding(context: Context, board: CompiledBoard) -> Finding:
    costs = account(board)
    limit = board.chip.slot_bytes
    over = costs.size - limit
    largest = sorted(costs.cues, key=lambda cue: -cue[1])
    spare = [name for name, size in reversed(largest) if size >= over]
    return Finding(
        "error",
        "table-too-large",
        f"the table of board `{board.name}` takes {costs.size} bytes, and a slot holds {limit}",
        context.span(board.board.mark, "name"),
        label=f"{over} bytes too many",
        related=tuple(
            (context.span(context.cues[name].mark, "name"), f"takes {size} bytes of it")
            for name, size in largest[:LARGEST_NAMED]
        ),
        notes=tuple(f"{section}: {size} bytes" for section, size in costs.sections if size),
        help=f"it fits without cue `{spare[0]}`; steps inside a `repeat` take their bytes only once"
        if spare
        else "shorten the largest cues, or put a part of the rig on a second board",
        asked=costs.size,
        limit=limit,
        unit="bytes",
    )
