"""A byte table in words: what lies at each offset, and which statement asked for it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeVar

from firmware_gen.chips import CHIPS_BY_ID, Chip
from firmware_gen.compiler.show import CompiledBoard
from firmware_gen.serial_rates import RADIO_BAUDS
from firmware_gen.table.decode import decode
from firmware_gen.table.encode import Encoded, encode_with_places
from firmware_gen.table.layout import (
    BAD_CODE,
    BINDING,
    COLOUR,
    CONFLICTS,
    CRC_SIZE,
    EFFECTS,
    FOLLOWS,
    INPUT,
    LAW,
    LAW_ALPHA,
    LAW_BETA,
    LAW_PEAK,
    LAWS_BY_ID,
    LEADS,
    LOOP_FOREVER,
    LOOP_HELD,
    ORDERS,
    OUTPUT,
    OUTPUT_FIELDS,
    POINT,
    SENSE,
    TableError,
)
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
from firmware_gen.table.records import (
    AnswersRecord,
    BandRecord,
    BarRecord,
    BindingRecord,
    ChannelRecord,
    CueRecord,
    FollowRecord,
    LampRecord,
    LawRecord,
    OutputRecord,
    PatienceRecord,
    RadioRecord,
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
    cue_size,
    kind_of,
)
from firmware_gen.table.senses import sense_kind
from sim import rulebook
from sim.model import NO_MARK, Output, Servo
from sim.rig.slide import of_part
from sim.rulebook import (
    ANGLE_STEPS_PER_DEG,
    LEVEL_STEPS_PER_PCT,
    PULSE_STEPS_PER_US,
    SENSOR_ONE,
    SETTLE_MS,
)

__all__ = ["ListingLine", "Names", "TableError", "disassemble", "disassemble_board", "listing"]

_BYTES_SHOWN: Final = 8
_Row = TypeVar("_Row")


@dataclass(frozen=True, slots=True)
class Names:
    """What the table itself does not know: names and units, in the table's order."""

    outputs: tuple[str, ...] = ()
    cues: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    """Of the places of servos' parts; degrees where none is known."""

    def unit(self, number: int) -> str:
        return self.units[number] if number < len(self.units) else "deg"

    def output(self, number: int) -> str:
        return self.outputs[number] if number < len(self.outputs) else f"output {number}"

    def cue(self, number: int) -> str:
        return self.cues[number] if number < len(self.cues) else f"cue {number}"


@dataclass(frozen=True, slots=True)
class ListingLine:
    """One record or op."""

    offset: int
    data: bytes
    text: str
    section: str
    depth: int = 0
    """Loops that it stands in."""
    mark: int = NO_MARK


def disassemble(
    data: bytes, names: Names | None = None, marks: Mapping[int, int] | None = None
) -> tuple[ListingLine, ...]:
    """The lines of a table. `marks`: statements' marks by offset of the op.

    Raises TableError for bytes that are not a valid table. Bytes that an encoder would write
    otherwise (a duration in more bytes than it takes) are refused too, as a CODE fault.
    """
    table = decode(data)
    encoded = encode_with_places(table)
    if encoded.data != data:
        raise TableError(BAD_CODE, "code", "the table is valid, but not in its shortest form")
    return _Disassembler(table, encoded, names or Names(), marks or {}).lines()


def disassemble_board(board: CompiledBoard) -> tuple[ListingLine, ...]:
    """The lines of a compiled board, with names and marks."""
    names = Names(
        tuple(output.name for output in board.outputs),
        tuple(cue.name for cue in board.cues),
        tuple(_unit(output) for output in board.outputs),
    )
    return disassemble(board.data, names, dict(board.marks))


def words_of_ops(table: Table, names: Names) -> Callable[[TableOp], str]:
    """How the listing of this table calls an op."""
    return _Disassembler(table, encode_with_places(table), names, {}).op


