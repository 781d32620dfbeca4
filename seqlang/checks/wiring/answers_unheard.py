"""answers-unheard: a board is said to answer, and nobody can hear it.

What: a board with `answers` follows a board that leads, over a cable. At most 15 boards answer.

Why: the answers go over one wire of their own to the board that leads, which passes them on to the
computer. The computer asks a board that leads by itself. A board that is alone has nobody to
answer, and a radio goes one way.

Example:

    board arm: atmega2560, address 2
        answers

Instead:

    board hub: atmega2560, address 1, leads
    board arm: atmega2560, address 2
        answers

Source of the limit: the firmware. The board that leads keeps as many addresses.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding, Fix
from sim.model import Board
from sim.rulebook import ANSWERING


def check(context: Context) -> Iterator[Finding]:
    leader = context.show.rig.leader
    answering = [board for board in context.show.rig.boards if board.answers]
    for board in answering:
        if board.leads:
            why, help = "it is the board that leads", "leave out `answers`"
            yield _finding(context, board, why, help)
        elif leader is None:
            why = "no board of the show leads"
            yield _finding(context, board, why, "let a board lead, or leave out `answers`")
        elif leader.radio is not None:
            why = f"`{leader.name}` speaks over a radio, which goes one way"
            yield _finding(context, board, why, "leave out `answers`, or lay a cable")
    for board in [one for one in answering if not one.leads][ANSWERING:]:
        why = f"{ANSWERING} boards answer already"
        yield _finding(context, board, why, "leave out `answers`, and flash it by its own plug")


def _finding(context: Context, board: Board, why: str, help: str) -> Finding:
    span = context.span(board.mark, "answers")
    return Finding(
        "error",
        "answers-unheard",
        f"nobody hears the answers of board `{board.name}`: {why}",
        span,
        label="goes nowhere",
        related=((context.span(board.mark), "the board"),),
        help=help,
        fix=Fix(span, ""),
    )
