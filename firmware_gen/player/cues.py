"""Which cue runs, on which outputs, and what it does next: TABLE.md, section 2.

Times are 1/256 ms and do not wrap here (see `player_motion`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from firmware_gen.chips import LIMITS
from firmware_gen.table.layout import CONFLICTS, FAR, LOOP_FOREVER, LOOP_HELD
from firmware_gen.table.ops import Act, Delay, ForkTo, GoOn, Loop, LoopBack, Modulate, Turn
from firmware_gen.table.records import CueRecord, Table

MS: Final = 256
FRAME: Final = 20 * MS
NONE: Final = -1

_WAIT, _REFUSE = CONFLICTS.index("wait"), CONFLICTS.index("refuse")


@dataclass(slots=True, eq=False)
class Run:
    """A cue that is playing."""

    cue: int
    owned: int
    """Mask of the outputs it still owns."""
    reserved: int
    button: int
    """The button that started it; 0: none."""
    held: bool
    again: bool
    started: int
    end: int
    threads: int = 0


@dataclass(slots=True, eq=False)
class Thread:
    run: int
    code: int
    """Index of the table's thread that it executes."""
    time: int
    at: int = 0
    loops: list[tuple[int, int]] = field(default_factory=list)
    """Where each open loop begins, and its passes left (as in the bytes)."""


