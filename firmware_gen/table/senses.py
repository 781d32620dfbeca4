"""Every kind of sense once: its number in a table, its record, and how one becomes the other.

A kind's fields stand in `layout.SENSE_FIELDS` in the order of its record's attributes. What differs
is said here: a flag that rides on a field, and numbers that stand for `None`. Encoding, decoding,
the sizes that a listing adds up and the names in the C header all read this table.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, Final

from firmware_gen.table.layout import (
    ANSWERS,
    BAND,
    BAR,
    CHANNEL,
    FLAG,
    FOLLOW,
    NONE,
    OWN_REFERENCE,
    PATIENCE,
    RADIO,
    SCALE,
    SENSE_FIELDS,
    SENSOR,
    SETTLING,
    SHINE,
    WATCH,
    Record,
)
from firmware_gen.table.records import (
    AnswersRecord,
    BandRecord,
    BarRecord,
    ChannelRecord,
    FollowRecord,
    PatienceRecord,
    RadioRecord,
    ScaleRecord,
    SenseRecord,
    SensorRecord,
    SettlingRecord,
    ShineRecord,
    WatchRecord,
)


@dataclass(frozen=True, slots=True)
class SenseKind:
    """`flags`: by attribute, the field whose `FLAG` it is. `absent`: by attribute, its `None`."""

    number: int
    record: type[Any]
    flags: Mapping[str, str] = field(default_factory=dict)
    absent: Mapping[str, int] = field(default_factory=dict)

    @property
    def layout(self) -> Record:
        return SENSE_FIELDS[self.number]

    def values(self, one: SenseRecord) -> dict[str, int]:
        """What stands in the fields of the kind's record."""
        found = {}
        for name, place in self._named().items():
            value = getattr(one, name)
            found[place] = self.absent[name] if value is None else int(value)
        for name, place in self.flags.items():
            found[place] |= FLAG * getattr(one, name)
        return found

    def made(self, values: Mapping[str, int]) -> SenseRecord:
        """The record with these values of its fields."""
        flagged = set(self.flags.values())
        given: dict[str, object] = {}
        for name, place in self._named().items():
            value = values[place] & ~FLAG if place in flagged else values[place]
            given[name] = None if self.absent.get(name) == value else value
        for name, place in self.flags.items():
            given[name] = bool(values[place] & FLAG)
        if self.record is PatienceRecord:
            given["twice"] = bool(given["twice"])
        made: SenseRecord = self.record(**given)
        return made

    def _named(self) -> dict[str, str]:
        """The field that each attribute stands in, flags apart."""
        names = [one.name for one in fields(self.record) if one.name not in self.flags]
        return dict(zip(names, (one.name for one in self.layout.fields), strict=True))


KINDS: Final = (
    SenseKind(PATIENCE, PatienceRecord),
    SenseKind(SETTLING, SettlingRecord),
    SenseKind(CHANNEL, ChannelRecord),
    SenseKind(BAND, BandRecord),
    SenseKind(SENSOR, SensorRecord),
    SenseKind(FOLLOW, FollowRecord, flags={"mixed": "output"}),
    SenseKind(WATCH, WatchRecord, absent={"pin": OWN_REFERENCE, "cue": NONE}),
    SenseKind(SHINE, ShineRecord, flags={"by_speed": "servo"}),
    SenseKind(RADIO, RadioRecord),
    SenseKind(BAR, BarRecord),
    SenseKind(ANSWERS, AnswersRecord),
    SenseKind(SCALE, ScaleRecord),
)
BY_NUMBER: Final = {kind.number: kind for kind in KINDS}
BY_RECORD: Final = {kind.record: kind for kind in KINDS}


def sense_kind(one: SenseRecord) -> SenseKind:
    return BY_RECORD[type(one)]
