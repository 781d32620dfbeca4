"""table-too-large, table-refused: the byte table of a board does not fit, or cannot be made.

table-too-large: the byte table of a board does not fit.
table-refused: the byte table of a board cannot be made.

What: each board's table fits one of its two slots (otherwise a warning), at least the program
memory behind the firmware (otherwise an error).

Why: the chip keeps both the old and the new show, so that a failed transfer leaves the old one. A
larger show goes into the program memory together with the firmware.

Example: forty moves more than the slot holds.

Instead: put what comes again into a `repeat`, or a part of the rig on a second board. Flash the
show with `--merged`, or take a chip with more memory.

Source of the limit: the chip's entry in `firmware_gen/chips` (slot size, program memory), TABLE.md.
"""

from __future__ import annotations

from firmware_gen.chips import CHIPS
from firmware_gen.compiler.show import (
    CompiledBoard,
    CompiledShow,
    CompileError,
    TableTooLargeError,
    compile_show,
)
from firmware_gen.listing.account import account
from seqlang.checks.context import Context
from seqlang.text.findings import Finding, Span
from sim.model import NO_MARK
from sim.rulebook import CUES

BESIDE_CUES = 4096
"""Bytes that a table has beside its cues, at most: 16 outputs, 64 colours, 48 senses and so on."""
LARGEST_NAMED = 3
"""How many of the largest cues the finding marks."""


def check(context: Context, failed: bool) -> tuple[CompiledShow | None, tuple[Finding, ...]]:
    """The compiled show, if it could be made, and what is wrong with it.

    `failed`: the show has errors already; then a table that cannot be made is their consequence.
    """
    if failed and len(context.cues) > CUES:
        return None, ()
    try:
        compiled = compile_show(context.written)
    except TableTooLargeError as error:
        return None, (_far_too_large(context, error),)
    except CompileError as error:
        return None, () if failed else (_refused(context, error),)
    over = tuple(_finding(context, board) for board in compiled.boards if not board.fits)
    return compiled, over


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
    memory, merges = board.chip.memory, board.can_merge
    room = memory.merged_room(boot_loader=False)
    limit = memory.slot if merges else room
    holds = "a slot holds" if merges else "its program memory has room for"
    over = costs.size - limit
    return Finding(
        "warning" if merges else "error",
        "table-too-large",
        f"the table of board `{board.name}` takes {costs.size} bytes, and {holds} {limit}",
        context.span(board.board.mark, "name"),
        label=f"{over} bytes too many" + (" for a slot" if merges else ""),
        related=_largest(context, costs.cues),
        notes=tuple(f"{section}: {size} bytes" for section, size in costs.sections if size),
        help=_ways_out(board, costs.cues, over),
        asked=costs.size,
        limit=limit,
        unit="bytes",
    )


def _far_too_large(context: Context, error: TableTooLargeError) -> Finding:
    return Finding(
        "error",
        "table-too-large",
        error.message,
        context.span(error.mark, error.part),
        label=f"{error.surplus} bytes too many",
        related=_largest(context, error.cues),
        help="shorten the largest cues, or put a part of the rig on a second board"
        f"{_roomier(error.asked or 0)}",
        asked=error.asked,
        limit=error.limit,
        unit=error.unit,
    )


def _roomier(size: float) -> str:
    """The smallest chip whose program memory holds a table that large, as one more way out."""
    rooms = {name: chip.memory.merged_room() for name, chip in CHIPS.items()}
    fit = [name for name, room in rooms.items() if room >= size + BESIDE_CUES]
    return f", or take an `{min(fit, key=rooms.__getitem__)}`, which has room for it" if fit else ""


def _by_size(cues: tuple[tuple[str, int], ...]) -> list[tuple[str, int]]:
    return sorted(cues, key=lambda cue: -cue[1])


def _largest(context: Context, cues: tuple[tuple[str, int], ...]) -> tuple[tuple[Span, str], ...]:
    return tuple(
        (context.span(context.cues[name].mark, "name"), f"takes {size} bytes of it")
        for name, size in _by_size(cues)[:LARGEST_NAMED]
    )


def _ways_out(board: CompiledBoard, cues: tuple[tuple[str, int], ...], over: int) -> str:
    spare = [name for name, size in reversed(_by_size(cues)) if size >= over]
    shorter = (
        f"leave out cue `{spare[0]}`"
        if spare
        else "shorten the largest cues, or put a part of the rig on a second board"
    )
    if not board.can_merge:
        chip = _roomier(len(board.data))
        return f"{shorter}{chip}; steps inside a `repeat` take their bytes only once"
    merging = (
        "put it on the board with `bellcrank flash FILE --merged`"
        if len(board.data) <= board.chip.memory.merged_room()
        else "merge it with `bellcrank firmware --with FILE --way isp`"
    )
    return f"{merging}; to fit a slot, {shorter}"
