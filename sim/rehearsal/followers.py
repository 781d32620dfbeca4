"""Servos and lamps that follow a source in a rehearsal: TABLE.md, section 10.

Places and speeds are worked out frame by frame in the board's integers (`sim.rehearsal.tracking`),
as long as anything of them changes. A `FollowedSpan` is what comes of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import floor, inf
from typing import Final, NamedTuple

import numpy as np

from sim.arrays import Array, Flags
from sim.model import MINIMUM_JERK, Follow, Servo
from sim.rehearsal.fixed_motion import angle_steps
from sim.rehearsal.takeover import POSITIONS_PER_DEG
from sim.rehearsal.tracking import (
    FollowSpan,
    gone_over,
    held_value,
    pace_limits,
    stepped,
    tracked,
)
from sim.rulebook import (
    ANGLE_BITS,
    CLOCK_PER_MS,
    FASTEST_FOLLOWING,
    FRAME_MS,
    LEVEL_BITS,
    LEVEL_MAX,
    LEVEL_STEPS_PER_PCT,
    SHARE_ONE,
)
from sim.score.fixed_laws import fixed_law, progress
from sim.score.planned_moves import follow_limits
from sim.score.scaling import value_numbers

LEVEL_ONE: Final = 1 << LEVEL_BITS
"""A half percent of L*, as boards count levels on their way."""


class FollowNumbers(NamedTuple):
    """A follow as a table holds it: from the value `low` of its source to `high` (ticks, or 1/1024)
    from `at_low` to `at_high` (0.01 deg, or half percents), at `speed` and `acceleration` at most
    (deg/s and deg/s2; of a lamp: steps of `LEVEL_ONE` in a frame, and 0)."""

    low: int
    high: int
    at_low: int
    at_high: int
    speed: int
    acceleration: int


def numbers_of_servo(follow: Follow, sensed: bool, limits: tuple[int, int]) -> FollowNumbers:
    """`sensed`: its source is a sensor. `limits`: the servo's own."""
    at_low, at_high = (angle_steps(end) for end in (follow.target_from, follow.target_to))
    speed, acceleration = follow_limits(follow, limits)
    values = value_numbers((follow.source_from, follow.source_to), sensed)
    return FollowNumbers(*values, at_low, at_high, speed, acceleration)


def numbers_of_lamp(follow: Follow, sensed: bool) -> FollowNumbers:
    ends = (round(LEVEL_STEPS_PER_PCT * end) for end in (follow.target_from, follow.target_to))
    at_low, at_high = ends
    frames = follow.way_ms / FRAME_MS
    most = max(1, floor(abs(at_high - at_low) * LEVEL_ONE / frames))
    values = value_numbers((follow.source_from, follow.source_to), sensed)
    return FollowNumbers(*values, at_low, at_high, most, 0)


@dataclass
class FollowedSpan:
    """An output that follows from `times_ms[0]` on, until `end_ms`.

    At each of `times_ms` its place (deg, or half percents of L*) and speed (deg/s; of a lamp 0).
    Between two of them a part's speed changes evenly.
    """

    times_ms: list[float] = field(default_factory=list)
    place: list[float] = field(default_factory=list)
    speed: list[float] = field(default_factory=list)
    end_ms: float = inf

    def add(self, time_ms: float, place: float, speed: float) -> None:
        self.times_ms.append(time_ms)
        self.place.append(place)
        self.speed.append(speed)

    def motion(self, times_ms: Array) -> tuple[Array, Array, Array]:
        """Angle, speed and acceleration (deg, s) at times within the span."""
        at, place, speed = (np.array(row) for row in (self.times_ms, self.place, self.speed))
        n = np.maximum(np.searchsorted(at, times_ms, side="right") - 1, 0)
        after = np.minimum(n + 1, at.size - 1)
        lasts = np.where(after > n, at[after] - at[n], 1.0) / 1000.0
        since = np.where(after > n, times_ms - at[n], 0.0) / 1000.0
        gain = (speed[after] - speed[n]) / lasts
        angle = place[n] + speed[n] * since + gain * since**2 / 2.0
        return angle, speed[n] + gain * since, gain

    def changes(self, times_ms: Array) -> Flags:
        """Whether the part moves, or its speed changes, at times within the span."""
        _, speed, gain = self.motion(times_ms)
        return np.asarray((speed != 0.0) | (gain != 0.0))

    def level(self, times_ms: Array) -> Array:
        """Half percents of L* at times within the span."""
        return np.interp(times_ms, self.times_ms, self.place)


