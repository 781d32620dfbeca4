"""wire-overload: a board's feed is too thin for its fuse, or for what flows without one.

What: the wire carries at least the fuse's rating; without a fuse, the board's peak current.

Why: the fuse must open before the wire gets hot inside a closed costume.

Example:

    feed pack, 600 mm of 28 AWG

Instead:

    feed pack, 600 mm of 20 AWG

Source of the limit: current by gauge as stated in `sim/rig/wire.py`; local codes differ and come
first.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figure
from seqlang.checks.supply.sagging import of_supply
from seqlang.text.findings import Finding, Fix
from sim.model import Supply
from sim.rig.wire import GAUGES, carries_a


def check(context: Context) -> Iterator[Finding]:
    for supply in context.show.rig.supplies:
        yield from _wires(context, supply)


def _wires(context: Context, supply: Supply) -> Iterator[Finding]:
    """A fuse must open before its wire gets hot; without one, the wire carries the peak."""
    for board in context.show.rig.boards:
        if board.supply != supply.name or board.wire is None:
            continue
        sag = next((s for s in of_supply(context, supply) if s.board == board.name), None)
        flows = supply.fuse_a if supply.fuse_a is not None else (sag.board_a if sag else 0.0)
        limit = carries_a(board.wire.gauge_awg)
        if flows <= limit:
            continue
        gauge = next((g for g in reversed(GAUGES) if carries_a(g) >= flows), None)
        span = context.span(board.wire.mark, "gauge")
        what = "its fuse opens at" if supply.fuse_a is not None else "the show draws"
        yield Finding(
            "error",
            "wire-overload",
            f"the feed of board `{board.name}` carries {figure(limit)} A, and {what} "
            f"{figure(flows)} A",
            span,
            label=f"{board.wire.gauge_awg} AWG carries {figure(limit)} A",
            help=f"use {gauge} AWG or thicker; bundled wires carry less, local codes differ"
            if gauge is not None
            else "split the feed",
            fix=None if gauge is None else Fix(span, f"{gauge} AWG"),
            asked=flows,
            limit=limit,
            unit="A",
        )
