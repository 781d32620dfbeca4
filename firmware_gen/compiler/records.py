"""Outputs, inputs, colours and laws of a board as the records of its table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from math import ceil, floor
from typing import TypeVar

from firmware_gen.chips import CHIPS
from firmware_gen.link.protocol import BAUD
from firmware_gen.player.hub_state import LINE_BYTES
from firmware_gen.serial_rates import BITS_OF_A_BYTE, RADIO_BAUDS
from firmware_gen.table.laws import UNIFORM_ID, law_parameters
from firmware_gen.table.layout import ORDERS
from firmware_gen.table.records import (
    AnswersRecord,
    BandRecord,
    BarRecord,
    ChannelRecord,
    FollowRecord,
    InputRecord,
    LampRecord,
    LawRecord,
    OutputRecord,
    PatienceRecord,
    RadioRecord,
    ScaleRecord,
    SenseRecord,
    SensorRecord,
    ServoRecord,
    SettlingRecord,
    ShineRecord,
    StripRecord,
    SwitchRecord,
    WatchRecord,
)
from sim.light.lightness import channel_levels
from sim.model import (
    MINIMUM_JERK,
    NO_MARK,
    UNIFORM,
    Board,
    Fade,
    Follow,
    Input,
    Lamp,
    Law,
    Move,
    Output,
    Servo,
    Shine,
    Show,
    Strip,
    StripLight,
    Switch,
)
from sim.rehearsal.channels import pressing_bands
from sim.rehearsal.fixed_motion import angle_steps
from sim.rehearsal.followers import numbers_of_lamp, numbers_of_servo
from sim.rehearsal.sensing import frame_share, quiet_reading
from sim.rig.watch import watched
from sim.rulebook import (
    CALIBRATION_POINTS,
    CAP_STEP,
    CHANNEL_MAX,
    CLOCK_PER_MS,
    COLOURS,
    LAWS,
    LEVEL_STEPS_PER_PCT,
    PULSE_RANGE,
    PULSE_RANGE_US,
    PULSE_STEPS_PER_US,
    SETTLE_MS,
    TRIM_ONE,
    WORD_MAX,
)
from sim.score.threads import patience, scales_on
from sim.score.tree import Act

_Key = TypeVar("_Key")


class CompileError(ValueError):
    """A show that does not fit a table; the text at fault can be found by `mark`.

    `name` is stable and says what is wrong; `part` names the part of the statement, if one is at
    fault.
    """

    def __init__(
        self,
        name: str,
        message: str,
        mark: int = NO_MARK,
        *,
        part: str = "",
        asked: float | None = None,
        limit: float | None = None,
        unit: str | None = None,
    ) -> None:
        super().__init__(message)
        self.name = name
        self.message = message
        self.mark = mark
        self.part = part
        self.asked = asked
        self.limit = limit
        self.unit = unit


def level_number(level_pct: float) -> int:
    """A light level in the table's steps."""
    return round(LEVEL_STEPS_PER_PCT * level_pct)


def output_record(output: Output, limits: tuple[int, int], palette: Palette) -> OutputRecord:
    """The record of one output; `limits`: a servo's speed and acceleration."""
    match output:
        case Servo():
            return _servo(output, limits)
        case Lamp():
            return LampRecord(output.pin, level_number(output.safe_pct), _trims(output))
        case Strip():
            order = ORDERS.index(output.order)
            safe = palette.index(output.safe, output.mark)
            cap = strip_cap(output)
            return StripRecord(output.pin, output.pixels, order, cap, safe, _trims(output))
        case Switch():
            return SwitchRecord(output.pin, output.active_high, output.safe_on)


def _trims(light: Lamp | Strip) -> tuple[int, ...]:
    """The trims of a light's record; none where it gives all its light."""
    return tuple(round(TRIM_ONE * trim) - 1 for trim in light.trims)


def _servo(servo: Servo, limits: tuple[int, int]) -> ServoRecord:
    if len(servo.points) > CALIBRATION_POINTS[-1]:
        raise CompileError(
            "too-many-points",
            f"servo `{servo.name}` has {len(servo.points)} calibration points, "
            f"and a table holds {CALIBRATION_POINTS[-1]}",
            servo.mark,
            part="pulse",
            asked=len(servo.points),
            limit=CALIBRATION_POINTS[-1],
            unit="points",
        )
    points = tuple(
        (angle_steps(p.angle_deg), round(PULSE_STEPS_PER_US * p.pulse_us)) for p in servo.points
    )
    for _, pulse in points:
        pulse_us = pulse / PULSE_STEPS_PER_US
        if not PULSE_RANGE[0] <= pulse <= PULSE_RANGE[1]:
            raise CompileError(
                "pulse-outside-table",
                f"servo `{servo.name}` has a calibration pulse of {pulse_us:g} us, "
                f"and a table holds {PULSE_RANGE_US[0]} to {PULSE_RANGE_US[1]} us",
                servo.mark,
                part="pulse",
                asked=pulse_us,
                limit=PULSE_RANGE_US[pulse > PULSE_RANGE[1]],
                unit="us",
            )
    low, high = (angle_steps(angle) for angle in servo.travel_deg)
    return ServoRecord(servo.pin, (low, high), *limits, angle_steps(servo.safe_deg), points)


