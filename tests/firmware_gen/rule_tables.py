"""Small tables for the rules of TABLE.md, a few rules each, and requests that show them.

`rules.json` holds what comes of them. A change of any rule shows in some case of the vectors
(`test_rule_variations.py`).
"""

from __future__ import annotations

from dataclasses import replace

from firmware_gen.chips.atmega328p import CHIP as ATMEGA328P
from firmware_gen.table.layout import LOOP_FOREVER, LOOP_HELD
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
from firmware_gen.table.records import BindingRecord, LawRecord, ServoRecord, Table
from tests.firmware_gen.random_tables import Request
from tests.firmware_gen.tables_by_hand import (
    ALL_LAWS,
    FIN,
    JAW,
    LAMP,
    REFUSE,
    STRIP,
    SWITCH,
    TAKE,
    WAIT,
    servo,
    table,
    triggers,
)

Case = tuple[str, Table, list[Request], int]

SECOND_LAMP = replace(LAMP, pin=ATMEGA328P.pin("PD5"), safe=0)
BREATHE = Modulate(0, 1, period_ms=400, depth=150)


def presses(*steps: tuple[int, int, int]) -> list[Request]:
    """Frame, button, 1 for down and 0 for up."""
    return [(frame, "button", button, down) for frame, button, down in steps]


def asked(*steps: tuple[int, str]) -> list[Request]:
    """Frame and one of stop, limp, standby, heard."""
    return [(frame, kind, 0, 0) for frame, kind in steps]


def in_order(*parts: list[Request]) -> list[Request]:
    """Requests by frame; those of one frame stay in the order of the parts."""
    return sorted((one for part in parts for one in part), key=lambda request: request[0])


def blink(output: int, on_ms: int = 40) -> tuple[TableOp, ...]:
    """A lamp that is seen to start, to a part of a millisecond."""
    return ActOp(output, 200, on_ms, True), ActOp(output, 0, 0)


def wave(output: int, ms: int = 100) -> tuple[TableOp, ...]:
    return (
        Loop(LOOP_FOREVER),
        ActOp(output, 200, ms, True),
        ActOp(output, 20, ms, True),
        LoopBack(),
    )


# -- modes and requests ---------------------------------------------------------------------------

_GLOWING = table(
    (LAMP, SWITCH, JAW),
    (
        (BREATHE, ActOp(0, 200, 3000), Turn(1, True), ActOp(2, 6000, 400, True), Delay(5000)),
        (ActOp(0, 120, 100, True),),
    ),
    conflicts=(TAKE, WAIT),
    uses=(7, 1),
    stop_time=20,
    laws=(LawRecord(0), *ALL_LAWS),
)

_STOP_BUTTON = table(
    (LAMP, SECOND_LAMP),
    ((ActOp(0, 200, 100), Delay(2000)), (ActOp(1, 200, 100), Delay(500))),
    conflicts=(REFUSE, TAKE),
    uses=(1, 2),
    bindings=(BindingRecord(4, 0, False), BindingRecord(4, 1, False), BindingRecord(17, 1, False)),
    stop_button=4,
)

_MODES: tuple[Case, ...] = (
    (
        "what limp keeps and a quiet start ends",
        _GLOWING,
        in_order(triggers((4, 1), (6, 2)), asked((20, "limp"), (40, "standby"))),
        70,
    ),
    (
        "what a stop ends",
        _GLOWING,
        in_order(triggers((4, 1), (6, 2)), asked((20, "stop"), (60, "standby"))),
        90,
    ),
    (
        "limp while stopping, and in limp",
        _GLOWING,
        in_order(triggers((4, 1)), asked((20, "stop"), (25, "limp"), (26, "limp"), (27, "stop"))),
        40,
    ),
    (
        "a stop button with cues of its own",
        _STOP_BUTTON,
        in_order(
            triggers((2, 1)),
            presses((5, 4, 1), (6, 4, 0), (10, 4, 1)),
            asked((20, "standby")),
            presses((25, 4, 0), (26, 1, 1), (27, 1, 0), (28, 17, 1)),
        ),
        40,
    ),
)

# -- which cue runs -------------------------------------------------------------------------------

_BUTTONS = table(
    (LAMP, SECOND_LAMP, SWITCH),
    (
        (Turn(2, True), Loop(LOOP_HELD), *blink(0), Delay(60), LoopBack(), Turn(2, False)),
        (ActOp(1, 200, 50, True), Delay(130)),
        (Delay(10), BREATHE, ActOp(0, 150, 35, True), ActOp(0, 20, 32, True)),
    ),
    conflicts=(REFUSE, WAIT, TAKE),
    uses=(5, 2, 1),
    bindings=(
        BindingRecord(1, 0, False),
        BindingRecord(2, 2, False),
        BindingRecord(2, 2, True),
        BindingRecord(3, 0, False),
        BindingRecord(3, 2, True),
        BindingRecord(3, 2, False),
    ),
)

_HELD_WAITING = table(
    (LAMP, SECOND_LAMP),
    (
        (ActOp(0, 200, 100, True), Delay(300)),
        (Loop(LOOP_HELD), *blink(0), Delay(20), LoopBack()),
    ),
    conflicts=(TAKE, WAIT),
    uses=(3, 1),
    bindings=(BindingRecord(1, 1, False), BindingRecord(2, 1, True)),
)

_THREE_WAIT = table(
    (LAMP, SECOND_LAMP, SWITCH),
    (
        (ActOp(0, 200, 100, True), Delay(200)),
        (ActOp(1, 200, 100, True), Delay(100)),
        (ActOp(0, 20, 100, True), ActOp(0, 180, 100, True)),
        (ActOp(1, 20, 100, True), ActOp(1, 180, 100, True)),
        (ActOp(0, 100, 60), ActOp(1, 90, 60), Turn(2, True), Delay(60)),
        (ActOp(1, 150, 60, True), Delay(60)),
    ),
    conflicts=(TAKE, TAKE, WAIT, WAIT, WAIT, TAKE),
    uses=(3, 2, 1, 2, 3, 2),
)

_IDLE = table(
    (LAMP, SECOND_LAMP),
    (
        wave(0),
        (ActOp(1, 200, 100, True), Delay(200)),
        (ActOp(0, 60, 100), ActOp(1, 60, 100, True)),
        (Delay(400),),
        (ActOp(1, 150, 40, True), Delay(500)),
    ),
    conflicts=(TAKE, TAKE, WAIT, TAKE, TAKE),
    uses=(1, 2, 3, 0, 2),
    strands=(0,),
)

