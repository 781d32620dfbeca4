"""Fuses: what one must carry, and what it must protect."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Final

RATINGS_A: Final = (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0)
"""Ratings of blade fuses (ISO 8820-3, from memory)."""

CONTINUOUS: Final = 0.75
"""A fuse is loaded to at most 75 % of its rating at 25 deg C (common practice; fuse makers' guides,
circuitprotection.ca/fuseology, read; for fuses to UL 248-14)."""

CARRIES_FOR_AN_HOUR: Final = 1.35
"""At 135 % of its rating a fuse may carry for up to an hour, at 200 % (to 30 A) for up to two
minutes (UL 248-14 test points, from a fuse maker's guide, read): short peaks do not open it."""


OPENS_IN_MINUTES: Final = 2.0
"""See `CARRIES_FOR_AN_HOUR`."""


@dataclass(frozen=True, slots=True)
class Fuse:
    """A fuse to put in, or None where no rating fits, and why."""

    rating_a: float | None
    reason: str


def fuse_for(
    rms_a: float, peak_a: float, wire_carries_a: float = inf, start_a: float = 0.0
) -> Fuse:
    """The least blade rating for an RMS and a peak current (A) that still protects the wire.

    At least rms / 0.75 (heat), peak / 1.35 (it must not open on the show's own peaks) and
    start / 2 (`start_a`: with one more servo stalled, as when it starts from an unknown angle); at
    most what the thinnest wire behind it carries.
    """
    needs = (rms_a / CONTINUOUS, peak_a / CARRIES_FOR_AN_HOUR, start_a / OPENS_IN_MINUTES)
    rating = next((r for r in RATINGS_A if r >= max(needs)), None)
    if rating is None:
        return Fuse(None, f"{max(needs):.1f} A is over the largest blade fuse, {RATINGS_A[-1]:g} A")
    wires = "" if wire_carries_a == inf else f"; the wire carries {wire_carries_a:g} A"
    if rating > wire_carries_a:
        return Fuse(None, f"{rating:g} A is needed and would not protect the wire{wires[10:]}")
    started = f", {start_a:.2f} A with one servo stalled" if start_a > 0.0 else ""
    return Fuse(rating, f"carries {rms_a:.2f} A rms and {peak_a:.2f} A at the peak{started}{wires}")
