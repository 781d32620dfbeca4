"""Bytes to a board's table (TABLE.md 1).

`decode` checks everything a board checks, in the same order, and raises nothing but TableError;
`decode(encode(table)) == table`.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from firmware_gen.chips import CHIPS_BY_ID, Chip, Job
from firmware_gen.crc import crc16
from firmware_gen.serial_rates import RADIO_BAUDS, is_made
from firmware_gen.table.layout import (
    ACTIVE_HIGH,
    ALONE,
    BAD_ADDRESS,
    BAD_CHIP,
    BAD_CODE,
    BAD_CRC,
    BAD_EXTENT,
    BAD_MAGIC,
    BAD_OUTPUT,
    BAD_PIN,
    BAD_RECORD,
    BAD_VERSION,
    BINDING,
    CLAIMS,
    COLOUR,
    CONFLICT,
    CONFLICTS,
    CRC_SIZE,
    CUE,
    FLAG,
    FOLLOWS,
    HEADER,
    INPUT,
    KINDS,
    KINDS_OF_PRESS,
    LAMP,
    LAW,
    LAW_ALPHA,
    LAW_BETA,
    LAW_IDS,
    LAW_PEAK,
    LEADS,
    LENGTH,
    LETS_GO,
    MAGIC,
    MANNER_STEP,
    MANNERS,
    NONE,
    ON_WHEN_SAFE,
    OUTPUT,
    OUTPUT_FIELDS,
    POINT,
    PRESS_STEP,
    SENSE,
    SERVO,
    SERVO_FIELDS,
    STRAND,
    STRIP,
    SWITCH,
    TRIMS,
    VERSION,
    Record,
    TableError,
)
from firmware_gen.table.records import (
    WITH_ALPHA,
    WITH_BETA,
    AnswersRecord,
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
from firmware_gen.table.senses import BY_NUMBER
from firmware_gen.table.sweep import Facts, OutputFacts, Sweep
from sim.rulebook import (
    ADDRESSES,
    ANSWERING,
    BANDS,
    BUTTONS,
    CHANNEL_RANGE,
    CHANNELS,
    LEVEL_MAX,
    PEAK_MIDDLE,
    SENSOR_ONE,
    SENSORS,
    STRANDS,
    THREADS,
    WORD_MAX,
)


def decode(data: bytes) -> Table:
    """The table in `data`.

    Raises TableError, with the reason that a board would give, and nothing else.
    """
    return _Decoder(bytes(data)).table()


class _Decoder:
    def __init__(self, data: bytes) -> None:
        self.data = data
        self.at = 0
        self.end = len(data) - CRC_SIZE

    def table(self) -> Table:
        header = self._header()
        colours_count = header["colours"]
        chip = CHIPS_BY_ID[header["chip"]]
        outputs = self._outputs(header["outputs"], colours_count, chip)
        colours = tuple(
            (one["red"], one["green"], one["blue"])
            for one in (self._record(COLOUR, f"colours[{n}]") for n in range(colours_count))
        )
        laws = tuple(self._law(f"laws[{n}]") for n in range(header["laws"]))
        inputs = tuple(self._input(f"inputs[{n}]") for n in range(header["inputs"]))
        bindings = tuple(
            self._binding(f"bindings[{n}]", header["cues"], chip) for n in range(header["bindings"])
        )
        rows = self._cues(header["cues"], len(outputs), header["role"])
        senses = self._senses(header, outputs)
        _check_pins(chip, outputs, inputs, senses)
        facts = Facts(tuple(map(_facts, outputs)), len(colours), len(laws))
        threads, index = Sweep(self.data, self.at, self.end, facts).threads()
        cues = tuple(_cue(row, f"cues[{n}]", index) for n, row in enumerate(rows))
        return Table(
            chip=header["chip"],
            address=header["address"],
            outputs=outputs,
            colours=colours,
            laws=laws,
            inputs=inputs,
            bindings=bindings,
            cues=cues,
            threads=threads,
            glide=header["glide"],
            lost=None if header["lost"] == NONE else header["lost"],
            lost_time=header["lost time"],
            stop_button=header["stop button"],
            stop_time=header["stop time"],
            enable_interval=header["enable interval"],
            show=header["show"],
            role=header["role"],
            senses=senses,
        )

    def _header(self) -> dict[str, int]:
        data = self.data
        if len(data) < HEADER.size + CRC_SIZE:
            raise TableError(
                LENGTH, "header", f"{len(data)} bytes are fewer than {HEADER.size + CRC_SIZE}"
            )
        raw = {
            field.name: value
            for field, value in zip(HEADER.fields, HEADER.format.unpack_from(data), strict=True)
        }
        faults = (
            (LENGTH, "length", raw["length"] != len(data)),
            (BAD_MAGIC, "magic", raw["magic"] != MAGIC),
            (BAD_VERSION, "version", raw["version"] != VERSION),
            (BAD_CRC, "crc", crc16(data[: self.end]) != int.from_bytes(data[self.end :], "little")),
            (BAD_CHIP, "chip", raw["chip"] not in CHIPS_BY_ID),
            (BAD_ADDRESS, "address", raw["address"] not in ADDRESSES),
        )
        for code, name, wrong in faults:
            if wrong:
                raise TableError(code, f"header.{name}", _HEADER_FAULTS[code])
        header = HEADER.unpack(data, 0, "header")
        lost = header["lost"]
        if lost != NONE and lost >= header["cues"]:
            raise TableError(BAD_EXTENT, "header.lost", f"there is no cue {lost}")
        if header["role"] == LEADS and not CHIPS_BY_ID[header["chip"]].leads:
            raise TableError(BAD_EXTENT, "header.role", "this chip cannot lead")
        if header["role"] == FOLLOWS and not CHIPS_BY_ID[header["chip"]].follows:
            raise TableError(BAD_EXTENT, "header.role", "this chip cannot follow")
        if header["senses"] and not CHIPS_BY_ID[header["chip"]].senses:
            raise TableError(BAD_EXTENT, "header.senses", "this chip has no senses")
        self.at = HEADER.size
        return header

    def _record(self, record: Record, path: str) -> dict[str, int]:
        self._need(record.size, path)
        values = record.unpack(self.data, self.at, path)
        self.at += record.size
        return values

    def _need(self, size: int, path: str) -> None:
        if self.at + size > self.end:
            raise TableError(BAD_EXTENT, path, "the record reaches beyond the table")

    def _outputs(self, count: int, colours: int, chip: Chip) -> tuple[OutputRecord, ...]:
        found: list[OutputRecord] = []
        for number in range(count):
            path = f"outputs[{number}]"
            found.append(self._output(path, colours))
            servos = sum(isinstance(one, ServoRecord) for one in found)
            strips = [one.pixels for one in found if isinstance(one, StripRecord)]
            if servos > chip.servos:
                raise TableError(BAD_OUTPUT, path, f"more than {chip.servos} servos")
            if len(strips) > chip.strips:
                raise TableError(BAD_OUTPUT, path, f"more than {chip.strips} strips")
            if sum(strips) > chip.pixels:
                raise TableError(BAD_OUTPUT, path, f"more than {chip.pixels} pixels")
        return tuple(found)

    def _output(self, path: str, colours: int) -> OutputRecord:
        self._need(1, path)
        first = self.data[self.at]
        kind, is_trimmed = first & ~FLAG, bool(first & FLAG)
        if kind not in KINDS or (is_trimmed and kind not in TRIMS):
            raise TableError(BAD_OUTPUT, f"{path}.kind", f"{first} is not a kind of output")
        points = self._points_ahead(path) if kind == SERVO else 0
        count = TRIMS[kind] if is_trimmed else 0
        self._need(OUTPUT.size + OUTPUT_FIELDS[kind].size + points * POINT.size + count, path)
        pin = self._record(OUTPUT, path)["pin"]
        values = self._record(OUTPUT_FIELDS[kind], path)
        trims = tuple(self.data[self.at : self.at + count])
        self.at += count
        if kind == SERVO:
            return self._servo(pin, values, path)
        if kind == LAMP:
            return LampRecord(pin, values["safe level"], trims)
        if kind == SWITCH:
            flags = values["flags"]
            return SwitchRecord(pin, bool(flags & ACTIVE_HIGH), bool(flags & ON_WHEN_SAFE))
        if values["safe colour"] >= colours:
            raise TableError(
                BAD_OUTPUT, f"{path}.safe colour", f"there is no colour {values['safe colour']}"
            )
        return StripRecord(
            *(pin, values["pixels"], values["order"], values["cap"], values["safe colour"]),
            trims,
        )

    def _points_ahead(self, path: str) -> int:
        self._need(OUTPUT.size + SERVO_FIELDS.size, path)
        return self.data[self.at + OUTPUT.size]

    def _servo(self, pin: int, values: dict[str, int], path: str) -> ServoRecord:
        points = tuple(
            (one["angle"], one["pulse"])
            for one in (self._record(POINT, f"{path}.points[{n}]") for n in range(values["points"]))
        )
        angles = [angle for angle, _ in points]
        pulses = [pulse for _, pulse in points]
        low, high, safe = values["travel low"], values["travel high"], values["safe angle"]
        if not _rising(angles):
            raise TableError(BAD_OUTPUT, f"{path}.points", "angles do not ascend")
        if not _rising(pulses) and not _rising(pulses[::-1]):
            raise TableError(BAD_OUTPUT, f"{path}.points", "pulses do not all rise or all fall")
        if not angles[0] <= low <= high <= angles[-1]:
            raise TableError(BAD_OUTPUT, f"{path}.travel", "the travel is not inside the points")
        if not low <= safe <= high:
            raise TableError(BAD_OUTPUT, f"{path}.safe angle", "it is outside the travel")
        limits = values["speed limit"], values["acceleration limit"]
        return ServoRecord(pin, (low, high), *limits, safe, points)

    def _law(self, path: str) -> LawRecord:
        self._need(1, path)
        first = self.data[self.at]
        law_id, skewed = first & ~FLAG, first >= FLAG
        LAW.unpack(bytes([law_id]), 0, path)
        if skewed and law_id == LAW_IDS["uniform"]:
            raise TableError(BAD_RECORD, path, "uniform is as fast everywhere: it has no peak")
        more = tuple(
            record
            for record, is_there in (
                (LAW_ALPHA, law_id in WITH_ALPHA),
                (LAW_BETA, law_id in WITH_BETA),
                (LAW_PEAK, skewed),
            )
            if is_there
        )
        self._need(LAW.size + sum(record.size for record in more), path)
        self.at += LAW.size
        values = {"alpha": 0, "beta": 0, "peak": PEAK_MIDDLE}
        for record in more:
            values |= self._record(record, path)
        return LawRecord(law_id, **values)

    def _input(self, path: str) -> InputRecord:
        values = self._record(INPUT, path)
        button = _button(values["button"], path)
        return InputRecord(values["pin"], button, bool(values["button"] & FLAG))

    def _binding(self, path: str, cues: int, chip: Chip) -> BindingRecord:
        values = self._record(BINDING, path)
        first, second = values["button"], values["cue"]
        if not chip.senses:  # it knows plain presses only
            button, kind, (cue, manner) = _button(first, path), 0, (second, 0)
        else:
            kind = (first & ~FLAG) // PRESS_STEP
            button = _button(first % PRESS_STEP, path)
            manner, cue = divmod(second, MANNER_STEP)
        if manner >= len(MANNERS):
            raise TableError(BAD_RECORD, f"{path}.cue", f"there is no manner {manner}")
        if cue >= cues:
            raise TableError(BAD_RECORD, f"{path}.cue", f"there is no cue {cue}")
        is_held = bool(first & FLAG)
        return BindingRecord(button, cue, is_held, KINDS_OF_PRESS[kind], *MANNERS[manner])

    def _sense(
        self, path: str, inputs: int, cues: int, outputs: Sequence[OutputRecord]
    ) -> SenseRecord:
        self._need(1, path)
        number = self.data[self.at]
        if number not in BY_NUMBER:
            raise TableError(BAD_RECORD, f"{path}.kind", f"{number} is not a kind of sense")
        kind = BY_NUMBER[number]
        self._need(SENSE.size + kind.layout.size, path)
        self.at += SENSE.size
        one = kind.made(self._record(kind.layout, path))
        _check_sense(one, path, inputs, cues, outputs)
        return one

    def _senses(
        self, header: dict[str, int], outputs: Sequence[OutputRecord]
    ) -> tuple[SenseRecord, ...]:
        """Sources stand before what uses them, and no more of a kind than a board holds."""
        found: list[SenseRecord] = []
        for number in range(header["senses"]):
            path = f"senses[{number}]"
            one = self._sense(path, header["inputs"], header["cues"], outputs)
            channels = sum(isinstance(other, ChannelRecord) for other in found)
            bands = sum(isinstance(other, BandRecord) for other in found)
            if isinstance(one, ChannelRecord) and channels == CHANNELS:
                raise TableError(BAD_RECORD, path, f"more than {CHANNELS} channels")
            if isinstance(one, BandRecord) and bands == BANDS:
                raise TableError(BAD_RECORD, path, f"more than {BANDS} bands")
            if isinstance(one, BandRecord) and one.channel >= channels:
                raise TableError(BAD_RECORD, f"{path}.channel", "its channel must come before it")
            sensors = sum(isinstance(other, SensorRecord) for other in found)
            if isinstance(one, SensorRecord) and sensors == SENSORS:
                raise TableError(BAD_RECORD, path, f"more than {SENSORS} sensors")
            if isinstance(one, WatchRecord) and any(isinstance(o, WatchRecord) for o in found):
                raise TableError(BAD_RECORD, path, "a second watch")
            if isinstance(one, FollowRecord):
                _check_follow(one, path, found, outputs)
            if isinstance(one, ShineRecord) and one.lamp in _followers(found):
                raise TableError(BAD_RECORD, f"{path}.lamp", "it follows something already")
            if isinstance(one, BarRecord) and any(
                isinstance(other, BarRecord) and other.strip == one.strip for other in found
            ):
                raise TableError(BAD_RECORD, f"{path}.strip", "it shows a level already")
            if isinstance(one, RadioRecord):
                _check_radio(one, path, found, header)
            if isinstance(one, AnswersRecord):
                _check_answers(one, path, found, header)
            if isinstance(one, ScaleRecord):
                _check_scale(one, path, found)
            found.append(one)
        return tuple(found)

    def _cues(self, count: int, outputs: int, role: int) -> list[dict[str, int]]:
        rows: list[dict[str, int]] = []
        for number in range(count):
            path = f"cues[{number}]"
            self._need(cue_size(role), path)
            row = self._record(CUE, path)
            row |= self._record(CLAIMS, path) if role == LEADS else {"claims": 0}
            flags = row["flags"]
            if row["tag"] in (other["tag"] for other in rows):
                raise TableError(BAD_RECORD, f"{path}.tag", f"{row['tag']} is used twice")
            if row["outputs"] >> outputs:
                raise TableError(BAD_RECORD, f"{path}.outputs", "it names an output too many")
            conflict_is_known = flags & 0x0F & ~(LETS_GO | STRAND) < len(CONFLICTS)
            if not conflict_is_known or not 1 <= flags >> 4 <= THREADS:
                raise TableError(BAD_RECORD, f"{path}.flags", f"{flags:#04x} is out of its limits")
            before = rows[-1]["flags"] if rows else 0
            if before & LETS_GO and flags >> 4 > before >> 4:
                raise TableError(BAD_RECORD, f"{path}.flags", "a part needs more than its cue")
            if flags & LETS_GO and number + 1 == count:
                raise TableError(BAD_RECORD, f"{path}.flags", "no cue is behind it to go on")
            rows.append(row)
            if flags & STRAND:
                _check_strand(path, [one for one in rows if one["flags"] & STRAND])
        return rows


def _check_sense(
    one: SenseRecord, path: str, inputs: int, cues: int, outputs: Sequence[OutputRecord]
) -> None:
    """What a sense must keep by itself, beyond the limits of its fields."""
    match one:
        case PatienceRecord(long_frames=0, twice=False):
            raise TableError(BAD_RECORD, f"{path}.long", "the button waits for nothing")
        case SettlingRecord() if one.input >= inputs:
            raise TableError(BAD_RECORD, f"{path}.input", f"there is no input {one.input}")
        case BandRecord() if one.low > one.high:
            raise TableError(BAD_RECORD, f"{path}.to", "the band ends before it begins")
        case FollowRecord() if one.low >= one.high:
            raise TableError(BAD_RECORD, f"{path}.to", "it is not more than where it begins")
        case WatchRecord() if one.low < one.stop:
            raise TableError(BAD_RECORD, f"{path}.low", "it is less than where the board stops")
        case WatchRecord() if one.cue is not None and one.cue >= cues:
            raise TableError(BAD_RECORD, f"{path}.cue", f"there is no cue {one.cue}")
        case ShineRecord():
            _check_output(one.lamp, LampRecord, f"{path}.lamp", outputs)
            _check_output(one.servo, ServoRecord, f"{path}.servo", outputs)
            if one.by_speed and one.low < 0:
                raise TableError(BAD_RECORD, f"{path}.from", "a speed below 0")
            if one.low >= one.high:
                raise TableError(BAD_RECORD, f"{path}.to", "it is not more than where it begins")
        case ScaleRecord() if one.cue >= cues:
            raise TableError(BAD_RECORD, f"{path}.cue", f"there is no cue {one.cue}")
        case BarRecord():
            _check_output(one.strip, StripRecord, f"{path}.strip", outputs)
            _check_output(one.lamp, LampRecord, f"{path}.lamp", outputs)


def _check_output(
    number: int, kind: type[OutputRecord], path: str, outputs: Sequence[OutputRecord]
) -> None:
    if number >= len(outputs) or not isinstance(outputs[number], kind):
        needed = {LampRecord: "lamp", ServoRecord: "servo", StripRecord: "strip"}[kind]
        raise TableError(BAD_RECORD, path, f"output {number} is not a {needed}")


def _check_strand(path: str, strands: Sequence[dict[str, int]]) -> None:
    """Whether the last of these strands fits the others; all keep what they have."""
    *others, last = strands
    if any(one["outputs"] & last["outputs"] for one in others):
        raise TableError(BAD_RECORD, f"{path}.outputs", "two strands share an output")
    threads = sum(one["flags"] >> 4 for one in strands)
    if threads > THREADS or len(strands) > STRANDS:
        raise TableError(BAD_RECORD, f"{path}.flags", "there is no room for so many strands")


def _check_radio(
    one: RadioRecord, path: str, before: Sequence[SenseRecord], header: dict[str, int]
) -> None:
    """A radio takes the place of a line that there is, at a rate that the chip makes."""
    chip = CHIPS_BY_ID[header["chip"]]
    if header["role"] == ALONE:
        raise TableError(BAD_RECORD, path, "there is no line between boards")
    if any(isinstance(other, RadioRecord) for other in before):
        raise TableError(BAD_RECORD, path, "a second radio")
    if any(isinstance(other, AnswersRecord) for other in before):
        raise TableError(BAD_RECORD, path, "nobody answers over a radio")
    if not is_made(chip.clock_hz, RADIO_BAUDS[one.rate]):
        raise TableError(BAD_RECORD, f"{path}.rate", f"{RADIO_BAUDS[one.rate]} baud is not made")


def _check_answers(
    one: AnswersRecord, path: str, before: Sequence[SenseRecord], header: dict[str, int]
) -> None:
    """A board that leads knows who answers it; one that follows, that it does itself."""
    own = one.address == header["address"]
    most = ANSWERING if header["role"] == LEADS else 1
    if header["role"] == ALONE:
        raise TableError(BAD_RECORD, path, "there is no line between boards")
    if own != (header["role"] == FOLLOWS):
        raise TableError(BAD_RECORD, f"{path}.address", "it is not who answers")
    if sum(isinstance(other, AnswersRecord) for other in before) == most:
        raise TableError(BAD_RECORD, path, f"more than {most}")
    if any(isinstance(other, RadioRecord) for other in before):
        raise TableError(BAD_RECORD, path, "nobody answers over a radio")


_HEADER_FAULTS: Final = {
    LENGTH: "it differs from the number of bytes",
    BAD_MAGIC: "this is not a table",
    BAD_VERSION: f"this table is of another version than {VERSION}",
    BAD_CRC: "the check sum does not match",
    BAD_CHIP: "this chip is unknown",
    BAD_ADDRESS: f"it is not within {ADDRESSES[0]} to {ADDRESSES[-1]}",
}

_JOBS: Final[dict[int, Job]] = {
    SERVO: "servo",
    LAMP: "lamp",
    STRIP: "strip",
    SWITCH: "switch",
}


def _check_source(
    one: FollowRecord | ScaleRecord, path: str, before: Sequence[SenseRecord]
) -> None:
    """A source stands before what it moves, and has these values."""
    sources = [other for other in before if isinstance(other, ChannelRecord | SensorRecord)]
    if one.source >= len(sources):
        raise TableError(BAD_RECORD, f"{path}.source", "its source must come before it")
    if isinstance(sources[one.source], SensorRecord):
        low, high = 0, SENSOR_ONE - 1
    else:
        low, high = CHANNEL_RANGE
    if not low <= one.low < one.high <= high:
        raise TableError(BAD_RECORD, f"{path}.from", f"it is not within {low} to {high}")


def _check_scale(one: ScaleRecord, path: str, before: Sequence[SenseRecord]) -> None:
    _check_source(one, path, before)
    if any(isinstance(other, ScaleRecord) and other.cue == one.cue for other in before):
        raise TableError(BAD_RECORD, f"{path}.cue", "it has a scale already")


def _check_follow(
    one: FollowRecord, path: str, before: Sequence[SenseRecord], outputs: Sequence[OutputRecord]
) -> None:
    _check_source(one, path, before)
    output = outputs[one.output] if one.output < len(outputs) else None
    if isinstance(output, ServoRecord):
        span, fastest = output.travel, (output.speed_limit, output.acceleration_limit)
    elif isinstance(output, LampRecord):
        span, fastest = (0, LEVEL_MAX), (WORD_MAX, 0)
    else:
        raise TableError(BAD_RECORD, f"{path}.output", "it is neither a servo nor a lamp")
    if not all(span[0] <= end <= span[1] for end in (one.at_low, one.at_high)):
        raise TableError(BAD_RECORD, f"{path}.at from", f"it is not within {span[0]} to {span[1]}")
    least = min(1, fastest[1])
    if one.speed > fastest[0] or not least <= one.acceleration <= fastest[1]:
        raise TableError(BAD_RECORD, f"{path}.speed", f"more than {fastest}, or no acceleration")
    if one.output in _followers(before):
        raise TableError(BAD_RECORD, f"{path}.output", "it follows something already")


def _followers(senses: Sequence[SenseRecord]) -> set[int]:
    """The outputs that follow something, a move or a source."""
    shining = {one.lamp for one in senses if isinstance(one, ShineRecord)}
    return shining | {one.output for one in senses if isinstance(one, FollowRecord)}


def _check_pins(
    chip: Chip,
    outputs: Sequence[OutputRecord],
    inputs: Sequence[InputRecord],
    senses: Sequence[SenseRecord],
) -> None:
    jobs: list[tuple[str, int, Job]] = [
        (f"outputs[{n}].pin", one.pin, _JOBS[kind_of(one)]) for n, one in enumerate(outputs)
    ]
    jobs += [(f"inputs[{n}].pin", one.pin, "input") for n, one in enumerate(inputs)]
    jobs += [
        (f"senses[{n}].pin", one.pin, "channel" if isinstance(one, ChannelRecord) else "sensor")
        for n, one in enumerate(senses)
        if isinstance(one, ChannelRecord | SensorRecord | WatchRecord) and one.pin is not None
    ]
    lamps = {pin for _, pin, job in jobs if job == "lamp"}
    used: set[int] = set()
    for path, pin, job in jobs:
        if pin not in chip.pins_for(job):
            raise TableError(BAD_PIN, path, f"{chip.pin_name(pin)} cannot be a {job}")
        if pin in used:
            raise TableError(BAD_PIN, path, f"{chip.pin_name(pin)} is used twice")
        if job == "channel" and chip.channels[pin][1] & lamps:
            raise TableError(BAD_PIN, path, f"a lamp has the timer of {chip.pin_name(pin)}")
        used.add(pin)


def _facts(output: OutputRecord) -> OutputFacts:
    travel = output.travel if isinstance(output, ServoRecord) else (0, 0)
    return OutputFacts(kind_of(output), travel)


def _cue(row: dict[str, int], path: str, index: dict[int, int]) -> CueRecord:
    if row["offset"] not in index:
        raise TableError(BAD_CODE, f"{path}.offset", f"no thread starts at {row['offset']}")
    flags = row["flags"]
    start, lets_go, is_strand = index[row["offset"]], bool(flags & LETS_GO), bool(flags & STRAND)
    conflict, threads = flags & CONFLICT, flags >> 4
    return CueRecord(
        *(row["tag"], row["outputs"], conflict, threads, start, lets_go, is_strand, row["claims"])
    )


def _button(value: int, path: str) -> int:
    button = value & ~FLAG
    if button not in BUTTONS:
        raise TableError(BAD_RECORD, f"{path}.button", f"{button} is not within 1 to {BUTTONS[-1]}")
    return button


def _rising(values: Sequence[int]) -> bool:
    return all(one < other for one, other in pairwise(values))
