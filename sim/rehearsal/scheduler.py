"""What runs when on one board: modes, requests, runs and threads, a frame at a time.

The rules are those of the table's specification (`firmware_gen/TABLE.md`), section 2, and stand
here once for everything in Python. A rehearsal drives outputs that keep what they do as pieces
(`sim.rehearsal.outputs`) and leaves out the frames in which nothing can happen; the player of a
table drives the board's integers (`firmware_gen.player`) in every frame. Which program is played,
and what a statement does to its output, this module does not know.

Times are whole units of the player's clock (`CLOCK_PER_MS`) and do not wrap.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field
from math import ceil, inf
from typing import Any, Final, Generic, Literal, Protocol, TypeAlias, TypeVar

from sim.model import PressKind
from sim.rehearsal.presses import Presses
from sim.rehearsal.requests import Request
from sim.rehearsal.scaling import scale_at_start
from sim.rulebook import (
    CLOCK_PER_MS,
    FRAME_CLOCK,
    LONGEST_DURATION_MS,
    OPS_A_FRAME,
    RUNS,
    SCALE_FULL,
    THREADS,
    WORD_MAX,
)
from sim.score.draws import drawn
from sim.score.program import (
    BoardProgram,
    Call,
    Choose,
    Do,
    Fork,
    GoOn,
    LoopEnd,
    LoopStart,
    PlayedBinding,
    PlayedCue,
    Statement,
    Thread,
    Wait,
)

Mode: TypeAlias = Literal["starting", "ready", "stopping", "limp"]

TOGGLED: Final = 64
"""Added to a button's number: its cue goes on until the button is pressed again."""

_Act = TypeVar("_Act", bound=Statement)
_Carried = TypeVar("_Carried", bound=Statement, contravariant=True)


class Outputs(Protocol[_Carried]):
    """The outputs of one board, by whatever the program's statements name them."""

    @property
    def servos(self) -> Collection[Hashable]: ...
    @property
    def lights(self) -> Collection[Hashable]: ...

    def stand_by(self, time: int) -> None:
        """The quiet start: safe angles without pulses, dark, steady, switches safe."""

    def enable(self, servos: int, time: int) -> None:
        """The first so many servos have pulses from this frame on, if they had none."""

    def cut_power(self, time: int) -> None:
        """All pulses end."""

    def light_safe(self, time: int) -> None:
        """Lamps and strips jump to their safe light."""

    def move_safe(self, time: int) -> None:
        """The controlled stop: servos and lights go to their safe state over the stop time."""

    def throw_safe(self, time: int) -> None:
        """Switches take their safe state."""

    def steady(self, names: Iterable[Any], time: int) -> None:
        """Take the effects off those of `names` that are lights."""

    def act(self, act: _Carried, time: int, cue: Any, least_ms: int = 0) -> None:
        """Carry out a statement of a cue (by its name), over `least_ms` at least."""

    def hold(self, names: Iterable[Any], time: int) -> Collection[Any]:
        """Let those of `names` that follow a source follow it no longer: they brake and stay. Which
        that were."""

    def glide(self, act: _Carried, time: int, duration_ms: int, cue: Any) -> None:
        """Bring an output to where a statement brings it, over another time: minimum jerk of a
        servo, a uniform fade."""

    def drawn(self, act: _Carried, count: int) -> Any:
        """The statement with what it draws in a thread that has come round so often."""

    def scaled(self, act: _Carried, scale: int) -> Any:
        """The statement as a run of that scale carries it out: a servo goes less far."""

    def lays_effect(self, act: _Carried) -> bool:
        """Whether a statement lays an effect on a light, or takes it off."""

    def takes_ms(self, act: _Carried) -> int:
        """How long a statement takes as it is written."""

    def output_end(self, name: Any) -> int:
        """When a servo's motion or a light's fade ends; of one at rest any time that is over."""

    def motions_end(self) -> int:
        """When the last motion ends."""