_GLOWS_ON = table(
    (LAMP, SECOND_LAMP),
    (
        wave(0),
        (ActOp(0, 150, 20), Modulate(0, 1, 400, 200), Delay(300)),
        (ActOp(1, 150, 40, True), Delay(300)),
    ),
    conflicts=(TAKE, TAKE, WAIT),
    uses=(1, 3, 2),
    strands=(0,),
)
"""A cue leaves an effect on a strand's output, while another one waits."""

_FULL = table(
    (LAMP, SECOND_LAMP),
    (
        (ActOp(0, 200, 100, True), Delay(200), ActOp(0, 120, 100, True)),
        (ActOp(1, 200, 100, True), Delay(100)),
        (ActOp(0, 60, 100), ActOp(1, 60, 100, True)),
        (Delay(500),),
        (ActOp(0, 90, 100, True), Delay(100)),
    ),
    conflicts=(TAKE, TAKE, WAIT, TAKE, TAKE),
    uses=(1, 2, 2, 0, 1),
    reserved=(1, 1, 6, 5, 6),
)

_LOST_WAITS = table(
    (LAMP,),
    ((ActOp(0, 200, 100, True), Delay(200)), (ActOp(0, 20, 60, True), ActOp(0, 150, 60, True))),
    conflicts=(TAKE, WAIT),
    lost=1,
    lost_time=1,
)

_LOST_REFUSED = table(
    (LAMP,),
    ((ActOp(0, 200, 100, True), Delay(200)), (ActOp(0, 20, 60, True), ActOp(0, 150, 60, True))),
    conflicts=(TAKE, REFUSE),
    lost=1,
    lost_time=1,
)

_STARTS: tuple[Case, ...] = (
    (
        "a button that goes down again, and bindings that say otherwise",
        _BUTTONS,
        presses(
            (3, 1, 1),
            (6, 1, 0),
            (6, 1, 1),
            (20, 1, 0),
            (30, 2, 1),
            (50, 2, 0),
            (60, 3, 1),
            (85, 3, 0),
        ),
        110,
    ),
    (
        "a waiting cue whose button goes up",
        _HELD_WAITING,
        in_order(triggers((2, 1)), presses((5, 1, 1), (8, 1, 0))),
        60,
    ),
    (
        "a waiting cue keeps the last button that started it",
        _HELD_WAITING,
        in_order(triggers((2, 1)), presses((5, 1, 1), (8, 2, 1), (10, 1, 0), (50, 2, 0))),
        70,
    ),
    (
        "a waiting cue that a trigger starts again has no button",
        _HELD_WAITING,
        in_order(triggers((2, 1)), presses((5, 1, 1)), triggers((8, 2))),
        60,
    ),
    (
        "two cues wait, and one for both outputs",
        _THREE_WAIT,
        triggers((2, 1), (5, 5), (6, 4), (7, 3)),
        70,
    ),
    (
        "a waiting cue of which one output is free",
        _THREE_WAIT,
        triggers((2, 1), (3, 2), (5, 5), (30, 5)),
        60,
    ),
    (
        "a request in the frame in which a waiting cue would start",
        _THREE_WAIT,
        triggers((2, 1), (5, 5), (17, 6)),
        60,
    ),
    (
        "a strand's cue started by name while another waits",
        _IDLE,
        triggers((5, 2), (8, 3), (10, 1), (40, 2)),
        90,
    ),
    ("an effect that goes on while a waiting cue starts", _GLOWS_ON, triggers((5, 2), (8, 3)), 60),
    ("a strand beside a cue without outputs", _IDLE, triggers((5, 4), (40, 5)), 80),
    (
        "a waiting cue without room, and a start refused for want of threads",
        _FULL,
        triggers((2, 1), (3, 2), (4, 4), (5, 3), (8, 5), (40, 5)),
        90,
    ),
    (
        "a lost cue that waits",
        _LOST_WAITS,
        in_order(asked((2, "heard")), triggers((3, 1))),
        60,
    ),
    (
        "a lost cue that waited until a stop",
        _LOST_WAITS,
        in_order(asked((2, "heard"), (9, "stop"), (40, "standby")), triggers((3, 1))),
        60,
    ),
    (
        "a lost cue that is refused",
        _LOST_REFUSED,
        in_order(asked((2, "heard")), triggers((3, 1))),
        60,
    ),
    (
        "a lost time of 0",
        replace(_LOST_REFUSED, lost_time=0),
        asked((2, "heard"), (10, "heard")),
        40,
    ),
)

# -- what a thread does ---------------------------------------------------------------------------

_SLOW = servo(ATMEGA328P.pin("PB1"), speed=200)

_SWAY = (
    Loop(LOOP_FOREVER),
    ActOp(0, 6000, 300, True),
    Turn(2, True),
    ActOp(0, 3000, 300, True),
    Turn(2, False),
    LoopBack(),
)
_GLOW = (
    Modulate(1, 1, 400, 150),
    ActOp(1, 180, 100, True),
    Loop(LOOP_FOREVER),
    ActOp(1, 60, 700, True, law=1),
    ActOp(1, 150, 300, True),
    LoopBack(),
)
_TAKES = (
    Modulate(1, 3, 200, 200, 3, 40),
    ActOp(0, 1000, 200),
    ActOp(1, 200, 100),
    Turn(2, True),
    Delay(340),
)
_STRANDS = table(
    (JAW, LAMP, SWITCH, SECOND_LAMP),
    (
        _SWAY,
        _GLOW,
        _TAKES,
        (ActOp(0, 1000, 40, True),),
        (Delay(130),),
        (ActOp(3, 200, 100, True), ActOp(3, 20, 100, True)),
        (ActOp(1, 0, 60, True), Modulate(1, 0), Delay(100)),
        (Delay(700), ActOp(0, 7000, 200, True)),
    ),
    conflicts=(TAKE, WAIT, TAKE, TAKE, REFUSE, TAKE, WAIT, TAKE),
    uses=(0b101, 0b010, 0b111, 0b001, 0b111, 0b1000, 0b0010, 0b001),
    strands=(0, 1),
    glide=20,
)
_LATE = table(
    (JAW, LAMP, SECOND_LAMP, SWITCH),
    (
        (
            *(ActOp(1, 90, 100, True), Delay(900), Modulate(1, 4, 500, 200, 0, 1)),
            *(ActOp(0, 2000, 100, True), Turn(3, True)),
        ),
        (
            Modulate(2, 2, 100, 200, 5),
            ActOp(2, 200, 60, True),
            Modulate(2, 0),
            Loop(LOOP_FOREVER),
            Delay(500),
            LoopBack(),
        ),
        (
            ActOp(0, 5000, 100),
            Modulate(1, 1, 300, 200),
            Modulate(2, 4, 300, 200, 0, 2),
            Turn(3, True),
            ActOp(2, 20, 60, True),
        ),
        (Delay(60),),
    ),
    uses=(0b1011, 0b0100, 0b1111, 0b0100),
    strands=(0, 1),
    glide=15,
)
"""Strands that want nothing of an output at first, or no longer an effect; and one that ends."""