def sense_in_words(one: SenseRecord, chip: Chip, names: Names) -> str:
    match one:
        case PatienceRecord(button, long_frames, twice):
            ways = [f"long after {long_frames} frames"] if long_frames else []
            return f"button {button}: {', '.join([*ways, *(['twice'] if twice else [])])}"
        case SettlingRecord(number, times):
            return f"input {number}: settles in {times * SETTLE_MS} ms"
        case ChannelRecord(pin):
            return f"channel on {chip.pin_name(pin)}"
        case BandRecord(channel, low, high, button):
            us = [f"{end / PULSE_STEPS_PER_US:g} us" for end in (low, high)]
            return f"channel {channel}: button {button} from {us[0]} to {us[1]}"
        case SensorRecord(pin, quiet, rise, fall):
            below = f"quiet below {_part(quiet)}; " if quiet else ""
            pace = f"up {_share(rise)} a frame, down {_share(fall)}"
            return f"sensor on {chip.pin_name(pin)}: {below}{pace}"
        case RadioRecord(rate, late):
            later = f"{late / rulebook.CLOCK_PER_MS:.3g} ms later than a cable"
            return f"radio in place of the line: {RADIO_BAUDS[rate]} baud, {later}"
        case AnswersRecord(address):
            return f"board {address} answers the board that leads"
        case WatchRecord(pin, scale, low, stop, cue):
            at = f"by the chip's own reference of {scale} mV"
            if pin is not None:
                at = f"on {chip.pin_name(pin)}, {scale} mV at the full reading"
            warns = "" if cue is None else f", then {names.cue(cue)}"
            return f"battery {at}: low below {low} mV{warns}; stops below {stop} mV"
        case FollowRecord():
            return f"output {one.output} follows source {one.source}"
        case ScaleRecord():
            return f"cue {names.cue(one.cue)} goes as far as source {one.source} says"
        case BarRecord():
            return f"{names.output(one.strip)} {bar_in_words(one, names)}"
        case ShineRecord():
            return f"{names.output(one.lamp)} {shining_in_words(one, names)}"


def _part(value: int) -> str:
    """A sensor's value."""
    return f"{100 * value / SENSOR_ONE:.3g} %"


def _share(way: int) -> str:
    """How much of its way a sensor's value takes in a frame."""
    return f"{100 * way / rulebook.SHARE_ONE:.3g} %" if way else "all"


def _pct_s(speed: int) -> float:
    """How fast a lamp's level may change, in percent a second, of 1/256 of a step a frame."""
    return speed / 256 / LEVEL_STEPS_PER_PCT * 1000.0 / rulebook.FRAME_MS


def shining_in_words(one: ShineRecord, names: Names) -> str:
    """What a lamp follows, as a line of the language."""
    steps, unit = ANGLE_STEPS_PER_DEG, names.unit(one.servo) or "deg"
    if one.by_speed:
        steps, unit = 1, f"{unit}/s"
    low, high = (f"{end / steps:g} {unit}" for end in (one.low, one.high))
    dark, light = (f"{n / LEVEL_STEPS_PER_PCT:g} %" for n in (one.low_level, one.high_level))
    return f"follows {names.output(one.servo)} from {low} to {high}, {dark} to {light}"


def bar_in_words(one: BarRecord, names: Names) -> str:
    """What a strip shows, as a line of the language."""
    begins = f" from {rulebook.BAR_ENDS[one.end]}" if one.end else ""
    return f"shows {names.output(one.lamp)}{begins}"


def _unit(output: Output) -> str:
    return of_part(output).place if isinstance(output, Servo) else ""


def listing(lines: Sequence[ListingLine], where: Callable[[int], str] = lambda mark: "") -> str:
    """Aligned text: offset, bytes, meaning, and where a mark points to in the text."""
    rows: list[tuple[str, str, str, str]] = []
    section = ""
    for line in lines:
        if line.section != section:
            section = line.section
            rows.append(("", "", f"-- {section}", ""))
        pieces = [line.data[i : i + _BYTES_SHOWN] for i in range(0, len(line.data), _BYTES_SHOWN)]
        text = "  " * line.depth + line.text
        place = where(line.mark) if line.mark != NO_MARK else ""
        rows.append((f"{line.offset:04x}", pieces[0].hex(" "), text, place))
        rows += [
            (f"{line.offset + _BYTES_SHOWN * n:04x}", piece.hex(" "), "", "")
            for n, piece in enumerate(pieces[1:], start=1)
        ]
    width = max((len(text) for _, _, text, place in rows if place), default=0)
    return "\n".join(
        f"{offset:4}  {data:{3 * _BYTES_SHOWN - 1}}  {text:{width}}  {place}".rstrip()
        for offset, data, text, place in rows
    )


