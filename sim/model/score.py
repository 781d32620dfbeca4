"""What a show does: statements, cues, bindings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from sim.model.laws import MINIMUM_JERK, UNIFORM, Law
from sim.model.mark import NO_MARK
from sim.model.outputs import StripLight


@dataclass(frozen=True, slots=True)
class Drawn:
    """What a statement draws anew at each pass: a time, a target, or both.

    Each from what stands in the statement up to `most_ms`, or up to `most` (the part's angle, or a
    lamp's L* percent). Key 0: it is not drawn. Draws with the same key are the same.
    """

    time_key: int = 0
    most_ms: int = 0
    target_key: int = 0
    most: float = 0.0


@dataclass(frozen=True, slots=True)
class Move:
    """Bring a servo's part to an angle from wherever it is."""

    output: str
    angle_deg: float
    duration_ms: int
    law: Law = MINIMUM_JERK
    mark: int = NO_MARK
    drawn: Drawn | None = None


@dataclass(frozen=True, slots=True)
class Fade:
    """Bring a lamp (`light`: L* percent) or a strip (`light`: StripLight) to a light."""

    output: str
    light: float | StripLight
    duration_ms: int
    law: Law = UNIFORM
    mark: int = NO_MARK
    drawn: Drawn | None = None


@dataclass(frozen=True, slots=True)
class Throw:
    """Turn a switch on or off; takes no time."""

    output: str
    on: bool
    mark: int = NO_MARK


EffectName: TypeAlias = Literal["steady", "breathe", "ember", "sparkle", "run"]


@dataclass(frozen=True, slots=True)
class Effect:
    """Lay a modulation over a lamp's or strip's light; `steady` takes it off. Takes no time.

    `period_ms` is the effect's beat, `depth_pct` how far down from the light it goes,
    `seed` picks one of 256 exactly repeating patterns, `width` is pixels (`run`) or pixels
    lit in a hundred (`sparkle`).
    """

    output: str
    name: EffectName
    period_ms: int = 1000
    depth_pct: float = 100.0
    seed: int = 0
    width: int = 1
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Hold:
    duration_ms: int
    mark: int = NO_MARK
    drawn: Drawn | None = None


@dataclass(frozen=True, slots=True)
class InTurn:
    children: tuple[Step, ...]
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Together:
    """Children side by side; child i starts `i * interval_ms` in (0 for `together`)."""

    children: tuple[Step, ...]
    interval_ms: int = 0
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Repeat:
    """`times` runs of the body; None: for ever.

    `while_held`: at least once, then as long as the button is held.
    """

    body: Step
    times: int | None
    while_held: bool = False
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class OneOf:
    """One of the children, drawn anew at each pass; draws with the same `key` are the same."""

    children: tuple[Step, ...]
    key: int = 0
    mark: int = NO_MARK


Step: TypeAlias = Move | Fade | Throw | Effect | Hold | InTurn | Together | Repeat | OneOf


@dataclass(frozen=True, slots=True)
class Scaling:
    """A cue goes only as far as a channel or a sensor says when it starts.

    At the value `source_from` (a channel's pulse in us, a sensor's share), the smaller one, each of
    its servos goes `from_pct` of the way from its safe angle to where the cue says, at `source_to`
    `to_pct`; between them in proportion. `else_pct`: while the source is not live.
    """

    source: str
    source_from: float
    source_to: float
    from_pct: float
    to_pct: float
    else_pct: float
    mark: int = NO_MARK

    @property
    def between_pct(self) -> tuple[float, float]:
        """The least and the greatest of all shares."""
        every = self.from_pct, self.to_pct, self.else_pct
        return min(every), max(every)


Conflict: TypeAlias = Literal["take", "wait", "refuse"]


@dataclass(frozen=True, slots=True)
class Cue:
    name: str
    title: str
    body: Step
    conflict: Conflict = "take"
    """What the cue does when another runs on an output it uses."""
    mark: int = NO_MARK
    let_go: str | None = None
    """Its part for letting go: the cue right behind it in the score, which goes on in its place
    when the button that holds it is released; see `part_name`."""
    seed: int | None = None
    """Which numbers its draws give; None: those that its name gives."""
    scaling: Scaling | None = None
    """Of a part for letting go: that of its cue."""


def part_name(cue: str) -> str:
    """What the part for letting go of a cue is called: no name of a cue is like it."""
    return f"{cue} let go"


PressKind: TypeAlias = Literal["down", "long", "twice", "up"]
"""What a button must do: go down, stay down for a while, be pressed twice in a row, go up."""
Manner: TypeAlias = Literal["start", "next", "toggle"]
"""What a press does with a cue: start it; start the next of a list that the cue is in; start it,
and let it go when it comes again."""


@dataclass(frozen=True, slots=True)
class Binding:
    """A button starts a cue; `while_held` repeats the cue as long as the button is down.

    The cues of a list have a binding each, with the same mark.
    """

    button: int
    cue: str
    while_held: bool = False
    mark: int = NO_MARK
    kind: PressKind = "down"
    manner: Manner = "start"
    long_ms: int = 0
    """Of a long press: after how long it is one."""

    @property
    def is_plain(self) -> bool:
        """Whether the cue starts when the button goes down, and that is all."""
        return self.kind == "down" and self.manner == "start"


def bound_lines(score: Score) -> tuple[tuple[Binding, ...], ...]:
    """Bindings by what they were written as: the cues of a list belong together."""
    lines: dict[tuple[int, PressKind, int], list[Binding]] = {}
    for number, one in enumerate(score.bindings):
        place = -1 if one.manner == "next" else number
        lines.setdefault((one.button, one.kind, place), []).append(one)
    return tuple(map(tuple, lines.values()))


@dataclass(frozen=True, slots=True)
class Usage:
    """How often a cue is expected to run, for battery and heat."""

    cue: str
    per_hour: float
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class Score:
    title: str
    cues: tuple[Cue, ...] = ()
    bindings: tuple[Binding, ...] = ()
    stop_button: int | None = None
    lost_ms: int | None = None
    """Silence of the remote after which `lost_cue` starts; None: nothing happens."""
    lost_cue: str | None = None
    idle: tuple[str, ...] = ()
    """The strands: cues that go on, side by side, on every output that no other cue holds."""
    glide_ms: int = 800
    """How long an output takes back to its strand when a cue lets it go."""
    stop_ms: int = 1500
    """Duration of the controlled move to the safe pose on stop."""
    usage: tuple[Usage, ...] = ()
    run_time_h: float | None = None
    low_cue: str | None = None
    """What a board starts when the battery that it watches is low; None: nothing."""

    @property
    def unasked(self) -> frozenset[str]:
        """Cues that boards start by themselves: for a silent remote, for a low battery."""
        return frozenset(one for one in (self.lost_cue, self.low_cue) if one is not None)
