"""What every cue of a show is made with, and what is known of a cue once it is made."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple, TypeAlias

from lark import Token

from seqlang.meaning.durations import Pacer
from seqlang.meaning.gesture import Gesture
from seqlang.meaning.pose import OutputKind, Pose
from seqlang.meaning.values import Reading
from seqlang.text.syntax import StatementText
from sim.model import InTurn

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from seqlang.meaning.scaling import Scalers

MOST_STEPS: Final = 20_000
"""Steps of one cue, those of the cues it plays included."""

MOST_STEPS_OF_SHOW: Final = 30_000
"""Steps of all cues of a show. No chip's memory holds a tenth of them; a check of so many takes
seconds."""

Loops: TypeAlias = "dict[tuple[int, ...], Mapping[str, tuple[float, ...]]]"


class Made(NamedTuple):
    """A cue's steps, and what a cue that plays it must know."""

    body: InTurn
    duration_ms: int
    ends: Mapping[str, tuple[float, ...]]
    """Servos it moves, each with the angles it may end at."""
    steps: int
    depth: int
    is_timed: bool
    """How long it takes is known: no button holds it, and it has an end."""


class Tally:
    """The steps of a show so far."""

    def __init__(self) -> None:
        self.steps = 0
        self.is_full = False
        """More were asked for than a show may have; the finding is noted."""


class Stage(NamedTuple):
    """What every cue of a show is made with."""

    reading: Reading
    outputs: Mapping[str, tuple[OutputKind, Token]]
    poses: Mapping[str, Pose]
    pacer: Pacer
    rest: Mapping[str, Sequence[float]]
    """Angles at which the show can leave each servo."""
    cues: Mapping[str, Token]
    played: Mapping[str, Made]
    """Cues made so far."""
    cut: frozenset[int]
    """`play` statements that would never end, by `id`."""
    loops: Loops
    """Where each repeat leaves the parts, by the `id` of its block, behind those of the plays that
    led there."""
    tally: Tally
    gestures: Mapping[str, Gesture]
    bodies: dict[tuple[object, ...], tuple[StatementText, ...]]
    """What gestures do with some outputs, by the gesture and them."""
    sources: Scalers
    """What cues can be scaled by."""
    delays: Mapping[str, int]
    """How long after it is on what a switch drives starts, in ms, by output."""
