"""unfed-board, unsaid-logic, unloaded-servo: what the rig does not state cannot be checked.

unfed-board: nothing says what feeds a board, so its supply is not checked.
unsaid-logic: nothing says how the chip of a board is fed, and that decides whether it works.
unloaded-servo: nothing says what a servo carries, so every move looks easy.

What: a board states what feeds it, and how its chip is fed if that decides whether it works. A
servo states what it carries (advice).

Why: without a load every move looks easy, and without a feed every voltage looks full. A 5 V feed
at the input of a board's regulator leaves 4 V for its chip.

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
from seqlang.checks.figures import figure
from seqlang.text.findings import Finding
from sim.model import Board, Direct, Servo
from sim.rig.load import mass
from sim.rig.logic import REGULATOR_V, USUAL, chip_v, logic_of
from sim.rig.supply import highest_v


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
        elif board.logic is None and _matters(context, board):
            yield Finding(
                "advice",
                "unsaid-logic",
                f"the chip of board `{board.name}` is assumed to be fed directly; through the "
                "board's own regulator it would get too little voltage",
                context.span(board.mark, "feed"),
                label="say how the chip is fed",
                help="`logic direct` where the feed goes to the chip's own supply pin, "
                f"`logic {figure(REGULATOR_V)} V` where it goes through the board's regulator",
            )
    carriers = {one.mount.on for one in context.servos.values() if one.mount is not None}
    for servo in context.servos.values():
        if not mass(servo.load).mass_kg and not servo.load.springs and servo.name not in carriers:
            yield Finding(
                "advice",
                "unloaded-servo",
                f"servo `{servo.name}` carries nothing, so its torque is hardly checked",
                context.span(servo.mark, "name"),
                label="no `load` line",
                help=f"weigh the part and state {_such_as(servo)}",
            )


def _such_as(servo: Servo) -> str:
    """A load line for the servo's kind of part."""
    if servo.load.slide is not None:
        return "what is moved, such as `load 140 g`"
    if servo.load.spins:
        return "its size, such as `load plate 20 g, 80 mm by 80 mm, from -40 mm`"
    return "`load 140 g at 80 mm` (its centre of mass)"


def _matters(context: Context, board: Board) -> bool:
    """The chip works fed directly, and would not behind a usual regulator on the board."""
    rig, lowest = context.sound_show.rig, context.lowest_v.get(board.name)
    if lowest is None or not isinstance(logic_of(board, highest_v(rig, board.name)), Direct):
        return False
    return lowest >= board.electrics.clock_v > float(chip_v(USUAL, lowest))
