"""The rows of a board's byte table, and the table itself, as values (TABLE.md 1)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

from firmware_gen.table.layout import (
    ALONE,
    CLAIMS,
    CUE,
    LAMP,
    LAW_IDS,
    LEADS,
    SERVO,
    STRIP,
    SWITCH,
)
from firmware_gen.table.ops import TableThread
from sim.model import Manner, PressKind, Score
from sim.rulebook import ENABLE_INTERVAL_FRAMES, GLIDE_STEP_MS, PEAK_MIDDLE, STOP_STEP_MS


@dataclass(frozen=True, slots=True)
class ServoRecord:
    """Angles in 0.01 deg, pulses in ticks of 0.5 us, limits in deg/s and deg/s2."""

    pin: int
    travel: tuple[int, int]
    speed_limit: int
    acceleration_limit: int
    safe: int
    points: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class LampRecord:
    pin: int
    safe: int
    """Level in half percents."""
    trims: tuple[int, ...] = ()
    """One, or none: its duty is multiplied by (trim + 1) / 256."""


@dataclass(frozen=True, slots=True)
class StripRecord:
    pin: int
    pixels: int
    order: int
    cap: int
    """Most that all channel bytes may sum to, in units of 256; 0: no cap."""
    safe: int
    """Index of a colour."""
    trims: tuple[int, ...] = ()
    """Of red, green and blue, or none."""


@dataclass(frozen=True, slots=True)
class SwitchRecord:
    pin: int
    active_high: bool
    safe: bool


OutputRecord: TypeAlias = ServoRecord | LampRecord | StripRecord | SwitchRecord


@dataclass(frozen=True, slots=True)
class LawRecord:
    law_id: int
    alpha: int = 0
    beta: int = 0
    peak: int = PEAK_MIDDLE
    """Share of the duration at which it is fastest, Q16; not stated if it is the middle."""


@dataclass(frozen=True, slots=True)
class InputRecord:
    pin: int
    button: int
    active_low: bool


@dataclass(frozen=True, slots=True)
class BindingRecord:
    button: int
    cue: int
    while_held: bool
    kind: PressKind = "down"
    manner: Manner = "start"
    ends: bool = False
    """The next press ends the cue, and does not only let it go."""

    @property
    def is_plain(self) -> bool:
        """Whether any chip knows it."""
        return self.kind == "down" and self.manner == "start"


@dataclass(frozen=True, slots=True)
class PatienceRecord:
    """A button whose press may become a long one, after so many frames (0: never), or the first of
    two."""

    button: int
    long_frames: int
    twice: bool


@dataclass(frozen=True, slots=True)
class SettlingRecord:
    """An input, by its index, whose level must stand longer: so many times as long as others."""

    input: int
    times: int


@dataclass(frozen=True, slots=True)
class ChannelRecord:
    """A pin at which the pulses of a radio's channel arrive."""

    pin: int


@dataclass(frozen=True, slots=True)
class BandRecord:
    """Pulses of a channel (by its place among them), in ticks, that hold a button down."""

    channel: int
    low: int
    high: int
    button: int


@dataclass(frozen=True, slots=True)
class SensorRecord:
    """A pin whose voltage is a source's value, in 1/1024 of the chip's supply.

    What lies under `quiet` counts as 0. In a frame the value takes `rise` of the way up, in 1/65536
    (0: all of it), or `fall` of the way down.
    """

    pin: int
    quiet: int = 0
    rise: int = 0
    fall: int = 0


@dataclass(frozen=True, slots=True)
class WatchRecord:
    """The battery is watched.

    At the analog pin `pin`, a reading of 1024 stands for `scale` mV of the battery. With `pin` None
    the chip runs from it, and `scale` is what its own reference has, in mV. Below `low` mV the
    battery is low, below `stop` mV empty.
    """

    pin: int | None
    scale: int
    low: int
    stop: int
    cue: int | None = None
    """What starts when it is low."""


@dataclass(frozen=True, slots=True)
class FollowRecord:
    """A servo or a lamp, by its number, that goes where a source stands.

    `source`: its place among channels and sensors. At the source's value `low` the output is at
    `at_low` (0.01 deg of a servo, half percents of a lamp), at `high` at `at_high`.
    """

    output: int
    source: int
    low: int
    high: int
    at_low: int
    at_high: int
    speed: int
    """The most: of a servo in deg/s, of a lamp's level in 1/256 a frame."""
    acceleration: int = 0
    """The most of a servo, in deg/s2; of a lamp 0."""
    mixed: bool = False
    """What idle moves is added."""


