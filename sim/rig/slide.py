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

if TYPE_CHECKING:
    from sim.model import Servo

PINION_M: Final = 0.18 / pi
"""Radius (m) of a pinion that turns 1 deg on 1 mm."""


@dataclass(frozen=True, slots=True)
class Told:
    """In which units a reader is told of a motion, and in which words.

    `newton_metres`: what one unit of `effort` is in the model's fields of torque (N.m).
    """

    place: str
    effort: str
    newton_metres: float
    verb: str
    where: str

    def of_torque(self, torque_nm: float) -> float:
        """A torque of the model (N.m) in the unit of `effort`."""
        return float(torque_nm) / self.newton_metres


HINGED: Final = Told("deg", "N.m", 1.0, "turn", "on the horn")
STRAIGHT: Final = Told("mm", "N", PINION_M, "move", "at the rod")


def of_part(servo: Servo) -> Told:
    """How to tell of the part: its places, speeds and accelerations."""
    return STRAIGHT if servo.load.slide is not None else HINGED


def of_horn(servo: Servo) -> Told:
    """How to tell of the servo's own end: its horn, or its rod."""
    return STRAIGHT if servo.linear else HINGED
