"""What a board is to play, as its scheduler reads it: cues, and threads of ops.

The form knows neither text nor bytes. A score's cues are unrolled into it (`sim.score.threads`), a
decoded table is presented as it (`firmware_gen.player.program`); `sim.rehearsal.scheduler` executes
it. What a statement does to its output, and by what name or number outputs go, is a matter between
the program and the outputs that it drives.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Generic, Protocol, TypeAlias, TypeVar

from sim.model import NO_MARK, Conflict, Manner, PressKind


class Statement(Protocol):
    """Something that is done to one output."""

    @property
    def output(self) -> Hashable: ...


Act = TypeVar("Act", bound=Statement, covariant=True)
"""The statements of a program: those of a score or those of a table."""


@dataclass(frozen=True, slots=True)
class Do(Generic[Act]):
    """Carry out a statement; the thread then waits `wait_ms`, however long the statement takes.

    With a key, the wait is drawn: between that and `most_ms`.
    """

    act: Act
    wait_ms: int = 0
    most_ms: int = 0
    key: int = 0


@dataclass(frozen=True, slots=True)
class Wait:
    """With a key, the time is drawn: between `duration_ms` and `most_ms`."""

    duration_ms: int
    most_ms: int = 0
    key: int = 0


@dataclass(frozen=True, slots=True)
class LoopStart:
    """`times` passes from here to the matching end; None: for ever, unless `while_held`."""

    times: int | None
    while_held: bool = False
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class LoopEnd:
    pass


@dataclass(frozen=True, slots=True)
class Fork:
    """Start another thread of the same run, by its index; always one with a higher index."""

    thread: int


@dataclass(frozen=True, slots=True)
class GoOn:
    """Last op of a thread: it goes on as another one, by its index; always a higher one."""

    thread: int


@dataclass(frozen=True, slots=True)
class Call:
    """Carry out a thread, by its index, always a higher one; then go on behind this op."""

    thread: int


@dataclass(frozen=True, slots=True)
class Choose:
    """Carry out one of these threads, drawn by the key; then go on behind this op."""

    key: int
    threads: tuple[int, ...]


Op: TypeAlias = Do[Act] | Wait | LoopStart | LoopEnd | Fork | GoOn | Call | Choose
Thread: TypeAlias = tuple[Op[Act], ...]


@dataclass(frozen=True, slots=True)
class PlayedScale:
    """How far a cue goes, by where a source stands when it starts.

    At the source's value `low` its servos go `at_low` of their way from the safe angle, at `high`
    `at_high`, `otherwise` while the source is not live; all in half percents.
    """

    source: Hashable
    low: int
    high: int
    at_low: int
    at_high: int
    otherwise: int


@dataclass(frozen=True, slots=True)
class PlayedCue(Generic[Act]):
    """A cue as a board plays it.

    `name` is what a trigger calls it. `threads` is what its forks point into, `first` the one that
    it starts with. `reserved`: how many of them live at once at most.
    """

    name: Hashable
    outputs: frozenset[Hashable]
    threads: tuple[Thread[Act], ...]
    reserved: int
    conflict: Conflict = "take"
    first: int = 0
    let_go: int | None = None
    """Its part for letting go, by its index: no cue that needs more threads."""
    strand: bool = False
    """Of idle: it goes on from ready on, on every output that no other cue holds."""
    scale: PlayedScale | None = None
    """None: it goes as far as it says."""


@dataclass(frozen=True, slots=True)
class PlayedBinding:
    """A button starts a cue (by its index), `again` and again while it is held.

    `ends`: a cue that is let go by the next press ends then, as it has no other end.
    """

    button: int
    cue: int
    again: bool = False
    kind: PressKind = "down"
    manner: Manner = "start"
    ends: bool = False


@dataclass(frozen=True, slots=True)
class Patience:
    """What a button's press is waited for before it is decided: whether it becomes a long one,
    after so many frames (0: never); whether a second one follows."""

    long_frames: int
    twice: bool


@dataclass(frozen=True)
class BoardProgram(Generic[Act]):
    """Everything that one board plays. Cues go by their index."""

    cues: tuple[PlayedCue[Act], ...]
    bindings: tuple[PlayedBinding, ...] = ()
    glide_ms: int = 0
    """How long an output takes back to its strand."""
    lost: int | None = None
    lost_frames: int = 0
    """Frames of silence after which the lost cue starts; 0: never."""
    stop_button: int | None = None
    enable_interval: int = 0
    """Frames between the first pulses of one servo and of the next."""
    strands_in_step: bool = False
    """Other boards play the same strands: no move that takes longer delays one (TABLE.md 7)."""
    rests: Mapping[Any, Act] = field(default_factory=dict)
    """By output that follows a source, the statement that brings it to rest: where it goes after a
    cue, or when its source is lost, if no strand wants anything of it."""
    patience: Mapping[int, Patience] = field(default_factory=dict)
    """By button, where a press is not decided at once."""

    @cached_property
    def numbers(self) -> dict[Hashable, int]:
        """Each cue's index, by its name."""
        return {cue.name: number for number, cue in enumerate(self.cues)}
