"""board-overfull: a board has more than its player can hold.

What: at most 16 outputs a board, 8 of them servos and 2 of them strips, 100 pixels on all its
strips together, 16 inputs, 8 sensors and 32 cues.

Why: the chip's memory and the time in a frame (20 ms) are shared out beforehand.

Example: a ninth `servo ...: body pin ...` line.

Instead: put it on a second board.

Source of the limit: TABLE.md, header; the chip's entry in `firmware_gen/chips`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from firmware_gen.chips import Chip
from seqlang.checks.context import Context
from seqlang.checks.rewrite import rewritten
from seqlang.checks.wiring import pins
from seqlang.text import units
from seqlang.text.findings import Finding, Fix
from sim.model import Board, Input, Output, Sensor, Servo, Strip
from sim.rulebook import CUES, INPUTS, OUTPUTS, SENSORS


def check(context: Context) -> Iterator[Finding]:
    for board, chip, users in pins.by_board(context):
        outputs = [user for user in users if isinstance(user, Output)]
        servos = [user for user in outputs if isinstance(user, Servo)]
        inputs = [user for user in users if isinstance(user, Input)]
        yield from _counted(context, board, servos, chip.servos, "servos")
        yield from _counted(context, board, outputs, OUTPUTS, "outputs")
        sensors = [user for user in users if isinstance(user, Sensor)]
        yield from _counted(context, board, inputs, INPUTS, "inputs")
        if chip.pins_for("sensor"):  # for a chip that has none there is a finding of its own
            yield from _counted(context, board, sensors, SENSORS, "sensors")
        strips = [user for user in outputs if isinstance(user, Strip)]
        yield from _counted(context, board, strips, chip.strips, "strips")
        yield from _pixels(context, board, chip, strips)
        yield from _cues(context, board, {output.name for output in outputs})


def _counted(
    context: Context, board: Board, users: Sequence[pins.User], limit: int, what: str
) -> Iterator[Finding]:
    if len(users) <= limit:
        return
    surplus = users[limit]
    yield Finding(
        "error",
        "board-overfull",
        f"board `{board.name}` has {len(users)} {what}, and its player holds {limit}",
        context.span(surplus.mark, "name"),
        label=f"number {limit + 1}",
        related=((context.span(board.mark), "the board"),),
        help=f"put {pins.called(surplus)} and what follows it on a second board",
        asked=len(users),
        limit=limit,
        unit=what,
    )


def _pixels(context: Context, board: Board, chip: Chip, strips: list[Strip]) -> Iterator[Finding]:
    total = 0
    for strip in strips:
        left = chip.pixels - total
        total += strip.pixels
        if total <= chip.pixels:
            continue
        span = context.span(strip.mark, "pixels")
        fix: Fix | None = None
        if left > 0:
            fix = rewritten(context, span, left, units.PLAIN, "down")
        yield Finding(
            "error",
            "board-overfull",
            f"the strips of board `{board.name}` have {total} pixels up to `{strip.name}`, "
            f"and its player holds {chip.pixels}",
            span,
            label=f"{left} left here" if left > 0 else "none left",
            help=f"cut it to {left} pixels, or put it on a second board"
            if left > 0
            else "put it on a second board",
            fix=fix,
            asked=total,
            limit=chip.pixels,
            unit="pixels",
        )
        return


def _cues(context: Context, board: Board, names: set[str]) -> Iterator[Finding]:
    """A board holds the cues that use its outputs."""
    cues = [cue for cue in context.written.score.cues if names & context.uses[cue.name]]
    if len(cues) > CUES:
        yield Finding(
            "error",
            "board-overfull",
            f"board `{board.name}` takes part in {len(cues)} cues, and its player holds {CUES}",
            context.span(cues[CUES].mark, "name"),
            label=f"number {CUES + 1}",
            related=((context.span(board.mark, "name"), "the board"),),
            help="play what belongs together in one cue, or put parts on a second board",
            asked=len(cues),
            limit=CUES,
            unit="cues",
        )
