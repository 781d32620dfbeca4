"""The code of cues as values: ops, and what they say of one another.

TABLE.md, section 1.4. `code_bytes.py` makes bytes of them, `sweep.py` reads and checks
those. A fork names a thread by its index here and by an offset in the bytes.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

from sim.rulebook import (
    LONG_WAIT_STEP_MS,
    LONG_WAIT_STEPS,
    LONGEST_DURATION_MS,
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

EFFECT_REST: Final = struct.Struct("<HBBB")
"""What follows an effect's kind: its period, depth, seed and width."""
EFFECT_BYTES: Final = 1 + EFFECT_REST.size
"""What says which effect it is: its kind, and what follows it."""
U16: Final = struct.Struct("<H")
"""Where a thread begins, and other numbers of two bytes."""


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
            waits |= lets_time_pass(op)
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


def lets_time_pass(op: TableOp) -> bool:
    """Whether an op waits for longer than 0."""
    if isinstance(op, Delay):
        return op.duration_ms > 0
    return isinstance(op, ActOp) and op.wait and op.duration_ms > 0


def renumbered(thread: TableThread, number: Mapping[int, int] | Sequence[int]) -> TableThread:
    """The thread with every pointer to `number` of what it pointed to."""
    return tuple(pointed_anew(op, number) for op in thread)


def waits_ms(duration_ms: int) -> list[Delay]:
    """Ops that wait any time: one where it fits."""
    if duration_ms <= LONGEST_DURATION_MS:
        return [Delay(duration_ms)] if duration_ms else []
    seconds, rest = divmod(duration_ms, LONG_WAIT_STEP_MS)
    whole, some = divmod(seconds, LONG_WAIT_STEPS)
    waits = [LONG_WAIT_STEPS * LONG_WAIT_STEP_MS] * whole + [some * LONG_WAIT_STEP_MS, rest]
    return [Delay(wait) for wait in waits if wait]
