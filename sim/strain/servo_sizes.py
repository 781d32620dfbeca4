"""Which servo to buy for each part.

Every operating point of every planned move, of the worst interruptions, and every pose that is held
must lie within a servo's line less the margin: T / Ts + w / w0 <= 1 - margin while driving, each
share by itself while braking (`sim.rig.servo`). Of all lines (Ts, w0) that do, the one of least
power Ts w0 / 4 is named: the smallest motor. Heat sets a floor under Ts: held and RMS torque at
most a third of it (`sim.strain.heat`). All is carried to the voltage a shop prints, in proportion.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, floor, isfinite
from typing import Final

import numpy as np

from sim.arrays import Array
from sim.model import Rating, Rig, Servo, Show
from sim.rig.grip import gripping
from sim.rig.holding_torque import worst_hold
from sim.rig.servo import KGF_CM_NM, line
from sim.rig.slide import PINION_M, of_part
from sim.rig.supply import highest_v
from sim.score.planned_moves import PlannedMove
from sim.strain.envelope import asked_of_horn, passage
from sim.strain.heat import CONTINUOUS, Heat
from sim.strain.interruption import Cuts, hardest_nm

SLOWEST_DEG_S: Final = 0.01
"""Slower than this a part stands still for any purpose of a shop's rating."""


@dataclass(frozen=True, slots=True)
class Straight:
    """A linear servo to buy, and the present one, in N and mm/s."""

    force_n: float | None
    speed_mm_s: float
    has_n: float
    has_mm_s: float
    hold_n: float
    peak_n: float
    rms_n: float


@dataclass(frozen=True, slots=True)
class ServoSize:
    """The servo that a part needs.

    As a shop prints it, at `voltage_v`: at least `torque_kgf_cm`, at most `seconds_per_60deg`. The
    same in SI: `stall_nm`, `speed_deg_s`. `hold_kgf_cm`: the hardest pose, as it is (no margin).
    `peak_kgf_cm`, `peak_deg_s`: the greatest horn torque and speed, as they are. `set_by`: what
    decides the torque: `moves`, `holding`, `gripping` or `heat`. No torque is enough (None) where
    the drive locks or cannot reach. `has_*`: the present servo at that voltage.
    """

    servo: str
    voltage_v: float
    torque_kgf_cm: float | None
    seconds_per_60deg: float | None
    stall_nm: float
    speed_deg_s: float
    hold_kgf_cm: float
    hold_deg: float
    peak_kgf_cm: float
    peak_deg_s: float
    rms_kgf_cm: float
    set_by: str
    has_kgf_cm: float
    has_seconds_per_60deg: float
    enough: bool
    straight: Straight | None = None
    """Of a linear servo: the same as a shop prints it, in N and mm/s."""
    place_unit: str = "deg"
    """The unit of `hold_deg`; rpm for a part that turns round and round."""


def size_servo(
    show: Show,
    one: Servo,
    planned: list[PlannedMove],
    cuts: Cuts,
    heat: Heat,
    lowest_v: float | None,
) -> ServoSize:
    """The least powerful servo for one part; see the module's head."""
    kept = 1.0 - show.rig.wearer.margin
    driving, braking = _operating_points(show, one, planned, cuts)
    hold, grip = worst_hold(one, show.rig.wearer), gripping(show.rig, one)
    floors = {
        "moves": least_power(driving, braking, kept)[0],
        "holding": max(hold.torque_nm, _shaken_nm(show.rig, one)) / kept,
        # one that stalls gives what it has: any servo does
        "gripping": grip.torque_nm / kept if grip is not None and not grip.stalls else 0.0,
        "heat": max(heat.hold_share, heat.rms_share) * one.ratings[0].stall_nm / CONTINUOUS,
    }
    set_by = max(floors, key=lambda name: floors[name])
    rated = min(one.ratings, key=lambda r: abs(r.voltage_v - highest_v(show.rig, one.board)))
    # ratings go with the voltage: what must be there at the lowest is printed at the rated one
    up = rated.voltage_v / lowest_v if lowest_v else 1.0
    stall, speed = least_power(driving, braking, kept, floors[set_by])
    # but heat is judged by the rating itself
    stall, speed = max(stall * up, floors["heat"]), speed * up
    own = line(one, lowest_v or rated.voltage_v)
    has_nm, has_deg_s = float(own.stall_nm), float(own.speed_deg_s)
    points = np.concatenate([driving, braking], axis=1)
    found = ServoSize(
        servo=one.name,
        voltage_v=rated.voltage_v,
        torque_kgf_cm=_up(stall / KGF_CM_NM, 0.1),
        seconds_per_60deg=_down(60.0 / speed, 0.01) if speed > SLOWEST_DEG_S else None,
        stall_nm=stall,
        speed_deg_s=speed,
        hold_kgf_cm=hold.torque_nm / KGF_CM_NM,
        hold_deg=hold.angle_deg,
        peak_kgf_cm=float(points[0].max(initial=0.0)) / KGF_CM_NM,
        peak_deg_s=float(points[1].max(initial=0.0)),
        rms_kgf_cm=heat.rms_share * one.ratings[0].stall_nm / KGF_CM_NM,
        set_by=set_by,
        has_kgf_cm=rated.stall_nm / KGF_CM_NM,
        has_seconds_per_60deg=60.0 / rated.speed_deg_s,
        enough=has_nm >= max(floors["holding"], floors["gripping"])
        and one.ratings[0].stall_nm >= floors["heat"]
        and _enough(driving, braking, kept, has_nm, has_deg_s),
        place_unit=of_part(one).place,
    )
    return replace(found, straight=_straight(found, rated)) if one.linear else found