@dataclass(eq=False, slots=True)
class Run(Generic[_Act]):
    """A cue that is running. A strand of idle is a run of its own, beside those of cues."""

    number: int
    index: int
    """Of its cue in the program."""
    cue: PlayedCue[_Act]
    owned: set[Hashable]
    button: int
    """The button that started it; 0: none. With `TOGGLED` if the next press lets it go."""
    held: bool
    again: bool
    began: int
    restarted: int
    end: int
    strand: bool = False
    threads: int = 0
    scale: int = SCALE_FULL
    """How far its servos go, also in its part for letting go and when it starts over."""


@dataclass(eq=False, slots=True)
class LiveThread(Generic[_Act]):
    run: Run[_Act]
    ops: Thread[_Act]
    time: int
    at: int = 0
    loops: list[tuple[int, int | None]] = field(default_factory=list)
    """Open loops: where the body begins, and passes left where they are counted."""
    calls: list[tuple[Thread[_Act], int]] = field(default_factory=list)
    """Open calls: where the thread goes on after each."""
    left_ms: int = 0
    """Of a long wait that has begun."""
    rounds: int = 0
    """How often a loop came to its end, or the strand began anew: by it draws differ."""


class Journal(Generic[_Act]):
    """What a scheduler tells as it happens; this one writes nothing down."""

    def entered(self, mode: Mode, time: int) -> None: ...
    def ended(self, run: Run[_Act], time: int) -> None: ...

    def refused(self, cues: Sequence[PlayedCue[_Act]], time: int) -> None:
        """One refused request, and the cues that it would have started."""


