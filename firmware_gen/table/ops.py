"""The code of cues: ops, their bytes, and the sweep that checks a whole code section.

TABLE.md, section 1.4. A fork names a thread by its index here and by an offset in the bytes.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

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
    SHORT_WAIT_STEPS,
    STRIP,
    SWITCH,
    WAIT,
    TableError,
)
from sim.rulebook import (
    ANGLE_STEPS_PER_DEG,
    CALL_DEPTH,
    CHOICES,
    DURATION_STEP_MS,
    LEVEL_MAX,
    LONG_WAIT_STEP_MS,
    LONG_WAIT_STEPS,
    LONGEST_DURATION_MS,
    LOOP_DEPTH,
    SHORTEST_PERIOD_MS,
)


@dataclass(frozen=True, slots=True)
class DrawnOp:
    """What an act draws: a time up to `most_ms`, a target up to `most`; key 0: not drawn."""

    time_key: int = 0
    most_ms: int = 0
    target_key: int = 0
    most: int = 0


@dataclass(frozen=True, slots=True)
class ActOp:
    """Move or fade an output; `target` is 0.01 deg, a level or a colour's index.

    `law` is an index into the table's laws; None: law 0 for a servo, uniform for a light.
    """

    output: int
    target: int
    duration_ms: int
    wait: bool = False
    law: int | None = None
    drawn: DrawnOp | None = None


@dataclass(frozen=True, slots=True)
class Turn:
    """Set a switch."""

    output: int
    on: bool


@dataclass(frozen=True, slots=True)
class Delay:
    """With a key, the time is drawn: between `duration_ms` and `most_ms`."""

    duration_ms: int
    most_ms: int = 0
    key: int = 0


@dataclass(frozen=True, slots=True)
class Loop:
    """`times` as in the bytes: LOOP_FOREVER, LOOP_HELD or a count."""

    times: int


@dataclass(frozen=True, slots=True)
class LoopBack:
    pass


@dataclass(frozen=True, slots=True)
class ForkTo:
    thread: int


@dataclass(frozen=True, slots=True)
class GoOnTo:
    """Last op of a thread: it goes on with another one, always later in the table."""

    thread: int


@dataclass(frozen=True, slots=True)
class CallTo:
    """Carry out another thread, always one later in the table, and go on behind this op."""

    thread: int


@dataclass(frozen=True, slots=True)
class ChooseTo:
    """Carry out one of several threads, all later in the table, and go on behind this op."""

    key: int
    threads: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Modulate:
    """Lay an effect over a light; `kind` indexes EFFECTS, `depth` is a level."""

    output: int
    kind: int
    period_ms: int = 0
    depth: int = 0
    seed: int = 0
    width: int = 0


@dataclass(frozen=True, slots=True)
class Called:
    """What a call states of the thread that it calls.

    `calls`: how many calls are open at once within it; `loops`: how many loops, those of threads
    that it calls included; `waits`: whether it waits at all.
    """

    calls: int
    loops: int
    waits: bool


Pointer: TypeAlias = ForkTo | GoOnTo | CallTo
"""An op that names another thread."""

TableOp: TypeAlias = ActOp | Turn | Delay | Loop | LoopBack | Pointer | ChooseTo | Modulate
TableThread: TypeAlias = tuple[TableOp, ...]

_EFFECT_REST: Final = struct.Struct("<HBBB")
EFFECT_BYTES: Final = 1 + _EFFECT_REST.size
"""What says which effect it is: its kind, and what follows it."""
_U16: Final = struct.Struct("<H")


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


# -- to bytes -------------------------------------------------------------------------------------


def duration_bytes(duration_ms: int) -> bytes:
    """The shortest bytes for a duration of 0 to 65000 ms; ValueError for another."""
    if not 0 <= duration_ms <= LONGEST_DURATION_MS:
        raise ValueError(f"{duration_ms} ms is not within 0 to {LONGEST_DURATION_MS} ms")
    steps, rest = divmod(duration_ms, DURATION_STEP_MS)
    if rest == 0 and 1 <= steps <= DURATION_STEPS:
        return bytes((steps - 1,))
    steps, rest = divmod(duration_ms, DURATION_BIG_STEP_MS)
    if rest == 0 and DURATION_STEPS <= steps + DURATION_BIG_BASE < DURATION_MS:
        return bytes((steps + DURATION_BIG_BASE,))
    high, low = divmod(duration_ms, 256)
    if DURATION_MS + high < DURATION_LONG:
        return bytes((DURATION_MS + high, low))
    return bytes((DURATION_LONG,)) + _U16.pack(duration_ms)


def wait_bytes(duration_ms: int) -> bytes:
    """The shortest bytes for a wait: of 0 to 65000 ms, or of 1 to 65535 whole seconds."""
    steps, rest = divmod(duration_ms, DURATION_STEP_MS)
    if rest == 0 and 1 <= steps <= SHORT_WAIT_STEPS:
        return bytes((SHORT_WAIT + steps - 1,))
    seconds, rest = divmod(duration_ms, LONG_WAIT_STEP_MS)
    is_long = rest == 0 and 1 <= seconds <= LONG_WAIT_STEPS
    if is_long and duration_ms > LONGEST_DURATION_MS:
        return bytes((LONG_WAIT,)) + _U16.pack(seconds)
    short = bytes((WAIT,)) + duration_bytes(duration_ms)
    long = bytes((LONG_WAIT,)) + _U16.pack(seconds) if is_long else short
    return min(short, long, key=len)


def op_bytes(
    op: TableOp,
    kinds: Sequence[int],
    starts: Sequence[int] | None = None,
    called: Sequence[Called] | None = None,
) -> bytes:
    """Bytes of one op; `kinds` of all outputs.

    `starts`: offsets of all threads, `called`: what calls state of them (None: zeros).
    """
    match op:
        case ActOp():
            return _act_bytes(op, kinds[op.output] if op.output < len(kinds) else 0)
        case Turn():
            return struct.pack("<B", op.output | (ACT_F if op.on else 0))
        case Delay():
            if not op.key:
                return wait_bytes(op.duration_ms)
            ends = duration_bytes(op.duration_ms) + duration_bytes(op.most_ms)
            return bytes((DRAW, op.key, 0, WAIT)) + ends
        case Loop():
            return bytes((LOOP,)) + _U16.pack(op.times)
        case LoopBack():
            return bytes((LOOP_END,))
        case CallTo():
            return _call_bytes(op.thread, starts, called)
        case ChooseTo():
            calls = b"".join(_call_bytes(thread, starts, called) for thread in op.threads)
            return bytes((CHOOSE, op.key, len(op.threads) - 1)) + calls
        case ForkTo() | GoOnTo():
            first = FORK if isinstance(op, ForkTo) else GO_ON
            return bytes((first,)) + _U16.pack(starts[op.thread] if starts else 0)
        case Modulate():
            rest = _EFFECT_REST.pack(op.period_ms, op.depth, op.seed, op.width)
            return struct.pack("<BBB", EFFECT, op.output, op.kind) + (rest if op.kind else b"")


def _act_bytes(op: ActOp, kind: int) -> bytes:
    first = op.output | (ACT_WAIT if op.wait else 0) | (ACT_LAW if op.law is not None else 0)
    drawn = op.drawn or DrawnOp()
    targets = [op.target, *([drawn.most] if drawn.target_key else [])]
    form = "<B"
    if kind == SERVO and all(_is_whole(target) for target in targets):
        form, targets = "<b", [target // ANGLE_STEPS_PER_DEG for target in targets]
    elif kind == SERVO:
        form, first = "<h", first | ACT_F
    target, *most = (struct.pack(form, one) for one in targets)
    law = b"" if op.law is None else struct.pack("<B", op.law)
    act = struct.pack("<B", first) + duration_bytes(op.duration_ms) + law + target
    if op.drawn is None:
        return act
    longest = duration_bytes(drawn.most_ms) if drawn.time_key else b""
    keys = bytes((DRAW, drawn.time_key, drawn.target_key))
    return keys + act + longest + b"".join(most)


def _is_whole(target: int) -> bool:
    """Whether an angle has a form of one byte."""
    degrees, rest = divmod(target, ANGLE_STEPS_PER_DEG)
    return rest == 0 and -128 <= degrees <= 127


def _call_bytes(
    thread: int, starts: Sequence[int] | None, called: Sequence[Called] | None
) -> bytes:
    first = _call_byte(called[thread]) if called else CALL
    return bytes((first,)) + _U16.pack(starts[thread] if starts else 0)


def _call_byte(called: Called) -> int:
    if called.calls >= CALL_DEPTH:
        raise ValueError(f"calls nest deeper than {CALL_DEPTH}")
    return CALL | CALL_WAITS * called.waits | CALL_LOOP * called.loops | called.calls


def called_threads(threads: Sequence[TableThread]) -> list[Called]:
    """What a call of each thread states. All calls point forward."""
    found: list[Called] = []
    for thread in reversed(threads):
        calls = loops = depth = 0
        waits = False
        for op in thread:
            depth += isinstance(op, Loop) - isinstance(op, LoopBack)
            loops = max(loops, depth)
            for target in called_by(op):
                inner = found[len(threads) - 1 - target]
                calls, loops = max(calls, inner.calls + 1), max(loops, depth + inner.loops)
                waits |= inner.waits
            waits |= _waits(op)
        found.append(Called(calls, loops, waits))
    return found[::-1]


def called_by(op: TableOp) -> tuple[int, ...]:
    """The threads that an op calls."""
    if isinstance(op, ChooseTo):
        return op.threads
    return (op.thread,) if isinstance(op, CallTo) else ()


def pointed_to(op: TableOp) -> tuple[int, ...]:
    """The threads that an op names."""
    return (op.thread,) if isinstance(op, Pointer) else called_by(op)


def pointed_anew(op: TableOp, number: Mapping[int, int] | Sequence[int]) -> TableOp:
    """The op with `number` of every thread that it names."""
    if isinstance(op, ChooseTo):
        return replace(op, threads=tuple(number[thread] for thread in op.threads))
    return replace(op, thread=number[op.thread]) if isinstance(op, Pointer) else op


def _waits(op: TableOp) -> bool:
    if isinstance(op, Delay):
        return op.duration_ms > 0
    return isinstance(op, ActOp) and op.wait and op.duration_ms > 0


def end_bytes(thread: TableThread) -> bytes:
    """What closes a thread: nothing where it goes on elsewhere."""
    return b"" if thread and isinstance(thread[-1], GoOnTo) else bytes((END,))


def code_bytes(
    threads: Sequence[TableThread], kinds: Sequence[int], base: int
) -> tuple[bytes, list[list[int]]]:
    """All threads' bytes, and for each thread the offsets of its ops, its end and what follows."""
    offsets: list[list[int]] = []
    at = base
    for thread in threads:
        places = [at]
        for op in thread:
            places.append(places[-1] + len(op_bytes(op, kinds)))
        at = places[-1] + len(end_bytes(thread))
        offsets.append([*places, at])
    starts = [places[0] for places in offsets]
    called = called_threads(threads)
    code = b"".join(
        b"".join(op_bytes(op, kinds, starts, called) for op in thread) + end_bytes(thread)
        for thread in threads
    )
    return code, offsets


