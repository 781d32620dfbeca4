"""What a drawing needs of the parts: how they hang together, how large and how heavy they are.

A part stands in the frame of what carries it (`sim.strain.coupling.links` states the same for the
mechanics): its hinge at a distance along the carrier's zero line, its hinge line turned about that
line, and its own zero line along it at one angle. A part on the costume has its zero line level,
towards the right of a side view, at `level_deg`. All lengths are metres.

`held` says how hard the part is to hold in poses over its travel, for the worst way to lean up to
some angles: the horn's torque over what the servo has at rest, less the margin.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from sim.model import Body, Box, Plate, PointMass, Servo, Show
from sim.rig import servo as servo_model
from sim.rig.holding_torque import holding_nm
from sim.rig.supply import highest_v

HELD_POSES: Final = 25
"""Poses over a travel for which it is said how hard they are to hold."""
LEANS: Final = 4
"""Leans, from none to the greatest that the show states."""

Row = list[float]


@dataclass(frozen=True, slots=True)
class Outline:
    """A body as it is drawn: a box of these sizes that reaches outward from `start_m`.

    `kind` is how it is written in a show. `across_m` lies in the plane in which the part turns,
    `along_hinge_m` across that.
    """

    kind: str
    start_m: float
    length_m: float
    across_m: float
    along_hinge_m: float
    offset_deg: float


@dataclass(frozen=True, slots=True)
class Held:
    """How hard poses are to hold: `shares[lean][pose]` of what the servo keeps (1: all of it)."""

    leans_deg: Row
    poses: Row
    shares: list[Row]
    limit: float
    """What the servo keeps, N.m at the horn (N of a linear servo)."""
    currents_a: Row
    """Of the servo (A) while it holds each pose, leaning as hard as the show states."""


@dataclass(frozen=True, slots=True)
class DrawnPart:
    """One servo's part. `carrier` is the name of the part it stands on, None: the costume.

    `sense` is +1 where it rises as its angle grows; one that slides has its carrier's. `way_deg` is
    the direction of one that slides, counter-clockwise from its carrier's zero line.
    """

    name: str
    carrier: str | None
    sense: int
    straight_deg: float
    at_m: float
    ahead_deg: float
    turned_deg: float
    upright: bool
    way_deg: float | None
    spins: bool
    travel: tuple[float, float]
    tip_m: float
    bodies: list[Outline]
    held: Held | None


def creature(show: Show) -> list[DrawnPart]:
    """Every part of a show, each behind what carries it."""
    servos = {one.name: one for one in show.rig.outputs if isinstance(one, Servo)}
    found: dict[str, DrawnPart] = {}
    left = list(servos.values())
    while left:
        ready = [one for one in left if _carrier(one, servos) in (None, *found)]
        if not ready:  # parts in a circle: the check refuses them
            break
        for one in ready:
            carrier = _carrier(one, servos)
            found[one.name] = _part(show, one, None if carrier is None else found[carrier])
        left = [one for one in left if one.name not in found]
    return list(found.values())


def _carrier(one: Servo, servos: dict[str, Servo]) -> str | None:
    return one.mount.on if one.mount is not None and one.mount.on in servos else None


def _part(show: Show, one: Servo, carrier: DrawnPart | None) -> DrawnPart:
    mount, part = one.mount, one.load
    straight = part.level_deg if mount is None else mount.straight_deg
    carried = 1 if carrier is None else carrier.sense
    return DrawnPart(
        name=one.name,
        carrier=None if carrier is None else carrier.name,
        sense=carried if part.slide is not None else -1 if part.lowers else 1,
        straight_deg=0.0 if part.slide is not None else straight,
        at_m=0.0 if mount is None else mount.at_m,
        ahead_deg=0.0 if mount is None else mount.ahead_deg,
        turned_deg=0.0 if mount is None else mount.turned_deg,
        upright=carrier is None and part.axis == "upright",
        way_deg=None if part.slide is None else carried * part.slide.slope_deg,
        spins=part.spins,
        travel=one.travel_deg,
        tip_m=one.tip_m or 0.0,
        bodies=[_outline(body) for body in part.bodies],
        held=None if part.spins else _held(show, one),
    )


def _outline(body: Body) -> Outline:
    match body:
        case PointMass():
            return Outline("weight", body.radius_m, 0.0, 0.0, 0.0, body.offset_deg)
        case Plate() if body.flat:
            size = (body.length_m, 0.0, body.width_m)
        case Plate():
            size = (body.length_m, body.width_m, 0.0)
        case Box():
            size = (body.length_m, body.width_m, body.depth_m)
        case _:
            size = (body.length_m, 0.0, 0.0)
    return Outline(type(body).__name__.lower(), body.start_m, *size, body.offset_deg)


def _held(show: Show, one: Servo) -> Held | None:
    if not one.ratings:
        return None
    wearer = show.rig.wearer
    volts = np.asarray(highest_v(show.rig, one.board))
    line = servo_model.line(one, volts)
    limit = float(line.stall_nm) * (1.0 - wearer.margin)
    leans = np.linspace(0.0, wearer.tilt_deg, LEANS if wearer.tilt_deg > 0.0 else 1)
    poses = np.linspace(*one.travel_deg, HELD_POSES)
    torques = [holding_nm(one, poses, replace(wearer, tilt_deg=float(lean))) for lean in leans]
    shares = [np.minimum(torque / limit, 9.0) for torque in torques]
    thirst = servo_model.thirstiest_line(one, volts)
    return Held(
        leans.tolist(),
        poses.tolist(),
        [np.round(row, 4).tolist() for row in shares],
        limit,
        np.round(servo_model.current_a(thirst, torques[-1]), 3).tolist(),
    )
