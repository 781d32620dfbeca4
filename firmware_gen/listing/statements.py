"""Threads of a table as the statements of a cue: the way back from what `sim.score.threads` did.

What the table shares (calls, threads that go on elsewhere) is written out. Between two repeats,
forks or draws, acts that overlap become a `Together`; a fork becomes a `Together` of what its
thread does and of what goes on beside it. A thread that holds no repeat would be merged with its
neighbours when it is compiled again, so it stands in a repeat of one pass, which keeps it apart.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import pairwise
from typing import Final, TypeAlias

from firmware_gen.table.laws import law_of
from firmware_gen.table.layout import EFFECTS, LOOP_FOREVER, LOOP_HELD
from firmware_gen.table.ops import (
    ActOp,
    CallTo,
    ChooseTo,
    Delay,
    DrawnOp,
    ForkTo,
    GoOnTo,
    Loop,
    LoopBack,
    Modulate,
    TableOp,
    Turn,
)
from firmware_gen.table.records import LampRecord, ServoRecord, Table
from sim.arrays import Array
from sim.light.lightness import (
    channel_levels,
    colour_luminance,
    lightness,
    linear_to_srgb,
    luminance,
)
from sim.model import (
    BLACK,
    UNIFORM,
    Drawn,
    Effect,
    EffectName,
    Fade,
    Hold,
    InTurn,
    Move,
    OneOf,
    Repeat,
    Step,
    StripLight,
    Throw,
    Together,
)
from sim.rulebook import ANGLE_STEPS_PER_DEG, DRAW_KEYS, LEVEL_MAX, LEVEL_STEPS_PER_PCT
from sim.score.draws import draws_in, draws_time, key_of, numbered
from sim.score.tree import children, walk

MOST_STEPS: Final = 20_000
"""Of one cue, as many as the language takes."""
MOST_DEPTH: Final = 22
"""Blocks within one another; the language takes 24, and a cue and its part are two."""
_WIDTHS: Final = range(1, 101)


class NotBackError(ValueError):
    """A cue that cannot be said in statements; the message says why."""


@dataclass(frozen=True, slots=True)
class Statements:
    """What a cue does. A hold of no time with the mark n stands where remark n - 1 belongs."""

    body: InTurn
    seed: int | None
    remarks: tuple[str, ...]
    draws_alike: bool = True
    """Its draws give the numbers that the table's do."""


@dataclass(frozen=True, slots=True)
class _ReadWait:
    duration_ms: int
    most_ms: int = 0
    key: int = 0


@dataclass(frozen=True, slots=True)
class _Again:
    times: int
    nodes: tuple[_ReadStep, ...]


_ActNow: TypeAlias = ActOp | Turn | Modulate
_ReadStep: TypeAlias = _ActNow | _ReadWait | _Again | ForkTo | ChooseTo
_Placed: TypeAlias = tuple[int, Step, int]
"""When it starts, in ms, what it is, and how long it takes."""


def statements(
    table: Table, start: int, names: Sequence[str], words: Callable[[TableOp], str]
) -> Statements:
    """What the cue does whose first thread is `start`.

    `names`: those of the table's outputs; `words`: how an op is called where it cannot be said.
    Raises NotBackError.
    """
    return _Reader(table, names, words).cue(start)


