"""A cue's tree unrolled into threads: plain rows of statements and waits, as a board plays them.

Everything of a cue that runs beside something else is merged into one row in the order of time,
statements of one instant in the order of the text. Only a repeat cannot be merged with what runs
beside it, so it gets a thread of its own. Table and rehearsal both start from these threads, so
that a stretched move delays the same statements in both.

The rule. A `together` (or `stagger`) none of whose children holds a repeat is merged. Otherwise one
group of its children stays in the thread: the first child that holds a repeat without a known
number of passes; or else the children without a repeat, merged; or else the first child. The other
children without a repeat fork off merged as one thread, and each other child with a repeat as
one thread. Forks come first, in the order of the text; a forked thread begins by waiting for its
offset. The thread goes on when the longest child has ended; a `while held` counts as one pass.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from math import inf
from typing import TypeAlias

from sim.model import NO_MARK, Cue, Effect, Fade, Hold, InTurn, Move, Repeat, Step, Throw, Together
from sim.score import Act, Lengths, children, passes, walk


@dataclass(frozen=True, slots=True)
class Do:
    """Carry out a statement; takes no time."""

    act: Act


@dataclass(frozen=True, slots=True)
class Wait:
    duration_ms: int


@dataclass(frozen=True, slots=True)
class LoopStart:
    """`times` passes from here to the matching end; None: for ever, unless `while_held`."""

    times: int | None
    while_held: bool = False
    mark: int = NO_MARK


@dataclass(frozen=True, slots=True)
class LoopEnd:
    pass


@dataclass(frozen=True, slots=True)
class Fork:
    """Start another thread of the cue, by its index; always one with a higher index."""

    thread: int


Item: TypeAlias = Do | Wait | LoopStart | LoopEnd | Fork
Thread: TypeAlias = tuple[Item, ...]


class ThreadError(ValueError):
    """A cue that cannot be unrolled; `mark` is that of the step at fault."""

    def __init__(self, message: str, mark: int) -> None:
        super().__init__(message)
        self.mark = mark


def threads(cue: Cue) -> tuple[Thread, ...]:
    """The cue's threads; the first one starts with the cue and lasts as long as the cue does.

    Raises ThreadError for a repeat whose body takes no time, and where something follows two
    `while held` repeats that run side by side (nobody can say when both have ended).
    """
    return _Unroller(cue.body).run()


@dataclass(frozen=True, slots=True)
class _Task:
    """Write `step` at `start_ms`; `followed`: something of the cue comes after it in its thread."""

    step: Step | None
    start_ms: float
    followed: bool
    loop_end_ms: float = 0.0
    """For the end of a loop (`step` is None): when its first pass ends."""


class _Row:
    """One thread being written: items, and the time up to which they wait."""

    def __init__(self, start_ms: float) -> None:
        self.items: list[Item] = []
        self.now_ms = start_ms

    def until(self, time_ms: float) -> None:
        if self.now_ms < time_ms < inf:
            self.items.append(Wait(int(time_ms - self.now_ms)))
        self.now_ms = max(self.now_ms, time_ms)

    def put(self, item: Item, time_ms: float) -> None:
        self.until(time_ms)
        self.items.append(item)


class _Unroller:
    def __init__(self, body: Step) -> None:
        self.body = body
        self.lengths = Lengths(body)
        self.looped, self.open_ended = _repeats_inside(body)
        self.waiting: deque[tuple[_Row, list[_Task]]] = deque()
        self.forked = 0

    def run(self) -> tuple[Thread, ...]:
        self.waiting.append((_Row(0.0), [_Task(self.body, 0.0, False)]))
        done: list[Thread] = []
        while self.waiting:
            row, tasks = self.waiting.popleft()
            self._write(row, tasks)
            if not done:
                row.until(self.lengths[self.body])
            done.append(tuple(row.items))
        return tuple(done)

    def _write(self, row: _Row, tasks: list[_Task]) -> None:
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
            elif isinstance(step, InTurn):
                tasks.extend(reversed(self._in_turn(step, task)))
            elif isinstance(step, Repeat):
                tasks.extend(self._repeat(row, step, task))
            elif isinstance(step, Together):
                tasks.extend(self._together(row, step, task))

    def _in_turn(self, step: InTurn, task: _Task) -> list[_Task]:
        inner: list[_Task] = []
        at_ms = task.start_ms
        for number, child in enumerate(step.children, start=1):
            inner.append(_Task(child, at_ms, task.followed or number < len(step.children)))
            at_ms += self.lengths[child]
        return inner

    def _repeat(self, row: _Row, step: Repeat, task: _Task) -> list[_Task]:
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

    def _together(self, row: _Row, step: Together, task: _Task) -> list[_Task]:
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
        return any(id(child) in self.open_ended for child, _ in group)

    def _fork(self, row: _Row, group: list[tuple[Step, float]], task: _Task) -> None:
        self.forked += 1
        row.put(Fork(self.forked), task.start_ms)
        new = _Row(task.start_ms)
        if id(group[0][0]) in self.looped:
            self.waiting.append((new, [_Task(group[0][0], group[0][1], task.followed)]))
        else:
            self._merge(new, group)
            self.waiting.append((new, []))

    def _merge(self, row: _Row, placed: list[tuple[Step, float]]) -> None:
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
    """Ids of the steps that hold a repeat, and of those that hold one of unknown length."""
    looped: set[int] = set()
    open_ended: set[int] = set()
    for step in reversed(list(walk(root))):
        below = children(step)
        if isinstance(step, Repeat) or any(id(child) in looped for child in below):
            looped.add(id(step))
        unknown = isinstance(step, Repeat) and (step.while_held or step.times is None)
        if unknown or any(id(child) in open_ended for child in below):
            open_ended.add(id(step))
    return looped, open_ended

