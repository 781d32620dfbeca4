"""Voltages at pins as values that parts follow (TABLE.md, section 10)."""

from __future__ import annotations

from collections.abc import Sequence

from firmware_gen.table.records import SenseRecord, SensorRecord
from sim.rehearsal.sensing import sensed
from sim.rulebook import SENSOR_BITS


class Sensors:
    """The sensors of one board."""

    def __init__(self, senses: Sequence[SenseRecord]) -> None:
        self._records = [one for one in senses if isinstance(one, SensorRecord)]
        self._values: list[int | None] = [None] * len(self._records)

    @property
    def count(self) -> int:
        return len(self._records)

    def frame(self, readings: Sequence[int | None]) -> None:
        """The newest voltage of each sensor, 0 to 1023 of the chip's supply; None: none yet."""
        for number, reading in enumerate(readings):
            if reading is not None:
                self._values[number] = self._next(number, reading)

    def _next(self, number: int, reading: int) -> int:
        record = self._records[number]
        return sensed(self._values[number], reading, record.quiet, record.rise, record.fall)

    def value(self, number: int) -> int | None:
        """A sensor's value, 0 to 1023; None: it has not been measured yet."""
        value = self._values[number]
        return None if value is None else value >> SENSOR_BITS
