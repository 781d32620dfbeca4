"""chip-overvoltage: a chip that is fed directly gets more voltage than it can take.

What: where a board says `logic direct`, the highest voltage of its feed (a full battery, no load)
is at most what the chip's data sheet allows.

Why: the chip dies, and with it the servos get no pulses or wild ones.

Example:

    source 2 li-ion cells, 3000 mAh
    logic  direct

Instead: through the regulator on the board.

    logic  5 V

Source of the limit: the chip's data sheet, as stated in its entry in `firmware_gen/chips`.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.text.findings import Finding, Fix
from sim.model import Direct
from sim.rig.logic import REGULATOR_V
from sim.rig.supply import highest_v, of_board


def check(context: Context) -> Iterator[Finding]:
    rig = context.show.rig
    for board in rig.boards:
        _, supply = of_board(rig, board.name)
        volts, limit = highest_v(rig, board.name), board.electrics.highest_v
        if supply is None or not isinstance(board.logic, Direct) or volts <= limit * (1.0 + 1e-9):
            continue
        asked_text, limit_text = figures(volts, limit)
        span = context.span(board.mark, "logic")
        yield Finding(
            "error",
            "chip-overvoltage",
            f"the chip of board `{board.name}` can get {asked_text} V from supply "
            f"`{supply.name}`, and can take {limit_text} V",
            span,
            label="fed directly",
            related=((context.span(supply.mark, "name"), "its highest voltage, without a load"),),
            help=f"feed it through the board's own regulator: `logic {figure(REGULATOR_V)} V`",
            fix=Fix(span, f"{figure(REGULATOR_V)} V"),
            asked=volts,
            limit=limit,
            unit="V",
        )
