"""Energy of parts on parts, part by part: a check of chains that shares no formula with them.

Koenig's theorem: a part of mass m whose hinge goes at h, turning at w, has
m |h|**2 / 2 + (h . its centre's way about the hinge) m + I w**2 / 2, I about the hinge. The plane
is that of complex numbers; a turn by phi is a factor exp(i phi).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.model import Link
from sim.rig.chain import Motion

Array = NDArray[np.float64]


def energy_j(links: tuple[Link, ...], motion: Motion, gravity_m_s2: float) -> Array:
    """Kinetic energy, plus that of the weight above the root's hinge line (J)."""
    total = np.zeros(motion.angle_deg.shape[1:])
    hinges, ways, turns, rates = [], [], [], []
    for link, angle, speed in zip(links, motion.angle_deg, motion.speed_deg_s, strict=True):
        phi = link.sense * np.radians(angle - link.straight_deg)
        w = link.sense * np.radians(speed)
        place = way = np.zeros_like(total, dtype=complex)
        if link.carrier is not None:
            arm = link.mount_m * np.exp(1j * turns[link.carrier])
            place = hinges[link.carrier] + arm
            way = ways[link.carrier] + 1j * rates[link.carrier] * arm
            phi, w = phi + turns[link.carrier], w + rates[link.carrier]
        centre = link.moment_kg_m * np.exp(1j * phi)
        total = total + link.mass_kg * np.abs(way) ** 2 / 2.0 + link.inertia_kg_m2 * w**2 / 2.0
        total = total + (np.conj(way) * 1j * w * centre).real
        total = total + gravity_m_s2 * (link.mass_kg * place + centre).imag
        hinges.append(place)
        ways.append(way)
        turns.append(phi)
        rates.append(w)
    return total
