"""The radio channels of a table (TABLE.md, section 9): which buttons go down and up in a frame."""

from __future__ import annotations

from collections.abc import Sequence

from firmware_gen.table.records import BandRecord, ChannelRecord, SenseRecord
from sim.rehearsal.channels import PressingBand, RadioChannel


class Channels:
    """The channels of one board."""

    def __init__(self, senses: Sequence[SenseRecord]) -> None:
        bands = [one for one in senses if isinstance(one, BandRecord)]
        count = sum(isinstance(one, ChannelRecord) for one in senses)
        self._channels = [
            RadioChannel(
                tuple(
                    PressingBand(band.low, band.high, band.button)
                    for band in bands
                    if band.channel == n
                )
            )
            for n in range(count)
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
    def values(self) -> list[int | None]:
        """The value of each in ticks; None: it is not live."""
        return [one.value if one.live else None for one in self._channels]

    @property
    def heard(self) -> bool:
        """Whether a live channel has had a pulse in the last frame."""
        return any(one.heard for one in self._channels)
