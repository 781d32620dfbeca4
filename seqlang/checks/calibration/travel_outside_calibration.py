"""travel-outside-calibration: a servo's travel reaches beyond its calibration points.

What: both ends of the travel lie between the first and the last calibration point.

Why: beyond the last measured point the pulse of an angle is not known, and the board does not
guess.

Example:

    pulse      900 us at 0 deg, 2100 us at 90 deg
    travel     -5 deg to 55 deg

Instead:

    travel     0 deg to 55 deg

Source of the limit: the servo's own calibration points (TABLE.md, outputs: travel inside the
points).
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.calibration.calibration_order import is_ordered
from seqlang.checks.context import Context
from seqlang.checks.figures import figures
from seqlang.checks.rewrite import measures, rewritten
from seqlang.text.findings import Finding, Fix
from sim.rig.slide import of_part


def check(context: Context) -> Iterator[Finding]:
    for servo in context.servos.values():
        if not is_ordered(servo):
            continue
        first, last = servo.points[0].angle_deg, servo.points[-1].angle_deg
        low, high = servo.travel_deg
        for part, angle_deg, limit_deg, outside, side in (
            ("travel low", low, first, low < first, "below"),
            ("travel high", high, last, high > last, "beyond"),
        ):
            if not outside:
                continue
            span, unit = context.span(servo.mark, part), of_part(servo).place
            asked, limit = figures(angle_deg, limit_deg)
            fix: Fix | None = rewritten(
                context,
                span,
                limit_deg,
                measures(servo).place,
                "up" if side == "below" else "down",
            )
            if low >= last or high <= first:  # nothing is left of the travel if it ends there
                fix = None
            yield Finding(
                "error",
                "travel-outside-calibration",
                f"the travel of `{servo.name}` ends at {asked} {unit}, {side} its "
                f"{'first' if side == 'below' else 'last'} calibration point at {limit} {unit}",
                span,
                label=f"no pulse is known {side} {limit} {unit}",
                related=((context.span(servo.mark, "pulse"), "the calibration points"),),
                help="measure points on both sides of the travel"
                if fix is None
                else f"measure a point further out, or end the travel at `{fix.text}`",
                fix=fix,
                asked=angle_deg,
                limit=limit_deg,
                unit=unit,
            )
