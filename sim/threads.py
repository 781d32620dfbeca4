"""A cue as the player runs it: threads of timed statements.

A board has no tree to walk. It runs threads: statements, waits, loops closed within their thread,
and forks. `program` brings a cue into that form for the outputs of one board; the rehearsal plays
it and the byte table encodes it, so both keep the same order under every interruption.

What is known to last a fixed time is laid on one time line, however it is nested: parts that move
side by side share a thread. A repeat that runs beside something else gets a thread of its own. What
follows a `while held` repeat waits for it; statements beside it count as if it had run once.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from math import inf
from typing import Final, Literal, NoReturn, TypeAlias

from sim.model import NO_MARK, Cue, Effect, Fade, InTurn, Move, Repeat, Show, Step, Throw, Together
from sim.score import Act, Lengths, children, outputs_used, timeline

LOOP_DEPTH: Final = 3
"""Loops nest at most this deep in a thread."""

THREADS: Final = 10
"""Threads that a board has for all its running cues."""

LARGEST_COUNT: Final = 65534
"""Passes that a counted loop can hold."""


class ProgramError(ValueError):
    """A cue that a board cannot run; `mark` is that of the step at fault."""

    def __init__(self, message: str, mark: int = NO_MARK) -> None:
        super().__init__(message)
        self.mark = mark


# -- what a program is made of ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Wait:
    """Let this much time pass, over 0."""

    ms: int


@dataclass(frozen=True, slots=True)
class LoopStart:
    """`times`: a count over 1, for ever, or while the button is held (at least once)."""

    times: int | Literal["for ever", "while held"]


@dataclass(frozen=True, slots=True)
class LoopEnd:
    """Back to the loop's start, or on."""


@dataclass(frozen=True, slots=True)
class Fork:
    """Start another thread of the program at this thread's time."""

    thread: int


Op: TypeAlias = Act | Wait | LoopStart | LoopEnd | Fork
"""One step of a thread; a statement takes no time by itself."""


@dataclass(frozen=True, slots=True)
class Program:
    """Threads of a cue; the first starts with it, a fork always names a later one.

    `reserved`: threads that live at once when everything runs as planned, a thread that ends at the
    very time another starts included.
    """

    threads: tuple[tuple[Op, ...], ...]
    reserved: int


def cues_on(show: Show, board: str) -> tuple[Cue, ...]:
    """The cues that a board's table holds: those that use its outputs.

    Where the board takes part in idle it holds every cue, so that idle pauses and starts anew on
    all boards together and they stay in step.
    """
    names = {output.name for output in show.rig.outputs if output.board == board}
    used = {cue.name: bool(outputs_used(cue.body) & names) for cue in show.score.cues}
    idles = used.get(show.score.idle or "", False)
    return tuple(cue for cue in show.score.cues if idles or used[cue.name])


def program(cue: Cue, outputs: Collection[str]) -> Program:
    """The threads of a cue with the statements for `outputs` alone, in the cue's own time.

    Raises ProgramError for repeats that nest too deep or take no time, and for a cue that needs
    more threads than a board has.
    """
    writer = _Writer(cue.mark)
    needed = writer.thread(_lowered(cue.body, frozenset(outputs)), nesting=1, pad=True).needed
    if needed > THREADS:
        writer.refuse(f"runs {needed} threads at once; a board has {THREADS}")
    return Program(tuple(tuple(ops) for ops in writer.threads), needed)


# -- time lines ------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Loop:
    times: int | Literal["for ever", "while held"]
    body: _Line
    start: float
    end: float
    mark: int


@dataclass(slots=True)
class _Branch:
    """A line that runs beside the one it stands in."""

    body: _Line
    start: float


_Item: TypeAlias = Act | _Loop | _Branch


@dataclass(slots=True)
class _Stretch:
    """Items at planned times (ms, order in the text), or one loop whose end is not known."""

    start: float
    end: float
    items: list[tuple[float, int, _Item]] = field(default_factory=list)
    loop: _Loop | None = None


@dataclass(slots=True)
class _Line:
    """Stretches one after another; planned times are the cue's own throughout."""

    stretches: list[_Stretch]

    @property
    def start(self) -> float:
        return self.stretches[0].start

    @property
    def end(self) -> float:
        return self.stretches[-1].end

    @property
    def fixed(self) -> bool:
        return len(self.stretches) == 1 and self.stretches[0].loop is None

    @property
    def busy(self) -> bool:
        return any(stretch.items or stretch.loop for stretch in self.stretches)


def _lowered(root: Step, outputs: frozenset[str]) -> _Line:
    lengths = Lengths(root)
    lines: list[_Line] = []  # of finished steps, the first child on top
    steps = list(timeline(root, lengths))
    for order in range(len(steps) - 1, -1, -1):
        start, step = steps[order]
        inner = [lines.pop() for _ in children(step)]
        line = _Line([_Stretch(start, start + lengths[step])])
        match step:
            case Move() | Fade() | Throw() | Effect() if step.output in outputs:
                line.stretches[0].items.append((start, order, step))
            case InTurn() if inner:
                line = _in_turn(inner)
            case Together() if inner:
                line = _side_by_side(inner, order)
            case Repeat() if step.times != 0:
                line = _repeated(step, inner[0], line, order)
        lines.append(line)
    return lines.pop()


