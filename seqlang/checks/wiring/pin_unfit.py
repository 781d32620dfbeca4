"""pin-unfit: a pin cannot do the job it is given.

What: a lamp needs a pin with a free PWM channel, a sensor one with an input of the converter from
analog to digital; crystal, reset and link pins are taken.

Why: the chip's hardware decides; nothing in a table can change it.

Example:

    lamp lure: body pin PD2

Instead:

    lamp lure: body pin PD3

Source of the limit: the chip's data sheet, section "I/O Multiplexing", as stated in
the chip's entry in `firmware_gen/chips`.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.wiring import pins
from seqlang.text.findings import Finding


def check(context: Context) -> Iterator[Finding]:
    for board, chip, users in pins.by_board(context):
        leaves = board.leads and not chip.leads  # the pins may be those of the chip it needs
        taken = {user.pin for user in users}
        for user in users:
            job = pins.job(user)
            reason = chip.refusal(user.pin, job)
            if reason is None or not chip.pins_for(job):
                continue  # for a chip that has none at all there is a finding of its own
            free = None if leaves else pins.nearest_free(chip, user, taken)
            if free is not None:
                taken.add(free)
            fitting = sorted(chip.pins_for(job))
            yield Finding(
                "error",
                "pin-unfit",
                f"pin {chip.pin_name(user.pin)} of `{board.name}` cannot be used for "
                f"{pins.called(user)}: {reason}",
                context.span(user.mark, "pin"),
                label=f"no pin for {'an input' if job == 'input' else f'a {job}'}",
                notes=(f"pins that can: {', '.join(chip.pin_name(pin) for pin in fitting)}",),
                help=f"{chip.pin_name(free)} is free and can do it"
                if free is not None
                else f"first give `{board.name}` a chip that can lead, or leave out `leads`"
                if leaves
                else f"no pin of `{board.name}` is left that can do it; use a second board",
                fix=None if free is None else pins.move_to(context, chip, user, free),
            )
