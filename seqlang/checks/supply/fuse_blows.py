"""fuse-blows: the show's own peaks go over the fuse's rating.

What: the peak current at the source stays under the fuse's rating (a warning), and under what a
fuse of that kind surely carries for half a second (an error): 135 % of a blade fuse's rating, 110 %
of a fast cartridge's to UL 248-14, 150 % of one to IEC 60127. Where parts grip for longer, for as
long as that. What flows while nothing moves, with all lights on and all parts held up, stays under
what the fuse surely carries for an hour (an error): 100 %, 110 % and 150 %.

Why: a fuse that runs hot ages and opens on the street.

Example:

    fuse 2 A

Instead:

    fuse 7.5 A

Source of the limit: ISO 8820-3, UL 248-14 or IEC 60127-2, each by the maker's sheets named in
`sim/rig/fuse.py`; that a peak lasts half a second,
and what is lit and held an hour, are our own assumptions.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.supply.sagging import cues_running, standing, while_running
from seqlang.text.findings import Finding, Fix
from sim.model import Supply
from sim.rig.fuse import PEAK_S, STANDARDS, Standard
from sim.rig.grip import longest_s
from sim.strain.sag import Sag, held_sags


def check(context: Context) -> Iterator[Finding]:
    for supply in context.show.rig.supplies:
        own = standing(context, supply)
        if own:
            yield from _fuse(context, supply, max(own, key=lambda sag: sag.source_a))


def _fuse(context: Context, supply: Supply, sag: Sag) -> Iterator[Finding]:
    """Peaks over the rating are borne for a while, up to what the fuse's standard says."""
    if supply.fuse_a is None or sag.source_a <= supply.fuse_a:
        return
    standard = STANDARDS[supply.fuse_kind]
    fed = [board.name for board in context.show.rig.boards if board.supply == supply.name]
    carries = standard.share_for(max(PEAK_S, longest_s(context.sound_show.rig, fed)))
    held = _held(context, supply)
    for_long_a = held.source_a / standard.held_share if held is not None else 0.0
    if held is not None and for_long_a > max(supply.fuse_a, sag.source_a / carries):
        sag, carries = held, standard.held_share
    opens = sag.source_a > carries * supply.fuse_a
    needed = sag.source_a / carries if opens else sag.source_a
    rating = next((r for r in standard.ratings_a if r >= sag.source_a), None)
    span = context.span(supply.mark, "fuse")
    asked_text, limit_text = figures(sag.source_a, supply.fuse_a)
    yield Finding(
        "error" if opens else "warning",
        "fuse-blows",
        f"the fuse of supply `{supply.name}` is for {limit_text} A, and {asked_text} A flow "
        f"{while_running(sag)}",
        span,
        label=_label(sag, opens),
        related=cues_running(context, sag),
        notes=(_times(standard, sag.source_a / supply.fuse_a),),
        help=f"at least {figure(needed)} A: take the next {standard.title}, "
        f"`{figure(rating)} A`, and wire that carries it"
        if rating is not None
        else f"split the supply: no {standard.title} is that large",
        fix=None if rating is None else Fix(span, f"{figure(rating)} A"),
        asked=sag.source_a,
        limit=supply.fuse_a,
        unit="A",
    )


def _label(sag: Sag, opens: bool) -> str:
    if opens and not sag.cues:
        return "opens while lights are on and parts are held"
    return "opens on the show's own peaks" if opens else "runs hot on the show's own peaks"


def _held(context: Context, supply: Supply) -> Sag | None:
    """The most that may flow for as long as somebody likes, while nothing moves."""
    own = [sag for sag in held_sags(context.sound_show) if sag.supply == supply.name]
    return max(own, key=lambda sag: sag.source_a, default=None)


def _times(standard: Standard, share: float) -> str:
    """What the standard promises at that share of the rating."""
    carries, opens = standard.carries_s(share), standard.opens_s(share)
    at = f"at {figure(100 * share)} % of its rating a {standard.title}"
    least = f"carries {figure(carries)} s at least" if carries else "may open at once"
    return f"{at} {least}" + (f", and opens within {figure(opens)} s" if isfinite(opens) else "")