@dataclass(slots=True)
class _Reader:
    table: Table
    names: Sequence[str]
    words: Callable[[TableOp], str]
    remarks: list[str] = field(default_factory=list)
    left: int = MOST_STEPS
    known: dict[int, int | None] = field(default_factory=dict)
    """How long threads last, as far as that is known."""

    def cue(self, start: int) -> Statements:
        body = InTurn(tuple(self._steps(self._thread(start), 0, is_open=False)))
        _demand_writable(body)
        seed, alike = _seed(body)
        return Statements(body, seed, tuple(self.remarks), alike)

    # -- what the threads hold --------------------------------------------------------------------

    def _thread(self, thread: int) -> tuple[_ReadStep, ...]:
        stack: list[tuple[int, list[_ReadStep]]] = [(0, [])]
        for op in self._ops(thread):
            row = stack[-1][1]
            match op:
                case Loop():
                    stack.append((op.times, []))
                case LoopBack():
                    times, inside = stack.pop()
                    stack[-1][1].append(_Again(times, tuple(inside)))
                case Delay():
                    _wait(row, _ReadWait(op.duration_ms, op.most_ms, op.key))
                case ActOp() if op.wait:
                    one = op.drawn or DrawnOp()
                    row.append(replace(op, wait=False))
                    _wait(row, _ReadWait(op.duration_ms, one.most_ms, one.time_key))
                case ActOp() | Turn() | Modulate() | ForkTo() | ChooseTo():
                    row.append(op)
                case _:  # what is called, or gone on with, is written out
                    pass
        return tuple(stack[0][1])

    def _ops(self, thread: int) -> list[TableOp]:
        found: list[TableOp] = []
        follow: int | None = thread
        while follow is not None:
            ops, follow = self.table.threads[follow], None
            for op in ops:
                self.left -= 1
                if self.left < 0:
                    raise NotBackError(f"written out it has more than {MOST_STEPS} statements")
                if isinstance(op, CallTo):
                    found += self._ops(op.thread)
                elif isinstance(op, GoOnTo):
                    follow = op.thread
                else:
                    found.append(op)
        return found

    def _lasts(self, thread: int) -> int | None:
        """How long a thread lasts with all that it starts; None where that is not known."""
        if thread not in self.known:
            self.known[thread] = self._length(self._thread(thread))
        return self.known[thread]

    def _length(self, nodes: Iterable[_ReadStep]) -> int | None:
        now = end = 0
        for node in nodes:
            takes = self._takes(node)
            if takes is None:
                return None
            end = max(end, now + takes)
            now += takes if isinstance(node, _ReadWait | _Again) else 0
        return max(now, end)

    def _takes(self, node: _ReadStep) -> int | None:
        match node:
            case ActOp():
                return None if node.drawn and node.drawn.time_key else node.duration_ms
            case _ReadWait():
                return None if node.key else node.duration_ms
            case _Again() if node.times not in (LOOP_FOREVER, LOOP_HELD):
                once = self._length(node.nodes)
                return None if once is None else once * node.times
            case ForkTo():
                return self._lasts(node.thread)
            case Turn() | Modulate():
                return 0
            case _:
                return None

    # -- as statements ----------------------------------------------------------------------------

    def _steps(self, nodes: Sequence[_ReadStep], depth: int, *, is_open: bool) -> list[Step]:
        """`is_open`: the last acts may go on when the thread has ended."""
        if depth > MOST_DEPTH:
            raise NotBackError(f"its blocks stand more than {MOST_DEPTH} deep")
        found: list[Step] = []
        plain: list[_ActNow | _ReadWait] = []
        for number, node in enumerate(nodes):
            if isinstance(node, ActOp | Turn | Modulate) or (
                isinstance(node, _ReadWait) and not node.key
            ):
                plain.append(node)
                continue
            together = _taken(plain, node.key) if isinstance(node, _ReadWait) else []
            found += self._plain(plain, is_open=False)
            plain = []
            match node:
                case _ReadWait():
                    found.append(self._drawn(together, node))
                case _Again():
                    body = InTurn(tuple(self._steps(node.nodes, depth + 1, is_open=False)))
                    times = None if node.times in (LOOP_FOREVER, LOOP_HELD) else node.times
                    found.append(Repeat(body, times, node.times == LOOP_HELD))
                case ChooseTo():
                    found.append(self._choice(node, depth + 1))
                case ForkTo():
                    rest = nodes[number + 1 :]
                    return found + self._beside(node, rest, depth, is_open=is_open)
        last = plain[-1] if plain else None
        if is_open and isinstance(last, ActOp) and last.drawn and last.drawn.time_key:
            key, most_ms = last.drawn.time_key, last.drawn.most_ms
            together = _taken(plain, key)
            end = self._drawn(together, _ReadWait(last.duration_ms, most_ms, key))
            return [*found, *self._plain(plain, is_open=False), end]
        return found + self._plain(plain, is_open=is_open)

    def _choice(self, node: ChooseTo, depth: int) -> OneOf:
        rows = [self._steps(self._thread(one), depth + 1, is_open=False) for one in node.threads]
        if not all(rows):
            raise NotBackError("it chooses among things of which one does nothing in no time")
        found = OneOf(tuple(map(_one, rows)), node.key)
        if _is_endless(found):
            raise NotBackError("it chooses among things of which one never ends")
        return found

    def _drawn(self, acts: Sequence[ActOp], wait: _ReadWait) -> Step:
        if not acts:
            return Hold(wait.duration_ms, drawn=Drawn(wait.key, wait.most_ms))
        steps = tuple(self._act(one) for one in acts)
        return steps[0] if len(steps) == 1 else Together(steps)

    def _beside(
        self, fork: ForkTo, rest: Sequence[_ReadStep], depth: int, *, is_open: bool
    ) -> list[Step]:
        beside, behind = self._cut(rest, self._lasts(fork.thread))
        forked = self._steps(self._thread(fork.thread), depth + 2, is_open=True)
        stays = self._steps(beside, depth + 2, is_open=is_open and not behind)
        if not forked:
            return stays + self._steps(behind, depth, is_open=is_open)
        if not stays:
            if not is_open:
                raise NotBackError("a thread starts where nothing goes on beside it")
            stays = [Hold(1)]
        goes_on, other = _one(stays), _one(forked)
        if _is_endless(other) and not _is_endless(goes_on):
            raise NotBackError("a thread without end runs beside one that ends")
        if _is_plain(other) and not _is_endless(goes_on):
            other = Repeat(InTurn(tuple(forked)), 1)
        found: list[Step] = [Together((goes_on, other))]
        return found + self._steps(behind, depth, is_open=is_open)

    def _cut(
        self, nodes: Sequence[_ReadStep], lasts_ms: int | None
    ) -> tuple[Sequence[_ReadStep], Sequence[_ReadStep]]:
        """What goes on beside a thread that lasts so long, and what comes when all has ended."""
        if lasts_ms is None:
            return nodes, ()
        now, end = 0, lasts_ms
        for number, node in enumerate(nodes):
            if number and now >= end:
                return nodes[:number], nodes[number:]
            takes = self._takes(node)
            if takes is None:
                return nodes, ()
            if isinstance(node, _ReadWait) and now < end < now + takes:
                first, second = _ReadWait(end - now), _ReadWait(now + takes - end)
                return (*nodes[:number], first), (second, *nodes[number + 1 :])
            if isinstance(node, _ReadWait | _Again):
                now += takes
            else:
                end = max(end, now + takes)
        return nodes, ()

    def _plain(self, nodes: Sequence[_ActNow | _ReadWait], *, is_open: bool) -> list[Step]:
        """Statements without repeats and draws: one after another, or together if they overlap."""
        placed: list[_Placed] = []
        now = 0
        for node in nodes:
            if isinstance(node, _ReadWait):
                now += node.duration_ms
                continue
            step = self._act(node)
            if draws_time(step):
                raise NotBackError("what takes a drawn time is not waited for")
            lasts = node.duration_ms if isinstance(node, ActOp) else 0
            placed.append((now, step, lasts))
        found: list[Step] = []
        at = number = 0
        while number < len(placed):
            start, step, lasts = placed[number]
            if start > at:
                found.append(Hold(start - at))
            at, behind = start + lasts, number + 1
            while behind < len(placed) and placed[behind][0] < at:
                at = max(at, placed[behind][0] + placed[behind][2])
                behind += 1
            cluster = [(when - start, one, long) for when, one, long in placed[number:behind]]
            found.append(step if len(cluster) == 1 else _overlapping(cluster))
            number = behind
        if now > at:
            found.append(Hold(now - at))
        elif now < at and not is_open:
            raise NotBackError("a move or a fade goes on beside what follows it")
        return found

    def _act(self, op: _ActNow) -> Step:
        name = self.names[op.output]
        match op:
            case Turn():
                return Throw(name, op.on)
            case Modulate():
                if op.kind == 0:
                    return Effect(name, "steady")
                if op.width not in _WIDTHS:
                    return self._remark(op, "the language knows widths of 1 to 100")
                depth = op.depth / LEVEL_STEPS_PER_PCT
                kind: EffectName = EFFECTS[op.kind]
                return Effect(name, kind, op.period_ms, depth, op.seed, op.width)
        if op.duration_ms == 0:
            return self._remark(op, "the language knows no move or fade of no time")
        output = self.table.outputs[op.output]
        law = None if op.law is None else law_of(self.table.laws[op.law])
        if isinstance(output, ServoRecord):
            angle = op.target / ANGLE_STEPS_PER_DEG
            drawn = _draws(op, ANGLE_STEPS_PER_DEG)
            return Move(name, angle, op.duration_ms, law or law_of(self.table.laws[0]), drawn=drawn)
        light: float | StripLight = op.target / LEVEL_STEPS_PER_PCT
        if not isinstance(output, LampRecord):
            light, is_exact = strip_light(self.table.colours[op.target])
            if not is_exact:
                self._remark(op, "")
                raise NotBackError(f"no colour of eight bits is the table's colour {op.target}")
        drawn = _draws(op, LEVEL_STEPS_PER_PCT)
        return Fade(name, light, op.duration_ms, law or UNIFORM, drawn=drawn)

    def _remark(self, op: TableOp, why: str) -> Step:
        self.remarks.append(f"does not go back: {self.words(op)} ({why})")
        return Hold(0, mark=len(self.remarks))


