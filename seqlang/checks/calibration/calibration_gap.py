"""calibration-gap, backlash: a part does not stand at its commanded angle.

calibration-gap: between two calibration points a part misses its commanded angle.
backlash: play lets a part stand beside its commanded angle.

What: between neighbouring calibration points the part misses its commanded angle by no more than a
degree. Stated play lets it stand no more than a degree to either side (advice).

Why: the board makes pulses in straight lines between the points; a linkage does not turn the part
in straight lines. Play can be seen where the load changes
its direction.

Example: two points over the whole travel of a four-bar.

Instead: measure one more point where the part misses most; let a spring hold the part to one side.

Source of the limit: this tool's advice; the miss is that of `sim/rig/drive.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.calibration.calibration_order import is_ordered
from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.text.findings import Finding
from sim.model import Gear, Servo
from sim.rig.drive import calibration_gap
from sim.rig.slide import of_part

MOST_DEG = 1.0
"""A miss that nobody sees on a moving part (own judgement)."""


def check(context: Context) -> Iterator[Finding]:
    for servo in context.servos.values():
        if servo.name not in context.sound:
            continue
        if servo.backlash_deg / 2.0 > MOST_DEG:
            yield _play(context, servo)
        if isinstance(servo.drive, Gear) or not is_ordered(servo):
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
            f"at {figure(low)} deg and {figure(high)} deg; "
            f"a miss of {limit} deg is hardly seen",
            context.span(servo.mark, "pulse"),
            label="the pulse runs straight here, the part does not",
            related=((context.span(servo.drive.mark), "the linkage"),),
            help=f"measure one more point near {figure(round(gap.at_deg))} deg",
            asked=gap.worst_deg,
            limit=MOST_DEG,
            unit="deg",
        )


def _play(context: Context, servo: Servo) -> Finding:
    asked, limit = figures(servo.backlash_deg / 2.0, MOST_DEG)
    unit = of_part(servo).place
    return Finding(
        "advice",
        "backlash",
        f"the play of `{servo.name}` lets it stand {asked} {unit} to either side of its "
        f"{'place' if unit == 'mm' else 'angle'}; {limit} {unit} is hardly seen",
        context.span(servo.mark, "backlash"),
        label=f"play between {'rod' if servo.linear else 'horn'} and part",
        help="let a light spring hold the part to one side of its play, or tighten the linkage",
        asked=servo.backlash_deg / 2.0,
        limit=MOST_DEG,
        unit=unit,
    )