class Scheduler(Generic[_Act]):
    """One board's player: modes, requests, runs and threads, without any arithmetic of outputs."""

    def __init__(
        self,
        program: BoardProgram[_Act],
        outputs: Outputs[_Act],
        journal: Journal[_Act] | None = None,
    ) -> None:
        self.program, self.outputs = program, outputs
        self._journal: Journal[_Act] = Journal() if journal is None else journal
        self._servos = frozenset(outputs.servos)
        self.runs: dict[int, Run[_Act]] = {}
        self._threads: dict[int, LiveThread[_Act]] = {}
        self._movers: dict[Hashable, Run[_Act]] = {}
        """The run that each servo's motion belongs to, while that run lives."""
        self._waiting: dict[int, int] = {}
        """The button that would start each cue that waits."""
        self._strand_acts: dict[Hashable, _Act] = {}
        """By output, the last statement of its strand, carried out or not."""
        self._strand_effects: dict[Hashable, _Act] = {}
        """The same of effects."""
        self._gliding: set[Hashable] = set()
        """Outputs that glide back into idle."""
        self.presses = Presses(program)
        self._turns: dict[PlayedBinding, int] = {}
        """How far each list of cues has come, by its first binding."""
        self.mode: Mode = "starting"
        self.stopped_at = -1
        """When a stop, limp or standby was last asked for, in any mode, or a stop button went down;
        -1: never."""
        self.source_values: Mapping[Any, int | None] = {}
        """What each source stands at in this frame; None, or no entry: it is not live."""
        self._started = 0
        self._lost_since = -1
        """The frame in which the lost cue last started: it is armed by what is heard later."""
        self.refused = 0
        self.overruns = 0
        self._unsettled = False
        """Whether this frame changed something that the next one may act on."""
        outputs.stand_by(0)

    # -- one frame ------------------------------------------------------------------------------

    def frame(self, number: int, requests: Sequence[Request], heard: int) -> None:
        """Play a frame. `heard`: the last frame in which something was heard; -1: none so far."""
        time = number * FRAME_CLOCK
        self._unsettled = bool(requests)
        if self.mode == "starting" and number >= self._ready_frame():
            self._enter("ready", time)
            self.outputs.enable(len(self._servos), time)
            self.outputs.light_safe(time)
            self._start_strands(time)
        self._before_requests(number)
        for request in requests:
            self._take(request, number)
        self._decide_presses(number)
        self._after_requests(number)
        if self.mode == "ready":
            self._listen(number, heard)
            if self._waiting:
                self._start_waiting(time)
        self._execute(time)
        self._after_threads(number)
        if self.mode == "stopping" and self.outputs.motions_end() <= time:
            self._go_limp(time, asked=False)
        if self.mode == "starting":
            self._enable(number)

    def _before_requests(self, number: int) -> None:
        """For boards that lead or follow: a place in the frame."""

    def _after_requests(self, number: int) -> None:
        """Likewise."""

    def _after_threads(self, number: int) -> None:
        """Likewise."""

    def next_frame(self, number: int) -> float:
        """The next frame in which something may happen, if nothing comes from outside."""
        return number + 1 if self._unsettled else self._due_frame(number)

    def _due_frame(self, number: int) -> float:
        """The next frame for which something is planned."""
        coming: list[float] = []
        if self._threads:
            first = min(thread.time for thread in self._threads.values())
            coming.append(ceil(first / FRAME_CLOCK))
        coming.append(self.presses.next_frame())
        interval = self.program.enable_interval
        if self.mode == "starting" and interval:
            gone = (number - self._started) // interval
            coming.append(self._started + (gone + 1) * interval)
        elif self.mode == "stopping":
            coming.append(ceil(self.outputs.motions_end() / FRAME_CLOCK))
        return max(number + 1, min(coming, default=inf))

    @property
    def taken(self) -> frozenset[Hashable]:
        """The outputs that cues have, and no strand of idle."""
        return frozenset().union(*(run.owned for run in self.runs.values() if not run.strand))

    def _ready_frame(self) -> int:
        return self._started + len(self._servos) * self.program.enable_interval

    def _enable(self, number: int) -> None:
        interval = self.program.enable_interval
        on = (number - self._started) // interval + 1 if interval else len(self._servos)
        self.outputs.enable(min(on, len(self._servos)), number * FRAME_CLOCK)

    def _listen(self, number: int, heard: int) -> None:
        """Start the lost cue, once for each silence."""
        lost, silence = self.program.lost, self.program.lost_frames
        if lost is None or not silence or number - heard < silence or heard <= self._lost_since:
            return
        if self._start(lost, 0, number * FRAME_CLOCK):
            self._lost_since = number
        else:
            self._unsettled = True

    # -- modes and requests ---------------------------------------------------------------------

    def _enter(self, mode: Mode, time: int) -> None:
        self._journal.entered(mode, time)
        self.mode, self._unsettled = mode, True

    def _take(self, request: Request, number: int) -> None:
        time = number * FRAME_CLOCK
        if request.kind == "trigger":
            index = self.program.numbers.get(request.cue)
            self._start_each([] if index is None else [index], 0, time, asked=True)
        elif request.kind == "down":
            self._button_down(request.button, number)
        elif request.kind == "up":
            self._button_up(request.button, number)
        elif request.kind == "stop":
            self._stop(time)
        elif request.kind == "limp":
            self.stopped_at = time
            if self.mode != "limp":
                self._go_limp(time)
        elif self.mode == "limp":
            self._stand_by(number)
        else:
            self._refuse((), time)

    @property
    def stop_is_down(self) -> bool:
        return self.presses.is_down(self.program.stop_button or 0)

    def _button_down(self, button: int, number: int) -> None:
        time = number * FRAME_CLOCK
        self.presses.note_down(button, number)
        if button == self.program.stop_button:
            self._stop(time)
            return
        bound = [one.cue for one in self.program.bindings if one.button == button]
        if not self._may_start():
            self._start_each(bound, button, time, asked=bool(bound))
        elif (kind := self.presses.down(button, number)) is not None:
            self._press(button, kind, time)

    def _button_up(self, button: int, number: int) -> None:
        time = number * FRAME_CLOCK
        self.presses.note_up(button)
        self._let_wait_no_more(button)
        for _, run in sorted(self.runs.items()):
            if run.held and run.button == button:
                self._release(run, time)
        kind = self.presses.up(button, number)
        if not self._may_start() or button == self.program.stop_button:
            return
        if kind is not None:
            self._press(button, kind, time)
        self._press(button, "up", time)

    def _let_wait_no_more(self, by: int) -> None:
        """Cues with a part for letting go do not wait for a button that is up again."""
        cues = self.program.cues
        for index in [n for n, button in self._waiting.items() if button == by]:
            if cues[index].let_go is not None:
                del self._waiting[index]

    def _decide_presses(self, number: int) -> None:
        if not self._may_start():
            self.presses.forget()
            return
        for button, kind in self.presses.decided(number):
            self._press(button, kind, number * FRAME_CLOCK)

    def _press(self, button: int, kind: PressKind, time: int) -> None:
        """Do what is bound to a kind of press, lowest binding first."""
        bound = [b for b in self.program.bindings if (b.button, b.kind) == (button, kind)]
        listed = [one for one in bound if one.manner == "next"]
        for one in bound:
            if one.manner == "start":
                self._start(one.cue, button, time)
            elif one.manner == "toggle":
                self._toggle(one, time)
            elif one is listed[0]:
                turn = self._turns.get(one, 0)
                if self._start(listed[turn].cue, button, time):
                    self._turns[one] = (turn + 1) % len(listed)

    def _toggle(self, bound: PlayedBinding, time: int) -> None:
        """Start a cue that goes on until this is asked again, or let that go."""
        by = bound.button + TOGGLED
        on = [
            run
            for _, run in sorted(self.runs.items())
            if run.held and run.button == by and run.index == bound.cue
        ]
        for run in on:
            if bound.ends:
                self._part_with(run, time)
            else:
                self._release(run, time)
        if on:
            return
        if self._waiting.get(bound.cue) == by:
            del self._waiting[bound.cue]
        else:
            self._start(bound.cue, by, time)

    def _part_with(self, run: Run[_Act], time: int) -> None:
        """End a run, and give its outputs back from the last frame on."""
        self._give_back(run, time - FRAME_CLOCK)
        self._end(run, time)

    def _release(self, run: Run[_Act], time: int) -> None:
        """Nothing holds a run any more."""
        run.held = False
        if run.cue.let_go is not None:
            self._let_go(run, run.cue.let_go, time, time - FRAME_CLOCK)

    def _may_start(self) -> bool:
        """Whether requests may start cues."""
        return self.mode == "ready"

    def _start_each(self, cues: list[int], button: int, time: int, asked: bool) -> None:
        """Start what a request asks for; in another mode than ready it is refused as one."""
        if self._may_start():
            for index in cues:
                self._start(index, button, time)
        elif asked:
            self._refuse([self.program.cues[index] for index in cues], time)

    def _stand_by(self, number: int) -> None:
        time = number * FRAME_CLOCK
        self.stopped_at = time
        self._enter("starting", time)
        self._started = number
        self._turns.clear()
        self._movers.clear()
        self.outputs.stand_by(time)

    def _stop(self, time: int) -> None:
        self.stopped_at = time
        if self.mode == "ready":
            self._end_all(time)
            self._enter("stopping", time)
            self.outputs.steady(self.outputs.lights, time)
            self.outputs.throw_safe(time)
            self._movers.clear()
            self.outputs.move_safe(time - FRAME_CLOCK)
        elif self.mode != "limp":
            self._go_limp(time)

    def _go_limp(self, time: int, asked: bool = True) -> None:
        """`asked`: somebody wants it; otherwise a stop has come to its end."""
        self._end_all(time)
        self._enter("limp", time)
        self.outputs.throw_safe(time)
        self.outputs.cut_power(time)

    def _end_all(self, time: int) -> None:
        self._waiting.clear()
        self._gliding.clear()
        self._strand_acts.clear()
        self._strand_effects.clear()
        for run in list(self.runs.values()):
            self._end(run, time)

    # -- runs -----------------------------------------------------------------------------------

    def _start_strands(self, time: int) -> None:
        """Let every strand of idle begin; nothing else runs yet."""
        for index, cue in enumerate(self.program.cues):
            if cue.strand:
                self._begin(index, 0, time, strand=True)

    def _start(self, index: int, button: int, time: int) -> bool:
        """Start a cue, or let it wait; False where it is refused."""
        cue = self.program.cues[index]
        if cue.conflict != "take" and self._taken(cue):
            if cue.conflict == "wait":
                self._waiting[index] = button
                return True
            self._refuse([cue], time)
            return False
        leaving = self._leaving(cue)
        if not self._has_room(cue, leaving):
            self._refuse([cue], time)
            return False
        self._take_outputs(cue, leaving, time)
        self._begin(index, button, time)
        return True

    def _start_waiting(self, time: int) -> None:
        """Start the waiting cues whose outputs no other cue owns, if there is room."""
        for index in sorted(self._waiting):
            cue = self.program.cues[index]
            if self._taken(cue):
                continue
            leaving = self._leaving(cue)
            if self._has_room(cue, leaving):
                self._take_outputs(cue, leaving, time)
                self._begin(index, self._waiting[index], time)

    def _taken(self, cue: PlayedCue[_Act]) -> bool:
        """Whether a run, other than a strand of idle, owns one of the cue's outputs."""
        return any(not run.strand and run.owned & cue.outputs for run in self.runs.values())

    def _leaving(self, cue: PlayedCue[_Act]) -> list[Run[_Act]]:
        """Runs that a start of this cue ends: those it takes the last output from. No strand."""
        return [
            run
            for run in self.runs.values()
            if not run.strand and run.owned and run.owned <= cue.outputs
        ]

    def _has_room(self, cue: PlayedCue[_Act], leaving: list[Run[_Act]]) -> bool:
        reserved = [run.cue.reserved for run in self.runs.values() if run not in leaving]
        return len(reserved) < RUNS and sum(reserved) + cue.reserved <= THREADS

    def _take_outputs(self, cue: PlayedCue[_Act], leaving: list[Run[_Act]], time: int) -> None:
        for run in leaving:
            self._end(run, time)
        self._claim(cue.outputs, time)

    def _claim(self, outputs: Set[Hashable], time: int) -> None:
        """Take outputs from all runs, from their way back to idle, and from what they follow."""
        for run in self.runs.values():
            run.owned -= outputs
        self._gliding -= outputs
        self._hold(outputs, time)
        self.outputs.steady(outputs, time)

    def _begin(self, index: int, button: int, time: int, strand: bool = False) -> Run[_Act]:
        self._waiting.pop(index, None)
        return self._new_run(self._free_number(), index, button, time - FRAME_CLOCK, strand)

    def _free_number(self) -> int:
        return next(number for number in range(RUNS) if number not in self.runs)

    def _new_run(
        self, number: int, index: int, button: int, at: int, strand: bool = False
    ) -> Run[_Act]:
        """A run of a cue in a free place, with its first thread."""
        cue = self.program.cues[index]
        bound = (b.again for b in self.program.bindings if (b.button, b.cue) == (button, index))
        run = Run(
            number,
            index,
            cue,
            set(cue.outputs),
            button,
            held=button > TOGGLED or self.presses.is_down(button),
            again=next(bound, False),
            began=at,
            restarted=at,
            end=at,
            strand=strand,
        )
        if not strand:
            run.scale = self._scale_now(cue)
        self.runs[run.number] = run
        self._spawn(run, cue.first, at)
        self._unsettled = True
        return run

    def _scale_now(self, cue: PlayedCue[_Act]) -> int:
        """How far a cue goes that starts in this frame."""
        if cue.scale is None:
            return SCALE_FULL
        return scale_at_start(cue.scale, self.source_values.get(cue.scale.source))

    def _begin_anew(self, run: Run[_Act], at: int) -> None:
        """Let a run begin its cue anew; it keeps its outputs."""
        self._end_threads(run)
        self._movers = {name: one for name, one in self._movers.items() if one is not run}
        run.began = run.restarted = run.end = at
        self._spawn(run, run.cue.first, at)

    def _end(self, run: Run[_Act], time: int) -> None:
        self._journal.ended(run, time)
        del self.runs[run.number]
        self._end_threads(run)

    def _end_threads(self, run: Run[_Act]) -> None:
        for number in [n for n, thread in self._threads.items() if thread.run is run]:
            del self._threads[number]
        run.threads = 0
        self._unsettled = True

    def _let_go(self, run: Run[_Act], part: int, time: int, start: int) -> None:
        """The part for letting go goes on in a cue's place, from wherever everything is.

        `start`: from when on the new thread counts its time.
        """
        self._journal.ended(run, time)
        self._end_threads(run)
        self._movers = {name: one for name, one in self._movers.items() if one is not run}
        run.index, run.cue, run.again = part, self.program.cues[part], False
        run.began = run.restarted = run.end = start
        self.outputs.steady(run.cue.outputs & run.owned, start)
        self._spawn(run, run.cue.first, start)

    def _give_back(self, run: Run[_Act], time: int) -> None:
        """Give the outputs of a cue that ends back to the strands of idle that use them."""
        for strand in self.runs.values():
            if not strand.strand:
                continue
            for name in run.owned & strand.cue.outputs:
                strand.owned.add(name)
                self._glide(name, strand, time)
        used = {name for one in self.program.cues if one.strand for name in one.outputs}
        for name in sorted((run.owned & self.program.rests.keys()) - used, key=str):
            self._glide(name, None, time)

    def _glide(self, name: Hashable, strand: Run[_Act] | None, time: int) -> None:
        """Bring an output to where its strand has last wanted it, or to rest if it follows a
        source; nowhere otherwise."""
        wanted = self._strand_effects.get(name), self._strand_acts.get(name)
        self._bring(name, strand, time, *wanted)

    def _bring(
        self,
        name: Hashable,
        run: Run[_Act] | None,
        time: int,
        effect: _Act | None,
        act: _Act | None,
    ) -> None:
        """Let an output go the way back to an effect and a statement, or to its rest."""
        cue = run.cue.name if run else None
        self.outputs.steady((name,), time)
        if effect is not None:
            self.outputs.act(effect, time, cue)
        if act is None:
            act = self.program.rests.get(name)
        if act is not None:
            self._movers.pop(name, None)
            self.outputs.glide(act, time, self.program.glide_ms, cue)
            self._gliding.add(name)

    # -- outputs that follow a source -----------------------------------------------------------

    def source_is_lost(self, name: Hashable, time: int) -> None:
        """The source that an output follows is live no longer: it goes to idle, or to rest."""
        owners = (run for run in self.runs.values() if name in run.owned)
        self._hold((name,), time)
        self._glide(name, next(owners, None), time - FRAME_CLOCK)

    def _hold(self, names: Iterable[Hashable], time: int) -> None:
        """What follows a source brakes from the last frame on, and its motion belongs to no run."""
        for name in self.outputs.hold(names, time - FRAME_CLOCK):
            self._movers.pop(name, None)

    def _refuse(self, cues: Sequence[PlayedCue[_Act]], time: int) -> None:
        self.refused += 1
        self._journal.refused(cues, time)

    # -- threads --------------------------------------------------------------------------------

    def _spawn(self, run: Run[_Act], index: int, time: int, rounds: int = 0) -> None:
        number = next(n for n in range(THREADS) if n not in self._threads)
        self._threads[number] = LiveThread(run, run.cue.threads[index], time, rounds=rounds)
        run.threads += 1

    def _execute(self, time: int) -> None:
        """Execute what is due, as far as a frame's ops reach; what is left becomes due anew."""
        late = self._play(time, OPS_A_FRAME)
        self.overruns += bool(late)
        for thread in late:
            thread.time = time

    def _play(self, time: int, most: int, silent: bool = False) -> list[LiveThread[_Act]]:
        """Execute so many ops of what is due, the earliest thread first; the threads still due."""
        for _ in range(most):
            turns = self._taking_turns(silent)
            due = min(((thread.time, number) for number, thread in turns), default=None)
            if due is None or due[0] > time:
                return []
            self._step(due[1], self._threads[due[1]])
        return [thread for _, thread in self._taking_turns(silent) if thread.time <= time]

    def _taking_turns(self, silent: bool) -> Iterable[tuple[int, LiveThread[_Act]]]:
        """Threads by number, of runs that are silent or are not: none is, on a board by itself."""
        return () if silent else self._threads.items()

    def _step(self, number: int, thread: LiveThread[_Act]) -> None:
        if thread.at == len(thread.ops):
            if thread.calls:
                thread.ops, thread.at = thread.calls.pop()
            else:
                self._finish(number, thread)
            return
        match thread.ops[thread.at]:
            case Do(act, wait_ms, most_ms, key):
                act = self.outputs.drawn(act, thread.rounds)
                if thread.run.scale != SCALE_FULL:
                    act = self.outputs.scaled(act, thread.run.scale)
                if thread.run.strand:
                    self._remember(act)
                if act.output in thread.run.owned and not self._drive(thread, act, thread.time):
                    return
                thread.time += drawn(wait_ms, most_ms, key, thread.rounds) * CLOCK_PER_MS
            case Wait(duration_ms, most_ms, key):
                if not self._wait(thread, drawn(duration_ms, most_ms, key, thread.rounds)):
                    return
            case LoopStart(times):
                thread.loops.append((thread.at + 1, times))
            case LoopEnd():
                self._loop_end(thread)
                return
            case Fork(index):
                if thread.run.threads >= thread.run.cue.reserved:
                    thread.time += FRAME_CLOCK
                    return
                self._spawn(thread.run, index, thread.time, thread.rounds)
            case GoOn(index):
                thread.ops, thread.at = thread.run.cue.threads[index], 0
                return
            case Call(index):
                thread.calls.append((thread.ops, thread.at + 1))
                thread.ops, thread.at = thread.run.cue.threads[index], 0
                return
            case Choose(key, indices):
                index = indices[drawn(0, len(indices) - 1, key, thread.rounds)]
                thread.calls.append((thread.ops, thread.at + 1))
                thread.ops, thread.at = thread.run.cue.threads[index], 0
                return
        thread.at += 1

    def _wait(self, thread: LiveThread[_Act], duration_ms: int) -> bool:
        """Let time pass, a long wait in pieces; False if another piece is left."""
        left_ms = thread.left_ms or duration_ms
        piece_ms = min(left_ms, LONGEST_DURATION_MS)
        thread.time += piece_ms * CLOCK_PER_MS
        thread.left_ms = left_ms - piece_ms
        return thread.left_ms == 0

    def _drive(self, thread: LiveThread[_Act], act: _Act, start: int) -> bool:
        """Carry out a statement from `start` on; False where it has to wait for its servo's last
        move."""
        name, run = act.output, thread.run
        if name in self._gliding and not self.outputs.lays_effect(act):
            left = self.outputs.output_end(name) - start
            least_ms = min(-(-left // CLOCK_PER_MS), LONGEST_DURATION_MS)
            if least_ms > self.outputs.takes_ms(act):
                self.outputs.act(act, start, run.cue.name, least_ms)
                return True
            self._gliding.discard(name)
        if run.strand and self.program.strands_in_step:
            self._movers.pop(name, None)
        elif name in self._servos:
            if self._movers.get(name) is run:
                left = self.outputs.output_end(name) - thread.time
                if left > 0:
                    thread.time += left
                    return False
            self._movers[name] = run
        self.outputs.act(act, start, run.cue.name)
        return True

    def _remember(self, act: _Act) -> None:
        """Where a strand wants an output, whoever holds it."""
        kept = self._strand_effects if self.outputs.lays_effect(act) else self._strand_acts
        kept[act.output] = act

    def _loop_end(self, thread: LiveThread[_Act]) -> None:
        thread.rounds = (thread.rounds + 1) & WORD_MAX
        begin, left = thread.loops.pop()
        loop = thread.ops[begin - 1]
        assert isinstance(loop, LoopStart)
        if loop.while_held:
            back = thread.run.held
        else:
            left = None if left is None else left - 1
            back = left != 0
        if back:
            thread.loops.append((begin, left))
        thread.at = begin if back else thread.at + 1

    def _finish(self, number: int, thread: LiveThread[_Act]) -> None:
        run = thread.run
        if run.threads == 1 and (still := self._moves_on(run, thread.time)) > 0:
            thread.time += still
            return
        del self._threads[number]
        run.threads -= 1
        run.end = max(run.end, thread.time)
        if run.threads:
            return
        if run.strand or (run.again and run.held):
            run.restarted = max(run.end, run.restarted + FRAME_CLOCK)
            rounds = (thread.rounds + 1) & WORD_MAX
            self._spawn(run, run.cue.first, run.restarted, rounds)
        elif run.cue.let_go is None:
            self._ends(run)
        elif not run.held:
            self._let_go(run, run.cue.let_go, run.end, run.end)

    def _ends(self, run: Run[_Act]) -> None:
        """A run has come to its end by itself."""
        self._give_back(run, run.end)
        self._end(run, run.end)

    def _moves_on(self, run: Run[_Act], time: int) -> int:
        """How long a motion that belongs to the run lasts beyond a time."""
        own = (name for name, mover in self._movers.items() if mover is run)
        return max((self.outputs.output_end(name) - time for name in own), default=0)
