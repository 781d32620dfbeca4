"""The outputs of one board in the integers of its player: TABLE.md, section 3.

`sim.rehearsal.scheduler` says when each statement is carried out; `shown` is what stands on the
pins in a frame.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, TypeVar

from firmware_gen.player.followers import FollowingLamp, FollowingServo
from firmware_gen.player.light import FixedLevels, PlayedLight, StripPainter, lamp_duty
from firmware_gen.player.program import OutputOp
from firmware_gen.player.servo import PlayedServo
from firmware_gen.player.shine import PlayedShine
from firmware_gen.table.laws import law_by_id
from firmware_gen.table.lightness import UNTRIMMED
from firmware_gen.table.ops import ActOp, Modulate, Turn
from firmware_gen.table.records import (
    BarRecord,
    FollowRecord,
    LampRecord,
    OutputRecord,
    ServoRecord,
    ShineRecord,
    StripRecord,
    SwitchRecord,
    Table,
)
from sim.model import MINIMUM_JERK, UNIFORM
from sim.rulebook import (
    CLOCK_PER_MS,
    FRAME_CLOCK,
    GLIDE_STEP_MS,
    JOG_STEP,
    LEVEL_BITS,
    STOP_STEP_MS,
)
from sim.score.draws import drawn
from sim.score.fixed_laws import fixed_law
from sim.score.scaling import scaled

_Record = TypeVar("_Record", bound=OutputRecord)

_OVER: Final = -1
"""A time that is over."""


@dataclass(frozen=True, slots=True)
class Frame:
    """What the outputs do in one frame, each kind in the table's order."""

    pulses: tuple[int, ...]
    """Ticks of 0.5 us; 0: no pulse."""
    duties: tuple[int, ...]
    """Of 65535."""
    strips: tuple[bytes, ...]
    """Bytes as they go out on the wire."""
    switches: tuple[bool, ...]

    @property
    def raw(self) -> bytes:
        """All of it: pulses and duties as u16, strip bytes, a byte per switch."""
        return b"".join(
            (
                *(pulse.to_bytes(2, "little") for pulse in self.pulses),
                *(duty.to_bytes(2, "little") for duty in self.duties),
                *self.strips,
                bytes(self.switches),
            )
        )


