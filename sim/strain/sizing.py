"""What to buy: servos, batteries, fuses, wires and resistors that a show needs.

Servo. Every operating point of every planned move, of the worst interruptions, and every pose that
is held must lie within a servo's line less the margin: T / Ts + w / w0 <= 1 - margin while driving,
each share by itself while braking (`sim.rig.servo`). Of all lines (Ts, w0) that do, the one of
least power Ts w0 / 4 is named: the smallest motor. Heat sets a floor under Ts: held and RMS torque
at most a third of it (`sim.strain.heat`). All is carried to the voltage a shop prints, in
proportion.

Supply: currents over the mix of cues (`sim.strain.usage`) and at the worst instant
(`sim.strain.sag`). A wire must carry the fuse before it, not only its own current: the fuse is
there for the wire.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import ceil, floor, inf, isfinite
from typing import Final

import numpy as np

from sim.arrays import Array
from sim.model import Board, Cells, Lamp, Rating, Regulator, Rig, Servo, Show, Strip, Supply
from sim.rig import battery, servo, wire
from sim.rig.fuse import PEAK_S, STANDARDS, Fuse, fuse_for
from sim.rig.grip import gripping, longest_s
from sim.rig.holding_torque import worst_hold
from sim.rig.resistor import Series
from sim.rig.servo import KGF_CM_NM, line
from sim.rig.slide import PINION_M, of_part
from sim.rig.supply import (
    PIXEL_HIGHEST_V,
    PIXEL_IDLE_A,
    highest_v,
    lamp_feed,
    lamp_series,
    pixels_v,
    strip_data,
    wire_needs_a,
)
from sim.rig.watch import Watched, divider_for, drain_a, watched
from sim.score.draws import ways_to_look
from sim.score.tree import PlannedMove, planned_moves
from sim.strain.envelope import asked_of_horn, passage
from sim.strain.fuse_load import Warming, warming
from sim.strain.heat import CONTINUOUS, Heat, heats
from sim.strain.interruption import Cuts, hardest_nm, interruptions
from sim.strain.sag import Sag, brightest, held_sags, sags, start_sags, without_limits
from sim.strain.usage import Book, Currents, Mix, Share, most_currents, run_time

SLOWEST_DEG_S: Final = 0.01
"""Slower than this a part stands still for any purpose of a shop's rating."""

