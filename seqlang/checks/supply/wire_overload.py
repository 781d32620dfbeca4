"""wire-overload: a board's feed is too thin for its fuse, or for what flows without one.

What: the wire carries at least the fuse's rating (45 % more behind a cartridge to IEC 60127, which
opens late). A fuse before a regulator that lowers the voltage lets more through behind it: as much
power, up to what the regulator gives. Without a fuse the wire carries the board's peak current.
Feeds that are bundled carry less.

Why: the fuse must open before the wire gets hot inside a closed costume.

Example:

    feed pack, 600 mm of 28 AWG

Instead:

    feed pack, 600 mm of 20 AWG

Source of the limit: current by gauge and bundle as stated in `sim/rig/wire.py`, what a fuse asks of
its wire in `sim/rig/fuse.py`; local codes differ and come first.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.supply.sagging import of_supply
from seqlang.text.findings import Finding, Fix
from sim.model import Board, Supply, Wire
from sim.rig.supply import wire_needs_a
from sim.rig.wire import (
    GAUGES,
    bundled_share,
    called,
    carries_a,
    copper_awg,
    feed_carries_a,
    section_for,
)


def check(context: Context) -> Iterator[Finding]:
    for supply in context.show.rig.supplies:
        for board in context.show.rig.boards:
            if board.supply == supply.name and board.wire is not None:
                yield from _wire(context, supply, board, board.wire)


def _few_strands(wire: Wire, copper: int) -> str:
    count, strand_awg = wire.strands or (0, 0)
    stated = f"{count} strands of {strand_awg} AWG"
    return f"{stated} have the copper of {copper} AWG, not of {called(wire)}"


def _wire(context: Context, supply: Supply, board: Board, wire: Wire) -> Iterator[Finding]:
    """A fuse must open before its wire gets hot; without one, the wire carries the peak."""
    if supply.fuse_a is not None:
        flows = wire_needs_a(supply, supply.fuse_a)
        fuse = f"its fuse of {figure(supply.fuse_a)} A"
        more = flows > wire_needs_a(replace(supply, regulator=None), supply.fuse_a)
        what = f"behind the regulator {fuse} lets through" if more else f"{fuse} needs a wire for"
    else:
        sag = next((s for s in of_supply(context, supply) if s.board == board.name), None)
        flows, what = (sag.board_a if sag else 0.0), "the show draws"
    limit = feed_carries_a(wire)
    if flows <= limit:
        return
    share = bundled_share(wire.bundled)
    gauge = next((g for g in reversed(GAUGES) if carries_a(g) * share >= flows), None)
    section = None if gauge is None or wire.section_mm2 is None else section_for(gauge)
    thicker = None if gauge is None else f"{gauge} AWG" if section is None else f"{section:g} mm2"
    span = context.span(wire.mark, "gauge")
    flows_text, limit_text = figures(flows, limit)
    copper = copper_awg(wire)
    few = wire.strands is not None and copper != wire.gauge_awg
    bundle = "" if wire.bundled == 1 else f" in a bundle of {wire.bundled}"
    yield Finding(
        "error",
        "wire-overload",
        f"the feed of board `{board.name}` carries {limit_text} A{bundle}, and {what} "
        f"{flows_text} A",
        span,
        label=f"{f'{copper} AWG' if few else called(wire)} carries {limit_text} A{bundle}",
        notes=(_few_strands(wire, copper),) if few else (),
        help=f"use {thicker} or thicker; covered wires carry less, local codes differ"
        if thicker is not None
        else "split the feed",
        fix=None if thicker is None or wire.strands else Fix(span, thicker),
        asked=flows,
        limit=limit,
        unit="A",
    )
