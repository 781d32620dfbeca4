"""Which resistors divide the voltage of a battery for the board that watches it."""

from __future__ import annotations

from dataclasses import dataclass

from sim.rig.watch import Watched, divider_for, drain_a


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


def size_watch(one: Watched) -> WatchSize:
    """The divider of one watched battery, in ohm, and the voltages at which its board acts."""
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