_TWO_SERVOS = table(
    (JAW, FIN, LAMP),
    (
        (ActOp(0, 6000, 400, True), ActOp(1, 4000, 300), Delay(700), ActOp(1, -4000, 300, True)),
        (ActOp(0, 1000, 20), ActOp(1, 500, 20), Delay(20)),
        (ActOp(2, 200, 40, True),),
    ),
    uses=(0b011, 0b011, 0b100),
    strands=(0,),
    stop_time=5,
    lost=2,
    lost_time=2,
    laws=(LawRecord(0), *ALL_LAWS),
    glide=30,
)

_SLOW_GLIDE = table(
    (replace(JAW, speed_limit=1),),
    ((ActOp(0, 7000, 300, True), ActOp(0, 4000, 300, True), Delay(60_000)), (Delay(130),)),
    strands=(0,),
    glide=1,
)
"""A way back that takes the servo longer than the longest duration."""

_IDLE_CASES: tuple[Case, ...] = (
    ("strands alone", _STRANDS, [], 120),
    (
        "a cue takes from two strands and lets go",
        _STRANDS,
        triggers((30, 3), (56, 3), (90, 3)),
        150,
    ),
    (
        "a cue whose move outlasts it, and cues while outputs glide back",
        _STRANDS,
        triggers((31, 4), (52, 4), (60, 5), (71, 3), (95, 6)),
        160,
    ),
    (
        "cues that wait and refuse beside strands, and a strand's cue by name",
        _STRANDS,
        triggers((20, 7), (25, 7), (40, 5), (60, 1), (64, 5), (80, 8), (81, 5), (90, 4)),
        200,
    ),
    ("a long hold of what a strand uses", _STRANDS, triggers((33, 8), (84, 4)), 150),
    ("strands that want nothing yet", _LATE, triggers((8, 3), (16, 4), (60, 3)), 160),
    ("a cue in the frame in which strands start", _STRANDS, triggers((2, 4)), 40),
    ("an effect that a strand skips", _LATE, triggers((3, 4)), 30),
    ("two servos of a strand", _TWO_SERVOS, triggers((20, 2), (45, 2), (120, 2)), 170),
    (
        "two servos of a strand, a stop and a silence",
        _TWO_SERVOS,
        in_order(
            triggers((20, 2)),
            asked((18, "heard"), (30, "stop"), (60, "standby"), (75, "heard"), (82, "limp")),
            asked((84, "standby"), (120, "heard")),
        ),
        180,
    ),
    ("a way back longer than any duration", _SLOW_GLIDE, triggers((10, 2)), 900),
    (
        "strands after standby",
        _LATE,
        in_order(triggers((70, 3)), asked((80, "limp"), (90, "standby")), triggers((100, 3))),
        170,
    ),
    (
        "a stop while outputs glide back",
        _STRANDS,
        in_order(triggers((30, 3)), asked((56, "stop"))),
        140,
    ),
    ("no glide", replace(_STRANDS, glide=0), triggers((30, 3), (70, 4)), 110),
)

_DRAWING = table(
    (servo(ATMEGA328P.pin("PB1")), LAMP, SECOND_LAMP),
    (
        (
            *(
                Loop(2),
                Delay(20, 90, 5),
                *(ActOp(0, 1000, 60, True, None, DrawnOp(9, 200, 9, 4000)),),
            ),
            *(LoopBack(), ActOp(0, 150, 80, True, None, DrawnOp(0, 0, 200, 3999))),
        ),
        (Loop(LOOP_FOREVER), ForkTo(3), Delay(300, 500, 17), LoopBack()),
        (ActOp(0, 6000, 100, True),),
        (
            *(ActOp(1, 10, 40, True, None, DrawnOp(0, 0, 1, 200)), Delay(10)),
            *(ActOp(2, 0, 30, True, None, DrawnOp(255, 130, 2, 3)),),
        ),
    ),
    uses=(1, 6, 1),
    reserved=(1, 2, 1),
    strands=(0, 1),
    glide=10,
)
"""Strands that draw waits, times, angles and levels, in loops, in forks and in a cue that ends."""

_CHOOSING = table(
    (servo(ATMEGA328P.pin("PB1")), LAMP, SECOND_LAMP),
    (
        (Loop(LOOP_FOREVER), ChooseTo(11, (2, 3, 4)), Delay(40, 100, 3), LoopBack()),
        (ActOp(2, 150, 60, True), ChooseTo(200, (5, 6)), ActOp(2, 20, 60, True)),
        (ActOp(0, 1000, 120, True), ActOp(0, 3000, 60, True, None, DrawnOp(9, 200, 9, 4000))),
        (Delay(80), ActOp(1, 200, 40, True), ChooseTo(77, (5, 6, 5, 6, 6, 6, 6, 6)), Delay(20)),
        (ForkTo(7), Loop(2), ActOp(0, 200, 60, True), ActOp(0, 500, 60, True), LoopBack()),
        (Delay(60), ActOp(1, 60, 20), ActOp(2, 90, 20)),
        (ActOp(1, 120, 20), ActOp(2, 190, 20), Delay(20)),
        (Delay(20), ActOp(1, 10, 40)),
    ),
    uses=(3, 4),
    reserved=(2, 1),
    strands=(0,),
    glide=10,
)
"""Choices from two to eight, within one another, with loops, forks and draws in what is chosen."""