REGULATOR_USED: Final = 0.8
"""A regulator is loaded to at most 80 % of its rating for long (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Straight:
    """A linear servo to buy, and the present one, in N and mm/s."""

    force_n: float | None
    speed_mm_s: float
    has_n: float
    has_mm_s: float
    hold_n: float
    peak_n: float
    rms_n: float


@dataclass(frozen=True, slots=True)
class ServoSize:
    """The servo that a part needs.

    As a shop prints it, at `voltage_v`: at least `torque_kgf_cm`, at most `seconds_per_60deg`. The
    same in SI: `stall_nm`, `speed_deg_s`. `hold_kgf_cm`: the hardest pose, as it is (no margin).
    `peak_kgf_cm`, `peak_deg_s`: the greatest horn torque and speed, as they are. `set_by`: what
    decides the torque: `moves`, `holding`, `gripping` or `heat`. No torque is enough (None) where
    the drive locks or cannot reach. `has_*`: the present servo at that voltage.
    """

    servo: str
    voltage_v: float
    torque_kgf_cm: float | None
    seconds_per_60deg: float | None
    stall_nm: float
    speed_deg_s: float
    hold_kgf_cm: float
    hold_deg: float
    peak_kgf_cm: float
    peak_deg_s: float
    rms_kgf_cm: float
    set_by: str
    has_kgf_cm: float
    has_seconds_per_60deg: float
    enough: bool
    straight: Straight | None = None
    """Of a linear servo: the same as a shop prints it, in N and mm/s."""
    place_unit: str = "deg"
    """The unit of `hold_deg`; rpm for a part that turns round and round."""


@dataclass(frozen=True, slots=True)
class FeedSize:
    """The wire to one board: the current it carries and the thinnest gauge that will do.

    `gauge_awg` None: no gauge will, `reason` says why. `length_m` None: no wire is stated.
    """

    board: str
    lowest_v: float
    peak_a: float
    rms_a: float
    length_m: float | None
    has_gauge_awg: int | None
    gauge_awg: int | None
    reason: str
    has_section_mm2: float | None = None
    """Of a wire that is sold by its section; `has_gauge_awg` then has no more copper."""


@dataclass(frozen=True, slots=True)
class SupplySize:
    """One supply: currents at the feed, and what battery, regulator and fuse must be.

    `peak_a`: the worst instant of the show (all that can run at once); `mean_a`, `rms_a`: over the
    mix. `source_*`: before the regulator. `capacity_ah`: printed capacity for the wanted run time,
    None where none is stated or the source is no battery; `run_time_h`: of the present battery.
    `reversal_a`: for milliseconds, while a servo at full speed is thrown back. `cautions`: in
    words, what does not fit.
    """

    supply: str
    peak_a: float
    mean_a: float
    rms_a: float
    reversal_a: float
    source_peak_a: float
    source_mean_a: float
    source_rms_a: float
    run_time_h: float | None
    wanted_h: float | None
    capacity_ah: float | None
    has_ah: float | None
    regulator_a: float | None
    fuse: Fuse
    has_fuse_a: float | None
    feeds: tuple[FeedSize, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LampSize:
    """The resistor in series with each LED of a lamp; None where the feed is too low for it.

    Chosen at `voltage_v`, the highest that it sees: of the pin, or of the feed behind a transistor.
    `total_a`: all LEDs of the lamp, fully on. `needs_driver`: more current or voltage than a pin of
    the board's chip gives, so it takes a transistor.
    """

    lamp: str
    voltage_v: float
    leds: int
    resistor: Series | None
    total_a: float
    needs_driver: bool


@dataclass(frozen=True, slots=True)
class StripSize:
    """What a strip takes: `white_a` with every pixel fully on, `show_a` at the show's brightest.

    Pixels are made for 5 V: `needs_converter` where the feed, `voltage_v`, is over what they stand.
    `needs_shifter` where the pin is too low for their data line.
    """

    strip: str
    pixels: int
    white_a: float
    show_a: float
    cap_a: float | None
    voltage_v: float
    needs_converter: bool
    needs_shifter: bool


@dataclass(frozen=True, slots=True)
class WatchSize:
    """The divider of a board that watches its battery; None where the chip needs none.

    `upper_ohm` at the battery's plus, `lower_ohm` at ground; `at_pin_v`: what a full battery brings
    to the pin, at `chip_v` of the chip; `source_ohm`: what the pin looks into; `drain_a`: all the
    time. `has_*`: the one that is there. `warns_v`, `stops_v`: of the battery; `lowest_v`: what a
    cell has when the board stops, at worst.
    """

    board: str
    upper_ohm: float | None
    lower_ohm: float | None
    at_pin_v: float | None
    chip_v: float
    source_ohm: float | None
    drain_a: float
    has_upper_ohm: float | None
    has_lower_ohm: float | None
    warns_v: float
    stops_v: float
    lowest_v: float


@dataclass(frozen=True, slots=True)
class Sizes:
    """Everything to buy, in the rig's order. `mix_stated`: by the score's own figures an hour."""

    servos: tuple[ServoSize, ...]
    supplies: tuple[SupplySize, ...]
    lamps: tuple[LampSize, ...]
    strips: tuple[StripSize, ...]
    watches: tuple[WatchSize, ...]
    mix: Mix
    margin: float


def size(show: Show) -> Sizes:
    """Size a show's servos, supplies and lamps, as if its supplies gave any current."""
    present = {supply.name: supply for supply in show.rig.supplies}
    books = tuple(Book(way) for way in ways_to_look(without_limits(show)))
    show, mix = books[0].show, books[0].mix()
    worst = {sag.board: sag for sag in sags(show)}
    hot = _hottest(books)
    lowest = {board: sag.voltage_v for board, sag in worst.items()}
    cuts = {cut.servo: cut for cut in interruptions(show, lowest or None)}
    planned = planned_moves(show)
    outputs = show.rig.outputs
    servos = [o for o in outputs if isinstance(o, Servo)]
    return Sizes(
        servos=tuple(
            size_servo(
                show,
                one,
                [m for m in planned if m.move.output == one.name],
                cuts[one.name],
                hot[one.name],
                lowest.get(one.board),
            )
            for one in servos
        ),
        supplies=tuple(_supply(show, one, books, worst) for one in present.values()),
        lamps=tuple(_lamp(show, lamp) for lamp in outputs if isinstance(lamp, Lamp)),
        strips=tuple(_strip(show, strip) for strip in outputs if isinstance(strip, Strip)),
        watches=tuple(
            _watch(one) for board in show.rig.boards if (one := watched(show.rig, board))
        ),
        mix=mix,
        margin=show.rig.wearer.margin,
    )


