"""The integer reference player: one call per frame of 20 ms (TABLE.md, sections 2 and 3).

What runs when is said by the scheduler that rehearsals have as well; here it drives a table's
program and a board's integers. The chip and the host-compiled core do the same to the bit. So does
a rehearsal in what it plans; what it shows in closed forms lies within one tick.
"""

from __future__ import annotations

from typing import Final

from firmware_gen.link.protocol import HELD_FRAMES, ReportedMode
from firmware_gen.player.outputs import Frame, TableOutputs
from firmware_gen.player.program import board_program
from firmware_gen.table.records import Table, decode
from sim.rehearsal import scheduler
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
        self._scheduler = scheduler.Scheduler(board_program(self.table), self._outputs)
        self._jog: tuple[int, int] | None = None
        """The servo that is jogged, and where to."""
        self._jog_frames = 0
        """Until it ends."""

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

    def jog(self, servo: int, ticks: int) -> None:
        """Bring one servo's pulse there, slowly (TABLE.md 2.8); only a limp board does."""
        if self.mode == ReportedMode.LIMP:
            self._jog, self._jog_frames = (servo, ticks), HELD_FRAMES

    def heard(self) -> None:
        """The controller was heard: a valid frame of the link, or a change of an input."""
        self._heard = True

    # -- state ---------------------------------------------------------------------------------

    @property
    def mode(self) -> ReportedMode:
        return _MODES[self._scheduler.mode]

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
        if self._heard:
            self._heard, self._last_heard = False, self.frames
        requests, self._requests = self._requests, []
        self._scheduler.frame(self.frames, requests, self._last_heard)
        if any(self._ends_jog(request) for request in requests):
            self._jog = None
        self._jog_frames -= 1
        if self._jog_frames <= 0:
            self._jog = None
        shown = self._outputs.shown(self.frames * FRAME_CLOCK, self._jog)
        self.frames += 1
        return shown

    def _ends_jog(self, request: Request) -> bool:
        if request.kind == "down":
            return request.button == self.table.stop_button
        return request.kind in ("stop", "limp", "standby")