_DRAWS: tuple[Case, ...] = (
    ("what is chosen", _CHOOSING, triggers((5, 2), (60, 2), (170, 2)), 600),
    ("what strands draw", _DRAWING, [], 400),
    ("what strands draw, beside a cue", _DRAWING, triggers((40, 3), (150, 3)), 260),
)

_EXECUTION: tuple[Case, ...] = (
    (
        "a thread whose servo was taken, and moves that wait for one another",
        table(
            (_SLOW, LAMP, SECOND_LAMP),
            (
                (ActOp(0, 8000, 100), Delay(200), ActOp(0, 0, 100, True), *blink(1), Delay(500)),
                (ActOp(2, 100, 100, True), Delay(400)),
                (
                    ActOp(0, 6000, 100),
                    ActOp(0, 2000, 100),
                    *blink(1),
                    ActOp(0, 4000, 100),
                    *blink(1),
                ),
            ),
            uses=(3, 5, 7),
        ),
        triggers((5, 1), (10, 2), (60, 3)),
        180,
    ),
    (
        "a run that lost its moving servo, and one that waits for its end",
        table(
            (_SLOW, LAMP),
            (
                (ActOp(0, 8000, 100), ActOp(1, 90, 40), Delay(120)),
                (Delay(600),),
                (*blink(1), Delay(300)),
            ),
            conflicts=(TAKE, TAKE, WAIT),
            uses=(3, 1, 2),
        ),
        triggers((5, 1), (8, 2), (10, 3)),
        70,
    ),
    (
        "a strand whose servo is taken while it waits for it",
        table(
            (_SLOW, LAMP),
            (
                (ActOp(0, 8000, 100), ActOp(0, 500, 100, True), Delay(900)),
                (Delay(60),),
            ),
            uses=(1, 1),
            strands=(0,),
        ),
        triggers((6, 2)),
        120,
    ),
    (
        "what is left of a brake, to a unit",
        table(
            (
                replace(
                    JAW,
                    travel=(0, 100),
                    safe=50,
                    speed_limit=5,
                    acceleration_limit=3,
                    points=((0, 800), (100, 5200)),
                ),
            ),
            tuple((ActOp(0, to, ms),) for to, ms in ((10, 821), (90, 465), (17, 552), (8, 353))),
            uses=(1, 1, 1, 1),
        ),
        triggers((3, 4), (32, 2), (59, 3), (71, 2), (108, 1), (130, 2)),
        195,
    ),
    (
        "limp in the quiet start",
        table((JAW, LAMP, SWITCH), (blink(1),)),
        in_order(asked((2, "limp"), (30, "standby"), (31, "limp")), triggers((40, 1))),
        60,
    ),
    (
        "calls within one another, in loops and around them",
        table(
            (LAMP, SECOND_LAMP, SWITCH),
            (
                (
                    CallTo(1),
                    *blink(1),
                    Loop(3),
                    CallTo(2),
                    Delay(40),
                    CallTo(3),
                    LoopBack(),
                    CallTo(1),
                ),
                (ActOp(0, 100, 60, True), CallTo(2), ActOp(0, 0, 0), Delay(50), CallTo(3)),
                (
                    Loop(2),
                    Turn(2, True),
                    Delay(30),
                    CallTo(3),
                    Turn(2, False),
                    Delay(20),
                    LoopBack(),
                ),
                blink(1),
            ),
            uses=(7, 7),
        ),
        triggers((3, 1), (70, 2), (80, 1)),
        160,
    ),
    (
        "forks and ends in what is called",
        table(
            (LAMP, SECOND_LAMP, SWITCH),
            (
                (CallTo(1), *blink(0), Delay(60), CallTo(3), *blink(0)),
                (ForkTo(2), Delay(15), ForkTo(3), Delay(15)),
                (*blink(1), CallTo(3), Delay(100)),
                (Turn(2, True), Delay(35), Turn(2, False)),
            ),
            uses=(7,),
            reserved=(3,),
        ),
        triggers((3, 1), (6, 1), (50, 1)),
        90,
    ),
    (
        "a held cue that starts over out of a call",
        replace(
            table(
                (LAMP, SECOND_LAMP),
                (
                    (CallTo(1), *blink(1), Delay(70)),
                    (ActOp(0, 150, 50, True), ActOp(0, 20, 50, True)),
                ),
                uses=(3,),
            ),
            bindings=(BindingRecord(1, 0, True),),
        ),
        presses((3, 1, 1), (60, 1, 0), (80, 1, 1), (82, 1, 0)),
        110,
    ),
    (
        "long waits, whole and in pieces",
        table(
            (LAMP, SECOND_LAMP, SWITCH),
            (
                (
                    *(Delay(15_000), *blink(0), Delay(66_000), *blink(0)),
                    *(Loop(2), Delay(131_000), *blink(0), LoopBack(), Delay(130_000), *blink(0)),
                ),
                (Delay(64_000), *blink(1), Delay(67_000), *blink(1)),
                (CallTo(3), Turn(2, True), CallTo(3), Turn(2, False), Delay(68_000), Turn(2, True)),
                (Delay(65_000), Delay(65_000)),
            ),
            uses=(1, 2, 4),
        ),
        triggers((3, 1), (4, 2), (5, 3), (4_000, 2), (4_050, 2), (12_000, 3), (12_400, 3)),
        24_000,
    ),
    (
        "forks without room",
        table(
            (LAMP, SECOND_LAMP, SWITCH),
            (
                (
                    *(ForkTo(1), Delay(5), ForkTo(2), *blink(0)),
                    *(Loop(2), Delay(60), ForkTo(3), LoopBack(), GoOnTo(4)),
                ),
                (Delay(33), *blink(1)),
                (Delay(10), Turn(2, True), Delay(70), Turn(2, False)),
                (Turn(2, True), Delay(30), Turn(2, False)),
                blink(0),
            ),
            uses=(7,),
            reserved=(2,),
        ),
        triggers((3, 1), (30, 1)),
        60,
    ),
    (
        "a fork and its thread at one time",
        table(
            (LAMP, SWITCH),
            ((ForkTo(1), ActOp(0, 200, 0), Turn(1, True)), (ActOp(0, 50, 0), Turn(1, False))),
            uses=(3,),
            reserved=(2,),
        ),
        triggers((3, 1)),
        10,
    ),
    (
        "loops for ever, while held and in one another",
        table(
            (LAMP, SECOND_LAMP),
            (
                (Loop(2), Loop(3), *blink(0), LoopBack(), Delay(90), LoopBack(), *wave(0)),
                (Loop(LOOP_HELD), *blink(1), LoopBack(), Loop(1), *blink(1), LoopBack()),
            ),
            uses=(1, 2),
        ),
        triggers((3, 1), (4, 2)),
        80,
    ),
)

