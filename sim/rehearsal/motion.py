"""One motion of a servo in ideal arithmetic: where the part is, and how it starts the next move.

Angles are real numbers and shapes come from the laws' closed forms. Which brake, overlap and
stretch a move gets is the rule of takeover (`sim.rehearsal.takeover`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from sim.model import MINIMUM_JERK, Law
from sim.rehearsal.takeover import POSITIONS_PER_DEG, REAL, ServoLimits, Takeover, take_over
from sim.rulebook import CLOCK_PER_MS
from sim.score.law_numbers import law_numbers
from sim.score.laws import shape


class Limits(NamedTuple):
    """What a table states of a servo's motion."""

    speed_deg_s: int
    acceleration_deg_s2: int
    travel_deg: tuple[float, float]

    @property
    def in_positions(self) -> ServoLimits:
        low, high = self.travel_deg
        travel = low * POSITIONS_PER_DEG, high * POSITIONS_PER_DEG
        return ServoLimits(self.speed_deg_s, self.acceleration_deg_s2, *travel)


class State(NamedTuple):
    """Angle in degrees and speed in deg/ms at an instant."""

    angle_deg: float
    speed_deg_ms: float


@dataclass(frozen=True, slots=True)
class MotionPiece:
    """A move as it is carried out: valid from `start_ms` until the next piece starts.

    The part swells to its target by `way_deg`, which begins at `begin_ms` and lasts `duration_ms`;
    at the same time `residual_deg`, where the brake of what went before would have ended, dies
    away over `brake_ms` from `start_ms`. `asked_ms` is the duration the score asked for; a motion
    that had to brake or to keep a limit ends later than `start_ms + asked_ms`.
    """

    start_ms: float
    target_deg: float
    way_deg: float = 0.0
    begin_ms: float = 0.0
    duration_ms: float = 0.0
    law: Law = MINIMUM_JERK
    residual_deg: float = 0.0
    brake_ms: float = 0.0
    end_ms: float = 0.0
    asked_ms: float = 0.0
    cue: str | None = None

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


def resting(start_ms: float, angle_deg: float) -> MotionPiece:
    """A part that stands still from `start_ms` on."""
    return MotionPiece(start_ms, angle_deg, begin_ms=start_ms, end_ms=start_ms)


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


def state(piece: MotionPiece, time_ms: float) -> State:
    """Where a motion is at a time; before its start, where it starts."""
    since, run = max(0.0, time_ms - piece.start_ms), piece.takeover
    if since >= run.end:
        return State(piece.target_deg, 0.0)
    to_go, speed, _ = kinematics(run, piece.law, since)
    return State(piece.target_deg - float(to_go), float(speed))


def begin(
    at: State, start: int, target_deg: float, asked: int, law: Law, limits: Limits, cue: str | None
) -> MotionPiece:
    """Start a move. `start` and `asked` are in units of the player's clock."""
    run = take_over(
        at.angle_deg * POSITIONS_PER_DEG,
        at.speed_deg_ms * POSITIONS_PER_DEG,
        target_deg * POSITIONS_PER_DEG,
        asked,
        law_numbers(law),
        limits.in_positions,
        REAL,
    )
    residual_deg = run.residual / POSITIONS_PER_DEG
    return MotionPiece(
        start_ms=start / CLOCK_PER_MS,
        target_deg=target_deg,
        way_deg=target_deg - (at.angle_deg + residual_deg),
        begin_ms=(start + run.wait) / CLOCK_PER_MS,
        duration_ms=run.duration / CLOCK_PER_MS,
        law=law,
        residual_deg=residual_deg,
        brake_ms=run.brake / CLOCK_PER_MS,
        end_ms=(start + run.end) / CLOCK_PER_MS,
        asked_ms=asked / CLOCK_PER_MS,
        cue=cue,
    )
