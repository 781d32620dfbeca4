"""strip-over-supply: a strip, fully white, would overload its supply, and nothing caps it.

What: a strip without a `cap` line draws, with every pixel fully on, no more than its supply gives.
A `trim` or a `balance` does not count here.

Why: the show's own colours may be dim, but one wrong colour, or a board that starts up with noise
on its data line, turns every pixel white, past what the board trims.

Example:

    pixels 100, order grb, each 20 mA

Instead:

    pixels 100, order grb, each 20 mA
    cap 1.5 A

Source of the limit: the current of regulator, adapter or fuse; 20 mA a colour is common practice.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import floor

from seqlang.checks.context import Context
from seqlang.checks.figures import figure
from seqlang.text.findings import Finding, Fix, Span
from sim.model import Adapter, Strip, Supply
from sim.rig.supply import feed_share, of_board, strip_full_a


def check(context: Context) -> Iterator[Finding]:
    for strip in context.strips.values():
        _, supply = of_board(context.show.rig, strip.board)
        limit = None if supply is None else limit_a(supply)
        if supply is None or limit is None or strip.cap_a is not None:
            continue
        share = feed_share(context.show.rig, strip)
        full = strip_full_a(strip) * share
        if full > limit:
            yield _finding(context, strip, supply, full, limit, share)


def limit_a(supply: Supply) -> float | None:
    """The least of what regulator, adapter and fuse let through; None: nothing limits it."""
    limits = [supply.fuse_a]
    if supply.regulator is not None:
        limits.append(supply.regulator.current_a)
    if isinstance(supply.source, Adapter):
        limits.append(supply.source.current_a)
    return min((limit for limit in limits if limit is not None), default=None)


def _finding(
    context: Context, strip: Strip, supply: Supply, full: float, limit: float, share: float
) -> Finding:
    """`full`, `limit`: at the feed, which bears `share` times the strip's own current."""
    span = context.span(strip.mark, "pixels")
    cap = max(0.1, floor(limit / share / 2.0 * 10.0) / 10.0)
    line, indent = _line_of(context, span)
    fix = Fix(line, f"cap {figure(cap)} A\n{indent}")
    return Finding(
        "warning",
        "strip-over-supply",
        f"strip `{strip.name}` draws {figure(full)} A when all is white, and supply "
        f"`{supply.name}` gives {figure(limit)} A",
        span,
        label=f"{figure(full)} A fully on",
        related=((context.span(supply.mark, "name"), f"gives {figure(limit)} A"),),
        help=f"let the board keep it under half of that: `cap {figure(cap)} A`",
        fix=fix,
        asked=full,
        limit=limit,
        unit="A",
    )


def _line_of(context: Context, span: Span) -> tuple[Span, str]:
    """The start of the statement that `span` stands in, and its indentation."""
    before = context.indent(span)
    indent = before[: len(before) - len(before.lstrip())]
    at = span.start - len(before) + len(indent)
    return Span(span.path, at, at), indent
