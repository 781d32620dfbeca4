"""From the servo's horn to the part: gears, lever pairs and four-bars.

Everything hangs on one function, the horn's angle h as a function of the part's angle p. With
n = dh/dp (the ratio) and n' = dn/dp (per radian):

    horn speed          n p'
    horn acceleration   n p'' + n' p'**2
    horn torque         part torque / n + J (n p'' + n' p'**2),  J the servo's own inertia

The first term is conservation of power. Seen from the horn the same load is an inertia I / n**2
that changes on the way, with the torque I_h h'' + (1/2) dI_h/dh h'**2: the term in n' is what a
"reflected inertia" of a fixed ratio forgets. (Lagrange's equation for one coordinate; handbook:
Norton, Design of Machinery, chapters on linkage dynamics, from memory.) Losses are the drive's
efficiency, where the rig states one, and the load's friction.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import radians, sin
from typing import TYPE_CHECKING, Final, assert_never

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import Array
from sim.model import Drive, FourBar, Gear, LeverPair, Ram
from sim.rig.slide import PINION_M

if TYPE_CHECKING:
    from sim.model import Servo


LEAST_TRANSMISSION_DEG: Final = 40.0
"""A four-bar's rod should not stand flatter to its arm than this (40 to 45 deg: common practice in
linkage design; Norton, Design of Machinery, and Alt's transmission angle, from memory)."""


@dataclass(frozen=True, slots=True)
class Horn:
    """The horn at given part angles; arrays of one shape, nan where the linkage cannot be.

    `angle_deg` of the horn; `ratio` n = dh/dp, dimensionless; `bend` n' = dn/dp, per radian.
    """

    angle_deg: Array
    ratio: Array
    bend: Array


def horn(servo: Servo, part_deg: ArrayLike) -> Horn:
    """The horn's angle, ratio and bend where the part stands at `part_deg` (deg, any shape).

    Gear: h = ratio p. Lever pair (rod long against its levers, so that it stays parallel to
    itself): horn sin h = arm sin p, both counted from the square position. Four-bar: loop closure
    of ground, horn, rod and arm (law of cosines at the horn; Freudenstein's equation solved for
    the input), its derivatives in closed form. Ram: the law of cosines; its rod's length stands
    for the horn's angle (`sim.rig.slide`).
    """
    part = np.asarray(part_deg, dtype=np.float64)
    drive: Drive = servo.drive
    match drive:
        case Gear():
            same = np.ones(part.shape)
            return Horn(part * drive.ratio, same * drive.ratio, same * 0.0)
        case LeverPair():
            square = drive.square_deg
            if square is None:
                square = sum(servo.travel_deg) / 2.0
            return _lever_pair(drive, square, part)
        case FourBar():
            return _four_bar(drive, sum(servo.travel_deg) / 2.0, part)
        case Ram():
            return _ram(drive, part)
        case _:
            assert_never(drive)


def _lever_pair(drive: LeverPair, square_deg: float, part_deg: Array) -> Horn:
    p = np.radians(part_deg - square_deg)
    k = drive.arm_m / drive.horn_m
    sine = k * np.sin(p)
    reachable = (np.abs(sine) < 1.0) & (np.abs(p) < np.pi / 2.0)
    sine = np.where(reachable, sine, np.nan)
    cosine = np.sqrt(1.0 - sine**2)
    ratio = k * np.cos(p) / cosine
    # d/dp of cos h n = k cos p:  cos h n' - sin h n**2 = -k sin p = -sin h
    bend = sine * (ratio**2 - 1.0) / cosine
    return Horn(square_deg + np.degrees(np.arcsin(sine)), ratio, bend)


def _ram(drive: Ram, part_deg: Array) -> Horn:
    """Law of cosines: L**2 = g**2 + a**2 - 2 g a cos t, L' = g a sin t / L, in mm as degrees.

    L' is the lever arm of the rod about the hinge: force times L' is the torque on the part.
    """
    t = np.radians(part_deg + drive.zero_deg)
    product = drive.ground_m * drive.arm_m
    with np.errstate(divide="ignore", invalid="ignore"):
        length = np.sqrt(drive.ground_m**2 + drive.arm_m**2 - 2.0 * product * np.cos(t))
        slope = product * np.sin(t) / length
        bend = (product * np.cos(t) - slope**2) / length
    return Horn(1000.0 * length, slope / PINION_M, bend / PINION_M)


