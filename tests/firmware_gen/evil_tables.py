"""Tables that pass every check and still mean harm."""

from __future__ import annotations

from dataclasses import replace

from firmware_gen.table.layout import LOOP_FOREVER
from firmware_gen.table.ops import (
    ActOp,
    Delay,
    ForkTo,
    GoOnTo,
    Loop,
    LoopBack,
    Modulate,
    TableOp,
    Turn,
)
from firmware_gen.table.records import (
    BindingRecord,
    LampRecord,
    LawRecord,
    ServoRecord,
    StripRecord,
    Table,
)
from tests.firmware_gen.random_tables import Request
from tests.firmware_gen.tables_by_hand import FIN, JAW, LAMP, STRIP, SWITCH, table

TICK = (Delay(1),)
FLOOD: tuple[TableOp, ...] = tuple(Turn(1, n % 2 == 0) for n in range(300))
SWEEP = (ActOp(0, 8000, 0), ActOp(0, 0, 0), ActOp(0, 8000, 0))


def nested(body: tuple[TableOp, ...]) -> tuple[TableOp, ...]:
    starts, ends = (Loop(65534),) * 3, (LoopBack(),) * 3
    return (*starts, *body, *ends)


FASTEST = ServoRecord(1, (-32768, 32767), 65535, 65535, -32768, ((-32768, 800), (32767, 5200)))
SLOWEST = replace(FASTEST, pin=2, speed_limit=1, acceleration_limit=1)
HARSH = (LawRecord(9, 64, 1), LawRecord(2, 64), LawRecord(0), LawRecord(9, 32768, 32768))

EVIL: dict[str, Table] = {
    "loops that would run for years": table((JAW, SWITCH), (nested((*FLOOD, *TICK)), TICK)),
    "a flood of switching between two waits": table(
        (JAW, SWITCH), ((Loop(LOOP_FOREVER), *FLOOD, Delay(10), LoopBack()), TICK)
    ),
    "every thread a flood": table(
        (JAW, SWITCH),
        (
            tuple(ForkTo(2) for _ in range(9)),
            TICK,
            (Loop(LOOP_FOREVER), *FLOOD, *TICK, LoopBack()),
        ),
        uses=(2, 1),
        reserved=(9, 1),
    ),
    "forks in a loop without room for them": table(
        (JAW, SWITCH),
        (
            (Loop(LOOP_FOREVER), ForkTo(2), ForkTo(2), *TICK, LoopBack()),
            TICK,
            (Delay(60000),),
        ),
        uses=(2, 1),
        reserved=(5, 1),
    ),
    "moves that wait for one another for ever": table(
        (replace(JAW, speed_limit=1), SWITCH),
        ((Loop(LOOP_FOREVER), *SWEEP, *TICK, LoopBack()), TICK),
        uses=(1, 2),
    ),
    "a strand that ends at once": table((JAW, SWITCH), ((), TICK), strands=(0,)),
    "more runs than there are, beside a strand": table(
        (JAW, SWITCH), (TICK, (Delay(60000),)), uses=(0, 0), strands=(0,)
    ),
    "strands that leave no thread to a cue": table(
        (JAW, SWITCH), (TICK, (Delay(60000),)), reserved=(10, 1), uses=(0, 0), strands=(0,)
    ),
    "a lost cue that is refused in every frame": table(
        (JAW, SWITCH),
        ((Delay(60000),), (Delay(60000),)),
        conflicts=(2, 0),
        lost=0,
        lost_time=1,
    ),
    "the widest angles at the extreme limits": replace(
        table(
            (FASTEST, SLOWEST),
            (
                tuple(
                    op
                    for n in range(8)
                    for op in (
                        ActOp(0, 32767 if n % 2 else -32768, n, False, n % 4),
                        ActOp(1, -32768 if n % 2 else 32767, 65000, False, n % 4),
                        Delay(37),
                    )
                ),
                (ActOp(0, 0, 0), ActOp(1, 0, 0)),
            ),
        ),
        laws=HARSH,
    ),
    "effects at their shortest and widest": table(
        (LampRecord(22, 200), StripRecord(1, 99, 0, 1, 1), StripRecord(2, 1, 0, 0, 1)),
        (
            tuple(
                Modulate(output, kind, 40, 200, 255, width)
                for kind in (1, 2, 3, 4)
                for width in (0, 255)
                for output in (0, 1, 2)
            ),
            (ActOp(0, 200, 0), ActOp(1, 1, 0), ActOp(2, 1, 65000)),
        ),
    ),
    "one button for everything, also the stop": table(
        (JAW, LAMP, STRIP),
        ((ActOp(0, 8000, 10),), (ActOp(1, 200, 10),)),
        bindings=tuple(BindingRecord(1, n % 2, True) for n in range(31)),
        stop_button=1,
    ),
    "threads that go on in a chain": table(
        (JAW, FIN),
        (
            *((ActOp(n % 2, 1000, 5), GoOnTo(n + 1)) for n in range(40)),
            (Loop(LOOP_FOREVER), Delay(1), LoopBack()),
        ),
        uses=(3, 3),
    ),
}


def requests_for(made: Table, frames: int) -> list[Request]:
    """Requests without a pause, none of them a stop."""
    found: list[Request] = []
    for frame in range(frames):
        if frame % 50 == 0:
            found.append((frame, "heard", 0, 0))
        if frame % 7 == 3:
            found.append((frame, "trigger", made.cues[frame % len(made.cues)].tag, 0))
        if frame % 31 == 5:
            found.append((frame, "button", 1, frame % 2))
    return found
