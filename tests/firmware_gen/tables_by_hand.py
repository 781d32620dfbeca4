"""Tables made by hand, each for one thing that a player can get wrong, and requests to show it."""

from __future__ import annotations

from dataclasses import replace

from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.table.layout import LOOP_FOREVER, LOOP_HELD
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
    CueRecord,
    LampRecord,
    LawRecord,
    OutputRecord,
    ServoRecord,
    StripRecord,
    SwitchRecord,
    Table,
)
from tests.firmware_gen.random_tables import Request

TAKE, WAIT, REFUSE = 0, 1, 2
ALL_LAWS = (
    *(LawRecord(n) for n in (5, 0, 1, 3, 4, 6, 7, 8)),
    LawRecord(2, 21845),
    LawRecord(2, 64),
    LawRecord(9, 32768, 32768),
    LawRecord(9, 64, 1),
    LawRecord(9, 20000, 6000),
)
COLOURS = ((0, 0, 0), (200, 200, 200), (180, 90, 20), (0, 16, 120))


def servo(pin: int, safe: int = 2000, speed: int = 353, acceleration: int = 2600) -> ServoRecord:
    points = ((0, 1800), (4500, 2900), (9000, 4200))
    return ServoRecord(pin, (0, 8000), speed, acceleration, safe, points)


REVERSED = ServoRecord(
    ATMEGA328P.pin("PB2"), (-4500, 4500), 300, 3000, 0, ((-4500, 4000), (4500, 2000))
)
JAW, FIN = servo(ATMEGA328P.pin("PB1")), REVERSED
LAMP = LampRecord(ATMEGA328P.pin("PD6"), 40)
STRIP = StripRecord(ATMEGA328P.pin("PD7"), 7, 2, 0, 0)
SWITCH = SwitchRecord(ATMEGA328P.pin("PC0"), True, False)


def table(
    outputs: tuple[OutputRecord, ...],
    cues: tuple[tuple[TableOp, ...], ...],
    conflicts: tuple[int, ...] = (),
    uses: tuple[int, ...] = (),
    reserved: tuple[int, ...] = (),
    strands: tuple[int, ...] = (),
    **more: object,
) -> Table:
    """A table whose n-th cue (tag n + 1) starts the n-th thread; other threads come after them.

    Without `conflicts`, `uses`, `reserved`: take, all outputs, one thread. `strands`: the cues
    that are strands of idle.
    """
    count = len(conflicts or uses or reserved) or len(cues)
    records = tuple(
        CueRecord(
            n + 1,
            uses[n] if uses else 2 ** len(outputs) - 1,
            conflicts[n] if conflicts else TAKE,
            reserved[n] if reserved else 1,
            n,
            strand=n in strands,
        )
        for n in range(count)
    )
    base = Table(
        ATMEGA328P.chip_id,
        1,
        outputs=outputs,
        colours=COLOURS,
        laws=ALL_LAWS,
        cues=records,
        threads=cues,
        enable_interval=2,
    )
    return replace(base, **more)


def triggers(*pairs: tuple[int, int]) -> list[Request]:
    """Cue tags at frames."""
    return [(frame, "trigger", tag, 0) for frame, tag in pairs]


def _law_runs() -> Table:
    there = tuple(
        (ActOp(0, 7300, 700, True, law or None), ActOp(0, 900, 430, True, law or None))
        for law in range(len(ALL_LAWS))
    )
    return table((JAW,), there)


def _interruptions() -> list[Request]:
    return triggers(*((4 + 13 * n + n % 5, n % len(ALL_LAWS) + 1) for n in range(80)))


_far = (ActOp(0, 8000, 300, True), ActOp(1, 4500, 300, True))
_near = (ActOp(0, 300, 1, False), ActOp(1, -4500, 900, True))
_ahead = (ActOp(0, 7900, 500, False), ActOp(1, 4400, 500, True, 7))
_LIGHTS = (LAMP, STRIP, replace(STRIP, pin=ATMEGA328P.pin("PC1"), pixels=12, order=5, cap=6))
_breathe, _ember, _sparkle, _chase = (
    lambda output, kind=kind, **more: Modulate(output, kind, **({"depth": 160, "seed": 9} | more))
    for kind in (1, 2, 3, 4)
)
_FADES = (
    (ActOp(0, 200, 1000, False), ActOp(1, 2, 800, False, 3), ActOp(2, 1, 1500, True)),
    (ActOp(0, 3, 300, True), ActOp(1, 0, 0, False), ActOp(2, 3, 40, True, 1)),
    (
        *(
            effect
            for kind in (_breathe, _ember, _sparkle, _chase)
            for effect in (
                kind(0, period_ms=777, width=30),
                kind(1, period_ms=333, width=3),
                kind(2, period_ms=1000, width=40),
                Delay(1500),
            )
        ),
        Modulate(0, 0),
        Modulate(1, 0),
        Delay(100),
    ),
    (_ember(1, period_ms=40, depth=200, seed=255), ActOp(1, 1, 2000, True)),
)
_LOOPS = (
    (
        Loop(3),
        ActOp(0, 4000, 100, True),
        ActOp(0, 1000, 100, True),
        LoopBack(),
        ActOp(1, 4500, 200, True),
    ),
    (Loop(LOOP_HELD), ActOp(0, 6000, 200, True), ActOp(0, 500, 200, True), LoopBack(), Delay(100)),
    (
        ForkTo(4),
        Loop(2),
        Loop(2),
        Loop(2),
        ActOp(0, 3000, 40, True),
        ActOp(0, 2000, 50, True),
        LoopBack(),
        LoopBack(),
        LoopBack(),
    ),
    (Loop(LOOP_FOREVER), ActOp(0, 2500, 400, True), ActOp(0, 1500, 400, True), LoopBack()),
    (Loop(5), ActOp(1, 2000, 70, True), ForkTo(5), ActOp(1, -2000, 70, True), LoopBack()),
    (Delay(30), GoOnTo(6)),
    (Turn(2, True), Delay(60), Turn(2, False)),
)
_held = (BindingRecord(1, 0, False), BindingRecord(2, 1, False), BindingRecord(3, 2, True))


