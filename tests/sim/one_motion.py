"""One motion of a rehearsal, its closed form evaluated at one instant; and limits by degrees."""

from __future__ import annotations

from typing import NamedTuple

from sim.rehearsal.fixed_motion import angle_steps, servo_limits
from sim.rehearsal.motion import MotionPiece, kinematics
from sim.rehearsal.takeover import ServoLimits


class PlaceAndSpeed(NamedTuple):
    """Angle in degrees and speed in deg/ms at an instant."""

    angle_deg: float
    speed_deg_ms: float


def state(piece: MotionPiece, time_ms: float) -> PlaceAndSpeed:
    """Where a motion is at a time; before its start, where it starts."""
    since, run = max(0.0, time_ms - piece.start_ms), piece.takeover
    if since >= run.end:
        return PlaceAndSpeed(piece.target_deg, 0.0)
    to_go, speed, _ = kinematics(run, piece.law, since)
    return PlaceAndSpeed(piece.target_deg - float(to_go), float(speed))


def limits_by_deg(speed: int, acceleration: int, travel_deg: tuple[float, float]) -> ServoLimits:
    """Limits in deg/s, deg/s2 and degrees."""
    low, high = travel_deg
    return servo_limits(speed, acceleration, (angle_steps(low), angle_steps(high)))
