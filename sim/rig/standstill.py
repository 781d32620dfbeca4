"""Pulses at which a continuous-rotation servo stands still.

Such a servo stands while its pulse is within its dead band round the pulse of standstill, the
calibration's point at 0 rpm. A speed whose pulse lies in there is no speed at all.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sim.arrays import Array
from sim.model import Servo


def pulse_us(one: Servo, place: ArrayLike) -> Array:
    """The pulse (us) at a place, straight between calibration points (TABLE.md, 3.2 Pulse)."""
    places = [point.angle_deg for point in one.points]
    pulses = [point.pulse_us for point in one.points]
    return np.asarray(np.interp(np.asarray(place, dtype=np.float64), places, pulses))


def stands_still(one: Servo, rpm: ArrayLike) -> NDArray[np.bool_]:
    """Where a part that is told to turn at `rpm` stands: its pulse lies in the dead band."""
    off = np.abs(pulse_us(one, rpm) - pulse_us(one, 0.0))
    return np.asarray(off <= one.dead_band_us / 2.0)


def slowest_rpm(one: Servo, direction: int) -> float:
    """The least speed (rpm, without sign) that takes the pulse out of the dead band.

    `direction` is +1 or -1. Infinite where the calibration does not reach that far.
    """
    places = np.array([point.angle_deg for point in one.points])
    pulses = np.array([point.pulse_us for point in one.points])
    off = np.abs(pulses - pulse_us(one, 0.0))
    side = np.sign(places) == direction
    ways, reached = np.abs(places[side]), off[side]
    order = np.argsort(ways)
    ways = np.concatenate([[0.0], ways[order]])
    reached = np.concatenate([[0.0], reached[order]])
    half = one.dead_band_us / 2.0
    if reached[-1] <= half:
        return float("inf")
    return float(np.interp(half, reached, ways))
