"""unfed-board, unloaded-servo: what the rig does not state cannot be checked.

What: a board says what feeds it, and a servo what it carries (advice).

Why: without a load every move looks easy, without a feed every voltage looks full.

Example:

    servo jaw: body pin PB1
        rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6.0 V

Instead:

    servo jaw: body pin PB1
        rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6.0 V
        load 140 g at 80 mm

Source of the limit: this tool's rule.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding


def check(context: Context) -> Iterator[Finding]:
    if context.partial:
        return
    fed = {output.board for output in context.show.rig.outputs}
    for board in context.show.rig.boards:
        if board.supply is None and board.name in fed:
            yield Finding(
                "advice",
                "unfed-board",
                f"board `{board.name}` has no feed, so voltage and current are not checked",
                context.span(board.mark, "name"),
                label="no `feed` line",
                help="state a supply and `feed NAME, 600 mm of 20 AWG`",
            )
    for servo in context.servos.values():
        if not servo.load.bodies and not servo.load.springs:
            yield Finding(
                "advice",
                "unloaded-servo",
                f"servo `{servo.name}` carries nothing, so its torque is hardly checked",
                context.span(servo.mark, "name"),
                label="no `load` line",
                help="weigh the part and state `load 140 g at 80 mm` (its centre of mass)",
            )