@dataclass(slots=True)
class _Disassembler:
    table: Table
    encoded: Encoded
    names: Names
    marks: Mapping[int, int]
    found: list[ListingLine] = field(default_factory=list)

    def lines(self) -> tuple[ListingLine, ...]:
        table, chip = self.table, CHIPS_BY_ID[self.table.chip]
        self._put("header", 0, self.encoded.sections["header"][1], self._header())
        self._rows("outputs", table.outputs, self._output, _output_size)
        self._rows("colours", table.colours, _colour, lambda _: COLOUR.size)
        self._rows("laws", table.laws, _law, _law_size)
        self._rows(
            "inputs",
            table.inputs,
            lambda n, one: (
                f"button {one.button} on {chip.pin_name(one.pin)}, active "
                f"{'low' if one.active_low else 'high'}"
            ),
            lambda _: INPUT.size,
        )
        self._rows(
            "bindings",
            table.bindings,
            self._binding,
            lambda _: BINDING.size,
        )
        self._rows("cues", table.cues, self._cue, lambda _: cue_size(table.role))
        self._rows(
            "senses",
            table.senses,
            lambda _, one: (
                self._follow(one)
                if isinstance(one, FollowRecord)
                else self._scale(one)
                if isinstance(one, ScaleRecord)
                else sense_in_words(one, chip, self.names)
            ),
            lambda one: SENSE.size + sense_kind(one).layout.size,
        )
        self._code()
        start, end = self.encoded.sections["crc"]
        crc = int.from_bytes(self.encoded.data[start:end], "little")
        self._put("check sum", start, start + CRC_SIZE, f"CRC {crc:#06x}")
        return tuple(self.found)

    def _binding(self, _: int, one: BindingRecord) -> str:
        press = {"down": "", "long": " long", "twice": " twice", "up": " let go"}[one.kind]
        listed = "next: " if one.manner == "next" else ""
        toggle = ", or end it" if one.ends else ", or let it go"
        behind = toggle if one.manner == "toggle" else ""
        held = " while held" if one.while_held else ""
        return f"button {one.button}{press}: {listed}go {self.names.cue(one.cue)}{held}{behind}"

    def _values(self, one: FollowRecord | ScaleRecord) -> list[str]:
        """Both values of a source."""
        sources = [o for o in self.table.senses if isinstance(o, ChannelRecord | SensorRecord)]
        if isinstance(sources[one.source], ChannelRecord):
            return [f"{end / PULSE_STEPS_PER_US:g} us" for end in (one.low, one.high)]
        return [_part(end) for end in (one.low, one.high)]

    def _scale(self, one: ScaleRecord) -> str:
        """A cue that goes as far as a source says."""
        values = self._values(one)
        at_low, at_high, otherwise = map(level_words, (one.at_low, one.at_high, one.otherwise))
        return (
            f"cue {self.names.cue(one.cue)} goes as far as source {one.source} says: "
            f"from {values[0]} to {values[1]}, {at_low} to {at_high}, else {otherwise}"
        )

    def _follow(self, one: FollowRecord) -> str:
        """An output that goes where a source stands, in the units of both."""
        from_to = self._values(one)
        if isinstance(self.table.outputs[one.output], ServoRecord):
            unit = self.names.unit(one.output)
            most = f"{one.speed} {unit}/s, {one.acceleration} {unit}/s2"
            ends = [place_words(end, unit) for end in (one.at_low, one.at_high)]
        else:
            most = f"{_pct_s(one.speed):.3g} %/s"
            ends = [level_words(end) for end in (one.at_low, one.at_high)]
        mixed = ", mixed with idle" if one.mixed else ""
        return (
            f"{self.names.output(one.output)} follows source {one.source}: "
            f"{from_to[0]} to {from_to[1]}, {ends[0]} to {ends[1]}{mixed}; at most {most}"
        )

    def _put(
        self, section: str, start: int, end: int, text: str, depth: int = 0, mark: int = NO_MARK
    ) -> None:
        data = self.encoded.data[start:end]
        self.found.append(ListingLine(start, data, text, section, depth, mark))

    def _rows(
        self,
        section: str,
        rows: Sequence[_Row],
        words: Callable[[int, _Row], str],
        size: Callable[[_Row], int],
    ) -> None:
        at = self.encoded.sections[section][0]
        for number, row in enumerate(rows):
            self._put(section, at, at + size(row), words(number, row))
            at += size(row)

    def _header(self) -> str:
        table = self.table
        parts = [
            f"{CHIPS_BY_ID[table.chip].title}, address {table.address}",
            f"show {table.show:08x}",
        ]
        parts += {LEADS: ["leads"], FOLLOWS: ["follows"]}.get(table.role, [])
        strands = [self.names.cue(n) for n, cue in enumerate(table.cues) if cue.strand]
        if strands:
            glide = time_words(rulebook.GLIDE_STEP_MS * table.glide)
            parts.append(f"idle: go {', '.join(strands)}, back in {glide}")
        if table.lost is not None and table.lost_time:
            lost = self.names.cue(table.lost)
            parts.append(f"lost {time_words(rulebook.LOST_STEP_MS * table.lost_time)}: go {lost}")
        if table.stop_button:
            parts.append(f"stop button {table.stop_button}")
        parts.append(f"stop in {time_words(rulebook.STOP_STEP_MS * table.stop_time)}")
        parts.append(f"a servo every {time_words(rulebook.FRAME_MS * table.enable_interval)}")
        return "; ".join(parts)

    def _output(self, number: int, output: OutputRecord) -> str:
        name = self.names.output(number)
        pin = CHIPS_BY_ID[self.table.chip].pin_name(output.pin)
        match output:
            case ServoRecord():
                unit = self.names.unit(number)
                points = ", ".join(
                    f"{p / rulebook.PULSE_STEPS_PER_US:g} us at {place_words(a, unit)}"
                    for a, p in output.points
                )
                low, high = output.travel
                return (
                    f"servo {name}, pin {pin}: {points}; travel {place_words(low, unit)} "
                    f"to {place_words(high, unit)}; at most {output.speed_limit} {unit}/s, "
                    f"{output.acceleration_limit} {unit}/s2; safe {place_words(output.safe, unit)}"
                )
            case LampRecord():
                return f"lamp {name}, pin {pin}: safe {level_words(output.safe)}{_trims(output)}"
            case StripRecord():
                cap = f", cap {rulebook.CAP_STEP * output.cap}" if output.cap else ""
                return (
                    f"strip {name}, pin {pin}: {output.pixels} pixels, order "
                    f"{ORDERS[output.order]}{cap}; safe colour {output.safe}{_trims(output)}"
                )
            case SwitchRecord():
                return (
                    f"switch {name}, pin {pin}: active {'high' if output.active_high else 'low'}; "
                    f"safe {'on' if output.safe else 'off'}"
                )

    def _cue(self, number: int, cue: CueRecord) -> str:
        used = [
            self.names.output(n) for n in range(len(self.table.outputs)) if cue.outputs >> n & 1
        ]
        busy = ", strand of idle" if cue.strand else ""
        busy += "" if cue.conflict == 0 else f", if busy {CONFLICTS[cue.conflict]}"
        threads = f"{cue.threads} thread{'s' if cue.threads > 1 else ''}"
        part = ", when let go the next" if cue.lets_go else ""
        drives = ", ".join(used) or "nothing"
        drives += f", claims {cue.claims:#06x}" if cue.claims else ""
        return (
            f"cue {self.names.cue(number)}: tag {cue.tag:04x}, {threads}{busy}{part}, "
            f"at {self.encoded.places[cue.start][0]:04x}; drives {drives}"
        )

    def _code(self) -> None:
        starts: dict[int, list[str]] = {}
        for number, cue in enumerate(self.table.cues):
            starts.setdefault(cue.start, []).append(self.names.cue(number))
        for index, thread in enumerate(self.table.threads):
            cues = starts.get(index)
            title = f"cue {', '.join(cues)}" if cues else "thread"
            section = f"{title}, from {self.encoded.places[index][0]:04x}"
            places = self.encoded.places[index]
            depth = 0
            for at, op in enumerate(thread):
                depth -= isinstance(op, LoopBack)
                mark = self.marks.get(places[at], NO_MARK)
                self._put(section, places[at], places[at + 1], self.op(op), depth, mark)
                depth += isinstance(op, Loop)
            if places[-2] < places[-1]:
                self._put(section, places[-2], places[-1], "end")

    def op(self, op: TableOp) -> str:
        match op:
            case ActOp():
                return self._act(op)
            case Turn():
                return f"{self.names.output(op.output)} {'on' if op.on else 'off'}"
            case Delay():
                most_ms = op.most_ms if op.key else None
                return f"hold {_times(op.duration_ms, most_ms)}{_keys(op.key)}"
            case Loop():
                return _loop(op.times)
            case LoopBack():
                return "again"
            case ForkTo():
                return f"fork to {self.encoded.places[op.thread][0]:04x}"
            case GoOnTo():
                return f"go on at {self.encoded.places[op.thread][0]:04x}"
            case CallTo():
                return f"call {self.encoded.places[op.thread][0]:04x}"
            case ChooseTo():
                places = (f"{self.encoded.places[one][0]:04x}" for one in op.threads)
                return f"call one of {', '.join(places)}{_keys(op.key)}"
            case Modulate():
                return f"{self.names.output(op.output)} {_effect(op)}"

    def _act(self, op: ActOp) -> str:
        name, output = self.names.output(op.output), self.table.outputs[op.output]
        one = op.drawn or DrawnOp()
        most = f" .. {self._goal(op.output, one.most)}" if one.target_key else ""
        goal = f"{self._goal(op.output, op.target)}{most}"
        match output:
            case ServoRecord():
                goal = f"to {goal}"
            case _:
                goal = f"fade to {goal}"
        law = f", {_law(op.law, self.table.laws[op.law])}" if op.law is not None else ""
        lasts = _times(op.duration_ms, one.most_ms if one.time_key else None)
        after = f"; hold {lasts}" if op.wait else ""
        keys = _keys(one.time_key, one.target_key)
        return f"{name} {goal} in {lasts}{law}{after}{keys}"

    def _goal(self, number: int, target: int) -> str:
        match self.table.outputs[number]:
            case ServoRecord():
                return place_words(target, self.names.unit(number))
            case StripRecord():
                return f"colour {target}"
            case _:
                return level_words(target)