def _four_bar(drive: FourBar, middle_deg: float, part_deg: Array) -> Horn:
    """Joint Q on the horn, joint P on the arm, |P - Q| the rod; x along the ground line."""
    arm = np.radians(part_deg + drive.arm_zero_deg)
    c, s = np.cos(arm), np.sin(arm)
    px, py = drive.ground_m + drive.arm_m * c, drive.arm_m * s
    far = np.hypot(px, py)
    with np.errstate(divide="ignore", invalid="ignore"):
        cosine = (drive.horn_m**2 + far**2 - drive.rod_m**2) / (2.0 * drive.horn_m * far)
        between = np.arccos(np.where(np.abs(cosine) <= 1.0, cosine, np.nan))
    h = _toward_joint(drive, arm) + _branch(drive, middle_deg) * between
    qx, qy = drive.horn_m * np.cos(h), drive.horn_m * np.sin(h)
    rx, ry = px - qx, py - qy
    dpx, dpy = -drive.arm_m * s, drive.arm_m * c
    top = rx * dpx + ry * dpy
    bottom = -rx * qy + ry * qx
    with np.errstate(divide="ignore", invalid="ignore"):
        n = top / bottom
        # derivatives of top and bottom along p: R' = P' - n Q', P'' = -(P - ground), Q'' = -Q
        dx, dy = dpx + n * qy, dpy - n * qx
        d_top = dx * dpx + dy * dpy - drive.arm_m * (rx * c + ry * s)
        d_bottom = -dx * qy + dy * qx - n * (rx * qx + ry * qy)
        bend = (d_top - n * d_bottom) / bottom
    return Horn(np.degrees(h), n, bend)


def _branch(drive: FourBar, middle_deg: float) -> float:
    """+1 or -1: which of the two assemblies, fixed for the whole travel.

    Open means that horn and arm stand on the same side of the ground line at mid-travel.
    """
    above = sin(radians(middle_deg + drive.arm_zero_deg))
    open_side = 1.0 if above >= 0.0 else -1.0
    return -open_side if drive.crossed else open_side


def _toward_joint(drive: FourBar, arm: Array) -> Array:
    """Direction (rad) from the horn's pivot to the joint on the arm, without a jump anywhere.

    The joint is ground + arm e^(i a). With the ground longer than the arm it never gets behind the
    pivot, so the direction stays within a quarter turn of the ground line. Otherwise the joint goes
    round the pivot, and the direction stays within a quarter turn of the arm's. The angle between
    that direction and the horn is a law of cosines, which has no jump either.
    """
    if drive.ground_m >= drive.arm_m:
        return np.arctan2(drive.arm_m * np.sin(arm), drive.ground_m + drive.arm_m * np.cos(arm))
    return np.asarray(
        arm + np.arctan2(-drive.ground_m * np.sin(arm), drive.arm_m + drive.ground_m * np.cos(arm))
    )


