"""Copper wire by American gauge or metric section: resistance there and back, what it may carry.

A gauge fixes a solid wire. What is sold as a stranded wire of a gauge is made of strands that come
to 18 % more copper or 6 % less, by their count: where the rig states the strands, they count;
otherwise the least copper of a maker's chart does.
"""

from __future__ import annotations

from dataclasses import replace
from math import log, pi, sqrt
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from sim.model import Wire

RESISTIVITY_OHM_MM2_M: Final = 1.0 / 58.0
"""Annealed copper at 20 deg C, ohm mm2/m (IEC 60028:1925, 58 MS/m)."""

RESISTANCE_RISE_PER_K: Final = 0.00393
"""Rise of copper's resistance per kelvin, of its value at 20 deg C (IEC 60028:1925)."""

CARRIES_A: Final[dict[int, float]] = {
    10: 55.0,
    12: 41.0,
    14: 32.0,
    16: 22.0,
    18: 16.0,
    20: 11.0,
    22: 7.0,
    24: 3.5,
    26: 2.2,
    28: 1.4,
    30: 0.86,
    32: 0.53,
    34: 0.33,
    36: 0.21,
    38: 0.13,
    40: 0.09,
}
"""Ampere a single wire in free air may carry, by gauge ("chassis wiring"; a table often reprinted
in electronics handbooks, from memory). Bundled or covered wires carry less; local codes differ."""

THINNEST_AWG: Final = 30
"""Nobody is told to take a thinner feed."""

GAUGES: Final = tuple(gauge for gauge in CARRIES_A if gauge <= THINNEST_AWG)
"""The gauges that are proposed: the even ones, thick to thin."""

SECTIONS: Final[dict[float, tuple[float, float]]] = {
    0.5: (0.0360, 0.0390),
    0.75: (0.0245, 0.0260),
    1.0: (0.0181, 0.0195),
    1.5: (0.0121, 0.0133),
    2.5: (0.00741, 0.00798),
    4.0: (0.00461, 0.00495),
    6.0: (0.00308, 0.00330),
    10.0: (0.00183, 0.00191),
}
"""Nominal metric sections (mm2): the most that a metre of the conductor may have at 20 deg C (ohm),
solid (class 1) and flexible (class 5), of plain copper (IEC 60228:2004, tables 1 and 3, from
memory). A section is a name for that resistance: the copper may be less than it says."""

STRANDED_RISE: Final = 1.0634
"""Resistance of stranded wire over solid wire of its gauge, at the most (a maker's chart of strand
counts, read: from 0.82 to 1.0634)."""

BUNDLED: Final[dict[int, float]] = {
    1: 1.0,
    2: 0.8,
    3: 0.7,
    4: 0.65,
    5: 0.6,
    6: 0.57,
    7: 0.54,
    8: 0.52,
    9: 0.5,
    12: 0.45,
    16: 0.41,
    20: 0.38,
}
"""Share of its current that a feed may carry, by how many run in one bundle (IEC 60364-5-52, table
B.52.17, row 1, by several public files; written for mains cables)."""

LONGEST_DROP: Final = 0.05
"""Share of the feed's voltage a wire should lose at most (3 to 5 %: common practice, no source)."""


def diameter_mm(gauge_awg: float) -> float:
    """Diameter of a solid wire (mm): 0.127 * 92 ** ((36 - n) / 39) (ASTM B258)."""
    return float(0.127 * 92.0 ** ((36.0 - gauge_awg) / 39.0))


def area_mm2(gauge_awg: float) -> float:
    """Section of a solid wire (mm2): pi d**2 / 4."""
    return pi * diameter_mm(gauge_awg) ** 2 / 4.0


def ohm_per_m(gauge_awg: float, temperature_c: float = 20.0) -> float:
    """Resistance of one solid conductor (ohm/m): rho (1 + alpha (T - 20)) / A (IEC 60028)."""
    warm = 1.0 + RESISTANCE_RISE_PER_K * (temperature_c - 20.0)
    return RESISTIVITY_OHM_MM2_M * warm / area_mm2(gauge_awg)


