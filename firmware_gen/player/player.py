"""The integer reference player: one call per frame of 20 ms (TABLE.md, sections 2 and 3).

The chip and the host-compiled core do the same to the bit; what a rehearsal shows in floating
point lies within one tick of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from firmware_gen.link.protocol import Mode
from firmware_gen.player.cues import FRAME, MS, NONE, Cues
from firmware_gen.player.light import Levels, Light, StripPainter, lamp_duty
from firmware_gen.player.motion import ANGLE_BITS, Motion, PulseLine, start_motion
from firmware_gen.table.fixed_point import MINIMUM_JERK_ID, UNIFORM_ID, FixedLaw, fixed_law
from firmware_gen.table.ops import Act, Modulate, Turn
from firmware_gen.table.records import (
    LampRecord,
    ServoRecord,
    StripRecord,
    SwitchRecord,
    Table,
    decode,
)

__all__ = ["Frame", "Mode", "Player"]

_LOST_STEP: Final = 5
"""Frames in the lost time's unit, 100 ms."""
_SILENCE_MAX: Final = 65535
_STOP_STEP_MS: Final = 20


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


class _Servo:
    """A servo as it stands or moves."""

    def __init__(self, record: ServoRecord) -> None:
        self.record = record
        self.line = PulseLine(record)
        self.stand()

    def stand(self) -> None:
        """Be at rest at the safe angle."""
        self.rest = self.record.safe << ANGLE_BITS
        self.motion: Motion | None = None
        self.run = NONE
        self._ticks = self.line.ticks(self.rest)

    def move(self, target: int, nominal: int, law: FixedLaw, time: int, run: int) -> None:
        """Start a move at a time; target in 0.01 deg."""
        p, v = self.state(time)
        self.motion = start_motion(self.record, p, v, time, target << ANGLE_BITS, nominal, law)
        self.run = run

    def state(self, time: int) -> tuple[int, int]:
        """Position and speed."""
        motion = self.motion
        if motion is None:
            return self.rest, 0
        if time >= motion.end:
            return motion.target, 0
        return motion.state(time)

    def settle(self, time: int) -> None:
        """A motion that has ended is at rest from now on."""
        if self.motion and self.motion.end <= time:
            self.rest, self.motion, self.run = self.motion.target, None, NONE
            self._ticks = self.line.ticks(self.rest)

    def ticks(self, time: int) -> int:
        """The pulse at a time, after `settle`."""
        return self.line.ticks(self.motion.position(time)) if self.motion else self._ticks


