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
class _Span:
    """The time for which a statement holds an output."""

    start: float
    end: float
    act: Act


_Channels: TypeAlias = dict[tuple[str, bool], list[_Span]]
"""Spans by output and by whether they are effects, which lie over a light without a clash."""


def overlaps(cue: Cue) -> tuple[Overlap, ...]:
    """Statements of a cue that drive an output while another does, by the later one's start.

    Each is named once, against the one that holds the output longest. Statements that take no time
    clash at one instant only if they stand side by side, not if they stand in turn.
    """
    lengths = Lengths(cue.body)
    parents = _Parents(cue.body)
    found: list[Overlap] = []
    scopes: list[_Channels] = []  # of finished steps, the first child on top
    for start, step in reversed(list(timeline(cue.body))):
        own = _merged([scopes.pop() for _ in children(step)])
        if isinstance(step, Move | Fade | Throw | Effect):
            channel = step.output, isinstance(step, Effect)
            own = {channel: [_Span(start, start + lengths[step], step)]}
        elif isinstance(step, Repeat) and (step.while_held or step.times != 1):
            found += _clashes(cue, own, parents)
            own = _prolonged(own, step, lengths[step.body])
        scopes.append(own)
    found += _clashes(cue, scopes.pop(), parents)
    return tuple(sorted(found, key=lambda overlap: overlap.second_ms[0]))


def _merged(parts: list[_Channels]) -> _Channels:
    """All spans together; the largest part takes in the others, to stay near linear."""
    if not parts:
        return {}
    whole = max(parts, key=lambda part: sum(map(len, part.values())))
    for part in parts:
        if part is not whole:
            for channel, spans in part.items():
                whole.setdefault(channel, []).extend(spans)
    return whole


def _prolonged(own: _Channels, repeat: Repeat, body_ms: float) -> _Channels:
    """One span a channel, from the first pass to the last."""
    runs = inf if repeat.while_held else passes(repeat)
    later = inf if runs == inf else (runs - 1) * body_ms
    held: _Channels = {}
    for channel, spans in own.items() if runs else ():
        first = min(spans, key=lambda span: span.start)
        end = max(span.end for span in spans) + later
        held[channel] = [_Span(first.start, end, first.act)]
    return held


def _clashes(cue: Cue, own: _Channels, parents: _Parents) -> list[Overlap]:
    found: list[Overlap] = []
    for (output, _), spans in own.items():
        ordered = sorted(spans, key=lambda span: span.start)
        holder = ordered[0]
        endless = [holder] if holder.end == inf else []
        for span in ordered[1:]:
            earlier = (one for one in (holder, *endless) if _at_once(one, span, parents))
            first = next(earlier, None)
            if first is not None:
                times = (first.start, first.end), (span.start, span.end)
                found.append(Overlap(cue.name, output, first.act, times[0], span.act, times[1]))
            if span.end == inf:
                endless.append(span)
            elif span.end >= holder.end or holder.end == inf:
                holder = span
    return found


def _at_once(one: _Span, later: _Span, parents: _Parents) -> bool:
    """Whether two statements drive their output at once; `later` does not start before `one`.

    What follows a `while held` repeat in turn waits until the button is let go: the two never
    meet, though nobody can say when the repeat ends.
    """
    if one.end == inf:
        return parents.apart(one.act, later.act)
    alike = later.start == one.start and later.end == one.end
    return later.start < one.end or (alike and parents.apart(one.act, later.act))


class _Parents:
    """Which step stands in which; asked about statements that take no time or have no end."""

    def __init__(self, root: Step) -> None:
        self._root = root
        self._above: dict[int, Step] = {}

    def apart(self, one: Step, other: Step) -> bool:
        """Whether the innermost step that holds both runs them side by side."""
        if not self._above:
            for step in walk(self._root):
                self._above.update((id(child), step) for child in children(step))
        line = {id(step) for step in self._line(one)}
        shared = next((step for step in self._line(other) if id(step) in line), None)
        return isinstance(shared, Together)

    def _line(self, step: Step) -> Iterator[Step]:
        above = self._above.get(id(step))
        while above is not None:
            yield above
            above = self._above.get(id(above))
