"""linkage-locks, flat-linkage: a linkage cannot follow its part through the whole travel.

linkage-locks: a linkage cannot follow its part through the whole travel.
flat-linkage: the rod of a linkage pushes on the pivot more than it turns the arm.

What: at every angle of the travel the linkage fits together, moves in the same direction and
transmits its force. The rod of a four-bar stands at 40 deg or more to its arm (advice).

Why: at a dead point no torque of the servo holds or moves the part; near one, play and load grow.

Example:

    levers horn 10 mm, arm 30 mm
    travel 0 deg to 120 deg

Instead:

    travel 45 deg to 75 deg

Source of the limit: loop closure of the linkage (`sim/rig/drive.py`); 40 deg is common practice.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.rewrite import rewritten
from seqlang.text import units
from seqlang.text.findings import Finding, Fix
from sim.model import Gear, Servo
from sim.rig.drive import LEAST_TRANSMISSION_DEG, Reach, reach


def check(context: Context) -> Iterator[Finding]:
    for servo in context.servos.values():
        if isinstance(servo.drive, Gear):
            continue
        reached = reach(servo)
        if reached.stuck_deg is not None:
            yield _locks(context, servo, reached.stuck_deg)
        elif reached.transmission_deg is not None:
            yield from _flat(context, servo, reached, reached.transmission_deg)


def _locks(context: Context, servo: Servo, stuck_deg: float) -> Finding:
    fix = _shorter(context, servo, "travel high") or _shorter(context, servo, "travel low")
    return Finding(
        "error",
        "linkage-locks",
        f"the linkage of `{servo.name}` locks or ends at {figure(stuck_deg)} deg of its travel",
        context.span(servo.drive.mark),
        label=f"cannot carry the part past {figure(stuck_deg)} deg",
        related=((context.span(servo.mark, "travel"), "the travel"),),
        help="change the lengths of the levers"
        if fix is None
        else f"end the travel at `{fix.text}`, or change the lengths of the levers",
        fix=fix,
        asked=stuck_deg,
        unit="deg",
    )


def _shorter(context: Context, servo: Servo, part: str) -> Fix | None:
    """One end of the travel drawn in toward the safe angle until the linkage works; if it can."""
    low, high = servo.travel_deg
    end = high if part == "travel high" else low

    def works(angle_deg: float) -> bool:
        travel = (low, angle_deg) if part == "travel high" else (angle_deg, high)
        return reach(replace(servo, travel_deg=travel)).stuck_deg is None

    near = servo.safe_deg + (1.0 if part == "travel high" else -1.0)
    if not low < near < high or not works(near):
        return None
    for _ in range(12):
        middle = (near + end) / 2.0
        near, end = (middle, end) if works(middle) else (near, middle)
    span = context.span(servo.mark, part)
    return rewritten(context, span, near, units.DEGREES, "down" if part == "travel high" else "up")


def _flat(context: Context, servo: Servo, reached: Reach, angle_deg: float) -> Iterator[Finding]:
    if angle_deg >= LEAST_TRANSMISSION_DEG:
        return
    asked, limit = figures(angle_deg, LEAST_TRANSMISSION_DEG)
    where = "" if reached.flattest_deg is None else f" at {figure(reached.flattest_deg)} deg"
    yield Finding(
        "advice",
        "flat-linkage",
        f"the rod of `{servo.name}` stands at only {asked} deg to its arm{where}; {limit} deg or "
        "more are usual",
        context.span(servo.drive.mark),
        label="pushes on the pivot more than it turns the arm",
        related=((context.span(servo.mark, "travel"), "the travel"),),
        help="lengthen the rod, or end the travel before that",
        asked=angle_deg,
        limit=LEAST_TRANSMISSION_DEG,
        unit="deg",
    )
