"""The board that leads: what it tells the others once a frame (TABLE.md, section 7).

It says a state, never an event, so that the next telling makes good one that was lost.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from math import inf
from typing import Any, TypeVar

from sim.rehearsal.requests import Request
from sim.rehearsal.scheduler import Journal, Mode, Outputs, Run, Scheduler
from sim.rulebook import FRAME_CLOCK, IDLE_ERA_FRAMES, NEWS_TELLINGS, RUNS
from sim.score.program import BoardProgram, Statement

_Act = TypeVar("_Act", bound=Statement)


@dataclass(frozen=True, slots=True)
class HubRun:
    """One run of a cue on the board that leads."""

    number: int
    """Of the run."""
    cue: Hashable
    """Name of the cue that was started."""
    order: int
    """Of its start among all starts, modulo 256."""
    age: int
    """Frames since it started, or since it let go."""
    held: bool
    again: bool
    let_go: bool
    """Its button has gone up, and the cue has a part for that."""


@dataclass(frozen=True, slots=True)
class HubState:
    """What the board that leads says after a frame."""

    frame: int
    mode: Mode
    limp_asked: bool
    """It is limp because somebody wanted it at once, and not at the end of a stop."""
    live: frozenset[int]
    """Numbers of the runs that live, but for strands."""
    idle_age: int
    """Frames since the strands began."""
    run: HubRun | None
    """One of those that live; they take turns, what is new first."""


@dataclass(slots=True)
class _ToldRun:
    """What is told of a run."""

    base: int
    """Index of the cue that was started."""
    order: int
    since: int
    """The frame in which it started or let go."""
    held: bool
    again: bool
    let_go: bool = False
    news: int = NEWS_TELLINGS
    """How often it comes before those that are no news."""


class Leader(Scheduler[_Act]):
    """A scheduler that tells others what it does; `told` is what it said last."""

    def __init__(
        self,
        program: BoardProgram[_Act],
        outputs: Outputs[_Act],
        journal: Journal[_Act] | None = None,
    ) -> None:
        self._told: dict[int, _ToldRun] = {}
        self._number = 0
        self._starts = 0
        self._last_told = RUNS - 1
        self._idle_since = 0
        self._limp_asked = False
        self.told: HubState | None = None
        super().__init__(program, outputs, journal)

    def frame(self, number: int, requests: Sequence[Request], heard: int) -> None:
        self._number = number
        super().frame(number, requests, heard)
        self.told = self._telling()

    @property
    def turns(self) -> int:
        """After how many tellings without news the same run is told again."""
        return max(1, len(self._told))

    def next_frame(self, number: int) -> float:
        if any(told.news for told in self._told.values()):
            return number + 1
        era = self._idle_since + IDLE_ERA_FRAMES if self.mode == "ready" else inf
        return min(super().next_frame(number), era)

    # -- what happens, noticed ------------------------------------------------------------------

    def _before_requests(self, number: int) -> None:
        if self.mode == "ready" and number - self._idle_since == IDLE_ERA_FRAMES:
            self._idle_since = number
            for _, run in sorted(self.runs.items()):
                if run.strand:
                    self._begin_anew(run, (number - 1) * FRAME_CLOCK)

    def _start_strands(self, time: int) -> None:
        self._idle_since = self._number
        super()._start_strands(time)

    def _begin(self, index: int, button: int, time: int, strand: bool = False) -> Run[_Act]:
        run = super()._begin(index, button, time, strand)
        if not strand:
            order = self._starts % 256
            self._told[run.number] = _ToldRun(index, order, self._number, run.held, run.again)
            self._starts += 1
        return run

    def _end_all(self, time: int) -> None:
        super()._end_all(time)
        self._told.clear()

    def _free_number(self) -> int:
        """The lowest free one of which nothing is told any more; if there is none, the lowest."""
        free = [number for number in range(RUNS) if number not in self.runs]
        return next((number for number in free if number not in self._told), free[0])

    def _end(self, run: Run[_Act], time: int) -> None:
        super()._end(run, time)
        self._told.pop(run.number, None)

    def _ends(self, run: Run[_Act]) -> None:
        """What came to its end is told as long as it is news: it may have been but a moment."""
        told = self._told[run.number]
        super()._ends(run)
        if told.news:
            told.held = False
            self._told[run.number] = told

    def _release(self, run: Run[_Act], time: int) -> None:
        told = self._told[run.number]
        told.held, told.news = False, NEWS_TELLINGS
        if run.cue.let_go is not None:
            told.let_go, told.since = True, self._number
        super()._release(run, time)

    def _go_limp(self, time: int, asked: bool = True) -> None:
        self._limp_asked = asked
        super()._go_limp(time, asked)

    # -- what is told ---------------------------------------------------------------------------

    def _telling(self) -> HubState:
        live = frozenset(self._told)
        number = self._next_told()
        run: HubRun | None = None
        if number is not None:
            told = self._told[number]
            told.news = max(0, told.news - 1)
            self._last_told = number
            if not told.news and number not in self.runs:
                del self._told[number]
            cue: Any = self.program.cues[told.base].name
            age = self._number - told.since
            run = HubRun(number, cue, told.order, age, told.held, told.again, told.let_go)
        return HubState(
            self._number,
            self.mode,
            self.mode == "limp" and self._limp_asked,
            live,
            self._number - self._idle_since if self.mode == "ready" else 0,
            run,
        )

    def _next_told(self) -> int | None:
        """The newest run, the lowest of several; without news the next in turn."""
        if not self._told:
            return None
        newest = max(told.news for told in self._told.values())
        if newest:
            return min(n for n, told in self._told.items() if told.news == newest)
        turns = ((self._last_told + 1 + step) % RUNS for step in range(RUNS))
        return next(n for n in turns if n in self._told)
