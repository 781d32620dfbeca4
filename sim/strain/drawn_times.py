"""When fades of a strand may come, whatever times it draws: the least time from one to another.

A strand that draws its times is read in the shortest of them. From one statement to a later one of
the same row nothing can then be quicker, except out of a `together`: what goes on beside a
statement there may last longer than the statement does. So the statement may come to its end late,
by a longer draw of its own or of what stands before it, and what follows the `together` still comes
as early as ever. How late is found for each `together` around a statement: the time that is left to
its end in the shortest times, less the least time that can be left.

What stands in two parts of one `together` may come in either order, as far as draws move it.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field
from math import ceil, inf
from typing import Final, NamedTuple

import numpy as np

from sim.arrays import Array
from sim.model import Effect, Fade, InTurn, OneOf, Repeat, Step, Together
from sim.score.draws import longest_ms
from sim.score.tree import Lengths, acts

ROUND_MS: Final = 1e-9


class _Level(NamedTuple):
    """A `together` around a statement, and the part of it in which the statement stands."""

    together: int
    part: int
    late_ms: float
    """How much closer to what follows the `together` the statement may come to its end."""
    spread_ms: float
    """The same for what stands in another part; 0 where there is none."""


@dataclass(slots=True)
class Timed:
    """A statement for a light in the shortest times (ms), from the start of what is looked at."""

    act: Fade | Effect
    begins_ms: float
    ends_ms: float
    spread_ms: float = 0.0
    """How much later it may end, from the same start."""
    least_left_ms: float = 0.0
    """The least time from its end to the end of what is looked at."""
    levels: list[_Level] = field(default_factory=list)
    """From the innermost outwards."""
    late_in_pass_ms: float | None = None

    def moved(self, by_ms: float) -> Timed:
        """The same behind something that takes so long."""
        self.begins_ms += by_ms
        self.ends_ms += by_ms
        return self

    @property
    def late_ms(self) -> float:
        """The most by which it may be late, to anything at all."""
        return max((max(one.late_ms, one.spread_ms) for one in self.levels), default=0.0)


class Late(NamedTuple):
    """How late a statement may end (ms): to what is around its repeats, and to other passes."""

    ms: float
    in_pass_ms: float


@dataclass(frozen=True)
class InTime:
    """The fades of some lights in the order of their shortest times.

    `least_ms[i, j]`: the least time from the end of fade i to the beginning of fade j, whatever is
    drawn; j surely comes behind i where it is not below 0. `drifts`: fades of endless or long
    repeats go on side by side, so of two parts nothing is known of how they lie to each other.
    """

    fades: tuple[Timed, ...]
    least_ms: Array
    drifts: bool

    @property
    def in_order(self) -> bool:
        """Whether each fade surely ends before the next one begins."""
        later = np.triu(np.ones(self.least_ms.shape, dtype=bool), 1)
        return not self.drifts and not (later & (self.least_ms < -ROUND_MS)).any()


def in_time(body: Step, names: Collection[str], window_ms: float, most: int) -> InTime:
    """The fades of lights in a body that begins again for ever, or never comes to its end.

    Repeats are written out as often as any window can hold. Of more than `most` fades the rest is
    left out.
    """
    strand = Repeat(body, None)
    reader = _PassByPass(strand, names, window_ms, most)
    fades = sorted(reader.of(strand)[0], key=lambda one: (one.begins_ms, one.ends_ms))
    begins = np.array([one.begins_ms for one in fades])
    ends = np.array([one.ends_ms for one in fades])
    least = begins[np.newaxis] - ends[:, np.newaxis]
    for n, one in enumerate(fades):
        if one.late_ms > 0.0:
            least[n] -= [_closer(one, other) for other in fades]
    return InTime(tuple(fades), least, reader.drifts)


def lateness(body: Step, names: Collection[str]) -> dict[int, Late]:
    """By id of a fade or an effect, how late it may end; what is repeated is taken as one."""
    found: dict[int, Late] = {}
    for one in _Folded(body, names).of(body)[0]:
        before = found.get(id(one.act), Late(0.0, 0.0))
        inner = one.late_in_pass_ms or 0.0
        found[id(one.act)] = Late(max(before.ms, one.late_ms), max(before.in_pass_ms, inner))
    return found


def _closer(one: Timed, other: Timed) -> float:
    """By how much (ms) a fade may end closer to another one than in the shortest times."""
    theirs = {level.together: level.part for level in other.levels}
    for level in reversed(one.levels):
        part = theirs.get(level.together)
        if part is None:
            return level.late_ms
        if part != level.part:
            return level.spread_ms
    return 0.0


class _TimesReader(ABC):
    """Reads statements with their times; what it does with repeats is for its two kinds to say."""

    def __init__(self, body: Step, names: Collection[str]) -> None:
        self._names = frozenset(names)
        self._lengths = Lengths(body)
        self._number = 0
        self.drifts = False

    def of(self, step: Step) -> tuple[list[Timed], float]:
        """The statements inside, from the start of the step, and how long it takes as read."""
        if not self._bears(step):
            return [], self._lengths[step]
        match step:
            case Fade() | Effect():
                lasts = self._lengths[step]
                longer = longest_ms(step) - lasts
                return [Timed(step, 0.0, lasts, spread_ms=max(0.0, longer))], lasts
            case InTurn():
                return self._row(step.children)
            case OneOf():
                ways = [self.of(child)[0] for child in step.children]
                return [one for way in ways for one in way], self._lengths[step]
            case Together():
                return self._together(step)
            case Repeat():
                return self._repeat(step)
        raise AssertionError(step)

    @abstractmethod
    def _repeat(self, step: Repeat) -> tuple[list[Timed], float]:
        """The same of a repeat."""

    def _bears(self, step: Step) -> bool:
        """Whether it is, or holds, something for the lights that are looked at."""
        return any(isinstance(o, Fade | Effect) and o.output in self._names for o in acts(step))

    def _row(
        self, steps: Iterable[Step], enough: Callable[[int], bool] = lambda count: False
    ) -> tuple[list[Timed], float]:
        found: list[Timed] = []
        start = longer = 0.0
        for step in steps:
            if start == inf or enough(len(found)):
                break
            inner, lasts = self.of(step)
            for one in found:
                one.least_left_ms += lasts
            for one in inner:
                one.moved(start).spread_ms += longer
            found += inner
            start += lasts
            longer += self._longer(step)
        return found, start

    def _longer(self, step: Step) -> float:
        """By how much (ms) a step may take longer than the shortest time."""
        shortest = self._lengths[step]
        return max(0.0, longest_ms(step) - shortest) if shortest < inf else 0.0

    def _together(self, step: Together) -> tuple[list[Timed], float]:
        self._number += 1
        number = self._number
        parts = [self.of(child) for child in step.children]
        several = sum(1 for inner, _ in parts if inner) > 1
        ends = [n * step.interval_ms + self._lengths[c] for n, c in enumerate(step.children)]
        left_out = [
            self._lengths[child] - lasts if lasts < inf else 0.0
            for child, (_, lasts) in zip(step.children, parts, strict=True)
        ]
        self.drifts |= several and any(
            inner and (out > 0.0 or lasts == inf)
            for out, (inner, lasts) in zip(left_out, parts, strict=True)
        )
        whole = max(ends)
        if whole < inf:
            # what a long repeat leaves out is missing beside it, too
            whole -= max(out for out, (inner, _) in zip(left_out, parts, strict=True) if inner)
        for n, (inner, _) in enumerate(parts):
            beside = max((end for m, end in enumerate(ends) if m != n), default=0.0) - left_out[n]
            for one in inner:
                one.moved(n * step.interval_ms)
                self._note(one, _Level(number, n, 0.0, 0.0), whole, beside, several)
        return [one for inner, _ in parts for one in inner], whole

    def _note(self, one: Timed, at: _Level, whole: float, beside: float, several: bool) -> None:
        """Adds how late a statement may be in a `together` that takes so long."""
        late = 0.0
        if whole < inf:
            left = max(one.least_left_ms, beside - one.ends_ms - one.spread_ms)
            late = max(0.0, whole - one.ends_ms - left)
            one.least_left_ms = left
        spread = one.spread_ms if several else 0.0
        one.levels.append(at._replace(late_ms=late, spread_ms=spread))


class _PassByPass(_TimesReader):
    """Reads the fades, each pass of a repeat by itself.

    A repeat is written out so often that a window which starts in one of its first two passes lies
    within them. Of more passes the others make no window that these do not make.
    """

    def __init__(self, body: Step, names: Collection[str], window_ms: float, most: int) -> None:
        super().__init__(body, names)
        self._window_ms, self._most = window_ms, most

    def _bears(self, step: Step) -> bool:
        return any(isinstance(one, Fade) and one.output in self._names for one in acts(step))

    def _repeat(self, step: Repeat) -> tuple[list[Timed], float]:
        lasts = self._lengths[step.body]
        times = inf if step.times is None else step.times
        passes = int(min(times, ceil(self._window_ms / max(1.0, lasts)) + 2))
        found, end = self._row([step.body] * passes, lambda count: count > self._most)
        if times == inf:
            return found, inf
        more = (times - passes) * self._longer(step.body)
        for one in found:
            one.spread_ms += more
        return found, end


class _Folded(_TimesReader):
    """Reads fades and effects once: what is repeated is there from its first to its last pass."""

    def _repeat(self, step: Repeat) -> tuple[list[Timed], float]:
        found = self.of(step.body)[0]
        lasts = self._lengths[step]
        for one in found:
            if one.late_in_pass_ms is None:
                one.late_in_pass_ms = one.late_ms
            one.levels.clear()
            one.ends_ms, one.spread_ms, one.least_left_ms = lasts, self._longer(step), 0.0
        return found, lasts


def surely_apart(times: InTime, one: int, other: int) -> bool:
    """Whether two fades never go on at the same time, and never begin at once."""
    row: Sequence[Timed] = times.fades
    if row[one].begins_ms == row[other].begins_ms:
        return False
    return bool(max(times.least_ms[one, other], times.least_ms[other, one]) >= -ROUND_MS)
