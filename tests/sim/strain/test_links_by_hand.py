"""The links of a chain of parts, each figure worked out by hand (point masses at known places)."""

from __future__ import annotations

from math import cos, radians, sin

import pytest

from sim.model import (
    Board,
    CalibrationPoint,
    JointLimits,
    Lamp,
    Link,
    Load,
    Mount,
    Plate,
    PointMass,
    Rating,
    Rig,
    Servo,
    Slide,
)
from sim.strain.coupling import carried_by, chains, links, standing_reaches

POINTS = (CalibrationPoint(-95.0, 800.0), CalibrationPoint(95.0, 2200.0))
RATING = (Rating(6.0, 300.0, 1.5, 3.0),)


def servo(
    name: str, load: Load, mount: Mount | None = None, travel: tuple[float, float] = (-30.0, 10.0)
) -> Servo:
    return Servo(name, "b", 1, POINTS, travel, RATING, load, mount=mount)


def turned(length: float, angle_deg: float) -> complex:
    return complex(length * cos(radians(angle_deg)), length * sin(radians(angle_deg)))


BODIES = (PointMass(0.2, 0.1), PointMass(0.1, 0.05, 60.0))
RISING = servo("root", Load(BODIES, level_deg=10.0))
SINKING = servo("root", Load(BODIES, level_deg=10.0, lowers=True))
TIP = servo("tip", Load((PointMass(0.05, 0.2),)), Mount("root", 0.3, 30.0, 5.0, 0.02, 90.0))
TONGUE = servo("tongue", Load(slide=Slide(0.03, 10.0)), Mount("tip", 0.02, mass_kg=0.01))


@pytest.mark.parametrize(("root", "sense"), [(RISING, 1.0), (SINKING, -1.0)])
def test_a_root_has_its_own_bodies_and_the_hinges_that_stand_on_it(
    root: Servo, sense: float
) -> None:
    """0.2 kg at 100 mm along the part, 0.1 kg at 50 mm 60 deg ahead; a hinge of 0.02 kg at 300 mm,
    30 deg ahead. Ahead is down where the part sinks as its angle grows."""
    (one, _) = links((root, TIP))
    hinge = turned(0.3, 30.0 * sense)
    body = turned(0.05, 60.0 * sense)
    assert (one.name, one.carrier, one.sense, one.straight_deg) == ("root", None, sense, 10.0)
    assert (one.mount_m, one.way, one.reach_m, one.turned_deg) == (0j, None, 0.0, 0.0)
    assert one.mass_kg == pytest.approx(0.2 + 0.1 + 0.02)
    assert one.moment_kg_m == pytest.approx(0.2 * 0.1 + 0.1 * body + 0.02 * hinge)
    assert one.inertia_kg_m2 == pytest.approx(0.2 * 0.1**2 + 0.1 * 0.05**2 + 0.02 * 0.3**2)
    places = ((0.2, 0.1 + 0j), (0.1, body), (0.02, hinge))
    assert one.spread_kg_m2 == pytest.approx(
        (
            sum(m * at.real**2 for m, at in places),
            sum(m * at.imag**2 for m, at in places),
            sum(m * at.real * at.imag for m, at in places),
        )
    )
    assert one.flank_kg_m2 == 0.0


@pytest.mark.parametrize(("root", "sense"), [(RISING, 1.0), (SINKING, -1.0)])
def test_a_part_stands_at_its_hinge_on_what_carries_it(root: Servo, sense: float) -> None:
    _, tip, _ = links((root, TIP, TONGUE))
    assert (tip.carrier, tip.sense, tip.straight_deg, tip.turned_deg) == (0, 1.0, 5.0, 90.0)
    assert tip.mount_m == pytest.approx(turned(0.3, 30.0 * sense))
    assert tip.mass_kg == pytest.approx(0.05 + 0.01)
    assert tip.moment_kg_m == pytest.approx(0.05 * 0.2 + 0.01 * 0.02)
    assert tip.inertia_kg_m2 == pytest.approx(0.05 * 0.2**2 + 0.01 * 0.02**2)


def sliding(travel: tuple[float, float], *carriers: Servo) -> Link:
    on = carriers[-1].name if carriers else None
    mount = None if on is None else Mount(on, 0.02, straight_deg=7.0, mass_kg=0.01)
    load = Load(slide=Slide(0.03, 10.0), level_deg=7.0, lowers=True)
    return links((*carriers, servo("tongue", load, mount, travel)))[-1]


@pytest.mark.parametrize(
    ("carriers", "way_deg"), [((), 10.0), ((RISING,), 10.0), ((SINKING,), -10.0)]
)
def test_a_part_that_slides_goes_along_its_slope_in_the_frame_of_what_carries_it(
    carriers: tuple[Servo, ...], way_deg: float
) -> None:
    """Its mass is all that it has: no turning, so no moments and no inertia."""
    one = sliding((-30.0, 10.0), *carriers)
    assert one.way == pytest.approx(turned(1.0, way_deg))
    assert (one.sense, one.straight_deg, one.mass_kg) == (1.0, 0.0, 0.03)
    assert (one.moment_kg_m, one.inertia_kg_m2, one.spread_kg_m2) == (0j, 0.0, (0.0, 0.0, 0.0))


def test_a_part_that_slides_reaches_as_far_as_the_farther_end_of_its_travel() -> None:
    """In metres; its places are mm."""
    assert sliding((-30.0, 10.0), RISING).reach_m == pytest.approx(0.030)
    assert sliding((-10.0, 40.0), RISING).reach_m == pytest.approx(0.040)
    assert sliding((5.0, 25.0), RISING).reach_m == pytest.approx(0.025)


def test_a_plate_across_the_wind_brings_its_drag_into_the_chain() -> None:
    """Cd of a square plate 1.10 + 0.02 (1 + 1) = 1.14 (Cengel and Cimbala, from memory), 0.01 m2,
    its middle at 50 mm."""
    sail = servo("sail", Load((Plate(0.01, 0.1, 0.1, flat=True),)))
    one, _ = links((sail, servo("tip", Load(), Mount("sail", 0.1))))
    assert one.drag_m2 == pytest.approx(1.14 * 0.01)
    assert one.drag_m3 == pytest.approx(1.14 * 0.01 * 0.05)


def test_at_rest_every_servo_may_stand_anywhere_in_its_travel() -> None:
    rig = Rig((), (Board("b", "any", 1),), (Lamp("eye", "b", 9), RISING, TIP))
    still = JointLimits((-30.0, 10.0), 0.0, 0.0)
    assert standing_reaches(rig) == {"root": still, "tip": still}


def test_a_chain_begins_with_what_stands_on_nothing_and_carries_something() -> None:
    twig = servo("twig", Load(), Mount("root", 0.1))
    alone = servo("alone", Load())
    lost = servo("lost", Load(), Mount("nowhere", 0.1))
    rig = Rig((), (), (TONGUE, TIP, Lamp("eye", "b", 9), alone, lost, RISING, twig))
    assert carried_by(rig) == {"tip": (TONGUE,), "root": (TIP, twig), "nowhere": (lost,)}
    assert chains(rig) == ((RISING, TIP, twig, TONGUE),)
