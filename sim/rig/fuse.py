"""Fuses: what one must carry, what it must protect, and by which standard its times are.

A rating means different things in different standards: a blade fuse carries 100 % of it for ever
and may open within a second at 135 %; a cartridge to IEC 60127 carries 150 % for an hour. So each
kind has its own points: what it carries for at least how long, and what opens it after how long at
most. Between two points nothing is promised but the lesser current's word: a fuse carries less
current no shorter, and opens no later at more.

No fuse protects a stalled servo: the stall current of one servo is far below the rating that the
others need. A fuse protects the wire and the battery.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, log1p
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from sim.model import FuseKind

CurvePoints: TypeAlias = tuple[tuple[float, float], ...]
"""Share of the rating, and seconds."""


@dataclass(frozen=True, slots=True)
class Standard:
    """One kind of fuse.

    `ratings_a`: those sold. `continuous`: share of the rating to load it with for long, at room
    temperature. `carries`: at least so long; `opens`: at most so long. `warm`: air (C) and the
    share of the rating that is left in it.
    """

    title: str
    ratings_a: tuple[float, ...]
    continuous: float
    carries: CurvePoints
    opens: CurvePoints
    warm: tuple[tuple[float, float], ...] = ((20.0, 1.0),)

    def carries_s(self, share: float) -> float:
        """How long (s) the fuse carries that share of its rating at least; 0: no promise."""
        return next((seconds for at, seconds in self.carries if share <= at * (1.0 + 1e-9)), 0.0)

    def opens_s(self, share: float) -> float:
        """After how long (s) that share of the rating opens it at most; infinite: maybe never."""
        return next(
            (seconds for at, seconds in reversed(self.opens) if share >= at * (1.0 - 1e-9)), inf
        )

    @property
    def peak_share(self) -> float:
        """The greatest share of the rating that it carries for a peak (`PEAK_S`)."""
        return self.share_for(PEAK_S)

    @property
    def held_share(self) -> float:
        """The greatest share of the rating that it carries for an hour (`HELD_S`)."""
        return self.share_for(HELD_S)

    def share_for(self, seconds: float) -> float:
        """The greatest share of the rating that it carries for so long; for a day, what it does for
        ever (`continuous`)."""
        shares = [at for at, lasts in self.carries if lasts >= seconds]
        return max([self.continuous, *shares])

    @property
    def warms_s(self) -> float | None:
        """The time constant (s) with which the fuse's wire warms, the least that its points allow.

        With one time constant the first point holds a steady warmth, and the second one reaches it
        no sooner than it promises: greater2 (1 - exp(-t / tau)) = lesser2. A wire that is as quick
        as that or slower, or stands more, carries all that this one carries (`sim/PHYSICS.md`).
        None where no second point outlasts a peak: then a peak has to stay under the first.
        """
        (lesser, _), (greater, seconds) = (*self.carries, (inf, 0.0))[:2]
        return None if seconds < PEAK_S else -seconds / log1p(-((lesser / greater) ** 2))

    @property
    def wire_share(self) -> float:
        """Share of the rating that a wire behind the fuse must carry; see `I2_SHARE`."""
        return max(1.0, self.opens[0][0] / I2_SHARE)

    def left_when_warm(self, air_c: float) -> float:
        """Share of the rating that is left for long in air of that temperature."""
        at, left = zip(*self.warm, strict=True)
        return float(np.interp(air_c, at, left))

    def points_when_warm(self, air_c: float) -> float:
        """What the shares of `carries` are of the rating in air of that temperature.

        They are promised up to `ROOM_C`. A warmer fuse needs less of its own heat to melt. A
        current far over the rating melts it before the air matters: there this is on the safe side.
        """
        return min(1.0, self.left_when_warm(air_c) / self.left_when_warm(ROOM_C))


ROOM_C: Final = 25.0
"""Air (C) up to which a fuse carries what its standard's points say: they are tested at 23 C with 5
C to either side (ISO 8820-1), at 25 C with 5 C to either side (UL 248-1; both from memory)."""

PEAK_S: Final = 0.5
"""How long a show's peak, or the jump of a servo that starts, is taken to last (own)."""

HELD_S: Final = 3600.0
"""What a show may draw without an end, with all lights on and all parts held up, is taken to last
an hour at one go (own); the RMS covers what goes on for longer."""

I2_SHARE: Final = 1.45
"""The current that surely opens a fuse is at most 1.45 times what its wire carries (IEC 60364-4-43,
433.1, from memory). Only a cartridge to IEC 60127, which opens at 210 %, needs more wire for it."""

_SMALL_A: Final = (0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3)

