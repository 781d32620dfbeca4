"""Servos and lamps that follow a source, as the records of a table state it (TABLE.md 10).

A follower goes over to its source from wherever its output is, keeps to the follow's limits, and
leaves its output as it is: at a position, with a speed.
"""

from __future__ import annotations

from firmware_gen.player.light import PlayedLight
from firmware_gen.player.servo import PlayedServo
from firmware_gen.table.records import FollowRecord
from sim.model import MINIMUM_JERK
from sim.rehearsal.tracking import (
    FollowSpan,
    gone_over,
    held_value,
    pace_limits,
    stepped,
    tracked,
)
from sim.rulebook import ANGLE_BITS, FASTEST_FOLLOWING, LEVEL_BITS, LEVEL_MAX, SHARE_ONE
from sim.score.fixed_laws import fixed_law, progress


class FollowingOutput:
    """What a servo and a lamp that follow have in common."""

    def __init__(self, record: FollowRecord, bits: int, rest: int, ends: tuple[int, int]) -> None:
        at_low, at_high = record.at_low << bits, record.at_high << bits
        self.source = record.source
        self._span = FollowSpan(record.low, record.high, at_low, at_high)
        self._mixed = record.mixed
        self._rest = rest << bits
        self._low, self._high = ends[0] << bits, ends[1] << bits
        self._held: int | None = None
        """The source's value without its tremble."""
        self._since: int | None = None
        """When it began to follow; None: it does not."""

    @property
    def follows(self) -> bool:
        return self._since is not None

    @property
    def has_source(self) -> bool:
        """Whether its source is live."""
        return self._held is not None

    def listen(self, value: int | None) -> None:
        """The source's value in a frame; None: it is not live."""
        self._held = None if value is None else held_value(value, self._held)

    def _wanted(self, own: int, time: int, glide: int) -> int:
        """Where it should be, if its own motion or fade has it at `own`."""
        assert self._held is not None
        assert self._since is not None
        wanted = self._span.wanted(self._held) + (own - self._rest if self._mixed else 0)
        elapsed = time - self._since
        share = progress(elapsed, glide) if elapsed < glide else SHARE_ONE
        over = fixed_law(MINIMUM_JERK).position(share)
        return gone_over(own, self._inside(wanted), over)

    def _inside(self, place: int) -> int:
        return min(max(place, self._low), self._high)


class FollowingServo(FollowingOutput):
    def __init__(self, record: FollowRecord, servo: PlayedServo) -> None:
        stated = servo.record
        super().__init__(record, ANGLE_BITS, stated.safe, stated.travel)
        self._servo = servo
        self._limits = pace_limits(
            *(record.speed, record.acceleration, stated.acceleration_limit),
            (self._low, self._high),
        )
        self._position = self._speed = 0
        self._next = (0, 0)

    def follow(self, time: int, glide: int) -> None:
        """Take the step that the frame before has worked out, or begin; and work out the next."""
        position, speed = self._servo.state(time)
        own = self._inside(position)
        if self._since is None:
            self._since = time
            self._position = own
            self._speed = min(max(speed, -FASTEST_FOLLOWING), FASTEST_FOLLOWING)
        else:
            self._position, self._speed = self._next
        wanted = self._wanted(own, time, glide)
        self._next = tracked(self._limits, self._position, self._speed, wanted)
        self._servo.tracked = self._position, self._speed

    def leave(self, time: int) -> None:
        """Brake, as a motion of the servo's own from a time on."""
        self._servo.halt(self._position, self._speed, time)
        self.forget()

    def forget(self) -> None:
        self._since = self._servo.tracked = None


class FollowingLamp(FollowingOutput):
    def __init__(self, record: FollowRecord, light: PlayedLight, safe: int) -> None:
        super().__init__(record, LEVEL_BITS, safe, (0, LEVEL_MAX))
        self._light = light
        self._most = record.speed
        self._level = self._next = 0

    def follow(self, time: int, glide: int) -> None:
        """Take the step that the frame before has worked out, or begin; and work out the next."""
        (own,) = self._light.levels(time)
        if self._since is None:
            self._since, self._level = time, own
        else:
            self._level = self._next
        self._next = stepped(self._level, self._wanted(own, time, glide), self._most)
        self._light.tracked = (self._level,)

    def leave(self, time: int) -> None:
        """Go to the next whole level, as a fade of the light's own."""
        self._light.halt((self._level,), time)
        self.forget()

    def forget(self) -> None:
        self._since = self._light.tracked = None
