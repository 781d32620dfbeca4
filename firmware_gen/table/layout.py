"""The layout of the byte table, stated once: fields, types, limits (TABLE.md, section 1).

Encoder, decoder, the generated C header and the tests of TABLE.md all read these lists.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal, TypeAlias

from firmware_gen.serial_rates import RADIO_BAUDS
from sim import rulebook
from sim.model import Conflict, LawName, Manner, PressKind
from sim.rulebook import (
    ALPHA_RANGE,
    BETA_RANGE,
    LEVEL_MAX,
    PEAK_RANGE,
    PULSE_RANGE,
    WORD_MAX,
)

MAGIC: Final = 0xBC
VERSION: Final = 2
NONE: Final = 255
"""An index that points to nothing."""

SERVO, LAMP, STRIP, SWITCH = 1, 2, 3, 4
KINDS: Final[Mapping[int, str]] = MappingProxyType(
    {SERVO: "servo", LAMP: "lamp", STRIP: "strip", SWITCH: "switch"}
)
PRIMARIES: Final = "rgb"
"""In the order in which a table has them."""
ORDERS: Final = ("rgb", "rbg", "grb", "gbr", "brg", "bgr")
ALONE, LEADS, FOLLOWS = 0, 1, 2
"""Roles of a board among the boards of its show."""
CONFLICTS: Final[tuple[Conflict, ...]] = ("take", "wait", "refuse")
LAW_IDS: Final[Mapping[LawName, int]] = MappingProxyType(
    {
        "uniform": 0,
        "parabolic": 1,
        "trapezoid": 2,
        "harmonic": 3,
        "cycloidal": 4,
        "3-4-5": 5,
        "4-5-6-7": 6,
        "modified sine": 7,
        "modified trapezoid": 8,
        "double-S": 9,
    }
)
LAWS_BY_ID: Final[Mapping[int, LawName]] = MappingProxyType(
    {number: name for name, number in LAW_IDS.items()}
)
EFFECTS: Final = ("steady", "breathe", "ember", "sparkle", "run")

REASONS: Final[Mapping[int, str]] = MappingProxyType(
    {
        0: "accepted",
        1: "length",
        2: "magic",
        3: "version",
        4: "CRC",
        5: "chip",
        6: "address",
        7: "counts",
        8: "output",
        9: "pin",
        10: "record",
        11: "code",
    }
)
"""Short names of the reasons for which a board refuses a table (TABLE.md, section 5)."""

RefusalCode: TypeAlias = Literal[1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]
LENGTH, BAD_MAGIC, BAD_VERSION, BAD_CRC = 1, 2, 3, 4
BAD_CHIP, BAD_ADDRESS, BAD_EXTENT, BAD_OUTPUT = 5, 6, 7, 8
BAD_PIN, BAD_RECORD, BAD_CODE = 9, 10, 11


class TableError(ValueError):
    """A table that no board would play: the reason's code, the field, and what is wrong with it."""

    def __init__(self, code: int, path: str, message: str) -> None:
        super().__init__(f"{path}: {message}")
        self.code = code
        self.path = path
        self.message = message


Type: TypeAlias = Literal["u8", "i8", "u16", "i16", "u32"]
FORMATS: Final[Mapping[Type, str]] = MappingProxyType(
    {"u8": "B", "i8": "b", "u16": "H", "i16": "h", "u32": "I"}
)
SPANS: Final[Mapping[Type, tuple[int, int]]] = MappingProxyType(
    {
        "u8": (0, 255),
        "i8": (-128, 127),
        "u16": (0, 65535),
        "i16": (-32768, 32767),
        "u32": (0, 2**32 - 1),
    }
)


@dataclass(frozen=True, slots=True)
class Field:
    """One number of a record, with the limits that hold for it alone."""

    name: str
    type: Type
    low: int | None = None
    high: int | None = None

    @property
    def size(self) -> int:
        return struct.calcsize("<" + FORMATS[self.type])

    @property
    def limits(self) -> tuple[int, int]:
        low, high = SPANS[self.type]
        return low if self.low is None else self.low, high if self.high is None else self.high