class _FollowingServoOrLamp:
    """What a servo and a lamp that follow have in common."""

    def __init__(
        self,
        numbers: FollowNumbers,
        bits: int,
        mixed: bool,
        rest: int,
        ends: tuple[int, int],
        glide: int,
    ) -> None:
        """Places as positions or levels, with so many bits behind the point; `glide` in units of
        the player's clock."""
        at_low, at_high = numbers.at_low << bits, numbers.at_high << bits
        self._span = FollowSpan(numbers.low, numbers.high, at_low, at_high)
        self._mixed, self._rest, self._ends, self._glide = mixed, rest, ends, glide
        self._held: int | None = None
        self._since: int | None = None
        self.position = self.speed = 0
        self.settled = True
        """Nothing of it changes before something happens."""
        self.spans: list[FollowedSpan] = []

    @property
    def follows(self) -> bool:
        return self._since is not None

    @property
    def has_source(self) -> bool:
        return self._held is not None

    def listen(self, value: int | None) -> None:
        before = self._held
        self._held = None if value is None else held_value(value, before)
        if self._held != before:
            self.settled = False

    def inside(self, place: int) -> int:
        return min(max(place, self._ends[0]), self._ends[1])

    def begins(self, time: int) -> bool:
        """Whether it begins to follow in this frame."""
        if self._since is not None:
            return False
        self._since = time
        self.spans.append(FollowedSpan())
        return True

    def wanted(self, own: int, time: int) -> int:
        """Where it should be, if its own motion or fade has it at `own`."""
        assert self._held is not None
        assert self._since is not None
        wanted = self._span.wanted(self._held) + (own - self._rest if self._mixed else 0)
        elapsed = time - self._since
        share = progress(elapsed, self._glide) if elapsed < self._glide else SHARE_ONE
        return gone_over(own, self.inside(wanted), fixed_law(MINIMUM_JERK).position(share))

    def is_over(self, time: int) -> bool:
        """Whether it has gone over to its source."""
        return self._since is not None and time - self._since >= self._glide

    def _record(self, time: int, place: float, speed: float) -> None:
        span, now_ms = self.spans[-1], time / CLOCK_PER_MS
        if span.times_ms and span.times_ms[-1] < now_ms - FRAME_MS:
            span.add(now_ms - FRAME_MS, span.place[-1], 0.0)  # so long it stood still
        span.add(now_ms, place, speed)

    def forget(self, time: int) -> None:
        """It follows no longer; what it did is seen until `time`."""
        if self._since is not None:
            self.spans[-1].end_ms = time / CLOCK_PER_MS
        self._since = None
        self.settled = True


class ServoFollower(_FollowingServoOrLamp):
    def __init__(
        self, follow: Follow, one: Servo, sensed: bool, limits: tuple[int, int], glide: int
    ) -> None:
        numbers = numbers_of_servo(follow, sensed, limits)
        low, high = (angle_steps(end) << ANGLE_BITS for end in one.travel_deg)
        rest = angle_steps(one.safe_deg) << ANGLE_BITS
        super().__init__(numbers, ANGLE_BITS, follow.mixed, rest, (low, high), glide)
        self.follow, self._is_mixed = follow, follow.mixed
        pace = numbers.speed, numbers.acceleration, limits[1]
        self._limits = pace_limits(*pace, (low, high))
        self._next = (0, 0)

    def step(self, time: int, position: int, speed: int, at_rest: bool) -> None:
        """Take the step that the frame before has worked out, or begin; and work out the next.

        `position` and `speed` are those of its own motion.
        """
        own, before = self.inside(position), (self.position, self.speed)
        if self.begins(time):
            self.position, self.speed = own, min(max(speed, -FASTEST_FOLLOWING), FASTEST_FOLLOWING)
            before = self.position + 1, 0
        else:
            self.position, self.speed = self._next
        now = self.position, self.speed
        self._next = tracked(self._limits, *now, self.wanted(own, time))
        still = before == now == self._next and self.speed == 0
        self.settled = still and self.is_over(time) and (at_rest or not self._is_mixed)
        turned = self.speed * 1000.0 / POSITIONS_PER_DEG
        self._record(time, self.position / POSITIONS_PER_DEG, turned)


class LampFollower(_FollowingServoOrLamp):
    def __init__(self, follow: Follow, safe_pct: float, sensed: bool, glide: int) -> None:
        numbers = numbers_of_lamp(follow, sensed)
        rest = round(LEVEL_STEPS_PER_PCT * safe_pct) << LEVEL_BITS
        ends = 0, LEVEL_MAX << LEVEL_BITS
        super().__init__(numbers, LEVEL_BITS, follow.mixed, rest, ends, glide)
        self.follow = follow
        self._most = numbers.speed
        self._next = 0

    def step(self, time: int, own: int, at_rest: bool) -> None:
        """Take the step that the frame before has worked out, or begin; and work out the next.

        `own` is the level of its own fade, Q8.
        """
        before: int | None = self.position
        if self.begins(time):
            self.position, before = own, None
        else:
            self.position = self._next
        self._next = stepped(self.position, self.wanted(own, time), self._most)
        still = before == self.position == self._next
        self.settled = still and at_rest and self.is_over(time)
        self._record(time, self.position / LEVEL_ONE, 0.0)


def value_at(steps: Sequence[tuple[int, int | None]], frame: int) -> int | None:
    """The value of a source in a frame, by the steps of it."""
    value: int | None = None
    for since, one in steps:
        if since > frame:
            break
        value = one
    return value


def next_change(sources: Iterable[Sequence[tuple[int, int | None]]], frame: int) -> float:
    """The next frame in which the value of some source changes."""
    return min((at for steps in sources for at, _ in steps if at > frame), default=inf)
