"""Ops to the bytes of a code section: TABLE.md, section 1.4."""

from __future__ import annotations

import struct
from collections.abc import Sequence

from firmware_gen.table.layout import (
    ACT_F,
    ACT_LAW,
    ACT_WAIT,
    CALL,
    CALL_LOOP,
    CALL_WAITS,
    CHOOSE,
    DRAW,
    DURATION_BIG_BASE,
    DURATION_BIG_STEP_MS,
    DURATION_LONG,
    DURATION_MS,
    DURATION_STEPS,
    EFFECT,
    END,
    FORK,
    GO_ON,
    LONG_WAIT,
    LOOP,
    LOOP_END,
    SERVO,
    SHORT_WAIT,
    SHORT_WAIT_STEPS,
    WAIT,
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
    TableOp,
    TableThread,
    Turn,
    called_threads,
)
from sim.rulebook import (
    ANGLE_STEPS_PER_DEG,
    CALL_DEPTH,
    DURATION_STEP_MS,
    LONG_WAIT_STEP_MS,
    LONG_WAIT_STEPS,
    LONGEST_DURATION_MS,
)


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
    return bytes((DURATION_LONG,)) + U16.pack(duration_ms)


def wait_bytes(duration_ms: int) -> bytes:
    """The shortest bytes for a wait: of 0 to 65000 ms, or of 1 to 65535 whole seconds."""
    steps, rest = divmod(duration_ms, DURATION_STEP_MS)
    if rest == 0 and 1 <= steps <= SHORT_WAIT_STEPS:
        return bytes((SHORT_WAIT + steps - 1,))
    seconds, rest = divmod(duration_ms, LONG_WAIT_STEP_MS)
    is_long = rest == 0 and 1 <= seconds <= LONG_WAIT_STEPS
    if is_long and duration_ms > LONGEST_DURATION_MS:
        return bytes((LONG_WAIT,)) + U16.pack(seconds)
    short = bytes((WAIT,)) + duration_bytes(duration_ms)
    long = bytes((LONG_WAIT,)) + U16.pack(seconds) if is_long else short
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
            return bytes((LOOP,)) + U16.pack(op.times)
        case LoopBack():
            return bytes((LOOP_END,))
        case CallTo():
            return _call_bytes(op.thread, starts, called)
        case ChooseTo():
            calls = b"".join(_call_bytes(thread, starts, called) for thread in op.threads)
            return bytes((CHOOSE, op.key, len(op.threads) - 1)) + calls
        case ForkTo() | GoOnTo():
            first = FORK if isinstance(op, ForkTo) else GO_ON
            return bytes((first,)) + U16.pack(starts[op.thread] if starts else 0)
        case Modulate():
            rest = EFFECT_REST.pack(op.period_ms, op.depth, op.seed, op.width)
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
    return bytes((first,)) + U16.pack(starts[thread] if starts else 0)


def _call_byte(called: Called) -> int:
    if called.calls >= CALL_DEPTH:
        raise ValueError(f"calls nest deeper than {CALL_DEPTH}")
    return CALL | CALL_WAITS * called.waits | CALL_LOOP * called.loops | called.calls


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
