"""Turning one servo by keys, and marking where its part stands: rules without terminal or board.

A part on the bench is turned by somebody who looks at the part and not at the screen. So a step is
small and never grows; a step is only ever one key; ends hold until somebody says at that very end
that it may be passed, and hold again once the part has come back; keys that come in a heap (a
machine that was busy, something that lies on the keyboard) are one key; and if nobody presses
anything for a while the pulses end.

    jog = begin(servo, pulse_us, now_s)
    jog = act(jog, "up", now_s)      # whatever a key means
    jog = waited(jog, now_s)         # and at least ten times a second
    jog.pulse_us                     # what the servo gets; None: no pulses
    jog.points                       # for `seqlang.calibration.read_points`
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, floor
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

import numpy as np

from sim.rig.standstill import pulse_us as pulse_at
from sim.rulebook import PULSE_RANGE_US

if TYPE_CHECKING:
    from sim.model import CalibrationPoint, Servo

Action: TypeAlias = Literal["up", "down", "fine", "usual", "coarse", "pass", "limp", "hold", "back"]
"""`up`, `down`: a step. `fine`, `usual`, `coarse`: how long steps are. `pass`: the end that stopped
the last step may be passed. `limp`, `hold`: no pulses, pulses again. `back`: drop the last mark."""

STEPS_US: Final = {"fine": 1.0, "usual": 10.0, "coarse": 50.0}
IDLE_S: Final = 20.0
"""After so long without a key the pulses end: time enough to read a protractor (own choice)."""
SHORTEST_GAP_S: Final = 0.03
"""Steps that come closer are one step. Keyboards repeat a held key up to 30 times a second."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A pulse (us), and where the part stood with it, as somebody typed it, with its unit."""

    pulse_us: float
    place: str

    def __str__(self) -> str:
        return f"{self.pulse_us:g} us at {self.place}"


@dataclass(frozen=True, slots=True)
class Jog:
    """One servo under the hands of somebody.

    `ends_us`: for each direction (down, up) the pulses at which it stops, the nearest first: the
    end of travel, the end of the servo's `limits`. The last one is never passed.
    """

    ends_us: tuple[tuple[float, ...], tuple[float, ...]]
    held_us: float
    """The pulse that the servo gets unless it is limp."""
    key_s: float
    """When somebody last pressed a key."""
    is_limp: bool = False
    step: Literal["fine", "usual", "coarse"] = "usual"
    step_s: float | None = None
    """When the last step was asked for."""
    passed: tuple[int, int] = (0, 0)
    """How many ends may be passed downwards and upwards."""
    stopped: Literal[-1, 0, 1] = 0
    """The direction in which the last step came to an end that holds, else 0."""
    marks: tuple[Mark, ...] = ()

    @property
    def pulse_us(self) -> float | None:
        """What the servo gets; None: no pulses."""
        return None if self.is_limp else self.held_us

    @property
    def points(self) -> tuple[str, ...]:
        """The marks as calibration points, in ascending pulse."""
        return tuple(map(str, sorted(self.marks, key=lambda mark: mark.pulse_us)))

    @property
    def room_us(self) -> tuple[float, float]:
        """The shortest and the longest pulse that steps may reach now."""
        down, up = self.ends_us
        return down[self.passed[0]], up[self.passed[1]]


def begin(servo: Servo, pulse_us: float, now_s: float) -> Jog:
    """Start where the servo is: with the pulse that it gets now.

    A start beyond an end leaves that end passed, for a servo must not jump to it. Ends lie on half
    microseconds, as the board makes pulses, and not beyond what the text says.

    Raises ValueError for a pulse that no board makes.
    """
    least, most = PULSE_RANGE_US
    if not least <= pulse_us <= most:
        raise ValueError(f"boards make pulses of {least} us to {most} us, not {pulse_us:g} us")
    travel = sorted(float(pulse_at(servo, place)) for place in servo.travel_deg)
    low_limit, high_limit = ceil(2.0 * servo.pulse_range_us[0]) / 2.0, servo.pulse_range_us[1]
    high_limit = floor(2.0 * high_limit) / 2.0
    low = min(max(ceil(2.0 * travel[0]) / 2.0, low_limit), high_limit)
    high = max(min(floor(2.0 * travel[1]) / 2.0, high_limit), low_limit)
    down = tuple(sorted({low, low_limit, min(low_limit, pulse_us)}, reverse=True))
    up = tuple(sorted({high, high_limit, max(high_limit, pulse_us)}))
    passed = (sum(pulse_us < end for end in down), sum(pulse_us > end for end in up))
    return Jog((down, up), pulse_us, now_s, passed=passed)


def act(jog: Jog, action: Action, now_s: float) -> Jog:
    """What one key does. A key that comes after the idle time finds the servo limp."""
    jog = waited(jog, now_s)
    if action in ("up", "down"):
        return _stepped(jog, 1 if action == "up" else -1, now_s)
    jog = replace(jog, key_s=now_s)
    if action in ("fine", "usual", "coarse"):
        return replace(jog, step=action)
    if action == "pass":
        return _passing(jog)
    if action == "back":
        return replace(jog, marks=jog.marks[:-1])
    return replace(jog, is_limp=action == "limp", stopped=0)


