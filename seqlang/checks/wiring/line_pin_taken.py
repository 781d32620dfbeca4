"""line-pin-taken: a pin of the line between the boards of a show is used for something else.

What: in a show with a board that leads, its line's pin and those of the boards that follow it are
free of outputs and buttons.

Why: the serial port takes the pin over. A servo there would get the line's bytes.

Example:

    board hub: atmega2560, address 1, leads
    servo jaw: hub pin PD3

Instead:

    servo jaw: hub pin PD4

Source of the limit: the chip's data sheet, "Alternate Port Functions", as stated in the chip's
entry in `firmware_gen/chips`.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.wiring import pins
from seqlang.text.findings import Finding


def check(context: Context) -> Iterator[Finding]:
    if context.show.rig.leader is None:
        return
    for board, chip, users in pins.by_board(context):
        name = chip.line_out if board.leads else chip.line_in
        if name is None or chip.pins[name] in chip.reserved:
            continue
        line = chip.pins[name]
        taken = {user.pin for user in users} | {line}
        for user in users:
            if user.pin != line:
                continue
            free = pins.nearest_free(chip, user, taken)
            taken |= set() if free is None else {free}
            does = "tells the other boards" if board.leads else "hears the board that leads"
            yield Finding(
                "error",
                "line-pin-taken",
                f"pin {name} of `{board.name}` cannot be used for {pins.called(user)}: "
                f"there it {does}",
                context.span(user.mark, "pin"),
                label="belongs to the line between the boards",
                related=((context.span(board.mark), "the board"),),
                help=f"{chip.pin_name(free)} is free and can do it"
                if free is not None
                else f"no pin of `{board.name}` is left that can do it; use a second board",
                fix=None if free is None else pins.move_to(context, chip, user, free),
            )
