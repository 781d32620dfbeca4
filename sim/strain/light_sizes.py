"""Which resistors lamps need, what strips take, and what else either needs to be fed."""

from __future__ import annotations

from dataclasses import dataclass

from sim.model import Lamp, Show, Strip
from sim.rig.resistor import Series
from sim.rig.supply import (
    PIXEL_HIGHEST_V,
    PIXEL_IDLE_A,
    lamp_feed,
    lamp_series,
    pixels_v,
    strip_data,
)
from sim.strain.sag import brightest


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


def size_lamp(show: Show, lamp: Lamp) -> LampSize:
    """A lamp's resistors, and whether a pin can feed it."""
    series, fed = lamp_series(show.rig, lamp), lamp_feed(show.rig, lamp)
    each = series.current_a if series is not None else 0.0
    return LampSize(
        lamp.name, fed.voltage_v, lamp.count, series, each * lamp.count, not fed.from_pin
    )


def size_strip(show: Show, strip: Strip) -> StripSize:
    """A strip's currents in A, and what it needs between itself and its feed or pin."""
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
