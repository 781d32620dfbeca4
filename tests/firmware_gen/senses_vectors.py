"""Cases of boards with senses: presses, channels, what follows, batteries, lamps with a move.

A case of `senses.json` has the fields `title`, `table`, `frames`, `requests` and `end` of the other
vectors, and

    sources   how many channels and how many sensors the table has
    pulses    [frame, channel, width]: from that frame on a pulse of that width (in ticks) ends in
              each frame; 0: none does. Before its first entry a channel has none
    readings  [frame, sensor, reading]: from that frame on; before its first entry it has none
    battery   [frame, reading], likewise
    digests   of the outputs, stretch by stretch as in the others
    told      of what the board tells behind each frame (`sensing_board.told_of`)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from random import Random
from typing import Any, Final

from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.table.layout import KINDS_OF_PRESS, LOOP_HELD, MANNERS
from firmware_gen.table.ops import ActOp, Delay, DrawnOp, Loop, LoopBack, Modulate, TableOp, Turn
from firmware_gen.table.records import (
    BandRecord,
    BarRecord,
    BindingRecord,
    ChannelRecord,
    CueRecord,
    FollowRecord,
    LampRecord,
    PatienceRecord,
    ScaleRecord,
    SenseRecord,
    SensorRecord,
    ServoRecord,
    ShineRecord,
    StripRecord,
    SwitchRecord,
    Table,
    WatchRecord,
)
from sim.rulebook import BAR_ENDS
from tests.firmware_gen.led_vectors import known_requests
from tests.firmware_gen.random_tables import (
    Request,
    random_requests,
    random_table,
    with_presses,
    with_shines,
)
from tests.firmware_gen.second_presses import SecondPlayerWithSenses
from tests.firmware_gen.sensing_board import (
    ReferenceSensingBoard,
    SecondSensingBoard,
    SensingBoard,
    data_of,
    moments,
    sources_of,
)
from tests.firmware_gen.vector_files import STRETCH, digest

Change = tuple[int, int, int]
"""Frame, which one, and its value from then on."""


@dataclass(frozen=True)
class Sensed:
    """What a board senses, each from its frame on."""

    pulses: Sequence[Change] = ()
    readings: Sequence[Change] = ()
    battery: Sequence[tuple[int, int]] = ()


def recorded(
    title: str, table: Table, requests: Sequence[Request], frames: int, sensed: Sensed
) -> dict[str, Any]:
    """A case with the reference player's answers."""
    case = {
        "title": title,
        "table": data_of(table),
        "frames": frames,
        "requests": [list(one) for one in requests],
        "sources": list(sources_of(table)),
        "pulses": [list(one) for one in sensed.pulses],
        "readings": [list(one) for one in sensed.readings],
        "battery": [list(one) for one in sensed.battery],
    }
    board = ReferenceSensingBoard(table)
    rows = [(board.frame(moment), board.told()) for moment in moments(case)]
    for place, name in enumerate(("digests", "told")):
        kept = [row[place] for row in rows]
        case[name] = [digest(kept[at : at + STRETCH]) for at in range(0, frames, STRETCH)]
    return case | {"end": board.end_state()}


