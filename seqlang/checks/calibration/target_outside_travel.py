"""target-outside-travel: a move, or the safe pose, asks for an angle outside the servo's travel.

What: every angle a servo is sent to must lie in its `travel`.

Why: the travel ends where the part meets something: itself, its neighbour, the wearer.

Example:

    travel     2 deg to 55 deg
    ...
    jaw to 60 deg in 400 ms

Instead:

    jaw to 55 deg in 400 ms

Source of the limit: the servo's own `travel` line.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figures
from seqlang.checks.rewrite import measures, rewritten
from seqlang.text.findings import Finding, Span
from sim.model import Servo
from sim.rig.slide import of_part


def check(context: Context) -> Iterator[Finding]:
    for servo in context.servos.values():
        if not servo.travel_deg[0] <= servo.safe_deg <= servo.travel_deg[1]:
            span = context.span(servo.mark, "safe")
            yield _finding(context, servo, servo.safe_deg, span, "the safe angle of ")
    for move in context.moves:
        servo = context.servos[move.output]
        low, high = servo.travel_deg
        if not low <= move.angle_deg <= high:
            span = context.span(move.mark, "target")
            yield _finding(context, servo, move.angle_deg, span, "")
    for follow in context.show.rig.follows:
        followed = context.servos.get(follow.output)
        if followed is None:
            continue
        low, high = followed.travel_deg
        for end, angle_deg in (("from", follow.target_from), ("to", follow.target_to)):
            if not low <= angle_deg <= high:
                span = context.span(follow.mark, f"target {end}")
                yield _finding(
                    context, followed, angle_deg, span, f"where it follows `{follow.source}`, "
                )


def _finding(context: Context, servo: Servo, angle_deg: float, span: Span, what: str) -> Finding:
    low, high = servo.travel_deg
    limit = low if angle_deg < low else high
    asked_text, limit_text = figures(angle_deg, limit)
    side = "below" if angle_deg < low else "beyond"
    fix = rewritten(
        context, span, limit, measures(servo).place, "up" if angle_deg < low else "down"
    )
    return Finding(
        "error",
        "target-outside-travel",
        f"{what}`{servo.name}` lies {side} its travel: {asked_text} {of_part(servo).place}, "
        f"and the travel ends at {limit_text} {of_part(servo).place}",
        span,
        label=f"{side} {limit_text} {of_part(servo).place}",
        related=((context.span(servo.mark, "travel"), f"the travel of `{servo.name}`"),),
        help=f"stay within the travel: `{fix.text}`",
        fix=fix,
        asked=angle_deg,
        limit=limit,
        unit=of_part(servo).place,
    )
