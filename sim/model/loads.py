"""What a servo carries: bodies, springs, links, coupled parts; and parts on parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from sim.model.mark import NO_MARK


@dataclass(frozen=True, slots=True)
class PointMass:
    """Mass at a distance from the axis, `offset_deg` ahead of the part's own zero line."""

    mass_kg: float
    radius_m: float
    offset_deg: float = 0.0
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Rod:
    """A uniform slender rod from `start_m` to `start_m + length_m` from the axis."""

    mass_kg: float
    length_m: float
    start_m: float = 0.0
    offset_deg: float = 0.0
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Plate:
    """A uniform thin plate, `length_m` outward from `start_m`, `width_m` across.

    `flat`: the axis lies in the plate's plane, along its width (a flap on a hinge). Otherwise
    the axis is normal to the plate (a fin that waves in its own plane).
    """

    mass_kg: float
    length_m: float
    width_m: float
    start_m: float = 0.0
    offset_deg: float = 0.0
    flat: bool = False
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Box:
    """A uniform box.

    It reaches `length_m` outward from `start_m`, is `width_m` across and `depth_m` along the axis.
    """

    mass_kg: float
    length_m: float
    width_m: float
    depth_m: float
    start_m: float = 0.0
    offset_deg: float = 0.0
    mark: int = NO_MARK


Body: TypeAlias = PointMass | Rod | Plate | Box


@dataclass(frozen=True, slots=True)
class Spring:
    """A torsion spring on the part's axis: torque = -rate * (angle - neutral)."""

    rate_nm_per_rad: float
    neutral_deg: float
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Link:
    """One part of a chain, in its own frame: its zero line is the real axis, in metres.

    `sense` is +1 where the part turns upward as its angle grows, else -1. `straight_deg` is the
    angle at which it lies along the zero line of what carries it; for the root, at which it is
    level. `mount_m` is where its hinge stands, in the frame of what carries it. `moment_kg_m` is
    the first moment of its own bodies, `inertia_kg_m2` their inertia about its hinge. In the wind:
    `drag_m2` is drag coefficient times area, `drag_m3` the same times the distance from the hinge.
    `turned_deg`: its hinge line is turned so far from its carrier's, about the carrier's zero line.
    For that, second moments (kg.m2): `spread_kg_m2` along the zero line, across it, and the product
    of both; `flank_kg_m2` along the hinge line.
    """

    name: str
    carrier: int | None
    sense: float
    straight_deg: float
    mount_m: complex
    mass_kg: float
    moment_kg_m: complex
    inertia_kg_m2: float
    drag_m2: float = 0.0
    drag_m3: float = 0.0
    way: complex | None = None
    """It slides along this direction, of length 1, in the frame of what carries it, which is its
    own too; None: it turns. Its places are mm in the fields of degrees."""
    reach_m: float = 0.0
    """Of one that slides: the farthest that it goes from where its places count from."""
    turned_deg: float = 0.0
    spread_kg_m2: tuple[float, float, float] = (0.0, 0.0, 0.0)
    flank_kg_m2: float = 0.0


@dataclass(frozen=True, slots=True)
class JointLimits:
    """How far (deg), how fast (deg/s) and how hard (deg/s2) a joint of a chain may go."""

    angle_deg: tuple[float, float]
    speed_deg_s: float
    accel_deg_s2: float


@dataclass(frozen=True, slots=True)
class Coupled:
    """The chain that a part belongs to: each link behind what carries it, and how far all reach.

    `joint` is the part's own place in it. Worked out from the whole show (`sim.strain.coupling`).
    """

    links: tuple[Link, ...]
    joint: int
    reaches: tuple[JointLimits, ...]
    upright: bool = False
    """The hinge lines stand upright while the wearer does: the weight is felt when they lean."""


@dataclass(frozen=True, slots=True)
class Slide:
    """A part that moves along a line: its mass, and how steep the line is.

    `slope_deg` is the line's angle from level, in the way in which the place grows, while the
    wearer stands upright: 90 is straight up. Its places are mm in the fields of degrees; see
    `sim.rig.slide`.
    """

    mass_kg: float = 0.0
    slope_deg: float = 90.0


@dataclass(frozen=True, slots=True)
class Load:
    """What the servo carries, about the part's axis.

    `level_deg` is the part's angle at which its zero line lies level (horizontal) while the
    wearer stands upright. `axis` is how the hinge line lies then: a `level` axis feels the
    whole weight; an `upright` one feels it only when the wearer tilts.
    """

    bodies: tuple[Body, ...] = ()
    level_deg: float = 0.0
    axis: Literal["level", "upright"] = "level"
    springs: tuple[Spring, ...] = ()
    friction_nm: float = 0.0
    lowers: bool = False
    """The part sinks as its angle grows (a jaw that drops open); else it rises."""
    coupled: Coupled | None = None
    """Other parts stand on this one, or it stands on one; None: it turns alone."""
    slide: Slide | None = None
    """It moves along a line; None: it turns about a hinge."""
    spins: bool = False
    """It turns round and round: its places are speeds in rpm, see `sim.rig.spin`."""
    mark: int = NO_MARK


UNLOADED: Final = Load()
"""The servo carries nothing."""
