"""The sources of a table, and what each stands at in a frame (TABLE.md, section 10)."""

from __future__ import annotations

from collections.abc import Sequence

from firmware_gen.player.channels import Channels
from firmware_gen.player.sensors import Sensors
from firmware_gen.table.records import ChannelRecord, SenseRecord, SensorRecord


class Sources:
    """Channels and sensors together, in the order of the table."""

    def __init__(self, senses: Sequence[SenseRecord], channels: Channels, sensors: Sensors) -> None:
        self._channels, self._sensors = channels, sensors
        self._order = [one for one in senses if isinstance(one, ChannelRecord | SensorRecord)]

    def values(self) -> list[int | None]:
        """The value of each in this frame; None: it is not live."""
        heard = iter(self._channels.values)
        sensed = (self._sensors.value(n) for n in range(self._sensors.count))
        return [next(heard if isinstance(one, ChannelRecord) else sensed) for one in self._order]
