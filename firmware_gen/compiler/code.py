"""A cue's threads as ops of the table, in as few bytes as they take."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from firmware_gen.compiler.records import (
    CompileError,
    LawBook,
    Palette,
    level_number,
)
from firmware_gen.table.code_bytes import op_bytes, wait_bytes
from firmware_gen.table.layout import EFFECTS, LOOP_FOREVER, LOOP_HELD
from firmware_gen.table.ops import (
    ActOp,
    ChooseTo,
    Delay,
    DrawnOp,
    ForkTo,
    Loop,
    LoopBack,
    Modulate,
    TableOp,
    Turn,
    called_by,
    waits_ms,
)
from sim.model import NO_MARK, Cue, Effect, Fade, Move, StripLight, Throw
from sim.rehearsal.fixed_motion import angle_steps
from sim.rulebook import LONGEST_DURATION_MS, LOOP_DEPTH
from sim.score.draws import draws_in
from sim.score.program import Choose, Do, Fork, LoopStart, Wait
from sim.score.threads import ScoreOp, ScoreThread
from sim.score.tree import Act as Statement

LARGEST_COUNT: Final = LOOP_HELD - 1
_LOOP_BYTES: Final = 4


@dataclass(frozen=True, slots=True)
class Marked:
    """An op and the mark of the step that it came from."""

    op: TableOp
    mark: int = NO_MARK


class Coder:
    """Writes the ops of one board."""

    def __init__(
        self, numbers: Mapping[str, int], kinds: Sequence[int], laws: LawBook, palette: Palette
    ) -> None:
        self._numbers = numbers
        self.kinds = kinds
        self._laws = laws
        self._palette = palette
        self._cue: Cue | None = None
        self._counts = False
        """The cue at hand draws by how often its loops come round."""

    def thread(self, items: ScoreThread, cue: Cue) -> tuple[Marked, ...]:
        """The ops of one thread; forks still name the cue's own threads."""
        row: list[Marked] = []
        starts: list[int] = []
        if cue is not self._cue:  # looked through once, not for each of thousands of threads
            self._cue = cue
            self._counts = next(draws_in(cue.body), None) is not None
        for item in items:
            if isinstance(item, Wait):
                if item.key:
                    self._drawn_wait(row, item)
                else:
                    self._wait(row, item.duration_ms)
                continue
            marked = self._op(item, cue)
            if isinstance(marked.op, Loop):
                starts.append(len(row))
                if len(starts) > LOOP_DEPTH:
                    raise _too_deep(cue, marked.mark)
            row.append(marked)
            if isinstance(marked.op, LoopBack):
                self._unroll(row, starts.pop())
        return tuple(row)

    def _op(self, item: ScoreOp, cue: Cue) -> Marked:
        match item:
            case Do():
                return Marked(self._act(item.act), item.act.mark)
            case LoopStart():
                return Marked(Loop(_times(item, cue)), item.mark)
            case Fork():
                return Marked(ForkTo(item.thread))
            case Choose(key, threads):
                return Marked(ChooseTo(key, threads))
            case _:
                return Marked(LoopBack())

    def _act(self, act: Statement) -> TableOp:
        number = self._numbers[act.output]
        match act:
            case Move():
                target, law = angle_steps(act.angle_deg), self._laws.of_move(act.law)
                drawn = _drawn(act, angle_steps)
                return ActOp(number, target, _duration(act), law=law, drawn=drawn)
            case Fade():
                target, law = self._light(act), self._laws.of_fade(act.law)
                drawn = _drawn(act, level_number)
                return ActOp(number, target, _duration(act), law=law, drawn=drawn)
            case Throw():
                return Turn(number, act.on)
            case Effect():
                return _modulate(number, act)

    def _light(self, fade: Fade) -> int:
        if isinstance(fade.light, StripLight):
            return self._palette.index(fade.light, fade.mark)
        return level_number(fade.light)

    def _drawn_wait(self, row: list[Marked], wait: Wait) -> None:
        """Behind an act that draws the same time, within it: it then costs nothing."""
        last = row[-1] if row else None
        act = last.op if last else None
        if last and isinstance(act, ActOp) and act.drawn and act.drawn.time_key == wait.key:
            row[-1] = Marked(replace(act, wait=True), last.mark)
            return
        row.append(Marked(Delay(wait.duration_ms, wait.most_ms, wait.key)))

    def _wait(self, row: list[Marked], duration_ms: int) -> None:
        """Let time pass, where it helps within the op before: its own duration costs nothing."""
        last = row[-1] if row else None
        timed = last and isinstance(last.op, ActOp) and not last.op.wait
        if timed and last and isinstance(last.op, ActOp) and not _draws_time(last.op):
            rest = duration_ms - last.op.duration_ms
            whole = sum(len(wait_bytes(one.duration_ms)) for one in waits_ms(duration_ms))
            left = sum(len(wait_bytes(one.duration_ms)) for one in waits_ms(max(rest, 0)))
            if rest >= 0 and left < whole:
                act = last.op
                row[-1] = Marked(replace(act, wait=True), last.mark)
                duration_ms = rest
        row += [Marked(delay) for delay in waits_ms(duration_ms)]

    def _unroll(self, row: list[Marked], start: int) -> None:
        """Write a short loop out where that is shorter."""
        loop, body = row[start].op, row[start + 1 : -1]
        if not isinstance(loop, Loop) or loop.times in (LOOP_FOREVER, LOOP_HELD):
            return
        if self._counts or any(isinstance(one.op, Loop | ForkTo | ChooseTo) for one in body):
            return
        size = sum(len(op_bytes(one.op, self.kinds)) for one in body)
        if loop.times * size < size + _LOOP_BYTES:
            row[start:] = body * loop.times


