"""safe-pose-spins: in the safe pose a part that turns round and round would turn.

What: in the safe pose such a part stands still: its place there is 0 rpm.

Why: the board goes to the safe pose at power-up and on the stop button. A part that starts to turn
when the switch is thrown winds up hair and fingers.

Example:

    safe pose rest
        rotor 30 rpm

Instead:

    safe pose rest
        rotor 0 rpm

Source of the limit: an unexpected start is the hazard that ISO 14118 is about (from memory); common
practice for worn parts, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Context
from seqlang.checks.figures import figure
from seqlang.text.findings import Finding, Fix


def check(context: Context) -> Iterator[Finding]:
    for servo in context.servos.values():
        if not servo.load.spins or servo.safe_deg == 0.0:
            continue
        stated = context.has_part(servo.mark, "safe")
        span = context.span(servo.mark, "safe" if stated else "name")
        yield Finding(
            "error",
            "safe-pose-spins",
            f"`{servo.name}` would turn at {figure(servo.safe_deg)} rpm in the safe pose: at "
            "power-up and after a stop",
            span,
            label="it must stand still here",
            help="let it stand still in the safe pose: `0 rpm`",
            fix=Fix(span, "0 rpm") if stated else None,
            asked=abs(servo.safe_deg),
            limit=0.0,
            unit="rpm",
        )
