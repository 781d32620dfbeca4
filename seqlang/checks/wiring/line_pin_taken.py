"""line-pin-taken: a pin of the line between the boards of a show is used for something else.

What: in a show with a board that leads, its line's pin and those of the boards that follow it are
free of outputs and buttons. Where boards answer, so are the pins of the wire back.

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

from firmware_gen.chips import Chip
from seqlang.checks.context import Context
from seqlang.checks.wiring import pins
from seqlang.text.findings import Finding
from sim.model import Board, Rig


def check(context: Context) -> Iterator[Finding]:
    rig = context.show.rig
    if rig.leader is None:
        return
    for board, chip, users in pins.by_board(context):
        line = {chip.pins[name]: does for name, does in _line_pins(rig, board, chip).items()}
        line = {pin: does for pin, does in line.items() if pin not in chip.reserved}
        taken = {user.pin for user in users} | set(line)
        for user in users:
            if user.pin not in line:
                continue
            free = pins.nearest_free(chip, user, taken)
            taken |= set() if free is None else {free}
            yield Finding(
                "error",
                "line-pin-taken",
                f"pin {chip.pin_name(user.pin)} of `{board.name}` cannot be used for "
                f"{pins.called(user)}: there it {line[user.pin]}",
                context.span(user.mark, "pin"),
                label="belongs to the line between the boards",
                related=((context.span(board.mark), "the board"),),
                help=f"{chip.pin_name(free)} is free and can do it"
                if free is not None
                else f"no pin of `{board.name}` is left that can do it; use a second board",
                fix=None if free is None else pins.move_to(context, chip, user, free),
            )


def _line_pins(rig: Rig, board: Board, chip: Chip) -> dict[str, str]:
    """What a board does at the pins of the line, by their names."""
    to_others, from_others = chip.line_out, chip.line_in
    found = {}
    if board.leads:
        if to_others is not None:
            found[to_others] = "tells the other boards"
        if from_others is not None and any(one.answers for one in rig.boards):
            found[from_others] = "hears the boards that answer"
        return found
    if from_others is not None:
        found[from_others] = "hears the board that leads"
    if to_others is not None and board.answers:
        found[to_others] = "answers the board that leads"
    return found
