"""What stands between a servo's horn and its part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

from sim.model.mark import NO_MARK


@dataclass(frozen=True, slots=True)
class Drum:
    """A drum that winds a cord; the diameter counts to the cord's middle."""

    diameter_m: float


@dataclass(frozen=True, slots=True)
class Rack:
    """A pinion that drives a rack (or a screw a nut): how far in one turn."""

    turn_m: float


@dataclass(frozen=True, slots=True)
class Gear:
    """Fixed ratio: `ratio` horn degrees move the part one degree (negative: reversed).

    `winds`: what makes a line of the horn's turning, where the part moves along one; the ratio,
    in degrees for a mm, is that of it (`sim.rig.slide.ratio_of`).
    """

    ratio: float = 1.0
    mark: int = NO_MARK
    winds: Drum | Rack | None = None


ON_THE_HORN: Final = Gear()
"""The part sits on the horn itself."""


@dataclass(frozen=True, slots=True)
class LeverPair:
    """Parallel-rod lever pair: horn of `horn_m` pushes an arm of `arm_m` on the part."""

    horn_m: float
    arm_m: float
    square_deg: float | None = None
    """The part's angle at which rod and levers stand square; None: the middle of its travel."""
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class FourBar:
    """A planar four-bar: ground, horn (input), rod (coupler), arm (output), lengths in metres.

    `arm_zero_deg` is the arm's angle from the ground line when the part is at 0 deg.
    `crossed` picks the other assembly.
    """

    ground_m: float
    horn_m: float
    rod_m: float
    arm_m: float
    arm_zero_deg: float = 0.0
    crossed: bool = False
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Ram:
    """A linear servo between a pin on the costume and one on the hinged part.

    `ground_m`, `arm_m`: from the hinge to either pin. `zero_deg`: from the line to the costume's
    pin to that to the part's while the part is at 0 deg.
    """

    ground_m: float
    arm_m: float
    zero_deg: float = 0.0
    mark: int = NO_MARK


Drive: TypeAlias = Gear | LeverPair | FourBar | Ram


@dataclass(frozen=True, slots=True)
class Mount:
    """Where a part's hinge stands on another part, `on`.

    The hinge is `at_m` from that of the carrier, `ahead_deg` ahead of the carrier's zero line.
    At the angle `straight_deg` the part's zero line lies along the carrier's. `mass_kg` is what
    sits at the hinge and turns with the carrier: the part's own servo and its bracket. The hinge
    line runs parallel to the carrier's, or is turned from that by `turned_deg` about the carrier's
    zero line: at 90 the part folds across the plane in which its carrier turns.
    """

    on: str
    at_m: float
    ahead_deg: float = 0.0
    straight_deg: float = 0.0
    mass_kg: float = 0.0
    turned_deg: float = 0.0
    mark: int = NO_MARK
