"""cannot-lead, too-many-claims: a board is to lead and cannot.

cannot-lead: a board is to lead, and its chip cannot.
too-many-claims: the cues of a show share outputs in more ways than the leading board keeps apart.

What: the chip of the board that leads has a serial port for the line to the others. The outputs of
the other boards fall into at most 16 groups; a group is what exactly the same cues use.

Why: the board that leads tells the others what runs, and its port to the computer stays free for
that. It decides alone which cue may start, so it must know which cues meet on another board.

Example:

    board hub: atmega328p, address 1, leads

Instead:

    board hub: atmega2560, address 1, leads

Source of the limit: the chip's entry in `firmware_gen/chips` (serial ports); TABLE.md, cues (16
claims).
"""

from __future__ import annotations

from collections.abc import Iterator

from firmware_gen.chips import CHIPS
from firmware_gen.compiler.show import too_many_claims
from seqlang.checks.context import Context
from seqlang.checks.wiring.pins import chip_instead
from seqlang.text.findings import Finding
from sim.model import Board
from sim.rulebook import CLAIMS
from sim.score.claims import claims


def check(context: Context) -> Iterator[Finding]:
    for board in context.show.rig.boards:
        if board.leads and not CHIPS[board.chip].leads:
            yield _cannot(context, board)
    leader = context.show.rig.leader
    if leader is not None:
        yield from _claims(context, leader)


def _cannot(context: Context, board: Board) -> Finding:
    able = [
        other.name
        for other in context.show.rig.boards
        if CHIPS[other.chip].leads and not other.leads
    ]
    chips = " or ".join(f"`{name}`" for name, chip in CHIPS.items() if chip.leads)
    swap = chip_instead(context, board, lambda chip: chip.leads)
    ways = f"let `{able[0]}` lead, which has such a chip" if able else "give it such a chip"
    return Finding(
        "error",
        "cannot-lead",
        f"board `{board.name}` is to lead, and the {CHIPS[board.chip].title} has no serial port "
        "for the other boards",
        context.span(board.mark, "leads"),
        label=f"only {chips} can lead",
        related=((context.span(board.mark, "chip"), "its chip"),),
        help=f"{ways}, or leave out `leads`: then each board plays for itself",
        fix=None if swap is None or able else swap[1],
    )


def _claims(context: Context, leader: Board) -> Iterator[Finding]:
    groups = claims(context.show)
    if len(groups) <= CLAIMS:
        return
    error = too_many_claims(leader, groups)
    surplus = context.outputs[next(iter(sorted(groups[CLAIMS])))]
    yield Finding(
        "error",
        "too-many-claims",
        error.message,
        context.span(leader.mark, "leads"),
        label=f"{len(groups) - CLAIMS} more than it keeps apart",
        related=((context.span(surplus.mark, "name"), f"number {CLAIMS + 1} of the ways"),),
        help="outputs that the same cues use count once: let cues use all outputs of a part, "
        f"or put some of them on `{leader.name}`",
        asked=error.asked,
        limit=error.limit,
        unit=error.unit,
    )