@dataclass(frozen=True, slots=True)
class Record:
    """A row of fields, one after another without gaps."""

    name: str
    fields: tuple[Field, ...]
    code: int
    """The refusal where a value is out of its limits."""

    @property
    def size(self) -> int:
        return sum(field.size for field in self.fields)

    @property
    def format(self) -> struct.Struct:
        return struct.Struct("<" + "".join(FORMATS[field.type] for field in self.fields))

    def offsets(self) -> dict[str, int]:
        """Offset of each field from the record's start."""
        at, found = 0, {}
        for field in self.fields:
            found[field.name] = at
            at += field.size
        return found

    def pack(self, path: str, **values: int) -> bytes:
        """Bytes of the record; TableError for a value that does not fit its field."""
        for field in self.fields:
            self._check(path, field, values[field.name], SPANS[field.type])
        return self.format.pack(*(values[field.name] for field in self.fields))

    def unpack(self, data: bytes, at: int, path: str) -> dict[str, int]:
        """Values at an offset, each within its limits; the caller has checked the extent."""
        found = self.format.unpack_from(data, at)
        for field, value in zip(self.fields, found, strict=True):
            self._check(path, field, value, field.limits)
        return {field.name: value for field, value in zip(self.fields, found, strict=True)}

    def _check(self, path: str, field: Field, value: int, limits: tuple[int, int]) -> None:
        low, high = limits
        if not low <= value <= high:
            raise TableError(
                self.code, f"{path}.{field.name}", f"{value} is not within {low} to {high}"
            )


HEADER: Final = Record(
    "header",
    (
        Field("magic", "u8"),
        Field("version", "u8"),
        Field("length", "u16"),
        Field("chip", "u8"),
        Field("address", "u8"),
        Field("show", "u32"),
        Field("outputs", "u8", 0, rulebook.OUTPUTS),
        Field("colours", "u8", 0, rulebook.COLOURS),
        Field("inputs", "u8", 0, rulebook.INPUTS),
        Field("bindings", "u8", 0, rulebook.BINDINGS),
        Field("cues", "u8", 0, rulebook.CUES),
        Field("laws", "u8", 1, rulebook.LAWS),
        Field("glide", "u8"),
        Field("lost", "u8"),
        Field("lost time", "u8"),
        Field("stop button", "u8", 0, rulebook.BUTTONS[-1]),
        Field("stop time", "u8", 1),
        Field("enable interval", "u8"),
        Field("role", "u8", 0, 2),
        Field("senses", "u8", 0, rulebook.SENSES),
    ),
    BAD_EXTENT,
)

OUTPUT: Final = Record("output", (Field("kind", "u8"), Field("pin", "u8")), BAD_OUTPUT)
SERVO_FIELDS: Final = Record(
    "servo",
    (
        Field("points", "u8", rulebook.CALIBRATION_POINTS[0], rulebook.CALIBRATION_POINTS[-1]),
        Field("travel low", "i16"),
        Field("travel high", "i16"),
        Field("speed limit", "u16", 1),
        Field("acceleration limit", "u16", 1),
        Field("safe angle", "i16"),
    ),
    BAD_OUTPUT,
)
POINT: Final = Record(
    "point", (Field("angle", "i16"), Field("pulse", "u16", *PULSE_RANGE)), BAD_OUTPUT
)
LAMP_FIELDS: Final = Record("lamp", (Field("safe level", "u8", 0, LEVEL_MAX),), BAD_OUTPUT)
STRIP_FIELDS: Final = Record(
    "strip",
    (
        Field("pixels", "u8", 1),
        Field("order", "u8", 0, len(ORDERS) - 1),
        Field("cap", "u16"),
        Field("safe colour", "u8"),
    ),
    BAD_OUTPUT,
)
SWITCH_FIELDS: Final = Record("switch", (Field("flags", "u8", 0, 3),), BAD_OUTPUT)
OUTPUT_FIELDS: Final[Mapping[int, Record]] = MappingProxyType(
    {SERVO: SERVO_FIELDS, LAMP: LAMP_FIELDS, STRIP: STRIP_FIELDS, SWITCH: SWITCH_FIELDS}
)
ACTIVE_HIGH, ON_WHEN_SAFE = 1, 2
TRIMS: Final[Mapping[int, int]] = MappingProxyType({LAMP: 1, STRIP: 3})
"""By kind, how many trims may stand behind a record; then `FLAG` is set in its kind."""

