"""calibration-order: a servo's pulses do not rise or fall all the way with the angle.

What: the calibration points of a servo must have different angles, and the pulse must rise at
every step or fall at every step.

Why: otherwise one pulse would belong to two angles, and the part would turn back half-way.

Example:

    pulse      900 us at 0 deg, 2100 us at 90 deg, 1500 us at 120 deg

Instead:

    pulse      900 us at 0 deg, 2100 us at 90 deg

Source of the limit: the table's own format (TABLE.md, outputs): 2 to 8 points, angles ascending,
pulses strictly monotonic.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from seqlang.checks.context import Context
from seqlang.checks.figures import figure
from seqlang.text.findings import Finding
from sim.model import CalibrationPoint, Servo
from sim.rig.slide import of_part
from sim.rulebook import CALIBRATION_POINTS


def is_ordered(servo: Servo) -> bool:
    return len(servo.points) in CALIBRATION_POINTS and _first_break(servo.points) is None


def check(context: Context) -> Iterator[Finding]:
    for servo in context.servos.values():
        if is_ordered(servo):
            continue
        span = context.span(servo.mark, "pulse")
        if len(servo.points) not in CALIBRATION_POINTS:
            yield Finding(
                "error",
                "calibration-order",
                f"`{servo.name}` has {len(servo.points)} calibration points, "
                f"but a servo takes {CALIBRATION_POINTS[0]} to {CALIBRATION_POINTS[-1]}",
                span,
                help="keep the ends and the points where the part bends most",
                asked=len(servo.points),
                limit=CALIBRATION_POINTS[-1],
            )
            continue
        broken = _first_break(servo.points)
        assert broken is not None
        before, after = broken
        yield Finding(
            "error",
            "calibration-order",
            f"the pulses of `{servo.name}` do not run one way: {_point(before, servo)}, "
            f"then {_point(after, servo)}",
            span,
            label="the pulse must rise at every point or fall at every point",
            help="measure the points again, from one end of the travel to the other",
        )


def _first_break(
    points: tuple[CalibrationPoint, ...],
) -> tuple[CalibrationPoint, CalibrationPoint] | None:
    rising = points[-1].pulse_us > points[0].pulse_us
    for before, after in pairwise(points):
        one_way = after.pulse_us > before.pulse_us if rising else after.pulse_us < before.pulse_us
        if after.angle_deg <= before.angle_deg or not one_way:
            return before, after
    return None


def _point(point: CalibrationPoint, servo: Servo) -> str:
    return f"{figure(point.pulse_us, 5)} us at {figure(point.angle_deg, 4)} {of_part(servo).place}"
