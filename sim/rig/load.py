"""What a part asks of its axis: inertia, weight in any posture, springs and friction.

Moments of inertia are those of the handbook tables (e.g. Young and Freedman, University Physics,
table 9.2), carried to the axis by the parallel-axis theorem I = I_cm + m d**2.

Weight. The part turns in a plane normal to its hinge. Its centre of mass stands in the direction
`angle - level_deg + offset` of that plane; with a level hinge and an upright wearer, 0 is level and
the part rises with the angle (`lowers`: sinks). The wearer may tilt any way up to `tilt_deg`, so
gravity, seen from the costume, may point anywhere in a cone about the costume's own down. The
torque is m g r cos(angle between gravity and the way in which the centre of mass would move), and
over a cone of half-angle tau about a direction psi away that cosine runs exactly from
cos(min(psi + tau, 180 deg)) to cos(max(psi - tau, 0)): the worst posture is found, not sampled.
A part that moves along a line has the same psi everywhere (`sim.rig.slide`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, radians
from typing import TYPE_CHECKING, Final, assert_never

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import Array
from sim.model import Body, Box, JointLimits, Plate, PointMass, Rod
from sim.rig.slide import PINION_M
from sim.rig.sliding_chain import chain_of

if TYPE_CHECKING:
    from sim.model import Coupled, Load


GRAVITY_M_S2: Final = 9.80665
"""Standard acceleration of free fall (3rd CGPM, 1901; NIST SP 811 App. B.8)."""


@dataclass(frozen=True, slots=True)
class Mass:
    """All bodies of a part together, about its axis.

    `moment_kg_m` is the first moment, mass times the distance of the centre of mass, and
    `offset_deg` the direction of that centre from the part's zero line.
    """

    mass_kg: float
    inertia_kg_m2: float
    moment_kg_m: float
    offset_deg: float


def inertia_kg_m2(body: Body) -> float:
    """Moment of inertia (kg.m2) about the part's axis.

    Point m r**2; slender rod m L**2/12; thin plate with the axis in its plane, along its width,
    m L**2/12, with the axis normal to it m (L**2 + W**2)/12; box with its depth along the axis
    m (L**2 + W**2)/12; each plus m d**2 (handbook table as above).
    """
    own = 0.0
    match body:
        case PointMass():
            pass
        case Rod():
            own = body.length_m**2 / 12.0
        case Plate():
            own = (body.length_m**2 + (0.0 if body.flat else body.width_m**2)) / 12.0
        case Box():
            own = (body.length_m**2 + body.width_m**2) / 12.0
        case _:
            assert_never(body)
    return body.mass_kg * (own + centre_m(body) ** 2)


def centre_m(body: Body) -> float:
    """Distance (m) of a body's centre of mass from the axis."""
    if isinstance(body, PointMass):
        return body.radius_m
    return body.start_m + body.length_m / 2.0


def far_end_m(load: Load) -> float:
    """Distance (m) of the part's outermost point from its axis; 0 without bodies.

    Corners count: a plate in its own plane and a box reach out to the half width.
    """
    return max((_reach_m(body) for body in load.bodies), default=0.0)


def _reach_m(body: Body) -> float:
    if isinstance(body, PointMass):
        return abs(body.radius_m)
    end = max(abs(body.start_m), body.start_m + body.length_m)
    across = body.width_m / 2.0 if isinstance(body, Plate | Box) else 0.0
    if isinstance(body, Plate) and body.flat:
        across = 0.0
    return float(np.hypot(end, across))


def mass(load: Load) -> Mass:
    """Mass, inertia and first moment of all bodies of a load."""
    if load.slide is not None:
        m = load.slide.mass_kg
        return Mass(m, m * PINION_M**2, m * PINION_M, 0.0)
    moment = sum(
        (b.mass_kg * centre_m(b) * np.exp(1j * radians(b.offset_deg)) for b in load.bodies), 0j
    )
    return Mass(
        mass_kg=sum(body.mass_kg for body in load.bodies),
        inertia_kg_m2=sum(inertia_kg_m2(body) for body in load.bodies),
        moment_kg_m=float(abs(moment)),
        offset_deg=float(np.degrees(np.angle(moment))) if abs(moment) > 0.0 else 0.0,
    )


