"""Batteries: cell voltage over what is left in them, internal resistance, run time.

The curves are rest voltages of ordinary cells at room temperature, read off makers' discharge
plots by many hands: common practice, from memory, good to about 0.05 V a cell. Cold cells and old
ones give less. The maker's own measurement beats them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike

from sim.arrays import Array

if TYPE_CHECKING:
    from sim.model import Cells


USABLE: Final = 0.8
"""Share of the printed capacity to count on (common practice, no source)."""

EMPTY_CHARGE: Final = 1.0 - USABLE
"""State of charge at which a show must still work: the end of the usable part."""


@dataclass(frozen=True, slots=True)
class Chemistry:
    """One cell of a kind. All values: common practice, from memory.

    `charge` and `rest_v` are the curve, ascending; `ohm_ah` is internal resistance times capacity
    (a cell twice as large has half the resistance); `low_v` is where the end is near, `cutoff_v`
    is where to stop, and below `harm_v` a cell takes harm (lithium: read, see `sim.rig.watch`);
    `c_rate` is the continuous current over capacity, per hour, that an ordinary cell of the kind
    stands.
    """

    charge: tuple[float, ...]
    rest_v: tuple[float, ...]
    ohm_ah: float
    low_v: float
    cutoff_v: float
    harm_v: float
    c_rate: float
    lithium: bool


_TENTHS: Final = (0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)

CHEMISTRIES: Final[dict[str, Chemistry]] = {
    "li-ion": Chemistry(
        _TENTHS,
        (3.00, 3.35, 3.45, 3.55, 3.62, 3.67, 3.73, 3.81, 3.90, 3.99, 4.08, 4.20),
        ohm_ah=0.15,
        low_v=3.4,
        cutoff_v=3.0,
        harm_v=2.75,
        c_rate=2.0,
        lithium=True,
    ),
    "lipo": Chemistry(
        _TENTHS,
        (3.27, 3.61, 3.69, 3.73, 3.77, 3.80, 3.84, 3.87, 3.95, 4.02, 4.11, 4.20),
        ohm_ah=0.02,
        low_v=3.6,
        cutoff_v=3.3,
        harm_v=3.0,
        c_rate=20.0,
        lithium=True,
    ),
    "lifepo4": Chemistry(
        _TENTHS,
        (2.50, 3.00, 3.12, 3.20, 3.24, 3.26, 3.27, 3.28, 3.30, 3.31, 3.32, 3.40),
        ohm_ah=0.05,
        low_v=3.0,
        cutoff_v=2.8,
        harm_v=2.5,
        c_rate=5.0,
        lithium=True,
    ),
    "nimh": Chemistry(
        _TENTHS,
        (1.00, 1.12, 1.17, 1.21, 1.23, 1.24, 1.25, 1.26, 1.27, 1.29, 1.32, 1.40),
        ohm_ah=0.05,
        low_v=1.1,
        cutoff_v=1.0,
        harm_v=0.9,
        c_rate=3.0,
        lithium=False,
    ),
    "alkaline": Chemistry(
        _TENTHS,
        (0.90, 0.99, 1.05, 1.12, 1.17, 1.21, 1.25, 1.28, 1.32, 1.37, 1.44, 1.58),
        ohm_ah=0.45,
        low_v=1.05,
        cutoff_v=0.9,
        harm_v=0.8,
        c_rate=0.4,
        lithium=False,
    ),
}


def rest_v(cells: Cells, charge: ArrayLike) -> Array:
    """Voltage (V) of the pack at rest with `charge` (0 to 1) left in it."""
    kind = CHEMISTRIES[cells.chemistry]
    left = np.asarray(charge, dtype=np.float64)
    return np.asarray(cells.series * np.interp(left, kind.charge, kind.rest_v))


def pack_ohm(cells: Cells) -> float:
    """Internal resistance (ohm) of the pack: as stated, or the chemistry's usual one.

    Cells in a row add, rows side by side divide: r series / parallel, r = ohm_ah / capacity.
    """
    if cells.resistance_ohm is not None:
        return cells.resistance_ohm
    each = CHEMISTRIES[cells.chemistry].ohm_ah / cells.capacity_ah
    return each * cells.series / cells.parallel


def pack_ah(cells: Cells) -> float:
    """Capacity (Ah) of the pack: that of one row times the rows."""
    return cells.capacity_ah * cells.parallel


def stands_a(cells: Cells) -> float:
    """Continuous current (A) that an ordinary pack of this kind stands."""
    return pack_ah(cells) * CHEMISTRIES[cells.chemistry].c_rate


def run_time_h(capacity_ah: float, mean_a: float, usable: float = USABLE) -> float:
    """Run time (h): t = C k / I, k the usable share. Infinite without current."""
    return capacity_ah * usable / mean_a if mean_a > 0.0 else float("inf")


def capacity_for_ah(run_time: float, mean_a: float, usable: float = USABLE) -> float:
    """Printed capacity (Ah) that lasts `run_time` hours at a mean current: I t / k."""
    return run_time * mean_a / usable