class Player:
    """Plays one table. Requests take effect in the next frame, in the order of their calls.

    Raises TableError for bytes that are not a valid table.
    """

    def __init__(self, table: bytes | Table) -> None:
        self.table = table if isinstance(table, Table) else decode(table)
        self.frames = 0
        """Frames played."""
        self.mode = Mode.STARTING
        self._start_frame = 0
        self._requests: list[Callable[[int], None]] = []
        self._heard = False
        self._armed = False
        self._silence = 0
        self._laws = [fixed_law(law.law_id, law.alpha, law.beta) for law in self.table.laws]
        self._uniform = fixed_law(UNIFORM_ID)
        self._servos: dict[int, _Servo] = {}
        self._lamps: dict[int, Light] = {}
        self._strips: dict[int, tuple[Light, StripPainter]] = {}
        self._switches: dict[int, bool] = {}
        for number, output in enumerate(self.table.outputs):
            match output:
                case ServoRecord():
                    self._servos[number] = _Servo(output)
                case LampRecord():
                    self._lamps[number] = Light(1)
                case StripRecord():
                    self._strips[number] = Light(3, output.pixels), StripPainter(output)
                case SwitchRecord():
                    self._switches[number] = output.safe
        self._lights = self._lamps | {n: light for n, (light, _) in self._strips.items()}
        self._cues = Cues(self.table, self._perform, self._release, self._steady)

    # -- requests ------------------------------------------------------------------------------

    def trigger(self, tag: int) -> None:
        """Start the cue with this tag; an unknown tag does nothing."""
        self._requests.append(lambda time: self._trigger(tag, time))

    def button(self, button: int, down: bool) -> None:
        """A button goes down or up."""
        self._requests.append(lambda time: self._button(button, down, time))

    def stop(self) -> None:
        self._requests.append(self._stop)

    def limp(self) -> None:
        self._requests.append(lambda time: self._enter_limp())

    def standby(self) -> None:
        self._requests.append(lambda time: self._standby())

    def heard(self) -> None:
        """The controller was heard: a valid frame of the link, or a change of an input."""
        self._heard = True

    # -- state ---------------------------------------------------------------------------------

    @property
    def live_runs(self) -> int:
        return self._cues.live_runs

    @property
    def running_cues(self) -> int:
        """Mask of the cues that run, by index."""
        return self._cues.running

    @property
    def refused(self) -> int:
        return self._cues.refused

    @property
    def overruns(self) -> int:
        return self._cues.overruns

    # -- the frame -----------------------------------------------------------------------------

    def frame(self) -> Frame:
        """Play the next frame."""
        time = FRAME * self.frames
        if self.mode == Mode.STARTING and self._enabled(len(self._servos)):
            self.mode = Mode.READY
            for number, light in self._lights.items():
                light.jump(self._safe_levels(number))
        requests, self._requests = self._requests, []
        for request in requests:
            request(time)
        self._listen(time)
        if self.mode == Mode.READY:
            self._cues.start_waiting(time)
            self._cues.start_idle(time)
        self._cues.execute(time)
        for servo in self._servos.values():
            servo.settle(time)
        if self.mode == Mode.STOPPING and not any(s.motion for s in self._servos.values()):
            self._enter_limp()
        shown = self._shown(time)
        self.frames += 1
        return shown

    def _enabled(self, servo: int) -> bool:
        """Whether the pulses of the n-th servo are on; of one too many: whether all are ready."""
        return self.frames >= self._start_frame + servo * self.table.enable_interval

    def _listen(self, time: int) -> None:
        if self._heard:
            self._heard, self._armed, self._silence = False, True, 0
        else:
            self._silence = min(self._silence + 1, _SILENCE_MAX)
        lost, lost_time = self.table.lost, self.table.lost_time
        silent = lost_time > 0 and self._silence >= _LOST_STEP * lost_time
        if self._armed and silent and lost is not None and self.mode == Mode.READY:
            self._armed = not self._cues.start(lost, time)

    def _shown(self, time: int) -> Frame:
        if self.mode == Mode.LIMP:
            pulses = (0,) * len(self._servos)
        elif self.mode == Mode.STARTING:
            pulses = tuple(
                servo.ticks(time) if self._enabled(n) else 0
                for n, servo in enumerate(self._servos.values())
            )
        else:
            pulses = tuple([servo.ticks(time) for servo in self._servos.values()])
        return Frame(pulses, *self._lit(time), tuple(self._switches.values()))

    def _lit(self, time: int) -> tuple[tuple[int, ...], tuple[bytes, ...]]:
        for light in self._lights.values():
            light.settle(time)
        duties = tuple([lamp_duty(lamp, time) for lamp in self._lamps.values()])
        strips = tuple([painter.paint(light, time) for light, painter in self._strips.values()])
        return duties, strips

    # -- what requests do ----------------------------------------------------------------------

    def _trigger(self, tag: int, time: int) -> None:
        if self.mode != Mode.READY:
            self._cues.refused += 1
            return
        for number, cue in enumerate(self.table.cues):
            if cue.tag == tag:
                self._cues.start(number, time)

    def _button(self, button: int, down: bool, time: int) -> None:
        if not down:
            self._cues.let_go(button)
            return
        self._cues.down.add(button)
        if button == self.table.stop_button:
            self._stop(time)
            return
        bound = [binding.cue for binding in self.table.bindings if binding.button == button]
        if self.mode != Mode.READY:
            self._cues.refused += bool(bound)
            return
        for cue in bound:
            self._cues.start(cue, time, button)

    def _stop(self, time: int) -> None:
        if self.mode != Mode.READY:
            self._enter_limp()
            return
        self.mode = Mode.STOPPING
        self._cues.end_all()
        self._make_safe()
        at = time - FRAME
        duration = MS * _STOP_STEP_MS * self.table.stop_time
        for servo in self._servos.values():
            servo.move(servo.record.safe, duration, fixed_law(MINIMUM_JERK_ID), at, NONE)
        for number, light in self._lights.items():
            light.effect = None
            light.start_fade(self._safe_levels(number), at, duration, self._uniform)

    def _enter_limp(self) -> None:
        if self.mode != Mode.LIMP:
            self.mode = Mode.LIMP
            self._cues.end_all()
            self._make_safe()

    def _standby(self) -> None:
        if self.mode != Mode.LIMP:
            self._cues.refused += 1
            return
        self.mode = Mode.STARTING
        self._start_frame = self.frames
        for servo in self._servos.values():
            servo.stand()
        for light in self._lights.values():
            light.darken()

    def _make_safe(self) -> None:
        """Switches take their safe state."""
        for number, output in enumerate(self.table.outputs):
            if isinstance(output, SwitchRecord):
                self._switches[number] = output.safe

    def _safe_levels(self, number: int) -> Levels:
        output = self.table.outputs[number]
        if isinstance(output, StripRecord):
            return self._colour(output.safe)
        assert isinstance(output, LampRecord)
        return (output.safe << 8,)

    def _colour(self, index: int) -> Levels:
        red, green, blue = self.table.colours[index]
        return red << 8, green << 8, blue << 8

    # -- what cues do --------------------------------------------------------------------------

    def _perform(self, op: Act | Turn | Modulate, time: int, run: int) -> int | None:
        match op:
            case Turn():
                self._switches[op.output] = op.on
            case Modulate():
                self._lights[op.output].lay(op, time)
            case Act() if op.output in self._servos:
                return self._move(op, time, run)
            case Act():
                self._fade(op, time)
        return None

    def _move(self, op: Act, time: int, run: int) -> int | None:
        servo = self._servos[op.output]
        if servo.motion and servo.run == run and servo.motion.end > time:
            return servo.motion.end
        servo.move(op.target, MS * op.duration_ms, self._laws[op.law or 0], time, run)
        return None

    def _fade(self, op: Act, time: int) -> None:
        law = self._uniform if op.law is None else self._laws[op.law]
        goal = self._colour(op.target) if op.output in self._strips else (op.target << 8,)
        self._lights[op.output].start_fade(goal, time, MS * op.duration_ms, law)

    def _release(self, run: int) -> None:
        """A run has ended: its motions belong to none."""
        for servo in self._servos.values():
            if servo.run == run:
                servo.run = NONE

    def _steady(self, output: int) -> None:
        """An output has changed hands: its effect ends."""
        if output in self._lights:
            self._lights[output].effect = None
