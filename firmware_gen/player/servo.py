"""One servo of a board in integers: TABLE.md, section 3.2."""

from __future__ import annotations

from firmware_gen.player.pulses import PulseLine
from firmware_gen.table.records import ServoRecord
from sim.rehearsal.fixed_motion import FixedMotion, halt_motion, servo_limits, start_motion
from sim.rulebook import ANGLE_BITS
from sim.score.fixed_laws import FixedLaw


class PlayedServo:
    """A servo as it stands or moves."""

    def __init__(self, record: ServoRecord) -> None:
        self.record = record
        self._limits = servo_limits(record.speed_limit, record.acceleration_limit, record.travel)
        self._line = PulseLine(record)
        self.stand()

    def stand(self) -> None:
        """Be at rest at the safe angle."""
        self._rest = self.record.safe << ANGLE_BITS
        self.motion: FixedMotion | None = None
        self._ticks = self._line.ticks(self._rest)
        self.tracked: tuple[int, int] | None = None
        """Where it follows a source to, and how fast, whatever its own motion does."""

    def move(self, target: int, nominal: int, law: FixedLaw, time: int) -> None:
        """Start a move at a time; target in 0.01 deg."""
        p, v = self.state(time)
        self.motion = start_motion(self._limits, p, v, time, target << ANGLE_BITS, nominal, law)

    def halt(self, position: int, speed: int, time: int) -> None:
        """Brake from a position and a speed, and stay where that ends."""
        self.motion = halt_motion(self._limits, position, speed, time)

    def state(self, time: int) -> tuple[int, int]:
        """Position and speed of its own motion."""
        motion = self.motion
        return (self._rest, 0) if motion is None else motion.state(time)

    def seen(self, time: int) -> tuple[int, int]:
        """Position and speed of what it does; where it follows a source, in the last frame."""
        return self.tracked or self.state(time)

    def settle(self, time: int) -> None:
        """A motion that has ended is at rest from now on."""
        if self.motion and self.motion.end <= time:
            self._rest, self.motion = self.motion.target, None
            self._ticks = self._line.ticks(self._rest)

    def ticks(self, time: int) -> int:
        """The pulse at a time, after `settle`."""
        if self.tracked is not None:
            return self._line.ticks(self.tracked[0])
        return self._line.ticks(self.motion.position(time)) if self.motion else self._ticks
