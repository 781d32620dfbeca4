"""brown-out: the voltage that arrives at a board is too low for its chip.

What: while all cues that can run together are running, the voltage at each board's chip stays over
its brown-out level (an error), and over what it needs at its clock (a warning). A regulator on the
board takes its dropout from the board's voltage (`logic`). Where slower moves would do, their times
are computed.

Why: a board that browns out resets in the middle of a move; the parts drop.

Example:

    feed pack, 3 m of 28 AWG

Instead:

    feed pack, 600 mm of 20 AWG

Source of the limit: the chip's data sheet, as stated in its entry in `firmware_gen/chips`.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import floor

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.supply.sagging import (
    chip_v,
    cues_running,
    resets,
    standing,
    while_running,
)
from seqlang.checks.supply.slower import (
    HOLDS_TOO_MUCH,
    NOTHING_MOVES,
    NoSlower,
    SlowEnough,
    slow_enough,
)
from seqlang.text.findings import Finding
from sim.model import Board, OnBoard, Supply
from sim.strain.sag import Sag


def check(context: Context) -> Iterator[Finding]:
    for supply in context.show.rig.supplies:
        own = standing(context, supply)
        yield from _brown_outs(context, supply, own)
        low = {sag.board for sag in own if resets(context, sag)}
        if own:
            yield from _at_power_up(context, supply, low)


def _at_power_up(context: Context, supply: Supply, low: set[str]) -> Iterator[Finding]:
    """A servo's first pulse may find the part anywhere: it jumps to its safe pose at stall current.

    `low`: boards with an error already.
    """
    for sag in context.start_sags:
        if sag.supply != supply.name or sag.board in low or sag.starting is None:
            continue
        if not resets(context, sag):
            continue
        board = context.boards[sag.board]
        resets_v = board.electrics.brown_out_v
        left_v = chip_v(context, sag)
        yield Finding(
            "warning",
            "brown-out",
            f"at power-up `{sag.starting}` may draw its stall current, and the chip of board "
            f"`{sag.board}` is left with {figure(left_v)} V",
            context.span(board.mark, "name"),
            label=f"the chip resets below {figure(resets_v)} V",
            related=((context.span(context.servos[sag.starting].mark), "jumps to its safe pose"),),
            help="bring the parts near their safe pose before switching on, or use a stronger "
            "supply or thicker wire",
            asked=left_v,
            limit=resets_v,
            unit="V",
        )


def _brown_outs(context: Context, supply: Supply, own: list[Sag]) -> Iterator[Finding]:
    slow: SlowEnough | NoSlower | None = None
    for sag in own:
        board = context.boards[sag.board]
        chip, left_v = board.electrics, chip_v(context, sag)
        if left_v >= chip.clock_v:
            continue
        is_reset = resets(context, sag)
        # its regulator is stated to give the chip too little, whatever arrives
        if (
            not is_reset
            and isinstance(board.logic, OnBoard)
            and board.logic.voltage_v < chip.clock_v
        ):
            yield _meant_low(context, board, board.logic.voltage_v)
            continue
        slow = slow or slow_enough(context, supply)
        limit = chip.brown_out_v if is_reset else chip.clock_v
        asked_text, limit_text = figures(left_v, limit)
        fails = "resets" if is_reset else "is out of its limits"
        yield Finding(
            "error" if is_reset else "warning",
            "brown-out",
            f"nothing is left for the chip of board `{sag.board}` {while_running(sag)}: its feed "
            "takes the whole voltage"
            if sag.voltage_v <= 0.0
            else f"the voltage at the chip of board `{sag.board}` falls to {asked_text} V "
            f"{while_running(sag)}, and it {fails} below {limit_text} V",
            context.span(board.mark, "feed"),
            label=f"{figure(sag.board_a)} A through this feed",
            related=cues_running(context, sag),
            notes=(*_lost(context, sag, left_v), *_held(sag, slow)),
            help=_remedy(sag, limit)
            + ("" if slow in (HOLDS_TOO_MUCH, NOTHING_MOVES) else f", or {slow.words}"),
            fix=slow.fix if isinstance(slow, SlowEnough) else None,
            asked=left_v,
            limit=limit,
            unit="V",
        )


def _held(sag: Sag, slow: SlowEnough | NoSlower) -> tuple[str, ...]:
    """That the voltage is too low whatever moves, where something does."""
    if slow is HOLDS_TOO_MUCH and sag.cues:
        return ("it is too low even while all parts only hold their poses",)
    return ()


def _remedy(sag: Sag, limit_v: float) -> str:
    """What helps: more at the board, or, where enough arrives there, less lost on the board."""
    spare = floor(10.0 * (sag.voltage_v - limit_v)) / 10.0
    if spare >= 0.1:
        return (
            f"take a board whose regulator has a dropout of {spare:g} V or less, and write "
            f"`logic 5 V, dropout {spare:g} V`; or feed the board a higher voltage"
        )
    return "use thicker or shorter wire, a stronger supply, or a supply of its own for the board"


def _meant_low(context: Context, board: Board, given_v: float) -> Finding:
    needs_v = board.electrics.clock_v
    given, needed = figures(given_v, needs_v)
    return Finding(
        "warning",
        "brown-out",
        f"the chip of board `{board.name}` is fed with {given} V, and it is out of its limits "
        f"below {needed} V",
        context.span(board.mark, "logic"),
        label="too little at its clock",
        help="take a board whose regulator gives the chip `5 V`",
        asked=given_v,
        limit=needs_v,
        unit="V",
    )


def _lost(context: Context, sag: Sag, left_v: float) -> tuple[str, ...]:
    """Where the board's own regulator takes its part."""
    if left_v >= sag.voltage_v:
        return ()
    stated = context.boards[sag.board].logic is not None
    own = "the board's own regulator" if stated else "a usual regulator (there is no `logic` line)"
    return (f"{figure(sag.voltage_v)} V arrive at the board; {own} takes the rest; see `logic`",)