STANDARDS: Final[dict[FuseKind, Standard]] = {
    "blade": Standard(
        "blade fuse (ISO 8820-3)",
        # from memory
        (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0),
        # makers' guides (read): 75 to 80 %
        continuous=0.75,
        # a maker's sheet for the regular size (read, by a third party): 35 and 40 A, at 160 % 10 A
        carries=((1.0, 360_000.0), (1.35, 0.75), (1.6, 0.25), (2.0, 0.15), (3.5, 0.08)),
        opens=((1.35, 600.0), (1.6, 50.0), (2.0, 5.0), (3.5, 0.5), (6.0, 0.15)),
        # a maker's sheet of the large size (read, by a third party)
        warm=((20.0, 1.0), (65.0, 0.85), (85.0, 0.75), (110.0, 0.625), (125.0, 0.55)),
    ),
    "UL fast": Standard(
        "fast cartridge fuse (UL 248-14)",
        _SMALL_A,
        continuous=0.75,
        # a table on a public page (read): 110 % for 4 h, 135 % within 1 h, 200 % within 2 min
        carries=((1.1, 14_400.0),),
        opens=((1.35, 3600.0), (2.0, 120.0)),
    ),
    "UL slow": Standard(
        "time-delay cartridge fuse (UL 248-14)",
        (*_SMALL_A, 8.0, 10.0),
        continuous=0.75,
        # the same page: 200 % for 5 s (to 3 A; 12 s above)
        carries=((1.1, 14_400.0), (2.0, 5.0)),
        opens=((1.35, 3600.0), (2.0, 120.0)),
    ),
    "IEC fast": Standard(
        "quick-acting cartridge fuse F (IEC 60127-2)",
        (*_SMALL_A, 8.0, 10.0),
        # from memory: the rating itself is for long
        continuous=1.0,
        # the same page
        carries=((1.5, 3600.0), (2.75, 0.05), (4.0, 0.01)),
        opens=((2.1, 1800.0), (2.75, 2.0), (4.0, 0.3), (10.0, 0.02)),
    ),
    "IEC slow": Standard(
        "time-lag cartridge fuse T (IEC 60127-2)",
        tuple(rating for rating in _SMALL_A if rating >= 1.0),
        continuous=1.0,
        # from memory
        carries=((1.5, 3600.0), (2.75, 0.6), (4.0, 0.15), (10.0, 0.02)),
        opens=((2.1, 120.0), (2.75, 10.0), (4.0, 3.0), (10.0, 0.3)),
    ),
}
"""By the words written in a show. None of the standards itself was opened."""


@dataclass(frozen=True, slots=True)
class Fuse:
    """A fuse to put in, or None where no rating fits, and why."""

    rating_a: float | None
    reason: str


def fuse_for(
    rms_a: float,
    peak_a: float,
    wire_carries_a: float = inf,
    start_a: float = 0.0,
    kind: FuseKind = "blade",
    air_c: float = 20.0,
    peak_s: float = PEAK_S,
    held_a: float = 0.0,
    warming_a: float = 0.0,
    wire_needs_a: Callable[[float], float] | None = None,
) -> Fuse:
    """The least rating of a kind for an RMS and a peak current (A) that still protects the wire.

    At least what carries, in air of `air_c`, the RMS for long, `held_a` for `HELD_S`, and the peak,
    and `start_a` (with one more servo stalled, as when it starts from an unknown angle), for
    `PEAK_S`; at most what the thinnest wire behind it stands. `peak_s`: how long the peak lasts,
    where parts grip. `warming_a`: the steady current that makes the fuse as hot as the hardest cue.
    `wire_needs_a`: what that wire must carry, by the rating; without it what a wire right behind
    the fuse must.
    """
    standard = STANDARDS[kind]
    for_long_a = max(held_a, warming_a)
    asked = ((for_long_a, HELD_S), (peak_a, peak_s), (start_a, PEAK_S))
    points = standard.points_when_warm(air_c)
    needed = max(
        rms_a / (standard.continuous * standard.left_when_warm(air_c)),
        *(amps / (standard.share_for(seconds) * points) for amps, seconds in asked),
    )
    rating = next((r for r in standard.ratings_a if r >= needed), None)
    if rating is None:
        largest = standard.ratings_a[-1]
        return Fuse(None, f"{needed:.1f} A is over the largest {standard.title}, {largest:g} A")
    needs = rating * standard.wire_share if wire_needs_a is None else wire_needs_a(rating)
    if needs > wire_carries_a:
        wire = f"a wire that carries {wire_carries_a:g} A"
        return Fuse(None, f"{rating:g} A is needed and would not protect {wire}")
    wires = "" if wire_carries_a == inf else f"; the wire carries {wire_carries_a:g} A"
    started = f", {start_a:.2f} A with one servo stalled" if start_a > 0.0 else ""
    started += f", {held_a:.2f} A while all is lit and held" if held_a > rms_a else ""
    decides = needed * standard.held_share * points <= warming_a > max(rms_a, held_a)
    started += f", {warming_a:.2f} A on and on, as the hardest cue heats it" if decides else ""
    return Fuse(
        rating,
        f"{standard.title}: carries {rms_a:.2f} A rms and {peak_a:.2f} A at the peak{started}"
        f"{wires}",
    )
