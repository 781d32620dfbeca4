"""Fuses: what one must carry, and what it must protect."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

RATINGS_A: Final = (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0)
"""Ratings of blade fuses (ISO 8820-3, from memory)."""

CONTINUOUS: Final = 0.75
"""A fuse is loaded to at most 75 % of its rating at 25 deg C (common practice; fuse makers' guides,
circuitprotection.ca/fuseology, read; for fuses to UL 248-14)."""

CARRIES_FOR_AN_HOUR: Final = 1.35
"""At 135 % of its rating a fuse may carry for up to an hour, at 200 % (to 30 A) for up to two
minutes (UL 248-14 test points, from a fuse maker's guide, read): short peaks do not open it."""


@dataclass(frozen=True, slots=True)
class Fuse:
    """A fuse to put in, or None where no rating fits, and why."""

    rating_a: float | None
    reason: str


def fuse_for(rms_a: float, peak_a: float, wire_carries_a: float) -> Fuse:
    """The least blade rating for an RMS and a peak current (A) that still protects the wire.

    At least rms / 0.75 (heat) and peak / 1.35 (it must not open on the show's own peaks), at most
    what the thinnest wire behind it carries.
    """
    needed = max(rms_a / CONTINUOUS, peak_a / CARRIES_FOR_AN_HOUR)
    rating = next((r for r in RATINGS_A if r >= needed), None)
    if rating is None:
        return Fuse(None, f"{needed:.1f} A is over the largest blade fuse, {RATINGS_A[-1]:g} A")
    if rating > wire_carries_a:
        return Fuse(
            None, f"a {rating:g} A fuse would not protect a wire that carries {wire_carries_a:g} A"
        )
    return Fuse(
        rating,
        f"carries {rms_a:.2f} A at 75 % of its rating and a peak of {peak_a:.2f} A at 135 %; "
        f"the wire carries {wire_carries_a:g} A",
    )