def strip_cap(strip: Strip) -> int:
    """The cap of a strip's record: the most its channel bytes may sum to, in units of 256."""
    if strip.cap_a is None:
        return 0
    most = CHANNEL_MAX * strip.cap_a / strip.channel_a
    if most >= 3 * CHANNEL_MAX * strip.pixels:
        return 0
    cap = floor(most / CAP_STEP)
    if cap < 1:
        least_a = CAP_STEP / CHANNEL_MAX * strip.channel_a
        raise CompileError(
            "cap-too-small",
            f"strip `{strip.name}` has a cap of {1000 * strip.cap_a:g} mA, and a board's lowest "
            f"cap is {1000 * least_a:.3g} mA",
            strip.mark,
            part="cap",
            asked=strip.cap_a,
            limit=least_a,
            unit="A",
        )
    return cap


def input_records(inputs: Iterable[Input], board: Board) -> tuple[InputRecord, ...]:
    return tuple(
        InputRecord(one.pin, one.button, one.active_low)
        for one in inputs
        if one.board == board.name
    )


def sense_records(
    show: Show, board: Board, limits: dict[str, tuple[int, int]]
) -> tuple[SenseRecord, ...]:
    """What a board has to know of buttons beside that they go down and up, and what follows what.

    `limits`: each servo's speed and acceleration.
    """
    waits = tuple(
        PatienceRecord(button, one.long_frames, one.twice)
        for button, one in patience(show.score).items()
    )
    own = (one for one in show.rig.inputs if one.board == board.name)
    times = (max(1, ceil(one.settle_ms / SETTLE_MS)) for one in own)
    settling = tuple(SettlingRecord(n, many) for n, many in enumerate(times) if many > 1)
    return (
        waits
        + settling
        + _channel_records(show, board)
        + _live_records(show, board, limits)
        + _shine_records(show, board)
        + _bar_records(show, board)
        + _radio_records(show)
        + _answers_records(show, board)
    )


def _answers_records(show: Show, board: Board) -> tuple[AnswersRecord, ...]:
    """Who answers: for the board that leads, and for each that does over a port of its own."""
    answering = [one for one in show.rig.boards if one.answers and not one.leads]
    if not board.leads:
        has_port = CHIPS[board.chip].hears_radio
        answering = [one for one in answering if one == board and has_port]
    return tuple(AnswersRecord(one.address) for one in answering)


def _radio_records(show: Show) -> tuple[RadioRecord, ...]:
    """The radio of the board that leads, for that board and for all that follow it.

    Raises CompileError for a rate of which a table knows nothing.
    """
    leader = show.rig.leader
    if leader is None or leader.radio is None:
        return ()
    if leader.radio.baud not in RADIO_BAUDS:
        raise CompileError(
            "radio-rate",
            f"{leader.radio.baud} baud is not a usual rate of a radio",
            leader.radio.mark,
            part="baud",
        )
    late = round(CLOCK_PER_MS * (leader.radio.late_ms + longer_on_air_ms(leader.radio.baud)))
    return (RadioRecord(RADIO_BAUDS.index(leader.radio.baud), late),)


def longer_on_air_ms(baud: int) -> float:
    """How much longer a state takes at a radio's rate than over the cable."""
    return 1000 * BITS_OF_A_BYTE * LINE_BYTES * (1 / baud - 1 / BAUD)


def _channel_records(show: Show, board: Board) -> tuple[SenseRecord, ...]:
    own = [one for one in show.rig.channels if one.board == board.name]
    bands = tuple(
        BandRecord(number, band.low, band.high, band.button)
        for number, one in enumerate(own)
        for band in pressing_bands(one)
    )
    return (*(ChannelRecord(one.pin) for one in own), *bands)


def _live_records(
    show: Show, board: Board, limits: dict[str, tuple[int, int]]
) -> tuple[SenseRecord, ...]:
    """Sensors, which are sources behind the channels, and what follows a source."""
    channels = [one.name for one in show.rig.channels if one.board == board.name]
    own = [one for one in show.rig.sensors if one.board == board.name]
    sensors = tuple(
        SensorRecord(
            one.pin,
            quiet_reading(one),
            frame_share(one.rises_s),
            frame_share(one.falls_s),
        )
        for one in own
    )
    sources = {name: n for n, name in enumerate([*channels, *(one.name for one in own)])}
    outputs = [output for output in show.rig.outputs if output.board == board.name]
    numbers = {output.name: n for n, output in enumerate(outputs)}
    follows = tuple(
        _follow(one, outputs[numbers[one.output]], numbers, sources, channels, limits)
        for one in show.rig.follows
        if one.output in numbers and one.source in sources  # what is elsewhere is a finding
    )
    return sensors + follows


