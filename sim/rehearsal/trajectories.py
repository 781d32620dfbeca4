"""What a rehearsal comes to: closed-form pieces per output, and what ran when.

Each output has a row of pieces; a piece holds until the next one takes over. A motion takes over
where it starts. Other pieces may be shown later than they start: a cue begins one frame back, when
that frame's light is out already. `takes_over` has the times to go by.

Times are milliseconds from the rehearsal's start; they may lie between whole milliseconds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from sim.model import UNIFORM, Effect, Law, Press, Show
from sim.rehearsal.followers import FollowedSpan
from sim.rehearsal.motion import MotionPiece
from sim.rehearsal.scheduler import Mode
from sim.rulebook import EFFECT_STEPS, SCALE_FULL
from sim.score.scaling import named_at

Levels: TypeAlias = tuple[float, ...]
"""A light before its effect, in half percents of L* (0 to 200): one number for a lamp, red, green
and blue for a strip."""


@dataclass(frozen=True, slots=True)
class Fading:
    """A light on its way between two levels, by `law` over `duration_ms`, then at rest."""

    start_ms: float
    shown_ms: float
    origin: Levels
    target: Levels
    duration_ms: float = 0.0
    law: Law = UNIFORM
    cue: str | None = None

    @property
    def end_ms(self) -> float:
        return self.start_ms + self.duration_ms


@dataclass(frozen=True, slots=True)
class Modulation:
    """An effect laid over a light, which counts its time from `start_ms` on; None: steady.

    In the frame of `shown_ms` it has `weight` of `EFFECT_STEPS` parts of its depth, and in each
    frame after that `step` more, until it is all there or gone.
    """

    start_ms: float
    shown_ms: float
    effect: Effect | None
    cue: str | None = None
    weight: int = EFFECT_STEPS
    step: int = 1


@dataclass(frozen=True, slots=True)
class Throwing:
    """A switch put on or off."""

    start_ms: float
    shown_ms: float
    on: bool
    cue: str | None = None


Piece: TypeAlias = MotionPiece | Fading | Modulation | Throwing


def takes_over(row: Sequence[Piece]) -> NDArray[np.float64]:
    """When each piece of a row takes over, in ms, ascending."""
    starts = (piece.start_ms if isinstance(piece, MotionPiece) else piece.shown_ms for piece in row)
    return np.maximum.accumulate(np.fromiter(starts, np.float64, len(row)))


@dataclass(frozen=True, slots=True)
class TimeSpan:
    """From `start_ms` to `end_ms`."""

    start_ms: float
    end_ms: float


@dataclass(frozen=True, slots=True)
class CueRun:
    """One run of a cue on one board; `end_ms` is where it ended, was taken over, or was cut.

    `scale` is how far it goes, of SCALE_FULL.
    """

    cue: str
    board: str
    start_ms: float
    end_ms: float
    scale: int = SCALE_FULL

    @property
    def words(self) -> str:
        """The cue, and how far it goes if that is not all the way."""
        return self.cue if self.scale == SCALE_FULL else named_at(self.cue, self.scale)


@dataclass(frozen=True, slots=True)
class ModeSpan:
    """A board's mode over a span of time."""

    board: str
    mode: Mode
    start_ms: float
    end_ms: float


@dataclass(frozen=True, slots=True)
class Refusal:
    """A request that a board did not carry out."""

    board: str
    at_ms: float
    cue: str


@dataclass(frozen=True)
class Trajectories:
    """A rehearsed show. Rows are keyed by output name and start at 0 ms.

    `powered` holds the spans in which a servo gets pulses; outside them it is limp and its motion
    says only where it is told to be when pulses return.
    """

    show: Show
    length_ms: int
    motions: dict[str, tuple[MotionPiece, ...]]
    powered: dict[str, tuple[TimeSpan, ...]]
    lights: dict[str, tuple[Fading, ...]]
    effects: dict[str, tuple[Modulation, ...]]
    switches: dict[str, tuple[Throwing, ...]]
    runs: tuple[CueRun, ...]
    modes: tuple[ModeSpan, ...]
    refusals: tuple[Refusal, ...] = ()
    presses: tuple[Press, ...] = ()
    shining: Mapping[str, tuple[TimeSpan, ...]] = field(default_factory=dict)
    """When each lamp shines with its move, by the lamp's name."""
    followed: Mapping[str, tuple[FollowedSpan, ...]] = field(default_factory=dict)
    """By output, when it follows a source, and where it is then: that hides its own row."""
