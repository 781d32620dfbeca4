"""calibration-gap: between two calibration points a linkage bends away from the straight line.

What: between neighbouring calibration points the part misses its commanded angle by no more than a
degree (advice).

Why: the board makes pulses in straight lines between the points; a linkage does not turn the part
in straight lines.

Example: two points over the whole travel of a four-bar.

Instead: measure one point more where the part misses most.

Source of the limit: this tool's advice; the miss is that of `sim/rig/drive.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.calibration.calibration_order import is_ordered
from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.text.findings import Finding
from sim.model import Gear
from sim.rig.drive import calibration_gap, reach

MOST_DEG = 1.0
"""A miss that nobody sees on a moving part (own judgement)."""


def check(context: Context) -> Iterator[Finding]:
    for servo in context.servos.values():
        if isinstance(servo.drive, Gear) or servo.name not in context.sound:
            continue
        if not is_ordered(servo) or reach(servo).stuck_deg is not None:
            continue
        gap = calibration_gap(servo)
        if gap.worst_deg <= MOST_DEG:
            continue
        asked, limit = figures(gap.worst_deg, MOST_DEG)
        low, high = gap.between_deg
        yield Finding(
            "advice",
            "calibration-gap",
            f"`{servo.name}` misses its angle by up to {asked} deg between its calibration points "
            f"at {figure(low)} deg and {figure(high)} deg, and {limit} deg is hardly seen",
            context.span(servo.mark, "pulse"),
            label="straight in pulses, bent in angles",
            related=((context.span(servo.drive.mark), "the linkage"),),
            help=f"measure one more point near {figure(round(gap.at_deg))} deg",
            asked=gap.worst_deg,
            limit=MOST_DEG,
            unit="deg",
        )
