"""Which batteries, regulators, fuses and wires to buy.

Currents are those over the mix of cues (`sim.strain.usage`) and at the worst instant
(`sim.strain.sag`). A wire must carry the fuse before it, not only its own current: the fuse is
there for the wire.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import inf
from typing import Final

import numpy as np

from sim.model import Board, Cells, Regulator, Servo, Show, Supply
from sim.rig import battery, servo, wire
from sim.rig.fuse import PEAK_S, STANDARDS, Fuse, fuse_for
from sim.rig.grip import longest_s
from sim.rig.supply import highest_v, wire_needs_a
from sim.strain.fuse_load import Warming, warming
from sim.strain.sag import Sag, held_sags, start_sags
from sim.strain.usage import Book, Currents, Share, most_currents, run_time

REGULATOR_USED: Final = 0.8
"""A regulator is loaded to at most 80 % of its rating for long (common practice, no source)."""


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


def size_supply(
    show: Show, supply: Supply, books: Sequence[Book], worst: dict[str, Sag]
) -> SupplySize:
    """What one supply is asked for; `worst`: of each board by name, at its worst instant."""
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
            f"there and back; carries {wire.feed_carries_a(thin):g} A, and "
            + (f"its fuse needs {fuse_a:.3g} A" if fuse_a > 0.0 else "no fuse is large enough")
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
