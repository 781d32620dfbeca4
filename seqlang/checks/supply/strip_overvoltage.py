"""strip-overvoltage: a strip's pixels can get more voltage than they can take.

What: the highest voltage at a strip (its board's feed with a full battery and no load, or its own
converter) is at most 5.3 V (a warning).

Why: common pixels are made for 5 V. More of it kills them, one after another, or all at once.

Example:

    regulator 6.0 V, 6 A

Instead: a converter for the strip, with a line of its own:

    strip belly: body pin PD7
        pixels 30
        feed 5 V

Source of the limit: the absolute maximum in data sheets of 5 V pixels (WS2812 class: 3.5 to 5.3 V),
from memory. Pixels of another class have their own data sheets, which come first.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.text.findings import Finding, Fix
from sim.rig.supply import PIXEL_HIGHEST_V, PIXEL_V, of_board, pixels_v


def check(context: Context) -> Iterator[Finding]:
    rig = context.show.rig
    for strip in context.strips.values():
        volts = pixels_v(rig, strip)
        _, supply = of_board(rig, strip.board)
        if volts <= PIXEL_HIGHEST_V * (1.0 + 1e-9) or (supply is None and strip.feed_v is None):
            continue
        own = strip.feed_v is not None
        span = context.span(strip.mark, "feed" if own else "name")
        volts_text, limit_text = figures(volts, PIXEL_HIGHEST_V)
        told = () if own or supply is None else (supply,)
        yield Finding(
            "warning",
            "strip-overvoltage",
            f"strip `{strip.name}` can get {volts_text} V, and 5 V pixels can take {limit_text} V",
            span,
            label="kills pixels",
            related=tuple(
                (context.span(one.mark, "name"), "its highest voltage, without a load")
                for one in told
            ),
            help=f"give it a converter of its own, and say `feed {figure(PIXEL_V)} V` below it",
            fix=Fix(span, f"{figure(PIXEL_V)} V") if own else None,
            asked=volts,
            limit=PIXEL_HIGHEST_V,
            unit="V",
        )
