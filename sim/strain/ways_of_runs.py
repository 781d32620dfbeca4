"""How many ways up or down one light can go within a second, by runs one behind the other: a bound.

A run brings its light to one target after another; two ways in a row to the same target are one.
Of the run that goes on already any part may lie in the second; each later one begins at its start.
Where a run lets go of the light, what holds it otherwise (idle, a source, a move) brings it back.

A way counts once it has gone so far that it can be seen. One that is cut short counts as the share
of the time which that takes: a change that is made of several such pieces, all in one direction,
needs shares that add up to one.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from math import ceil, inf
from typing import Final, NamedTuple, TypeAlias

from sim.model import StripLight
from sim.rulebook import FRAME_MS
from sim.strain.light_bound import WINDOW_MS

FRAMES: Final = ceil(WINDOW_MS / FRAME_MS) + 1
"""A window; a run starts a frame before it is seen."""

WayTarget: TypeAlias = float | StripLight | None
"""Where a way leads; None: it is not known, and a way to it may always be a turn."""


class MostWays(NamedTuple):
    """The most ways or changes within a window, and the cues whose runs make them, in turn."""

    most: float
    cues: tuple[str, ...]

    def behind(self, count: float, name: str) -> MostWays:
        """The same behind so many of a run of another cue."""
        return MostWays(count + self.most, (name, *self.cues))


NOTHING: Final = MostWays(0, ())


class LightWay(NamedTuple):
    """A fade of a run: its first and its last frame from the run's start.

    `needs`: after how many frames it can have gone far enough to count. `bends`: how many changes
    it may hold on its way. One that is begun again goes on along the same line.
    """

    start: int
    end: int
    target: WayTarget
    needs: int = 1
    bends: int = 1


@dataclass(frozen=True)
class LightRun:
    """What a run does to a light. All in frames from its start."""

    name: str
    ways: tuple[LightWay, ...]
    least: float
    """When another one may begin at the earliest."""
    ends: float
    """When it lets go of the light, if it is left alone."""


@dataclass
class LightInRuns:
    """A light, and what may hold it.

    `runs`: those that may begin, one behind the other. `idle`: what goes on between them.
    `given_back`: something has the light between them. `late`: cues that wait beside others which
    take: one of each may begin long after its press.
    """

    runs: Sequence[LightRun]
    idle: Sequence[LightRun] = ()
    given_back: bool = False
    late: Collection[str] = ()
    _known: dict[tuple[int, WayTarget, bool], MostWays] = field(default_factory=dict)

    def followed(self, first: Sequence[LightRun]) -> MostWays:
        """The most ways while one of `first`, in whatever moment, is followed by a single run."""
        return self._from_anywhere(first, FRAMES, again=False)

    def in_turn(self) -> MostWays:
        """The most ways while runs follow one another as closely as they can."""
        ways = [way for run in self.runs for way in run.ways]
        targets = {way.target for way in ways}
        if len(targets) == 1 and None not in targets and not self.given_back:
            # whatever is pressed, it goes on to the same end
            return MostWays(max(way.bends for way in ways), (self.runs[0].name,))
        most, cues = self._from_anywhere(self.runs, FRAMES, again=True)
        for name in self.late:
            most += max(_all_of(run.ways) for run in self.runs if run.name == name)
        return MostWays(most, cues)

    def _from_anywhere(self, runs: Sequence[LightRun], left: int, again: bool) -> MostWays:
        """Any part of a run, and what follows it."""
        best = self._begun(left, None, again)
        for run in runs:
            for first, way in enumerate(run.ways):
                count = 0.0
                for piece in _pieces(run.ways[first:], None, way.end, left, 0):
                    count = piece.most
                    found = self._begun(left - piece.spent, piece.target, again)
                    best = max(best, found.behind(piece.most, run.name))
                until_end = ceil(max(0.0, run.ends - way.end)) if run.ends < inf else left + 1
                if self.given_back and until_end <= left:
                    found = self._back(left - until_end, 0, again)
                    best = max(best, found.behind(count, run.name))
        return best

    def _begun(self, left: int, last: WayTarget, again: bool) -> MostWays:
        """The most ways from the start of a run on, when the way before led to `last`."""
        known = self._known.get((left, last, again))
        if known is None:
            known = max(self._runs_begun(left, last, again), default=NOTHING)
            self._known[left, last, again] = known
        return known

    def _runs_begun(self, left: int, last: WayTarget, again: bool) -> Iterator[MostWays]:
        for run in self.runs:
            count = 0.0
            for piece in _pieces(run.ways, last, 0, left, 1):
                count = piece.most
                used = max(piece.spent, ceil(min(run.least, left + 1)))
                goes_on = again and used <= left
                more = self._begun(left - used, piece.target, again) if goes_on else NOTHING
                yield more.behind(piece.most, run.name)
            if self.given_back and run.ends <= left:
                rest = max(0, ceil(run.least - run.ends))
                yield self._back(left - ceil(run.ends), rest, again).behind(count, run.name)

    def _back(self, left: int, rest: int, again: bool) -> MostWays:
        """The most ways from when the light is given back: one, and what idle and runs do then.

        `rest`: no run begins for so many frames.
        """
        best = self._begun(left - rest, None, again) if again and rest <= left else NOTHING
        for run in self.idle:
            for first, way in enumerate(run.ways):
                for piece in _pieces(run.ways[first:], None, way.end, left, 0):
                    later = max(piece.spent, rest, 1)
                    goes_on = again and later <= left
                    more = self._begun(left - later, piece.target, again) if goes_on else NOTHING
                    best = max(best, MostWays(piece.most + more.most, more.cues))
        return MostWays(1 + best.most, best.cues)


class _CutWays(NamedTuple):
    """Ways up to one that is cut short: how many, after how many frames, and where it led."""

    most: float
    spent: int
    target: WayTarget


def _pieces(
    ways: Sequence[LightWay], last: WayTarget, begin: int, left: int, least: int
) -> Iterator[_CutWays]:
    """The ways that fit into `left` frames from `begin` on, cut short anywhere.

    `last`: where the way before led. `least`: for how long the first one surely goes on; 0 if it
    is nearly over already.
    """
    count = 0.0
    for n, way in enumerate(ways):
        starts = max(0, way.start - begin)
        if starts > left:
            return
        turns = way.target is None or way.target != last
        if n == 0 and least == 0:
            count = float(way.bends)
            yield _CutWays(count, 0, way.target)
        else:
            for frames in range(1, min(way.needs, max(left - starts, 1)) + 1):
                whole = frames == way.needs
                so_far = count + (way.bends * frames / way.needs if turns else 0.0)
                yield _CutWays(so_far, starts + frames, way.target if whole or not turns else None)
            count += way.bends if turns else 0.0
        last = way.target


def _all_of(ways: Sequence[LightWay]) -> int:
    last: WayTarget = None
    count = 0
    for way in ways:
        if way.start <= FRAMES:
            count += way.bends if way.target is None or way.target != last else 0
            last = way.target
    return count
