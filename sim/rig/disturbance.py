"""What pushes a part beside its own weight: the wearer's movement and the wind.

The wearer's body accelerates the hinge, in any direction. Seen from the costume that is a further
pull on the part's centre of mass, m r a at the most either way, beside the weight in any posture.
The peaks are published for the body's centre or its trunk, for parts of a second; they count in
every bound of torque and current, not for heat, which takes minutes.

Wind pushes a plate that stands across it with F = rho v**2 / 2 Cd A, at its middle, either way.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final, assert_never

from sim.model import Box, Plate, PointMass, Rod
from sim.rig import load as loads
from sim.rig.slide import PINION_M
from sim.rig.sliding_chain import chain_of

if TYPE_CHECKING:
    from sim.model import Body, Coupled, Gait, Load, Wearer

SWAY_G: Final[dict[Gait, float]] = {
    "stands": 0.0,
    # upper body of walking people, -0.3 to 0.8 g (Bouten 1997, quoting others; from memory)
    "walks": 0.8,
    # ground force of aerobic dance, up to 2.62 body weights, less the weight itself (Ricard and
    # Veatch 1994, read)
    "dances": 1.62,
    # ground force of landings in ball games, up to 5 body weights (Sensors 2020, 20, 740, quoting
    # others, read), less the weight itself
    "jumps": 4.0,
}
"""Greatest acceleration of the wearer's body beside gravity, in g, any direction. A head that lands
from a leap sees up to 9.5 g (a helmet study, pubmed 16817580, read): parts on it need more."""

AIR_KG_M3: Final = 1.225
"""Density of air (International Standard Atmosphere at sea level, from memory)."""

LONG_DRAG: Final = 2.0
"""Drag coefficient of a very long plate across the flow (handbooks: 1.98 to 2.05, read)."""


def drag_coefficient(length_m: float, width_m: float) -> float:
    """Cd of a rectangular plate across the flow: 1.10 + 0.02 (r + 1 / r), at most `LONG_DRAG`.

    r is the ratio of its sides (Cengel and Cimbala, Fluid Mechanics, from memory); 1.14 for a
    square, where White has 1.18 (from memory).
    """
    ratio = length_m / width_m
    return min(1.10 + 0.02 * (ratio + 1.0 / ratio), LONG_DRAG)


def drag_n(length_m: float, width_m: float, wind_m_s: float) -> float:
    """Force (N) of the wind on a plate across it: rho v**2 / 2 Cd A."""
    pressure = AIR_KG_M3 * wind_m_s**2 / 2.0
    return pressure * drag_coefficient(length_m, width_m) * length_m * width_m


def push_nm(load: Load, wearer: Wearer) -> float:
    """Torque (N.m) about the part's axis, either way, of the wearer's movement and the wind."""
    sway = SWAY_G[wearer.gait] * loads.GRAVITY_M_S2
    if sway == 0.0 and wearer.wind_m_s == 0.0:
        return 0.0
    moment_kg_m, drag_m3 = (
        (loads.mass(load).moment_kg_m, drag(load)[1])
        if load.coupled is None
        else _stretched(load.coupled)
    )
    return moment_kg_m * sway + AIR_KG_M3 * wearer.wind_m_s**2 / 2.0 * drag_m3


def drag(load: Load) -> tuple[float, float]:
    """Drag coefficient times area (m2) of a part across the wind, and that times distance (m3)."""
    areas = [(_drag_m2(body), loads.centre_m(body)) for body in load.bodies]
    return sum(area for area, _ in areas), sum(area * abs(arm) for area, arm in areas)


def _drag_m2(body: Body) -> float:
    """A flat plate stands across the wind, and so does a box's side; other parts slip through."""
    across = 0.0
    match body:
        case Plate():
            across = body.width_m if body.flat else 0.0
        case Box():
            across = body.depth_m
        case Rod() | PointMass():
            pass
        case _:
            assert_never(body)
    if across == 0.0 or isinstance(body, Rod | PointMass):
        return 0.0
    return drag_coefficient(body.length_m, across) * body.length_m * across


def _stretched(coupled: Coupled) -> tuple[float, float]:
    """First moment (kg.m) and drag times distance (m3) of a part and all it carries, stretched.

    Of one that slides all of it pushes alike, wherever it is: at the radius of its pinion.
    """
    far = {coupled.joint: 0.0}
    own = coupled.links[coupled.joint]
    if own.way is not None:
        borne = chain_of(coupled.links).borne[coupled.joint]
        masses = sum(coupled.links[u].mass_kg for u in borne)
        return masses * PINION_M, sum(coupled.links[u].drag_m2 for u in borne) * PINION_M
    moment_kg_m, drag_m3 = abs(own.moment_kg_m), own.drag_m3
    for number, link in enumerate(coupled.links):
        if link.carrier in far and number not in far:
            far[number] = far[link.carrier] + abs(link.mount_m) + link.reach_m
            moment_kg_m += link.mass_kg * far[number] + abs(link.moment_kg_m)
            drag_m3 += link.drag_m2 * far[number] + link.drag_m3
    return moment_kg_m, drag_m3


def settled(wearer: Wearer) -> Wearer:
    """The wearer as they are for minutes: leaning and in the wind, but not jolting; for heat."""
    return replace(wearer, gait="stands")


def upright(wearer: Wearer) -> Wearer:
    """The wearer standing upright in still air; for energy."""
    return replace(wearer, gait="stands", tilt_deg=0.0, wind_m_s=0.0)