def _hottest(books: Sequence[Book]) -> dict[str, Heat]:
    """The heat of each servo, in whichever way of looking at the show it is greater."""
    found: dict[str, Heat] = {}
    for heat in (heat for book in books for heat in heats(book.show, book)):
        kept = found.setdefault(heat.servo, heat)
        found[heat.servo] = max(kept, heat, key=lambda one: max(one.hold_share, one.rms_share))
    return found


def _watch(one: Watched) -> WatchSize:
    fits, has = None, one.watch.divider
    if has is not None:
        fits = divider_for(one.full_v, one.chip_v)
    cells = one.cells.series
    return WatchSize(
        board=one.board,
        upper_ohm=None if fits is None else fits.upper_ohm,
        lower_ohm=None if fits is None else fits.lower_ohm,
        at_pin_v=None if fits is None else fits.share * one.full_v,
        chip_v=one.chip_v,
        source_ohm=None if fits is None else fits.source_ohm,
        drain_a=0.0 if fits is None else drain_a(fits, one.full_v),
        has_upper_ohm=None if has is None else has.upper_ohm,
        has_lower_ohm=None if has is None else has.lower_ohm,
        warns_v=cells * one.warn_v,
        stops_v=cells * one.stop_v,
        lowest_v=one.lowest_stop_v,
    )


# -- servos ---------------------------------------------------------------------------------------


def size_servo(
    show: Show,
    one: Servo,
    planned: list[PlannedMove],
    cuts: Cuts,
    heat: Heat,
    lowest_v: float | None,
) -> ServoSize:
    """The least powerful servo for one part; see the module's head."""
    kept = 1.0 - show.rig.wearer.margin
    driving, braking = _operating_points(show, one, planned, cuts)
    hold, grip = worst_hold(one, show.rig.wearer), gripping(show.rig, one)
    floors = {
        "moves": least_power(driving, braking, kept)[0],
        "holding": max(hold.torque_nm, _shaken_nm(show.rig, one)) / kept,
        # one that stalls gives what it has: any servo does
        "gripping": grip.torque_nm / kept if grip is not None and not grip.stalls else 0.0,
        "heat": max(heat.hold_share, heat.rms_share) * one.ratings[0].stall_nm / CONTINUOUS,
    }
    set_by = max(floors, key=lambda name: floors[name])
    rated = min(one.ratings, key=lambda r: abs(r.voltage_v - highest_v(show.rig, one.board)))
    # ratings go with the voltage: what must be there at the lowest is printed at the rated one
    up = rated.voltage_v / lowest_v if lowest_v else 1.0
    stall, speed = least_power(driving, braking, kept, floors[set_by])
    # but heat is judged by the rating itself
    stall, speed = max(stall * up, floors["heat"]), speed * up
    own = line(one, lowest_v or rated.voltage_v)
    has_nm, has_deg_s = float(own.stall_nm), float(own.speed_deg_s)
    points = np.concatenate([driving, braking], axis=1)
    found = ServoSize(
        servo=one.name,
        voltage_v=rated.voltage_v,
        torque_kgf_cm=_up(stall / KGF_CM_NM, 0.1),
        seconds_per_60deg=_down(60.0 / speed, 0.01) if speed > SLOWEST_DEG_S else None,
        stall_nm=stall,
        speed_deg_s=speed,
        hold_kgf_cm=hold.torque_nm / KGF_CM_NM,
        hold_deg=hold.angle_deg,
        peak_kgf_cm=float(points[0].max(initial=0.0)) / KGF_CM_NM,
        peak_deg_s=float(points[1].max(initial=0.0)),
        rms_kgf_cm=heat.rms_share * one.ratings[0].stall_nm / KGF_CM_NM,
        set_by=set_by,
        has_kgf_cm=rated.stall_nm / KGF_CM_NM,
        has_seconds_per_60deg=60.0 / rated.speed_deg_s,
        enough=has_nm >= max(floors["holding"], floors["gripping"])
        and one.ratings[0].stall_nm >= floors["heat"]
        and _enough(driving, braking, kept, has_nm, has_deg_s),
        place_unit=of_part(one).place,
    )
    return replace(found, straight=_straight(found, rated)) if one.linear else found


