"""The rig around the outputs: wearer, supplies, boards, wires."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final, cast

from lark import Token

from firmware_gen.chips import CHIPS
from seqlang.meaning.entry import Sheet, options
from seqlang.meaning.notes import Fault
from seqlang.meaning.plugs import plug
from seqlang.meaning.values import Reading
from seqlang.text.names import nearest
from seqlang.text.syntax import Amount, Line
from seqlang.text.units import (
    AMPERE_HOURS,
    AMPERES,
    AREA,
    AWG,
    BAUDS,
    CELSIUS,
    DEGREES,
    DURATION,
    METRES,
    METRES_A_SECOND,
    OHMS,
    SHARE,
    SQUARE_MM,
    VOLTS,
)
from sim.model import (
    Adapter,
    Board,
    Cells,
    Direct,
    Divider,
    FuseKind,
    Gait,
    LineRadio,
    Logic,
    OnBoard,
    PackWatch,
    Regulator,
    Supply,
    Wearer,
    Wire,
)
from sim.rig.logic import DROPOUT_V
from sim.rig.regions import REGIONS
from sim.rig.watch import REFERENCE_V
from sim.rig.wire import SECTIONS, gauge_of
from sim.rulebook import ADDRESSES, RADIO_LATE_MS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from firmware_gen.chips import Chip


STORM_M_S: Final = 24.4
"""No costume is worn in more than a strong gale (top of force 9 of the Beaufort scale, read)."""

MOST_OHM: Final = 10_000_000.0
"""No divider is made of more: dirt and damp would be a part of it (own limit)."""

MOST_AH: Final = 200.0
"""No worn pack holds nearly as much; a slip of the unit is told at once (own limit)."""

VIEWING_M: Final = (0.05, 1000.0)
"""From where eyes can still see all of a part, to where nobody stands."""


def wearer(reading: Reading, entry: Line) -> Wearer:
    """What the rig must stand; lines that are missing or wrong keep the usual value."""
    sheet = Sheet(reading, entry)
    tilt, near = sheet.get("tilt"), sheet.get("near")
    air, margin = sheet.get("air"), sheet.get("margin")
    viewed = sheet.get("viewed")
    usual = Wearer()
    tilt_deg = tilt and reading.tried(reading.within, tilt.amount(1), DEGREES, "the tilt", 0, 180)
    warmth_c = air and reading.tried(
        reading.within, air.amount(1), CELSIUS, "the air's temperature", -40, 85
    )
    gait, wind = sheet.get("gait"), sheet.get("wind")
    wind_m_s = wind and reading.tried(
        reading.within, wind.amount(1), METRES_A_SECOND, "the wind", 0, STORM_M_S
    )
    region = near and reading.tried(_region, reading, near.token(1))
    share = margin and reading.tried(reading.within, margin.amount(1), SHARE, "the margin", 0, 0.9)
    viewing_m = viewed and reading.tried(
        reading.within, viewed.amount(2), METRES, "the viewing distance", *VIEWING_M
    )
    return Wearer(
        tilt_deg=usual.tilt_deg if tilt_deg is None else tilt_deg,
        region=region,
        temperature_c=usual.temperature_c if warmth_c is None else warmth_c,
        margin=usual.margin if share is None else share,
        gait=usual.gait if gait is None else cast("Gait", str(gait.items[0])),
        wind_m_s=usual.wind_m_s if wind_m_s is None else wind_m_s,
        viewing_m=usual.viewing_m if viewing_m is None else viewing_m,
        mark=reading.origins.mark(
            *(entry.items[0], entry.items[0]),
            ("tilt", tilt and tilt.items[1]),
            ("region", near and near.items[1]),
            ("temperature", air and air.items[1]),
            ("margin", margin and margin.items[1]),
            ("gait", gait and gait.items[0]),
            ("wind", wind and wind.items[1]),
            ("viewing distance", viewed and viewed.items[2]),
        ),
    )


def _region(reading: Reading, name: Token) -> str:
    """A body region that limits are published for. Raises Fault."""
    if str(name) not in REGIONS:
        known = ", ".join(f"`{region}`" for region in REGIONS)
        reading.error(
            "unknown-name",
            f"there is no body region `{name}`",
            name,
            help=f"contact limits are published for {known}",
            fix=nearest(str(name), REGIONS),
        )
        raise Fault
    return str(name)


# -- supplies and boards -----------------------------------------------------------------------


def supply(reading: Reading, entry: Line) -> Supply:
    """Raises Fault if it has no usable source."""
    sheet = Sheet(reading, entry)
    source = sheet.need("source", "source adapter 6 V, 5 A")
    regulator, fuse = sheet.get("regulator"), sheet.get("fuse")
    made = reading.tried(_source, reading, source)
    converter = regulator and reading.tried(_regulator, reading, regulator)
    fuse_a = fuse and reading.tried(reading.within, fuse.amount(1), AMPERES, "the fuse", above=0)
    if made is None or (converter is None and (regulator is not None or sheet.broken)):
        raise Fault  # behind a regulator that could not be read, every voltage would be wrong
    return Supply(
        str(entry.token(1)),
        made,
        converter,
        fuse_a,
        _fuse_kind(fuse),
        reading.origins.mark(
            *sheet.head,
            ("name", entry.items[1]),
            ("fuse", fuse and fuse.items[1]),
            ("fuse kind", fuse.items[2] if fuse and len(fuse.items) > 2 else None),
        ),
    )


def _fuse_kind(fuse: Line | None) -> FuseKind:
    if fuse is None or len(fuse.items) < 3:
        return Supply("", Adapter(0.0, 0.0)).fuse_kind
    return cast("FuseKind", " ".join(fuse.token(2).split()))


def _source(reading: Reading, line: Line) -> Cells | Adapter:
    return _cells(reading, line) if line.kind == "cells" else _adapter(reading, line)


def _cells(reading: Reading, line: Line) -> Cells:
    series, chemistry, capacity, *rest = (i for i in line.items[1:] if not isinstance(i, Line))
    rows = next(iter(line.lines()), None)
    parallel = 1 if rows is None else reading.count(rows.amount(1), "the number of rows", 1, 100)
    return Cells(
        chemistry=str(chemistry),  # type: ignore[arg-type]  # the grammar knows the chemistries
        series=reading.count(cast("Token", series), "the number of cells", 1, 100),
        capacity_ah=reading.within(
            cast("Token", capacity), AMPERE_HOURS, "the capacity", high=MOST_AH, above=0
        ),
        parallel=parallel,
        resistance_ohm=reading.within(cast("Token", rest[0]), OHMS, "the resistance", 0)
        if rest
        else None,
        mark=reading.origins.mark(
            *(line, line),
            ("cells", series),
            ("chemistry", chemistry),
            ("rows", rows and rows.items[1]),
            ("capacity", capacity),
            ("resistance", rest[0] if rest else None),
        ),
    )


def _adapter(reading: Reading, line: Line) -> Adapter:
    return Adapter(
        reading.within(line.amount(2), VOLTS, "the voltage", above=0),
        reading.within(line.amount(3), AMPERES, "the current", above=0),
        reading.origins.mark(line, line, ("voltage", line.items[2]), ("current", line.items[3])),
    )


def _regulator(reading: Reading, line: Line) -> Regulator:
    more = options(reading, line)
    dropout, efficiency = (cast("Line | None", more.get(k)) for k in ("dropout", "efficiency"))
    usual = Regulator(0.0, 0.0)
    return Regulator(
        voltage_v=reading.within(line.amount(1), VOLTS, "the voltage", above=0),
        current_a=reading.within(line.amount(2), AMPERES, "the current", above=0),
        dropout_v=reading.within(dropout.amount(1), VOLTS, "the dropout", 0)
        if dropout
        else usual.dropout_v,
        efficiency=reading.within(efficiency.amount(1), SHARE, "the efficiency", 0.01, 1)
        if efficiency
        else usual.efficiency,
        mark=reading.origins.mark(
            *(line, line),
            ("voltage", line.items[1]),
            ("current", line.items[2]),
            ("dropout", dropout and dropout.items[1]),
            ("efficiency", efficiency and efficiency.items[1]),
        ),
    )


NO_ADDRESS: Final = 0
"""Stands for an address that has its finding already; no real board has it."""


def board(reading: Reading, entry: Line, supplies: Mapping[str, Token]) -> Board:
    """A board whose address is unusable gets `NO_ADDRESS`, so that what hangs on it is still read.

    Raises Fault if the chip is unknown.
    """
    sheet = Sheet(reading, entry)
    _, name, chip, address, *more = entry.items
    leads = next((i for i in more if isinstance(i, Token) and i.type == "LEADS"), None)
    if str(chip) not in CHIPS:
        reading.unknown(cast("Token", chip), "chip", CHIPS)
    number = reading.tried(
        reading.count, cast("Token", address), "the address", ADDRESSES[0], ADDRESSES[-1]
    )
    feed = sheet.get("feed")
    source = wire = None
    if feed is not None:
        if str(feed.token(1)) in supplies:
            source = str(feed.token(1))
        else:
            reading.unknown(feed.token(1), "supply", supplies)
        if len(feed.items) > 2:
            wire = reading.tried(_wire, reading, feed)
    stated, watched = sheet.get("logic"), sheet.get("watch")
    logic = stated and reading.tried(_logic, reading, stated)
    told = sheet.get("radio")
    radio = told and reading.tried(_radio, reading, told)
    answers = sheet.get("answers")
    if str(chip) not in CHIPS:
        raise Fault
    watch = watched and reading.tried(_watch, reading, watched, entry.token(1), CHIPS[str(chip)])
    return Board(
        str(name),
        str(chip),
        NO_ADDRESS if number is None else number,
        source,
        wire,
        reading.origins.mark(
            *sheet.head,
            ("name", name),
            ("chip", chip),
            ("address", address),
            ("feed", feed),
            ("logic", stated and stated.items[1]),
            ("leads", leads),
            ("answers", answers),
        ),
        CHIPS[str(chip)].electrics,
        logic,
        leads is not None,
        radio,
        watch,
        answers is not None,
        CHIPS[str(chip)].joins,
    )


def _radio(reading: Reading, line: Line) -> LineRadio:
    late = cast("Line | None", options(reading, line).get("late"))
    baud = reading.within(line.amount(1), BAUDS, "the rate", low=1)
    made = LineRadio(round(baud), 0, reading.origins.mark(line, line, ("baud", line.amount(1))))
    if late is None:
        return made
    most = RADIO_LATE_MS
    return replace(
        made, late_ms=round(reading.within(late.amount(1), DURATION, "the delay", 0, most))
    )


def _logic(reading: Reading, line: Line) -> Logic:
    first = line.items[1]
    if isinstance(first, Token) and first.type == "DIRECT":
        return Direct()
    dropout = cast("Line | None", options(reading, line).get("dropout"))
    made = OnBoard(reading.within(line.amount(1), VOLTS, "the voltage", above=0), DROPOUT_V)
    if dropout is None:
        return made
    return replace(made, dropout_v=reading.within(dropout.amount(1), VOLTS, "the dropout", 0))


def _watch(reading: Reading, line: Line, board: Token, chip: Chip) -> PackWatch:
    """How the board watches its pack. Raises Fault."""
    more = options(reading, line)
    warns, stops, reference = (
        cast("Line | None", more.get(kind)) for kind in ("warns", "stops_below", "reference")
    )
    divided = cast("Line | None", more.get("divider"))
    direct = divided is None
    named = line.items[1]
    pin = None
    if isinstance(named, Token) and not direct:
        pin = reading.tried(plug, reading, board, named, {str(board): chip}, "sensor")
    divider = None if divided is None else reading.tried(_divider, reading, divided)
    if reference is not None and not direct:
        reading.error(
            "wrong-kind",
            "a divider at a pin is held against the chip's supply, not against its reference",
            reference,
            help="state the chip's supply in the board's `logic` line; `reference` is for "
            "`watch direct`",
        )
        raise Fault
    if not direct and (pin is None or divider is None):
        raise Fault
    return PackWatch(
        pin,
        divider,
        reference
        and reading.tried(
            reading.within, reference.amount(1), VOLTS, "the chip's reference", *REFERENCE_V
        ),
        warns and reading.tried(reading.within, warns.amount(2), VOLTS, "a cell's limit", above=0),
        stops and reading.tried(reading.within, stops.amount(2), VOLTS, "a cell's limit", above=0),
        reading.origins.mark(
            *(line, line),
            ("pin", None if direct else named),
            ("warns", warns and warns.items[2]),
            ("stops", stops and stops.items[2]),
            ("reference", reference and reference.items[1]),
        ),
    )


def _divider(reading: Reading, line: Line) -> Divider:
    upper, lower = (
        reading.tried(reading.within, line.amount(at), OHMS, "a resistor", 1, MOST_OHM)
        for at in (1, 2)
    )
    if upper is None or lower is None:
        raise Fault
    mark = reading.origins.mark(line, line, ("upper", line.items[1]), ("lower", line.items[2]))
    return Divider(upper, lower, mark)


def _wire(reading: Reading, feed: Line) -> Wire:
    more = options(reading, feed)
    strands, bundled = (cast("Line | None", more.get(kind)) for kind in ("strands", "bundled"))
    if strands is not None and "solid" in more:
        reading.error(
            "duplicate-line",
            "a wire is solid or has strands",
            strands,
            related=((more["solid"], "stated as solid here"),),
            help="keep one of the two",
        )
        raise Fault
    made_of = None
    if strands is not None:
        count = reading.count(strands.amount(1), "the number of strands", 1, 1000)
        made_of = count, _gauge(reading, strands.amount(2))
    length_m = reading.tried(reading.within, feed.amount(2), METRES, "the length", above=0)
    section = None
    if reading.is_of(feed.amount(3), AREA):
        section = _section(reading, feed.amount(3))
    gauge = _gauge(reading, feed.amount(3)) if section is None else gauge_of(section)
    if length_m is None:
        raise Fault
    return Wire(
        length_m,
        gauge,
        made_of,
        "solid" in more,
        reading.count(bundled.amount(1), "the number of feeds", 1, 100) if bundled else 1,
        reading.origins.mark(
            feed,
            feed,
            ("supply", feed.items[1]),
            ("length", feed.items[2]),
            ("gauge", feed.items[3]),
            ("strands", strands),
            ("bundled", bundled and bundled.items[1]),
        ),
        section,
    )


def _section(reading: Reading, amount: Amount) -> float:
    """A nominal section that conductors are made in. Raises Fault."""
    section = reading.value(amount, SQUARE_MM)
    if section in SECTIONS:
        return section
    thinner = max((mm2 for mm2 in SECTIONS if mm2 <= section), default=min(SECTIONS))
    listed = ", ".join(f"{mm2:g}" for mm2 in SECTIONS)
    reading.error(
        "number-out-of-range",
        f"no wire has a nominal section of `{reading.text(amount)}`",
        amount,
        help=f"sections are {listed} mm2 (IEC 60228); thinner feeds go by gauge, such as `24 AWG`",
        fix=f"{thinner:g} mm2" if min(SECTIONS) <= section <= max(SECTIONS) else None,
    )
    raise Fault


def _gauge(reading: Reading, amount: Amount) -> int:
    gauge = reading.exact(amount, AWG)
    if gauge.denominator != 1 or not 0 <= gauge <= 40:
        reading.error(
            "number-out-of-range",
            f"a wire gauge is a whole number from 0 to 40 AWG, but `{reading.text(amount)}` is "
            "written",
            amount,
        )
        raise Fault
    return int(gauge)
