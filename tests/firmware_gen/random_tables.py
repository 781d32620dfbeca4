"""Random valid tables and random requests, from seeded dice.

Everything a table may hold occurs, at its limits more often than chance would have it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from random import Random
from typing import TypeAlias

from hypothesis import strategies as st

from firmware_gen.chips import CHIPS_BY_ID, FIRST, Chip
from firmware_gen.table.layout import KINDS_OF_PRESS, MANNERS
from firmware_gen.table.ops import (
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
from firmware_gen.table.records import (
    BandRecord,
    BarRecord,
    BindingRecord,
    ChannelRecord,
    CueRecord,
    FollowRecord,
    InputRecord,
    LampRecord,
    LawRecord,
    OutputRecord,
    PatienceRecord,
    ScaleRecord,
    SenseRecord,
    SensorRecord,
    ServoRecord,
    SettlingRecord,
    ShineRecord,
    StripRecord,
    SwitchRecord,
    Table,
    WatchRecord,
)
from sim import rulebook
from sim.rulebook import (
    ALPHA_RANGE,
    BETA_RANGE,
    PEAK_MIDDLE,
    PEAK_RANGE,
    PULSE_RANGE,
    STRANDS,
)

Request: TypeAlias = tuple[int, str, int, int]
"""Frame, kind (trigger, button, stop, limp, standby, heard, jog) and up to two numbers."""


def random_table(dice: Random, chip: Chip = FIRST) -> Table:
    """A valid table of any kind of show for a chip."""
    colours = tuple((_level(dice), _level(dice), _level(dice)) for _ in range(dice.randint(1, 6)))
    outputs, free_pins = _outputs(dice, chip, len(colours))
    laws = tuple(_law(dice) for _ in range(dice.randint(1, 6)))
    threads = _threads(dice, outputs, len(colours), len(laws))
    cues = _with_strands(dice, _cues(dice, len(outputs), len(threads)))
    inputs = tuple(
        InputRecord(pin, dice.randint(1, 31), dice.random() < 0.5)
        for pin in free_pins[: dice.choice((0, 0, 1, 3))]
    )
    bindings = tuple(
        BindingRecord(dice.randint(1, 6), dice.randrange(len(cues)), dice.random() < 0.4)
        for _ in range(dice.randint(0, 8))
    )
    return Table(
        chip=chip.chip_id,
        address=dice.randint(1, 254),
        outputs=outputs,
        colours=colours,
        laws=laws,
        inputs=inputs,
        bindings=bindings,
        cues=cues,
        threads=threads,
        glide=dice.choice((0, 1, 15, 60, 255)),
        lost=dice.choice((None, dice.randrange(len(cues)))),
        lost_time=dice.choice((0, 1, 3, 255)),
        stop_button=dice.choice((0, 6)),
        stop_time=dice.choice((1, 30, 75, 255)),
        enable_interval=dice.choice((0, 1, 2, 10)),
        show=dice.randrange(2**32),
    )


def with_presses(dice: Random, table: Table) -> Table:
    """The table of a chip that has senses, with bindings of every kind."""
    cues = len(table.cues)
    bindings = tuple(
        BindingRecord(
            *(dice.randint(1, 6), dice.randrange(cues), dice.random() < 0.2),
            dice.choice(KINDS_OF_PRESS),
            *dice.choice(MANNERS),
        )
        for _ in range(dice.randint(3, 31))
    )
    waits = tuple(
        PatienceRecord(
            dice.randint(1, 6), *dice.choice(((0, True), (1, False), (5, True), (40, False)))
        )
        for _ in range(dice.randint(0, 6))
    )
    settling = tuple(SettlingRecord(n, dice.choice((1, 2, 15))) for n in range(len(table.inputs)))
    senses = waits + settling + _channels(dice, table)
    senses += _sensors(dice, table, senses)
    return replace(table, bindings=bindings, senses=senses + _follows(dice, table, senses))


def _channels(dice: Random, table: Table) -> tuple[SenseRecord, ...]:
    """Some channels on pins that are free, and bands of each."""
    chip = CHIPS_BY_ID[table.chip]
    taken = {one.pin for one in (*table.outputs, *table.inputs)}
    lamps = {one.pin for one in table.outputs if isinstance(one, LampRecord)}
    pins = [pin for pin, (_, off) in chip.channels.items() if pin not in taken and not off & lamps]
    count = dice.randint(0, len(pins))
    bands = []
    for _ in range(dice.randint(0, 8) if count else 0):
        low = dice.choice((1600, 2000, 2900, 3000, 3400, 4400))
        high = min(4400, low + dice.choice((0, 100, 600)))
        bands.append(BandRecord(dice.randrange(count), low, high, dice.randint(1, 6)))
    return (*(ChannelRecord(pin) for pin in pins[:count]), *bands)


def _sensors(
    dice: Random, table: Table, senses: tuple[SenseRecord, ...]
) -> tuple[SenseRecord, ...]:
    """Some sensors on pins that are free."""
    taken = {one.pin for one in (*table.outputs, *table.inputs)}
    taken |= {one.pin for one in senses if isinstance(one, ChannelRecord)}
    pins = [pin for pin in CHIPS_BY_ID[table.chip].analog if pin not in taken]
    shares = (0, 1, 300, 9000, 40000, 65535)
    return tuple(
        SensorRecord(pin, dice.choice((0, 1, 120, 1023)), dice.choice(shares), dice.choice(shares))
        for pin in pins[: dice.choice((0, 0, 1, 2, 8))]
    )


def _follows(
    dice: Random, table: Table, senses: tuple[SenseRecord, ...]
) -> tuple[SenseRecord, ...]:
    """Some servos and lamps that follow the sources."""
    sources = [one for one in senses if isinstance(one, ChannelRecord | SensorRecord)]
    found: list[SenseRecord] = []
    for number, output in enumerate(table.outputs if sources else ()):
        if not isinstance(output, ServoRecord | LampRecord) or dice.random() < 0.4:
            continue
        source = dice.randrange(len(sources))
        least, most = (1600, 4400) if isinstance(sources[source], ChannelRecord) else (0, 1023)
        low = dice.choice((least, least + 400, dice.randrange(least, most)))
        high = dice.choice((low + 1, most, dice.randint(low + 1, most)))
        if isinstance(output, ServoRecord):
            ends = [dice.choice((*output.travel, dice.randint(*output.travel))) for _ in range(2)]
            speed = dice.choice((1, output.speed_limit, dice.randint(1, output.speed_limit)))
            hardest = output.acceleration_limit
            acceleration = dice.choice((1, hardest, dice.randint(1, hardest)))
        else:
            ends = [dice.randint(0, 200) for _ in range(2)]
            speed, acceleration = dice.choice((1, 90, 2000, 65535)), 0
        mixed = dice.random() < 0.5
        found.append(FollowRecord(number, source, low, high, *ends, speed, acceleration, mixed))
    return tuple(found)


def with_shines(dice: Random, table: Table) -> Table:
    """The table with some lamps that shine with a move, where it has both."""
    follows = {one.output for one in table.senses if isinstance(one, FollowRecord)}
    lamps = [
        n for n, one in enumerate(table.outputs) if isinstance(one, LampRecord) and n not in follows
    ]
    servos = {n: one for n, one in enumerate(table.outputs) if isinstance(one, ServoRecord)}
    shines: list[SenseRecord] = []
    for lamp in lamps if servos else ():
        servo = dice.choice(list(servos))
        by_speed = dice.random() < 0.5
        ends = (0, servos[servo].speed_limit % 32768) if by_speed else servos[servo].travel
        low, high = sorted(dice.choice((*ends, dice.randint(*sorted(ends)))) for _ in range(2))
        high += low == high
        if dice.random() < 0.8 and -32768 <= low < high <= 32767:
            levels = dice.randint(0, 200), dice.randint(0, 200)
            shines.append(ShineRecord(lamp, servo, by_speed, low, high, *levels))
    return replace(table, senses=(*table.senses, *shines))


def with_bars(dice: Random, table: Table) -> Table:
    """The table with strips that show the level of a lamp, where it has both."""
    lamps = [n for n, one in enumerate(table.outputs) if isinstance(one, LampRecord)]
    strips = [n for n, one in enumerate(table.outputs) if isinstance(one, StripRecord)]
    shown = [strip for strip in strips if lamps and dice.random() < 0.8]
    bars = [BarRecord(strip, dice.choice(lamps), dice.randrange(3)) for strip in shown]
    return replace(table, senses=(*table.senses, *bars))


def with_scales(dice: Random, table: Table) -> Table:
    """The table with cues that go as far as one of its sources says, where it has one."""
    sources = [one for one in table.senses if isinstance(one, ChannelRecord | SensorRecord)]
    scales: list[SenseRecord] = []
    for cue in range(len(table.cues) if sources else 0):
        source = dice.randrange(len(sources))
        least, most = (1600, 4400) if isinstance(sources[source], ChannelRecord) else (0, 1023)
        low = dice.choice((least, dice.randrange(least, most)))
        high = dice.choice((low + 1, most, dice.randint(low + 1, most)))
        shares = [dice.choice((0, 1, 100, 200, dice.randint(0, 200))) for _ in range(3)]
        if dice.random() < 0.8:
            scales.append(ScaleRecord(cue, source, low, high, *shares))
    room = rulebook.SENSES - len(table.senses)
    return replace(table, senses=(*table.senses, *scales[:room]))


def with_watch(dice: Random, table: Table) -> Table:
    """The table of a chip that measures voltages, with a battery that it watches."""
    pins = CHIPS_BY_ID[table.chip].analog
    taken = {one.pin for one in (*table.outputs, *table.inputs)}
    taken |= {pin for one in table.senses if (pin := getattr(one, "pin", None)) is not None}
    free = [pin for pin in pins if pin not in taken]
    pin = dice.choice((None, *free[:3]))
    limits = ((10_240, 6_800, 6_000), (10_240, 6_000, 6_000), (65_535, 99, 1))
    scale, low, stop = dice.choice(limits)
    if pin is None:
        scale = dice.choice((1_100, 1_000, 1, 65_535))
    cue = dice.choice((None, *range(len(table.cues))))
    return replace(table, senses=(*table.senses, WatchRecord(pin, scale, low, stop, cue)))


def random_requests(dice: Random, table: Table, frames: int) -> list[Request]:
    """Requests over a number of frames, more of those that do something."""
    found: list[Request] = []
    frame = dice.randint(0, 5)
    while frame < frames:
        found.append((frame, *_request(dice, table)))
        frame += dice.choice((0, 0, 1, 3, 7, 15, 40))
    return found


def tables() -> st.SearchStrategy[Table]:
    """Random tables for hypothesis."""
    return dices().map(random_table)


def dices() -> st.SearchStrategy[Random]:
    """Seeded dice: small to hypothesis, however much is thrown with them."""
    return st.integers(0, 2**32 - 1).map(Random)


def _request(dice: Random, table: Table) -> tuple[str, int, int]:
    kind = dice.choices(
        ("trigger", "button", "heard", "stop", "limp", "standby", "jog"),
        (10, 12, 4, 1, 0.3, 1.5, 2),
    )[0]
    if kind == "trigger":
        unknown = dice.random() < 0.05
        return kind, 12345 if unknown else dice.choice(table.cues).tag, 0
    if kind == "button":
        return kind, dice.randint(1, 6), int(dice.random() < 0.6)
    if kind == "jog":
        servos = sum(isinstance(output, ServoRecord) for output in table.outputs)
        if servos == 0:
            return "heard", 0, 0
        return kind, dice.randrange(servos), dice.randint(*rulebook.PULSE_RANGE)
    return kind, 0, 0


def _outputs(dice: Random, chip: Chip, colours: int) -> tuple[tuple[OutputRecord, ...], list[int]]:
    pins = {
        "lamp": sorted(chip.pwm_pins),
        "any": sorted(chip.servo_pins - chip.pwm_pins),
    }
    for row in pins.values():
        dice.shuffle(row)
    counts = {
        "servo": dice.choice((0, 1, 2, 3, chip.servos)),
        "lamp": dice.choice((0, 1, 2, 4)),
        "strip": dice.choice((0, 1, 1, 2)),
        "switch": dice.choice((0, 1, 2)),
    }
    kinds = [kind for kind, count in counts.items() for _ in range(count)] or ["servo"]
    dice.shuffle(kinds)
    del kinds[rulebook.OUTPUTS :]
    outputs: list[OutputRecord] = []
    pixels, strips = chip.pixels, kinds.count("strip")
    for kind in kinds:
        pin = pins["lamp" if kind == "lamp" else "any"].pop()
        if kind == "servo":
            outputs.append(_servo(dice, pin))
        elif kind == "lamp":
            outputs.append(LampRecord(pin, _level(dice), _trims(dice, 1)))
        elif kind == "strip":
            strips -= 1
            count = min(dice.choice((1, 2, 7, 30, 99, 100)), pixels - strips)
            pixels -= count
            cap = dice.choice((0, 0, 1, 5, 20, 255, 65535))
            safe = dice.randrange(colours)
            trims = _trims(dice, 3)
            outputs.append(StripRecord(pin, count, dice.randrange(6), cap, safe, trims))
        else:
            outputs.append(SwitchRecord(pin, dice.random() < 0.5, dice.random() < 0.5))
    return tuple(outputs), pins["any"]


def _trims(dice: Random, count: int) -> tuple[int, ...]:
    if dice.random() < 0.6:
        return ()
    return tuple(dice.choice((0, 100, 254, 255)) for _ in range(count))


def _servo(dice: Random, pin: int) -> ServoRecord:
    wide = dice.random() < 0.1
    span = 32767 if wide else dice.choice((500, 4500, 9000, 18000))
    count = dice.choice((2, 2, 2, 3, 8))
    angles = sorted(dice.sample(range(-span, span + 1), count))
    pulses = sorted(dice.sample(range(PULSE_RANGE[0], PULSE_RANGE[1] + 1), count))
    if dice.random() < 0.5:
        pulses.reverse()
    low, high = sorted((dice.randint(angles[0], angles[-1]), dice.randint(angles[0], angles[-1])))
    if dice.random() < 0.5:
        low, high = angles[0], angles[-1]
    return ServoRecord(
        pin,
        (low, high),
        dice.choice((1, 20, 60, 353, 353, 1000, 65535)),
        dice.choice((1, 100, 2000, 2000, 5000, 65535)),
        dice.randint(low, high),
        tuple(zip(angles, pulses, strict=True)),
    )


def _law(dice: Random) -> LawRecord:
    law_id = dice.randint(0, 9)
    alpha = _near_edges(dice, *ALPHA_RANGE) if law_id in (2, 9) else 0
    beta = _near_edges(dice, *BETA_RANGE) if law_id == 9 else 0
    peak = _near_edges(dice, *PEAK_RANGE) if law_id and dice.random() < 0.4 else PEAK_MIDDLE
    return LawRecord(law_id, alpha, beta, peak)


def _threads(
    dice: Random, outputs: tuple[OutputRecord, ...], colours: int, laws: int
) -> tuple[TableThread, ...]:
    """Made from the last one back, because what is called has to be known."""
    count = dice.choice((1, 2, 3, 5, 8))
    threads: list[TableThread] = [()] * count
    for number in reversed(range(count)):
        later = range(number + 1, count)
        called = [(n, c) for n, c in enumerate(called_threads(threads)) if n in later]
        callable_ones = [
            (n, c)
            for n, c in called
            if c.calls < rulebook.CALL_DEPTH
            and not any(isinstance(op, GoOnTo) for op in threads[n])
        ]
        threads[number] = tuple(_ops(dice, outputs, colours, laws, later, callable_ones))
    return tuple(threads)


def _ops(
    dice: Random,
    outputs: tuple[OutputRecord, ...],
    colours: int,
    laws: int,
    later: range,
    callable_ones: list[tuple[int, Called]],
) -> list[TableOp]:
    """`callable_ones`: later threads that can be called, with what a call states of each."""

    def body(length: int, depth: int) -> list[TableOp]:
        row: list[TableOp] = []
        for _ in range(length):
            kind = dice.random()
            if kind < 0.12 and depth < rulebook.LOOP_DEPTH:
                times = dice.choice((0, 1, 2, 3, 7, 65535, 65535))
                inside = [*body(dice.randint(0, 3), depth + 1), Delay(_duration(dice, 1))]
                row += [Loop(times), *inside, LoopBack()]
            elif kind < 0.2 and later:
                row.append(ForkTo(dice.choice(later)))
            elif kind < 0.3 and callable_ones:
                thread, stated = dice.choice(callable_ones)
                if depth + stated.loops <= rulebook.LOOP_DEPTH:
                    row.append(_choice(thread, stated, callable_ones, depth, len(row)))
            elif kind < 0.42:
                row.append(_drawn_wait(_wait(dice), len(row)))
            else:
                row.append(_drive(dice, outputs, colours, laws))
        return row

    row = body(dice.randint(0, 8), 0)
    if later and dice.random() < 0.15:
        row.append(GoOnTo(dice.choice(later)))
    return row


def _choice(
    thread: int, stated: Called, others: list[tuple[int, Called]], depth: int, place: int
) -> TableOp:
    """A call, or by dice of its own a choice that this call is one of."""
    own = Random(f"{thread} {stated} {depth} {place}")
    fit = [n for n, c in others if c.waits and depth + c.loops <= rulebook.LOOP_DEPTH]
    if not stated.waits or own.random() < 0.5:
        return CallTo(thread)
    several = [thread, *own.choices(fit, k=own.choice((1, 1, 2, 7)))]
    own.shuffle(several)
    return ChooseTo(own.randint(1, 255), tuple(several))


def _drive(dice: Random, outputs: tuple[OutputRecord, ...], colours: int, laws: int) -> TableOp:
    number = dice.randrange(len(outputs))
    output = outputs[number]
    if isinstance(output, SwitchRecord):
        return Turn(number, dice.random() < 0.5)
    if not isinstance(output, ServoRecord) and dice.random() < 0.3:
        kind = dice.randint(0, 4)
        if kind == 0:
            return Modulate(number, 0)
        period = dice.choice((40, 41, 100, 333, 1000, 65535))
        width = dice.choice((0, 1, 3, 30, 255))
        return Modulate(number, kind, period, _level(dice), dice.randrange(256), width)
    if isinstance(output, ServoRecord):
        low, high = output.travel
        whole = [100 * degrees for degrees in range(-(-low // 100), high // 100 + 1)]
        target = dice.choice(whole) if whole and dice.random() < 0.6 else dice.randint(low, high)
    else:
        target = dice.randrange(colours) if isinstance(output, StripRecord) else _level(dice)
    law = dice.choice((None, dice.randrange(laws)))
    act = ActOp(number, target, _duration(dice, 0), dice.random() < 0.6, law)
    own = Random(repr(act))
    return _drawing(own, act, output) if own.random() < 0.3 else act


def _drawing(dice: Random, act: ActOp, output: OutputRecord) -> ActOp:
    """The act with what it draws, from what stands in it up."""
    time_key, target_key = dice.choice((0, 1, dice.randint(1, 255))), dice.choice((0, 7, 255))
    if isinstance(output, StripRecord):
        target_key = 0
    if not time_key and not target_key:
        time_key = 1
    most = act.target
    if target_key:
        high = output.travel[1] if isinstance(output, ServoRecord) else 200
        most = dice.choice((act.target, high, dice.randint(act.target, high)))
    most_ms = _more(dice, act.duration_ms) if time_key else 0
    return replace(act, drawn=DrawnOp(time_key, most_ms, target_key, most if target_key else 0))


def _drawn_wait(least: int, place: int) -> Delay:
    """A wait, which draws by dice of its own: the others fall as before."""
    own = Random(1000 * least + place)
    if least > rulebook.LONGEST_DURATION_MS or own.random() > 0.3:
        return Delay(least)
    return Delay(least, _more(own, least), own.randint(1, 255))


def _more(dice: Random, least: int) -> int:
    """At least so long."""
    return dice.choice(
        (
            least,
            min(65000, least + dice.choice((1, 20, 500))),
            65000 if least > 60000 else least + 3,
        )
    )


def _with_strands(dice: Random, cues: tuple[CueRecord, ...]) -> tuple[CueRecord, ...]:
    """Some of the cues are strands: as many as fit beside one another."""
    found: list[CueRecord] = []
    taken = threads = count = 0
    most = dice.choice((0, 0, 4, 8))
    for cue in cues:
        fits = not cue.outputs & taken and threads + cue.threads <= most and count < STRANDS
        if fits and dice.random() < 0.6:
            taken, threads, count = taken | cue.outputs, threads + cue.threads, count + 1
            cue = replace(cue, strand=True)
        found.append(cue)
    return tuple(found)


def _cues(dice: Random, outputs: int, threads: int) -> tuple[CueRecord, ...]:
    count = dice.choice((1, 2, 3, 6))
    tags = dice.sample(range(65536), count)
    found: list[CueRecord] = []
    for tag in tags:
        is_part = bool(found) and found[-1].lets_go
        reserved = dice.choice((1, 1, 2, 3, 4, 10))
        found.append(
            CueRecord(
                tag,
                dice.choice(
                    (2**outputs - 1, dice.randrange(2**outputs), dice.randrange(2**outputs))
                ),
                dice.choice((0, 0, 0, 1, 2)),
                min(reserved, found[-1].threads) if is_part else reserved,
                dice.randrange(threads),
                len(found) + 1 < count and dice.random() < 0.3,
            )
        )
    return tuple(found)


def _duration(dice: Random, least: int) -> int:
    pick: Callable[[], int] = dice.choice(
        (
            lambda: 10 * dice.randint(1, 60),
            lambda: dice.randint(1, 700),
            lambda: dice.choice((0, 1, 10, 19, 20, 21, 640, 650, 1600, 1610, 1700, 5600, 5700)),
            lambda: dice.choice((14079, 14080, 65000)) if dice.random() < 0.1 else 40,
        )
    )
    return max(least, pick())


def _wait(dice: Random) -> int:
    """Now and then longer than a board can wait at once."""
    if dice.random() < 0.05:
        return 1000 * dice.choice((66, 65, 130, 131, 3600, 65535))
    return _duration(dice, 0)


def _level(dice: Random) -> int:
    return dice.choice((0, 1, 16, 100, 199, 200, dice.randint(0, 200)))


def _near_edges(dice: Random, low: int, high: int) -> int:
    return dice.choice((low, high, dice.randint(low, high), dice.randint(high // 2, high)))