def _times(least_ms: int, most_ms: int | None) -> str:
    return time_words(least_ms) + ("" if most_ms is None else f" .. {time_words(most_ms)}")


def _keys(*keys: int) -> str:
    """By which numbers are drawn; nothing where none are."""
    drawn = dict.fromkeys(str(key) for key in keys if key)
    return f"; drawn by {' and '.join(drawn)}" if drawn else ""


def time_words(duration_ms: int) -> str:
    """`260 ms`, `1.5 s`."""
    return f"{duration_ms} ms" if duration_ms < 1000 else f"{duration_ms / 1000:g} s"


def place_words(place: int, unit: str) -> str:
    """A place in steps of 0.01 of its unit: `4 deg`, `12.5 mm`."""
    return f"{place / rulebook.ANGLE_STEPS_PER_DEG:g} {unit}"


def _loop(times: int) -> str:
    if times == LOOP_FOREVER:
        return "repeat for ever"
    return "repeat while held" if times == LOOP_HELD else f"repeat {times} times"


def _effect(op: Modulate) -> str:
    if op.kind == 0:
        return EFFECTS[0]
    return (
        f"{EFFECTS[op.kind]} every {time_words(op.period_ms)}, depth {level_words(op.depth)}, "
        f"seed {op.seed}, width {op.width}"
    )


