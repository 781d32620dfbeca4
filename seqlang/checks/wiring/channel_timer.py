"""channel-timer: a lamp has the timer that measures a channel.

What: where a channel arrives at a pin, no lamp of that board hangs on the same timer.

Why: a timer either dims lamps or measures pulses. The ATmega2560 has three that can do either.

Example:

    lamp lure: box pin PH3
    channel stick: box pin PL0

Instead:

    lamp lure: box pin PB4
    channel stick: box pin PL0

Source of the limit: the chip's data sheet, alternate port functions, as stated in the chip's entry
in `firmware_gen/chips`.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.wiring import pins
from seqlang.text.findings import Finding
from sim.model import Channel, Lamp


def check(context: Context) -> Iterator[Finding]:
    for board, chip, users in pins.by_board(context):
        taken = {user.pin for user in users}
        measured = [u for u in users if isinstance(u, Channel) and u.pin in chip.channels]
        taken |= {pin for one in measured for pin in chip.channels[one.pin][1]}
        for channel in measured:
            timer, lamps = chip.channels[channel.pin]
            for lamp in users:
                if not isinstance(lamp, Lamp) or lamp.pin not in lamps:
                    continue
                free = pins.nearest_free(chip, lamp, taken)
                if free is not None:
                    taken.add(free)
                yield Finding(
                    "error",
                    "channel-timer",
                    f"lamp `{lamp.name}` hangs on {timer} of `{board.name}`, which measures "
                    f"channel `{channel.name}`",
                    context.span(lamp.mark, "pin"),
                    label="cannot be dimmed there",
                    related=((context.span(channel.mark, "pin"), "this pin takes the timer"),),
                    help=f"{chip.pin_name(free)} is free and can do it"
                    if free is not None
                    else "give the channel or the lamp another board",
                    fix=None if free is None else pins.move_to(context, chip, lamp, free),
                )
