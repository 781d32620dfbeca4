"""Pinch force at the tip of a moving part, beside published contact limits.

These are cautions, never a verdict: no number here makes a moving part safe near people.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np

from sim.model import Servo
from sim.rig import drive, load, servo

QUASI_STATIC_N: Final[dict[str, float]] = {
    "skull and forehead": 130.0,
    "face": 65.0,
    "neck": 150.0,
    "back and shoulders": 210.0,
    "chest": 140.0,
    "abdomen": 110.0,
    "pelvis": 180.0,
    "upper arms and elbow joints": 150.0,
    "lower arms and wrist joints": 160.0,
    "hands and fingers": 140.0,
    "thighs and knees": 220.0,
    "lower legs": 130.0,
}
"""Greatest quasi-static contact force (N) by body region (ISO/TS 15066:2016, table A.2). From
memory, corroborated once by a public source file; not seen in the standard. It is for adult workers
beside industrial robots: it knows no children, no public and no contact with the head."""

STATUS: Final = (
    "ISO/TS 15066:2016 table A.2, from memory, corroborated once, for adult workers only; not a "
    "verdict on any part near people"
)


@dataclass(frozen=True, slots=True)
class Pinch:
    """The greatest force (N) that a stalled servo puts on what is caught at the part's tip.

    `limit_n` is the published limit for `region`, None where no region is declared or known.
    `tip_m` is the tip's distance from the axis, `angle_deg` where in the travel the force peaks.
    """

    servo: str
    force_n: float
    tip_m: float
    angle_deg: float
    region: str | None
    limit_n: float | None

    @property
    def over_limit(self) -> bool:
        return self.limit_n is not None and self.force_n > self.limit_n


def pinch(one: Servo, voltage_v: float, region: str | None) -> Pinch | None:
    """Force at the tip: F = (stall torque times ratio + weight + springs) / tip distance.

    `voltage_v`: the highest that can arrive. The weight and springs are added where they push the
    same way (wearer upright). None for a part without a tip (no `tip_m` and no load).
    """
    tip = load.far_end_m(one.load) if one.tip_m is None else one.tip_m
    if tip <= 0.0 or not one.ratings:
        return None
    low, high = one.travel_deg
    angles = np.linspace(low, high, max(3, int(np.ceil(2.0 * (high - low))) + 1))
    ratio = np.abs(np.nan_to_num(drive.horn(one, angles).ratio))
    weight, _ = load.gravity_nm(one.load, angles, 0.0)
    other = np.abs(weight + load.spring_nm(one.load, angles))
    force = (float(servo.line(one, voltage_v).stall_nm) * ratio + other) / tip
    worst = int(np.argmax(force))
    limit = QUASI_STATIC_N.get(region) if region is not None else None
    newtons = float(force[worst]) if np.isfinite(force[worst]) else inf
    return Pinch(one.name, newtons, tip, float(angles[worst]), region, limit)
