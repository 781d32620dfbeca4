"""fuse-blows: the show's own peaks go over the fuse's rating.

What: the peak current at the source stays under the fuse's rating (a warning), and under what a
fuse of that kind surely carries for half a second (an error): 135 % of a blade fuse's rating, 110 %
of a fast cartridge's to UL 248-14, 150 % of one to IEC 60127. If parts grip for longer, the fuse
must carry it for as long as they grip. The current while nothing moves, with all lights on and all
parts held up, stays under what the fuse surely carries for an hour (an error): 100 %, 110 % and 150
%. A cue may take its current for longer than a peak. Started again and again, it makes the fuse no
hotter than that current for an hour does (an error). A blade fuse carries 135 % for 0.75 s: so 135
% may flow for so long after a rest, and 120 % for 1.1 s. In warm air a blade fuse has less than its
rating, and all of this counts from what is left.

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
from dataclasses import dataclass
from math import isfinite

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.passing import rehearsable
from seqlang.checks.supply.sagging import cues_running, standing, while_running
from seqlang.text.findings import Finding, Fix, Span
from sim.model import Supply
from sim.rig.fuse import PEAK_S, STANDARDS, Standard
from sim.rig.grip import longest_s
from sim.strain.fuse_load import Warming, warming
from sim.strain.sag import Sag, held_sags
from sim.strain.usage import Book


def check(context: Context) -> Iterator[Finding]:
    for supply in context.show.rig.supplies:
        own = standing(context, supply)
        if own:
            yield from _fuse(context, supply, max(own, key=lambda sag: sag.source_a))


@dataclass(frozen=True)
class _FuseDemand:
    """What the show asks of a fuse for at least so long (s), and what it is, in words.

    `least_a`: the rating, in cool air, that surely carries it; `opens`: it is more than the present
    one has left.
    """

    amps: float
    least_a: float
    opens: bool
    words: str
    label: str
    related: tuple[tuple[Span, str], ...]


def _fuse(context: Context, supply: Supply, sag: Sag) -> Iterator[Finding]:
    """Peaks over the rating are borne for a while, up to what the fuse's standard says."""
    if supply.fuse_a is None:
        return
    standard = STANDARDS[supply.fuse_kind]
    air_c = context.show.rig.wearer.temperature_c
    left = standard.points_when_warm(air_c)
    left_a = left * supply.fuse_a
    if sag.source_a <= left_a:
        return  # a bound on all that flows
    worst = max(
        _asked(context, supply, sag, standard, left_a),
        key=lambda one: (one.opens, round(one.least_a, 4)),
    )
    needed = (worst.least_a if worst.opens else sag.source_a) / left
    rating = next((r for r in standard.ratings_a if r * left >= sag.source_a), None)
    span = context.span(supply.mark, "fuse")
    asked_text, limit_text = figures(worst.amps, left_a)
    warm = f" in air of {air_c:g} C" if left < 1.0 else ""
    yield Finding(
        "error" if worst.opens else "warning",
        "fuse-blows",
        f"the fuse of supply `{supply.name}` is for {limit_text} A{warm}, and {asked_text} A "
        f"{worst.words}",
        span,
        label=worst.label,
        related=worst.related,
        notes=(_times(standard, worst.amps / left_a, warm),),
        help=f"at least {figure(needed)} A: take the next {standard.title}, "
        f"`{figure(rating)} A`, and wire that carries it"
        if rating is not None
        else f"split the supply: no {standard.title} is that large",
        fix=None if rating is None else Fix(span, f"{figure(rating)} A"),
        asked=worst.amps,
        limit=left_a,
        unit="A",
    )


def _asked(
    context: Context, supply: Supply, sag: Sag, standard: Standard, left_a: float
) -> Iterator[_FuseDemand]:
    """The peak, what is lit and held, and what cues take for longer than a peak."""
    fed = [board.name for board in context.show.rig.boards if board.supply == supply.name]
    peak = standard.share_for(max(PEAK_S, longest_s(context.sound_show.rig, fed)))
    held = _held(context, supply)
    for one, share in ((sag, peak), *([(held, standard.held_share)] if held else [])):
        least_a = one.source_a / share
        opens = least_a > left_a
        words = f"flow {while_running(one)}"
        related = cues_running(context, one)
        if one is sag or opens:
            yield _FuseDemand(one.source_a, least_a, opens, words, _label(one, opens), related)
    if context.once(rehearsable):
        hottest = warming((Book(context.sound_show),), supply, standard)
        if hottest is not None and hottest.amps > standard.held_share * left_a:
            yield _of_heat(context, hottest, standard)


def _of_heat(context: Context, hottest: Warming, standard: Standard) -> _FuseDemand:
    cue = None if hottest.cue is None else context.cues.get(hottest.cue)
    what = "standing by" if hottest.cue is None else "idle" if cue is None else f"`{cue.name}`"
    return _FuseDemand(
        hottest.amps,
        hottest.amps / standard.held_share,
        True,
        f"is the steady current that heats it like {what} without a pause",
        "may open while a cue goes on",
        () if cue is None else ((context.span(cue.mark, "name"), "takes that heat"),),
    )


def _label(sag: Sag, opens: bool) -> str:
    if opens and not sag.cues:
        return "opens while lights are on and parts are held"
    return "opens on the show's own peaks" if opens else "runs hot on the show's own peaks"


def _held(context: Context, supply: Supply) -> Sag | None:
    """The most that may flow for as long as somebody likes, while nothing moves."""
    own = [sag for sag in held_sags(context.sound_show) if sag.supply == supply.name]
    return max(own, key=lambda sag: sag.source_a, default=None)


def _times(standard: Standard, share: float, warm: str) -> str:
    """What the standard promises at that share of the rating."""
    carries, opens = standard.carries_s(share), standard.opens_s(share)
    at = f"at {figure(100 * share)} % of its rating{warm} a {standard.title}"
    least = f"carries {figure(carries)} s at least" if carries else "may open at once"
    return f"{at} {least}" + (f", and opens within {figure(opens)} s" if isfinite(opens) else "")