def second_moments_kg_m2(load: Load) -> tuple[float, float, float, float]:
    """Of all bodies, in the part's frame: along the zero line, across it, their product, along z.

    A body along u has m (L**2 / 12 + d**2) along u, m W**2 / 12 across it or, where it is `flat`,
    along the hinge line, and a box m D**2 / 12 along the hinge line (handbook table as above; the
    inertia about the hinge is the sum of the first two).
    """
    total = np.zeros(4)
    for body in load.bodies:
        length, wide, deep = _size_m(body)
        c, s = np.cos(radians(body.offset_deg)), np.sin(radians(body.offset_deg))
        along, across = length**2 / 12.0 + centre_m(body) ** 2, wide**2 / 12.0
        total += body.mass_kg * np.array(
            [
                along * c**2 + across * s**2,
                along * s**2 + across * c**2,
                (along - across) * c * s,
                deep**2 / 12.0,
            ]
        )
    xx, yy, xy, zz = total.tolist()
    return xx, yy, xy, zz


def _size_m(body: Body) -> tuple[float, float, float]:
    """Length along the part, across it in the plane in which it turns, and along the hinge line."""
    match body:
        case PointMass():
            return 0.0, 0.0, 0.0
        case Rod():
            return body.length_m, 0.0, 0.0
        case Plate():
            own = body.width_m
            return (body.length_m, 0.0, own) if body.flat else (body.length_m, own, 0.0)
        case Box():
            return body.length_m, body.width_m, body.depth_m
        case _:
            assert_never(body)


def gravity_nm(load: Load, angle_deg: ArrayLike, tilt_deg: float = 0.0) -> tuple[Array, Array]:
    """Least and greatest torque of the weight (N.m, positive along growing angle).

    `angle_deg` has any shape; both results have it. `tilt_deg` (0 to 180) is how far the wearer
    leans at most, in any direction. See the module's head for the formula.
    """
    angle = np.asarray(angle_deg, dtype=np.float64)
    if load.coupled is not None:
        low, high = _coupled_nm(load.coupled, (angle, 0.0, 0.0), tilt_deg, at_rest=True)
        return -high, -low
    whole = mass(load)
    pull = whole.moment_kg_m * GRAVITY_M_S2
    if load.spins and load.axis == "level":
        # where a part points that turns round and round is not known
        return np.full(angle.shape, -pull), np.full(angle.shape, pull)
    if load.slide is not None:
        # along a line the way is the same everywhere
        toward = np.full(angle.shape, radians(90.0 + load.slide.slope_deg))
    elif load.axis == "upright":
        toward = np.full(angle.shape, np.pi / 2.0)
    else:
        # the centre moves at right angles to its arm: straight up (or down) when level
        along = np.cos(np.radians(angle - load.level_deg + whole.offset_deg))
        toward = np.arccos(np.clip(along if load.lowers else -along, -1.0, 1.0))
    tilt = radians(tilt_deg)
    return (
        pull * np.cos(np.minimum(toward + tilt, np.pi)),
        pull * np.cos(np.maximum(toward - tilt, 0.0)),
    )


def spring_nm(load: Load, angle_deg: ArrayLike) -> Array:
    """Torque (N.m, along growing angle) of the springs: -rate (angle - neutral), in radians."""
    angle = np.asarray(angle_deg, dtype=np.float64)
    total = np.zeros(angle.shape)
    for spring in load.springs:
        total -= spring.rate_nm_per_rad * np.radians(angle - spring.neutral_deg)
    return total


def friction_nm(load: Load, speed_deg_s: ArrayLike) -> Array:
    """Torque (N.m) that dry friction asks for at a speed: along the motion, none at rest."""
    return np.asarray(load.friction_nm * np.sign(np.asarray(speed_deg_s, dtype=np.float64)))


def needed_nm(
    load: Load,
    angle_deg: ArrayLike,
    speed_deg_s: ArrayLike,
    accel_deg_s2: ArrayLike,
    tilt_deg: float = 0.0,
    push_nm: float = 0.0,
) -> tuple[Array, Array]:
    """Least and greatest torque (N.m) on the part's axis that makes it move so, in any posture.

    `push_nm`: what may push the part either way on top of that (`sim.rig.disturbance`).

    Newton's second law about a fixed axis: I a - weight - springs + friction along the motion.
    At rest friction is left out: it may help or hinder, and is not counted on to hold a part.
    """
    speed = np.asarray(speed_deg_s, dtype=np.float64)
    accel = np.asarray(accel_deg_s2, dtype=np.float64)
    own = friction_nm(load, speed) - spring_nm(load, angle_deg)
    if load.coupled is not None:
        low, high = _coupled_nm(load.coupled, (angle_deg, speed, accel), tilt_deg)
        return own + low - push_nm, own + high + push_nm
    low, high = gravity_nm(load, angle_deg, tilt_deg)
    own = own + mass(load).inertia_kg_m2 * np.radians(accel)
    return own - high - push_nm, own - low + push_nm


