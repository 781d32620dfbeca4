"""analog-beyond-chip: a board's chip measures no voltage.

What: a sensor, and the watch of a battery, is on a board whose chip's firmware measures voltages.

Why: the smaller chip's memory has no room for the code that measures sensors and follows them.

Example:

    board box: atmega328p, address 1
    sensor voice: box pin PC0

Instead:

    board box: atmega2560, address 1
    sensor voice: box pin PF0

Source of the limit: the chip's entry in `firmware_gen/chips` (analog).
"""

from __future__ import annotations

from collections.abc import Iterator

from firmware_gen.chips import CHIPS
from seqlang.checks.context import Context
from seqlang.checks.wiring import pins
from seqlang.text.findings import Finding
from sim.model import Board, Sensor


def check(context: Context) -> Iterator[Finding]:
    for board, chip, users in pins.by_board(context):
        if chip.analog:
            continue
        for user in users:
            if isinstance(user, Sensor | pins.WatchPin):
                yield _finding(context, board, user.mark, "pin")
        if board.watch is not None and board.watch.pin is None:
            yield _finding(context, board, board.watch.mark, None)


def _finding(context: Context, board: Board, mark: int, part: str | None) -> Finding:
    able = " or ".join(f"`{name}`" for name, chip in CHIPS.items() if chip.analog)
    return Finding(
        "error",
        "analog-beyond-chip",
        f"the firmware of the {CHIPS[board.chip].title} measures no voltage",
        context.span(mark, part),
        label="asks for a chip that does",
        related=((context.span(board.mark, "chip"), "this chip"),),
        help=f"give `{board.name}` the chip {able}, or put this on a board that has it",
    )