def _straight(found: ServoSize, rated: Rating) -> Straight:
    """The same of a linear servo, in N and mm/s."""
    to_n = KGF_CM_NM / PINION_M
    return Straight(
        force_n=_up(found.stall_nm / PINION_M, 1.0),
        speed_mm_s=ceil(round(found.speed_deg_s, 6)),
        has_n=rated.stall_nm / PINION_M,
        has_mm_s=rated.speed_deg_s,
        hold_n=found.hold_kgf_cm * to_n,
        peak_n=found.peak_kgf_cm * to_n,
        rms_n=found.rms_kgf_cm * to_n,
    )


def _shaken_nm(rig: Rig, one: Servo) -> float:
    """What a part of a chain holds against while the others move as they may; 0 for one alone."""
    if one.load.coupled is None:
        return 0.0
    return hardest_nm(rig, one, (0.0, 0.0))


def _operating_points(
    show: Show, one: Servo, planned: list[PlannedMove], cuts: Cuts
) -> tuple[Array, Array]:
    """Horn torques (N.m) and speeds (deg/s), magnitudes, shape (2, points): driving, braking."""
    parts = [np.zeros((2, 1))]
    for m in planned:
        if m.move.duration_ms <= 0:
            continue
        _, angle, speed, accel = passage(
            m.from_deg, m.move.angle_deg, m.move.duration_ms, m.move.law
        )
        low, high, horn = asked_of_horn(one, angle, speed, accel, show.rig.wearer)
        parts += [np.stack([low, horn]), np.stack([high, horn])]
    parts += [np.array([[cut.torque_nm], [cut.speed_deg_s]]) for cut in cuts.found]
    points = np.concatenate(parts, axis=1)
    # a pose out of the drive's reach asks for no servo: holding it is infinitely hard already
    torque, speed = points[:, np.isfinite(points).all(axis=0)]
    drives = torque * speed >= 0.0
    both = np.abs(np.stack([torque, speed]))
    return both[:, drives], both[:, ~drives]


