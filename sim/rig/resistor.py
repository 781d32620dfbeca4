"""Series resistors for LEDs, from the preferred series."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final

E24: Final = (
    *("1.0", "1.1", "1.2", "1.3", "1.5", "1.6", "1.8", "2.0", "2.2", "2.4", "2.7", "3.0"),
    *("3.3", "3.6", "3.9", "4.3", "4.7", "5.1", "5.6", "6.2", "6.8", "7.5", "8.2", "9.1"),
)
"""The preferred numbers of a decade, 5 % series (IEC 60063:2015): no rounded geometric series."""

POWERS_W: Final = (0.125, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0)
"""Ratings of common leaded resistors (common practice, no source)."""

POWER_USED: Final = 0.5
"""A resistor is loaded to at most half its rating (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Series:
    """A series resistor: exact and preferred value, the current it gives, its power, its rating.

    `rating_w` is None where no common rating is large enough.
    """

    exact_ohm: float
    preferred_ohm: float
    current_a: float
    power_w: float
    rating_w: float | None


def preferred_ohm(at_least_ohm: float) -> float:
    """The least E24 value that is not below `at_least_ohm`.

    The value is rounded to nine digits first: (5 - 3.2) / 0.02 is 89.99999999999999 in binary, and
    its twin above 90 would otherwise cost a whole step. Raises ValueError unless it is over 0.
    """
    if not at_least_ohm > 0.0:
        raise ValueError(f"resistance is {at_least_ohm} ohm, but must be over 0")
    wanted = Decimal(f"{at_least_ohm:.9g}")
    decade = Decimal(1).scaleb(wanted.adjusted())
    steps = [Decimal(step) * decade for step in E24]
    found = next((step for step in steps if step >= wanted), decade * 10)
    return float(found.quantize(decade / 10, ROUND_HALF_EVEN))


def series_resistor(voltage_v: float, forward_v: float, current_a: float) -> Series | None:
    """The E24 resistor for an LED of `forward_v` at no more than `current_a` from `voltage_v`.

    R = (V - Vf) / I, rounded up; power I**2 R. None where the feed does not reach above the
    LED's forward voltage.
    """
    if voltage_v <= forward_v or current_a <= 0.0:
        return None
    exact = float(f"{(voltage_v - forward_v) / current_a:.9g}")
    ohm = preferred_ohm(exact)
    current = (voltage_v - forward_v) / ohm
    power = (voltage_v - forward_v) * current
    rating = next((p for p in POWERS_W if p * POWER_USED >= power), None)
    return Series(exact, ohm, current, power, rating)