class Cues:
    """Runs, threads, owners of outputs and waiting cues of one table.

    `perform` carries out what concerns an output: (op, thread time, run) -> the time at which to
    try again, or None when done.
    """

    def __init__(
        self,
        table: Table,
        perform: Callable[[Act | Turn | Modulate, int, int], int | None],
        release: Callable[[int], None],
        steady: Callable[[int], None],
    ) -> None:
        self._table = table
        self._perform = perform
        self._release = release
        self._steady = steady
        self.runs: list[Run | None] = [None] * LIMITS.runs
        self.threads: list[Thread | None] = [None] * LIMITS.threads
        self.owners: list[int] = [NONE] * len(table.outputs)
        self.waiting: dict[int, int] = {}
        self.down: set[int] = set()
        self.refused = 0
        self.overruns = 0

    # -- starting and ending -------------------------------------------------------------------

    def start(self, cue: int, time: int, button: int = 0) -> bool:
        """Start a cue in the frame of this time, or leave it waiting; False if it is refused."""
        record = self._table.cues[cue]
        if self._conflicts(record):
            if record.conflict == _REFUSE:
                self.refused += 1
                return False
            if record.conflict == _WAIT:
                self.waiting[cue] = button
                return True
        if not self._has_room(record):
            self.refused += 1
            return False
        self._begin(cue, record, time, button)
        return True

    def start_waiting(self, time: int) -> None:
        """Start the waiting cues whose outputs are free."""
        for cue in sorted(self.waiting):
            record = self._table.cues[cue]
            if not any(owner != NONE for owner in self._owners_of(record)) and self._has_room(
                record
            ):
                self._begin(cue, record, time, self.waiting[cue])

    def start_idle(self, time: int) -> None:
        """Start the idle cue if nothing else runs or waits."""
        if self._table.idle is not None and not self.waiting and not self.live_runs:
            self.start(self._table.idle, time)

    def end_all(self) -> None:
        """End every run and forget the waiting cues."""
        for number, run in enumerate(self.runs):
            if run:
                self._end(number)
        self.waiting.clear()

    def let_go(self, button: int) -> None:
        """The button is up: what it started is no longer held."""
        self.down.discard(button)
        for run in self.runs:
            if run and run.button == button:
                run.held = False

    @property
    def live_runs(self) -> int:
        return sum(run is not None for run in self.runs)

    @property
    def running(self) -> int:
        """Mask of the cues that run."""
        mask = 0
        for run in self.runs:
            if run:
                mask |= 1 << run.cue
        return mask

    def _owners_of(self, record: CueRecord) -> list[int]:
        return [self.owners[n] for n in range(len(self.owners)) if record.outputs >> n & 1]

    def _conflicts(self, record: CueRecord) -> bool:
        for owner in self._owners_of(record):
            run = self.runs[owner] if owner != NONE else None
            if run and run.cue != self._table.idle:
                return True
        return False

    def _leaving(self, record: CueRecord) -> list[int]:
        """Runs that a start of this cue ends."""
        return [
            number
            for number, run in enumerate(self.runs)
            if run
            and (run.cue == self._table.idle or (run.owned and not run.owned & ~record.outputs))
        ]

    def _has_room(self, record: CueRecord) -> bool:
        leaving = self._leaving(record)
        staying = [run for number, run in enumerate(self.runs) if run and number not in leaving]
        threads = sum(run.reserved for run in staying) + record.threads
        return len(staying) < LIMITS.runs and threads <= LIMITS.threads

    def _begin(self, cue: int, record: CueRecord, time: int, button: int) -> None:
        for number in self._leaving(record):
            self._end(number)
        number = self.runs.index(None)
        for output in range(len(self.owners)):
            if record.outputs >> output & 1:
                owner = self.owners[output]
                former = self.runs[owner] if owner != NONE else None
                if former:
                    former.owned &= ~(1 << output)
                self.owners[output] = number
                self._steady(output)
        held = button in self.down
        again = next(
            (
                binding.while_held
                for binding in self._table.bindings
                if (binding.button, binding.cue) == (button, cue)
            ),
            False,
        )
        at = time - FRAME
        run = Run(cue, record.outputs, record.threads, button, held, again, at, at)
        self.runs[number] = run
        self._spawn(number, run, record.start, at)
        self.waiting.pop(cue, None)

    def _spawn(self, number: int, run: Run, code: int, time: int) -> None:
        self.threads[self.threads.index(None)] = Thread(number, code, time)
        run.threads += 1

    def _end(self, number: int) -> None:
        self.runs[number] = None
        self.owners = [NONE if owner == number else owner for owner in self.owners]
        self.threads = [
            None if thread and thread.run == number else thread for thread in self.threads
        ]
        self._release(number)

    # -- executing -----------------------------------------------------------------------------

    def execute(self, time: int) -> None:
        """Run all threads up to the frame's time, as far as its ops reach."""
        for _ in range(LIMITS.ops_per_frame):
            thread = self._next(time)
            if thread is None:
                return
            self._step(thread)
        late = [thread for thread in self.threads if thread and thread.time <= time]
        if late:
            self.overruns += 1
            for thread in late:
                thread.time = time

    def _next(self, time: int) -> Thread | None:
        first: Thread | None = None
        for thread in self.threads:
            if thread and thread.time <= time and (first is None or thread.time < first.time):
                first = thread
        return first

    def _step(self, thread: Thread) -> None:
        run = self.runs[thread.run]
        assert run is not None
        code = self._table.threads[thread.code]
        if thread.at == len(code):
            self._finish(thread, run)
            return
        op = code[thread.at]
        match op:
            case Act() | Turn() | Modulate():
                self._drive(thread, op)
                return
            case Delay():
                thread.time += MS * op.duration_ms
            case Loop():
                thread.loops.append((thread.at + 1, op.times))
            case LoopBack():
                self._loop_back(thread, run)
            case ForkTo():
                if run.threads >= run.reserved:
                    thread.time += FRAME
                    return
                self._spawn(thread.run, run, op.thread, thread.time)
            case GoOn():
                thread.code, thread.at = op.thread, 0
                return
        thread.at += 1

    def _drive(self, thread: Thread, op: Act | Turn | Modulate) -> None:
        if self.owners[op.output] == thread.run:
            later = self._perform(op, thread.time, thread.run)
            if later is not None:
                # As far as a board's 24 bits reach; then it is tried again (section 2).
                left = later - thread.time
                thread.time += left if left < FAR + 2**16 else FAR
                return
        if isinstance(op, Act) and op.wait:
            thread.time += MS * op.duration_ms
        thread.at += 1

    def _loop_back(self, thread: Thread, run: Run) -> None:
        start, left = thread.loops.pop()
        if left not in (LOOP_FOREVER, LOOP_HELD):
            left -= 1
            goes_on = left > 0
        else:
            goes_on = run.held if left == LOOP_HELD else True
        if goes_on:
            thread.loops.append((start, left))
            thread.at = start - 1

    def _finish(self, thread: Thread, run: Run) -> None:
        self.threads[self.threads.index(thread)] = None
        run.threads -= 1
        run.end = max(run.end, thread.time)
        if run.threads:
            return
        if not (run.again and run.held):
            self._end(thread.run)
            return
        at = max(run.end, run.started + FRAME)
        run.started = at
        self._spawn(thread.run, run, self._table.cues[run.cue].start, at)
