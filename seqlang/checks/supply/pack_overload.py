"""pack-overload: the show draws more current than such a battery can give.

What: the peak current at the source stays under what an ordinary pack of that chemistry and
capacity can give (a warning).

Why: a cell that gives too much gets hot, sags and swells.

Example:

    source 2 lipo cells, 100 mAh

Instead:

    source 2 lipo cells, 1500 mAh

Source of the limit: current per capacity by chemistry as stated in `sim/rig/battery.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figures
from seqlang.checks.rewrite import rewritten
from seqlang.checks.supply.sagging import cues_running, standing, while_running
from seqlang.text import units
from seqlang.text.findings import Finding
from sim.model import Cells, Supply
from sim.rig.battery import stands_a
from sim.strain.sag import Sag


def check(context: Context) -> Iterator[Finding]:
    for supply in context.show.rig.supplies:
        own = standing(context, supply)
        if own and isinstance(supply.source, Cells):
            worst = max(own, key=lambda sag: sag.source_a)
            if worst.source_a > stands_a(supply.source):
                yield _finding(context, supply, supply.source, worst)


def _finding(context: Context, supply: Supply, cells: Cells, sag: Sag) -> Finding:
    limit = stands_a(cells)
    span = context.span(cells.mark, "capacity")
    # larger cells sag less, so this is enough
    fix = rewritten(
        context,
        span,
        cells.capacity_ah * sag.source_a / limit * 1.0001,
        units.AMPERE_HOURS,
        "up",
    )
    asked_text, limit_text = figures(sag.source_a, limit)
    return Finding(
        "warning",
        "pack-overload",
        f"the pack of supply `{supply.name}` must give {asked_text} A "
        f"{while_running(sag)}, and such a pack can give about {limit_text} A",
        span,
        label=f"can give about {limit_text} A",
        related=cues_running(context, sag),
        help=f"take cells of at least `{fix.text}`, or a pack whose maker states more",
        fix=fix,
        asked=sag.source_a,
        limit=limit,
        unit="A",
    )
