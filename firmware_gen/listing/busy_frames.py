"""How much a board has to do in one frame, by its table (TABLE.md 2.3, step 4).

A player executes a bounded number of ops in a frame; what is over is played a frame later. A cue
is counted as it is written, from the frame in which it starts. (Where a move has to be stretched,
what follows it in its thread comes later.)

There are two ways to count. One looks at each thread by itself, with long waits and loops cut
short. It may count too much, never too little, and most tables are done with it. The other plays.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import Any, Final, NamedTuple

from firmware_gen.compiler.show import CompiledBoard
from firmware_gen.player.program import OutputOp, board_program
from sim.model import NO_MARK
from sim.rehearsal.requests import Request
from sim.rehearsal.scheduler import LiveThread, Outputs, Scheduler
from sim.rulebook import (
    CHOICES,
    CLOCK_PER_MS,
    FRAME_MS,
    OPS_A_FRAME,
    RUNS,
    THREADS,
)
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
    Thread,
    Wait,
)

MOST_PLAYED: Final = 100_000
"""Ops of a board that are played at most, of each of its cues the same share (own limit: half a
second's work)."""
_BUTTON: Final = 1


@dataclass(frozen=True, slots=True)
class Crowd:
    """The first frame of a cue that is overfull; if there is none, its fullest one."""

    cue: int
    """By its index in the table."""
    ops: int
    at_ms: int
    """From the cue's start to the first of these ops, as the cue is written."""
    let_go: bool
    """They are those of its part for letting go; then from the moment when that begins."""
    marks: tuple[int, ...]
    """Of the statements among them, in their order."""


@dataclass(frozen=True, slots=True)
class Busy:
    """What may fall into one frame of a board, if that is more than it does."""

    alone: tuple[Crowd, ...] = ()
    """Cues that overfill a frame by themselves."""
    idle: int = 0
    """Ops of all strands of idle that may fall into one frame."""
    beside_idle: tuple[Crowd, ...] = ()
    """Cues that overfill one together with these."""
    together: tuple[Crowd, ...] = ()
    """Cues that may do so together, with idle, and none of which does alone."""


def busy(board: CompiledBoard) -> Busy:
    """The frames of a board in which there may be more to do than it does in one."""
    program = board_program(board.table)
    strands = [n for n, cue in enumerate(program.cues) if cue.strand]
    parts = {cue.let_go for cue in program.cues}
    cues = {n: one for n, one in enumerate(program.cues) if not one.strand and n not in parts}
    bounds = {n: _bound_with_part(program, cue) for n, cue in enumerate(program.cues)}
    idle = sum(bounds[n] for n in strands)
    room = _RunsAndThreads(
        RUNS - len(strands), THREADS - sum(program.cues[n].reserved for n in strands)
    )
    if _sum(bounds, _heaviest(cues, bounds, room)) + idle <= OPS_A_FRAME:
        return Busy()
    idle = sum(_in_any_frame(program, n) for n in strands)
    crowds = {n: _crowd(board, program, n) for n in cues}
    counts = {n: one.ops for n, one in crowds.items()}
    best = _heaviest({n: cues[n] for n in cues if counts[n] + idle <= OPS_A_FRAME}, counts, room)
    return Busy(
        tuple(one for one in crowds.values() if one.ops > OPS_A_FRAME),
        idle,
        tuple(one for one in crowds.values() if one.ops <= OPS_A_FRAME < one.ops + idle),
        tuple(crowds[n] for n in best) if _sum(counts, best) + idle > OPS_A_FRAME else (),
    )


# -- cues side by side -----------------------------------------------------------------------------


class _RunsAndThreads(NamedTuple):
    """What cues may share: runs and threads that idle leaves."""

    runs: int
    threads: int


def _sum(counts: Mapping[int, int], chosen: Collection[int]) -> int:
    return sum(counts[n] for n in chosen)


def _heaviest(
    cues: Mapping[int, PlayedCue[OutputOp]], counts: Mapping[int, int], room: _RunsAndThreads
) -> tuple[int, ...]:
    """The cues with the most ops of those that may run side by side.

    Of two with the same outputs one ends when the other starts. Otherwise a cue goes on with the
    outputs that it has left, and what it does to the others counts all the same.
    """
    rivals: dict[frozenset[Any], list[int]] = {}
    for n, cue in cues.items():
        rivals.setdefault(cue.outputs, []).append(n)
    best: dict[_RunsAndThreads, tuple[int, ...]] = {_RunsAndThreads(0, 0): ()}
    for group in rivals.values():
        for used, chosen in list(best.items()):  # as they were before this group
            for n in group:
                after = _RunsAndThreads(used.runs + 1, used.threads + cues[n].reserved)
                if after.runs > room.runs or after.threads > room.threads:
                    continue
                if _sum(counts, (*chosen, n)) > _sum(counts, best.get(after, ())):
                    best[after] = (*chosen, n)
    return max(best.values(), key=lambda chosen: _sum(counts, chosen))


# -- each thread by itself -------------------------------------------------------------------------


def _bound_with_part(program: BoardProgram[OutputOp], cue: PlayedCue[OutputOp]) -> int:
    part = 0 if cue.let_go is None else _bound(program.cues[cue.let_go])
    return _bound(cue) + part  # where the cue comes to its end, both have ops


def _bound(cue: PlayedCue[OutputOp]) -> int:
    """Ops of a cue that fall into one frame, at most."""
    long: list[int] = []
    short = 0
    for index in _own_threads(cue):
        rows = [_times(cue.threads, index, turn) for turn in _turns(cue.threads, index)]
        most = max(_most_within_a_frame(row) for row in rows)
        if min(row[-1] for row in rows) <= FRAME_MS:
            short += most
        else:
            long.append(most)
    # Of threads that outlast a frame, those that live when it begins and those when it ends.
    return short + sum(sorted(long, reverse=True)[: 2 * cue.reserved])


def _own_threads(cue: PlayedCue[OutputOp]) -> list[int]:
    """The cue's first thread, and those that it forks off or goes on with."""
    found = [cue.first]
    for index in found:  # it grows
        for op in _within(cue.threads, index):
            if isinstance(op, Fork | GoOn) and op.thread not in found:
                found.append(op.thread)
    return found


def _within(threads: Sequence[Thread[OutputOp]], index: int) -> Iterator[Any]:
    """The ops of a thread and of all that it calls."""
    for op in threads[index]:
        yield op
        for called in _called(op):
            yield from _within(threads, called)


def _called(op: object) -> tuple[int, ...]:
    if isinstance(op, Choose):
        return op.threads
    return (op.thread,) if isinstance(op, Call) else ()


def _turns(threads: Sequence[Thread[OutputOp]], index: int) -> range:
    """The choices with which a thread is looked at: the first of each, the second, and so on."""
    return range(CHOICES if any(isinstance(op, Choose) for op in _within(threads, index)) else 1)


def _times(threads: Sequence[Thread[OutputOp]], index: int, turn: int) -> list[int]:
    """When the ops of a thread fall due, its end behind them, in ms from its start.

    What lasts longer than two frames is cut to that, and a loop to the passes that take so long:
    no frame reaches across, so each that there is has its like among those that are left.
    """
    times: list[int] = []
    begins: list[tuple[int, int, int | None]] = []
    now = 0
    for op in threads[index]:
        times.append(now)
        if isinstance(op, Do):
            now += min(op.wait_ms, 2 * FRAME_MS)
        elif isinstance(op, Wait):
            now += min(op.duration_ms, 2 * FRAME_MS)
        elif isinstance(op, LoopStart):
            begins.append((len(times), now, op.times))
        elif isinstance(op, LoopEnd):
            now = _passes(times, *begins.pop(), now)
        elif called := _called(op):
            inner = _times(threads, called[turn % len(called)], turn)
            times += [now + time for time in inner]
            now = times[-1]
    return [*times, now]


def _passes(times: list[int], begin: int, began: int, passes: int | None, now: int) -> int:
    """Add the further passes of a loop, whose first one stands behind `begin`; when it is over."""
    body, lasts = times[begin:], now - began
    enough = 2 * FRAME_MS // lasts + 2 if lasts else 1
    for number in range(1, enough if passes is None else min(enough, passes)):
        times += [time + number * lasts for time in body]
        now += lasts
    return now


def _most_within_a_frame(times: Sequence[int]) -> int:
    """The most of these times, in ascending order, that one frame holds, wherever it begins."""
    most = first = 0
    for number, time in enumerate(times):
        while time - times[first] > FRAME_MS:
            first += 1
        most = max(most, number + 1 - first)
    return most


# -- played ----------------------------------------------------------------------------------------


class _NoOutputs(Outputs[OutputOp]):
    """Outputs on which every statement is carried out at once, and which do nothing else."""

    servos: Collection[Hashable] = ()
    lights: Collection[Hashable] = ()

    def stand_by(self, time: int) -> None: ...
    def enable(self, servos: int, time: int) -> None: ...
    def cut_power(self, time: int) -> None: ...
    def light_safe(self, time: int) -> None: ...
    def move_safe(self, time: int) -> None: ...
    def throw_safe(self, time: int) -> None: ...
    def steady(self, names: Iterable[Any], time: int) -> None: ...
    def act(self, act: OutputOp, time: int, cue: Any, least_ms: int = 0) -> None: ...
    def glide(self, act: OutputOp, time: int, duration_ms: int, cue: Any) -> None: ...

    def hold(self, names: Iterable[Any], time: int) -> Collection[Any]:
        return ()

    def drawn(self, act: OutputOp, count: int) -> OutputOp:
        return act

    def scaled(self, act: OutputOp, scale: int) -> OutputOp:
        return act

    def lays_effect(self, act: OutputOp) -> bool:
        return False

    def takes_ms(self, act: OutputOp) -> int:
        return 0

    def output_end(self, name: Any) -> int:
        return 0

    def motions_end(self) -> int:
        return 0


class _DoneOp(NamedTuple):
    time: int
    """At which the op falls due."""
    thread: Thread[OutputOp]
    at: int


class _Counting(Scheduler[OutputOp]):
    """Plays one cue and writes down the ops of each frame, however many they are."""

    def __init__(self, program: BoardProgram[OutputOp]) -> None:
        self.done: list[_DoneOp] = []
        super().__init__(program, _NoOutputs())

    def _execute(self, time: int) -> None:
        self.done = []
        self._play(time, MOST_PLAYED)

    def _step(self, number: int, thread: LiveThread[OutputOp]) -> None:
        self.done.append(_DoneOp(thread.time, thread.ops, thread.at))
        super()._step(number, thread)


def _frames(program: BoardProgram[OutputOp], index: int, held: bool) -> Iterator[list[_DoneOp]]:
    """The ops of a cue in each frame in which it has any. Its first frame begins at time 0."""
    cue = replace(program.cues[index], strand=False, scale=None)
    cues = (cue,) if cue.let_go is None else (replace(cue, let_go=1), program.cues[cue.let_go])
    counting = _Counting(BoardProgram(cues, (PlayedBinding(_BUTTON, 0),)))
    never_heard = -1
    counting.frame(0, (), never_heard)
    start = Request("down", button=_BUTTON) if held else Request("trigger", cue.name)
    counting.frame(1, (start,), never_heard)
    yield counting.done
    played, number = len(counting.done), counting.next_frame(1)
    most = MOST_PLAYED // len(program.cues)
    while counting.runs and number < inf and played < most:
        counting.frame(int(number), (), never_heard)
        yield counting.done
        played += len(counting.done)
        number = counting.next_frame(int(number))


def _crowd(board: CompiledBoard, program: BoardProgram[OutputOp], index: int) -> Crowd:
    """The first overfull frame of a cue that starts by itself, or its fullest one."""
    cue = program.cues[index]
    waits = any(isinstance(op, LoopStart) and op.while_held for op in _all_ops(cue))
    rows = [
        (_frames(program, index, held), False) for held in ((False, True) if waits else (False,))
    ]
    if cue.let_go is not None:
        rows.append((_frames(program, cue.let_go, held=False), True))
    fullest, is_part = list[_DoneOp](), False
    for row, of_part in rows:
        for done in row:
            if len(done) > len(fullest):
                fullest, is_part = done, of_part
            if len(fullest) > OPS_A_FRAME:
                break
    at_ms = fullest[0].time // CLOCK_PER_MS if fullest else 0
    return Crowd(index, len(fullest), at_ms, is_part, tuple(_marks(board, program, fullest)))


def _all_ops(cue: PlayedCue[OutputOp]) -> Iterator[Any]:
    for index in _own_threads(cue):
        yield from _within(cue.threads, index)


def _in_any_frame(program: BoardProgram[OutputOp], index: int) -> int:
    """The most ops of a strand in a frame, wherever that begins: cues start at any time of it."""
    frames = _frames(program, index, held=False)
    return _most_within_a_frame([one.time // CLOCK_PER_MS for done in frames for one in done])


def _marks(
    board: CompiledBoard, program: BoardProgram[OutputOp], done: Sequence[_DoneOp]
) -> Iterator[int]:
    """Those of the statements among these ops."""
    threads = program.cues[0].threads if program.cues else ()
    numbers = {id(thread): number for number, thread in enumerate(threads)}
    marks = dict(board.marks)
    for one in done:
        if one.at < len(one.thread):
            mark = marks.get(board.encoded.places[numbers[id(one.thread)]][one.at], NO_MARK)
            if mark != NO_MARK:
                yield mark