def _coupled_nm(
    coupled: Coupled,
    own: tuple[ArrayLike, ArrayLike, ArrayLike],
    tilt_deg: float,
    at_rest: bool = False,
) -> tuple[Array, Array]:
    """Least and greatest torque of a part of a chain; `at_rest`: while nothing of it moves."""
    reaches = coupled.reaches
    if at_rest:
        reaches = tuple(JointLimits(reach.angle_deg, 0.0, 0.0) for reach in reaches)
    whole = chain_of(coupled.links)
    return whole.bounds_nm(coupled.joint, own, reaches, GRAVITY_M_S2, tilt_deg, coupled.upright)


def held_nm(
    load: Load, angle_deg: ArrayLike, tilt_deg: float = 0.0, push_nm: float = 0.0
) -> tuple[Array, Array]:
    """Least and greatest torque (N.m) that holds the part at rest there, in any posture.

    `push_nm`: what may push it either way on top of that. Of a chain nothing moves, and the other
    joints stand anywhere within their reach.
    """
    low, high = gravity_nm(load, angle_deg, tilt_deg)
    own = -spring_nm(load, angle_deg)
    return own - high - push_nm, own - low + push_nm


def inertia_borne_kg_m2(load: Load) -> float:
    """The most inertia (kg.m2) that accelerating the part alone can meet, with what it carries."""
    if load.coupled is None:
        return mass(load).inertia_kg_m2
    return chain_of(load.coupled.links).greatest_inertia_kg_m2(load.coupled.joint)


def worst_hold_nm(
    load: Load, low_deg: float, high_deg: float, tilt_deg: float, push_nm: float = 0.0
) -> tuple[float, float]:
    """The greatest torque (N.m) that holding a pose between two angles can take, and that angle.

    Exact: the weight's extremes over the cone are cosines of the angle (or constant), the springs
    are linear, so the sum has its extremes at the ends, where a cosine saturates, or where its
    slope meets the springs' rate: those angles are computed and compared, none is sampled. Not for
    a part of a chain.
    """
    angles = np.array([low_deg, *_critical_deg(load, low_deg, high_deg, tilt_deg), high_deg])
    low, high = held_nm(load, angles, tilt_deg, push_nm)
    worst = np.maximum(np.abs(low), np.abs(high))
    at = int(np.argmax(worst))
    return float(worst[at]), float(angles[at])


def _critical_deg(load: Load, low_deg: float, high_deg: float, tilt_deg: float) -> list[float]:
    """Angles strictly between the two where the held torque can have an inner extreme."""
    if load.axis == "upright" or load.slide is not None:
        return []
    whole = mass(load)
    pull = whole.moment_kg_m * GRAVITY_M_S2
    rate = sum(spring.rate_nm_per_rad for spring in load.springs)
    level = load.level_deg - whole.offset_deg
    if pull == 0.0:
        return []
    # torque = -+ pull cos(angle - level +- tilt) + rate (angle - neutral): slope zero where
    # sin(...) = -+ rate / pull; saturation where angle - level = +- tilt or 180 deg +- tilt
    bends = [float(np.degrees(np.arcsin(s * rate / pull))) for s in (1, -1) if rate <= pull]
    base = [0.0, *bends, *(180.0 - b for b in bends)]
    shifts = [b + t for b in base for t in (-tilt_deg, 0.0, tilt_deg)]
    shifts += [180.0 + s for s in shifts]
    found: list[float] = []
    for shift in shifts:
        first = level + shift
        turns = np.arange(
            np.ceil((low_deg - first) / 360.0), np.floor((high_deg - first) / 360.0) + 1
        )
        found.extend(float(first + 360.0 * turn) for turn in turns)
    return [angle for angle in found if low_deg < angle < high_deg and abs(angle) < inf]