@lru_cache(maxsize=256)
def strip_light(levels: tuple[int, int, int]) -> tuple[StripLight, bool]:
    """The light whose channels have these levels, and whether it has them exactly.

    The brightest channel may be at any code: the colour is scaled up, and its level taken down.
    """
    if levels == channel_levels(BLACK):
        return BLACK, True
    linear = luminance([level / LEVEL_STEPS_PER_PCT for level in levels])
    shown = float(colour_luminance(linear))
    tried = [StripLight(_codes(linear), 100.0)]
    for level in range(LEVEL_MAX - 1, 0, -1):
        pct = level / LEVEL_STEPS_PER_PCT
        full = linear * (float(luminance(float(lightness(shown)) * 100.0 / pct)) / shown)
        if full.max() > 1.0:
            break
        tried.append(StripLight(_codes(full), pct))
    for light in tried:
        if channel_levels(light) == levels:
            return light, True
    return tried[0], False


def _codes(linear: Array) -> tuple[int, int, int]:
    red, green, blue = (round(255 * float(one)) for one in linear_to_srgb(linear))
    return red, green, blue


def _wait(row: list[_ReadStep], wait: _ReadWait) -> None:
    last = row[-1] if row else None
    if isinstance(last, _ReadWait) and not last.key and not wait.key:
        row[-1] = _ReadWait(last.duration_ms + wait.duration_ms)
    elif wait.duration_ms or wait.key:
        row.append(wait)