def conductor_ohm_per_m(wire: Wire, temperature_c: float = 20.0) -> float:
    """Resistance (ohm/m) of one conductor as it is made: solid, of stated strands, or of any."""
    if wire.strands is not None:
        count, gauge_awg = wire.strands
        return ohm_per_m(gauge_awg, temperature_c) / count
    if wire.section_mm2 is not None:
        warm = 1.0 + RESISTANCE_RISE_PER_K * (temperature_c - 20.0)
        return SECTIONS[wire.section_mm2][0 if wire.solid else 1] * warm
    rise = 1.0 if wire.solid else STRANDED_RISE
    return rise * ohm_per_m(wire.gauge_awg, temperature_c)


def loop_ohm(wire: Wire | None, temperature_c: float = 20.0) -> float:
    """Resistance (ohm) of a two-conductor feed, there and back; 0 without a wire."""
    if wire is None:
        return 0.0
    return 2.0 * wire.length_m * conductor_ohm_per_m(wire, temperature_c)


def carries_a(gauge_awg: int) -> float:
    """Ampere a wire of that gauge may carry; of an odd gauge, what the next thinner even one may.

    Thicker than the table: as its thickest.
    """
    return max(a for gauge, a in CARRIES_A.items() if gauge >= gauge_awg)


def gauge_of(section_mm2: float) -> int:
    """The thickest proposed gauge with no more copper than a metric section: it carries as much."""
    return next(gauge for gauge in GAUGES if area_mm2(gauge) <= section_mm2)


def section_for(gauge_awg: int) -> float | None:
    """The least metric section with as much copper as a gauge; None: there is none as thick."""
    return next((mm2 for mm2 in SECTIONS if gauge_of(mm2) <= gauge_awg), None)


def called(wire: Wire) -> str:
    """A wire's thickness as its maker states it: `18 AWG`, `0.75 mm2`."""
    if wire.section_mm2 is not None:
        return f"{wire.section_mm2:g} mm2"
    return f"{wire.gauge_awg} AWG"


def bundled_share(feeds: int) -> float:
    """Share of its current that each of so many bundled feeds may carry; see `BUNDLED`.

    Between two rows, and beyond the last one: the next greater, or the last, number of feeds.
    """
    return next((share for count, share in BUNDLED.items() if feeds <= count), BUNDLED[20])


def copper_awg(wire: Wire) -> int:
    """The gauge whose copper a wire has: its own, or a thinner one where stated strands are few.

    What is sold as a gauge has copper within half a step of it, so strands count to the nearest.
    """
    if wire.strands is None:
        return wire.gauge_awg
    count, strand_awg = wire.strands
    solid_mm = diameter_mm(strand_awg) * sqrt(count)
    return max(wire.gauge_awg, round(36.0 - 39.0 * log(solid_mm / 0.127) / log(92.0)))


def feed_carries_a(wire: Wire) -> float:
    """Ampere that a feed may carry where it lies, with the copper it has."""
    return carries_a(copper_awg(wire)) * bundled_share(wire.bundled)


def gauge_for(
    wire: Wire, voltage_v: float, peak_a: float, carried_a: float, temperature_c: float
) -> int | None:
    """The thinnest gauge for a feed of that length, make and bundle.

    It carries `carried_a` and loses at most 5 % of `voltage_v` at `peak_a`. None: not even the
    thickest does; shorten the feed or split it. Another gauge has other strands, so stated ones do
    not count here.
    """
    for gauge in reversed(GAUGES):
        feed = replace(wire, gauge_awg=gauge, strands=None, section_mm2=None)
        drop_v = loop_ohm(feed, temperature_c) * peak_a
        if feed_carries_a(feed) >= carried_a and drop_v <= LONGEST_DROP * voltage_v:
            return gauge
    return None