# -- motion ---------------------------------------------------------------------------------------

_LAWS = range(len(ALL_LAWS))


def _seen(target: int, duration_ms: int, law: int, servo: int, lamp: int) -> tuple[TableOp, ...]:
    """A move, and a lamp that shows to a part of a millisecond when it has ended."""
    return (
        ActOp(servo, target, duration_ms, False, law),
        ActOp(servo, target, 0),
        *blink(lamp, 20),
    )


def _there(law: int) -> int:
    """The far end, or the near one, by turns."""
    return 7000 if law % 2 == 0 else 1000


_BY_SPEED = servo(ATMEGA328P.pin("PB1"), safe=1000, speed=150, acceleration=65535)
_BY_ACCELERATION = servo(ATMEGA328P.pin("PB2"), safe=1000, speed=65535, acceleration=1200)

_ENDS = table(
    (_BY_SPEED, _BY_ACCELERATION, LAMP, SECOND_LAMP),
    (
        *((ForkTo(len(_LAWS) + n), *_seen(_there(n), 10, n, 0, 2)) for n in _LAWS),
        *(_seen(_there(n), 10, n, 1, 3) for n in _LAWS),
    ),
    uses=(15,) * len(_LAWS),
    reserved=(2,) * len(_LAWS),
)

# Alphas and a beta on both sides of the least overlap that counts.
_NEAR_LEAST = (LawRecord(2, 16383), LawRecord(2, 16384), LawRecord(9, 16384, 9000))
_CUT_LAWS = (*ALL_LAWS, *_NEAR_LEAST)
_CUT = replace(
    table(
        (servo(ATMEGA328P.pin("PB1"), safe=1000, speed=200, acceleration=2000), LAMP),
        (
            *((ActOp(0, _there(n), 10, False, n),) for n in range(16)),
            *(_seen(_there(n) + (500, -500)[n % 2], 10, n, 0, 1) for n in range(16)),
        ),
    ),
    laws=_CUT_LAWS,
)

_BRAKED = table(
    (servo(ATMEGA328P.pin("PB1"), safe=1000, speed=100, acceleration=60), LAMP),
    (
        *((ActOp(0, 8000, 10, False, law),) for law in (0, 8, 10, 12)),
        _seen(1000, 10, 0, 0, 1),
    ),
)

_FINE = table(
    (servo(ATMEGA328P.pin("PB1"), safe=2000, speed=1, acceleration=5), LAMP),
    (
        (ActOp(0, 1949, 10),),
        (ActOp(0, 1990, 10),),
        _seen(2000, 10, 0, 0, 1),
    ),
)

# The way ahead is exactly 2^20, under it, and short beside the brake's.
_SHORTLY_AHEAD = (
    (1589, 14, 4737),
    (300, 20, 4033),
    (300, 20, 4108),
)

# Laws that are fastest early and late, and the moves that cut theirs ahead.
_PEAKS = (17039, 24000, 48497)
_PEAKED_LAWS = tuple(
    law for peak in _PEAKS for law in (LawRecord(5, peak=peak), LawRecord(9, 25000, 9000, peak))
)
_PEAKED = replace(
    table(
        (servo(ATMEGA328P.pin("PB1"), safe=1000, speed=200, acceleration=1589), LAMP),
        (
            *((ActOp(0, 8000, 900, False, n),) for n in range(1, 7)),
            *(_seen(target, 10, n, 0, 1) for n in range(1, 7) for target in (4737, 8000)),
        ),
    ),
    laws=(LawRecord(5), *_PEAKED_LAWS),
)

_HUNDREDTH = table(
    (servo(ATMEGA328P.pin("PB1"), safe=1000, speed=65535, acceleration=20), LAMP),
    ((ActOp(0, 1001, 10),), _seen(1000, 10, 0, 0, 1)),
)

_AT_THE_LIMIT = table(
    (servo(ATMEGA328P.pin("PB1"), safe=1000, acceleration=200), LAMP),
    (
        (ActOp(0, 8000, 500, False, 1),),
        _seen(1000, 10, 0, 0, 1),
        (ActOp(0, 0, 500, False, 1),),
        (*_seen(1000, 0, 0, 0, 1), *_seen(1000, 0, 0, 0, 1)),
    ),
)

# 20 deg/s, cut 3 ms or 0.06 deg before the end of travel. A brake would pass it by 0.030 deg or by
# 0.015 deg.
_NEAR_THE_LIMIT = table(
    tuple(
        servo(ATMEGA328P.pin(name), safe=0, speed=65535, acceleration=acceleration)
        for name, acceleration in (("PB1", 2216), ("PB2", 2660))
    ),
    (
        (ActOp(0, 8000, 4003, False, 1), ActOp(1, 8000, 4003, False, 1)),
        (ActOp(0, 0, 10), ActOp(1, 0, 10)),
    ),
)

# 180 deg at 1 deg/s: after 1 ms the progress is still 0.
_ONE_DEGREE_PER_SECOND = ServoRecord(
    ATMEGA328P.pin("PB1"), (-9000, 9000), 1, 100, -9000, ((-9000, 1000), (9000, 5000))
)
_FIRST_MILLISECOND = table(
    (_ONE_DEGREE_PER_SECOND, LAMP),
    ((Delay(19), ActOp(0, 9000, 10, False, 1)), _seen(-9000, 10, 0, 0, 1)),
)

