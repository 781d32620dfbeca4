"""What a board with senses meets in a case, and boards that are asked alike."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from firmware_gen.player.player import Player
from firmware_gen.table.encode import encode
from firmware_gen.table.records import ChannelRecord, SensorRecord, Table, WatchRecord
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.led_vectors import ask


@dataclass(frozen=True)
class Moment:
    """What comes before one frame."""

    requests: Sequence[tuple[str, int, int]]
    widths: Sequence[int]
    """Of each channel's newest pulse; 0: none came."""
    readings: Sequence[int | None]
    """Of each sensor; None: not yet measured."""
    battery: int | None


class SensingBoard(Protocol):
    """A board whose frames may be compared with another's."""

    def frame(self, moment: Moment) -> bytes:
        """Its outputs."""
        ...

    def told(self) -> bytes:
        """What it tells behind the last frame: see `told_of`."""
        ...

    def end_state(self) -> list[int]: ...


def told_of(
    end: Sequence[int],
    stuck: int,
    sensors: Sequence[int | None],
    battery: tuple[int, int] | None,
) -> bytes:
    """Mode (u8), live runs (u8), mask of running cues (u32), refused requests (u16), mask of stuck
    buttons (u32), each sensor's value (u16; 65535: none), and U and the bits of a watched battery
    (u16, u8)."""
    mode, live, running, refused, _ = end
    values = (65535 if value is None else value for value in sensors)
    row = struct.pack("<BBIHI", mode, live, running, refused, stuck)
    row += b"".join(struct.pack("<H", value) for value in values)
    return row + (b"" if battery is None else struct.pack("<HB", *battery))


def _count(table: Table, kind: type) -> int:
    return sum(isinstance(one, kind) for one in table.senses)


class _AskedBoard:
    """The reference, or the core: they have the same calls."""

    def __init__(self, table: Table, player: Player | ApartPlayer) -> None:
        self.player = player
        self.sensors = _count(table, SensorRecord)
        self.is_watched = _count(table, WatchRecord) > 0

    def ask(self, moment: Moment) -> None:
        for one in moment.requests:
            ask(self.player, *one)
        for channel, width in enumerate(moment.widths):
            if width:
                self.player.channel(channel, width)
        for sensor, reading in enumerate(moment.readings):
            if reading is not None:
                self.player.voltage(sensor, reading)
        if moment.battery is not None:
            self.player.battery(moment.battery)


class ReferenceSensingBoard(_AskedBoard):
    def __init__(self, table: Table) -> None:
        self.reference = Player(table)
        super().__init__(table, self.reference)

    def frame(self, moment: Moment) -> bytes:
        self.ask(moment)
        return self.reference.frame().raw

    def told(self) -> bytes:
        one = self.reference
        values = [one.sensor(number) for number in range(self.sensors)]
        watch = one.watch
        battery = None if watch is None else (watch.millivolts, watch.told)
        return told_of(self.end_state(), one.stuck, values, battery)

    def end_state(self) -> list[int]:
        one = self.reference
        return [int(one.mode), one.live_runs, one.running_cues, one.refused, one.overruns]


class CoreSensingBoard(_AskedBoard):
    def __init__(self, table: Table) -> None:
        self.core = ApartPlayer(table)
        super().__init__(table, self.core)

    def frame(self, moment: Moment) -> bytes:
        self.ask(moment)
        return self.core.frame()

    def told(self) -> bytes:
        values = [self.core.sensor(number) for number in range(self.sensors)]
        battery = self.core.battery_told if self.is_watched else None
        return told_of(self.core.end, self.core.lib.host_stuck(), values, battery)

    def end_state(self) -> list[int]:
        return self.core.end


class SecondSensingBoard:
    """A second player with senses; `make`: of a table's bytes."""

    def __init__(self, data: bytes, make: Callable[[bytes], Any]) -> None:
        self.second = make(data)

    def frame(self, moment: Moment) -> bytes:
        self.second.sense(moment.readings)
        self.second.battery_reading = moment.battery
        shown = self.second.frame(moment.requests, moment.widths)
        assert isinstance(shown, bytes)
        return shown

    def told(self) -> bytes:
        one = self.second
        values = [sensor.value for sensor in one.sensors]
        battery = None if one.battery is None else one.battery.told
        return told_of(self.end_state(), one.stuck, values, battery)

    def end_state(self) -> list[int]:
        found: list[int] = self.second.end_state()
        return found


def moments(case: Mapping[str, Any]) -> Iterator[Moment]:
    """What comes before each frame of a case."""
    channels, sensors = case["sources"]
    widths, readings = [0] * channels, [None] * sensors
    battery = None
    changes: dict[int, list[Callable[[], None]]] = {}
    asked: dict[int, list[tuple[str, int, int]]] = {}
    for frame, kind, first, second in case["requests"]:
        asked.setdefault(frame, []).append((kind, first, second))
    for row, name in ((widths, "pulses"), (readings, "readings")):
        for frame, number, value in case[name]:
            changes.setdefault(frame, []).append(lambda r=row, n=number, v=value: _put(r, n, v))
    levels = dict(case["battery"])
    for frame in range(case["frames"]):
        for change in changes.get(frame, ()):
            change()
        battery = levels.get(frame, battery)
        yield Moment(asked.get(frame, ()), tuple(widths), tuple(readings), battery)


def _put(row: list[Any], number: int, value: int) -> None:
    row[number] = value


def sources_of(table: Table) -> tuple[int, int]:
    """How many channels and sensors there are."""
    return _count(table, ChannelRecord), _count(table, SensorRecord)


def data_of(table: Table) -> str:
    return encode(table).hex()
