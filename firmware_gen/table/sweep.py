"""The bytes of a code section to ops: one sweep reads it from its first byte to its end, and checks
every rule on the way (TABLE.md, section 1.4)."""

from __future__ import annotations

import struct
from dataclasses import dataclass, replace

from firmware_gen.table.layout import (
    ACT_F,
    ACT_LAW,
    ACT_OUTPUT,
    ACT_WAIT,
    BAD_CODE,
    CALL,
    CALL_CALLS,
    CALL_LOOP,
    CALL_LOOPS,
    CALL_WAITS,
    CHOOSE,
    DRAW,
    DURATION_BIG_BASE,
    DURATION_BIG_STEP_MS,
    DURATION_LONG,
    DURATION_MS,
    DURATION_STEPS,
    EFFECT,
    EFFECTS,
    END,
    FORK,
    GO_ON,
    LAMP,
    LONG_WAIT,
    LOOP,
    LOOP_END,
    SERVO,
    SHORT_WAIT,
    STRIP,
    SWITCH,
    WAIT,
    TableError,
)
from firmware_gen.table.ops import (
    EFFECT_REST,
    U16,
    ActOp,
    Called,
    CallTo,
    ChooseTo,
    Delay,
    DrawnOp,
    ForkTo,
    GoOnTo,
    Loop,
    LoopBack,
    Modulate,
    Pointer,
    TableOp,
    TableThread,
    Turn,
    called_threads,
    lets_time_pass,
    renumbered,
)
from sim.rulebook import (
    ANGLE_STEPS_PER_DEG,
    CALL_DEPTH,
    CHOICES,
    DURATION_STEP_MS,
    LEVEL_MAX,
    LONG_WAIT_STEP_MS,
    LONGEST_DURATION_MS,
    LOOP_DEPTH,
    SHORTEST_PERIOD_MS,
)


@dataclass(frozen=True, slots=True)
class OutputFacts:
    """What the code has to know of an output: its kind, and a servo's travel in 0.01 deg."""

    kind: int
    travel: tuple[int, int] = (0, 0)


@dataclass(frozen=True, slots=True)
class Facts:
    """What the code has to know of the rest of its table."""

    outputs: tuple[OutputFacts, ...]
    colours: int
    laws: int