def _buttons(*triples: tuple[int, int, int]) -> list[Request]:
    return [(frame, "button", button, down) for frame, button, down in triples]


_OWNERS = table(
    (JAW, FIN, SWITCH),
    (
        (ActOp(0, 7000, 800), ActOp(1, 3000, 800, True), Turn(2, True), ActOp(1, 0, 600, True)),
        (ActOp(1, -3000, 500, True), Turn(2, False), ActOp(1, 2000, 500, True)),
        (ActOp(0, 1000, 700, True),),
        (Turn(2, True), Delay(300), Turn(2, False)),
        (Loop(LOOP_FOREVER), ActOp(0, 2400, 500, True), ActOp(0, 1600, 500, True), LoopBack()),
    ),
    conflicts=(TAKE, WAIT, REFUSE, TAKE, TAKE),
    uses=(0b111, 0b110, 0b001, 0b100, 0b001),
    strands=(4,),
)

_STOPPING = table(
    (JAW, FIN, LAMP, STRIP, replace(SWITCH, safe=True)),
    (
        (
            Turn(4, False),
            _breathe(3, period_ms=500),
            ActOp(3, 1, 200),
            ActOp(2, 200, 300),
            ActOp(1, 4500, 900),
            ActOp(0, 8000, 900, True),
        ),
        (ActOp(1, -4500, 60, True),),
    ),
    stop_button=5,
    stop_time=30,
)

_HEARD: list[Request] = [(frame, "heard", 0, 0) for frame in (20, 21, 40, 70, 180)]
_BUSY = table((LAMP,), (tuple(ActOp(0, n, 0) for n in range(200)) * 2 + (Delay(10),),))
_ENDLESS = table(
    (JAW, SWITCH), ((Turn(1, True),), ()), strands=(0,), bindings=(BindingRecord(1, 1, True),)
)
_THREADS = table(
    (JAW, LAMP),
    ((ForkTo(3), Delay(500)), (ForkTo(3), ForkTo(3), Delay(500)), (Delay(500),), (Delay(300),)),
    uses=(1, 2, 0),
    reserved=(4, 5, 1),
)

CASES: tuple[tuple[str, Table, list[Request], int], ...] = (
    (
        "every motion law there and back",
        _law_runs(),
        triggers(*((4 + 60 * n, n + 1) for n in range(13))),
        800,
    ),
    ("every law cut short by another", _law_runs(), _interruptions(), 1150),
    (
        "a target ahead, behind, and beyond the brake",
        table((JAW, FIN), (_far, _near, _ahead)),
        triggers((5, 1), (12, 3), (15, 2), (22, 1), (30, 2), (33, 3), (34, 1), (60, 2), (64, 2)),
        200,
    ),
    (
        "limits that stretch every move",
        table((replace(JAW, speed_limit=20, acceleration_limit=30), FIN), (_far, _near, _ahead)),
        triggers((5, 1), (40, 2), (90, 3), (200, 1)),
        900,
    ),
    (
        "fades and effects",
        table(_LIGHTS, _FADES),
        triggers((3, 1), (60, 2), (90, 3), (420, 4)),
        560,
    ),
    (
        "loops, forks, held buttons",
        table(
            (JAW, FIN, SWITCH),
            _LOOPS,
            reserved=(1, 1, 4, 1),
            uses=(7, 7, 7, 4),
            strands=(3,),
            bindings=_held,
        ),
        _buttons((10, 1, 1), (12, 1, 0), (60, 2, 1), (130, 2, 0), (180, 3, 1), (300, 3, 0)),
        420,
    ),
    (
        "take, wait, refuse and idle",
        _OWNERS,
        triggers(
            (20, 1), (25, 2), (26, 3), (40, 4), (41, 2), (160, 3), (165, 1), (166, 2), (300, 3)
        ),
        420,
    ),
    (
        "stop, limp and standby",
        _STOPPING,
        [
            (1, "trigger", 1, 0),
            *triggers((10, 1)),
            (22, "stop", 0, 0),
            (30, "trigger", 2, 0),
            (80, "trigger", 2, 0),
            (85, "standby", 0, 0),
            (86, "button", 5, 1),
            (90, "button", 5, 0),
            (91, "standby", 0, 0),
            *triggers((110, 1)),
            (120, "button", 5, 1),
            (125, "stop", 0, 0),
            (140, "standby", 0, 0),
            *triggers((150, 1), (152, 2)),
            (160, "limp", 0, 0),
            (170, "standby", 0, 0),
        ],
        220,
    ),
    (
        "a lost remote",
        replace(_OWNERS, lost=0, lost_time=4),
        _HEARD,
        300,
    ),
    ("more ops than a frame holds", _BUSY, triggers((2, 1), (6, 1)), 20),
    ("cues that take no time, idle and held", _ENDLESS, _buttons((5, 1, 1), (20, 1, 0)), 40),
    ("threads run out", _THREADS, triggers((5, 1), (6, 2), (7, 3), (8, 3), (9, 1)), 80),
)
"""Title, table, requests, frames."""
