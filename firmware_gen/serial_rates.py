"""Rates that a chip's serial port makes closely enough for the receiver at the other end.

A USART divides the chip's clock by 16 or, at double speed, by 8 times a whole number (data sheet,
"Baud Rate Generation": BAUD = f / (16 (UBRR + 1)), or 8 in place of 16). The receiver at the other
end samples each bit in its middle. It stands a sender that is off by so much at most, all clocks
together: "Asynchronous Operational Range", recommended errors for 8 data bits without parity (from
memory).
"""

from __future__ import annotations

from typing import Final, NamedTuple

TOLERANCE: Final = 0.02
TOLERANCE_DOUBLE: Final = 0.015
"""At double speed a receiver takes fewer samples of a bit."""
CLOCKS: Final = 0.005
"""Of that, what two clocks take: a ceramic resonator is off by up to 0.5 % (common practice, no
source), the clock of a radio by next to nothing."""
RADIO_BAUDS: Final = (19_200, 38_400, 57_600, 76_800, 115_200, 250_000)
"""What serial radios are set to (common practice, no source), from the slowest at which the state
of the board that leads goes out within a frame."""


BITS_OF_A_BYTE: Final = 10
"""8N1: a start bit, eight of data, a stop bit."""


class Divisor(NamedTuple):
    """How a port makes a rate: the value of UBRR, and whether at double speed (U2X)."""

    ubrr: int
    double: bool
    error: float
    """By how much the rate made is faster, as a share."""


def divisor(clock_hz: int, baud: int) -> Divisor:
    """The divisor that comes nearest to a rate; at plain speed if that is as near."""
    made = []
    for double, samples in ((False, 16), (True, 8)):
        ubrr = max(0, round(clock_hz / (samples * baud)) - 1)
        made.append(Divisor(ubrr, double, clock_hz / (samples * (ubrr + 1)) / baud - 1))
    return min(made, key=lambda one: (round(abs(one.error), 6), one.double))


def is_made(clock_hz: int, baud: int) -> bool:
    """Whether a chip makes a rate within what its receiver, and one like it, stand."""
    found = divisor(clock_hz, baud)
    tolerance = TOLERANCE_DOUBLE if found.double else TOLERANCE
    return abs(found.error) <= tolerance - CLOCKS


def rates(clock_hz: int) -> tuple[int, ...]:
    """The usual rates that a chip makes, ascending."""
    return tuple(baud for baud in RADIO_BAUDS if is_made(clock_hz, baud))