def leaves(board: SensingBoard, case: Mapping[str, Any]) -> str | None:
    """Where a board leaves a case; None if it answers all of it."""
    shown: list[bytes] = []
    told: list[bytes] = []
    for number, moment in enumerate(moments(case), 1):
        shown.append(board.frame(moment))
        told.append(board.told())
        if number % STRETCH == 0 or number == case["frames"]:
            for name, found in (("digests", shown), ("told", told)):
                if digest(found) != case[name][(number - 1) // STRETCH]:
                    return f"{name} before frame {number}"
                found.clear()
    return None if board.end_state() == case["end"] else f"end {board.end_state()}"


def second_leaves(case: Mapping[str, Any], make: Any = SecondPlayerWithSenses) -> str | None:
    """Where a second player leaves a case."""
    return leaves(SecondSensingBoard(bytes.fromhex(case["table"]), make), case)


# -- the boards that are pressed -------------------------------------------------------------------

LIGHTS: Final = tuple(LampRecord(CHIP.pin(pin), 0) for pin in ("PB4", "PB7", "PG5", "PH6"))
SWITCHES: Final = tuple(SwitchRecord(CHIP.pin(pin), True, False) for pin in ("PA6", "PA7"))
CHANNELS: Final = tuple(ChannelRecord(CHIP.pin(pin)) for pin in ("PL0", "PE7"))
WAVE, DANCE, ROAR, BOW, GLOW, GLOWED, HUM, WAITS, REFUSES = range(9)
"""Cues by number. The first four are short; GLOW goes on while it is held, GLOWED is its part for
letting go; HUM has no end; the last two use what others use."""
STOP_BUTTON: Final = 6


def _flash(n: int) -> tuple[TableOp, ...]:
    return (ActOp(n, 200, 0), Delay(150 + 40 * n), ActOp(n, 0, 0))


def pressed_show(
    bindings: Sequence[BindingRecord], senses: Sequence[SenseRecord], **more: Any
) -> Table:
    """Four lamps and two switches, and cues of all kinds."""
    glow = (Turn(4, True), Loop(LOOP_HELD), Delay(20), LoopBack(), Turn(4, False))
    glowed = (ActOp(0, 90, 100, True), ActOp(0, 0, 100, True))
    hum = (Loop(0), ActOp(3, 200, 100, True), ActOp(3, 50, 100, True), LoopBack())
    busy = (Turn(5, True), Delay(300), Turn(5, False))
    uses = (1, 2, 4, 2, 17, 17, 8, 42, 36)
    conflicts = (0, 2, 0, 0, 0, 0, 0, 1, 2)
    return Table(
        *(CHIP.chip_id, 1),
        outputs=(*LIGHTS, *SWITCHES),
        cues=tuple(
            CueRecord(100 + n, used, conflict, 1, n, lets_go=n == GLOW)
            for n, (used, conflict) in enumerate(zip(uses, conflicts, strict=True))
        ),
        threads=(*map(_flash, range(3)), _flash(1), glow, glowed, hum, busy, busy),
        bindings=tuple(bindings),
        senses=tuple(senses),
        enable_interval=0,
        stop_button=STOP_BUTTON,
        **more,
    )


def _bound(button: int, cue: int, kind: Any = "down", manner: Any = "start", **more: Any) -> Any:
    return BindingRecord(button, cue, more.pop("again", False), kind, manner, **more)


EVERY_KIND: Final = (
    *(_bound(1, cue, kind) for cue, kind in zip(range(4), KINDS_OF_PRESS, strict=True)),
    _bound(2, GLOW, manner="toggle"),
    _bound(3, HUM, manner="toggle", ends=True),
    *(_bound(4, cue, manner="next") for cue in (DANCE, WAVE, ROAR)),
    *(_bound(4, cue, "up", "next") for cue in (WAITS, BOW)),
    _bound(5, GLOW, "long"),
    _bound(5, REFUSES),
    _bound(STOP_BUTTON, WAVE, "up"),
)
EVERY_PATIENCE: Final = (
    PatienceRecord(1, 40, True),
    PatienceRecord(5, 5, False),
    PatienceRecord(5, 100, True),
)


def random_presses(dice: Random, frames: int, buttons: Sequence[int]) -> list[Request]:
    """Hands on buttons: mostly down and up in turn; now and then what the line asks for."""
    found: list[Request] = []
    down: set[int] = set()
    button = buttons[0]
    frame = 2
    while frame < frames:
        kind = dice.random()
        if dice.random() < 0.5:
            button = dice.choice((*down, *buttons))
        if kind < 0.9:
            goes_down = button not in down if dice.random() < 0.95 else dice.random() < 0.5
            (down.add if goes_down else down.discard)(button)
            found.append((frame, "button", button, int(goes_down)))
        elif kind < 0.96:
            found.append((frame, "trigger", 100 + dice.randrange(9), 0))
        else:
            found.append((frame, dice.choice(("stop", "limp", "heard")), 0, 0))
            found.append((frame + dice.choice((3, 40, 90)), "standby", 0, 0))
        frame += dice.choice((0, 1, 3, 3, 7, 10, 19, 20, 21, 39, 40, 41))
    return sorted((one for one in found if one[0] < frames), key=lambda one: one[0])


def press_case(seed: int, frames: int = 500) -> dict[str, Any]:
    dice = Random(seed)
    bindings, patience = EVERY_KIND, EVERY_PATIENCE
    if seed % 2:
        bindings = tuple(
            BindingRecord(
                *(dice.randint(1, 4), dice.choice((WAVE, DANCE, ROAR, BOW, GLOW, HUM, WAITS))),
                *(dice.random() < 0.2, dice.choice(KINDS_OF_PRESS)),
                *dice.choice(MANNERS),
            )
            for _ in range(12)
        )
        ways = ((0, True), (1, False), (5, True), (40, False), (19, True), (21, True))
        patience = tuple(PatienceRecord(button, *dice.choice(ways)) for button in (1, 2, 3))
    table = pressed_show(bindings, patience)
    requests = random_presses(dice, frames, (1, 2, 3, 4, 5, 5, STOP_BUTTON)[: 7 - seed % 2])
    return recorded(f"presses, seed {seed}", table, requests, frames, Sensed())


def hand_cases() -> list[dict[str, Any]]:
    """Each press at the edges of its times, where a down and an up want the same lamp."""
    kinds = zip((BOW, ROAR, WAVE, DANCE), KINDS_OF_PRESS, strict=True)
    four = [_bound(1, cue, kind) for cue, kind in kinds]
    only = [replace(one, button=2) for one in four] + [replace(one, button=3) for one in four]
    toggles = [
        _bound(1, WAITS, manner="toggle"),
        _bound(2, HUM),
        _bound(3, GLOW, manner="toggle", ends=True),
        _bound(4, GLOW, manner="toggle"),
        _bound(5, GLOW, manner="start"),
    ]
    patience = (
        *(PatienceRecord(1, 40, True), PatienceRecord(2, 0, True)),
        PatienceRecord(3, 30, False),
    )
    show = pressed_show([*four, *only], patience)
    quick = {"down twice": (10, 25, 70), "again": (10, 14, 20, 25, 60, 64, 79, 95)}
    found = []
    for button in (1, 2, 3):
        for held in (5, 19, 20, 21, 29, 30, 31, 39, 40, 41):
            asked: list[Request] = [(10, "button", button, 1), (10 + held, "button", button, 0)]
            title = f"button {button} held for {held} frames"
            found.append(recorded(title, show, asked, 100, Sensed()))
        for name, frames in quick.items():
            downs = (1, 1, 0) if name == "down twice" else (1, 0) * 4
            asked = [(n, "button", button, d) for n, d in zip(frames, downs, strict=True)]
            title = f"button {button} pressed {name}"
            found.append(recorded(title, show, asked, 150, Sensed()))
    rows = ((2, 1, 3, 1, 4, 1, 2), (3, 4, 3, 3, 5, 3, 4), (2, 1, 1, 2), (4, 4, 4), (5, 4, 4, 3))
    for row in rows:
        asked = []
        for n, button in enumerate(row):
            asked += [(10 + 9 * n, "button", button, 1), (13 + 9 * n, "button", button, 0)]
        title = f"toggles: buttons {' '.join(map(str, row))}"
        found.append(recorded(title, pressed_show(toggles, ()), asked, 150, Sensed()))
    return found


def order_cases() -> list[dict[str, Any]]:
    """Who comes first, where two want the same lamp and the one refuses to take it."""

    def pressed(title: str, table: Table, *rows: tuple[int, int]) -> dict[str, Any]:
        asked = [(at, "button", button, 1) for at, button in rows]
        asked += [(at + 2, "button", button, 0) for at, button in rows]
        return recorded(title, table, sorted(asked), 100, Sensed())

    row = (_bound(1, DANCE, manner="next"), _bound(1, BOW), _bound(1, WAVE, manner="next"))
    turns = (_bound(1, DANCE, manner="next"), _bound(1, WAVE, manner="next"), _bound(2, BOW))
    both = (_bound(1, DANCE), _bound(2, BOW))
    waits = (_bound(1, WAITS, manner="toggle"), _bound(2, BOW), _bound(3, WAITS))
    glows = (_bound(1, GLOW), _bound(1, GLOW, manner="toggle"))
    patience = tuple(PatienceRecord(button, 0, True) for button in (1, 2))
    bands = [
        *(BandRecord(0, 3400, 4400, 1), BandRecord(0, 3500, 4400, 2)),
        BandRecord(1, 3500, 4400, 2),
    ]
    sticks = pressed_show(both, (*CHANNELS, *bands[:2]))
    apart = pressed_show(both, (*CHANNELS, *bands[::2]))
    pulses = [(0, 0, 3000), (0, 1, 3000), (30, 0, 3800), (30, 1, 3800), (60, 0, 900)]
    slack = pressed_show((_bound(1, GLOW),), (*CHANNELS, BandRecord(0, 3000, 3400, 1)))
    ways = ((0, 2500), (5, 0), (9, 2500), (15, 3200), (22, 2500), (30, 3200), (40, 3450))
    more = ((50, 3451), (60, 3200), (70, 2950), (80, 2949), (90, 3200), (100, 900))
    edges = [(at, 0, width) for at, width in (*ways, *more)]
    hums = pressed_show((_bound(1, HUM, manner="toggle"),), ())
    return [
        recorded("channels: at the ends of a band", slack, (), 150, Sensed(edges)),
        pressed("toggles: let go, and again", hums, (10, 1), (33, 1), (57, 1)),
        pressed("toggles: a list around another binding", pressed_show(row, ()), (10, 1), (40, 1)),
        pressed(
            "toggles: a refused turn", pressed_show(turns, ()), (10, 2), (13, 1), (40, 1), (60, 1)
        ),
        pressed("toggles: two in one frame", pressed_show(both, patience), (10, 2), (10, 1)),
        pressed("toggles: waits no longer", pressed_show(waits, ()), (10, 2), (12, 1), (15, 1)),
        pressed("toggles: waits anyway", pressed_show(waits, ()), (10, 2), (12, 3), (15, 1)),
        pressed("toggles: a start and a toggle", pressed_show(glows, ()), (10, 1), (40, 1)),
        recorded("channels: two bands at once", sticks, (), 110, Sensed(pulses)),
        recorded("channels: two at once", apart, (), 110, Sensed(pulses)),
    ]


def stuck_case() -> dict[str, Any]:
    asked: list[Request] = [(9, "button", 1, 1), (900, "button", 1, 1), (20, "button", 3, 1)]
    asked += [(1515, "button", 3, 0), (1540, "button", 1, 0)]
    table = pressed_show(EVERY_KIND, EVERY_PATIENCE)
    return recorded("a button that stays down", table, sorted(asked), 1600, Sensed())


# -- channels --------------------------------------------------------------------------------------


def _width(dice: Random, last: int) -> int:
    what = dice.random()
    if what < 0.04:
        return 0
    if what < 0.06:
        return dice.choice((1, 900, 1599, 4401, 9000, 65535))
    if what < 0.1:
        return dice.choice((1600, 2000, 2950, 3000, 3050, 3400, 4400, dice.randint(1600, 4400)))
    return last


def random_pulses(dice: Random, channels: int, frames: int) -> list[Change]:
    """Hands on sticks, and pulses that are missed or wrong, singly and for a while."""
    found: list[Change] = []
    for channel in range(channels):
        held, now, frame = 3000, -1, dice.choice((0, 0, 30))
        silent_until = 0
        while frame < frames:
            if dice.random() < 0.015:
                silent_until = frame + dice.choice((3, 4, 5, 24, 25, 26, 60))
            width = _width(dice, held)
            if 1600 <= width <= 4400:
                held = width
            if frame < silent_until:
                width = 0
            if width != now:
                found.append((frame, channel, width))
                now = width
            frame += 1
    return sorted(found)


BANDS: Final = (
    BandRecord(0, 3400, 4200, 1),
    BandRecord(0, 1600, 2000, 2),
    BandRecord(1, 2950, 3050, 3),
    BandRecord(1, 3000, 4400, 4),
    BandRecord(0, 3000, 3000, 5),
)


def channel_case(seed: int, frames: int = 600) -> dict[str, Any]:
    dice = Random(seed)
    held = (_bound(1, GLOW), _bound(2, HUM, manner="toggle", ends=True), _bound(3, WAVE, "up"))
    table = pressed_show(
        (*held, _bound(4, ROAR), _bound(5, BOW)),
        (*CHANNELS, *BANDS, PatienceRecord(3, 12, False)),
        lost=DANCE if seed % 2 else None,
        lost_time=1,
    )
    requests = random_presses(dice, frames, (1, 3, 5)) if seed % 4 > 1 else []
    pulses = random_pulses(dice, 2, frames)
    return recorded(f"channels, seed {seed}", table, requests, frames, Sensed(pulses))


# -- what follows, and lamps that shine with a move ------------------------------------------------

SERVO: Final = ServoRecord(CHIP.pin("PA0"), (0, 9000), 200, 900, 4500, ((0, 1600), (9000, 4400)))


def random_readings(dice: Random, sensors: int, frames: int) -> list[Change]:
    found: list[Change] = []
    for sensor in range(sensors):
        frame = dice.choice((0, 60, 150))
        while frame < frames:
            reading = dice.choice((0, 119, 120, 500, 1023, dice.randrange(1024)))
            found.append((frame, sensor, reading))
            frame += dice.choice((1, 2, 5, 20, 60))
    return sorted(found)


def tracked_show(dice: Random, senses: Sequence[SenseRecord] = ()) -> Table:
    """Three servos and two lamps, idle on some of them, and cues that take them."""
    servos = (
        SERVO,
        replace(SERVO, pin=CHIP.pin("PA1"), acceleration_limit=5000, safe=1000),
        replace(SERVO, pin=CHIP.pin("PA2"), travel=(2000, 7000)),
    )
    lamps = (replace(LIGHTS[0], safe=30), replace(LIGHTS[1], safe=80))
    threads: tuple[tuple[TableOp, ...], ...] = (
        (ActOp(0, 9000, 700, True), ActOp(0, 500, 400, True), Delay(200)),
        (ActOp(1, 3000, 300), ActOp(3, 200, 300, True), Modulate(3, 1, 300, 100), Delay(900)),
        (ActOp(2, 7000, 900, True), ActOp(4, 0, 0), Delay(300), ActOp(4, 150, 500, True)),
        (ActOp(0, 4000, 900), ActOp(3, 120, 400, True), Delay(700), ActOp(0, 6000, 900, True)),
        (Modulate(4, 2, 400, 120, 9), ActOp(1, 2500, 800, True), Delay(500), ActOp(1, 500, 600)),
        (Delay(600),),
    )
    uses = (1, 10, 20, 9, 2, 8)
    strands = (False, False, False, dice.random() < 0.7, dice.random() < 0.7, False)
    return Table(
        *(CHIP.chip_id, 1),
        outputs=(*servos, *lamps),
        cues=tuple(
            CueRecord(100 + n, used, 0, 1, n, strand=strand)
            for n, (used, strand) in enumerate(zip(uses, strands, strict=True))
        ),
        threads=threads,
        senses=tuple(senses),
        glide=dice.choice((0, 12, 25, 40)),
        stop_time=dice.choice((10, 40)),
        enable_interval=2,
    )


SENSORS: Final = (
    SensorRecord(CHIP.pin("PF0"), 120, 30000, 3000),
    SensorRecord(CHIP.pin("PF1"), 0, 0, 0),
)


def _follows(dice: Random) -> tuple[SenseRecord, ...]:
    """Of the servos and lamps of `tracked_show`; channels are the sources 0 and 1."""
    found: list[SenseRecord] = []
    for output in range(5):
        source = dice.randrange(4)
        low, high = dice.choice(((1700, 4300), (2900, 3100))) if source < 2 else (150, 700)
        if output < 3:
            ends = dice.sample((2000, 2500, 4000, 6500, 7000), 2)
            most = (dice.choice((20, 90, 200)), dice.choice((60, 300, 900)))
        else:
            ends, most = dice.sample((0, 40, 101, 200), 2), (dice.choice((60, 900, 9000)), 0)
        if dice.random() < 0.85:
            mixed = dice.random() < 0.4
            found.append(FollowRecord(output, source, low, high, *ends, *most, mixed))
    return tuple(found)


def _tracked_requests(dice: Random, frames: int) -> list[Request]:
    found: list[Request] = []
    frame = dice.randint(20, 90)
    while frame < frames:
        if dice.random() < 0.85:
            found.append((frame, "trigger", 100 + dice.randrange(6), 0))
        else:
            found.append((frame, dice.choice(("stop", "stop", "limp")), 0, 0))
            found.append((frame + dice.choice((2, 60)), "standby", 0, 0))
        frame += dice.choice((9, 30, 70, 120))
    return sorted((one for one in found if one[0] < frames), key=lambda one: one[0])


def follow_case(seed: int, frames: int = 500) -> dict[str, Any]:
    dice = Random(seed)
    table = tracked_show(dice, (*CHANNELS, *SENSORS, *_follows(dice)))
    sensed = Sensed(random_pulses(dice, 2, frames), random_readings(dice, 2, frames))
    requests = _tracked_requests(dice, frames)
    return recorded(f"what follows, seed {seed}", table, requests, frames, sensed)


def shine_case(seed: int, frames: int = 400) -> dict[str, Any]:
    dice = Random(seed)
    shines = []
    for lamp in (3, 4):
        by_speed = dice.random() < 0.5
        low, high = (dice.choice((0, 10)), 90) if by_speed else (2500, dice.choice((2600, 6000)))
        servo = dice.randrange(3)
        shines.append(ShineRecord(lamp, servo, by_speed, low, high, *dice.sample((0, 40, 200), 2)))
    follows = [one for one in _follows(dice) if isinstance(one, FollowRecord) and one.output < 3]
    senses = (*CHANNELS, *SENSORS, *(follows if seed % 2 else ()), *shines)
    sensed = Sensed(random_pulses(dice, 2, frames), random_readings(dice, 2, frames))
    requests = _tracked_requests(dice, frames)
    return recorded(
        f"lamps that shine, seed {seed}", tracked_show(dice, senses), requests, frames, sensed
    )


def bar_case(end: int, frames: int = 160) -> dict[str, Any]:
    """A lamp that fades to and fro, and a strip of seven pixels that shows it."""
    dice = Random(end)
    whole = tracked_show(dice, (BarRecord(5, 4, end),))
    strip = StripRecord(CHIP.pin("PB0"), 7, 2, (0, 3, 0)[end], 1)
    table = replace(
        whole, outputs=(*whole.outputs, strip), colours=((0, 0, 0), (200, 120, 33)), glide=12
    )
    requests: list[Request] = [(40, "trigger", 102, 0), (120, "stop", 0, 0)]
    return recorded(f"a bar from {BAR_ENDS[end]}", table, requests, frames, Sensed())


# -- cues that are scaled --------------------------------------------------------------------------


def scale_case(seed: int, frames: int = 500) -> dict[str, Any]:
    """Cues that go as far as channels and sensors say when they start; one lets go, one draws."""
    dice = Random(seed)
    ends = ((0, 1700, 4300), (1, 2000, 4000), (2, 0, 1023), (3, 300, 700))
    scales = [
        ScaleRecord(cue, *ends[dice.randrange(4)], *dice.sample((0, 33, 101, 140, 200), 3))
        for cue in range(6)
    ]
    table = tracked_show(dice, (*CHANNELS, *SENSORS, *_follows(dice)[: seed % 2], *scales))
    cues = list(table.cues)
    cues[2], cues[3] = replace(cues[2], lets_go=True), replace(cues[3], strand=False)
    threads = list(table.threads)
    ways = DrawnOp(target_key=9, most=8000)
    threads[0] = (ActOp(0, 6000, 500, True, drawn=ways), *threads[0])
    table = replace(
        table,
        cues=tuple(cues),
        threads=tuple(threads),
        bindings=(_bound(1, 0), _bound(2, 2), _bound(3, 1, manner="toggle", ends=True)),
    )
    pressed = random_presses(dice, frames, (1, 2, 3))
    requests = known_requests(table, _tracked_requests(dice, frames) + pressed)
    requests.sort(key=lambda one: one[0])
    sensed = Sensed(random_pulses(dice, 2, frames), random_readings(dice, 2, frames))
    return recorded(f"scaled cues, seed {seed}", table, requests, frames, sensed)


# -- batteries -------------------------------------------------------------------------------------

WATCHED: Final = WatchRecord(CHIP.pin("PF1"), 10_240, 6_800, 6_000, cue=5)
"""10 mV a step: low below 680, empty below 600, blind below 300."""
WELL, LOW, EMPTY, BLIND = 740, 640, 580, 250


def watch_case(
    title: str,
    battery: Sequence[tuple[int, int]],
    requests: Sequence[Request] = (),
    frames: int = 1500,
    watch: WatchRecord = WATCHED,
    interval: int = 2,
) -> dict[str, Any]:
    table = replace(tracked_show(Random(1), (watch,)), enable_interval=interval)
    return recorded(f"battery: {title}", table, requests, frames, Sensed(battery=battery))


def random_watch_case(seed: int, frames: int = 2500) -> dict[str, Any]:
    dice = Random(seed)
    levels: list[tuple[int, int]] = []
    requests: list[Request] = []
    frame = dice.choice((0, 3))
    while frame < frames:
        levels.append((frame, dice.choice((WELL, LOW, EMPTY, 619, 599, 679, 701, BLIND, 1023))))
        frame += dice.choice((20, 100, 260, 510, 700))
        requests.append((frame, dice.choice(("standby", "standby", "stop")), 0, 0))
    return watch_case(f"seed {seed}", levels, [r for r in requests if r[0] < frames], frames)


def watch_cases() -> list[dict[str, Any]]:
    own = replace(WATCHED, pin=None, scale=1100, low=4400, stop=4000)
    by_own = [(n, 1100 * 1024 // mv) for n, mv in ((2, 5000), (300, 4390), (700, 3900))]
    standbys: list[Request] = [(n, "standby", 0, 0) for n in range(40, 1500, 90)]
    limp: list[Request] = [(10, "limp", 0, 0), (500, "standby", 0, 0)]
    sags = [(0, WELL), (50, LOW), (250, WELL), (320, LOW), (500, WELL)]
    uneven, none = replace(WATCHED, scale=10_007), replace(WATCHED, cue=None)
    return [
        watch_case("empty in a long start", [(0, EMPTY)], standbys, 200, interval=10),
        watch_case(
            "a lead finds contact in a start", [(0, 0), (20, WELL)], frames=200, interval=20
        ),
        watch_case("low in limp", [(0, LOW)], limp, 600),
        watch_case("two sags", sags, frames=700),
        watch_case("an uneven scale", [(0, LOW)], frames=100, watch=uneven),
        watch_case("low without a cue", [(0, LOW)], frames=400, watch=none),
        watch_case("low for more than a minute", [(0, LOW)], frames=3600),
        watch_case("empty in starting", [(0, EMPTY)], standbys, 200),
        watch_case("empty, and well again", [(9, WELL), (90, EMPTY), (1100, WELL)], standbys),
        watch_case("low, and hardly better", [(0, LOW), (300, 690), (700, 701), (900, 705)]),
        watch_case(
            "empty, hardly better", [(0, WELL), (60, 590), (800, 610), (1200, 625)], standbys
        ),
        watch_case("a lead that falls off", [(0, WELL), (200, BLIND), (1200, WELL)]),
        watch_case("about the edges", [(0, 680), (300, 679), (700, 600), (1200, 300)], frames=1800),
        watch_case("the chip's own reference", [*by_own, (1450, 0), (1460, 17)], watch=own),
        *map(random_watch_case, SEEDS_OF_WATCHES),
    ]


# -- anything --------------------------------------------------------------------------------------


def random_case(seed: int, frames: int = 350) -> dict[str, Any]:
    """A random table with everything in it."""
    dice = Random(seed)
    table = with_shines(dice, with_presses(dice, random_table(dice, CHIP)))
    requests = known_requests(table, random_requests(dice, table, frames))
    channels, sensors = sources_of(table)
    sensed = Sensed(random_pulses(dice, channels, frames), random_readings(dice, sensors, frames))
    return recorded(f"random senses, seed {seed}", table, requests, frames, sensed)


SEEDS_OF_PRESSES: Final = tuple(range(12))
SEEDS_OF_CHANNELS: Final = tuple(range(8))
SEEDS_OF_FOLLOWS: Final = tuple(range(12))
SEEDS_OF_SHINES: Final = tuple(range(8))
SEEDS_OF_SCALES: Final = tuple(range(4))
SEEDS_OF_WATCHES: Final = (0, 1)
SEEDS_AT_RANDOM: Final = tuple(range(600, 612))


def all_cases() -> list[dict[str, Any]]:
    return [
        *map(press_case, SEEDS_OF_PRESSES),
        stuck_case(),
        *hand_cases(),
        *order_cases(),
        *map(channel_case, SEEDS_OF_CHANNELS),
        *map(follow_case, SEEDS_OF_FOLLOWS),
        *map(shine_case, SEEDS_OF_SHINES),
        *map(bar_case, range(len(BAR_ENDS))),
        *map(scale_case, SEEDS_OF_SCALES),
        *watch_cases(),
        *map(random_case, SEEDS_AT_RANDOM),
    ]
