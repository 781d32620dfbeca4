"""Gripping: the torque of parts that press on what they hold.

A part that is told to go past the place where it meets something is stopped there and presses on
it. How hard the rig says: with a force, because something yields (a spring in the tendon, a soft
tip), or with all that the servo has. The part's own springs and weight take part in that force: the
servo gives what they do not, and more where they pull the part open. Where the part stands on
another part, that one's hinge bears the force too, on its longer lever: at most force times the
whole length from its hinge, stretched.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.arrays import Array
from sim.model import Servo
from sim.rig import drive, load, servo
from sim.rig.disturbance import push_nm
from sim.rig.slide import PINION_M
from sim.rig.supply import highest_v

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from sim.model import Grip, Rig


_ANGLES_A_DEG = 2.0

BARE_TIP_M: Final = 0.01
"""A part without a tip and a load is taken to press so near to its hinge (own: the width of a
finger's edge). The nearer, the more its carrier bears; a stated `tip` takes its place."""


@dataclass(frozen=True, slots=True)
class GripLoad:
    """What the grip of `gripper` asks of one servo.

    `part_nm`: torque about that servo's part's axis (N.m). `stall_nm`: its own stall torque at the
    horn where it stalls on what it holds, else 0.
    """

    gripper: Servo
    part_nm: float
    stall_nm: float = 0.0


def pressing(grip: Grip, angle_deg: ArrayLike) -> NDArray[np.bool_]:
    """Where a part that is told to be at `angle_deg` presses on what it holds."""
    return np.asarray(grip.side * (np.asarray(angle_deg) - grip.contact_deg) > 0.0)


def presses(rig: Rig) -> dict[str, tuple[GripLoad, ...]]:
    """By servo: its own grip, and those of the parts that it carries. Others are left out."""
    servos = {o.name: o for o in rig.outputs if isinstance(o, Servo)}
    found: dict[str, list[GripLoad]] = {}
    for one in servos.values():
        if one.grip is None or not one.ratings:
            continue
        own = _own(rig, one, one.grip)
        found.setdefault(one.name, []).append(own)
        force_n, arm_m = _force(one, own)
        arm_m = _reach_m(one) if one.load.slide is not None else arm_m
        for carrier, length_m in _carriers(servos, one):
            arm_m += length_m
            straight = carrier.load.slide is not None
            lever_m = PINION_M if straight else arm_m
            found.setdefault(carrier.name, []).append(GripLoad(one, force_n * lever_m))
            arm_m += _reach_m(carrier) if straight else 0.0
    return {name: tuple(all_of) for name, all_of in found.items()}


def _reach_m(one: Servo) -> float:
    """How far a part that moves along a line gets from where its places count from."""
    return max(map(abs, one.travel_deg)) / 1000.0


def _own(rig: Rig, one: Servo, grip: Grip) -> GripLoad:
    if grip.force_n is not None:
        return GripLoad(one, grip.force_n * grip.at_m + one.load.friction_nm)
    stall = float(servo.strongest_line(one, highest_v(rig, one.board)).stall_nm)
    ratio = np.abs(drive.horn(one, _angles(one, grip)).ratio)
    return GripLoad(one, stall * float(np.nanmax(ratio)), stall)


def _force(one: Servo, own: GripLoad) -> tuple[float, float]:
    """Force (N) of a grip and its distance (m); of a stall at the tip."""
    grip = one.grip
    assert grip is not None
    if grip.force_n is not None:
        return grip.force_n, grip.at_m
    tip = load.far_end_m(one.load) if one.tip_m is None else one.tip_m
    tip = tip if tip > 0.0 else BARE_TIP_M
    return own.part_nm / tip, tip


def _carriers(servos: dict[str, Servo], one: Servo) -> Iterator[tuple[Servo, float]]:
    """What carries a part, and what carries that, each with how far out the other's hinge is."""
    while one.mount is not None and one.mount.on in servos:
        length_m = one.mount.at_m
        one = servos[one.mount.on]
        yield one, length_m


def longest_s(rig: Rig, boards: Collection[str]) -> float:
    """How long (s) the longest grip of any servo on those boards lasts at one go; 0 without one."""
    servos = (o for o in rig.outputs if isinstance(o, Servo) and o.board in boards)
    return max((one.grip.lasts_s for one in servos if one.grip is not None), default=0.0)


def horn_nm(
    one: Servo, angle_deg: ArrayLike, part_nm: ArrayLike, stall_nm: ArrayLike = 0.0
) -> Array:
    """Horn torque (N.m, magnitude) that presses with `part_nm` on the part's axis.

    part torque / (ratio efficiency): the horn drives. A stalled horn gives `stall_nm`, whatever the
    ratio. Infinite where the drive has no ratio.
    """
    ratio = np.abs(drive.horn(one, angle_deg).ratio)
    part = np.asarray(part_nm, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        driven = np.where(part == 0.0, 0.0, part / (ratio * one.drive_efficiency))
    driven = np.where(np.isnan(driven), np.inf, driven)
    stalled = np.asarray(stall_nm, dtype=np.float64)
    return np.where(stalled > 0.0, stalled, driven)


@dataclass(frozen=True, slots=True)
class Gripping:
    """The greatest horn torque (N.m) of a servo while it grips, and the part's angle there.

    `stalls`: it is the stall torque, which no weight adds to.
    """

    torque_nm: float
    angle_deg: float
    stalls: bool


def gripping(rig: Rig, one: Servo) -> Gripping | None:
    """The hardest a servo is worked by all grips that press on it, its pose held as well.

    Weight and springs count with their sign: they help a grip to close or pull it open, in the
    posture of the wearer that is worst. Where they press harder than the grip, the servo holds
    back, and losses are not counted on to help. Grips of other parts may push either way.
    None for a servo on which no grip presses. `one` may be leaner than the rig's (no such name in
    it: None).
    """
    asked = presses(rig).get(one.name, ())
    if not asked:
        return None
    angles = _angles(one, one.grip)
    stall = max(press.stall_nm for press in asked)
    if stall > 0.0:
        torque = horn_nm(one, angles, 0.0, stall)
    else:
        least, most = _closing_nm(rig, one, angles)
        own = sum(press.part_nm for press in asked if press.gripper.name == one.name)
        others = sum(press.part_nm for press in asked) - own
        driven = horn_nm(one, angles, np.maximum(own + most + others, 0.0))
        back = np.maximum(others - own + one.load.friction_nm - least, 0.0)
        ratio = np.abs(drive.horn(one, angles).ratio)
        torque = np.maximum(driven, np.where(back > 0.0, back / np.maximum(ratio, 1e-12), 0.0))
    worst = int(np.argmax(torque))
    return Gripping(float(torque[worst]), float(angles[worst]), stall > 0.0)


def greatest_force_n(rig: Rig, one: Servo, horn_torque_nm: float) -> float:
    """The greatest force (N) at its grip's distance that a servo presses with at a horn torque.

    What `gripping` asks of a servo that presses, solved for the force; less than 0 where the pose
    alone takes more. 0 for a part without a grip of a stated force.
    """
    grip = one.grip
    if grip is None or grip.force_n is None:
        return 0.0
    angles = _angles(one, grip)
    ratio = np.abs(drive.horn(one, angles).ratio) * one.drive_efficiency
    left = horn_torque_nm * ratio - _closing_nm(rig, one, angles)[1]
    others = sum(press.part_nm for press in presses(rig)[one.name] if press.gripper is not one)
    return (float(np.min(left)) - others - one.load.friction_nm) / grip.at_m


def _closing_nm(rig: Rig, one: Servo, angles: Array) -> tuple[Array, Array]:
    """Least and greatest torque (N.m) on the part's axis, towards its closing, that holds a pose.

    Without a grip of its own, a part is held either way.
    """
    push = push_nm(one.load, rig.wearer)
    low, high = load.held_nm(one.load, angles, rig.wearer.tilt_deg, push)
    if one.grip is None:
        most = np.maximum(np.abs(low), np.abs(high))
        return -most, most
    return (low, high) if one.grip.side > 0 else (-high, -low)


def _angles(one: Servo, grip: Grip | None) -> Array:
    """Where the part can stand and press: past the contact, or anywhere for one that carries."""
    low, high = one.travel_deg
    if grip is not None:
        low, high = (grip.contact_deg, high) if grip.side > 0 else (low, grip.contact_deg)
    return np.linspace(low, high, max(3, int(np.ceil(_ANGLES_A_DEG * (high - low))) + 1))