def least_power(
    driving: Array, braking: Array, kept: float, floor_nm: float = 0.0
) -> tuple[float, float]:
    """Stall torque and no-load speed (N.m, deg/s) of the least powerful line that holds all points.

    `driving`, `braking`: rows of torque and speed, magnitudes. `kept` is 1 - margin, `floor_nm` the
    least stall torque in any case. For a no-load speed w0 the stall torque must be max
    T / (kept - w / w0); their product is smallest somewhere between the least speed possible and
    fifty times that, found on a fine geometric row.
    """
    top = max(float(driving[1].max(initial=0.0)), float(braking[1].max(initial=0.0)))
    least_stall = max(floor_nm, float(braking[0].max(initial=0.0)) / kept)
    if top <= 0.0:
        return max(least_stall, float(driving[0].max(initial=0.0)) / kept), 0.0
    speeds = top / kept * np.geomspace(1.0 + 1e-6, 50.0, 800)
    left = kept - driving[1][:, None] / speeds
    stalls = np.maximum((driving[0][:, None] / left).max(axis=0, initial=0.0), least_stall)
    best = int(np.argmin(stalls * speeds))
    return float(stalls[best]), float(speeds[best])


def _enough(driving: Array, braking: Array, kept: float, stall: float, speed: float) -> bool:
    within = driving[0] / stall + driving[1] / speed <= kept + 1e-6
    within_too = np.maximum(braking[0] / stall, braking[1] / speed) <= kept + 1e-6
    return bool(within.all() and within_too.all())


def _up(value: float, step: float) -> float | None:
    """To the next step up; a value on a step stays there in spite of binary fractions."""
    if not isfinite(value):
        return None
    return round(ceil(round(value / step, 6)) * step, 6)


def _down(value: float, step: float) -> float:
    return round(floor(round(value / step, 6)) * step, 6)


# -- supplies -------------------------------------------------------------------------------------


def _supply(show: Show, supply: Supply, books: Sequence[Book], worst: dict[str, Sag]) -> SupplySize:
    boards = [b for b in show.rig.boards if b.supply == supply.name]
    at_worst = [worst[b.name] for b in boards]
    over = most_currents(books, supply)
    lasts = run_time(books, supply)
    peak = max((sag.supply_a for sag in at_worst), default=over.peak_a)
    source_peak = max((sag.source_a for sag in at_worst), default=over.source_rms_a)
    starts = [sag for sag in start_sags(show) if sag.supply == supply.name]
    start = max((sag.source_a for sag in starts), default=0.0)
    kind, air_c = supply.fuse_kind, show.rig.wearer.temperature_c
    still = [sag for sag in held_sags(show) if sag.supply == supply.name]
    held = max((sag.source_a for sag in still), default=0.0)
    peak_s = max(PEAK_S, longest_s(show.rig, [board.name for board in boards]))
    hottest = warming(books, supply, STANDARDS[kind])
    fuse = partial(
        fuse_for,
        over.source_rms_a,
        source_peak,
        start_a=start,
        kind=kind,
        air_c=air_c,
        peak_s=peak_s,
        held_a=held,
        warming_a=0.0 if hottest is None else hottest.amps,
        wire_needs_a=partial(wire_needs_a, supply),
    )
    # one that is too small is changed for the one that is told
    behind_a = wire_needs_a(supply, max(supply.fuse_a or 0.0, fuse().rating_a or 0.0))
    feeds = tuple(_feed(show, b, worst[b.name], books, behind_a) for b in boards)
    wires = [wire.feed_carries_a(b.wire) for b in boards if b.wire is not None]
    thinnest = min(wires, default=inf)
    cells = supply.source if isinstance(supply.source, Cells) else None
    wanted = show.score.run_time_h
    capacity = None
    if lasts is not None and wanted is not None:
        capacity = battery.capacity_for_ah(wanted, lasts.mean_a)
    return SupplySize(
        supply=supply.name,
        peak_a=peak,
        mean_a=over.mean_a,
        rms_a=over.rms_a,
        reversal_a=_reversal_a(show, boards, peak),
        source_peak_a=source_peak,
        source_mean_a=over.source_mean_a,
        source_rms_a=over.source_rms_a,
        run_time_h=None if lasts is None else lasts.hours,
        wanted_h=wanted,
        capacity_ah=capacity,
        has_ah=None if cells is None else battery.pack_ah(cells),
        regulator_a=_regulator_a(supply.regulator, peak, starts, over),
        fuse=fuse(thinnest),
        has_fuse_a=supply.fuse_a,
        feeds=feeds,
        cautions=(
            *_cautions(supply, over, capacity, at_worst + starts),
            *_fuse_cautions(supply, over.source_rms_a, at_worst + starts, thinnest, air_c),
            *_grip_caution(supply, source_peak, peak_s, air_c),
            *_held_caution(supply, held, air_c),
            *_warming_caution(supply, hottest, air_c),
        ),
    )