def horn_torque_nm(
    at: Horn,
    rotor_kg_m2: float,
    part_nm: ArrayLike,
    speed_deg_s: ArrayLike,
    accel_deg_s2: ArrayLike,
    efficiency: float = 1.0,
) -> Array:
    """Torque (N.m) at the horn for a torque on the part's axis and the part's motion.

    part torque / n + J (n p'' + n' p'**2); see the module's head. Infinite where n is 0: no horn
    torque holds the part there. While the horn drives the part, a gear or linkage of `efficiency`
    asks for the part's torque / (n efficiency); while the part drives the horn, or at rest, its
    losses would help and are not counted on.
    """
    speed = np.radians(np.asarray(speed_deg_s, dtype=np.float64))
    accel = np.radians(np.asarray(accel_deg_s2, dtype=np.float64))
    own = rotor_kg_m2 * (at.ratio * accel + at.bend * speed**2)
    part = np.asarray(part_nm, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        carried = np.where(part == 0.0, 0.0, part / at.ratio)
        carried = np.where(part * speed > 0.0, carried / efficiency, carried)
    return np.asarray(carried + own)


def reflected_inertia_kg_m2(at: Horn, inertia_kg_m2: float) -> tuple[Array, Array]:
    """The load's inertia felt at the horn, I / n**2, and its rate dI_h/dh = -2 I n' / n**4.

    Units kg.m2 and kg.m2 per radian of horn. The rate is with respect to the horn's angle:
    d(I n**-2)/dp / n = -2 I n**-3 n' / n.
    """
    return inertia_kg_m2 / at.ratio**2, -2.0 * inertia_kg_m2 * at.bend / at.ratio**4


def transmission_deg(drive: FourBar, servo: Servo, part_deg: ArrayLike) -> Array:
    """The acute angle between rod and arm (deg); nan where the linkage cannot be."""
    at = horn(servo, part_deg)
    h = np.radians(at.angle_deg)
    # law of cosines in the triangle of rod and arm over the diagonal from Q to the arm's pivot
    legs2 = drive.ground_m**2 + drive.horn_m**2
    diagonal2 = legs2 - 2.0 * drive.ground_m * drive.horn_m * np.cos(h)
    cosine = (drive.rod_m**2 + drive.arm_m**2 - diagonal2) / (2.0 * drive.rod_m * drive.arm_m)
    angle = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    return np.asarray(np.minimum(angle, 180.0 - angle))


@dataclass(frozen=True, slots=True)
class Reach:
    """Whether a drive works over the whole travel, and where it is worst.

    `stuck_deg`: a part angle inside the travel that the linkage cannot reach or where it locks or
    slips (dead point); None: none. `transmission_deg`: the flattest angle between rod and arm
    of a four-bar, and `flattest_deg` where; None for other drives. `ratios`: least and greatest.
    """

    stuck_deg: float | None
    transmission_deg: float | None
    flattest_deg: float | None
    ratios: tuple[float, float]


def reach(servo: Servo) -> Reach:
    """Run the drive through the servo's travel, in steps of at most 0.1 deg."""
    low, high = servo.travel_deg
    angles = np.linspace(low, high, max(3, int(np.ceil((high - low) * 10.0)) + 1))
    at = horn(servo, angles)
    sound = np.isfinite(at.ratio) & (np.abs(at.ratio) > 1e-3) & (np.abs(at.ratio) < 1e3)
    signs = np.sign(at.ratio[sound])
    stuck: float | None = None
    if not sound.all():
        stuck = float(angles[int(np.argmin(sound))])
    elif signs.size and (signs != signs[0]).any():
        stuck = float(angles[int(np.argmax(signs != signs[0]))])
    good = np.abs(at.ratio[sound])
    ratios = (float(good.min()), float(good.max())) if good.size else (0.0, 0.0)
    if stuck is not None or not isinstance(servo.drive, FourBar):
        return Reach(stuck, None, None, ratios)
    flat = np.asarray(transmission_deg(servo.drive, servo, angles))
    worst = int(np.argmin(flat))
    return Reach(None, float(flat[worst]), float(angles[worst]), ratios)


@dataclass(frozen=True, slots=True)
class CalibrationGap:
    """Between two calibration points a linkage bends away from the straight line."""

    worst_deg: float
    at_deg: float
    between_deg: tuple[float, float]


def calibration_gap(servo: Servo) -> CalibrationGap:
    """How far (deg of the part) the part misses its commanded angle between calibration points.

    The board makes the pulse straight between two points, a servo turns its horn in proportion to
    the pulse, so the horn runs straight between its angles at the two points while the part wants
    the linkage's curve. The miss is the horn's error over the ratio (first order). 0 for gears.
    """
    worst = CalibrationGap(0.0, servo.travel_deg[0], servo.travel_deg)
    for left, right in zip(servo.points, servo.points[1:], strict=False):
        low = max(left.angle_deg, servo.travel_deg[0])
        high = min(right.angle_deg, servo.travel_deg[1])
        if low >= high:
            continue
        angles = np.linspace(low, high, 65)
        ends = horn(servo, [left.angle_deg, right.angle_deg]).angle_deg
        share = (angles - left.angle_deg) / (right.angle_deg - left.angle_deg)
        at = horn(servo, angles)
        with np.errstate(divide="ignore", invalid="ignore"):
            miss = np.abs((ends[0] + share * (ends[1] - ends[0]) - at.angle_deg) / at.ratio)
        miss = np.nan_to_num(miss, nan=0.0, posinf=0.0)
        i = int(np.argmax(miss))
        if miss[i] > worst.worst_deg:
            between = (left.angle_deg, right.angle_deg)
            worst = CalibrationGap(float(miss[i]), float(angles[i]), between)
    return worst
