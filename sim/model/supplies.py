"""What feeds a rig: supplies, wires, and what a board's chip needs of them."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Literal, TypeAlias

from sim.model.mark import NO_MARK


@dataclass(frozen=True, slots=True)
class Cells:
    """A battery: `series` cells in a row, `parallel` rows side by side."""

    chemistry: Literal["li-ion", "lipo", "lifepo4", "nimh", "alkaline"]
    series: int
    capacity_ah: float
    parallel: int = 1
    resistance_ohm: float | None = None
    """Internal resistance of the whole pack; None: the chemistry's usual value per cell."""
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Adapter:
    """A fixed supply: a plug-in or bench supply of constant voltage."""

    voltage_v: float
    current_a: float
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Regulator:
    """A converter between source and feed; `dropout_v` is the least headroom it needs."""

    voltage_v: float
    current_a: float
    dropout_v: float = 0.5
    efficiency: float = 0.9
    mark: int = NO_MARK


FuseKind: TypeAlias = Literal["blade", "UL fast", "UL slow", "IEC fast", "IEC slow"]
"""Blade: ISO 8820-3. Cartridges: UL 248-14, IEC 60127-2; fast or with a delay."""


@dataclass(frozen=True, slots=True)
class Supply:
    name: str
    source: Cells | Adapter
    regulator: Regulator | None = None
    fuse_a: float | None = None
    fuse_kind: FuseKind = "blade"
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Wire:
    """A two-conductor feed. `length_m` is one way; current goes there and back.

    `strands`: how many strands of which gauge, where known; `solid`: one, of the gauge itself;
    otherwise stranded somehow. `bundled`: feeds that run together in one bundle, this one included.
    `section_mm2`: the nominal metric section of a wire that is sold by it; its `gauge_awg` is then
    the thickest one that has no more copper.
    """

    length_m: float
    gauge_awg: int
    strands: tuple[int, int] | None = None
    solid: bool = False
    bundled: int = 1
    mark: int = NO_MARK
    section_mm2: float | None = None


@dataclass(frozen=True, slots=True)
class Electrics:
    """What a supply's physics needs of a board's chip; the values of an ideal one stand here.

    `idle_a`: current of the board itself. `brown_out_v`: under it the chip resets. `clock_v`: the
    least voltage at which it keeps its limits at its clock. `pin_a`: the most that one pin gives.
    `highest_v`: the most it may be fed with.
    """

    idle_a: float = 0.0
    brown_out_v: float = 0.0
    clock_v: float = 0.0
    pin_a: float = inf
    highest_v: float = inf


@dataclass(frozen=True, slots=True)
class Direct:
    """The chip is fed at its own pin: it has the feed's voltage."""


@dataclass(frozen=True, slots=True)
class OnBoard:
    """The chip is fed through a linear regulator on its board, which needs `dropout_v` over it."""

    voltage_v: float
    dropout_v: float = 1.0


Logic: TypeAlias = Direct | OnBoard


@dataclass(frozen=True, slots=True)
class LineRadio:
    """A pair of radios that carries the bytes of a serial port, `late_ms` after they went in."""

    baud: int
    late_ms: int = 0
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Divider:
    """Two resistors in series from a pack's plus to ground; a pin sees what is over the lower."""

    upper_ohm: float
    lower_ohm: float
    mark: int = NO_MARK

    @property
    def share(self) -> float:
        """What the pin sees of the pack's voltage."""
        return self.lower_ohm / (self.upper_ohm + self.lower_ohm)

    @property
    def source_ohm(self) -> float:
        """Resistance that the pin looks into: both in parallel, as the pack's own is next to 0."""
        return self.upper_ohm * self.lower_ohm / (self.upper_ohm + self.lower_ohm)


@dataclass(frozen=True, slots=True)
class PackWatch:
    """A board watches the voltage of the pack that feeds it.

    With a divider at the analog pin `pin`; without, the chip runs from the pack itself, and holds
    its supply against its own reference of `reference_v` (None: as the data sheet has it).
    `warn_v` and `stop_v` are of one cell; None: the chemistry's usual ones (`sim.rig.watch`).
    """

    pin: int | None = None
    divider: Divider | None = None
    reference_v: float | None = None
    warn_v: float | None = None
    stop_v: float | None = None
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Board:
    name: str
    chip: str
    address: int
    supply: str | None = None
    wire: Wire | None = None
    mark: int = NO_MARK
    electrics: Electrics = Electrics()
    """Of its chip: whoever names the chip fills them in."""
    logic: Logic | None = None
    """How the chip is fed; None: as `sim.rig.logic` says."""
    leads: bool = False
    """The other boards of the show follow it."""
    radio: LineRadio | None = None
    """Of a board that leads: it tells the others over a radio; None: over a cable."""
    watch: PackWatch | None = None
    """How it watches its pack; None: it does not."""
    answers: bool = False
    """Of a board that follows: a wire goes from it back to the board that leads."""
    joins: bool = True
    """It can carry forward what it missed, where it follows; filled in as `electrics` is."""


# -- loads and drives --------------------------------------------------------------------------