class TableOutputs:
    """A table's outputs by their numbers; `sim.rehearsal.scheduler.Outputs` says what each does."""

    def __init__(self, table: Table) -> None:
        self._records = table.outputs
        self._colours = table.colours
        self._laws = [law_by_id(law.law_id, law.alpha, law.beta, law.peak) for law in table.laws]
        self._uniform = fixed_law(UNIFORM)
        self._stop = CLOCK_PER_MS * STOP_STEP_MS * table.stop_time
        self.servos = {n: PlayedServo(one) for n, one in self._each(ServoRecord)}
        self._lamps = {n: PlayedLight(1) for n, _ in self._each(LampRecord)}
        self._trims = [(*one.trims, UNTRIMMED)[0] for _, one in self._each(LampRecord)]
        self._strips = {
            n: (PlayedLight(3, one.pixels), StripPainter(one)) for n, one in self._each(StripRecord)
        }
        self.lights = self._lamps | {n: light for n, (light, _) in self._strips.items()}
        self._glide = CLOCK_PER_MS * GLIDE_STEP_MS * table.glide
        self._shines: list[tuple[int, PlayedShine]] = []
        for one in table.senses:
            if isinstance(one, ShineRecord):
                shine = PlayedShine(one, self.servos[one.servo].seen, self._glide)
                self._lamps[one.lamp].shine = shine
                self._shines.append((one.lamp, shine))
        for one in table.senses:
            if isinstance(one, BarRecord):
                self._strips[one.strip][1].bar = self._lamps[one.lamp], one.end
        self._switches = {n: one.safe for n, one in self._each(SwitchRecord)}
        self._followers = {
            one.output: self._follower(one) for one in table.senses if isinstance(one, FollowRecord)
        }
        self._enabled = 0
        """How many servos have pulses."""
        self._stood = [servo.ticks(0) for servo in self.servos.values()]
        """The last pulse of each servo; before it had any, that of its safe angle."""

    def _each(self, kind: type[_Record]) -> list[tuple[int, _Record]]:
        """The outputs of one kind with their numbers."""
        return [(n, one) for n, one in enumerate(self._records) if isinstance(one, kind)]

    def _follower(self, record: FollowRecord) -> FollowingServo | FollowingLamp:
        if record.output in self.servos:
            return FollowingServo(record, self.servos[record.output])
        (safe,) = self._safe_levels(record.output)
        return FollowingLamp(record, self.lights[record.output], safe >> LEVEL_BITS)

    # -- the whole board -----------------------------------------------------------------------

    def stand_by(self, time: int) -> None:
        self._enabled = 0
        for follower in self._followers.values():
            follower.forget()
        for servo in self.servos.values():
            servo.stand()
        for light in self.lights.values():
            light.darken()
        self.throw_safe(time)

    def enable(self, servos: int, time: int) -> None:
        self._enabled = servos

    def cut_power(self, time: int) -> None:
        self.hold(self._followers, time - FRAME_CLOCK)
        self._enabled = 0

    def light_safe(self, time: int) -> None:
        for number, light in self.lights.items():
            light.jump(self._safe_levels(number))

    def move_safe(self, time: int) -> None:
        law = fixed_law(MINIMUM_JERK)
        self.hold(self._followers, time)
        for servo in self.servos.values():
            servo.move(servo.record.safe, self._stop, law, time)
        for number, light in self.lights.items():
            light.start_fade(self._safe_levels(number), time, self._stop, self._uniform)

    def throw_safe(self, time: int) -> None:
        for number, record in self._each(SwitchRecord):
            self._switches[number] = record.safe

    def steady(self, names: Iterable[int], time: int) -> None:
        for number in names:
            if number in self.lights:
                self.lights[number].steady()

    # -- what follows a source -------------------------------------------------------------------

    def hold(self, names: Iterable[int], time: int) -> frozenset[int]:
        held = frozenset(n for n in names if n in self._followers and self._followers[n].follows)
        for number in held:
            self._followers[number].leave(time)
        return held

    def listen(self, values: Sequence[int | None]) -> list[int]:
        """The values of the sources in a frame; which outputs followed one that is live no more."""
        for follower in self._followers.values():
            follower.listen(values[follower.source])
        return [n for n, one in self._followers.items() if one.follows and not one.has_source]

    def follow(self, time: int, taken: Collection[Hashable]) -> None:
        """Let what can follow a source do so; `taken`: what cues have."""
        for number, follower in self._followers.items():
            if follower.has_source and number not in taken:
                follower.follow(time, self._glide)

    def motions_end(self) -> int:
        return max((self.output_end(number) for number in self.servos), default=_OVER)

    # -- one output ----------------------------------------------------------------------------

    def output_end(self, name: int) -> int:
        if name in self.servos:
            motion = self.servos[name].motion
            return motion.end if motion else _OVER
        light = self.lights.get(name)
        return light.fade.end if light and light.fade else _OVER

    def lays_effect(self, act: OutputOp) -> bool:
        return isinstance(act, Modulate)

    def drawn(self, act: OutputOp, count: int) -> OutputOp:
        if not isinstance(act, ActOp) or act.drawn is None:
            return act
        one = act.drawn
        return replace(
            act,
            duration_ms=drawn(act.duration_ms, one.most_ms, one.time_key, count),
            target=drawn(act.target, one.most, one.target_key, count),
            drawn=None,
        )

    def scaled(self, act: OutputOp, scale: int) -> OutputOp:
        if not isinstance(act, ActOp) or act.output not in self.servos:
            return act
        safe = self.servos[act.output].record.safe
        return replace(act, target=scaled(act.target, safe, scale))

    def takes_ms(self, act: OutputOp) -> int:
        return act.duration_ms if isinstance(act, ActOp) else 0

    def glide(self, act: OutputOp, time: int, duration_ms: int, cue: object) -> None:
        if isinstance(act, ActOp) and act.output in self.servos:
            law = fixed_law(MINIMUM_JERK)
            self.servos[act.output].move(act.target, CLOCK_PER_MS * duration_ms, law, time)
        elif isinstance(act, ActOp):
            self._fade(replace(act, law=None, duration_ms=duration_ms), time)
        else:
            self.act(act, time, cue)

    def act(self, act: OutputOp, time: int, cue: object, least_ms: int = 0) -> None:
        if isinstance(act, ActOp) and least_ms > act.duration_ms:
            act = replace(act, duration_ms=least_ms)
        match act:
            case Turn():
                self._switches[act.output] = act.on
            case Modulate():
                self.lights[act.output].lay(act, time)
            case ActOp() if act.output in self.servos:
                law = self._laws[act.law or 0]
                duration = CLOCK_PER_MS * act.duration_ms
                self.servos[act.output].move(act.target, duration, law, time)
            case ActOp():
                self._fade(act, time)

    def shortened(self, act: OutputOp, by_ms: int) -> OutputOp:
        """The op over so much less time, but not less than none."""
        if not isinstance(act, ActOp):
            return act
        return replace(act, duration_ms=max(0, act.duration_ms - by_ms))

    def _fade(self, op: ActOp, time: int) -> None:
        law = self._uniform if op.law is None else self._laws[op.law]
        goal = self._colour(op.target) if op.output in self._strips else (op.target << LEVEL_BITS,)
        self.lights[op.output].start_fade(goal, time, CLOCK_PER_MS * op.duration_ms, law)

    def _safe_levels(self, number: int) -> FixedLevels:
        record = self._records[number]
        if isinstance(record, StripRecord):
            return self._colour(record.safe)
        assert isinstance(record, LampRecord)
        return (record.safe << LEVEL_BITS,)

    def _colour(self, index: int) -> FixedLevels:
        red, green, blue = self._colours[index]
        return red << LEVEL_BITS, green << LEVEL_BITS, blue << LEVEL_BITS

    # -- what is seen --------------------------------------------------------------------------

    def stood(self, servo: int) -> int:
        """The last pulse of the servo of this number among the servos."""
        return self._stood[servo]

    def shine(self, taken: Collection[object], time: int) -> None:
        """Let the lamps shine with their moves that no cue has taken."""
        for number, shine in self._shines:
            if number not in taken:
                shine.begin(time)

    def shown(self, time: int, jog: tuple[int, int] | None = None) -> Frame:
        """What the outputs do in the frame of this time; motions and fades that have ended rest.

        `jog`: the number of a servo, and the pulse that it is brought to (TABLE.md 2.8).
        """
        for servo in self.servos.values():
            servo.settle(time)
        for light in self.lights.values():
            light.settle(time)
        enabled = self._enabled
        pulses = [s.ticks(time) if n < enabled else 0 for n, s in enumerate(self.servos.values())]
        if jog is not None:
            number, wanted = jog
            stood = self._stood[number]
            pulses[number] = min(max(wanted, stood - JOG_STEP), stood + JOG_STEP)
        self._stood = [now or before for now, before in zip(pulses, self._stood, strict=True)]
        lamps = zip(self._lamps.values(), self._trims, strict=True)
        duties = tuple([lamp_duty(lamp, time, trim) for lamp, trim in lamps])
        strips = tuple([painter.paint(light, time) for light, painter in self._strips.values()])
        return Frame(tuple(pulses), duties, strips, tuple(self._switches.values()))