@dataclass(frozen=True, slots=True)
class ShineRecord:
    """A lamp as bright as a servo's part is far or fast; both by their numbers among the outputs.

    `low` and `high` are angles in 0.01 deg, or speeds in deg/s; levels are half percents.
    """

    lamp: int
    servo: int
    by_speed: bool
    low: int
    high: int
    low_level: int
    high_level: int


@dataclass(frozen=True, slots=True)
class BarRecord:
    """A strip that shows how bright a lamp is; both by their numbers among the outputs.

    `end`: an index into `BAR_ENDS`, where its bar begins.
    """

    strip: int
    lamp: int
    end: int


@dataclass(frozen=True, slots=True)
class RadioRecord:
    """A radio in place of the line between boards.

    `rate`: an index into `RADIO_BAUDS`. `late`: how long after it would come over the cable a state
    comes, in 1/256 ms.
    """

    rate: int
    late: int


@dataclass(frozen=True, slots=True)
class AnswersRecord:
    """A board that follows has a wire back to the board that leads; its address."""

    address: int


@dataclass(frozen=True, slots=True)
class ScaleRecord:
    """A cue, by its index, that goes as far as a source says when it starts.

    At the source's value `low` its servos go `at_low` of their way from the safe angle, at `high`
    `at_high`, in half percents; `otherwise` while the source is not live.
    """

    cue: int
    source: int
    low: int
    high: int
    at_low: int
    at_high: int
    otherwise: int


SenseRecord: TypeAlias = (
    PatienceRecord
    | SettlingRecord
    | ChannelRecord
    | BandRecord
    | SensorRecord
    | FollowRecord
    | ShineRecord
    | RadioRecord
    | BarRecord
    | AnswersRecord
    | ScaleRecord
    | WatchRecord
)


@dataclass(frozen=True, slots=True)
class CueRecord:
    tag: int
    outputs: int
    """Mask of the outputs it uses."""
    conflict: int
    """Index into CONFLICTS."""
    threads: int
    """How many it needs at most."""
    start: int
    """Index of its first thread."""
    lets_go: bool = False
    """The cue behind it is its part for letting go."""
    strand: bool = False
    """Of idle."""
    claims: int = 0
    """Mask of what it claims on other boards; only in the table of a board that leads."""


@dataclass(frozen=True, slots=True)
class Table:
    """All of one board; indices are None where the header says none."""

    chip: int
    address: int
    outputs: tuple[OutputRecord, ...] = ()
    colours: tuple[tuple[int, int, int], ...] = ()
    laws: tuple[LawRecord, ...] = (LawRecord(LAW_IDS["3-4-5"]),)
    inputs: tuple[InputRecord, ...] = ()
    bindings: tuple[BindingRecord, ...] = ()
    cues: tuple[CueRecord, ...] = ()
    threads: tuple[TableThread, ...] = ()
    glide: int = Score("").glide_ms // GLIDE_STEP_MS
    """In `GLIDE_STEP_MS`."""
    lost: int | None = None
    lost_time: int = 0
    """In `LOST_STEP_MS`; 0: never."""
    stop_button: int = 0
    """0: none."""
    stop_time: int = Score("").stop_ms // STOP_STEP_MS
    """In `STOP_STEP_MS`."""
    enable_interval: int = ENABLE_INTERVAL_FRAMES
    """In frames."""
    show: int = 0
    role: int = ALONE
    """ALONE, LEADS or FOLLOWS of the layout."""
    senses: tuple[SenseRecord, ...] = ()


def kind_of(output: OutputRecord) -> int:
    """The kind's number in the table."""
    return _KIND_OF[type(output)]


_KIND_OF: Final[dict[type, int]] = {
    ServoRecord: SERVO,
    LampRecord: LAMP,
    StripRecord: STRIP,
    SwitchRecord: SWITCH,
}

WITH_ALPHA: Final = (LAW_IDS["trapezoid"], LAW_IDS["double-S"])
WITH_BETA: Final = (LAW_IDS["double-S"],)


def cue_size(role: int) -> int:
    """Bytes of a cue's record in the table of a board with this role."""
    return CUE.size + (CLAIMS.size if role == LEADS else 0)