def _reversal_a(show: Show, boards: list[Board], peak_a: float) -> float:
    """At the feed, on top of the show's peak: a servo at full speed that is thrown back."""
    names = {board.name for board in boards}
    servos = [o for o in show.rig.outputs if isinstance(o, Servo) and o.board in names]
    thrown = (servo.reversal_a(o, highest_v(show.rig, o.board)) for o in servos if o.ratings)
    return peak_a + max(thrown, default=0.0)


def _regulator_a(
    regulator: Regulator | None, peak: float, starts: list[Sag], over: Currents
) -> float | None:
    """What the regulator must be rated for: the peak, a servo's start, and the RMS at 80 %."""
    if regulator is None:
        return None
    return max(peak, over.rms_a / REGULATOR_USED, *(sag.supply_a for sag in starts))


def _cautions(
    supply: Supply, over: Currents, capacity: float | None, worst: list[Sag]
) -> list[str]:
    """What does not fit; `worst`: the worst instants of the show and of power-up."""
    peak = max((sag.supply_a for sag in worst), default=over.peak_a)
    source_peak = max((sag.source_a for sag in worst), default=over.source_rms_a)
    said = []
    regulator, source = supply.regulator, supply.source
    if regulator is not None and peak > regulator.current_a:
        said.append(f"the regulator gives {regulator.current_a:g} A, the peak is {peak:.2f} A")
    if isinstance(source, Cells):
        stands = battery.stands_a(source)
        if source_peak > stands:
            said.append(
                f"the battery is asked for {source_peak:.2f} A; an ordinary {source.chemistry} "
                f"pack of {battery.pack_ah(source):g} Ah can give about {stands:.1f} A"
            )
        if capacity is not None and capacity > battery.pack_ah(source):
            said.append(
                f"the wanted run time takes {capacity:.2f} Ah, the battery has "
                f"{battery.pack_ah(source):g} Ah"
            )
    elif source_peak > source.current_a:
        said.append(f"the adapter gives {source.current_a:g} A, the peak is {source_peak:.2f} A")
    if any(sag.collapsed for sag in worst):
        said.append("the supply collapses at the worst instant of the show or of power-up")
    return said


def _fuse_cautions(
    supply: Supply, rms_a: float, worst: list[Sag], thinnest_a: float, air_c: float
) -> Iterator[str]:
    """What does not fit the present fuse."""
    if supply.fuse_a is None:
        return
    standard, title = STANDARDS[supply.fuse_kind], f"the {supply.fuse_a:g} A fuse"
    left_a = standard.points_when_warm(air_c) * supply.fuse_a
    peak = max((sag.source_a for sag in worst), default=rms_a)
    if rms_a > standard.continuous * standard.left_when_warm(air_c) * supply.fuse_a:
        yield f"{title} carries {rms_a:.2f} A for long"
    if peak > standard.peak_share * left_a:
        yield f"{title} may open at the peak of {peak:.2f} A"
    if wire_needs_a(supply, supply.fuse_a) > thinnest_a:
        yield f"{title} does not protect a wire that carries {thinnest_a:g} A"


def _grip_caution(supply: Supply, peak_a: float, peak_s: float, air_c: float) -> Iterator[str]:
    """What a grip that outlasts an ordinary peak asks of the present fuse."""
    if supply.fuse_a is None or peak_s <= PEAK_S:
        return
    standard = STANDARDS[supply.fuse_kind]
    left_a = standard.points_when_warm(air_c) * supply.fuse_a
    if standard.share_for(peak_s) * left_a < peak_a <= standard.peak_share * left_a:
        yield f"the {supply.fuse_a:g} A fuse may open while parts grip for {peak_s:g} s"