def _taken(plain: list[_ActNow | _ReadWait], key: int) -> list[ActOp]:
    """Takes the acts off the end of a row that draw their time by this key."""
    found: list[ActOp] = []
    while plain:
        last = plain[-1]
        if not isinstance(last, ActOp) or last.drawn is None or last.drawn.time_key != key:
            break
        found.append(last)
        plain.pop()
    return found[::-1]


def _draws(op: ActOp, steps: int) -> Drawn | None:
    one = op.drawn
    if one is None:
        return None
    return Drawn(one.time_key, one.most_ms, one.target_key, one.most / steps)


def _overlapping(placed: Sequence[_Placed]) -> Step:
    """One row for each output if that keeps their order, else one for each statement."""
    by_output: dict[object, list[_Placed]] = {}
    for one in placed:
        by_output.setdefault(getattr(one[1], "output", one[1]), []).append(one)
    rows = list(by_output.values())
    fits = all(a[0] + a[2] <= b[0] for row in rows for a, b in pairwise(row))
    order = sorted((one for row in rows for one in row), key=lambda one: one[0])
    if not fits or [id(one) for one in order] != [id(one) for one in placed]:
        rows = [[one] for one in placed]
    return Together(tuple(_one(_in_turn(row)) for row in rows))


def _in_turn(row: Sequence[_Placed]) -> list[Step]:
    found: list[Step] = []
    at = 0
    for start, step, lasts in row:
        if start > at:
            found.append(Hold(start - at))
        found.append(step)
        at = start + lasts
    return found


def _one(steps: Sequence[Step]) -> Step:
    return steps[0] if len(steps) == 1 else InTurn(tuple(steps))


def _is_plain(step: Step) -> bool:
    return not any(isinstance(one, Repeat | OneOf) or draws_time(one) for one in walk(step))


def _is_endless(step: Step) -> bool:
    return any(
        isinstance(one, Repeat) and (one.while_held or one.times is None) for one in walk(step)
    )


def is_remark(step: Step) -> bool:
    """Whether a remark stands here."""
    return isinstance(step, Hold) and not step.duration_ms and step.drawn is None


def _demand_writable(body: InTurn) -> None:
    """A block of the text has a statement."""
    for step in walk(body):
        inside = children(step)
        if isinstance(step, InTurn | Together) and all(map(is_remark, inside)):
            raise NotBackError("it, or a block of it, does nothing that can be said")


def _seed(body: InTurn) -> tuple[int | None, bool]:
    """The seed by which the draws have the keys of the table, and whether all of them do."""
    first = next(draws_in(body), None)
    if first is None:
        return None, True
    key = first.key if isinstance(first, OneOf) else 0
    if not isinstance(first, OneOf) and first.drawn is not None:
        key = first.drawn.time_key or first.drawn.target_key
    seed = next(one for one in range(DRAW_KEYS) if key_of(one, 0) == key)
    return seed, numbered(body, seed) == body