# -- from bytes -----------------------------------------------------------------------------------


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
            waits[-1] |= _waits(op)

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
        period_ms, depth, seed, width = _EFFECT_REST.unpack(self._take(_EFFECT_REST.size))
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
        return int(_U16.unpack(self._take(2))[0])

    def _take(self, count: int) -> bytes:
        if self.at + count > self.end:
            raise self._wrong("the code ends inside a thread")
        piece = self.data[self.at : self.at + count]
        self.at += count
        return piece

    def _wrong(self, message: str) -> TableError:
        return TableError(BAD_CODE, f"code[{self.op_at}]", message)


def renumbered(thread: TableThread, number: Mapping[int, int] | Sequence[int]) -> TableThread:
    """The thread with every pointer to `number` of what it pointed to."""
    return tuple(pointed_anew(op, number) for op in thread)


def _called(first: int) -> Called:
    """What the first byte of a call states."""
    loops = (first & CALL_LOOPS) // CALL_LOOP
    return Called(first & CALL_CALLS, loops, bool(first & CALL_WAITS))


def waits_ms(duration_ms: int) -> list[Delay]:
    """Ops that wait any time: one where it fits."""
    if duration_ms <= LONGEST_DURATION_MS:
        return [Delay(duration_ms)] if duration_ms else []
    seconds, rest = divmod(duration_ms, LONG_WAIT_STEP_MS)
    whole, some = divmod(seconds, LONG_WAIT_STEPS)
    waits = [LONG_WAIT_STEPS * LONG_WAIT_STEP_MS] * whole + [some * LONG_WAIT_STEP_MS, rest]
    return [Delay(wait) for wait in waits if wait]