def typing(jog: Jog, now_s: float) -> Jog:
    """A key that goes into a field: somebody is there. What has gone limp stays so."""
    return replace(waited(jog, now_s), key_s=now_s)


def slid(jog: Jog, pulse_us: float, now_s: float) -> Jog:
    """Somebody moves a slider to a pulse: ends that hold stop it, and a limp servo stays limp.

    A slider passes no end: that takes a key of its own.
    """
    jog = typing(jog, now_s)
    if jog.is_limp:
        return jog
    low, high = jog.room_us
    reached = min(max(round(2.0 * pulse_us) / 2.0, low), high)
    stopped: Literal[-1, 0, 1] = 1 if pulse_us > high else -1 if pulse_us < low else 0
    return _closed(replace(jog, held_us=reached, stopped=stopped))


def mark(jog: Jog, place: str, now_s: float) -> Jog:
    """The part stands at `place` (a number with its unit) with this pulse.

    A second mark at the same pulse takes the place of the first. A limp part may have sunk: it has
    no mark.
    """
    jog = typing(jog, now_s)
    if jog.is_limp:
        return jog
    others = tuple(one for one in jog.marks if one.pulse_us != jog.held_us)
    return replace(jog, marks=(*others, Mark(jog.held_us, place)))


def waited(jog: Jog, now_s: float) -> Jog:
    """What time alone does: after `IDLE_S` without a key the pulses end."""
    if now_s - jog.key_s < IDLE_S or jog.is_limp:
        return jog
    return replace(jog, is_limp=True, stopped=0)


def resumed(jog: Jog, pulse_us: float, now_s: float) -> Jog:
    """Pulses again, from where the servo is now: somebody else may have turned it, or a slow change
    of its pulse was cut short."""
    down, up = jog.ends_us
    down = (*down[:-1], min(down[-1], pulse_us))
    up = (*up[:-1], max(up[-1], pulse_us))
    passed = (sum(pulse_us < end for end in down), sum(pulse_us > end for end in up))
    return replace(
        jog,
        ends_us=(down, up),
        held_us=pulse_us,
        passed=passed,
        key_s=now_s,
        is_limp=False,
        stopped=0,
    )


def _stepped(jog: Jog, direction: Literal[-1, 1], now_s: float) -> Jog:
    in_a_heap = jog.step_s is not None and now_s - jog.step_s < SHORTEST_GAP_S
    jog = replace(jog, key_s=now_s, step_s=now_s)
    if jog.is_limp or in_a_heap:
        return jog
    low, high = jog.room_us
    wanted = jog.held_us + direction * STEPS_US[jog.step]
    reached = min(max(wanted, low), high)
    stopped: Literal[-1, 0, 1] = 0 if reached == wanted else direction
    return _closed(replace(jog, held_us=reached, stopped=stopped))


def _passing(jog: Jog) -> Jog:
    """Open the one end at which the last step stopped."""
    if jog.is_limp or jog.stopped == 0:
        return jog
    side = 0 if jog.stopped < 0 else 1
    opened = list(jog.passed)
    opened[side] = min(opened[side] + 1, len(jog.ends_us[side]) - 1)
    return replace(jog, passed=(opened[0], opened[1]), stopped=0)


def _closed(jog: Jog) -> Jog:
    """Ends that the part has come back to, or behind, hold again."""
    down, up = jog.ends_us
    beyond = (sum(jog.held_us < end for end in down), sum(jog.held_us > end for end in up))
    passed = (min(jog.passed[0], beyond[0]), min(jog.passed[1], beyond[1]))
    return replace(jog, passed=passed)


def is_far_off(servo: Servo, place: float) -> bool:
    """Whether a place (deg, mm, rpm) lies beyond the travel by more than the travel is long.

    A digit too many is noticed so, and a first guess of the points is not in the way.
    """
    low, high = servo.travel_deg
    return not low - (high - low) <= place <= high + (high - low)


def estimated_place(points: Sequence[CalibrationPoint], pulse_us: float) -> float:
    """Where the part should be (deg, mm, rpm) by the present points, for showing beside the pulse.

    Straight between two points, and on beyond the last ones.
    """
    rising = sorted(points, key=lambda point: point.pulse_us)
    pulses = np.array([point.pulse_us for point in rising])
    places = np.array([point.angle_deg for point in rising])
    if len(rising) == 1:
        return float(places[0])
    after = int(np.clip(np.searchsorted(pulses, pulse_us), 1, len(rising) - 1))
    share = (pulse_us - pulses[after - 1]) / (pulses[after] - pulses[after - 1])
    return float(places[after - 1] + share * (places[after] - places[after - 1]))
