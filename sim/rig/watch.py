"""A board watches its battery: what it reads, how far off that may be, and at what it acts.

A divider brings the battery's voltage within the chip's supply; a converter holds it against that
supply. Where the chip runs from the battery itself, it holds its own reference against its supply.

| what | value | source |
| --- | --- | --- |
| a lithium cell is harmed | below 2.75 V | a cell maker's handling sheet (read) |
| a soft pouch (`lipo`), an iron cell | below 3.0 V, 2.5 V | common practice, no source |
| the chip's reference | 1.0 to 1.2 V, 1.1 V as a rule | data sheet (from memory) |
| the converter | off by 2 steps | data sheet, ADC Characteristics (from memory) |
| a board's regulator | off by 2 % | data sheets of the 1117 class (from memory) |
| resistors of a divider | off by 1 % | metal film (common practice, no source) |
| most that a pin may look into | 10 kohm | data sheet, Analog Input Circuitry (from memory) |

The watch replaces no protection circuit: it sees the battery and not each cell, and it acts late.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import product
from math import ceil
from typing import TYPE_CHECKING, Final

from sim.model import Cells, Direct, Divider
from sim.rig import battery
from sim.rig.logic import logic_of
from sim.rig.resistor import E24
from sim.rig.supply import highest_v, of_board
from sim.rulebook import SENSOR_ONE

if TYPE_CHECKING:
    from sim.model import Board, PackWatch, Rig

REFERENCE_V: Final = (1.0, 1.2)
"""Between these the reference of any one chip lies."""
USUAL_REFERENCE_V: Final = 1.1
MEASURED: Final = 0.01
"""How far off a reference is that somebody measured: it moves a little with the temperature (data
sheet, from memory)."""
SOURCE_OHM: Final = 10_000.0
"""The most that an analog pin may look into, so that its capacitor fills in time."""
REGULATED: Final = 0.02
RESISTORS: Final = 0.01
CONVERTER_STEPS: Final = 2
PIN_SHARE: Final = 0.95
"""Share of the chip's supply that a full battery brings to the pin at most: regulator and resistors
are off a little (own choice)."""
LEAST_NOTICE_V: Final = 0.1
"""Of a cell, between the warning and the stop, where the show states no warning (own choice)."""
_DECADES_OHM: Final = (1_000, 10_000, 100_000)
_NEAR: Final = 0.9
"""A divider that lets so much of the best one's share through is as good, and may drain less."""


@dataclass(frozen=True, slots=True)
class Watched:
    """A watch with the battery that it watches. Voltages in V; those of limits are of one cell."""

    board: str
    watch: PackWatch
    cells: Cells
    chip_v: float
    """What the chip runs from while the battery is well; of a direct watch the full battery."""
    full_v: float
    warn_v: float
    stop_v: float
    follows_battery: bool
    """The chip runs from the battery itself."""
    dropout_v: float
    """What the chip's regulator needs over its voltage."""

    @property
    def reference_v(self) -> float:
        stated = self.watch.reference_v
        return USUAL_REFERENCE_V if stated is None else stated

    @property
    def scale_v(self) -> float:
        """What the table states: the battery at the full reading, or the reference."""
        divider = self.watch.divider
        return self.reference_v if divider is None else self.chip_v / divider.share

    @property
    def off(self) -> float:
        """How far off a reading near the stop may be, as a share."""
        stop_v = self.cells.series * self.stop_v
        divider = self.watch.divider
        if divider is None:
            own = (REFERENCE_V[1] - USUAL_REFERENCE_V) / USUAL_REFERENCE_V
            step = CONVERTER_STEPS * stop_v / (self.reference_v * SENSOR_ONE)
            return (own if self.watch.reference_v is None else MEASURED) + step
        step = CONVERTER_STEPS * self.scale_v / SENSOR_ONE / stop_v
        return REGULATED + 2.0 * RESISTORS * (1.0 - divider.share) + step

    def reading(self, volts: float) -> int:
        """What the converter reads while the battery has `volts`, of 1024 (0 to 1023)."""
        share = self.reference_v / max(volts, 1e-9)
        if self.watch.divider is not None:
            share = volts / self.scale_v
        return max(0, min(SENSOR_ONE - 1, int(SENSOR_ONE * share)))

    @property
    def held_v(self) -> float:
        """Of a divider: the lowest limit, of a cell, at which the chip's supply still holds.

        Under it that sinks with the battery, and the reading does not any more.
        """
        return (self.chip_v + self.dropout_v) / self.cells.series / (1.0 - self.off)

    @property
    def lowest_stop_v(self) -> float:
        """What a cell may have when the board stops, at worst."""
        return self.stop_v * (1.0 - self.off)


def watched(rig: Rig, board: Board) -> Watched | None:
    """What a board's watch sees; None where it has none, or no battery feeds it."""
    _, supply = of_board(rig, board.name)
    if board.watch is None or supply is None or not isinstance(supply.source, Cells):
        return None
    cells, kind = supply.source, battery.CHEMISTRIES[supply.source.chemistry]
    logic = logic_of(board, highest_v(rig, board.name))
    full_v = float(battery.rest_v(cells, 1.0))
    follows = isinstance(logic, Direct) and supply.regulator is None
    chip_v, dropout_v = full_v, 0.0
    if not isinstance(logic, Direct):
        chip_v, dropout_v = logic.voltage_v, logic.dropout_v
        if supply.regulator is not None:
            dropout_v += supply.regulator.dropout_v
    elif supply.regulator is not None:
        chip_v, dropout_v = supply.regulator.voltage_v, supply.regulator.dropout_v
    stated = board.watch
    stop_v = kind.cutoff_v if stated.stop_v is None else stated.stop_v
    found = Watched(
        *(board.name, stated, cells, chip_v, full_v, kind.low_v, stop_v, follows, dropout_v),
    )
    if stated.divider is not None and stated.stop_v is None and found.held_v > stop_v:
        found = replace(found, stop_v=ceil(100.0 * found.held_v) / 100.0)
    warn_v = max(kind.low_v, found.stop_v + LEAST_NOTICE_V)
    return replace(found, warn_v=warn_v if stated.warn_v is None else stated.warn_v)


def divider_for(full_v: float, chip_v: float) -> Divider:
    """The divider of E24 resistors for a battery of at most `full_v` at a chip of `chip_v`.

    A full battery brings the pin to `PIN_SHARE` of the chip's supply at most; the pin looks into
    `SOURCE_OHM` at most; of those that let nearly the most through, the one that drains least.
    """
    ohms = [float(Decimal(step) * decade) for decade in _DECADES_OHM for step in E24]
    most = PIN_SHARE * chip_v / full_v
    fitting = [
        one
        for one in (Divider(upper, lower) for upper, lower in product(ohms, ohms))
        if one.share <= most and one.source_ohm <= SOURCE_OHM
    ]
    best = max(one.share for one in fitting)
    near = [one for one in fitting if one.share >= _NEAR * best]
    return max(near, key=lambda one: (one.upper_ohm + one.lower_ohm, one.share))


def drain_a(divider: Divider, full_v: float) -> float:
    """Current (A) that a divider takes from a full battery, all the time."""
    return full_v / (divider.upper_ohm + divider.lower_ohm)
