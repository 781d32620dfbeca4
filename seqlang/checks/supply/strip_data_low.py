"""strip-data-low: a chip's pin is too low for the data line of a strip.

What: a pin gives the voltage of its chip. A strip's data line needs 70 % of the voltage of its
pixels: that of the feed, or 5 V from a converter if the feed is higher (a warning).

Why: the strip then shows wrong colours, or works on the bench and flickers in the cold.

Example:

    logic  3.3 V

Instead: a chip at 5 V, or a level shifter in the data line:

    strip belly: body pin PD7
        pixels 30
        shifter

Source of the limit: data sheets of 5 V pixels (0.7 of their supply), from memory.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figures
from seqlang.text.findings import Finding
from sim.rig.supply import strip_data


def check(context: Context) -> Iterator[Finding]:
    for strip in context.strips.values():
        data = strip_data(context.show.rig, strip)
        if strip.shifter or data.high_v >= data.needs_v * (1.0 - 1e-9):
            continue
        given, needed = figures(data.high_v, data.needs_v)
        board = context.boards[strip.board]
        logic = context.has_part(board.mark, "logic")
        yield Finding(
            "warning",
            "strip-data-low",
            f"the pin of strip `{strip.name}` gives {given} V, and its data line needs {needed} V",
            context.span(strip.mark, "pin"),
            related=((context.span(board.mark, "logic"), "what the chip gets"),) if logic else (),
            help="put a level shifter into the data line and say `shifter`, or feed the chip with "
            "5 V",
            asked=data.high_v,
            limit=data.needs_v,
            unit="V",
        )
