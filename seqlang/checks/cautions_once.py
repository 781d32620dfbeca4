"""caution-pinch, caution-lithium, caution-heat, caution-flashing, caution-getting-out.

What: each caution that the show's own parts give reason for, once, as advice.

Why: a part that moves, heats, flashes or is worn can hurt; the tool says so where it matters.

Example: any show with a servo.

Instead: nothing to change; read and heed.

Source of the limit: common practice, no source (see `seqlang/cautions.py`); contact limits as
named in `sim/pinch.py`. Local codes, venue rules and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang import cautions
from seqlang.checks.scene import Scene
from seqlang.diagnostics import Finding, Span
from sim.model import Cells, Lamp, Strip

LITHIUM = frozenset({"li-ion", "lipo", "lifepo4"})


def check(scene: Scene) -> Iterator[Finding]:
    rig = scene.show.rig
    for supply in rig.supplies:
        if isinstance(supply.source, Cells) and supply.source.chemistry in LITHIUM:
            yield _caution(cautions.LITHIUM, scene.span(supply.source.mark, "chemistry"))
            break
    for servo in scene.servos.values():
        yield _caution(cautions.HEAT, scene.span(servo.mark, "name"))
        break
    driven = {output for names in scene.uses.values() for output in names}
    for output in rig.outputs:
        if isinstance(output, Lamp | Strip) and output.name in driven:
            yield _caution(cautions.FLASHING, scene.span(output.mark, "name"))
            break
    if scene.servos and _worn(scene):
        yield _caution(cautions.GETTING_OUT, scene.place("show", "title"))


def _worn(scene: Scene) -> bool:
    """A wearer is described, or the parts live on batteries."""
    rig = scene.show.rig
    described = rig.wearer.tilt_deg > 0.0 or rig.wearer.region is not None
    return described or any(isinstance(supply.source, Cells) for supply in rig.supplies)


def _caution(caution: cautions.Caution, span: Span, notes: tuple[str, ...] = ()) -> Finding:
    return Finding(
        "advice",
        caution.name,
        caution.title,
        span,
        notes=(*notes, *caution.words, cautions.DEFER),
    )