def _held_caution(supply: Supply, held_a: float, air_c: float) -> Iterator[str]:
    """What lights that stay on and parts that are held up ask of the present fuse."""
    if supply.fuse_a is None:
        return
    standard = STANDARDS[supply.fuse_kind]
    if held_a > standard.held_share * standard.points_when_warm(air_c) * supply.fuse_a:
        title = f"the {supply.fuse_a:g} A fuse"
        yield f"{title} may open while all is lit and held, with {held_a:.2f} A"


def _warming_caution(supply: Supply, hottest: Warming | None, air_c: float) -> Iterator[str]:
    """What motion that goes on for longer than a peak asks of the present fuse."""
    if supply.fuse_a is None or hottest is None:
        return
    standard = STANDARDS[supply.fuse_kind]
    if hottest.amps > standard.held_share * standard.points_when_warm(air_c) * supply.fuse_a:
        what = "standing by" if hottest.cue is None else f"`{hottest.cue}`"
        title = f"the {supply.fuse_a:g} A fuse"
        yield f"{title} may open in {what}, which heats it like {hottest.amps:.2f} A on and on"


def _feed(show: Show, board: Board, sag: Sag, books: Sequence[Book], fuse_a: float) -> FeedSize:
    rms = max(
        sum(share.share * _mean_square(book, share, board) for share in shares) ** 0.5
        for book in books
        for shares in book.mix().ways
    )
    if board.wire is None:
        return FeedSize(
            board.name, sag.voltage_v, sag.board_a, rms, None, None, None, "no feed is stated"
        )
    nominal = highest_v(show.rig, board.name)
    warm = show.rig.wearer.temperature_c
    carried = max(rms, fuse_a)
    gauge = wire.gauge_for(board.wire, nominal, sag.board_a, carried, warm)
    if gauge is None:
        reason = f"no gauge keeps the drop under {100 * wire.LONGEST_DROP:g} %: shorten it"
    else:
        thin = replace(board.wire, gauge_awg=gauge, strands=None, section_mm2=None)
        ohm = wire.loop_ohm(thin, warm)
        reason = (
            f"drops {ohm * sag.board_a:.2f} V of {nominal:.1f} V at {sag.board_a:.2f} A, "
            f"there and back; carries {wire.feed_carries_a(thin):g} A, and its fuse needs "
            f"{fuse_a:.3g} A"
        )
    return FeedSize(
        board.name,
        sag.voltage_v,
        sag.board_a,
        rms,
        board.wire.length_m,
        board.wire.gauge_awg,
        gauge,
        reason,
        board.wire.section_mm2,
    )


def _mean_square(book: Book, share: Share, board: Board) -> float:
    """Of a board's current (A2) in a part of the mix; see `Book.goes_on`."""
    runs = (share.cue, *(book.goes_on if share.rests else ()))
    return max(float(np.mean(book[cue].upright.board_a[board.name] ** 2)) for cue in runs)


# -- lamps ----------------------------------------------------------------------------------------


def _lamp(show: Show, lamp: Lamp) -> LampSize:
    series, fed = lamp_series(show.rig, lamp), lamp_feed(show.rig, lamp)
    each = series.current_a if series is not None else 0.0
    return LampSize(
        lamp.name, fed.voltage_v, lamp.count, series, each * lamp.count, not fed.from_pin
    )


def _strip(show: Show, strip: Strip) -> StripSize:
    volts = pixels_v(show.rig, strip)
    data = strip_data(show.rig, strip)
    white = strip.pixels * (3.0 * strip.channel_a + PIXEL_IDLE_A)
    return StripSize(
        strip.name,
        strip.pixels,
        white,
        brightest(show)[strip.name],
        strip.cap_a,
        volts,
        volts > PIXEL_HIGHEST_V,
        data.high_v < data.needs_v and not strip.shifter,
    )
