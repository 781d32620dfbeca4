"""The watch of a board's battery: when it is low, and when it is empty (TABLE.md, section 11)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from firmware_gen.link.protocol import (
    BATTERY_BLIND,
    BATTERY_EMPTY,
    BATTERY_LOW,
    BATTERY_WATCHED,
)
from sim.rulebook import (
    EMPTY_FRAMES,
    EMPTY_IN_STARTING_FRAMES,
    LOW_FRAMES,
    REMIND_FRAMES,
    SENSOR_ONE,
    WATCH_PART,
    WATCH_SLACK_PART,
    WORD_MAX,
)

if TYPE_CHECKING:
    from firmware_gen.table.records import WatchRecord


class BatteryWatch:
    """Takes a reading a frame and says whether the battery is low or empty."""

    def __init__(self, record: WatchRecord) -> None:
        self.record = record
        self._memory: int | None = None
        self._low_frames = self._empty_frames = 0
        self._to_reminder = 0
        self.is_low = self.is_empty = False

    @property
    def millivolts(self) -> int:
        """The battery's voltage as the watch takes it; 0 before the first reading."""
        return 0 if self._memory is None else self._memory // WATCH_PART

    @property
    def is_blind(self) -> bool:
        """What it reads cannot be: its lead is off."""
        return self._memory is not None and self.millivolts < self.record.stop >> 1

    @property
    def told(self) -> int:
        """What the board tells of it, in bits."""
        bits = BATTERY_WATCHED | BATTERY_LOW * self.is_low
        return bits | BATTERY_EMPTY * self.is_empty | BATTERY_BLIND * self.is_blind

    def frame(self, reading: int | None, *, starting: bool) -> None:
        """A frame begins; `reading`: of 1024 that are the chip's supply, None: there is none."""
        if reading is None:
            return
        volts = self._millivolts(reading)
        finds_contact = self.is_blind and volts >= self.record.stop >> 1
        if self._memory is None or finds_contact:
            self._memory = WATCH_PART * volts
        else:
            self._memory += volts - self._memory // WATCH_PART
        self._judge_low()
        self._judge_empty(EMPTY_IN_STARTING_FRAMES if starting else EMPTY_FRAMES)

    def _millivolts(self, reading: int) -> int:
        scale = self.record.scale
        if self.record.pin is not None:
            return scale * reading // SENSOR_ONE
        return min(WORD_MAX, scale * SENSOR_ONE // reading) if reading else WORD_MAX

    def _judge_low(self) -> None:
        low = self.record.low
        if self.millivolts < low:
            self._low_frames += 1
        elif not self.is_low or self.millivolts >= low + low // WATCH_SLACK_PART:
            self._low_frames, self._to_reminder = 0, 0
            self.is_low = False
        self.is_low = self.is_low or self._low_frames >= LOW_FRAMES

    def _judge_empty(self, frames: int) -> None:
        stop = self.record.stop
        if self.millivolts < stop and not self.is_blind:
            self._empty_frames += 1
            self.is_empty = self.is_empty or self._empty_frames >= frames
        elif not self.is_empty or self.millivolts >= stop + stop // WATCH_SLACK_PART:
            self._empty_frames = 0
            self.is_empty = False

    def reminds(self) -> bool:
        """Whether its cue is to be asked for now, in a frame in which it may start."""
        if not self.is_low:
            return False
        self._to_reminder = (self._to_reminder or REMIND_FRAMES) - 1
        return self._to_reminder == REMIND_FRAMES - 1