def _in_turn(inner: list[_Line]) -> _Line:
    whole: list[_Stretch] = []
    for line in inner:
        if whole and whole[-1].end == inf:
            break
        first, *later = line.stretches
        if whole and whole[-1].loop is None and first.loop is None:
            whole[-1] = _poured(whole[-1], first, first.end)
        else:
            whole.append(first)
        whole += later
    return _Line(whole)


def _poured(one: _Stretch, other: _Stretch, end: float) -> _Stretch:
    """Both stretches' items in the larger of the lists, to stay near linear."""
    small, large = sorted((one.items, other.items), key=len)
    large += small
    return _Stretch(min(one.start, other.start), end, large)


def _side_by_side(inner: list[_Line], order: int) -> _Line:
    start, end = min(line.start for line in inner), max(line.end for line in inner)
    beside = _Stretch(start, start)
    for line in inner:
        if line.fixed:
            beside = _poured(beside, line.stretches[0], max(beside.end, line.end))
    loose = [line for line in inner if not line.fixed]
    if not loose:
        return _Line([beside])
    main, *others = loose
    head = _Stretch(start, main.start)
    for branch in (_Line([beside]), *others):
        if branch.busy:
            head.items.append((branch.start, order, _Branch(branch, branch.start)))
    tail = _Stretch(main.end, max(end, main.end))
    return _in_turn([_Line([head]), main, _Line([tail])])


def _repeated(step: Repeat, body: _Line, whole: _Line, order: int) -> _Line:
    if step.times == 1 and not step.while_held:
        return body
    counted = not step.while_held and step.times is not None
    if counted and not body.busy:
        return whole
    if body.end <= body.start:
        raise ProgramError("repeats something that takes no time", step.mark)
    if counted and (step.times or 0) > LARGEST_COUNT:
        raise ProgramError(
            f"repeats {step.times} times; a board counts to {LARGEST_COUNT}", step.mark
        )
    times: int | Literal["for ever", "while held"] = step.times or "for ever"
    loop = _Loop(
        "while held" if step.while_held else times, body, whole.start, whole.end, step.mark
    )
    if body.fixed and not step.while_held:
        whole.stretches[0].items.append((loop.start, order, loop))
        return whole
    stretch = _Stretch(whole.start, whole.end, loop=loop)
    after = _Stretch(whole.end, whole.end)
    return _Line([stretch, after] if whole.end < inf else [stretch])


# -- writing threads -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Life:
    """Planned life of a thread or of a loop's forks, and the threads it needs meanwhile."""

    start: float
    end: float
    needed: int


class _Writer:
    def __init__(self, mark: int) -> None:
        self.threads: list[list[Op]] = []
        self._mark = mark

    def refuse(self, why: str) -> NoReturn:
        raise ProgramError(why, self._mark)

    def thread(self, line: _Line, nesting: int, pad: bool) -> _Life:
        """Write a new thread and those that it forks."""
        if nesting > THREADS:
            self.refuse(f"forks threads more than {THREADS} deep")
        ops: list[Op] = []
        self.threads.append(ops)
        forks: list[_Life] = []
        end = self._line(ops, line, forks, nesting, depth=0, pad=pad)
        return _Life(line.start, end, 1 + _most_at_once(forks))

    def _line(
        self, ops: list[Op], line: _Line, forks: list[_Life], nesting: int, depth: int, pad: bool
    ) -> float:
        """Write a line into a thread; returns the planned time of the thread's end."""
        now = line.start
        for stretch in line.stretches:
            if stretch.loop is not None:
                now = self._loop(ops, stretch.loop, forks, nesting, depth)
                continue
            items = sorted(stretch.items, key=lambda item: item[:2])
            for n, (at, _, item) in enumerate(items):
                now = _wait(ops, now, at)
                if isinstance(item, _Loop) and (n + 1 == len(items) or items[n + 1][0] >= item.end):
                    now = self._loop(ops, item, forks, nesting, depth)
                elif isinstance(item, _Loop | _Branch):
                    ops.append(Fork(len(self.threads)))
                    alone = _Line([_Stretch(item.start, inf, [(item.start, 0, item)])])
                    body = item.body if isinstance(item, _Branch) else alone
                    forks.append(self.thread(body, nesting + 1, pad=False))
                else:
                    ops.append(item)
            if pad or stretch is not line.stretches[-1]:
                now = _wait(ops, now, stretch.end)
        return now

    def _loop(
        self, ops: list[Op], loop: _Loop, forks: list[_Life], nesting: int, depth: int
    ) -> float:
        if depth == LOOP_DEPTH:
            message = f"repeats nest more than {LOOP_DEPTH} deep"
            raise ProgramError(message, loop.mark)
        ops.append(LoopStart(loop.times))
        inner: list[_Life] = []
        self._line(ops, loop.body, inner, nesting, depth + 1, pad=True)
        ops.append(LoopEnd())
        again = loop.body.end - loop.body.start
        later = [_Life(life.start + again, life.end + again, life.needed) for life in inner]
        forks.append(_Life(loop.start, loop.end, _most_at_once(inner + later)))
        return loop.end


def _wait(ops: list[Op], now: float, until: float) -> float:
    if now < until < inf:
        ops.append(Wait(int(until - now)))
    return until


def _most_at_once(lives: list[_Life]) -> int:
    """The largest sum of threads needed at one time, ends included."""
    edges = [(life.start, 0, life.needed) for life in lives]
    edges += [(life.end, 1, -life.needed) for life in lives]
    most = running = 0
    for _, _, change in sorted(edges):
        running += change
        most = max(most, running)
    return most
