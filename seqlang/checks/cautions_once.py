"""caution-pinch, caution-lithium, caution-heat, caution-flashing, caution-getting-out.

What: each caution that the show's own parts give reason for, once, as advice.

Why: a part that moves, heats, flashes or is worn can hurt; the tool says so where it matters.

Example: any show with a servo.

Instead: nothing to change; read and heed.

Source of the limit: common practice, no source (see `seqlang/cautions.py`); contact limits as
named in `sim/rig/pinch.py`. Local codes, venue rules and licensed practice come first: the last of
a run's cautions says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from seqlang import cautions
from seqlang.checks.context import Context
from seqlang.checks.figures import figure
from seqlang.text.findings import Finding, Span
from sim.model import Cells, Lamp, Strip
from sim.rig.pinch import STATUS, pinch
from sim.rig.supply import highest_v

LITHIUM = frozenset({"li-ion", "lipo", "lifepo4"})


def check(context: Context) -> Iterator[Finding]:
    shown = list(_cautions(context))
    last = max(shown, key=lambda finding: finding.span.start, default=None)
    for finding in shown:
        if finding is last:
            yield replace(finding, notes=(*finding.notes, cautions.DEFER))
        else:
            yield finding


def _cautions(context: Context) -> Iterator[Finding]:
    rig = context.show.rig
    for supply in rig.supplies:
        if isinstance(supply.source, Cells) and supply.source.chemistry in LITHIUM:
            yield _caution(cautions.LITHIUM, context.span(supply.source.mark, "chemistry"))
            break
    for servo in context.servos.values():
        yield _caution(cautions.HEAT, context.span(servo.mark, "name"))
        break
    yield from _pinch(context)
    driven = {output for names in context.uses.values() for output in names}
    for output in rig.outputs:
        if isinstance(output, Lamp | Strip) and output.name in driven:
            yield _caution(cautions.FLASHING, context.span(output.mark, "name"))
            break
    if context.servos and _worn(context):
        yield _caution(cautions.GETTING_OUT, context.place("show", "title"))


def _pinch(context: Context) -> Iterator[Finding]:
    """The caution stands at the part that pinches hardest; every other part has its force noted."""
    region = context.show.rig.wearer.region
    forces = [
        force
        for servo in context.servos.values()
        if (force := pinch(servo, highest_v(context.show.rig, servo.board), region)) is not None
    ]
    if not forces:
        if context.servos:
            first = next(iter(context.servos.values()))
            yield _caution(cautions.PINCH, context.span(first.mark, "name"))
        return
    forces.sort(key=lambda force: -force.force_n)
    limit = forces[0].limit_n
    notes = [f"`{one.servo}`: {figure(one.force_n)} N at its tip when it stalls" for one in forces]
    if limit is not None:
        over = "over" if forces[0].over_limit else "under"
        notes.append(f"{over} the {figure(limit)} N published for {region}: {STATUS}")
    worst = context.servos[forces[0].servo]
    yield Finding(
        "advice",
        cautions.PINCH.name,
        f"{cautions.PINCH.title}: `{worst.name}` with {figure(forces[0].force_n)} N at its tip",
        context.span(worst.mark, "name"),
        notes=(*notes, *cautions.PINCH.words),
        asked=forces[0].force_n,
        limit=limit,
        unit="N",
    )


def _worn(context: Context) -> bool:
    """A wearer is described, or the parts live on batteries."""
    rig = context.show.rig
    described = rig.wearer.tilt_deg > 0.0 or rig.wearer.region is not None
    return described or any(isinstance(supply.source, Cells) for supply in rig.supplies)


def _caution(caution: cautions.Caution, span: Span) -> Finding:
    return Finding(
        "advice",
        caution.name,
        caution.title,
        span,
        notes=caution.words,
    )
