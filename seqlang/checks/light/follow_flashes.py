"""follow-flashes: a source may make the lamp that follows it flash more than three times a second.

What: a lamp that follows changes so slowly that no second holds eight changes of a tenth of its
full light, whatever is done to its source. The brighter it gets, the slower that is: to 50 % it
takes 0.7 s, to 100 % 3.8 s. A lamp of a saturated red does not go dark while it follows, because
red against dark counts however dim it is. No effect of idle lies on a lamp that follows.

Why: a hand that shakes a stick, or a voice, could make a strobe of it. Flashing light, saturated
red above all, can set off seizures.

Example:

    follows voice from 10 % to 60 %, 0 % to 100 %, in 300 ms

Instead:

    follows voice from 10 % to 60 %, 0 % to 100 %, in 3.8 s

or a lamp that gets less bright, and so may be quicker:

    follows voice from 10 % to 60 %, 0 % to 40 %, in 400 ms

Source of the limit: WCAG 2.2, success criterion 2.3.1, made for screens; read on the safe side for
lamps (see `sim/strain/followed_light.py`). Passing is no promise: some people react to less. Lights
that cues change at the same time are not added.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import seconds
from seqlang.checks.motion.follow_overload import slower
from seqlang.checks.rewrite import rewritten
from seqlang.text import units
from seqlang.text.findings import Finding
from sim.model import Effect, Follow, Lamp
from sim.score.tree import acts
from sim.strain.followed_light import is_red, shortest_way_ms


def check(context: Context) -> Iterator[Finding]:
    for follow in context.show.rig.follows:
        lamp = context.lamps.get(follow.output)
        if lamp is None:
            continue
        shortest = shortest_way_ms(lamp, follow)
        if follow.way_ms < shortest:
            yield _too_quick(context, follow, shortest)
        if is_red(lamp) and min(follow.target_from, follow.target_to) <= 0.0:
            yield _dark_red(context, lamp, follow)
        yield from _under_effects(context, follow)


def _too_quick(context: Context, follow: Follow, shortest_ms: int) -> Finding:
    shortest_ms = 10 * -(-shortest_ms // 10)
    return Finding(
        "error",
        "follow-flashes",
        f"`{follow.source}` may make `{follow.output}` flash more than three times a second",
        context.span(follow.mark, "duration"),
        label=f"changes from end to end in {seconds(follow.way_ms)}",
        help=f"`in {shortest_ms} ms` is slow enough; or let `{follow.output}` get less bright",
        fix=slower(context, follow, shortest_ms),
        asked=float(follow.way_ms),
        limit=float(shortest_ms),
        unit="ms",
    )


def _dark_red(context: Context, lamp: Lamp, follow: Follow) -> Finding:
    end = "from" if follow.target_from <= 0.0 else "to"
    span = context.span(follow.mark, f"target {end}")
    return Finding(
        "error",
        "follow-flashes",
        f"`{lamp.name}` is a saturated red, and goes dark while it follows `{follow.source}`",
        span,
        label="red against dark counts as a flash, however dim",
        related=((context.span(lamp.mark, "colour"), "its colour"),),
        help="let it stay lit a little, such as at `1 %`, or take a lamp of another colour",
        fix=rewritten(context, span, 1.0, units.LEVEL, "up"),
        asked=0.0,
        limit=1.0,
        unit="%",
    )


def _under_effects(context: Context, follow: Follow) -> Iterator[Finding]:
    for name in context.show.score.idle:
        cue = context.cues.get(name)
        laid = (act for act in acts(cue.body) if isinstance(act, Effect)) if cue else ()
        own = next((a for a in laid if a.output == follow.output and a.name != "steady"), None)
        if own is not None:
            yield Finding(
                "error",
                "follow-flashes",
                f"idle lays `{own.name}` on `{follow.output}`, which follows `{follow.source}`",
                context.span(own.mark, "effect"),
                label="both together may flash",
                related=((context.span(follow.mark), "follows here"),),
                help="take one of the two lines out",
            )
