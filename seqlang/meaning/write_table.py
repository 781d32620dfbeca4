"""A board's table as text: what a maker without the show's file gets back from the board.

A table holds what a board needs to play. What only the checks need (ratings, loads, supplies) is
not in it, and names only come from the show's file. Comments say what to fill in; what cannot be
said in statements stands in comments, in the words of the listing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from textwrap import wrap
from typing import Final, assert_never

from firmware_gen.chips import CHIPS_BY_ID, Chip
from firmware_gen.compiler.show import CompiledBoard
from firmware_gen.listing.disassemble import (
    Names,
    disassemble,
    sense_in_words,
    words_of_ops,
)
from firmware_gen.listing.statements import (
    NotBackError,
    Statements,
    is_remark,
    statements,
    strip_light,
)
from firmware_gen.table.decode import decode
from firmware_gen.table.layout import CONFLICTS, FOLLOWS, LEADS, ORDERS
from firmware_gen.table.records import (
    AnswersRecord,
    BandRecord,
    BarRecord,
    BindingRecord,
    ChannelRecord,
    CueRecord,
    FollowRecord,
    LampRecord,
    OutputRecord,
    PatienceRecord,
    RadioRecord,
    ScaleRecord,
    SensorRecord,
    ServoRecord,
    SettlingRecord,
    ShineRecord,
    StripRecord,
    SwitchRecord,
    Table,
    WatchRecord,
)
from seqlang.meaning.write_follows import (
    follow_of,
    is_slower,
    radio_of,
    scaling_of,
    sensor_of,
    shine_of,
)
from seqlang.meaning.write_numbers import INDENT, percent, quantity
from seqlang.meaning.write_score import scaling_words, started_lines, step_lines
from seqlang.meaning.write_show import (
    bar_line,
    channel_lines,
    follow_line,
    input_line,
    plug,
    radio_line,
    safe_pose_lines,
    sensor_lines,
    shine_line,
)
from seqlang.text.format import formatted
from seqlang.text.source import Source
from sim.model import (
    Band,
    Binding,
    Board,
    CalibrationPoint,
    Channel,
    Cue,
    Follow,
    Input,
    InTurn,
    Lamp,
    LevelBar,
    Load,
    OneOf,
    Output,
    Repeat,
    Rig,
    Score,
    Sensor,
    Servo,
    Shine,
    Show,
    Slide,
    Step,
    Strip,
    Switch,
    Together,
    part_name,
)
from sim.rig.slide import of_part
from sim.rulebook import (
    ANGLE_STEPS_PER_DEG,
    CAP_STEP,
    CHANNEL_MAX,
    FRAME_MS,
    GLIDE_STEP_MS,
    LEVEL_STEPS_PER_PCT,
    LOST_STEP_MS,
    PULSE_STEPS_PER_US,
    SETTLE_MS,
    SHORTEST_LONG_PRESS_MS,
    STOP_STEP_MS,
    TRIM_ONE,
)
from sim.score.draws import draws_time
from sim.score.program import Patience
from sim.score.threads import patience
from sim.score.tree import acts

_COLUMNS: Final = 96
_LEAST_SHARE: Final = 0.01
"""Of its light, that a light gives: no text says less."""
_KINDS: Final = {
    ServoRecord: "servo",
    LampRecord: "lamp",
    StripRecord: "strip",
    SwitchRecord: "switch",
}
_RATING: Final = "rating SPEED, TORQUE, CURRENT at VOLTAGE, and the servo's load, limits and gear"


@dataclass(frozen=True, slots=True)
class TableText:
    """A table as text, and as a show of one board without ratings and supplies."""

    text: str
    show: Show
    left_out: tuple[str, ...]
    """Cues that do not go back, by name; they stand in comments."""
    waiting: tuple[str, ...] = ()
    """Cues of a board that leads that move nothing there: they need the texts of other boards."""


def text_of_table(data: bytes, board: CompiledBoard | None = None) -> TableText:
    """The text of a table. `board`: the same table compiled from its file, for the names.

    Raises TableError for bytes that are not a valid table.
    """
    return _TableWriter(data, decode(data), board).written()


class _TableWriter:
    def __init__(self, data: bytes, table: Table, board: CompiledBoard | None) -> None:
        self.data, self.table, self.source = data, table, board
        self.chip: Chip = CHIPS_BY_ID[table.chip]
        self.board = board.name if board else f"board_{table.address}"
        self.names = self._names()
        self.outputs = tuple(
            self._output(number, record) for number, record in enumerate(table.outputs)
        )
        self.rig = Rig(
            boards=(self._board(),),
            outputs=self.outputs,
            inputs=self._inputs(),
            channels=self._channels(),
            sensors=self._sensors(),
        )
        self.follows = self._follows()
        self.shines = self._shines()
        self.bars = tuple(
            LevelBar(self.outputs[one.strip].name, self.outputs[one.lamp].name, one.end)
            for one in self.table.senses
            if isinstance(one, BarRecord)
        )
        self.rig = replace(
            self.rig,
            follows=tuple(self.follows.values()),
            shines=tuple(self.shines.values()),
            bars=self.bars,
        )
        self.said: dict[int, Statements] = {}
        self.why: dict[int, str] = {}
        """Of cues that do not go back."""

    @property
    def waiting(self) -> list[int]:
        """Cues that hold outputs of other boards alone."""
        return [
            number
            for number, said in self.said.items()
            if self.table.cues[number].claims and not any(True for _ in acts(said.body))
        ]

    def written(self) -> TableText:
        self._read_cues()
        score = self._score()
        lines = [*self._head(), *self._rig_lines(), *self._cue_lines(score), *self._starts(score)]
        text = formatted(Source("table.cues", "\n".join(lines) + "\n")).text
        left_out = tuple(self.names.cue(number) for number in self.why)
        waiting = tuple(self.names.cue(number) for number in self.waiting)
        return TableText(text, Show(self.rig, score), left_out, waiting)

    # -- names ------------------------------------------------------------------------------------

    def _names(self) -> Names:
        if self.source is not None:
            return Names(
                tuple(one.name for one in self.source.outputs),
                tuple(one.name for one in self.source.cues),
                tuple(
                    of_part(one).place if isinstance(one, Servo) else ""
                    for one in self.source.outputs
                ),
            )
        outputs = tuple(
            f"{_KINDS[type(one)]}_{self.chip.pin_name(one.pin)}" for one in self.table.outputs
        )
        cues: list[str] = []
        for number, cue in enumerate(self.table.cues):
            is_part = number > 0 and self.table.cues[number - 1].lets_go
            cues.append(part_name(cues[-1]) if is_part else f"cue_{cue.tag:04x}")
        return Names(outputs, tuple(cues))

    def _is_part(self, number: int) -> bool:
        return number > 0 and self.table.cues[number - 1].lets_go

    # -- the rig ----------------------------------------------------------------------------------

    def _output(self, number: int, record: OutputRecord) -> Output:
        name, board, pin = self.names.output(number), self.board, record.pin
        match record:
            case ServoRecord():
                points = tuple(
                    CalibrationPoint(a / ANGLE_STEPS_PER_DEG, p / PULSE_STEPS_PER_US)
                    for a, p in record.points
                )
                low, high = (one / ANGLE_STEPS_PER_DEG for one in record.travel)
                unit = self.names.unit(number)
                load = Load(slide=Slide() if unit == "mm" else None, spins=unit == "rpm")
                return Servo(
                    *(name, board, pin, points, (low, high), ()),
                    load=load,
                    safe_deg=record.safe / ANGLE_STEPS_PER_DEG,
                    accel_deg_s2=None if load.spins else float(record.acceleration_limit),
                )
            case LampRecord():
                safe = record.safe / LEVEL_STEPS_PER_PCT
                return Lamp(name, board, pin, safe_pct=safe, trims=_shares(record.trims))
            case StripRecord():
                light, _ = strip_light(self.table.colours[record.safe])
                plain = Strip(name, board, pin, record.pixels, ORDERS[record.order], safe=light)
                cap = (record.cap + 0.5) * CAP_STEP / CHANNEL_MAX * plain.channel_a
                cap_a = round(cap, 4) if record.cap else None
                return replace(plain, cap_a=cap_a, trims=_shares(record.trims))
            case SwitchRecord():
                return Switch(name, board, pin, record.active_high, record.safe)
            case _:
                assert_never(record)

    def _inputs(self) -> tuple[Input, ...]:
        settles = {
            one.input: one.times * SETTLE_MS
            for one in self.table.senses
            if isinstance(one, SettlingRecord)
        }
        return tuple(
            Input(
                *(one.button, self.board, one.pin, one.active_low),
                settle_ms=settles.get(number, SETTLE_MS),
            )
            for number, one in enumerate(self.table.inputs)
        )

    def _channels(self) -> tuple[Channel, ...]:
        senses = self.table.senses
        pins = [one.pin for one in senses if isinstance(one, ChannelRecord)]
        bands = [one for one in senses if isinstance(one, BandRecord)]
        return tuple(
            Channel(
                *(f"channel_{self.chip.pin_name(pin)}", self.board, pin),
                tuple(
                    Band(one.low / PULSE_STEPS_PER_US, one.high / PULSE_STEPS_PER_US, one.button)
                    for one in bands
                    if one.channel == number
                ),
            )
            for number, pin in enumerate(pins)
        )

    def _sensors(self) -> tuple[Sensor, ...]:
        pins = [one for one in self.table.senses if isinstance(one, SensorRecord)]
        return tuple(
            sensor_of(one, f"sensor_{self.chip.pin_name(one.pin)}", self.board) for one in pins
        )

    def _follows(self) -> dict[FollowRecord, Follow]:
        """What outputs follow, by the records of those that a text can say."""
        sources: tuple[Channel | Sensor, ...] = (*self.rig.channels, *self.rig.sensors)
        records = [one for one in self.table.senses if isinstance(one, FollowRecord)]
        made = [
            (one, follow_of(one, self.outputs[one.output], sources[one.source])) for one in records
        ]
        return {record: follow for record, follow in made if follow is not None}

    def _shines(self) -> dict[ShineRecord, Shine]:
        """The moves that lamps follow, by the records of those that a text can say."""
        led = {one.output for one in self.table.senses if isinstance(one, FollowRecord)}
        found = {}
        for one in self.table.senses:
            if isinstance(one, ShineRecord) and one.servo not in led:
                shine = shine_of(one, self.outputs[one.lamp], self.outputs[one.servo])
                if shine is not None:
                    found[one] = shine
        return found

    def _shine_lines(self, output: Output) -> Iterator[str]:
        for one in self.table.senses:
            if not isinstance(one, ShineRecord) or self.outputs[one.lamp] is not output:
                continue
            shine, servo = self.shines.get(one), self.outputs[one.servo]
            if shine is None or not isinstance(servo, Servo):
                words = sense_in_words(one, self.chip, self.names)
                yield from _remark(f"Does not go back: {words}.", INDENT)
            else:
                yield INDENT + shine_line(shine, servo)

    def _board(self) -> Board:
        radio = next((one for one in self.table.senses if isinstance(one, RadioRecord)), None)
        leads = self.table.role == LEADS
        return Board(
            *(self.board, self.chip.name, self.table.address),
            leads=leads,
            radio=radio_of(radio) if radio is not None and leads else None,
            answers=not leads and any(isinstance(one, AnswersRecord) for one in self.table.senses),
        )

    def _board_lines(self) -> Iterator[str]:
        """Below the board's line: its radio, and of its watch what a table knows."""
        board = self.rig.boards[0]
        if board.radio is not None:
            yield INDENT + radio_line(board.radio)
        if board.answers:
            yield f"{INDENT}answers"
        for one in self.table.senses:
            if isinstance(one, RadioRecord) and board.radio is None:
                line = radio_line(radio_of(one))
                yield from _remark(
                    f"It hears the board that leads over a radio. Below that board's line: {line}",
                    INDENT,
                )
            elif isinstance(one, AnswersRecord) and not board.answers:
                words = f"Board {one.address} answers it. Below that board's line: answers"
                yield from _remark(words, INDENT)
            elif isinstance(one, WatchRecord):
                yield from self._watch_lines(one)

    def _watch_lines(self, one: WatchRecord) -> Iterator[str]:
        """A table states volts of the whole battery, the text those of one cell."""
        limits = f"warns below {one.low / 1000:g} V / N, stops below {one.stop / 1000:g} V / N"
        of = "N cells in series"
        if one.pin is None:
            how = f"watch direct, reference {one.scale / 1000:g} V"
        else:
            how = f"watch pin {self.chip.pin_name(one.pin)}, divider R1 over R2"
            of += (
                f", and resistors by which the pin has the chip's whole supply at "
                f"{one.scale / 1000:g} V"
            )
        yield from _fill_in(f"{how}, {limits}: of a battery of {of}", INDENT)

    def _follow_lines(self, output: Output) -> Iterator[str]:
        for one in self.table.senses:
            if not isinstance(one, FollowRecord) or self.outputs[one.output] is not output:
                continue
            follow = self.follows.get(one)
            if follow is None:
                yield from _remark(
                    f"Does not go back: {sense_in_words(one, self.chip, self.names)}.", INDENT
                )
                continue
            yield INDENT + follow_line(follow, output, self.rig)
            if is_slower(follow, one):
                unit = of_part(output).place if isinstance(output, Servo) else ""
                yield from _remark(
                    f"It follows with {one.speed} {unit}/s and {one.acceleration} {unit}/s2 at "
                    "most.",
                    INDENT,
                )

    def _head(self) -> Iterator[str]:
        table, digest = self.table, sha256(self.data).hexdigest()
        yield from _remark(
            f"Read from the table of a board: {self.chip.title}, address {table.address}, show "
            f"{table.show:08x}, SHA-256 {digest}."
        )
        yield from _remark(
            "A table holds what the board needs to play. What only the checks need is not in it: "
            "fill it in where a comment says so, from data sheets and from the costume, and check "
            "the show before you flash it."
        )
        if self.source is None:
            yield from _remark(
                "A table holds no names: outputs are called after their pins here, cues after the "
                "tags by which the link knows them. A cue that is renamed gets another tag. "
                "It does not say either which parts move along a line or turn round and round: "
                "all places stand in degrees."
            )
        if table.role == FOLLOWS:
            yield from _remark(
                "This board follows one that leads, which holds the remote's part: that board's "
                "text belongs beside this one."
            )
        if table.role == LEADS:
            yield from _remark(
                "This board leads. Its cues hold outputs of the boards that follow, which no table "
                "of it names. Put those boards' texts into this one before you flash it: a show of "
                "this board alone leaves out each cue that moves nothing here."
            )
        title = f"Read from board {table.address}"
        yield f'show "{title}"'

    def _rig_lines(self) -> Iterator[str]:
        yield ""
        yield from _fill_in(
            "supply NAME, with its source, regulator and fuse; below the board's line, feed "
            "SUPPLY, LENGTH of GAUGE"
        )
        board = self.rig.boards[0]
        leads = ", leads" if board.leads else ""
        yield f"board {board.name}: {board.chip}, address {board.address}{leads}"
        yield from self._board_lines()
        for record, output in zip(self.table.outputs, self.outputs, strict=True):
            if isinstance(output, Lamp):
                yield ""
                yield from _fill_in("below the lamp's line, leds N of VOLTAGE, CURRENT and colour")
            yield plug(_KINDS[type(record)], output, self.chip)
            yield from self._output_lines(record, output)
            yield from self._follow_lines(output)
            yield from self._shine_lines(output)
            yield from (INDENT + bar_line(one) for one in self.bars if one.strip == output.name)
        yield from (input_line(one, self.chip) for one in self.rig.inputs)
        followed = {one.source for one in self.rig.follows}
        for channel in self.rig.channels:
            lines = list(channel_lines(channel, self.chip))
            is_used = channel.bands or channel.name in followed
            yield from lines if is_used else _remark(f"Does not go back: {lines[0]}.")
        for sensor in self.rig.sensors:
            yield from sensor_lines(sensor, self.chip)
        yield from safe_pose_lines(self.outputs)

    def _output_lines(self, record: OutputRecord, output: Output) -> Iterator[str]:
        if isinstance(record, ServoRecord) and isinstance(output, Servo):
            unit = of_part(output).place
            points = (
                f"{quantity(p.pulse_us, 'us')} at {quantity(p.angle_deg, unit)}"
                for p in output.points
            )
            yield f"{INDENT}pulse {', '.join(points)}"
            low, high = (quantity(one, unit) for one in output.travel_deg)
            if low == high:
                yield from _remark(f"does not go back: travel {low} to {high}", INDENT)
            else:
                yield f"{INDENT}travel {low} to {high}"
            if output.accel_deg_s2 is not None:
                yield f"{INDENT}acceleration {quantity(output.accel_deg_s2, unit + '/s2')}"
            yield from _fill_in(_RATING, INDENT)
            limits = f"{record.speed_limit} {unit}/s, {record.acceleration_limit} {unit}/s2"
            yield from _remark(f"The board holds it to {limits}.", INDENT)
        elif isinstance(output, Lamp):
            if output.trims:
                yield from _given("trim", output.trims)
        elif isinstance(record, StripRecord) and isinstance(output, Strip):
            yield f"{INDENT}pixels {output.pixels}, order {output.order}"
            if output.trims:
                yield from _given("balance", output.trims)
            if output.cap_a is not None:
                yield f"{INDENT}cap {quantity(output.cap_a, 'A')}"
                yield from _remark(
                    f"The board caps the sum of its channel bytes at {CAP_STEP * record.cap}; the "
                    f"current is that of {quantity(1000 * output.channel_a, 'mA')} a channel.",
                    INDENT,
                )
            if not strip_light(self.table.colours[record.safe])[1]:
                yield from _remark("Its safe colour is the nearest one of eight bits.", INDENT)
            yield from _fill_in("each CURRENT and pitch DISTANCE, behind the pixels", INDENT)
        elif isinstance(output, Switch):
            yield f"{INDENT}active {'high' if output.active_high else 'low'}"
            yield from _fill_in("draws CURRENT; starts after TIME", INDENT)

    # -- the score --------------------------------------------------------------------------------

    def _read_cues(self) -> None:
        words = words_of_ops(self.table, self.names)
        names = [output.name for output in self.outputs]
        for number, cue in enumerate(self.table.cues):
            try:
                self.said[number] = statements(self.table, cue.start, names, words)
            except NotBackError as error:
                self.why[number] = str(error)
        for number, cue in enumerate(self.table.cues):  # a cue and its part go back together
            if cue.lets_go and (number in self.why) != (number + 1 in self.why):
                first, other = sorted((number, number + 1), key=lambda one: one not in self.why)
                self.said.pop(other)
                self.why[other] = f"{self.names.cue(first)} does not"

    def _score(self) -> Score:
        table = self.table
        cues = tuple(
            self._cue(number, cue) for number, cue in enumerate(table.cues) if number in self.said
        )
        lost = table.lost if table.lost in self.said and table.lost_time else None
        if lost is not None and self._is_part(lost):
            lost = None
        low = self._low_cue()
        if low is not None and (low not in self.said or self._is_part(low)):
            low = None
        idle = tuple(self.names.cue(n) for n in range(len(table.cues)) if self._is_strand(n))
        return Score(
            f"Read from board {table.address}",
            cues,
            tuple(self._binding(one) for one in table.bindings if self._can_say(one)),
            table.stop_button or None,
            None if lost is None else table.lost_time * LOST_STEP_MS,
            None if lost is None else self.names.cue(lost),
            idle,
            table.glide * GLIDE_STEP_MS,
            table.stop_time * STOP_STEP_MS,
            low_cue=None if low is None else self.names.cue(low),
        )

    def _low_cue(self) -> int | None:
        """What the board starts when its battery is low; one that follows starts nothing."""
        watches = (one for one in self.table.senses if isinstance(one, WatchRecord))
        return next((one.cue for one in watches), None)

    def _cue(self, number: int, cue: CueRecord) -> Cue:
        said = self.said[number]
        part = self.names.cue(number + 1) if cue.lets_go else None
        conflict = CONFLICTS[cue.conflict]
        made = Cue(self.names.cue(number), "", said.body, conflict, let_go=part, seed=said.seed)
        stated = self._scale(number)
        if stated is None or cue.strand or self._is_part(number):
            return made
        sources: tuple[Channel | Sensor, ...] = (*self.rig.channels, *self.rig.sensors)
        return replace(made, scaling=scaling_of(stated, sources[stated.source]))

    def _scale(self, number: int) -> ScaleRecord | None:
        scales = (one for one in self.table.senses if isinstance(one, ScaleRecord))
        return next((one for one in scales if one.cue == number), None)

    def _is_strand(self, number: int) -> bool:
        is_own = number in self.said and not self._is_part(number)
        return self.table.cues[number].strand and is_own

    def _can_say(self, one: BindingRecord) -> bool:
        """Whether a line of the remote says this; what a compiler writes can be said."""
        if one.cue not in self.said or self._is_part(one.cue):
            return False
        if one.while_held and (one.manner != "start" or one.kind == "up"):
            return False
        alike = [
            each
            for each in self.table.bindings
            if (each.button, each.kind, each.manner) == (one.button, one.kind, one.manner)
        ]
        if one.manner == "next" and len(alike) < 2:
            return False
        return one.kind != "long" or self._long_ms(one.button) >= SHORTEST_LONG_PRESS_MS

    def _long_ms(self, button: int) -> int:
        return next(
            (
                each.long_frames * FRAME_MS
                for each in self.table.senses
                if isinstance(each, PatienceRecord) and each.button == button
            ),
            0,
        )

    def _binding(self, one: BindingRecord) -> Binding:
        return Binding(
            *(one.button, self.names.cue(one.cue), one.while_held),
            kind=one.kind,
            manner=one.manner,
            long_ms=self._long_ms(one.button) if one.kind == "long" else 0,
        )

    def _cue_lines(self, score: Score) -> Iterator[str]:
        for number, cue in enumerate(self.table.cues):
            if number in self.why:
                yield from self._left_out(number)
                continue
            if self._is_part(number):
                continue
            made = next(one for one in score.cues if one.name == self.names.cue(number))
            yield from self._above(number, cue)
            busy = f", if busy {made.conflict}" if made.conflict != "take" else ""
            seed = "" if made.seed is None else f", seed {made.seed}"
            yield f"cue {made.name}{busy}{seed}{scaling_words(made, self.rig)}"
            yield from self._block(number, 1)
            if cue.lets_go:
                yield f"{INDENT}when let go"
                yield from self._block(number + 1, 2)

    def _above(self, number: int, cue: CueRecord) -> Iterator[str]:
        if self.source is None:
            yield from _remark(f"Tag {cue.tag:04X}: the name by which it was written is not known.")
        if cue.claims:
            yield from _remark(
                f"It holds outputs of other boards, too (claims {cue.claims:04X}); what it does "
                "there stands in their tables."
            )
        stated = self._scale(number)
        if stated is not None and cue.strand:
            words = sense_in_words(stated, self.chip, self.names)
            yield from _remark(f"Does not go back: {words}.")
        if number in self.waiting:
            yield from _remark("It moves nothing on this board, and waits for theirs.")
        if not self.said[number].draws_alike:
            yield from _remark("It draws from the same ranges, but other numbers than the board.")

    def _block(self, number: int, depth: int) -> Iterator[str]:
        said = self.said[number]
        for step in said.body.children:
            yield from self._step(step, depth, said.remarks)

    def _step(self, step: Step, depth: int, remarks: Sequence[str]) -> Iterator[str]:
        if is_remark(step):
            yield from _remark(remarks[step.mark - 1], INDENT * depth)
            return
        inside: Sequence[Step]
        match step:
            case Together() if not draws_time(step):
                head, inside = "together", step.children
            case InTurn():
                head, inside = "in turn", step.children
            case OneOf():
                head, inside = "one of", step.children
            case Repeat(InTurn(inside), times, while_held):
                often = "for ever" if times is None else f"{times} times"
                head = f"repeat {'while held' if while_held else often}"
            case _:
                yield from step_lines(InTurn((step,)), depth, self.rig)
                return
        yield INDENT * depth + head
        for child in inside:
            yield from self._step(child, depth + 1, remarks)

    def _left_out(self, number: int) -> Iterator[str]:
        """A cue that does not go back, in the words of the listing."""
        name = self.names.cue(number)
        yield from _remark(
            f"Cue {name} does not go back: {self.why[number]}. The table says of it:"
        )
        for line in disassemble(self.data, self.names):
            is_own = line.section.startswith("cue ") and name in line.section.partition(", from ")[
                0
            ][4:].split(", ")
            if is_own or (line.section == "cues" and line.text.startswith(f"cue {name}:")):
                yield f"#   {line.offset:04x}  {'  ' * line.depth}{line.text}"
        shared = [line for line in disassemble(self.data, self.names) if _is_shared(line.section)]
        if shared and number == min(self.why):
            yield from _remark("Threads that cues call, fork or go on with:")
            yield from (f"#   {line.offset:04x}  {'  ' * line.depth}{line.text}" for line in shared)

    def _starts(self, score: Score) -> Iterator[str]:
        table = self.table
        for one in table.bindings:
            if not self._can_say(one):
                yield from _remark(
                    f"Does not go back: button {one.button} ({one.kind}, {one.manner}"
                    f"{', while held' if one.while_held else ''}): go {self.names.cue(one.cue)}."
                )
        lost_s = table.lost_time * LOST_STEP_MS / 1000
        if table.lost is None and table.lost_time:
            yield from _remark(
                f"The remote counts as lost after {lost_s:g} s, and no cue of this board starts."
            )
        elif table.lost is not None and score.lost_cue is None:
            name = self.names.cue(table.lost)
            yield from _remark(f"Does not go back: lost {lost_s:g} s: go {name}.")
        low = self._low_cue()
        if low is not None and score.low_cue is None:
            yield from _remark(f"Does not go back: battery low: go {self.names.cue(low)}.")
        for number, cue in enumerate(table.cues):
            if cue.strand and not self._is_strand(number):
                yield from _remark(f"Does not go back: idle: go {self.names.cue(number)}.")
        waits = patience(score)
        for sense in table.senses:
            if isinstance(sense, PatienceRecord):
                made = waits.get(sense.button)
                if made != Patience(sense.long_frames, sense.twice):
                    yield from _remark(
                        f"Does not go back: {sense_in_words(sense, self.chip, self.names)}."
                    )
        yield from started_lines(score)
        yield from _fill_in("usage, for the battery: CUE N per hour, run time TIME")


def _is_shared(section: str) -> bool:
    return section.startswith("thread, from ")


def _shares(trims: Sequence[int]) -> tuple[float, ...]:
    return tuple((one + 1) / TRIM_ONE for one in trims)


def _given(word: str, shares: Sequence[float]) -> list[str]:
    """How much of its light a light gives; the language knows no less than 1 %."""
    line = f"{word} {', '.join(map(percent, shares))}"
    if min(shares) < _LEAST_SHARE:
        return _remark(f"does not go back: {line}", INDENT)
    return [INDENT + line]


def _remark(text: str, before: str = "") -> list[str]:
    return [f"{before}# {line}" for line in wrap(text, _COLUMNS - len(before))]


def _fill_in(text: str, before: str = "") -> list[str]:
    return _remark(f"fill in: {text}", before)
