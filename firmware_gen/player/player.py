"""The integer reference player: one call per frame of 20 ms (TABLE.md, sections 2 and 3).

What runs when is said by the scheduler that rehearsals have as well; here it drives a table's
program and a board's integers. The chip and the host-compiled core do the same to the bit. So does
a rehearsal in what it plans; what it shows in closed forms lies within one tick.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from firmware_gen.chips import CHIPS_BY_ID
from firmware_gen.link.protocol import HELD_FRAMES, STOP_TELLINGS, ReportedMode
from firmware_gen.player.channels import Channels
from firmware_gen.player.hub_state import PAYLOAD_BYTES, pack, unpack
from firmware_gen.player.in_step import InStep, radio_late
from firmware_gen.player.outputs import Frame, TableOutputs
from firmware_gen.player.program import OutputOp, board_program
from firmware_gen.player.sensors import Sensors
from firmware_gen.player.sources import Sources
from firmware_gen.player.watch import BatteryWatch
from firmware_gen.table.decode import decode
from firmware_gen.table.layout import FOLLOWS, LEADS
from firmware_gen.table.records import Table, WatchRecord
from sim.rehearsal import scheduler
from sim.rehearsal.following import FollowingScheduler
from sim.rehearsal.leading import Leader
from sim.rehearsal.requests import Request
from sim.rulebook import FRAME_CLOCK

_MODES: Final[dict[scheduler.Mode, ReportedMode]] = {
    "starting": ReportedMode.STARTING,
    "ready": ReportedMode.READY,
    "stopping": ReportedMode.STOPPING,
    "limp": ReportedMode.LIMP,
}


class Player:
    """Plays one table. Requests take effect in the next frame, in the order of their calls.

    Raises TableError for bytes that are not a valid table.
    """

    def __init__(self, table: bytes | Table) -> None:
        self.table = table if isinstance(table, Table) else decode(table)
        self.frames = 0
        """Frames played."""
        self._requests: list[Request] = []
        self._heard = False
        self._last_heard = -1
        self._outputs = TableOutputs(self.table)
        self._jog: tuple[int, int] | None = None
        """The servo that is jogged, and where to; None also while it is one of another board's."""
        self._jog_frames = 0
        """Until it ends; 0: there is none."""
        self._jog_rest = 0
        """Frames in which no jog is taken, because one was ended."""
        self._in_step = InStep(radio_late(self.table.senses))
        self._channels = Channels(self.table.senses)
        self._widths = [0] * self._channels.count
        self._sensors = Sensors(self.table.senses)
        watches = (one for one in self.table.senses if isinstance(one, WatchRecord))
        watched = next(watches, None)
        self.watch = None if watched is None else BatteryWatch(watched)
        """Of its battery, if it has one."""
        self._battery: int | None = None
        self._readings: list[int | None] = [None] * self._sensors.count
        self._sources = Sources(self.table.senses, self._channels, self._sensors)
        self._scheduler = self._made()

    def _made(self) -> scheduler.Scheduler[OutputOp]:
        program = board_program(self.table)
        if self.table.role == LEADS:
            return Leader(program, self._outputs)
        if self.table.role == FOLLOWS:
            joins = CHIPS_BY_ID[self.table.chip].joins
            return FollowingScheduler(program, self._outputs, joins=joins)
        return scheduler.Scheduler(program, self._outputs)

    # -- requests ------------------------------------------------------------------------------

    def trigger(self, tag: int) -> None:
        """Start the cue with this tag; an unknown tag does nothing."""
        self._requests.append(Request("trigger", tag))

    def button(self, button: int, down: bool) -> None:
        """A button goes down or up."""
        self._requests.append(Request("down" if down else "up", button=button))

    def stop(self) -> None:
        self._requests.append(Request("stop"))

    def limp(self) -> None:
        self._requests.append(Request("limp"))

    def standby(self) -> None:
        self._requests.append(Request("standby"))

    def jog(self, servo: int, ticks: int) -> bool:
        """Bring one servo's pulse there, slowly (TABLE.md 2.8).

        False if it is refused: only a limp board does that, and not soon after a stop.
        """
        return self._take_jog((servo, ticks))

    def jog_elsewhere(self) -> bool:
        """The same, of a servo of a board that this one leads: a jog passes through (LINK.md 7.1).

        What would end a jog here is told to all boards from now on.
        """
        return self._take_jog(None)

    def _take_jog(self, jog: tuple[int, int] | None) -> bool:
        taken = self.mode == ReportedMode.LIMP and not self._jog_rest
        if not taken or self._scheduler.stop_is_down:
            return False
        self._jog, self._jog_frames = jog, HELD_FRAMES
        return True

    def channel(self, number: int, ticks: int) -> None:
        """A pulse of a channel came, by its number in the table; the newest of a frame counts."""
        if number < len(self._widths):
            self._widths[number] = ticks

    def voltage(self, sensor: int, reading: int) -> None:
        """The voltage at a sensor's pin from now on, of 1024 that are the chip's supply; sensors
        count from 0."""
        if sensor < len(self._readings):
            self._readings[sensor] = reading

    def battery(self, reading: int) -> None:
        """What the watch reads from now on, of 1024 that are the chip's supply."""
        self._battery = reading

    def source_values(self) -> list[int | None]:
        """What each channel and sensor stood at in the last frame (TABLE.md, section 10); None: it
        is not live."""
        return self._sources.values()

    def heard(self) -> None:
        """The controller was heard: a valid frame of the link, or a change of an input."""
        if self.table.role != FOLLOWS:
            self._heard = True

    def hear_hub(self, payload: bytes, moment: int) -> None:
        """The state of the board that leads came, at a moment (1/256 ms) of this board's frame.

        Only a board that follows hears it; whatever is no such state does nothing.
        """
        follower = self._scheduler
        if not isinstance(follower, FollowingScheduler) or len(payload) != PAYLOAD_BYTES:
            return
        show, state = unpack(payload)
        if show != self.table.show % 2**16:
            follower.hear_foreign(state)
            return
        self._heard = True
        arrival = self._in_step.arrived(self.frames, state.frame, moment, follower.follows)
        follower.hear(state, *arrival)

    # -- state ---------------------------------------------------------------------------------

    @property
    def mode(self) -> ReportedMode:
        return _MODES[self._scheduler.mode]

    @property
    def follows(self) -> bool:
        """Whether it follows a board that leads, which it has heard within a second."""
        return isinstance(self._scheduler, FollowingScheduler) and self._scheduler.follows

    @property
    def frame_stretch(self) -> int:
        """By how much its frames should be longer, in 1/256 ms, to stay in step."""
        return self._in_step.stretch if self.follows else 0

    @property
    def told(self) -> bytes | None:
        """What a board that leads has to tell the others after the last frame; else None."""
        state = self._scheduler.told if isinstance(self._scheduler, Leader) else None
        if state is None:
            return None
        if state.mode == "limp" and self._jog_rest >= HELD_FRAMES - STOP_TELLINGS:
            state = replace(state, mode="stopping", limp_asked=False)
        return pack(self.table.show, state)

    @property
    def live_runs(self) -> int:
        return len(self._scheduler.runs)

    @property
    def running_cues(self) -> int:
        """Mask of the cues that run, by index."""
        mask = 0
        for run in self._scheduler.runs.values():
            mask |= 1 << run.index
        return mask

    @property
    def refused(self) -> int:
        return self._scheduler.refused

    @property
    def overruns(self) -> int:
        return self._scheduler.overruns

    @property
    def stuck(self) -> int:
        """Mask of the buttons that have been down for half a minute, by number."""
        return self._scheduler.presses.stuck(self.frames)

    def sensor(self, number: int) -> int | None:
        """A sensor's value, 0 to 1023 of the chip's supply; None: it has not been measured yet."""
        return self._sensors.value(number)

    @property
    def servos(self) -> int:
        """How many there are."""
        return len(self._outputs.servos)

    def stood(self, servo: int) -> int:
        """The pulse that a servo gets; if it gets none the last one, or that of its safe angle.

        Raises IndexError if there is no such servo.
        """
        return self._outputs.stood(servo)

    # -- the frame -----------------------------------------------------------------------------

    def frame(self) -> Frame:
        """Play the next frame."""
        self._mind_battery()
        for button, down in self._channels.frame(self._widths):
            self.button(button, down)
        self._widths = [0] * self._channels.count
        self._sensors.frame(self._readings)
        if self._channels.heard:
            self.heard()
        values = self._sources.values()
        self._scheduler.source_values = dict(enumerate(values))
        for output in self._outputs.listen(values):
            self._scheduler.source_is_lost(output, self.frames * FRAME_CLOCK)
        if self._heard:
            self._heard, self._last_heard = False, self.frames
        requests, self._requests = self._requests, []
        if self.watch is not None and self.watch.is_empty:
            self._scheduler.refused += sum(one.kind == "standby" for one in requests)
            requests = [one for one in requests if one.kind != "standby"]
        self._scheduler.frame(self.frames, requests, self._last_heard)
        if self._scheduler.mode == "ready":
            self._outputs.follow(self.frames * FRAME_CLOCK, self._scheduler.taken)
        self._mind_jog()
        if self._scheduler.mode == "ready":
            self._outputs.shine(self._scheduler.taken, self.frames * FRAME_CLOCK)
        shown = self._outputs.shown(self.frames * FRAME_CLOCK, self._jog)
        self.frames += 1
        return shown

    def _mind_battery(self) -> None:
        watch, mode = self.watch, self.mode
        if watch is None:
            return
        watch.frame(self._battery, starting=mode == ReportedMode.STARTING)
        if mode == ReportedMode.READY and not self.follows and watch.reminds():
            cue = watch.record.cue
            if cue is not None:
                self.trigger(self.table.cues[cue].tag)
        if watch.is_empty and mode in (ReportedMode.STARTING, ReportedMode.READY):
            self.stop()

    def _mind_jog(self) -> None:
        self._jog_frames = max(0, self._jog_frames - 1)
        stopped = self._scheduler.stopped_at == self.frames * FRAME_CLOCK
        if stopped and (self._jog_frames or self._jog_rest):
            self._jog_frames, self._jog_rest = 0, HELD_FRAMES
        if not self._jog_frames:
            self._jog = None
        if self._jog_rest:
            self._jog_rest -= 1
