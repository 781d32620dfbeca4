"""One motion of a servo in a rehearsal: planned in the board's integers, seen in closed forms.

Start, way, duration, brake and end of a piece are those of the board to the bit
(`sim.rehearsal.fixed_motion`), and the next move starts from where the board has the part. In
between plots and checks evaluate the law's closed form, which lies within a few 1/65536 of the way
of the board's; by so much a row of pieces may step where one takes over.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from sim.model import MINIMUM_JERK, Law
from sim.rehearsal.fixed_motion import (
    FixedMotion,
    angle_steps,
    at_rest,
    halt_motion,
    start_motion,
)
from sim.rehearsal.takeover import POSITIONS_PER_DEG, ServoLimits, Takeover
from sim.rulebook import ANGLE_BITS, CLOCK_PER_MS
from sim.score.fixed_laws import fixed_law
from sim.score.laws import shape


@dataclass(frozen=True, slots=True)
class MotionPiece:
    """A move as it is carried out: valid from `start_ms` until the next piece starts.

    The part swells to its target by `way_deg`, which begins at `begin_ms` and lasts `duration_ms`;
    at the same time `residual_deg`, where the brake of what went before would have ended, dies
    away over `brake_ms` from `start_ms`. `asked_ms` is the duration the score asked for; a motion
    that had to brake or to keep a limit ends later than `start_ms + asked_ms`. `planned` is the
    same motion in the board's integers.
    """

    planned: FixedMotion
    start_ms: float
    target_deg: float
    way_deg: float
    begin_ms: float
    duration_ms: float
    law: Law
    residual_deg: float
    brake_ms: float
    end_ms: float
    asked_ms: float
    cue: str | None

    @property
    def stretched_ms(self) -> float:
        """How much later than asked the motion ends."""
        return max(0.0, self.end_ms - self.start_ms - self.asked_ms)

    @property
    def takeover(self) -> Takeover:
        """The same in degrees and milliseconds from its start on."""
        wait, end = self.begin_ms - self.start_ms, self.end_ms - self.start_ms
        return Takeover(self.way_deg, self.residual_deg, self.brake_ms, wait, self.duration_ms, end)


class Kinematics(NamedTuple):
    """Way still to go, speed and acceleration, in the units of a takeover; arrays of one shape."""

    to_go: Any
    speed: Any
    acceleration: Any


def resting(time: int, angle_deg: float) -> MotionPiece:
    """A part that stands still from `time` on, in units of the player's clock."""
    there = at_rest(angle_steps(angle_deg) << ANGLE_BITS, time)
    return _piece(there, 0, MINIMUM_JERK, None)


def halting(time: int, position: int, speed: int, limits: ServoLimits) -> MotionPiece:
    """A part that brakes from a position and a speed of the board's, and stays there."""
    return _piece(halt_motion(limits, position, speed, time), 0, MINIMUM_JERK, None)


def begin(
    last: MotionPiece,
    time: int,
    target_deg: float,
    asked: int,
    law: Law,
    limits: ServoLimits,
    cue: str | None,
) -> MotionPiece:
    """Start a move from wherever `last` is; `time` and `asked` in units of the player's clock."""
    position, speed = last.planned.state(time)
    target = angle_steps(target_deg) << ANGLE_BITS
    planned = start_motion(limits, position, speed, time, target, asked, fixed_law(law))
    return _piece(planned, asked, law, cue)


def _piece(planned: FixedMotion, asked: int, law: Law, cue: str | None) -> MotionPiece:
    return MotionPiece(
        planned,
        start_ms=planned.brake_start / CLOCK_PER_MS,
        target_deg=planned.target / POSITIONS_PER_DEG,
        way_deg=planned.way / POSITIONS_PER_DEG,
        begin_ms=planned.start / CLOCK_PER_MS,
        duration_ms=planned.duration / CLOCK_PER_MS,
        law=law,
        residual_deg=planned.residual / POSITIONS_PER_DEG,
        brake_ms=planned.brake / CLOCK_PER_MS,
        end_ms=planned.end / CLOCK_PER_MS,
        asked_ms=asked / CLOCK_PER_MS,
        cue=cue,
    )


def kinematics(run: Takeover, law: Law, since: Any) -> Kinematics:
    """A motion at times since its takeover, all in the units of `run`; arrays broadcast."""
    shaped = shape(law, (since - run.wait) / run.duration)
    braking = since < run.brake
    brake = np.where(run.brake > 0.0, run.brake, 1.0)
    left = np.where(braking, 1.0 - since / brake, 0.0)
    rate = 2.0 * run.residual / brake
    return Kinematics(
        run.way * (1.0 - shaped.s) + run.residual * left**2,
        run.way * shaped.v / run.duration + rate * left,
        run.way * shaped.a / run.duration**2 - np.where(braking, rate / brake, 0.0),
    )
