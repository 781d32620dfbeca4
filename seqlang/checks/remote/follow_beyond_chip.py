"""follow-beyond-chip: a board's chip has no room for outputs that follow.

What: an output that follows is on a board whose chip can do that.

Why: the smaller chip's memory is full. The output would never follow.

Example:

    board box: atmega328p, address 1
    servo neck: box pin PB1
        follows stick from 1000 us to 2000 us, -30 deg to 30 deg

Instead:

    board box: atmega2560, address 1
    servo neck: box pin PA0
        follows stick from 1000 us to 2000 us, -30 deg to 30 deg

Source of the limit: the chip's entry in `firmware_gen/chips` (senses).
"""

from __future__ import annotations

from collections.abc import Iterator

from firmware_gen.chips import CHIPS
from seqlang.checks.context import Context
from seqlang.text.findings import Finding
from sim.model import Follow, LevelBar, Servo, Shine


def check(context: Context) -> Iterator[Finding]:
    rig = context.show.rig
    following: tuple[Follow | Shine | LevelBar, ...] = (*rig.follows, *rig.shines, *rig.bars)
    for follow in following:
        output = context.outputs[follow.strip if isinstance(follow, LevelBar) else follow.output]
        board = context.boards[output.board]
        if CHIPS[board.chip].senses:
            continue
        able = " or ".join(f"`{name}`" for name, chip in CHIPS.items() if chip.senses)
        yield Finding(
            "error",
            "follow-beyond-chip",
            f"`{output.name}` hangs on `{board.name}`, and the {CHIPS[board.chip].title} has no "
            "room for outputs that follow",
            context.span(follow.mark),
            label="asks for a chip that has",
            related=((context.span(board.mark, "chip"), "this chip"),),
            help=f"give `{board.name}` the chip {able}, or take the line out and "
            f"{'move' if isinstance(output, Servo) else 'fade'} `{output.name}` in cues",
        )
