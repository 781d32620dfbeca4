"""Motion along a line, told as motion about a hinge: one model for both.

A linear servo gives force and speed where another gives torque and turns. Let a pinion roll on its
rod so that 1 mm of way is 1 deg of the pinion: it has a radius of 180 / pi mm. What the rod does
then stands in the same fields: mm in those of degrees, force times that radius in those of torque,
mass times its square in those of inertia. Power is the same (F v = T w), so is Newton's law, and
nothing else of the physics needs to know.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import TYPE_CHECKING, Final

from sim.model import Drum, Gear, Rack
from sim.rig.spin import RPM_DEG_S

if TYPE_CHECKING:
    from sim.model import Servo

PINION_M: Final = 0.18 / pi
"""Radius (m) of a pinion that turns 1 deg on 1 mm."""


@dataclass(frozen=True, slots=True)
class Told:
    """In which units a reader is told of a motion, and in which words.

    `newton_metres`: what one unit of `effort` is in the model's fields of torque (N.m), `deg_s`
    what one unit of `speed` is in those of speed (deg/s). `strength` is what its rating calls the
    effort at which it stands.
    """

    place: str
    speed: str
    effort: str
    strength: str
    newton_metres: float
    verb: str
    where: str
    deg_s: float = 1.0

    def of_torque(self, torque_nm: float) -> float:
        """A torque of the model (N.m) in the unit of `effort`."""
        return float(torque_nm) / self.newton_metres

    def of_speed(self, speed_deg_s: float) -> float:
        """A speed of the model (deg/s) in the unit of `speed`."""
        return float(speed_deg_s) / self.deg_s


HINGED: Final = Told("deg", "deg/s", "N.m", "stall torque", 1.0, "turn", "on the horn")
STRAIGHT: Final = Told("mm", "mm/s", "N", "stall force", PINION_M, "move", "at the rod")
SPINNING: Final = Told("rpm", "rpm/s", "N.m", "stall torque", 1.0, "turn", "on the horn")
"""A part that turns round and round: its place is a speed, and its speed how fast that rises."""
ROUND: Final = Told("deg", "rpm", "N.m", "stall torque", 1.0, "turn", "on the horn", RPM_DEG_S)
"""The horn that turns it."""


def ratio_of(winds: Drum | Rack) -> float:
    """Degrees of the horn that move a drum's cord or a rack by 1 mm."""
    turn_m = pi * winds.diameter_m if isinstance(winds, Drum) else winds.turn_m
    return 0.36 / turn_m


def pulls_only(servo: Servo) -> bool:
    """A cord pulls its part towards greater places, and cannot push it back."""
    return isinstance(servo.drive, Gear) and isinstance(servo.drive.winds, Drum)


def of_part(servo: Servo) -> Told:
    """How to tell of the part: its places, speeds and accelerations."""
    if servo.load.spins:
        return SPINNING
    return STRAIGHT if servo.load.slide is not None else HINGED


def of_horn(servo: Servo) -> Told:
    """How to tell of the servo's own end: its horn, or its rod."""
    if servo.load.spins:
        return ROUND
    return STRAIGHT if servo.linear else HINGED
