"""The value of a sensor, and of each source of a board in a rehearsal (TABLE.md, section 10.1).

A sensor is put to a share of the chip's supply and stays there until it is put somewhere else. Its
value goes after that in the sensor's own times.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from math import ceil, expm1, floor, inf

from sim.model import Press, Sensor, Show
from sim.rulebook import FRAME_MS, SENSOR_BITS, SENSOR_ONE, SHARE_ONE, WORD_MAX


def sensed(value: int | None, reading: int, quiet: int, rise: int, fall: int) -> int:
    """What a sensor remembers after a frame, with `SENSOR_BITS` bits behind the point.

    `value`: what it remembered before; None: nothing yet. `reading`: the newest voltage, 0 to 1023
    of the chip's supply; below `quiet` it counts as 0. `rise` and `fall`: how much of its way the
    value takes in a frame, in 1/65536; 0: all of it.
    """
    aim = 0 if reading < quiet else reading << SENSOR_BITS
    if value is None:
        return aim
    if aim > value:
        return value + _part(aim - value, rise)
    return value - _part(value - aim, fall)


def _part(way: int, share: int) -> int:
    """What a value takes of its way in a frame, rounded up: so it always arrives."""
    return way if share == 0 else (way * share + SHARE_ONE - 1) >> 16


def frame_share(time_constant_s: float) -> int:
    """How much of its way a value takes in a frame, in 1/65536, that has this time constant; 0: all
    of it."""
    if time_constant_s <= 0.0:
        return 0
    return max(1, round(SHARE_ONE * -expm1(-FRAME_MS / 1000.0 / time_constant_s))) & WORD_MAX


def quiet_reading(sensor: Sensor) -> int:
    """Below which reading a sensor is at 0."""
    return floor(SENSOR_ONE * sensor.quiet)


def reading_of(share: float) -> int:
    """What a converter reads of a share of the chip's supply."""
    return min(SENSOR_ONE - 1, round(SENSOR_ONE * share))


# -- in a rehearsal --------------------------------------------------------------------------------


def sensor_settings(show: Show, presses: Iterable[Press]) -> dict[str, list[tuple[int, int]]]:
    """By sensor, when it is put somewhere: frame, and what is read from then on.

    Before anybody puts it anywhere it reads 0 from the first frame on, as a virtual board does. A
    board measures whatever is at the pin, so a sensor is never without a value.
    """
    found = {one.name: [(0, 0)] for one in show.rig.sensors}
    for press in sorted(presses, key=lambda press: press.at_ms):
        if press.source in found and press.value is not None:
            at = max(0, ceil(press.at_ms / FRAME_MS))
            found[press.source].append((at, reading_of(press.value)))
    return found


def sensor_values(
    show: Show, board: str, presses: Iterable[Press]
) -> Mapping[str, Sequence[tuple[int, int | None]]]:
    """By sensor of a board, steps of its value: from which frame on, 0 to 1023 (None: none yet)."""
    settings = sensor_settings(show, tuple(presses))
    return {
        one.name: [(0, None), *_steps(one, settings[one.name])]
        for one in show.rig.sensors
        if one.board == board
    }


def _steps(sensor: Sensor, settings: Sequence[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    rise, fall = frame_share(sensor.rises_s), frame_share(sensor.falls_s)
    quiet = quiet_reading(sensor)
    remembered: int | None = None
    told: int | None = None
    for (frame, reading), (until, _) in pairwise([*settings, (inf, 0)]):
        at = int(frame)
        while at < until:
            before = remembered
            remembered = sensed(remembered, reading, quiet, rise, fall)
            if remembered >> SENSOR_BITS != told:
                told = remembered >> SENSOR_BITS
                yield at, told
            if remembered == before:
                break
            at += 1
