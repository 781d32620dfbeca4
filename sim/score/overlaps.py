"""Statements of one cue that drive one output at once, found in time that grows with the cue."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf
from typing import TypeAlias

from sim.model import Cue, Effect, Fade, Move, Repeat, Step, Throw, Together
from sim.score.tree import Act, Lengths, children, passes, timeline, walk


@dataclass(frozen=True, slots=True)
class Overlap:
    """Two statements of one cue that drive one output at once, the earlier one first.

    Each with the span of time it holds the output; a statement in a `repeat` holds it from the
    first pass to the last.
    """

    cue: str
    output: str
    first: Act
    first_ms: tuple[float, float]
    second: Act
    second_ms: tuple[float, float]


@dataclass(frozen=True, slots=True)
class _HeldTime:
    """The time for which a statement holds an output."""

    start: float
    end: float
    act: Act


_HeldTimes: TypeAlias = dict[tuple[str, bool], list[_HeldTime]]
"""Spans by output and by whether they are effects, which lie over a light without a clash."""


def overlaps(cue: Cue) -> tuple[Overlap, ...]:
    """Statements of a cue that drive an output while another does, by the later one's start.

    Each is named once, against the one that holds the output longest. Statements that take no time
    clash at one instant only if they stand side by side, not if they stand in turn.
    """
    lengths = Lengths(cue.body)
    parents = _Parents(cue.body)
    found: list[Overlap] = []
    scopes: list[_HeldTimes] = []  # of finished steps, the first child on top
    for start, step in reversed(list(timeline(cue.body))):
        own = _merged([scopes.pop() for _ in children(step)])
        if isinstance(step, Move | Fade | Throw | Effect):
            channel = step.output, isinstance(step, Effect)
            own = {channel: [_HeldTime(start, start + lengths[step], step)]}
        elif isinstance(step, Repeat) and (step.while_held or step.times != 1):
            found += _clashes(cue, own, parents)
            own = _prolonged(own, step, lengths[step.body])
        scopes.append(own)
    found += _clashes(cue, scopes.pop(), parents)
    return tuple(sorted(found, key=lambda overlap: overlap.second_ms[0]))


def _merged(parts: list[_HeldTimes]) -> _HeldTimes:
    """All spans together; the largest part takes in the others, to stay near linear."""
    if not parts:
        return {}
    whole = max(parts, key=lambda part: sum(map(len, part.values())))
    for part in parts:
        if part is not whole:
            for channel, spans in part.items():
                whole.setdefault(channel, []).extend(spans)
    return whole


def _prolonged(own: _HeldTimes, repeat: Repeat, body_ms: float) -> _HeldTimes:
    """One span a channel, from the first pass to the last."""
    runs = inf if repeat.while_held else passes(repeat)
    later = inf if runs == inf else (runs - 1) * body_ms
    held: _HeldTimes = {}
    for channel, spans in own.items() if runs else ():
        first = min(spans, key=lambda span: span.start)
        end = max(span.end for span in spans) + later
        held[channel] = [_HeldTime(first.start, end, first.act)]
    return held


def _clashes(cue: Cue, own: _HeldTimes, parents: _Parents) -> list[Overlap]:
    found: list[Overlap] = []
    for (output, _), spans in own.items():
        holder: _HeldTime | None = None
        endless = _Endless(parents)
        for span in sorted(spans, key=lambda span: span.start):
            first = holder if holder and _at_once(holder, span, parents) else endless.beside(span)
            if first is not None:
                times = (first.start, first.end), (span.start, span.end)
                found.append(Overlap(cue.name, output, first.act, times[0], span.act, times[1]))
            if span.end == inf:
                endless.add(span)
            elif holder is None or span.end >= holder.end:
                holder = span
    return found


def _at_once(one: _HeldTime, later: _HeldTime, parents: _Parents) -> bool:
    """Whether two statements drive their output at once; `later` does not start before `one`.

    `one` has an end. Of those without, see `_Endless`.
    """
    alike = later.start == one.start and later.end == one.end
    return later.start < one.end or (alike and parents.apart(one.act, later.act))


class _Parents:
    """Which step stands in which; asked about statements that take no time or have no end."""

    def __init__(self, root: Step) -> None:
        self._root = root
        self._above: dict[int, Step] = {}

    def apart(self, one: Step, other: Step) -> bool:
        """Whether the innermost step that holds both runs them side by side."""
        around = {id(step) for _, step in self.line(one)}
        shared = next((step for _, step in self.line(other) if id(step) in around), None)
        return isinstance(shared, Together)

    def line(self, step: Step) -> Iterator[tuple[Step, Step]]:
        """From a step outwards: each step, and the one that it stands in."""
        if not self._above:
            for one in walk(self._root):
                self._above.update((id(child), one) for child in children(one))
        above = self._above.get(id(step))
        while above is not None:
            yield step, above
            step, above = above, self._above.get(id(above))


class _Endless:
    """Statements that hold an output without an end.

    What follows a `while held` repeat in turn waits until the button is let go: the two never
    meet, though nobody can say when the repeat ends. Only what runs beside it does. So each block
    of steps side by side keeps which of its parts hold the output: a cue of many such repeats
    is asked in as many steps as its blocks are deep.
    """

    def __init__(self, parents: _Parents) -> None:
        self._parents = parents
        self._count = 0
        self._inside: dict[int, list[tuple[int, int, _HeldTime]]] = {}
        """By block: number, part and statement; the first one, and the first of another part."""

    def add(self, span: _HeldTime) -> None:
        for part, block in self._parents.line(span.act):
            if isinstance(block, Together):
                kept = self._inside.setdefault(id(block), [])
                if len(kept) < 2 and all(other != id(part) for _, other, _ in kept):
                    kept.append((self._count, id(part), span))
        self._count += 1

    def beside(self, later: _HeldTime) -> _HeldTime | None:
        """The first one that still holds the output when `later` starts, if there is any."""
        if not self._inside:
            return None
        met = [
            (number, span)
            for part, block in self._parents.line(later.act)
            for number, other, span in self._inside.get(id(block), ())
            if other != id(part)
        ]
        return min(met, key=lambda one: one[0])[1] if met else None
