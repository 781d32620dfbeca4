"""Parts on parts: which parts hang together in a rig, and how far a show takes each of them.

Torques of a part depend on where the parts that it carries stand, and how they and those that carry
it move. Which of those moments meet is left open: each joint may be anywhere between the least and
the greatest angle that the show brings it to, at any speed and acceleration within the limits that
its table states, whatever the others do. That covers every cue, every interruption and the stop.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import radians

import numpy as np

from sim.arrays import Array
from sim.model import Coupled, JointLimits, Link, Mount, Rig, Servo, Show
from sim.rig import load
from sim.rig.disturbance import drag
from sim.strain.reachable import Reachable


def carried_by(rig: Rig) -> dict[str, tuple[Servo, ...]]:
    """Servos by the name of the part that carries them directly, in the order of the rig."""
    found: dict[str, tuple[Servo, ...]] = {}
    for servo in rig.outputs:
        if isinstance(servo, Servo) and servo.mount is not None:
            found[servo.mount.on] = (*found.get(servo.mount.on, ()), servo)
    return found


def chains(rig: Rig) -> tuple[tuple[Servo, ...], ...]:
    """The servos of each chain of two parts or more, each behind what carries it.

    Parts that stand on one another in a circle, or on one that is not there, are in no chain.
    """
    carried = carried_by(rig)
    found: list[tuple[Servo, ...]] = []
    for root in rig.outputs:
        if not isinstance(root, Servo) or root.mount is not None or root.name not in carried:
            continue
        row = [root]
        for servo in row:  # grows while it is walked
            row += carried.get(servo.name, ())
        found.append(tuple(row))
    return tuple(found)


def links(servos: tuple[Servo, ...]) -> tuple[Link, ...]:
    """The links of a chain of servos, each behind what carries it."""
    place = {servo.name: index for index, servo in enumerate(servos)}
    senses: list[float] = []
    found: list[Link] = []
    for servo in servos:
        mount, slide = servo.mount, servo.load.slide
        carrier = None if mount is None else place[mount.on]
        sense = -1.0 if servo.load.lowers else 1.0
        whole = load.mass(servo.load)
        moment = whole.moment_kg_m * np.exp(1j * sense * radians(whole.offset_deg))
        mass_kg, inertia = whole.mass_kg, whole.inertia_kg_m2
        along, across, both, flank = load.second_moments_kg_m2(servo.load)
        spread = np.array([along, across, sense * both])
        if slide is not None:
            # in the frame of what carries it, and angles count there as they do for that
            sense = 1.0 if carrier is None else senses[carrier]
            moment, inertia, spread, flank = 0j, 0.0, np.zeros(3), 0.0
        senses.append(sense)
        for rider in servos:
            if rider.mount is not None and rider.mount.on == servo.name:
                hinge = _hinge_m(rider.mount, sense)
                moment += rider.mount.mass_kg * hinge
                spread += rider.mount.mass_kg * _outer(hinge)
                mass_kg += rider.mount.mass_kg
                inertia += rider.mount.mass_kg * rider.mount.at_m**2
        wind = drag(servo.load)
        found.append(
            Link(
                name=servo.name,
                carrier=carrier,
                sense=sense if slide is None else 1.0,
                straight_deg=_straight_deg(servo),
                mount_m=0j
                if carrier is None or mount is None
                else _hinge_m(mount, senses[carrier]),
                mass_kg=mass_kg,
                moment_kg_m=complex(moment),
                inertia_kg_m2=inertia,
                drag_m2=wind[0],
                drag_m3=wind[1],
                turned_deg=0.0 if mount is None else mount.turned_deg,
                spread_kg_m2=(float(spread[0]), float(spread[1]), float(spread[2])),
                flank_kg_m2=flank,
                way=None if slide is None else _unit(sense * slide.slope_deg),
                reach_m=0.0 if slide is None else max(map(abs, servo.travel_deg)) / 1000.0,
            )
        )
    return tuple(found)


def _straight_deg(servo: Servo) -> float:
    if servo.load.slide is not None:
        return 0.0
    return servo.load.level_deg if servo.mount is None else servo.mount.straight_deg


def _unit(angle_deg: float) -> complex:
    return complex(np.exp(1j * radians(angle_deg)))


def _outer(place: complex) -> Array:
    """x x, y y and x y of a place."""
    return np.array([place.real**2, place.imag**2, place.real * place.imag])


def _hinge_m(mount: Mount, carrier_sense: float) -> complex:
    return complex(mount.at_m * np.exp(1j * carrier_sense * radians(mount.ahead_deg)))


def coupled_rig(rig: Rig, reaches: Mapping[str, JointLimits]) -> Rig:
    """The rig whose parts in chains know the others. `reaches`: of every servo of a chain."""
    loads = {}
    for servos in chains(rig):
        whole = links(servos)
        far = tuple(reaches[servo.name] for servo in servos)
        upright = servos[0].load.axis == "upright"
        for joint, servo in enumerate(servos):
            coupled = Coupled(whole, joint, far, upright)
            loads[servo.name] = replace(servo.load, coupled=coupled)
    outputs = tuple(
        replace(one, load=loads[one.name]) if isinstance(one, Servo) and one.name in loads else one
        for one in rig.outputs
    )
    return replace(rig, outputs=outputs)


def standing_reaches(rig: Rig) -> dict[str, JointLimits]:
    """Every joint anywhere in its travel, but at rest: what is known before there is a score."""
    return {
        servo.name: JointLimits(servo.travel_deg, 0.0, 0.0)
        for servo in rig.outputs
        if isinstance(servo, Servo)
    }


def show_reaches(show: Show) -> Mapping[str, JointLimits]:
    """How far, how fast and how hard each servo goes in a show, whatever interrupts what."""
    return Reachable(show).reaches


def coupled_show(show: Show) -> Show:
    """The show whose parts in chains know how far the others go."""
    if not carried_by(show.rig):
        return show
    return replace(show, rig=coupled_rig(show.rig, show_reaches(show)))