def _straight(found: ServoSize, rated: Rating) -> Straight:
    """The same of a linear servo, in N and mm/s."""
    to_n = KGF_CM_NM / PINION_M
    return Straight(
        force_n=_up(found.stall_nm / PINION_M, 1.0),
        speed_mm_s=ceil(round(found.speed_deg_s, 6)),
        has_n=rated.stall_nm / PINION_M,
        has_mm_s=rated.speed_deg_s,
        hold_n=found.hold_kgf_cm * to_n,
        peak_n=found.peak_kgf_cm * to_n,
        rms_n=found.rms_kgf_cm * to_n,
    )


def _shaken_nm(rig: Rig, one: Servo) -> float:
    """What a part of a chain holds against while the others move as they may; 0 for one alone."""
    if one.load.coupled is None:
        return 0.0
    return hardest_nm(rig, one, (0.0, 0.0))


def _operating_points(
    show: Show, one: Servo, planned: list[PlannedMove], cuts: Cuts
) -> tuple[Array, Array]:
    """Horn torques (N.m) and speeds (deg/s), magnitudes, shape (2, points): driving, braking."""
    parts = [np.zeros((2, 1))]
    for m in planned:
        if m.move.duration_ms <= 0:
            continue
        _, angle, speed, accel = passage(
            m.from_deg, m.move.angle_deg, m.move.duration_ms, m.move.law
        )
        low, high, horn = asked_of_horn(one, angle, speed, accel, show.rig.wearer)
        parts += [np.stack([low, horn]), np.stack([high, horn])]
    parts += [np.array([[cut.torque_nm], [cut.speed_deg_s]]) for cut in cuts.found]
    points = np.concatenate(parts, axis=1)
    # a pose out of the drive's reach asks for no servo: holding it is infinitely hard already
    torque, speed = points[:, np.isfinite(points).all(axis=0)]
    drives = torque * speed >= 0.0
    both = np.abs(np.stack([torque, speed]))
    return both[:, drives], both[:, ~drives]


def least_power(
    driving: Array, braking: Array, kept: float, floor_nm: float = 0.0
) -> tuple[float, float]:
    """Stall torque and no-load speed (N.m, deg/s) of the least powerful line that holds all points.

    `driving`, `braking`: rows of torque and speed, magnitudes. `kept` is 1 - margin, `floor_nm` the
    least stall torque in any case. For a no-load speed w0 the stall torque must be max
    T / (kept - w / w0); their product is smallest somewhere between the least speed possible and
    fifty times that, found on a fine geometric row.
    """
    top = max(float(driving[1].max(initial=0.0)), float(braking[1].max(initial=0.0)))
    least_stall = max(floor_nm, float(braking[0].max(initial=0.0)) / kept)
    if top <= 0.0:
        return max(least_stall, float(driving[0].max(initial=0.0)) / kept), 0.0
    speeds = top / kept * np.geomspace(1.0 + 1e-6, 50.0, 800)
    left = kept - driving[1][:, None] / speeds
    stalls = np.maximum((driving[0][:, None] / left).max(axis=0, initial=0.0), least_stall)
    best = int(np.argmin(stalls * speeds))
    return float(stalls[best]), float(speeds[best])


def _enough(driving: Array, braking: Array, kept: float, stall: float, speed: float) -> bool:
    within = driving[0] / stall + driving[1] / speed <= kept + 1e-6
    within_too = np.maximum(braking[0] / stall, braking[1] / speed) <= kept + 1e-6
    return bool(within.all() and within_too.all())


def _up(value: float, step: float) -> float | None:
    """To the next step up; a value on a step stays there in spite of binary fractions."""
    if not isfinite(value):
        return None
    return round(ceil(round(value / step, 6)) * step, 6)


def _down(value: float, step: float) -> float:
    return round(floor(round(value / step, 6)) * step, 6)