def _follow(
    one: Follow,
    output: Output,
    numbers: dict[str, int],
    sources: dict[str, int],
    channels: Sequence[str],
    limits: dict[str, tuple[int, int]],
) -> FollowRecord:
    sensed = one.source not in channels
    if isinstance(output, Servo):
        stated = numbers_of_servo(one, sensed, limits[output.name])
    else:
        stated = numbers_of_lamp(one, sensed)
    ends, paces = stated[:4], stated[4:]
    return FollowRecord(numbers[one.output], sources[one.source], *ends, *paces, one.mixed)


def watch_records(show: Show, board: Board, low_cue: int | None) -> tuple[WatchRecord, ...]:
    """The watch of the board's battery, if it has one; `low_cue`: what starts when that is low."""
    one = watched(show.rig, board)
    if one is None:
        return ()
    cells = one.cells.series
    scale, low, stop = (
        min(WORD_MAX, round(1000.0 * volts))
        for volts in (one.scale_v, cells * one.warn_v, cells * one.stop_v)
    )
    return (WatchRecord(one.watch.pin, scale, low, stop, low_cue),)


def scale_records(show: Show, board: Board, indices: Mapping[str, int]) -> tuple[ScaleRecord, ...]:
    """The cues that go as far as a source of the board says; `indices`: of all its cues."""
    sources = [one.name for one in show.rig.channels if one.board == board.name]
    sources += [one.name for one in show.rig.sensors if one.board == board.name]
    return tuple(
        ScaleRecord(
            indices[name],
            sources.index(str(one.source)),
            *(one.low, one.high, one.at_low, one.at_high, one.otherwise),
        )
        for name, one in scales_on(show, board.name).items()
    )


def _shine_records(show: Show, board: Board) -> tuple[ShineRecord, ...]:
    own = [output.name for output in show.rig.outputs if output.board == board.name]
    return tuple(
        ShineRecord(
            own.index(one.output),
            own.index(one.servo),
            one.by_speed,
            _end_of_shine(one, one.low),
            _end_of_shine(one, one.high),
            level_number(one.low_pct),
            level_number(one.high_pct),
        )
        for one in show.rig.shines
        if one.output in own and one.servo in own
    )


def _bar_records(show: Show, board: Board) -> tuple[BarRecord, ...]:
    own = [output.name for output in show.rig.outputs if output.board == board.name]
    return tuple(
        BarRecord(own.index(one.strip), own.index(one.lamp), one.end)
        for one in show.rig.bars
        if one.strip in own and one.lamp in own
    )


def _end_of_shine(shine: Shine, end: float) -> int:
    return round(end) if shine.by_speed else angle_steps(end)


class Palette:
    """A board's colours, in the order in which they are first asked for."""

    def __init__(self) -> None:
        self._index: dict[tuple[int, int, int], int] = {}

    def index(self, light: StripLight, mark: int) -> int:
        """Index of the colour that shows this light; CompileError when there are too many."""
        levels = channel_levels(light)
        if levels not in self._index and len(self._index) == COLOURS:
            raise CompileError(
                "too-many-colours",
                f"this is one colour more than the {COLOURS} that a board's table holds",
                mark,
                part="target",
                asked=COLOURS + 1,
                limit=COLOURS,
                unit="colours",
            )
        return self._index.setdefault(levels, len(self._index))

    @property
    def colours(self) -> tuple[tuple[int, int, int], ...]:
        return tuple(self._index)


class LawBook:
    """A board's laws; law 0 is the one that most moves follow."""

    def __init__(self, acts: Sequence[Act]) -> None:
        moves = [_key(act.law) for act in acts if isinstance(act, Move)]
        first = [_commonest(moves)] if moves else [_key(MINIMUM_JERK)]
        marks = {_key(a.law): a.mark for a in reversed(acts) if isinstance(a, Move | Fade)}
        others = [_key(a.law) for a in acts if isinstance(a, Move)]
        others += [_key(a.law) for a in acts if isinstance(a, Fade) and a.law != UNIFORM]
        self._index = {key: number for number, key in enumerate(dict.fromkeys(first + others))}
        if len(self._index) > LAWS:
            surplus = list(self._index)[LAWS]
            raise CompileError(
                "too-many-laws",
                f"this motion law is one more than the {LAWS} that a board's table holds",
                marks[surplus],
                part="law",
                asked=len(self._index),
                limit=LAWS,
                unit="laws",
            )

    @property
    def records(self) -> tuple[LawRecord, ...]:
        return tuple(LawRecord(*key) for key in self._index)

    def of_move(self, law: Law) -> int | None:
        """Index to write with a move; None for law 0."""
        return self._index[_key(law)] or None

    def of_fade(self, law: Law) -> int | None:
        """Index to write with a fade; None for uniform."""
        return None if _key(law)[0] == UNIFORM_ID else self._index[_key(law)]


def _key(law: Law) -> tuple[int, int, int, int]:
    return law_parameters(law)


def _commonest(keys: Sequence[_Key]) -> _Key:
    """The most frequent; of several the one that comes first."""
    return Counter(keys).most_common(1)[0][0]
