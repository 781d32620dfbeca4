"""A board that follows another one: what it makes of each state that it hears (TABLE.md 7).

It starts nothing by itself while it follows. What it missed it carries forward in silence, and
then glides to where everything should be.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from sim.rehearsal.leading import HubRun, HubState
from sim.rehearsal.requests import Request
from sim.rehearsal.scheduler import Journal, LiveThread, Outputs, Run, Scheduler
from sim.rulebook import (
    CLOCK_PER_MS,
    FOLLOWED_FRAMES,
    FRAME_CLOCK,
    IDLE_ERA_FRAMES,
    LATE_FRAMES,
    OLDEST_START_FRAMES,
    SILENT_OPS_A_FRAME,
    THREADS,
)
from sim.score.program import BoardProgram, PlayedCue, Statement

_Act = TypeVar("_Act", bound=Statement)


class FollowedOutputs(Outputs[_Act], Protocol[_Act]):
    """Outputs of a board that follows."""

    def shortened(self, act: _Act, by_ms: int) -> _Act:
        """The statement over so much less time, but not less than none."""


@dataclass(slots=True)
class _Followed:
    """What makes a run known again, and which of two came later."""

    order: int
    start: int
    """The frame, in this board's count, in which the run started."""


class FollowingScheduler(Scheduler[_Act]):
    """A scheduler that plays what another one says."""

    def __init__(
        self,
        program: BoardProgram[_Act],
        outputs: FollowedOutputs[_Act],
        journal: Journal[_Act] | None = None,
        *,
        joins: bool,
    ) -> None:
        self._driven = outputs
        self._joins = joins
        self._now = 0
        self._heard_state: tuple[HubState, int] | None = None
        self._foreign = False
        self._since = FOLLOWED_FRAMES
        """Frames since the last state that was heard."""
        self._stopped_here = False
        self._followed: dict[int, _Followed] = {}
        self._silent: set[int] = set()
        """Numbers of runs that are carried forward in silence."""
        self._cue_acts: dict[Hashable, _Act] = {}
        """By output, the last statement of a cue that is carried forward in silence."""
        self._cue_effects: dict[Hashable, _Act] = {}
        """The same of effects."""
        self._idle_start = 0
        self._played: tuple[object, ...] = ()
        """What ran, and was planned, after the last frame."""
        self._list: HubState | None = None
        """What was heard since the last frame."""
        super().__init__(program, outputs, journal)

    @property
    def follows(self) -> bool:
        return self._since < FOLLOWED_FRAMES

    def hear(self, state: HubState, frame: int, jumped: bool = False) -> None:
        """A state of the board that leads, of a frame in this board's own count; it is taken in
        the next frame. `jumped`: frames are counted another way than up to now."""
        self._heard_state, self._foreign = (state, frame), False
        if jumped:
            self._followed.clear()

    def hear_foreign(self, state: HubState) -> None:
        """The state of a board that plays another show: it may stop this one, and no more."""
        self._heard_state, self._foreign = (state, 0), True

    # -- the frame ------------------------------------------------------------------------------

    def frame(self, number: int, requests: Sequence[Request], heard: int) -> None:
        self._now = number * FRAME_CLOCK
        super().frame(number, requests, heard)
        plays = tuple(
            (n, run.index, run.held, run.threads, run.began) for n, run in self.runs.items()
        )
        planned = tuple((n, thread.time) for n, thread in self._threads.items())
        self._unsettled = bool(self._silent) or self._played != (plays, planned, self.mode)
        self._played = (plays, planned, self.mode)

    def _take(self, request: Request, number: int) -> None:
        stop_button = request.kind == "down" and request.button == self.program.stop_button
        if stop_button or request.kind in ("stop", "limp"):
            self._stopped_here = True
        elif request.kind == "standby":
            self._stopped_here = False
        super()._take(request, number)

    def _may_start(self) -> bool:
        return super()._may_start() and not self.follows

    def _after_requests(self, number: int) -> None:
        heard, self._heard_state = self._heard_state, None
        if heard is not None:
            self._obey(heard[0].mode, heard[0].limp_asked, number)
        if heard is None or self._foreign:
            if self._since < FOLLOWED_FRAMES:
                self._since += 1
                if self._since == FOLLOWED_FRAMES:
                    self._lose()
            self._list = None
            return
        state, frame = heard
        self._list = state
        self._since = 0
        self._waiting.clear()
        if self.mode == "ready" and state.mode == "ready":
            self._follow_idle(frame - min(state.idle_age, IDLE_ERA_FRAMES), number)
            if state.run is not None and state.run.number in state.live:
                self._follow_run(state.run, frame, number, state)

    def _after_threads(self, number: int) -> None:
        if self._list is not None and self.mode == "ready":
            self._end_others(self._list)

    # -- modes ----------------------------------------------------------------------------------

    def _obey(self, mode: str, asked: bool, number: int) -> None:
        time = number * FRAME_CLOCK
        at_once = mode == "limp" and asked
        if mode in ("stopping", "limp"):
            if mode == "limp":
                self._stopped_here = False
            if (self.mode == "ready" and not at_once) or (self.mode, mode) == ("limp", "stopping"):
                self._stop(time)
            elif self.mode == "starting" or (at_once and self.mode != "limp"):
                self._go_limp(time)
        elif self.mode == "limp" and not self._stopped_here and not self._foreign:
            self._stand_by(number)

    def _end_all(self, time: int) -> None:
        self._followed.clear()
        self._silent.clear()
        super()._end_all(time)

    def _lose(self) -> None:
        """The board that leads has been silent for too long: this one is alone."""
        for _, run in sorted(self.runs.items()):
            if run.number in self._followed:
                self._part_with(run, self._now)

    # -- idle -----------------------------------------------------------------------------------

    def _start_strands(self, time: int) -> None:
        self._idle_start = time // FRAME_CLOCK
        super()._start_strands(time)

    def _follow_idle(self, start: int, number: int) -> None:
        if (start - self._idle_start + 1) % 2**16 <= 2 or self._is_too_late(number - start):
            return
        self._idle_start = start
        for _, run in sorted(self.runs.items()):
            if run.strand:
                self._begin_anew(run, (start - 1) * FRAME_CLOCK)
                self._be_silent(run, number - start)

    # -- runs -----------------------------------------------------------------------------------

    def _is_too_late(self, late: int) -> bool:
        """Whether what began so many frames ago cannot be made good any more."""
        return not self._joins and late > LATE_FRAMES

    def _be_silent(self, run: Run[_Act], late: int) -> None:
        self._silent.discard(run.number)
        if self._joins and late > LATE_FRAMES:
            self._silent.add(run.number)

    def _follow_run(self, told: HubRun, frame: int, number: int, state: HubState) -> None:
        index = self.program.numbers.get(told.cue)
        start = frame - min(told.age, IDLE_ERA_FRAMES)
        run = self.runs.get(told.number)
        if run is not None and run.strand:
            return
        is_known = run is not None and self._is_known(run, told, index)
        if run is not None and index is None:
            self._part_with(run, self._now)
        if index is None:
            return
        part = self.program.cues[index].let_go
        if run is None or not is_known:
            missed = not self._joins and told.let_go
            if not missed and not self._is_too_late(number - start):
                self._join(told, index, part, start, number, state)
        elif told.let_go and run.index == index and part is not None:
            run.held = False
            self._let_go(run, part, self._now, (start - 1) * FRAME_CLOCK)
            self._be_silent(run, number - start)
        else:
            run.held = told.held

    def _is_known(self, run: Run[_Act], told: HubRun, index: int | None) -> bool:
        known = self._followed.get(run.number)
        if known is None or known.order != told.order or index is None:
            return False
        return run.index in (index, self.program.cues[index].let_go)

    def _join(
        self,
        told: HubRun,
        index: int,
        part: int | None,
        start: int,
        number: int,
        state: HubState,
    ) -> None:
        lets_go = told.let_go and part is not None
        played = part if lets_go and part is not None else index
        if not self._has_threads(self.program.cues[index], told.number, state):
            return
        known = _Followed(told.order, start)
        outputs = self.program.cues[index].outputs - self._owned_later(told.number, known, number)
        self._claim(outputs, self._now)
        if (before := self.runs.get(told.number)) is not None:
            self._part_with(before, self._now)
        self._followed[told.number] = known
        run = self._new_run(told.number, played, 0, (start - 1) * FRAME_CLOCK)
        run.owned = set(outputs)
        run.scale = self._scale_now(self.program.cues[index])  # also where its part is played
        run.held, run.again = told.held and not lets_go, told.again and not lets_go
        self._be_silent(run, number - start)
        self._forget(outputs)

    def _has_threads(self, cue: PlayedCue[_Act], number: int, state: HubState) -> bool:
        """Whether there is room for a cue in the place of a run's number."""
        if self._reserved(number) + cue.reserved > THREADS:
            self._end_others(state)
        return self._reserved(number) + cue.reserved <= THREADS

    def _reserved(self, without: int) -> int:
        runs = (run for run in self.runs.values() if run.threads and run.number != without)
        return sum(run.cue.reserved for run in runs)

    def _owned_later(self, own: int, known: _Followed, number: int) -> set[Hashable]:
        """The outputs of runs that started after this one."""

        def age(one: _Followed) -> int:
            return min(number - one.start, OLDEST_START_FRAMES)

        found: set[Hashable] = set()
        if not self._joins:
            return found  # starts are taken as they are heard of
        for run in self.runs.values():
            other = self._followed.get(run.number)
            if other is None or run.number == own:
                continue
            order = (other.order - known.order + 128) % 256 - 128
            if age(other) < age(known) or (age(other) == age(known) and order > 0):
                found |= run.owned
        return found

    def _end_others(self, state: HubState) -> None:
        """End the runs that the board that leads does not have."""
        for _, run in sorted(self.runs.items()):
            is_listed = run.number in state.live and run.number in self._followed
            if not run.strand and not is_listed:
                self._part_with(run, self._now)

    def _end(self, run: Run[_Act], time: int) -> None:
        super()._end(run, time)
        self._followed.pop(run.number, None)
        self._silent.discard(run.number)

    def _ends(self, run: Run[_Act]) -> None:
        """A run that comes to its end by itself stays until the list lacks it."""
        self._give_back(run, max(run.end, self._now - FRAME_CLOCK))
        if run.number in self._followed:
            run.owned.clear()
            self._silent.discard(run.number)
        else:
            self._end(run, run.end)

    def _glide(self, name: Hashable, strand: Run[_Act] | None, time: int) -> None:
        if strand is None or strand.number not in self._silent:
            super()._glide(name, strand, time)

    # -- threads --------------------------------------------------------------------------------

    def _execute(self, time: int) -> None:
        if self._silent:
            self._carry_forward(time)
        super()._execute(time)

    def _taking_turns(self, silent: bool) -> Iterable[tuple[int, LiveThread[_Act]]]:
        return [
            (number, thread)
            for number, thread in self._threads.items()
            if (thread.run.number in self._silent) == silent
        ]

    def _carry_forward(self, time: int) -> None:
        self._play(time, SILENT_OPS_A_FRAME, silent=True)
        for number in sorted(self._silent):
            run = self.runs[number]
            if all(t.time > time for t in self._threads.values() if t.run is run):
                self._land(run)

    def _land(self, run: Run[_Act]) -> None:
        """What was carried forward has come to now: its outputs glide to where they should be."""
        self._silent.discard(run.number)
        acts = self._strand_acts if run.strand else self._cue_acts
        effects = self._strand_effects if run.strand else self._cue_effects
        for name in run.owned:
            self._bring(name, run, self._now - FRAME_CLOCK, effects.get(name), acts.get(name))
        if not run.strand:
            self._forget(run.owned)

    def _forget(self, names: set[Hashable] | frozenset[Hashable]) -> None:
        """Nothing is wanted of these outputs by a cue any more."""
        for name in names:
            self._cue_acts.pop(name, None)
            self._cue_effects.pop(name, None)

    def _drive(self, thread: LiveThread[_Act], act: _Act, start: int) -> bool:
        """What should have been done before the last frame is done from then on, in what is left
        of its time."""
        run = thread.run
        if run.number in self._silent:
            if not run.strand:
                kept = self._cue_effects if self.outputs.lays_effect(act) else self._cue_acts
                kept[act.output] = act
            return True
        late = self._now - FRAME_CLOCK - start
        if late > 0:
            act = self._driven.shortened(act, late // CLOCK_PER_MS)
        return super()._drive(thread, act, start + max(0, late))