COLOUR: Final = Record(
    "colour",
    tuple(Field(name, "u8", 0, LEVEL_MAX) for name in ("red", "green", "blue")),
    BAD_RECORD,
)
LAW: Final = Record("law", (Field("id", "u8", 0, 9),), BAD_RECORD)
LAW_ALPHA: Final = Record("law", (Field("alpha", "u16", *ALPHA_RANGE),), BAD_RECORD)
LAW_BETA: Final = Record("law", (Field("beta", "u16", *BETA_RANGE),), BAD_RECORD)
LAW_PEAK: Final = Record("law", (Field("peak", "u16", *PEAK_RANGE),), BAD_RECORD)
INPUT: Final = Record("input", (Field("pin", "u8"), Field("button", "u8")), BAD_RECORD)
BINDING: Final = Record("binding", (Field("button", "u8"), Field("cue", "u8")), BAD_RECORD)
KINDS_OF_PRESS: Final[tuple[PressKind, ...]] = ("down", "long", "twice", "up")
PRESS_STEP: Final = 0x20
"""One kind of press further, in the first byte of a binding."""
MANNERS: Final[tuple[tuple[Manner, bool], ...]] = (
    ("start", False),
    ("next", False),
    ("toggle", False),
    ("toggle", True),
)
"""What a press does with a cue; the last ends it."""
MANNER_STEP: Final = 0x20
"""One manner further, in the second byte of a binding."""
PATIENCE, SETTLING, CHANNEL, BAND, SENSOR, FOLLOW, WATCH, SHINE, RADIO, BAR, ANSWERS, SCALE = range(
    1, 13
)
"""Kinds of senses."""
SENSE: Final = Record("sense", (Field("kind", "u8"),), BAD_RECORD)
PATIENCE_FIELDS: Final = Record(
    "patience",
    (
        Field("button", "u8", 1, rulebook.BUTTONS[-1]),
        Field("long", "u8", 0, rulebook.LONGEST_LONG_FRAMES),
        Field("twice", "u8", 0, 1),
    ),
    BAD_RECORD,
)
SETTLING_FIELDS: Final = Record(
    "settling",
    (
        Field("input", "u8"),
        Field("times", "u8", 1, rulebook.LONGEST_SETTLE_MS // rulebook.SETTLE_MS),
    ),
    BAD_RECORD,
)
CHANNEL_FIELDS: Final = Record("channel", (Field("pin", "u8"),), BAD_RECORD)
BAND_FIELDS: Final = Record(
    "band",
    (
        Field("channel", "u8", 0, rulebook.CHANNELS - 1),
        Field("from", "u16", *rulebook.CHANNEL_RANGE),
        Field("to", "u16", *rulebook.CHANNEL_RANGE),
        Field("button", "u8", 1, rulebook.BUTTONS[-1]),
    ),
    BAD_RECORD,
)
SENSOR_FIELDS: Final = Record(
    "sensor",
    (
        Field("pin", "u8"),
        Field("quiet", "u16", 0, rulebook.SENSOR_ONE - 1),
        Field("rise", "u16"),
        Field("fall", "u16"),
    ),
    BAD_RECORD,
)
FOLLOW_FIELDS: Final = Record(
    "follow",
    (
        Field("output", "u8"),
        Field("source", "u8"),
        Field("from", "u16"),
        Field("to", "u16"),
        Field("at from", "i16"),
        Field("at to", "i16"),
        Field("speed", "u16", 1),
        Field("acceleration", "u16"),
    ),
    BAD_RECORD,
)
OWN_REFERENCE: Final = 255
"""In the place of a watch's pin: the chip's own reference, held against its supply."""
WATCH_FIELDS: Final = Record(
    "watch",
    (
        Field("pin", "u8"),
        Field("scale", "u16", 1),
        Field("low", "u16"),
        Field("stop", "u16", 1),
        Field("cue", "u8"),
    ),
    BAD_RECORD,
)
SHINE_FIELDS: Final = Record(
    "shine",
    (
        Field("lamp", "u8", 0, rulebook.OUTPUTS - 1),
        Field("servo", "u8"),
        Field("from", "i16"),
        Field("to", "i16"),
        Field("from level", "u8", 0, LEVEL_MAX),
        Field("to level", "u8", 0, LEVEL_MAX),
    ),
    BAD_RECORD,
)
BAR_FIELDS: Final = Record(
    "bar",
    (
        Field("strip", "u8", 0, rulebook.OUTPUTS - 1),
        Field("lamp", "u8", 0, rulebook.OUTPUTS - 1),
        Field("end", "u8", 0, len(rulebook.BAR_ENDS) - 1),
    ),
    BAD_RECORD,
)
RADIO_FIELDS: Final = Record(
    "radio",
    (
        Field("rate", "u8", 0, len(RADIO_BAUDS) - 1),
        Field("late", "u16", 0, rulebook.LATE_FRAMES * rulebook.FRAME_CLOCK),
    ),
    BAD_RECORD,
)
ANSWERS_FIELDS: Final = Record(
    "answers",
    (Field("address", "u8", rulebook.ADDRESSES[0], rulebook.ADDRESSES[-1]),),
    BAD_RECORD,
)
SCALE_FIELDS: Final = Record(
    "scale",
    (
        Field("cue", "u8", 0, rulebook.CUES - 1),
        Field("source", "u8"),
        Field("from", "u16"),
        Field("to", "u16"),
        Field("at from", "u8", 0, LEVEL_MAX),
        Field("at to", "u8", 0, LEVEL_MAX),
        Field("otherwise", "u8", 0, LEVEL_MAX),
    ),
    BAD_RECORD,
)
SENSE_FIELDS: Final[Mapping[int, Record]] = MappingProxyType(
    {
        PATIENCE: PATIENCE_FIELDS,
        SETTLING: SETTLING_FIELDS,
        CHANNEL: CHANNEL_FIELDS,
        BAND: BAND_FIELDS,
        SENSOR: SENSOR_FIELDS,
        FOLLOW: FOLLOW_FIELDS,
        WATCH: WATCH_FIELDS,
        SHINE: SHINE_FIELDS,
        RADIO: RADIO_FIELDS,
        BAR: BAR_FIELDS,
        ANSWERS: ANSWERS_FIELDS,
        SCALE: SCALE_FIELDS,
    }
)
FLAG: Final = 0x80
"""Of an input: active low. Of a binding: the cue repeats while the button is held. Of an output's
kind: its trims stand behind the record. Of a law's id: its peak does. Of the output that follows:
what idle moves is added. Of a shine's servo: its speed counts."""
STRAND: Final = 0x08
"""Of a cue's flags: it is a strand of idle."""
CUE: Final = Record(
    "cue",
    (
        Field("tag", "u16"),
        Field("outputs", "u16"),
        Field("flags", "u8"),
        Field("offset", "u16"),
    ),
    BAD_RECORD,
)
CLAIMS: Final = Record("claims", (Field("claims", "u16"),), BAD_RECORD)
"""What stands behind a cue's record in the table of a board that leads."""
CONFLICT, LETS_GO = 0x03, 0x04
"""Of a cue's flags: what it does when it is busy; the cue behind it is its part for letting go."""
CRC_SIZE: Final = 2

# -- code -----------------------------------------------------------------------------------------

ACT_WAIT, ACT_LAW, ACT_F, ACT_OUTPUT = 0x40, 0x20, 0x10, 0x0F
END, WAIT, LOOP, LOOP_END, FORK, EFFECT, GO_ON = 0x80, 0x81, 0x82, 0x83, 0x84, 0x85, 0x86
LONG_WAIT: Final = 0x87
DRAW: Final = 0x88
CHOOSE: Final = 0x89
CALL: Final = 0xA0
"""The lowest of the bytes that call a thread: what is called stands in the bits below."""
CALL_SIZE: Final = 3
"""Bytes of a call: that one, and an offset."""
CALL_WAITS, CALL_LOOPS, CALL_CALLS = 0x10, 0x0C, 0x03
CALL_LOOP: Final = 0x04
"""One loop within others in CALL_LOOPS."""
SHORT_WAIT: Final = 0xC0
SHORT_WAIT_STEPS: Final = 64
LOOP_FOREVER, LOOP_HELD = 0, WORD_MAX

DURATION_STEPS: Final = 160
"""Duration bytes below this are a whole number of steps."""
DURATION_BIG_STEP_MS: Final = 100
DURATION_BIG_BASE: Final = 143
"""Subtracted from a duration byte that counts big steps."""
DURATION_MS: Final = 200
"""From this duration byte on ms over two bytes."""
DURATION_LONG: Final = 255
