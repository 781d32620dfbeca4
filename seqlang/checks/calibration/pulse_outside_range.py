"""pulse-outside-range: at an end of its travel a servo would get a pulse outside its range.

What: the pulses at both ends of the travel lie within the servo's pulse range.

Why: a servo sent beyond its range drives against its own end stop, draws its stall current and
strips its gears.

Example:

    pulse      400 us at 0 deg, 2100 us at 90 deg
    travel     0 deg to 55 deg

Instead:

    travel     6 deg to 55 deg

Source of the limit: the servo's `limits` line, by default 500 us to 2500 us (common practice, no
source).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from seqlang.checks.calibration.calibration_order import is_ordered
from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.rewrite import measures, rewritten
from seqlang.text.findings import Finding
from sim.model import Servo
from sim.rig.slide import of_part


def check(context: Context) -> Iterator[Finding]:
    for servo in context.servos.values():
        if not is_ordered(servo):
            continue
        for part, angle_deg in zip(("travel low", "travel high"), servo.travel_deg, strict=True):
            yield from _travel_end(context, servo, part, angle_deg)


def _travel_end(context: Context, servo: Servo, part: str, angle_deg: float) -> Iterator[Finding]:
    low, high = servo.pulse_range_us
    pulse_us = _pulse_us(servo, angle_deg)
    if low <= pulse_us <= high:
        return
    limit = low if pulse_us < low else high
    asked_text, limit_text = figures(pulse_us, limit)
    span = context.span(servo.mark, part)
    passing = _angle_deg(servo, limit)
    fix = None
    if not math.isnan(passing):
        fix = rewritten(
            context, span, passing, measures(servo).place, "up" if part == "travel low" else "down"
        )
    yield Finding(
        "error",
        "pulse-outside-range",
        f"at {figure(angle_deg)} {of_part(servo).place} `{servo.name}` would get a pulse of "
        f"{asked_text} us, and it takes {figure(low, 4)} us to {figure(high, 4)} us",
        span,
        label=f"{asked_text} us here, the limit is {limit_text} us",
        related=((context.span(servo.mark, "pulse"), "the calibration points"),),
        help=f"end the travel at `{fix.text}`, or state the range the servo's data sheet gives"
        if fix
        else "state the range that the servo's data sheet gives",
        fix=fix,
        asked=pulse_us,
        limit=limit,
        unit="us",
    )


def _pulse_us(servo: Servo, angle_deg: float) -> float:
    """On the straight line between neighbours, as the board does (TABLE.md, 3.2 Pulse)."""
    angles = [point.angle_deg for point in servo.points]
    return float(np.interp(angle_deg, angles, [point.pulse_us for point in servo.points]))


def _angle_deg(servo: Servo, pulse_us: float) -> float:
    """The angle of a pulse; NaN where no point reaches it."""
    points = sorted(servo.points, key=lambda point: point.pulse_us)
    pulses = [point.pulse_us for point in points]
    if not pulses[0] <= pulse_us <= pulses[-1]:
        return math.nan
    return float(np.interp(pulse_us, pulses, [point.angle_deg for point in points]))