def demand_shallow(rows: Sequence[Sequence[Marked]], first: int, cue: Cue) -> None:
    """That loops nest no deeper than they may, those of what is called included.

    The rows are those of one cue, and ops name them from `first` on. Raises CompileError.
    """
    loops = [0] * len(rows)
    for number in reversed(range(len(rows))):
        depth = 0
        mark = NO_MARK
        for one in rows[number]:
            depth += isinstance(one.op, Loop) - isinstance(one.op, LoopBack)
            mark = one.mark if isinstance(one.op, Loop) else mark
            inner = max((loops[target - first] for target in called_by(one.op)), default=0)
            loops[number] = max(loops[number], depth + inner)
            if depth + inner > LOOP_DEPTH:
                raise _too_deep(cue, mark)


def _draws_time(op: ActOp) -> bool:
    return op.drawn is not None and op.drawn.time_key != 0


def _drawn(act: Move | Fade, steps: Callable[[float], int]) -> DrawnOp | None:
    """What an act draws, in the steps of a table."""
    one = act.drawn
    if one is None:
        return None
    most = steps(one.most) if one.target_key else 0
    return DrawnOp(one.time_key, one.most_ms if one.time_key else 0, one.target_key, most)


def _duration(act: Move | Fade) -> int:
    if act.duration_ms > LONGEST_DURATION_MS:
        raise CompileError(
            "duration-too-long",
            f"this takes {act.duration_ms / 1000:g} s, and a table holds "
            f"{LONGEST_DURATION_MS / 1000:g} s for one move or fade",
            act.mark,
            part="duration",
            asked=act.duration_ms,
            limit=LONGEST_DURATION_MS,
            unit="ms",
        )
    return act.duration_ms


def _times(loop: LoopStart, cue: Cue) -> int:
    if loop.while_held:
        return LOOP_HELD
    if loop.times is None:
        return LOOP_FOREVER
    if loop.times > LARGEST_COUNT:
        raise CompileError(
            "too-many-passes",
            f"a repeat of cue `{cue.name}` runs {loop.times} times, and a table holds "
            f"{LARGEST_COUNT}",
            loop.mark,
            part="times",
            asked=loop.times,
            limit=LARGEST_COUNT,
            unit="times",
        )
    return loop.times


def _too_deep(cue: Cue, mark: int) -> CompileError:
    return CompileError(
        "repeats-too-deep",
        f"repeats of cue `{cue.name}` nest more than {LOOP_DEPTH} deep",
        mark,
        asked=LOOP_DEPTH + 1,
        limit=LOOP_DEPTH,
        unit="deep",
    )


def _modulate(number: int, effect: Effect) -> Modulate:
    kind = EFFECTS.index(effect.name)
    if kind == 0:
        return Modulate(number, kind)
    depth = level_number(effect.depth_pct)
    return Modulate(number, kind, effect.period_ms, depth, effect.seed, effect.width)
