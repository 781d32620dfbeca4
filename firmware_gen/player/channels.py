"""What a radio's channels press: pulses to bands, and bands to buttons (TABLE.md, section 9).

A channel at the edge of its range misses pulses at random. So it is live only after a row of good
pulses, and lost only after a silence; what stands in a band as it comes alive presses nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from firmware_gen.table.records import BandRecord, ChannelRecord, SenseRecord
from sim.rulebook import (
    CHANNEL_GAP_FRAMES,
    CHANNEL_GOOD,
    CHANNEL_LOST_FRAMES,
    CHANNEL_RANGE,
    CHANNEL_SLACK,
)


@dataclass(slots=True)
class _Channel:
    bands: tuple[BandRecord, ...]
    last: list[int] = field(default_factory=list)
    """The last three good widths, in ticks."""
    missing: int = 0
    """Frames since the last good pulse."""
    good: int = 0
    """Good pulses without a gap."""
    live: bool = False
    inside: set[int] = field(default_factory=set)
    """Bands in which the channel stands, by index."""
    pressed: set[int] = field(default_factory=set)

    @property
    def value(self) -> int:
        return sorted(self.last)[1]

    def take(self, width: int) -> list[tuple[int, bool]]:
        """The newest pulse of a frame (0: none); buttons that go up or down."""
        if CHANNEL_RANGE[0] <= width <= CHANNEL_RANGE[1]:
            self.last = [*self.last, width][-3:]
            self.missing, self.good = 0, self.good + 1
        else:
            self.missing += 1
            if self.missing > CHANNEL_GAP_FRAMES:
                self.good = 0
        if self.live and self.missing >= CHANNEL_LOST_FRAMES:
            return self._lose()
        if not self.live and self.good >= CHANNEL_GOOD:
            self.live = True
            self.inside = {n for n, band in enumerate(self.bands) if self._is_in(band, 0)}
            return []
        return self._cross() if self.live else []

    def _lose(self) -> list[tuple[int, bool]]:
        self.live = False
        ups = [(self.bands[n].button, False) for n in sorted(self.pressed)]
        self.inside, self.pressed = set(), set()
        return ups

    def _cross(self) -> list[tuple[int, bool]]:
        found: list[tuple[int, bool]] = []
        for n, band in enumerate(self.bands):
            if n not in self.inside and self._is_in(band, 0):
                self.inside.add(n)
                self.pressed.add(n)
                found.append((band.button, True))
            elif n in self.inside and not self._is_in(band, CHANNEL_SLACK):
                self.inside.discard(n)
                if n in self.pressed:
                    self.pressed.discard(n)
                    found.append((band.button, False))
        return found

    def _is_in(self, band: BandRecord, slack: int) -> bool:
        return band.low - slack <= self.value <= band.high + slack


class Channels:
    """The channels of one board."""

    def __init__(self, senses: Sequence[SenseRecord]) -> None:
        bands = [one for one in senses if isinstance(one, BandRecord)]
        count = sum(isinstance(one, ChannelRecord) for one in senses)
        self._channels = [
            _Channel(tuple(band for band in bands if band.channel == n)) for n in range(count)
        ]

    def frame(self, widths: Sequence[int]) -> list[tuple[int, bool]]:
        """Buttons that go down (True) or up, by the newest width of each channel in ticks."""
        found: list[tuple[int, bool]] = []
        for channel, width in zip(self._channels, widths, strict=True):
            found += channel.take(width)
        return found

    @property
    def count(self) -> int:
        return len(self._channels)

    @property
    def heard(self) -> bool:
        """Whether a live channel has had a pulse in the last frame."""
        return any(one.live and one.missing == 0 for one in self._channels)
