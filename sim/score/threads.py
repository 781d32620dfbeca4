"""A cue's tree unrolled into threads: plain rows of statements and waits, as a board plays them.

Everything of a cue that runs beside something else is merged into one row in the order of time,
statements of one instant in the order of the text. Only a repeat, a choice or what takes a drawn
time cannot be merged with what runs beside it, so it gets a thread of its own. Table and rehearsal
both start from these threads, so that a stretched move delays the same statements in both.

The rule, in which a repeat stands for all three. A `together` (or `stagger`) none of whose children
holds a repeat is merged. Otherwise one
group of its children stays in the thread: the first child that holds a repeat without a known
number of passes; or else the children without a repeat, merged; or else the first child. The other
children without a repeat fork off merged as one thread, and each other child with a repeat as
one thread. Forks come first, in the order of the text; a forked thread begins by waiting for its
offset. The thread goes on when the longest child has ended; a `while held` counts as one pass.
Each of several things to choose from is a thread that is called.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil, inf
from typing import NamedTuple, TypeAlias

from sim.model import (
    Binding,
    Cue,
    Effect,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Move,
    OneOf,
    Output,
    Repeat,
    Score,
    Servo,
    Show,
    Step,
    Throw,
    Together,
)
from sim.rulebook import (
    BYTE_MAX,
    ENABLE_INTERVAL_FRAMES,
    FRAME_MS,
    GLIDE_STEP_MS,
    LONGEST_LONG_FRAMES,
    LOOP_DEPTH,
    LOST_STEP_FRAMES,
    LOST_STEP_MS,
)
from sim.score import program as program_form
from sim.score.draws import draws_time
from sim.score.program import (
    BoardProgram,
    Choose,
    Do,
    Fork,
    LoopEnd,
    LoopStart,
    Op,
    Patience,
    PlayedBinding,
    PlayedCue,
    PlayedScale,
    Wait,
)
from sim.score.scaling import played_scale
from sim.score.tree import (
    TREES_KEPT,
    Act,
    Lengths,
    OneStep,
    children,
    outputs_held,
    outputs_used,
    passes,
    walk,
)

ScoreOp: TypeAlias = Op[Act]
ScoreThread: TypeAlias = program_form.Thread[Act]


@dataclass(frozen=True, slots=True)
class Program:
    """A cue's threads on one board.

    `reserved`: how many of them live at once when all goes as planned, one that ends at the very
    time another starts included.
    """

    threads: tuple[ScoreThread, ...]
    reserved: int


class ThreadError(ValueError):
    """A cue that cannot be unrolled; `mark` is that of the step at fault."""

    def __init__(self, message: str, mark: int) -> None:
        super().__init__(message)
        self.mark = mark


def threads(cue: Cue) -> tuple[ScoreThread, ...]:
    """The cue's threads; the first one starts with the cue and lasts as long as the cue does.

    Raises ThreadError for a repeat whose body takes no time, and where something follows two
    `while held` repeats that run side by side (it is not known when both have ended).
    """
    return _unrolled(OneStep(cue.body))


@lru_cache(maxsize=TREES_KEPT)
def _unrolled(body: OneStep) -> tuple[ScoreThread, ...]:
    return _Unroller(body.step).run()


def program(cue: Cue, outputs: Collection[str]) -> Program:
    """The cue's threads with the statements for `outputs` alone, in the cue's own time.

    Threads that do nothing for these outputs are left out. Raises ThreadError as `threads` does.
    """
    kept = _kept(threads(cue), frozenset(outputs))
    return Program(kept, reserved(kept))


def cues_on(show: Show, board: str) -> tuple[Cue, ...]:
    """The cues that a board's table holds: those that use its outputs; on the board that leads all
    that use any, as it alone says what runs."""
    leader = show.rig.leader
    leads = leader is not None and leader.name == board
    names = {output.name for output in show.rig.outputs if leads or output.board == board}
    used = {cue.name: bool(names & outputs_held(show.score, cue)) for cue in show.score.cues}
    used |= {cue.let_go: used[cue.name] for cue in show.score.cues if cue.let_go}
    return tuple(cue for cue in show.score.cues if used[cue.name])


def strands_reserved(cues: Iterable[Cue], outputs: Collection[str], idle: Collection[str]) -> int:
    """Threads that the strands among the cues of a board keep for themselves."""
    strands = [cue for cue in cues if cue.name in idle]
    return sum(program(cue, outputs).reserved for cue in strands)


def board_program(show: Show, board: str) -> BoardProgram[Act]:
    """What a board plays of a show: the cues of its table, under their names.

    A board that leads has the cues of the whole show, and each holds its outputs on all boards: it
    decides for all of them.

    Raises ThreadError as `threads` does.
    """
    leader = show.rig.leader
    leads = leader is not None and leader.name == board
    names = frozenset(output.name for output in show.rig.outputs if output.board == board)
    cues = cues_on(show, board)
    numbers = {cue.name: number for number, cue in enumerate(cues)}
    score = show.score
    lost_steps = 0 if score.lost_ms is None else max(1, ceil(score.lost_ms / LOST_STEP_MS))
    return BoardProgram(
        _played(cues, names, score, scales_on(show, board), everywhere=leads),
        tuple(
            PlayedBinding(
                *(one.button, numbers[one.cue], one.while_held, one.kind, one.manner),
                ends=ends_when_asked_again(score, one),
            )
            for one in score.bindings
            if one.cue in numbers
        ),
        glide_ms=glide_steps(score) * GLIDE_STEP_MS,
        lost=numbers.get(score.lost_cue or ""),
        lost_frames=LOST_STEP_FRAMES * lost_steps,
        stop_button=score.stop_button,
        enable_interval=ENABLE_INTERVAL_FRAMES,
        strands_in_step=leader is not None,
        rests={
            one.name: _rest(one)
            for one in show.rig.outputs
            if one.name in names and any(f.output == one.name for f in show.rig.follows)
        },
        patience=patience(score),
    )


def scales_on(show: Show, board: str) -> dict[str, PlayedScale]:
    """By name, how far the cues go whose source arrives at a board."""
    sensed = {one.name: False for one in show.rig.channels if one.board == board}
    sensed |= {one.name: True for one in show.rig.sensors if one.board == board}
    return {
        cue.name: played_scale(cue.scaling, sensed[cue.scaling.source])
        for cue in cues_on(show, board)
        if cue.scaling is not None and cue.scaling.source in sensed
    }


def _rest(output: Output) -> Act:
    """What brings an output that follows a source to rest."""
    if isinstance(output, Servo):
        return Move(output.name, output.safe_deg, 0)
    assert isinstance(output, Lamp)
    return Fade(output.name, output.safe_pct, 0)


def patience(score: Score) -> dict[int, Patience]:
    """The buttons whose presses are not decided at once, and what they are waited for."""
    long_frames = {
        one.button: min(LONGEST_LONG_FRAMES, max(1, ceil(one.long_ms / FRAME_MS)))
        for one in score.bindings
        if one.kind == "long"
    }
    twice = {one.button for one in score.bindings if one.kind == "twice"}
    return {
        button: Patience(long_frames.get(button, 0), button in twice)
        for button in sorted({*long_frames, *twice})
    }


def ends_when_asked_again(score: Score, binding: Binding) -> bool:
    """Whether the press that lets a cue go has to end it: it does not heed being held."""
    cue = next(one for one in score.cues if one.name == binding.cue)
    heeds = any(isinstance(step, Repeat) and step.while_held for step in walk(cue.body))
    return binding.manner == "toggle" and cue.let_go is None and not heeds


def glide_steps(score: Score) -> int:
    """The glide back into idle as a table holds it."""
    return min(BYTE_MAX, round(score.glide_ms / GLIDE_STEP_MS))


def _played(
    cues: tuple[Cue, ...],
    names: frozenset[str],
    score: Score,
    scales: Mapping[str, PlayedScale],
    *,
    everywhere: bool,
) -> tuple[PlayedCue[Act], ...]:
    """Made from the last one back: a cue holds the outputs of its part for letting go as well."""
    found: dict[str, PlayedCue[Act]] = {}
    for number, cue in reversed(list(enumerate(cues))):
        planned = program(cue, names)
        used = {item.act.output for row in planned.threads for item in row if isinstance(item, Do)}
        if everywhere:
            used = set(outputs_used(cue.body))
        part = found.get(cue.let_go or "")
        found[cue.name] = PlayedCue(
            cue.name,
            frozenset(used) | (part.outputs if part else frozenset()),
            planned.threads,
            max(planned.reserved, part.reserved if part else 0),
            cue.conflict,
            let_go=number + 1 if part else None,
            strand=cue.name in score.idle,
            scale=scales.get(cue.name),
        )
    return tuple(found[cue.name] for cue in cues)


def reserved(rows: tuple[ScoreThread, ...]) -> int:
    """Threads that live at once when all goes as planned, counted from above.

    A thread counts until all that it forked has ended.
    """
    spans: dict[int, float] = {}
    peaks: dict[int, int] = {}
    for index in reversed(range(len(rows))):
        forks, span = _forks(rows[index], spans, peaks)
        events = [(one.at_ms, 0, one.threads) for one in forks]
        events += [(one.at_ms + one.lasts_ms, 1, -one.threads) for one in forks]
        alive = peak = 1
        for _, _, change in sorted(events):
            alive += change
            peak = max(peak, alive)
        spans[index] = max([span, *(one.at_ms + one.lasts_ms for one in forks)])
        peaks[index] = peak
    return peaks[0]


class _Forked(NamedTuple):
    """Threads that live beside one for a while."""

    at_ms: float
    threads: int
    lasts_ms: float


def _forks(
    thread: ScoreThread, spans: Mapping[int, float], peaks: Mapping[int, int]
) -> tuple[list[_Forked], float]:
    """When a thread forks what, with two passes of every loop, and how long it may live.

    `spans`, `peaks`: how long the threads behind it live, and how many live with each.
    """
    forks: list[_Forked] = []
    open_loops: list[tuple[float, int, LoopStart]] = []
    now, known = 0.0, True
    for item in thread:
        if isinstance(item, Wait):
            now += max(item.duration_ms, item.most_ms)
        elif isinstance(item, Fork):
            forks.append(_Forked(now, peaks[item.thread], spans[item.thread]))
        elif isinstance(item, Choose):
            lasts = max(spans[one] for one in item.threads)
            forks.append(_Forked(now, max(peaks[one] for one in item.threads) - 1, lasts))
            now += lasts
        elif isinstance(item, LoopStart):
            open_loops.append((now, len(forks), item))
        elif isinstance(item, LoopEnd):
            began, first, loop = open_loops.pop()
            once = now - began
            if len(open_loops) < LOOP_DEPTH:  # more within one another are refused elsewhere
                forks += [one._replace(at_ms=one.at_ms + once) for one in forks[first:]]
            known &= loop.times is not None and not loop.while_held
            now = began + once * (2 if loop.times is None or loop.while_held else loop.times)
    return forks, now if known else inf


def _kept(rows: tuple[ScoreThread, ...], outputs: frozenset[str]) -> tuple[ScoreThread, ...]:
    """The threads without statements for other outputs, and without threads that do nothing."""
    kept: dict[int, ScoreThread] = {}
    counts = any(_draws(row) for row in rows)
    called = {0}.union(*(i.threads for row in rows for i in row if isinstance(i, Choose)))
    for index in reversed(range(len(rows))):
        row = _shortened(rows[index], outputs, kept, counts)
        while index not in called and row and isinstance(row[-1], Wait):
            row = row[:-1]
        if index in called or any(not isinstance(item, Wait) for item in row):
            kept[index] = row
    number = {old: new for new, old in enumerate(sorted(kept))}
    return tuple(tuple(_pointed_anew(i, number) for i in kept[old]) for old in sorted(kept))


def _pointed_anew(item: ScoreOp, number: Mapping[int, int]) -> ScoreOp:
    """The op with the new numbers of the threads that it names."""
    if isinstance(item, Fork):
        return Fork(number[item.thread])
    if isinstance(item, Choose):
        return replace(item, threads=tuple(number[one] for one in item.threads))
    return item


def _is_plain(item: ScoreOp) -> bool:
    """Whether it is a wait whose time is known."""
    return isinstance(item, Wait) and not item.key


def _draws(row: ScoreThread) -> bool:
    return any(
        isinstance(item, Choose)
        or (isinstance(item, Wait) and item.key)
        or (isinstance(item, Do) and isinstance(item.act, Move | Fade) and item.act.drawn)
        for item in row
    )


def _shortened(
    thread: ScoreThread, outputs: frozenset[str], kept: Collection[int], counts: bool
) -> ScoreThread:
    """`counts`: the cue draws by how often its loops come round, so none may go."""
    row: list[ScoreOp] = []
    starts: list[int] = []
    for item in thread:
        if isinstance(item, Do) and item.act.output not in outputs:
            continue
        if isinstance(item, Fork) and item.thread not in kept:
            continue
        if isinstance(item, LoopStart):
            starts.append(len(row))
        if isinstance(item, LoopEnd):
            first = starts.pop()
            item = (None if counts else _only_waits(row, first)) or item
        if _is_plain(item) and row and _is_plain(row[-1]):
            item = Wait(row.pop().duration_ms + item.duration_ms)  # type: ignore[union-attr]
        row.append(item)
    return tuple(row)


def _only_waits(row: list[ScoreOp], first: int) -> Wait | None:
    """One wait in place of a counted loop that holds nothing else; takes the loop off the row."""
    loop, *inside = row[first:]
    if not isinstance(loop, LoopStart) or loop.while_held or loop.times is None:
        return None
    waits = [item.duration_ms for item in inside if isinstance(item, Wait)]
    if len(waits) < len(inside):
        return None
    del row[first:]
    return Wait(loop.times * sum(waits))


@dataclass(frozen=True, slots=True)
class _Task:
    """Write `step` at `start_ms`; `followed`: something of the cue comes after it in its thread."""

    step: Step | None
    start_ms: float
    followed: bool
    loop_end_ms: float = 0.0
    """For the end of a loop (`step` is None): when its first pass ends."""


class _ThreadWriter:
    """One thread being written: items, and the time up to which they wait."""

    def __init__(self, start_ms: float) -> None:
        self.items: list[ScoreOp] = []
        self.now_ms = start_ms

    def until(self, time_ms: float) -> None:
        if self.now_ms < time_ms < inf:
            self.items.append(Wait(int(time_ms - self.now_ms)))
        self.now_ms = max(self.now_ms, time_ms)

    def put(self, item: ScoreOp, time_ms: float) -> None:
        self.until(time_ms)
        self.items.append(item)


class _Unroller:
    def __init__(self, body: Step) -> None:
        self.body = body
        self.lengths = Lengths(body)
        self.looped, self.open_ended = _repeats_inside(body)
        self.waiting: deque[tuple[_ThreadWriter, list[_Task], float]] = deque()
        """Threads to be written, with the time that they last at least."""
        self.forked = 0

    def run(self) -> tuple[ScoreThread, ...]:
        whole = self.lengths[self.body]
        self.waiting.append((_ThreadWriter(0.0), [_Task(self.body, 0.0, False)], whole))
        done: list[ScoreThread] = []
        while self.waiting:
            row, tasks, end_ms = self.waiting.popleft()
            self._write(row, tasks)
            row.until(end_ms)
            done.append(tuple(row.items))
        return tuple(done)

    def _write(self, row: _ThreadWriter, tasks: list[_Task]) -> None:
        while tasks:
            task = tasks.pop()
            step = task.step
            if task.start_ms == inf:
                continue
            if step is None:
                row.put(LoopEnd(), task.loop_end_ms)
                row.now_ms = task.start_ms
            elif id(step) not in self.looped:
                self._merge(row, [(step, task.start_ms)])
            elif isinstance(step, OneOf):
                self._choose(row, step, task)
            elif draws_time(step):
                self._drawn(row, step, task.start_ms)
            elif isinstance(step, InTurn):
                tasks.extend(reversed(self._in_turn(step, task)))
            elif isinstance(step, Repeat):
                tasks.extend(self._repeat(row, step, task))
            elif isinstance(step, Together):
                tasks.extend(self._together(row, step, task))

    def _drawn(self, row: _ThreadWriter, step: Step, start_ms: float) -> None:
        """A statement whose time is drawn: what follows it waits for as long."""
        row.until(start_ms)
        parts = step.children if isinstance(step, Together) else (step,)
        for part in parts:
            if isinstance(part, Move | Fade):
                row.items.append(Do(part))
        one = next(part for part in parts if draws_time(part))
        assert isinstance(one, Move | Fade | Hold)
        assert one.drawn is not None
        row.items.append(Wait(one.duration_ms, one.drawn.most_ms, one.drawn.time_key))
        row.now_ms = start_ms + self.lengths[step]

    def _choose(self, row: _ThreadWriter, step: OneOf, task: _Task) -> None:
        """Each thing to choose from is a thread that is called; what follows waits for it."""
        row.until(task.start_ms)
        first = self.forked + 1
        for child in step.children:
            self.forked += 1
            tasks = [_Task(child, task.start_ms, task.followed)]
            end_ms = task.start_ms + self.lengths[child]
            self.waiting.append((_ThreadWriter(task.start_ms), tasks, end_ms))
        row.items.append(Choose(step.key, tuple(range(first, self.forked + 1))))
        row.now_ms = task.start_ms + self.lengths[step]

    def _in_turn(self, step: InTurn, task: _Task) -> list[_Task]:
        inner: list[_Task] = []
        at_ms = task.start_ms
        for number, child in enumerate(step.children, start=1):
            inner.append(_Task(child, at_ms, task.followed or number < len(step.children)))
            at_ms += self.lengths[child]
        return inner

    def _repeat(self, row: _ThreadWriter, step: Repeat, task: _Task) -> list[_Task]:
        if step.times == 0 and not step.while_held:
            return []
        if step.times == 1 and not step.while_held:
            return [_Task(step.body, task.start_ms, task.followed)]
        once_ms = self.lengths[step.body]
        if once_ms <= 0:
            raise ThreadError("the body of this repeat takes no time", step.mark)
        row.put(LoopStart(step.times, step.while_held, step.mark), task.start_ms)
        after_ms = task.start_ms + passes(step) * once_ms
        end = _Task(None, after_ms, False, loop_end_ms=task.start_ms + once_ms)
        if after_ms == inf:
            end = _Task(None, task.start_ms + once_ms, False, task.start_ms + once_ms)
        return [end, _Task(step.body, task.start_ms, True)]

    def _together(self, row: _ThreadWriter, step: Together, task: _Task) -> list[_Task]:
        placed = [
            (child, task.start_ms + number * step.interval_ms)
            for number, child in enumerate(step.children)
        ]
        groups: list[list[tuple[Step, float]]] = []
        plain = [one for one in placed if id(one[0]) not in self.looped]
        for one in placed:
            if id(one[0]) in self.looped:
                groups.append([one])
            elif one is plain[0]:
                groups.append(plain)
        stays = self._staying(groups, plain)
        if task.followed and sum(self._held(group) for group in groups) > 1:
            raise ThreadError(
                "something follows two `while held` repeats that run side by side", step.mark
            )
        for group in groups:
            if group is not stays:
                self._fork(row, group, task)
        if stays is plain:
            self._merge(row, plain)
            return []
        return [_Task(stays[0][0], stays[0][1], task.followed)]

    def _staying(
        self, groups: list[list[tuple[Step, float]]], plain: list[tuple[Step, float]]
    ) -> list[tuple[Step, float]]:
        for group in groups:
            if self._held(group):
                return group
        return plain or groups[0]

    def _held(self, group: list[tuple[Step, float]]) -> bool:
        """Whether a group lasts nobody knows how long; only a repeat does, and stands alone."""
        return id(group[0][0]) in self.open_ended

    def _fork(self, row: _ThreadWriter, group: list[tuple[Step, float]], task: _Task) -> None:
        self.forked += 1
        row.put(Fork(self.forked), task.start_ms)
        new = _ThreadWriter(task.start_ms)
        if id(group[0][0]) in self.looped:
            tasks = [_Task(group[0][0], group[0][1], task.followed)]
            self.waiting.append((new, tasks, task.start_ms))
        else:
            self._merge(new, group)
            self.waiting.append((new, [], task.start_ms))

    def _merge(self, row: _ThreadWriter, placed: list[tuple[Step, float]]) -> None:
        """Write steps without repeats in the order of time, then of the text."""
        timed: list[tuple[float, Act]] = []
        stack = list(reversed(placed))
        while stack:
            step, at_ms = stack.pop()
            if isinstance(step, Move | Fade | Throw | Effect):
                timed.append((at_ms, step))
            elif isinstance(step, InTurn):
                starts: list[tuple[Step, float]] = []
                for child in step.children:
                    starts.append((child, at_ms))
                    at_ms += self.lengths[child]
                stack.extend(reversed(starts))
            elif isinstance(step, Together):
                gap = step.interval_ms
                stack.extend(
                    reversed([(child, at_ms + n * gap) for n, child in enumerate(step.children)])
                )
        for time_ms, act in sorted(timed, key=lambda one: one[0]):
            row.put(Do(act), time_ms)


def _repeats_inside(root: Step) -> tuple[set[int], set[int]]:
    """Ids of the steps that hold a repeat or a drawn time, which cannot be merged with others; and
    of those that hold a repeat of unknown length."""
    looped: set[int] = set()
    open_ended: set[int] = set()
    for step in reversed(list(walk(root))):
        below = children(step)
        apart = isinstance(step, Repeat) or draws_time(step)
        if apart or any(id(child) in looped for child in below):
            looped.add(id(step))
        unknown = isinstance(step, Repeat) and (step.while_held or step.times is None)
        if unknown or any(id(child) in open_ended for child in below):
            open_ended.add(id(step))
    return looped, open_ended
