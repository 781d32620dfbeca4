"""Voltages at pins as values that parts follow (TABLE.md, section 10)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from firmware_gen.table.records import SenseRecord, SensorRecord
from sim.rulebook import SHARE_ONE

FRACTION: Final = 6
"""Bits behind the point of what a sensor remembers: it then has 16 in all."""


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
        record, value = self._records[number], self._values[number]
        aim = 0 if reading < record.quiet else reading << FRACTION
        if value is None:
            return aim
        if aim > value:
            return value + _part(aim - value, record.rise)
        return value - _part(value - aim, record.fall)

    def value(self, number: int) -> int | None:
        """A sensor's value, 0 to 1023; None: it has not been measured yet."""
        value = self._values[number]
        return None if value is None else value >> FRACTION


def _part(way: int, share: int) -> int:
    """What a value takes of its way in a frame, rounded up: so it always arrives."""
    return way if share == 0 else (way * share + SHARE_ONE - 1) >> 16
