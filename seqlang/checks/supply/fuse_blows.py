"""fuse-blows: the show's own peaks go over the fuse's rating.

What: the peak current at the source stays under the fuse's rating (a warning), and under 135 % of
it (an error).

Why: a fuse that runs hot ages and opens on the street; over 135 % it opens within the hour.

Example:

    fuse 2 A

Instead:

    fuse 7.5 A

Source of the limit: UL 248-14 test points, as stated in `sim/rig/fuse.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.supply.sagging import cues_running, standing, while_running
from seqlang.text.findings import Finding, Fix
from sim.model import Supply
from sim.rig import fuse as fuses
from sim.strain.sag import Sag


def check(context: Context) -> Iterator[Finding]:
    for supply in context.show.rig.supplies:
        own = standing(context, supply)
        if own:
            yield from _fuse(context, supply, max(own, key=lambda sag: sag.source_a))


def _fuse(context: Context, supply: Supply, sag: Sag) -> Iterator[Finding]:
    """Peaks over the rating are borne for a while (see `sim/rig/fuse.py`); over 135 % they are
    not."""
    if supply.fuse_a is None or sag.source_a <= supply.fuse_a:
        return
    opens = sag.source_a > fuses.CARRIES_FOR_AN_HOUR * supply.fuse_a
    needed = sag.source_a if not opens else sag.source_a / fuses.CARRIES_FOR_AN_HOUR
    rating = next((r for r in fuses.RATINGS_A if r >= sag.source_a), None)
    span = context.span(supply.mark, "fuse")
    asked_text, limit_text = figures(sag.source_a, supply.fuse_a)
    yield Finding(
        "error" if opens else "warning",
        "fuse-blows",
        f"the fuse of supply `{supply.name}` is for {limit_text} A, and {asked_text} A flow "
        f"{while_running(sag)}",
        span,
        label="opens on the show's own peaks" if opens else "runs hot on the show's own peaks",
        related=cues_running(context, sag),
        help=f"at least {figure(needed)} A: take the next blade fuse, `{figure(rating)} A`, and "
        "wire that carries it"
        if rating is not None
        else "split the supply: no blade fuse is that large",
        fix=None if rating is None else Fix(span, f"{figure(rating)} A"),
        asked=sag.source_a,
        limit=supply.fuse_a,
        unit="A",
    )
