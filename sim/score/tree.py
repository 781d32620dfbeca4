"""What a score asks for, read off its tree: statements, outputs, lengths.

Nothing here runs a show; it reads each cue as written, in time that grows with the score's size.
Trees are walked with explicit stacks, because a score may nest deeper than Python's own stack.

Times are milliseconds from a cue's start: whole numbers, or `inf` behind a repeat without end. A
`while held` repeat counts as one pass, and of several to choose from the shortest.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import lru_cache
from math import inf
from typing import Final, TypeAlias

from sim.model import (
    Cue,
    Effect,
    Fade,
    Hold,
    InTurn,
    Move,
    OneOf,
    Repeat,
    Score,
    Servo,
    Show,
    Step,
    Throw,
    Together,
)
from sim.rulebook import (
    ENABLE_INTERVAL_FRAMES,
    FRAME_MS,
)

Act: TypeAlias = Move | Fade | Throw | Effect
"""A statement that drives an output."""

TREES_KEPT: Final = 512
"""Steps of which it is kept what is inside them: a show is walked through dozens of times."""


# -- walking --------------------------------------------------------------------------------------


def children(step: Step) -> tuple[Step, ...]:
    """The steps directly inside a step."""
    if isinstance(step, InTurn | Together | OneOf):
        return step.children
    return (step.body,) if isinstance(step, Repeat) else ()


class OneStep:
    """A step as itself: two are the same only if they are one. A key for what is known of trees."""

    __slots__ = ("step",)

    def __init__(self, step: Step) -> None:
        self.step = step

    def __hash__(self) -> int:
        return id(self.step)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, OneStep) and self.step is other.step


def walk(step: Step) -> Iterator[Step]:
    """The step and all steps inside it, in the order of the text, outer before inner."""
    return iter(_steps(OneStep(step)) if children(step) else (step,))


@lru_cache(maxsize=TREES_KEPT)
def _steps(root: OneStep) -> tuple[Step, ...]:
    stack = [root.step]
    found: list[Step] = []
    while stack:
        top = stack.pop()
        found.append(top)
        stack.extend(reversed(children(top)))
    return tuple(found)


def acts(step: Step) -> Iterator[Act]:
    """All statements that drive an output, in the order of the text."""
    return iter(_acts(OneStep(step)))


@lru_cache(maxsize=TREES_KEPT)
def _acts(root: OneStep) -> tuple[Act, ...]:
    return tuple(s for s in walk(root.step) if isinstance(s, Move | Fade | Throw | Effect))


def idle_cue(score: Score) -> Cue | None:
    """All strands of idle as one cue, side by side; a single one as it is.

    Beside others a strand that comes to its end begins again while they go on.
    """
    strands = [cue for cue in score.cues if cue.name in score.idle]
    if len(strands) < 2:
        return strands[0] if strands else None
    bodies = tuple(
        Repeat(cue.body, None) if 0.0 < duration_ms(cue.body) < inf else cue.body for cue in strands
    )
    return Cue(" and ".join(cue.name for cue in strands), "idle", Together(bodies))


def swapped(step: Step, change: Callable[[Step], Step]) -> Step:
    """The tree with `change` applied to every step without children."""
    match step:
        case InTurn() | Together() | OneOf():
            return replace(step, children=tuple(swapped(c, change) for c in step.children))
        case Repeat():
            return replace(step, body=swapped(step.body, change))
        case _:
            return change(step)


def outputs_used(step: Step) -> frozenset[str]:
    """Names of the outputs that a step drives."""
    return frozenset(act.output for act in acts(step))


def parts_for_letting_go(score: Score) -> dict[str, Cue]:
    """The cues of which another one is the part for letting go, by the names of those parts."""
    return {cue.let_go: cue for cue in score.cues if cue.let_go}


def named_cues(score: Score) -> tuple[Cue, ...]:
    """The cues that somebody can ask for: all but parts for letting go."""
    parts = parts_for_letting_go(score)
    return tuple(cue for cue in score.cues if cue.name not in parts)


def outputs_held(score: Score, cue: Cue) -> frozenset[str]:
    """Names of the outputs that a run of the cue holds: those of its part for letting go, too."""
    own = outputs_used(cue.body)
    return own.union(*(outputs_used(c.body) for c in score.cues if c.name == cue.let_go))


def passes(repeat: Repeat) -> float:
    """How often the body runs as planned: `inf` without end, once for `while held`."""
    if repeat.while_held:
        return 1
    return inf if repeat.times is None else repeat.times


class Lengths:
    """Lengths in ms of a step and of every step inside it, each found once."""

    def __init__(self, root: Step) -> None:
        self._root = root  # keeps the steps, whose ids are the keys
        self._ms = _lengths(OneStep(root))

    def __getitem__(self, step: Step) -> float:
        return self._ms[id(step)]


@lru_cache(maxsize=TREES_KEPT)
def _lengths(root: OneStep) -> dict[int, float]:
    found: dict[int, float] = {}
    for step in reversed(list(walk(root.step))):
        found[id(step)] = _length(step, found)
    return found


def _length(step: Step, known: dict[int, float]) -> float:
    match step:
        case Move() | Fade() | Hold():
            return step.duration_ms
        case InTurn():
            return sum(known[id(child)] for child in step.children)
        case Together():
            ends = (n * step.interval_ms + known[id(c)] for n, c in enumerate(step.children))
            return max(ends, default=0)
        case OneOf():
            return min((known[id(child)] for child in step.children), default=0)
        case Repeat():
            runs = passes(step)
            return runs if runs in (0, inf) else runs * known[id(step.body)]
        case _:
            return 0


def duration_ms(step: Step) -> float:
    """How long a step takes as planned: a whole number, or `inf`."""
    return Lengths(step)[step]


def timeline(root: Step) -> Iterator[tuple[float, Step]]:
    """Every step with its start in the first pass, in the order of the text."""
    return iter(_timeline(OneStep(root)))


@lru_cache(maxsize=TREES_KEPT)
def _timeline(root: OneStep) -> tuple[tuple[float, Step], ...]:
    lengths = Lengths(root.step)
    stack: list[tuple[float, Step]] = [(0, root.step)]
    found: list[tuple[float, Step]] = []
    while stack:
        start, step = stack.pop()
        found.append((start, step))
        stack.extend(reversed(_starts(step, start, lengths)))
    return tuple(found)


def in_time(root: Step) -> tuple[tuple[float, Step], ...]:
    """As `timeline`, in the order of time; of steps that start at once in that of the text."""
    return _in_time(OneStep(root))


@lru_cache(maxsize=TREES_KEPT)
def _in_time(root: OneStep) -> tuple[tuple[float, Step], ...]:
    return tuple(sorted(_timeline(root), key=lambda each: each[0]))


def acts_in_time(step: Step) -> Iterator[Act]:
    """All statements that drive an output, in the order in which a first pass comes to them."""
    return (one for _, one in in_time(step) if isinstance(one, Move | Fade | Throw | Effect))


def _starts(step: Step, start: float, lengths: Lengths) -> list[tuple[float, Step]]:
    if isinstance(step, Together):
        return [(start + n * step.interval_ms, c) for n, c in enumerate(step.children)]
    if isinstance(step, OneOf):
        return [(start, child) for child in step.children]
    inner: list[tuple[float, Step]] = []
    for child in children(step):
        inner.append((start, child))
        start += lengths[child]
    return inner


# -- watching a cue -------------------------------------------------------------------------------

LONGEST_HOLD_MS: Final = 8000
"""How long a cue that has no end of its own is looked at, at least."""


def ready_ms(show: Show) -> int:
    """When the last board has enabled all its servos and hears the remote."""
    counts: dict[str, int] = {}
    for output in show.rig.outputs:
        if isinstance(output, Servo):
            counts[output.board] = counts.get(output.board, 0) + 1
    return max(counts.values(), default=0) * ENABLE_INTERVAL_FRAMES * FRAME_MS