_MOTION: tuple[Case, ...] = (
    (
        "when moves of every law end, by speed and by acceleration",
        _ENDS,
        triggers(*((6 + 55 * n, n + 1) for n in _LAWS)),
        730,
    ),
    (
        "when moves of every law end that go on ahead",
        _CUT,
        in_order(
            triggers(*((6 + 60 * n, n + 1) for n in range(16))),
            triggers(*((18 + 60 * n, n + 17) for n in range(16))),
        ),
        970,
    ),
    (
        "moves braked early and late",
        _BRAKED,
        in_order(
            triggers(*((6 + 200 * n, 1 + n // 2) for n in range(8))),
            triggers(*((6 + 200 * n + 9 + 24 * (n % 2), 5) for n in range(8))),
        ),
        1600,
    ),
    (
        "double-S braked in each of its phases",
        _BRAKED,
        in_order(
            triggers(*((6 + 250 * n, 4) for n in range(5))),
            triggers(*((6 + 250 * n + (3, 10, 22, 40, 60)[n], 5) for n in range(5))),
        ),
        1250,
    ),
    (
        "short slow moves cut short twice",
        _FINE,
        in_order(
            triggers(*((6 + 80 * n, 1) for n in range(12))),
            triggers(*((6 + 80 * n + 12 + n, 2) for n in range(12))),
            triggers(*((6 + 80 * n + 16 + n, 3) for n in range(12))),
        ),
        960,
    ),
    (
        "short slow moves cut short once",
        _FINE,
        in_order(
            triggers(*((6 + 120 * n, 1) for n in range(3))),
            triggers(*((6 + 120 * n + (7, 16, 31)[n], 3) for n in range(3))),
        ),
        360,
    ),
    *(
        (
            f"a target shortly ahead, {acceleration} deg/s2, at {target / 100:.2f} deg",
            table(
                (servo(ATMEGA328P.pin("PB1"), 1000, speed=200, acceleration=acceleration), LAMP),
                ((ActOp(0, 8000, 10),), _seen(target, 10, 0, 0, 1)),
            ),
            triggers((6, 1), (6 + frames, 2)),
            100,
        )
        for acceleration, frames, target in _SHORTLY_AHEAD
    ),
    (
        "moves that are fastest early and late",
        _PEAKED,
        in_order(triggers(*((6 + 60 * n, 1 + n) for n in range(6)), (380, 7))),
        400,
    ),
    *(
        (
            f"moves that are fastest early and late, cut after {frames} frames",
            _PEAKED,
            in_order(
                triggers(*((6 + 100 * n, 1 + n // 2) for n in range(12))),
                triggers(*((6 + frames + 100 * n, 7 + n) for n in range(12))),
            ),
            1220,
        )
        for frames in (11, 24)
    ),
    (
        "a hundredth of a degree cut short",
        _HUNDREDTH,
        triggers((6, 1), (7, 2)),
        20,
    ),
    (
        "a brake that the end of travel cuts short, and a move to where the servo is",
        _AT_THE_LIMIT,
        triggers((6, 1), (24, 2), (120, 3), (126, 2), (220, 4)),
        230,
    ),
    (
        "brakes that pass the end of travel by more and by less than 0.02 deg",
        _NEAR_THE_LIMIT,
        triggers((40, 1), (240, 2)),
        280,
    ),
    (
        "a slow uniform move cut short in its first millisecond",
        _FIRST_MILLISECOND,
        triggers((6, 1), (7, 2)),
        30,
    ),
    (
        "a move of twenty seconds by acceleration alone",
        table(
            (servo(ATMEGA328P.pin("PB1"), safe=0, speed=65535, acceleration=1), LAMP),
            (_seen(8000, 10, 0, 0, 1),),
        ),
        triggers((6, 1)),
        1100,
    ),
)

# -- letting go -----------------------------------------------------------------------------------


def _with_parts(made: Table, *cues: int) -> Table:
    """The table in which the cue behind each of these is its part for letting go."""
    return replace(
        made,
        cues=tuple(replace(one, lets_go=n in cues) for n, one in enumerate(made.cues)),
    )


_GRAB = _with_parts(
    table(
        (JAW, LAMP, SECOND_LAMP),
        (
            (
                *(Modulate(1, 1, 400, 150), Modulate(2, 1, 300, 120), ForkTo(4)),
                *(ActOp(0, 6000, 700, True), ActOp(0, 6500, 300, True)),
            ),
            (ActOp(1, 120, 100), ForkTo(5), ActOp(0, 1000, 300, True), Delay(40)),
            (ActOp(1, 200, 100, True), Delay(600)),
            (ActOp(0, 3000, 500, True), ActOp(2, 30, 100, True)),
            (Delay(100), ActOp(2, 180, 400, True), ActOp(2, 90, 3000, True)),
            (Delay(80), ActOp(2, 200, 60, True)),
        ),
        conflicts=(TAKE, TAKE, TAKE, WAIT),
        uses=(7, 3, 2, 5),
        reserved=(2, 2, 1, 1),
        bindings=(
            BindingRecord(3, 0, False),
            BindingRecord(4, 2, False),
            BindingRecord(5, 3, False),
            BindingRecord(7, 0, True),
        ),
        strands=(2,),
    ),
    0,
)

_WAITS_AND_LETS_GO = _with_parts(
    table(
        (JAW, LAMP),
        (
            (ActOp(1, 200, 100, True), Delay(500)),
            (ActOp(1, 10, 400, True), ActOp(0, 5000, 300, True)),
            (ActOp(0, 500, 200, True),),
            (ActOp(0, 2500, 60, True),),
        ),
        conflicts=(TAKE, WAIT, TAKE, TAKE),
        uses=(2, 3, 1, 1),
        bindings=(BindingRecord(1, 0, False), BindingRecord(2, 1, False)),
    ),
    *(1, 2),
)

_MANY_THREADS = _with_parts(
    table(
        (JAW, LAMP, SECOND_LAMP),
        (
            (ActOp(1, 200, 100, True), Delay(500)),
            (ActOp(1, 10, 3000, True),),
            (ActOp(2, 200, 100, True), Delay(500)),
            (Modulate(1, 1, 400, 150), ActOp(1, 180, 60, True), Delay(900)),
        ),
        uses=(3, 2, 4, 2),
        reserved=(9, 2, 8, 1),
        bindings=(BindingRecord(1, 0, False),),
    ),
    0,
)

_LETTING_GO: tuple[Case, ...] = (
    (
        "another button goes up while a cue is held",
        _GRAB,
        presses((5, 3, 1), (20, 5, 1), (30, 5, 0), (60, 3, 0)),
        120,
    ),
    (
        "a part that needs fewer threads than its cue",
        _MANY_THREADS,
        in_order(triggers((12, 3), (40, 3)), presses((6, 1, 1), (30, 1, 0))),
        90,
    ),
    (
        "an effect of another cue on an output that was taken",
        _MANY_THREADS,
        in_order(triggers((12, 4)), presses((6, 1, 1), (30, 1, 0))),
        90,
    ),
    (
        "a cue let go in the middle of a move",
        _GRAB,
        presses((8, 3, 1), (25, 3, 0), (60, 4, 1)),
        110,
    ),
    (
        "a cue let go long after its end, and idle after it",
        _GRAB,
        presses((8, 3, 1), (150, 3, 0)),
        230,
    ),
    (
        "a button that is up again in the frame in which it goes down",
        _GRAB,
        presses((8, 3, 1), (8, 3, 0)),
        60,
    ),
    (
        "a part that comes behind a cue that nobody holds",
        _GRAB,
        in_order(triggers((8, 1)), presses((20, 3, 0))),
        290,
    ),
    (
        "pressed again while the part runs, and while the button is down",
        _GRAB,
        presses((8, 3, 1), (25, 3, 0), (31, 3, 1), (52, 3, 1), (70, 3, 0), (75, 3, 0)),
        130,
    ),
    (
        "a part without an output that another cue has taken",
        _GRAB,
        presses((8, 3, 1), (20, 4, 1), (40, 3, 0), (45, 5, 1)),
        160,
    ),
    (
        "a cue that repeats while it is held, and lets go",
        _GRAB,
        presses((8, 7, 1), (230, 7, 0)),
        300,
    ),
    (
        "a cue whose outputs are all taken does not let go",
        _GRAB,
        in_order(presses((8, 3, 1), (60, 3, 0)), triggers((20, 4))),
        120,
    ),
    (
        "a cue that waits until its button goes up, and a part with a part",
        _WAITS_AND_LETS_GO,
        presses((6, 1, 1), (10, 2, 1), (20, 2, 0), (60, 1, 1), (64, 2, 1), (130, 2, 0)),
        220,
    ),
    (
        "a trigger that waits, and a button that goes up meanwhile",
        _WAITS_AND_LETS_GO,
        in_order(presses((6, 1, 1), (8, 2, 1), (12, 2, 0)), triggers((10, 2))),
        120,
    ),
    (
        "two cues of one button let go",
        replace(
            _WAITS_AND_LETS_GO,
            cues=tuple(
                replace(one, outputs=2 if n < 1 else 1, lets_go=n in (0, 2))
                for n, one in enumerate(_WAITS_AND_LETS_GO.cues)
            ),
            bindings=(BindingRecord(1, 2, False), BindingRecord(1, 0, False)),
        ),
        presses((6, 1, 1), (14, 1, 0)),
        60,
    ),
)

# -- light ----------------------------------------------------------------------------------------

_WHITE, _RED = 1, 2
_LIGHT_COLOURS = ((0, 0, 0), (200, 200, 200), (200, 30, 0))
_LONG = replace(STRIP, pixels=43, order=0, cap=128)
_DOT = replace(STRIP, pin=ATMEGA328P.pin("PC1"), pixels=1, order=0, cap=1)
_WIDE = replace(STRIP, pixels=98, order=3, cap=0)
_SHORT = replace(STRIP, pin=ATMEGA328P.pin("PC1"), pixels=2, order=4, cap=0)

_EMBER = Modulate(0, 2, period_ms=300, depth=121, seed=7)
_SPARKS = Modulate(0, 3, period_ms=200, depth=200, seed=5, width=60)
_COMES_AND_GOES = table(
    (LAMP,),
    (
        (
            *(ActOp(0, 180, 0), BREATHE, Delay(500), _EMBER, Delay(60), _SPARKS, Delay(700)),
            *(_SPARKS, Delay(140), Modulate(0, 0), Delay(100), _SPARKS, Delay(300)),
            *(_EMBER, Delay(80), _SPARKS, Delay(440), Modulate(0, 0), Delay(500)),
        ),
        (
            *(ActOp(0, 180, 0), BREATHE, Delay(333), Modulate(0, 0), Delay(60)),
            *(ActOp(0, 100, 10, True), Delay(100), BREATHE, Delay(60), ActOp(0, 150, 10)),
            *(Delay(200), _EMBER, Delay(40), ActOp(0, 90, 19, True), Delay(21), Modulate(0, 0)),
            *(Delay(400), BREATHE, Delay(400), Modulate(0, 0), Delay(40), ActOp(0, 170, 20)),
            *(Delay(400), BREATHE, Delay(333), Modulate(0, 1, 41, 200, 3, 0), Delay(900)),
        ),
        (ActOp(0, 100, 900, True), Delay(300)),
    ),
)

_LIGHT: tuple[Case, ...] = (
    (
        "trimmed lights",
        table(
            (
                replace(LAMP, trims=(180,)),
                replace(_LONG, pixels=3, order=2, cap=2, trims=(255, 140, 60)),
                replace(_DOT, cap=0, order=5, trims=(90, 255, 200)),
            ),
            (
                (
                    *(ActOp(0, 200, 300), ActOp(1, _WHITE, 400), ActOp(2, _WHITE, 400, True)),
                    *(Modulate(1, 4, 500, 150, 0, 1), ActOp(2, _RED, 200, True), Delay(600)),
                ),
            ),
            colours=_LIGHT_COLOURS,
        ),
        triggers((3, 1)),
        80,
    ),
    (
        "effects that make way, stay and come back",
        _COMES_AND_GOES,
        triggers((3, 1), (130, 3)),
        200,
    ),
    (
        "a light that is cut while its effect goes, and a short beat that has waited",
        _COMES_AND_GOES,
        in_order(triggers((3, 2)), asked((180, "stop"))),
        240,
    ),
    (
        "fades of every law",
        table(
            (LAMP, SECOND_LAMP),
            tuple(
                (
                    ActOp(0, 200, 400, False, n),
                    ActOp(1, 100, 390, True, n),
                    ActOp(0, 0, 0),
                    ActOp(1, 0, 0),
                )
                for n in _LAWS
            ),
        ),
        triggers(*((3 + 22 * n, n + 1) for n in _LAWS)),
        300,
    ),
    (
        "caps just exceeded",
        table(
            (_LONG, _DOT),
            ((ActOp(0, _WHITE, 200), ActOp(1, _WHITE, 900, True)), (ActOp(1, _RED, 900, True),)),
            colours=_LIGHT_COLOURS,
        ),
        triggers((3, 1), (60, 2)),
        110,
    ),
    (
        "a spark at the width, and a run with its tail",
        table(
            (_WIDE, _SHORT, LAMP),
            (
                (
                    *(ActOp(0, _WHITE, 0), ActOp(1, _RED, 0), ActOp(2, 180, 0)),
                    *(Modulate(0, 3, 40, 170, 5, 25), Modulate(1, 4, 400, 80, 0, 1)),
                    *(Modulate(2, 3, 40, 130, 77, 50), Delay(800), Modulate(0, 4, 500, 170, 0, 6)),
                    *(Modulate(2, 4, 300, 100, 0, 0), Delay(600)),
                ),
            ),
            colours=_LIGHT_COLOURS,
        ),
        triggers((3, 1)),
        80,
    ),
    (
        "an effect that starts between milliseconds, and a fade of no duration",
        table(
            (_BY_SPEED, LAMP),
            (
                (
                    *(ActOp(1, 180, 0), ActOp(0, 3000, 10, False, 12), ActOp(0, 3000, 0)),
                    *(Modulate(1, 1, 47, 160, 0, 0), Delay(300), ActOp(1, 20, 0), Delay(100)),
                ),
            ),
        ),
        triggers((6, 1)),
        60,
    ),
)

# -- jogging --------------------------------------------------------------------------------------


def jogs(*steps: tuple[int, int, int]) -> list[Request]:
    """Frame, servo, pulse."""
    return [(frame, "jog", servo, pulse) for frame, servo, pulse in steps]


_TO_JOG = table(
    (JAW, SWITCH, FIN, LAMP),
    ((ActOp(0, 6000, 200, True), ActOp(2, 3000, 100, True), Delay(5000)),),
    uses=(5,),
    stop_button=4,
    enable_interval=3,
)
_SAFE_ELSEWHERE = replace(
    _TO_JOG, outputs=(JAW, SWITCH, servo(ATMEGA328P.pin("PB3"), safe=1500), LAMP)
)
_QUIET = asked((1, "limp"))
"""One servo has had pulses by then, the other has not."""

_JOGGING: tuple[Case, ...] = (
    (
        "a jog far beyond the points",
        _TO_JOG,
        in_order(_QUIET, jogs((4, 0, 800), (30, 0, 5200))),
        99,
    ),
    ("standby in the quiet start", _TO_JOG, asked((2, "standby"), (4, "standby")), 20),
    (
        "a jog of a servo that has had no pulse, and is safe elsewhere than at 0",
        _SAFE_ELSEWHERE,
        in_order(_QUIET, jogs((4, 1, 3100))),
        20,
    ),
    ("a jog of a servo that has had no pulse", _TO_JOG, in_order(_QUIET, jogs((4, 1, 3100))), 20),
    (
        "a jog from one servo to the other and back",
        _TO_JOG,
        in_order(
            triggers((8, 1)), asked((15, "limp")), jogs((20, 0, 2500), (25, 1, 2930), (30, 0, 2507))
        ),
        90,
    ),
    (
        "a jog that is asked for again",
        _TO_JOG,
        in_order(_QUIET, jogs((4, 0, 5200), (40, 0, 4000), (89, 0, 4000)), asked((100, "heard"))),
        170,
    ),
    ("a jog asked for in another mode", _TO_JOG, in_order(jogs((0, 0, 3000), (8, 0, 3000))), 20),
    *(
        (
            f"a {kind} and a jog",
            _TO_JOG,
            in_order(
                _QUIET,
                jogs((4, 0, 3000)),
                [(8, kind, 0, 0)],
                jogs((8, 0, 3000), (12, 0, 3000), (57, 0, 3000), (58, 0, 3100), (62, 0, 3000)),
                [(62, kind, 0, 0), (111, kind, 0, 0)],
                jogs((112, 0, 3000), (160, 1, 3000), (161, 0, 3100)),
            ),
            180,
        )
        for kind in ("stop", "limp")
    ),
    (
        "a standby and a jog",
        replace(_TO_JOG, stop_time=4),
        in_order(
            _QUIET,
            jogs((4, 0, 3000)),
            asked((8, "standby")),
            jogs((8, 0, 3000), (9, 0, 3000)),
            asked((20, "limp")),
            jogs((69, 0, 3000), (70, 0, 3100), (75, 0, 3000)),
            asked((75, "standby")),
            triggers((90, 1)),
            asked((100, "stop"), (110, "standby")),
            jogs((149, 0, 3000), (150, 0, 3100)),
        ),
        170,
    ),
    (
        "a stop button and a jog",
        _TO_JOG,
        in_order(
            _QUIET,
            jogs((4, 0, 3000)),
            presses((8, 4, 1)),
            jogs((8, 0, 3000), (12, 0, 3000), (60, 0, 3000), (70, 0, 3000)),
            presses((70, 4, 0)),
            jogs((71, 0, 3100)),
            presses((74, 3, 1)),
            jogs((75, 0, 3200)),
            presses((80, 4, 1), (82, 4, 0)),
            jogs((129, 0, 3000), (130, 0, 3300)),
        ),
        150,
    ),
    (
        "a stop button that is down before a jog",
        _TO_JOG,
        in_order(presses((2, 4, 1)), jogs((4, 0, 3000)), presses((5, 4, 0)), jogs((6, 0, 3100))),
        20,
    ),
    ("a stop before a jog", _TO_JOG, in_order(_QUIET, asked((3, "stop")), jogs((4, 0, 3000))), 20),
    *(
        (
            f"a stop in the {words} frame of a jog",
            _TO_JOG,
            in_order(_QUIET, jogs((4, 0, 3000)), asked((frame, "stop")), jogs((54, 0, 3100))),
            70,
        )
        for words, frame in (("last", 52), ("first after the last", 53))
    ),
    (
        "other buttons and a jog",
        _TO_JOG,
        in_order(_QUIET, jogs((4, 0, 3000)), presses((6, 4, 0), (7, 3, 1), (8, 3, 0))),
        20,
    ),
    (
        "a quiet start after a jog",
        _TO_JOG,
        in_order(
            _QUIET, jogs((4, 1, 3300)), asked((20, "standby"), (22, "limp")), jogs((72, 1, 3400))
        ),
        90,
    ),
)

CASES: tuple[Case, ...] = (
    *(
        *_MODES,
        *_JOGGING,
        *_STARTS,
        *_IDLE_CASES,
        *_DRAWS,
        *_EXECUTION,
        *_MOTION,
        *_LETTING_GO,
        *_LIGHT,
    ),
)
"""Title, table, requests, frames."""
