"""Sensors, radios, and what follows a source or a move, from a table's records back to the rig.

A table has how far a value comes in a frame and how fast an output follows at most; the text has
times. Times are found that make the same records again. Where none does, because the board holds a
servo to less than its follow asks for, the next time that is not quicker stands for it.
"""

from __future__ import annotations

from math import ceil, floor, log1p, sqrt
from typing import TYPE_CHECKING, Final

from firmware_gen.compiler.records import longer_on_air_ms
from firmware_gen.serial_rates import RADIO_BAUDS
from sim.model import Follow, LineRadio, Scaling, Sensor, Servo, Shine
from sim.rehearsal.sensing import frame_share
from sim.rig.slide import of_part
from sim.rulebook import (
    ANGLE_STEPS_PER_DEG,
    CLOCK_PER_MS,
    FASTEST_SHINE,
    FRAME_MS,
    LEVEL_BITS,
    LEVEL_STEPS_PER_PCT,
    PULSE_STEPS_PER_US,
    SENSOR_ONE,
    SHARE_ONE,
    WORD_MAX,
)
from sim.score.planned_moves import follow_limits

if TYPE_CHECKING:
    from collections.abc import Callable

    from firmware_gen.table.records import (
        FollowRecord,
        RadioRecord,
        ScaleRecord,
        SensorRecord,
        ShineRecord,
    )
    from sim.model import Channel, Output

_DIGITS: Final = range(3, 12)
"""Of seconds: as few as make the same record."""
_SHARE_DIGITS: Final = range(2, 6)
_FREE: Final = (WORD_MAX, WORD_MAX)
"""A servo that holds nothing back."""


def sensor_of(record: SensorRecord, name: str, board: str) -> Sensor:
    """The sensor whose record this is."""
    quiet = _shortest((record.quiet + 0.5) / SENSOR_ONE, record.quiet, floor) if record.quiet else 0
    return Sensor(name, board, record.pin, quiet, _seconds(record.rise), _seconds(record.fall))


def _shortest(share: float, steps: int, whole: Callable[[float], int]) -> float:
    """A share with as few digits as make the same number of steps."""
    short = (round(share, digits) for digits in _SHARE_DIGITS)
    most = SENSOR_ONE - 1
    return next((one for one in short if min(most, whole(SENSOR_ONE * one)) == steps), share)


def _seconds(share: int) -> float:
    """The time constant of a value that takes this share of its way in a frame."""
    if share == 0:
        return 0.0
    exact = -FRAME_MS / 1000.0 / log1p(-share / SHARE_ONE)
    short = (round(exact, digits) for digits in _DIGITS)
    return next((one for one in short if frame_share(one) == share), exact)


def follow_of(record: FollowRecord, output: Output, source: Sensor | Channel) -> Follow | None:
    """What an output follows, as the text says it; None: no text says that."""
    is_servo = record.acceleration > 0
    steps = ANGLE_STEPS_PER_DEG if is_servo else LEVEL_STEPS_PER_PCT
    ends = [end / steps for end in (record.at_low, record.at_high)]
    if record.low >= record.high or record.at_low == record.at_high:
        return None
    values = _values(record, source)
    made = Follow(
        *(output.name, source.name, values[0], values[1], ends[0], ends[1]), mixed=record.mixed
    )
    return _in_time(made, _way_ms(record, made, is_servo))


def scaling_of(record: ScaleRecord, source: Sensor | Channel) -> Scaling:
    """How far a cue goes, as the text says it."""
    low, high = _values(record, source)
    at_low, at_high, otherwise = (
        level / LEVEL_STEPS_PER_PCT for level in (record.at_low, record.at_high, record.otherwise)
    )
    return Scaling(source.name, low, high, at_low, at_high, otherwise)


def _values(record: FollowRecord | ScaleRecord, source: Sensor | Channel) -> list[float]:
    """Both values of a source."""
    ends = record.low, record.high
    if isinstance(source, Sensor):
        return [_shortest(end / SENSOR_ONE, end, round) for end in ends]
    return [end / PULSE_STEPS_PER_US for end in ends]


def is_slower(follow: Follow, record: FollowRecord) -> bool:
    """Whether the board goes more slowly than the text says: by what its servo can do."""
    return record.acceleration > 0 and follow_limits(follow, _FREE) != (
        record.speed,
        record.acceleration,
    )


def _in_time(follow: Follow, way_ms: int) -> Follow:
    return Follow(
        *(follow.output, follow.source, follow.source_from, follow.source_to),
        *(follow.target_from, follow.target_to, way_ms, follow.mixed),
    )


def _way_ms(record: FollowRecord, follow: Follow, is_servo: bool) -> int:
    """The time of the whole way that gives these limits, as round as may be."""
    if not is_servo:
        way = abs(record.at_high - record.at_low) << LEVEL_BITS
        return max(1, floor(way * FRAME_MS / record.speed))
    # the peaks of a way of one second tell those of any other
    speed, acceleration = follow_limits(_in_time(follow, 1000), _FREE)
    least = max(speed / (record.speed + 1), sqrt(acceleration / (record.acceleration + 1)))
    most = min(
        (speed + 1) / record.speed,
        sqrt((acceleration + 1) / record.acceleration),
    )
    first, last = max(1, floor(1000 * least)), ceil(1000 * most)
    found = [
        ms
        for ms in range(first, min(last, first + 10_000) + 1)
        if follow_limits(_in_time(follow, ms), _FREE) == (record.speed, record.acceleration)
    ]
    coarse = [ms for step in (100, 10) for ms in found if ms % step == 0]
    return (coarse or found or [max(1, ceil(1000 * least))])[0]


def shine_of(record: ShineRecord, lamp: Output, servo: Output) -> Shine | None:
    """The move that a lamp follows, as the text says it; None: no text says that."""
    if not isinstance(servo, Servo):
        return None
    low, high = float(record.low), float(record.high)
    if not record.by_speed:
        low, high = low / ANGLE_STEPS_PER_DEG, high / ANGLE_STEPS_PER_DEG
    part = of_part(servo)
    if record.by_speed and (part.place == part.speed or low < 0.0 or high > FASTEST_SHINE):
        return None
    dark, light = (one / LEVEL_STEPS_PER_PCT for one in (record.low_level, record.high_level))
    return Shine(lamp.name, servo.name, low, high, dark, light, record.by_speed)


def radio_of(record: RadioRecord) -> LineRadio:
    """The radio, late by whole milliseconds as the text says it."""
    baud = RADIO_BAUDS[record.rate]
    return LineRadio(baud, max(0, round(record.late / CLOCK_PER_MS - longer_on_air_ms(baud))))
