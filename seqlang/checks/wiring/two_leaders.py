"""two-leaders: more than one board of a show leads.

What: at most one board of a show has `leads`.

Why: the board that leads decides alone what runs. All others do what it says, so two of them would
say different things on one line.

Example:

    board hub: atmega2560, address 1, leads
    board arm: atmega2560, address 2, leads

Instead:

    board arm: atmega2560, address 2

Source of the limit: this tool's rule (LANGUAGE.md, 3.1).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.text.findings import Finding, Fix, Span


def check(context: Context) -> Iterator[Finding]:
    leading = [board for board in context.show.rig.boards if board.leads]
    for board in leading[1:]:
        first = leading[0]
        leads = context.span(board.mark, "leads")
        address = context.span(board.mark, "address")
        yield Finding(
            "error",
            "two-leaders",
            f"boards `{first.name}` and `{board.name}` both lead",
            leads,
            label="a second one",
            related=((context.span(first.mark, "leads"), "the first one"),),
            help=f"let `{board.name}` follow: leave out `leads` here",
            fix=Fix(Span(leads.path, address.end, leads.end), ""),
        )