class Sweep:
    """Reads a code section from its first byte to its end, checking every rule on the way."""

    def __init__(self, data: bytes, start: int, end: int, facts: Facts) -> None:
        self.data, self.at, self.end, self.facts = data, start, end, facts
        self.op_at = start

    def threads(self) -> tuple[tuple[TableThread, ...], dict[int, int]]:
        """The threads, and the index of each by the offset where it starts."""
        found: list[tuple[TableOp, ...]] = []
        index: dict[int, int] = {}
        pointers: list[tuple[int, int, Called | None]] = []
        while self.at < self.end:
            index[self.at] = len(found)
            found.append(self._thread(pointers))
        for self.op_at, target, _ in pointers:
            if target not in index:
                raise self._wrong(f"no thread starts at {target}")
            if target <= self.op_at:
                raise self._wrong(f"{target} does not lie forward")
        threads = tuple(renumbered(thread, index) for thread in found)
        called = called_threads(threads)
        for self.op_at, target, stated in pointers:
            if stated is None:
                continue
            thread = index[target]
            if threads[thread] and isinstance(threads[thread][-1], GoOnTo):
                raise self._wrong("a thread is called that goes on elsewhere")
            if stated != called[thread]:
                raise self._wrong(f"the call states {stated}, and it calls {called[thread]}")
        return threads, index

    def _thread(self, pointers: list[tuple[int, int, Called | None]]) -> TableThread:
        ops: list[TableOp] = []
        waits: list[bool] = []
        while True:
            self.op_at = self.at
            first = self._u8()
            if first in (END, GO_ON) and waits:
                raise self._wrong("a loop is not closed at the end of the thread")
            if first == END:
                return tuple(ops)
            if first == CHOOSE:
                ops.append(self._choose(pointers, waits))
                continue
            op = self._op(first)
            stated = _called(first) if isinstance(op, CallTo) else None
            self._nest(op, stated, waits)
            ops.append(op)
            if isinstance(op, Pointer):
                pointers.append((self.op_at, op.thread, stated))
            if isinstance(op, GoOnTo):
                return tuple(ops)

    def _choose(
        self, pointers: list[tuple[int, int, Called | None]], waits: list[bool]
    ) -> ChooseTo:
        """A choice, and the calls that it chooses from."""
        key, last = self._u8(), self._u8()
        if not key:
            raise self._wrong("a choice is drawn, so its key is not 0")
        if not 1 <= last < CHOICES:
            raise self._wrong(f"a choice from {last + 1}, not from 2 to {CHOICES}")
        threads: list[int] = []
        for _ in range(last + 1):
            self.op_at = self.at
            first = self._u8()
            call = self._op(first) if CALL <= first < SHORT_WAIT else None
            if not isinstance(call, CallTo):
                raise self._wrong("something else than a call is chosen from")
            stated = _called(first)
            if not stated.waits:
                raise self._wrong("what is chosen from takes no time")
            self._nest(call, stated, waits)
            pointers.append((self.op_at, call.thread, stated))
            threads.append(call.thread)
        return ChooseTo(key, tuple(threads))

    def _nest(self, op: TableOp, stated: Called | None, waits: list[bool]) -> None:
        """Follow the loops: `waits` tells for each open one whether it has waited."""
        if stated is not None:
            if len(waits) + stated.loops > LOOP_DEPTH:
                raise self._wrong(f"loops nest deeper than {LOOP_DEPTH}")
            if waits:
                waits[-1] |= stated.waits
        elif isinstance(op, Loop):
            if len(waits) == LOOP_DEPTH:
                raise self._wrong(f"loops nest deeper than {LOOP_DEPTH}")
            waits.append(False)
        elif isinstance(op, LoopBack):
            if not waits:
                raise self._wrong("a loop ends that did not start")
            if not waits.pop():
                raise self._wrong("a loop without a wait")
            if waits:
                waits[-1] = True
        elif waits:
            waits[-1] |= lets_time_pass(op)

    def _op(self, first: int) -> TableOp:
        if first < END:
            return self._act(first)
        if first >= SHORT_WAIT:
            return Delay(DURATION_STEP_MS * (first - SHORT_WAIT + 1))
        if first == WAIT:
            return Delay(self._duration())
        if first == LONG_WAIT:
            seconds = self._u16()
            if seconds == 0:
                raise self._wrong("a long wait of no time")
            return Delay(LONG_WAIT_STEP_MS * seconds)
        if first >= CALL:
            if first & CALL_CALLS == CALL_DEPTH:
                raise self._wrong(f"calls nest deeper than {CALL_DEPTH}")
            return CallTo(self._u16())
        if first == LOOP:
            return Loop(self._u16())
        if first == LOOP_END:
            return LoopBack()
        if first == FORK:
            return ForkTo(self._u16())
        if first == GO_ON:
            return GoOnTo(self._u16())
        if first == EFFECT:
            return self._effect()
        if first == DRAW:
            return self._draw()
        raise self._wrong(f"unknown op {first:#04x}")

    def _draw(self) -> TableOp:
        time_key, target_key, first = self._u8(), self._u8(), self._u8()
        if not time_key and not target_key:
            raise self._wrong("nothing is drawn")
        if first == WAIT:
            if target_key:
                raise self._wrong("a wait has no target")
            least = self._duration()
            return Delay(least, self._most(least, self._duration()), time_key)
        op = self._act(first) if first < END else None
        if not isinstance(op, ActOp):
            raise self._wrong("only an act with a duration, or a wait, is drawn")
        facts = self._output(op.output)
        if target_key and facts.kind == STRIP:
            raise self._wrong("a colour is not drawn")
        most_ms = self._most(op.duration_ms, self._duration()) if time_key else 0
        wide = bool(first & ACT_F)
        most = self._most(op.target, self._target(facts, wide)) if target_key else 0
        return replace(op, drawn=DrawnOp(time_key, most_ms, target_key, most))

    def _most(self, least: int, most: int) -> int:
        if most < least:
            raise self._wrong(f"{most} is less than {least}, from which on it is drawn")
        return most

    def _act(self, first: int) -> TableOp:
        output = first & ACT_OUTPUT
        facts = self._output(output)
        wide = bool(first & ACT_F)
        if facts.kind == SWITCH:
            if first & (ACT_WAIT | ACT_LAW):
                raise self._wrong("a switch takes no duration and no law")
            return Turn(output, wide)
        if wide and facts.kind != SERVO:
            raise self._wrong("a light has no wide target")
        duration_ms = self._duration()
        law = self._below(self.facts.laws, "law") if first & ACT_LAW else None
        target = self._target(facts, wide)
        return ActOp(output, target, duration_ms, bool(first & ACT_WAIT), law)

    def _target(self, facts: OutputFacts, wide: bool) -> int:
        if facts.kind == LAMP:
            return self._below(LEVEL_MAX + 1, "level")
        if facts.kind == STRIP:
            return self._below(self.facts.colours, "colour")
        if wide:
            target = struct.unpack("<h", self._take(2))[0]
        else:
            target = ANGLE_STEPS_PER_DEG * struct.unpack("<b", self._take(1))[0]
        low, high = facts.travel
        if not low <= target <= high:
            raise self._wrong(f"target {target} is outside the travel, {low} to {high}")
        return int(target)

    def _effect(self) -> Modulate:
        output = self._u8()
        if self._output(output).kind not in (LAMP, STRIP):
            raise self._wrong(f"output {output} is not a light")
        kind = self._below(len(EFFECTS), "effect")
        if kind == 0:
            return Modulate(output, kind)
        period_ms, depth, seed, width = EFFECT_REST.unpack(self._take(EFFECT_REST.size))
        if period_ms < SHORTEST_PERIOD_MS:
            raise self._wrong(f"period {period_ms} ms is under {SHORTEST_PERIOD_MS} ms")
        if depth > LEVEL_MAX:
            raise self._wrong(f"depth {depth} is over {LEVEL_MAX}")
        return Modulate(output, kind, period_ms, depth, seed, width)

    def _duration(self) -> int:
        first = self._u8()
        if first < DURATION_STEPS:
            return DURATION_STEP_MS * (first + 1)
        if first < DURATION_MS:
            return DURATION_BIG_STEP_MS * (first - DURATION_BIG_BASE)
        if first < DURATION_LONG:
            return 256 * (first - DURATION_MS) + self._u8()
        duration_ms = self._u16()
        if duration_ms > LONGEST_DURATION_MS:
            raise self._wrong(f"{duration_ms} ms is over {LONGEST_DURATION_MS} ms")
        return duration_ms

    def _output(self, output: int) -> OutputFacts:
        if output >= len(self.facts.outputs):
            raise self._wrong(f"there is no output {output}")
        return self.facts.outputs[output]

    def _below(self, limit: int, name: str) -> int:
        value = self._u8()
        if value >= limit:
            raise self._wrong(f"{name} {value} is not below {limit}")
        return value

    def _u8(self) -> int:
        return self._take(1)[0]

    def _u16(self) -> int:
        return int(U16.unpack(self._take(2))[0])

    def _take(self, count: int) -> bytes:
        if self.at + count > self.end:
            raise self._wrong("the code ends inside a thread")
        piece = self.data[self.at : self.at + count]
        self.at += count
        return piece

    def _wrong(self, message: str) -> TableError:
        return TableError(BAD_CODE, f"code[{self.op_at}]", message)


def _called(first: int) -> Called:
    """What the first byte of a call states."""
    loops = (first & CALL_LOOPS) // CALL_LOOP
    return Called(first & CALL_CALLS, loops, bool(first & CALL_WAITS))
