"""battery-short: the battery does not last as long as the show wants.

What: with the stated use of the cues, the pack lasts for the wanted `run time` (a warning). The
finding says what use that is, and `bellcrank size` prints the same run time. Cues that take more
than ten minutes together are not rehearsed for it (advice says so).

Why: a costume with an empty battery stops on the street.

Example:

    source 2 li-ion cells, 800 mAh
    ...
    usage
        run time 4 h

Instead:

    source 2 li-ion cells, 3000 mAh

Source of the limit: the show's own `run time`; the usable part of a pack as in
`sim/rig/battery.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figures
from seqlang.checks.passing import as_long_as_that, is_too_long, rehearsable
from seqlang.checks.rewrite import rewritten
from seqlang.checks.supply.sagging import of_supply
from seqlang.text import units
from seqlang.text.findings import Finding
from seqlang.use_in_words import use_in_words
from sim.model import Cells, Supply
from sim.rig.battery import capacity_for_ah, pack_ah
from sim.rig.battery import run_time_h as hours_at
from sim.strain.usage import Book, RunTime, run_time


def check(context: Context) -> Iterator[Finding]:
    wanted = context.show.score.run_time_h
    if wanted is None or any(sag.collapsed for sag in context.sags):
        return
    if not context.once(rehearsable) and not context.once(is_too_long):
        return
    book: Book | None = None
    for supply in context.show.rig.supplies:
        own = of_supply(context, supply)
        if not own or not isinstance(supply.source, Cells):
            continue
        # no rehearsal is needed where the pack would last at the worst instant all the time
        peak_a = max(sag.source_a for sag in own)
        if hours_at(pack_ah(supply.source), peak_a) >= wanted:
            continue
        if not context.once(rehearsable):
            yield _not_rehearsed(context, supply, supply.source)
            continue
        book = Book(context.sound_show) if book is None else book
        lasts = run_time((book,), supply)
        if lasts is not None and lasts.hours < wanted:
            yield _short(context, lasts, supply, supply.source, wanted)


def _not_rehearsed(context: Context, supply: Supply, cells: Cells) -> Finding:
    takes_s, limit_s, too_long = as_long_as_that(context)
    return Finding(
        "advice",
        "battery-short",
        f"how long supply `{supply.name}` lasts is not worked out: {too_long}",
        context.span(cells.mark, "capacity"),
        related=((context.place("run time"), "it is to last so long"),),
        help="measure the current over a real hour, or check the busiest cues as a show of "
        "their own",
        asked=takes_s,
        limit=limit_s,
        unit="s",
    )


def _short(
    context: Context, found: RunTime, supply: Supply, cells: Cells, wanted_h: float
) -> Finding:
    needed = capacity_for_ah(wanted_h, found.mean_a) / cells.parallel
    span = context.span(cells.mark, "capacity")
    fix = rewritten(context, span, needed * 1.001, units.AMPERE_HOURS, "up")
    lasts, wanted = figures(found.hours, wanted_h)
    return Finding(
        "warning",
        "battery-short",
        f"supply `{supply.name}` lasts {lasts} h, and the show is to run for {wanted} h",
        span,
        label=f"lasts {lasts} h",
        related=((context.place("run time"), f"{wanted} h are wanted"),),
        notes=(use_in_words(context.show, found.mix),),
        help=f"take cells of at least `{fix.text}`",
        fix=fix,
        asked=wanted_h,
        limit=found.hours,
        unit="h",
    )
