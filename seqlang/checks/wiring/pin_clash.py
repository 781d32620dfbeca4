"""pin-clash: two things are wired to one pin of a board.

What: each pin of a board has one output or one input.

Why: the later line would take the pin away from the earlier; on an input two drivers can short.

Example:

    servo jaw: body pin PB1
    servo fin: body pin PB1

Instead:

    servo fin: body pin PB2

Source of the limit: the chip; TABLE.md, refusals (a pin used twice).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.wiring import pins
from seqlang.text.findings import Finding


def check(context: Context) -> Iterator[Finding]:
    for board, chip, users in pins.by_board(context):
        taken = {user.pin for user in users}
        first: dict[int, pins.User] = {}
        for user in users:
            earlier = first.setdefault(user.pin, user)
            if earlier is user or chip.refusal(user.pin, pins.job(user)) is not None:
                continue
            free = pins.nearest_free(chip, user, taken)
            fix = None if free is None else pins.move_to(context, chip, user, free)
            if free is not None:
                taken.add(free)
            yield Finding(
                "error",
                "pin-clash",
                f"pin {chip.pin_name(user.pin)} of `{board.name}` has both {pins.called(earlier)} "
                f"and {pins.called(user)}",
                context.span(user.mark, "pin"),
                label=f"taken by {pins.called(earlier)}",
                related=((context.span(earlier.mark, "pin"), "wired here first"),),
                help=f"{chip.pin_name(free)} is free and can do it"
                if free is not None
                else f"no pin of `{board.name}` is left that can do it; use a second board",
                fix=fix,
            )