def level_words(level: int) -> str:
    return f"{level / rulebook.LEVEL_STEPS_PER_PCT:g}%"


def _colour(number: int, colour: tuple[int, int, int]) -> str:
    red, green, blue = map(level_words, colour)
    return f"colour {number}: red {red}, green {green}, blue {blue}"


def _law(number: int, law: LawRecord) -> str:
    shares = [f"{share / rulebook.SHARE_ONE:.4g}" for share in (law.alpha, law.beta) if share]
    words = " ".join([LAWS_BY_ID[law.law_id], ", ".join(shares)]).strip()
    if law.peak == rulebook.PEAK_MIDDLE:
        return words
    return f"{words}, fastest at {100 * law.peak / rulebook.SHARE_ONE:.3g} %"


def _law_size(law: LawRecord) -> int:
    peak = LAW_PEAK.size * (law.peak != rulebook.PEAK_MIDDLE)
    return LAW.size + LAW_ALPHA.size * bool(law.alpha) + LAW_BETA.size * bool(law.beta) + peak


def _output_size(output: OutputRecord) -> int:
    size = OUTPUT.size + OUTPUT_FIELDS[kind_of(output)].size
    if isinstance(output, ServoRecord):
        size += POINT.size * len(output.points)
    return size + (len(output.trims) if isinstance(output, LampRecord | StripRecord) else 0)


def _trims(light: LampRecord | StripRecord) -> str:
    """What a light gives of its light, where that is not all."""
    if not light.trims:
        return ""
    shares = (f"{100 * (trim + 1) / rulebook.TRIM_ONE:.4g} %" for trim in light.trims)
    return f"; trimmed to {', '.join(shares)}"
