"""Holding a pose: the horn torque that weight and springs ask of a servo at rest."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import Array
from sim.model import Gear
from sim.rig import drive, load
from sim.rig.disturbance import push_nm
from sim.rig.spin import turning

if TYPE_CHECKING:
    from sim.model import Servo, Wearer


@dataclass(frozen=True, slots=True)
class HoldingTorque:
    """A horn torque (N.m, magnitude) and the part's angle at which it is needed."""

    torque_nm: float
    angle_deg: float


def holding_nm(servo: Servo, angle_deg: ArrayLike, wearer: Wearer) -> Array:
    """The greatest horn torque (N.m) that holding the part at `angle_deg` can take, any posture.

    Infinite where the drive cannot bring the part.
    """
    push = push_nm(servo.load, wearer)
    if servo.load.spins:
        return _spinning_nm(servo, angle_deg, wearer.tilt_deg, push)
    low, high = load.held_nm(servo.load, angle_deg, wearer.tilt_deg, push)
    at = drive.horn(servo, angle_deg)
    torque = drive.horn_torque_nm(at, 0.0, np.maximum(np.abs(low), np.abs(high)), 0.0, 0.0)
    return np.where(np.isnan(torque), np.inf, np.abs(torque))


def _spinning_nm(servo: Servo, rpm: ArrayLike, tilt_deg: float, push: float) -> Array:
    """What keeps a part turning at a steady speed: its friction too, while it turns."""
    angle, speed, accel = turning(servo.load, rpm, 0.0, 0.0)
    at = drive.horn(servo, angle)
    ends = load.needed_nm(servo.load, angle, speed, accel, tilt_deg, push)
    low, high = (
        np.abs(drive.horn_torque_nm(at, 0.0, end, speed, accel, servo.drive_efficiency))
        for end in ends
    )
    return np.maximum(low, high)


@lru_cache(maxsize=256)
def worst_hold(
    servo: Servo, wearer: Wearer, between_deg: tuple[float, float] | None = None
) -> HoldingTorque:
    """The pose within the travel (or `between_deg`) that is hardest to hold.

    Exact for a gear and a part alone (`load.worst_hold_nm`). A changing ratio or a chain adds its
    own extremes: the travel is searched in steps of at most 0.5 deg, then round the greatest in
    steps a hundred times finer.
    """
    low, high = servo.travel_deg if between_deg is None else between_deg
    if servo.load.spins:
        ends = np.array([low, high])
        torques = holding_nm(servo, ends, wearer)
        worst = int(np.argmax(torques))
        return HoldingTorque(float(torques[worst]), float(ends[worst]))
    if isinstance(servo.drive, Gear) and servo.load.coupled is None:
        push = push_nm(servo.load, wearer)
        torque, angle = load.worst_hold_nm(servo.load, low, high, wearer.tilt_deg, push)
        return HoldingTorque(torque / abs(servo.drive.ratio), angle)
    angles = np.linspace(low, high, max(3, int(np.ceil(2.0 * (high - low))) + 1))
    for _ in range(2):
        torques = holding_nm(servo, angles, wearer)
        i = int(np.argmax(torques))
        around = float(angles[max(i - 1, 0)]), float(angles[min(i + 1, len(angles) - 1)])
        best = HoldingTorque(float(torques[i]), float(angles[i]))
        angles = np.linspace(*around, 201)
    return best
