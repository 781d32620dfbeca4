"""What a part that closes does to what is caught: force, pressure and energy, beside limits.

A stalled servo puts its torque on whatever stops the part. The force is that torque over the
distance from the hinge, so it grows towards the hinge: least at the tip, greatest in the nip, where
the part closes on its neighbour. How close to the hinge something can be caught is said by the rig
(`nip at ...`); without it, as close as a child's finger still gets in while the part stands open.

These are cautions, never a verdict: no number here makes a moving part safe near people.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, radians, sin
from typing import Final

import numpy as np

from sim.model import Load, Servo, Wearer
from sim.rig import drive, load, servo
from sim.rig.disturbance import push_nm
from sim.rig.regions import REGIONS, Region
from sim.rig.slide import PINION_M
from sim.rig.sliding_chain import chain_of

FINGER_M: Final = 0.007
"""A gap (m) that lets a small finger in: furniture's squeeze points are gaps that move within 7 to
18 mm (a test laboratory's guide to the furniture standards, iss.rs, read; the standards not
seen)."""

EDGE_M: Final = (0.01, 0.01)
"""Length and width (m) of the edges that press where the rig states none: 1 cm2, over which contact
pressures are usually averaged (common practice, no source). A thinner edge presses harder."""

LOW_ENERGY_J: Final = 1.69
"""Kinetic energy of a low-energy swing door at the most (ANSI/BHMA A156.19-1997, by a door maker's
manual, read). For doors that the public walks through, not for worn parts."""

_ANGLES_A_DEG: Final = 2.0


@dataclass(frozen=True, slots=True)
class Contact:
    """What a stalled servo does at one distance from the hinge: force (N), pressure (N/cm2)."""

    at_m: float
    force_n: float
    pressure_n_cm2: float


@dataclass(frozen=True, slots=True)
class Pinch:
    """The greatest forces that a stalled servo puts on what is caught by its part.

    `grip`: what the rig declares that it grips with, where it does. `straight`: the part moves
    along a line and presses alike everywhere; `tip` is that, and its distance means nothing.

    `tip`: at the part's tip. `nip`: nearest to the hinge, as `nip at ...` says (`nip_stated`) or
    where a small finger gets in; None for a part that opens too little for that. `angle_deg`: where
    in the travel the forces peak. `energy_j`: kinetic energy of part and servo at `speed_deg_s`; in
    a chain with all that it carries, while the other joints go as fast as they may. `jump_j`: the
    same at power-up, when the part jumps to its safe pose as fast as its servo can.
    """

    servo: str
    tip: Contact
    nip: Contact | None
    nip_stated: bool
    angle_deg: float
    speed_deg_s: float
    energy_j: float
    jump_j: float = 0.0
    grip: Contact | None = None
    straight: bool = False


@dataclass(frozen=True, slots=True)
class Excess:
    """A published limit that a contact goes over: `quantity` is `force` or `pressure`."""

    quantity: str
    where: str
    at_m: float
    value: float
    limit: float
    unit: str


def pinch(
    one: Servo,
    voltage_v: float,
    speed_deg_s: float = 0.0,
    wearer: Wearer | None = None,
    jump_deg_s: float = 0.0,
) -> Pinch | None:
    """Force at distance r from the hinge: F = (stall torque times ratio + weight + springs) / r.

    `voltage_v`: the highest that can arrive; `speed_deg_s`: the fastest the part is ever told to
    go, for its kinetic energy (I + J n**2) w**2 / 2; `jump_deg_s`: the fastest it may be at
    power-up. The weight, the wind, the wearer's movement, springs and, in a chain, what the other
    parts do are added where they push the same way, in the worst posture that `wearer` can take
    (None: upright). Anywhere in the travel: at power-up the part may be anywhere. None for a part
    without a tip (no `tip_m` and no load).
    """
    straight = one.load.slide is not None
    tip = _far_end_m(one) if one.tip_m is None else one.tip_m
    tip = PINION_M if straight else tip
    if tip <= 0.0 or not one.ratings:
        return None
    low, high = one.travel_deg
    angles = np.linspace(low, high, max(3, int(np.ceil(_ANGLES_A_DEG * (high - low))) + 1))
    ratio = np.abs(np.nan_to_num(drive.horn(one, angles).ratio))
    worn = Wearer() if wearer is None else wearer
    push = push_nm(one.load, worn)
    others = load.needed_nm(one.load, angles, 0.0, 0.0, worn.tilt_deg, push)
    other = np.maximum(*map(np.abs, others))
    torque = float(servo.strongest_line(one, voltage_v).stall_nm) * ratio + other
    worst = int(np.argmax(torque))
    newton_metres = float(torque[worst]) if np.isfinite(torque[worst]) else inf
    nearest = _finger_m(high - low, tip)
    if one.nip_m is not None:
        nearest = min(one.nip_m, tip)  # nothing is caught beyond the part
    nearest = None if straight or one.load.spins else nearest
    rotor = one.rotor_kg_m2 * float(ratio.max()) ** 2 / 2.0
    return Pinch(
        servo=one.name,
        tip=_contact(one, newton_metres, tip),
        nip=None if nearest is None else _contact(one, newton_metres, nearest),
        nip_stated=one.nip_m is not None,
        angle_deg=float(angles[worst]),
        speed_deg_s=speed_deg_s,
        energy_j=_greatest_energy_j(one.load, speed_deg_s) + rotor * radians(speed_deg_s) ** 2,
        jump_j=_greatest_energy_j(one.load, jump_deg_s, rests=True)
        + rotor * radians(jump_deg_s) ** 2,
        grip=_declared(one),
        straight=straight,
    )


def _far_end_m(one: Servo) -> float:
    """How far the part reaches: its own bodies, and the hinges that it carries."""
    coupled = one.load.coupled
    links = () if coupled is None else coupled.links
    hinges = [abs(link.mount_m) for link in links if coupled and link.carrier == coupled.joint]
    return max([load.far_end_m(one.load), *hinges])


def _greatest_energy_j(carried: Load, speed_deg_s: float, rests: bool = False) -> float:
    """Kinetic energy of the part and all it carries; what carries it moves as fast as it may.

    `rests`: the others stand.
    """
    if carried.coupled is None:
        return load.mass(carried).inertia_kg_m2 * radians(speed_deg_s) ** 2 / 2.0
    speeds = [0.0 if rests else reach.speed_deg_s for reach in carried.coupled.reaches]
    speeds[carried.coupled.joint] = speed_deg_s
    return chain_of(carried.coupled.links).greatest_energy_j(carried.coupled.joint, speeds)


def _declared(one: Servo) -> Contact | None:
    if one.grip is None or one.grip.force_n is None:
        return None
    return _contact(one, one.grip.force_n * one.grip.at_m, one.grip.at_m)


def _contact(one: Servo, torque_nm: float, at_m: float) -> Contact:
    length, width = one.nip_edge_m or EDGE_M
    force = torque_nm / at_m
    return Contact(at_m, force, force / (length * width * 1e4))


def _finger_m(opening_deg: float, tip_m: float) -> float | None:
    """Nearest to the hinge (m) that a part opened so far lets a finger in; None: nowhere.

    At distance r the opened gap is the chord 2 r sin(opening / 2).
    """
    half = radians(min(opening_deg, 180.0)) / 2.0
    nearest = FINGER_M / (2.0 * sin(half))
    return nearest if nearest <= tip_m else None


def excesses(found: Pinch, region: str) -> tuple[Excess, ...]:
    """Where a part goes over the published limits of `region`, a name of `REGIONS`.

    The tip and, where the rig states it, the nip: the distance at which only a finger gets in says
    nothing of a chest.
    """
    places = [("tip", found.tip)]
    if found.nip is not None and (found.nip_stated or region == "hand"):
        places.append(("nip", found.nip))
    return _over(places, REGIONS[region])


def finger_excesses(found: Pinch) -> tuple[Excess, ...]:
    """Where a nip into which only a finger gets goes over the published limits of a hand."""
    if found.nip is None or found.nip_stated:
        return ()
    return _over([("nip", found.nip)], REGIONS["hand"])


def _over(places: list[tuple[str, Contact]], limits: Region) -> tuple[Excess, ...]:
    over = []
    for where, contact in places:
        if contact.force_n > limits.force_n:
            over.append(Excess("force", where, contact.at_m, contact.force_n, limits.force_n, "N"))
        if contact.pressure_n_cm2 > limits.pressure_n_cm2:
            over.append(
                Excess(
                    "pressure",
                    where,
                    contact.at_m,
                    contact.pressure_n_cm2,
                    limits.pressure_n_cm2,
                    "N/cm2",
                )
            )
    return tuple(over)
