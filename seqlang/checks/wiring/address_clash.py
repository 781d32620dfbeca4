"""address-clash: two boards of a show have the same address.

What: each board has an address of its own, 1 to 254.

Why: both would answer at once on the link, and each would take the other's table.

Example:

    board left: atmega328p, address 1
    board right: atmega328p, address 1

Instead:

    board right: atmega328p, address 2

Source of the limit: TABLE.md, header (address of the board, 1 to 254).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.meaning.rig import NO_ADDRESS
from seqlang.text.findings import Finding, Fix
from sim.model import Board
from sim.rulebook import ADDRESSES


def check(context: Context) -> Iterator[Finding]:
    boards = context.show.rig.boards
    taken = {board.address for board in boards}
    first: dict[int, Board] = {}
    for board in boards:
        if board.address == NO_ADDRESS:
            continue  # what is no address has its finding of reading
        earlier = first.setdefault(board.address, board)
        if earlier is board:
            continue
        free = next(address for address in ADDRESSES if address not in taken)
        taken.add(free)
        span = context.span(board.mark, "address")
        yield Finding(
            "error",
            "address-clash",
            f"boards `{earlier.name}` and `{board.name}` both have address {board.address}",
            span,
            label="taken",
            related=((context.span(earlier.mark), "the other board"),),
            help=f"address {free} is free",
            fix=Fix(span, context.text(span).replace(str(board.address), str(free), 1)),
            asked=board.address,
        )
