"""One well-known part for the tests of the physics: a jaw of 140 g at 80 mm on a strong servo."""

from __future__ import annotations

from sim.model import CalibrationPoint, Load, PointMass, Rating, Servo

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))

JAW = Servo(
    "jaw",
    "b",
    1,
    POINTS,
    (0.0, 60.0),
    (Rating(6.0, 353.0, 0.92, 2.1),),
    load=Load((PointMass(0.14, 0.08),), level_deg=10.0, friction_nm=0.01),
)
