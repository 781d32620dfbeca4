"""One board during a rehearsal: requests, runs and threads, frame by frame where anything happens.

The rules are those of the table's specification, section 2. Times are whole 1/256 ms, the player's
clock.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from math import ceil, inf
from typing import Final, Literal

from sim.model import FRAME_MS, Cue, Move, Press, Show
from sim.rehearsal.outputs import Outputs
from sim.rehearsal.takeover import TICKS_PER_MS
from sim.rehearsal.trajectories import CueRun, Mode, ModeSpan, Refusal
from sim.score.threads import Do, Fork, LoopEnd, LoopStart, Program, Thread, Wait, cues_on, program
from sim.score.tree import ENABLE_INTERVAL_FRAMES, Act

FRAME: Final = FRAME_MS * TICKS_PER_MS
RUNS: Final = 8
THREADS: Final = 10
OPS_A_FRAME: Final = 256
LOST_UNIT_MS: Final = 100
NEVER: Final = 2**60


# -- requests -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Request:
    kind: Literal["trigger", "down", "up", "stop", "limp", "standby"]
    cue: str = ""
    button: int = 0


def requests_by_frame(presses: Iterable[Press]) -> dict[int, list[Request]]:
    """Requests by the frame that takes them, in order of arrival."""
    arrivals: list[tuple[float, int, Request]] = []
    for press in sorted(presses, key=lambda press: press.at_ms):
        if press.button is not None:
            arrivals.append((press.at_ms, len(arrivals), Request("down", button=press.button)))
            up = press.at_ms + press.held_ms
            arrivals.append((up, len(arrivals), Request("up", button=press.button)))
        elif press.cue is not None:
            arrivals.append((press.at_ms, len(arrivals), Request("trigger", press.cue)))
        elif press.action is not None:
            arrivals.append((press.at_ms, len(arrivals), Request(press.action)))
    frames: dict[int, list[Request]] = {}
    for at_ms, _, request in sorted(arrivals, key=lambda arrival: arrival[:2]):
        frames.setdefault(max(0, ceil(at_ms / FRAME_MS)), []).append(request)
    return frames


class Hearing:
    """When the remote was last heard: in every frame, but for the silences."""

    def __init__(
        self, silences: Iterable[tuple[float, float]], requests: Iterable[int] = ()
    ) -> None:
        self._silences = sorted(silences)
        self._requests = sorted(requests)

    def silent_frames(self, frame: int) -> int:
        """Frames since something was heard; more than `frame` before anything was."""
        last = frame
        for start, end in reversed(self._silences):
            if start < last * FRAME_MS <= end:
                last = int(start // FRAME_MS)
        heard = [at for at in self._requests if last < at <= frame]
        return frame - max(heard, default=last)

    def reaches(self, frame: int, silent: int) -> float:
        """The first frame after `frame` at which the silence may have that length."""
        edges = [int(start // FRAME_MS) for start, _ in self._silences]
        if edges:
            edges += self._requests
        return min((at + silent for at in edges if at + silent > frame), default=inf)


# -- runs -----------------------------------------------------------------------------------------


@dataclass(eq=False, slots=True)
class _Run:
    """A cue that is running on a board."""

    cue: Cue
    number: int
    program: Program
    owned: set[str]
    button: int | None
    held: bool
    again: bool
    restarted: int
    threads: int = 0
    end: int = 0
    began: int = 0


@dataclass(eq=False, slots=True)
class _Thread:
    run: _Run
    ops: Thread
    now: int
    at: int = 0
    loops: list[list[int]] = field(default_factory=list)
    """Open loops: where the body begins, and passes left."""


def _outputs(planned: Program) -> frozenset[str]:
    """The outputs that a program's statements drive."""
    return frozenset(op.act.output for row in planned.threads for op in row if isinstance(op, Do))


class BoardPlay:
    """One board's player: modes, requests, runs and threads."""

    def __init__(self, show: Show, name: str, outputs: Outputs) -> None:
        self.show, self.name, self.outputs = show, name, outputs
        self.cues = {cue.name: cue for cue in cues_on(show, name)}
        self.programs = {cue.name: program(cue, outputs.names) for cue in self.cues.values()}
        self.uses = {name: _outputs(planned) for name, planned in self.programs.items()}
        self.runs: dict[int, _Run] = {}
        self.threads: dict[int, _Thread] = {}
        self.waiting: dict[str, int | None] = {}
        self.down: set[int] = set()
        self.mode: Mode = "starting"
        self.started = 0
        self.disarmed = -1
        lost_ms = show.score.lost_ms
        self.lost_frames = 0 if lost_ms is None else 5 * max(1, ceil(lost_ms / LOST_UNIT_MS))
        self.past: list[CueRun] = []
        self.modes: list[ModeSpan] = []
        self.refusals: list[Refusal] = []
        self.unsettled = False
        """Whether this frame changed something that the next one may act on."""
        self._mode_since = 0.0

    def play(self, requests: Mapping[int, list[Request]], hearing: Hearing, length_ms: int) -> None:
        """Run every frame at which something can happen, up to the length."""
        length = length_ms * TICKS_PER_MS
        frames = sorted(requests)
        self.outputs.stand_by(0)
        frame = 0
        while frame * FRAME <= length:
            self._frame(frame, requests.get(frame, []), hearing)
            frame = self._next(frame, frames, hearing)
        for run in self.runs.values():
            self._note(run, length)
        self._enter(self.mode, length)
        self.outputs.cut_power(length + FRAME)

    # -- one frame ------------------------------------------------------------------------------

    def _frame(self, frame: int, requests: list[Request], hearing: Hearing) -> None:
        now = frame * FRAME
        self.unsettled = bool(requests)
        self.outputs.shown = now - FRAME
        enabling = len(self.outputs.servos) * ENABLE_INTERVAL_FRAMES
        if self.mode == "starting" and frame >= self.started + enabling:
            self._enter("ready", now)
            self.outputs.light_safe(now)
        for request in requests:
            self._take(request, frame)
        if self.mode == "ready":
            self._listen(frame, hearing)
            for name in [name for name in self.cues if name in self.waiting]:
                if not any(run.owned & self.uses[name] for run in self.runs.values()):
                    self._start(name, self.waiting[name], now, quietly=True)
            idle = self.show.score.idle
            if not self.runs and not self.waiting and idle in self.cues:
                self._start(idle, None, now)
        self._run_threads(now)
        if self.mode == "stopping" and self.outputs.motions_end() <= now:
            self._limp(now)
        if self.mode == "starting":
            for number, name in enumerate(self.outputs.servos):
                if frame == self.started + number * ENABLE_INTERVAL_FRAMES:
                    self.outputs.power(name, now)

    def _next(self, frame: int, requests: list[int], hearing: Hearing) -> int:
        """The next frame at which anything can happen."""
        if self.unsettled:
            return frame + 1
        coming: list[float] = [*requests[bisect_right(requests, frame) :][:1]]
        if self.threads:
            coming.append(ceil(min(thread.now for thread in self.threads.values()) / FRAME))
        if self.mode == "starting":
            gone = (frame - self.started) // ENABLE_INTERVAL_FRAMES
            coming.append(self.started + (gone + 1) * ENABLE_INTERVAL_FRAMES)
        elif self.mode == "stopping":
            coming.append(ceil(self.outputs.motions_end() / FRAME))
        if self.lost_frames:
            coming.append(min(NEVER, hearing.reaches(frame, self.lost_frames)))
        return max(frame + 1, int(min(coming, default=NEVER)))

    def _listen(self, frame: int, hearing: Hearing) -> None:
        """Start the lost cue, once for each silence."""
        lost = self.show.score.lost_cue
        if not self.lost_frames or lost not in self.cues:
            return
        silent = hearing.silent_frames(frame)
        if silent >= self.lost_frames and frame - silent > self.disarmed:
            if self._start(lost, None, frame * FRAME):
                self.disarmed = frame
            else:
                self.unsettled = True

    # -- modes and requests ---------------------------------------------------------------------

    def _enter(self, mode: Mode, now: int) -> None:
        at = now / TICKS_PER_MS
        if at > self._mode_since:
            self.modes.append(ModeSpan(self.name, self.mode, self._mode_since, at))
        self.mode, self._mode_since, self.unsettled = mode, at, True

    def _take(self, request: Request, frame: int) -> None:
        now = frame * FRAME
        if request.kind == "trigger" and request.cue in self.cues:
            self._start(request.cue, None, now)
        elif request.kind == "down":
            self.down.add(request.button)
            if request.button == self.show.score.stop_button:
                self._stop(now)
                return
            for binding in self.show.score.bindings:
                if binding.button == request.button and binding.cue in self.cues:
                    self._start(binding.cue, request.button, now)
        elif request.kind == "up":
            self.down.discard(request.button)
            for run in self.runs.values():
                run.held &= run.button != request.button
        elif request.kind == "stop":
            self._stop(now)
        elif request.kind == "limp" and self.mode != "limp":
            self._limp(now)
        elif request.kind == "standby" and self.mode == "limp":
            self._enter("starting", now)
            self.started = frame
            self.outputs.stand_by(now)

    def _stop(self, now: int) -> None:
        if self.mode == "ready":
            self._end_all(now)
            self._enter("stopping", now)
            self.outputs.steady(self.outputs.lights, now)
            self.outputs.throw_safe(now)
            self.outputs.move_safe(now - FRAME)
        elif self.mode != "limp":
            self._limp(now)

    def _limp(self, now: int) -> None:
        self._end_all(now)
        self._enter("limp", now)
        self.outputs.throw_safe(now)
        self.outputs.cut_power(now)

    def _end_all(self, now: int) -> None:
        self.waiting.clear()
        for run in list(self.runs.values()):
            self._end(run, now)

    # -- runs -----------------------------------------------------------------------------------

    def _start(self, name: str, button: int | None, now: int, quietly: bool = False) -> bool:
        """Start a cue, or let it wait; False where it is refused."""
        cue, uses = self.cues[name], self.uses[name]
        idle = self.show.score.idle
        others = [r for r in self.runs.values() if r.cue.name != idle and r.owned & uses]
        if self.mode == "ready" and others and cue.conflict == "wait":
            self.waiting[name] = button
            return True
        ending = [
            r for r in self.runs.values() if r.cue.name == idle or (r.owned and r.owned <= uses)
        ]
        left = [run for run in self.runs.values() if run not in ending]
        threads = sum(run.program.reserved for run in left) + self.programs[name].reserved
        blocked = others and cue.conflict == "refuse"
        if self.mode != "ready" or blocked or len(left) >= RUNS or threads > THREADS:
            if not quietly:
                self.refusals.append(Refusal(self.name, now / TICKS_PER_MS, name))
            return False
        for run in ending:
            self._end(run, now)
        for run in left:
            run.owned -= uses
        self.outputs.steady(uses, now)
        self.waiting.pop(name, None)
        self._launch(cue, button, now - FRAME)
        return True

    def _launch(self, cue: Cue, button: int | None, at: int) -> None:
        number = next(n for n in range(RUNS) if n not in self.runs)
        run = _Run(
            cue,
            number,
            self.programs[cue.name],
            set(self.uses[cue.name]),
            button,
            held=button is not None and button in self.down,
            again=any(
                b.while_held and b.button == button and b.cue == cue.name
                for b in self.show.score.bindings
            ),
            restarted=at,
            began=max(0, at),
        )
        self.runs[number] = run
        self._new_thread(run, 0, at)
        self.unsettled = True

    def _end(self, run: _Run, now: int) -> None:
        self._note(run, now)
        del self.runs[run.number]
        for number in [n for n, thread in self.threads.items() if thread.run is run]:
            del self.threads[number]
        self.unsettled = True

    def _note(self, run: _Run, end: int) -> None:
        begin, until = run.began / TICKS_PER_MS, max(run.began, end) / TICKS_PER_MS
        self.past.append(CueRun(run.cue.name, self.name, begin, until))

    # -- threads --------------------------------------------------------------------------------

    def _run_threads(self, now: int) -> None:
        for _ in range(OPS_A_FRAME):
            due = min(((t.now, number) for number, t in self.threads.items()), default=None)
            if due is None or due[0] > now:
                return
            self._step(due[1], self.threads[due[1]])
        for thread in self.threads.values():
            thread.now = max(thread.now, now)

    def _step(self, number: int, thread: _Thread) -> None:
        run = thread.run
        if thread.at == len(thread.ops):
            self._finish(number, thread)
            return
        match thread.ops[thread.at]:
            case Wait(duration_ms):
                thread.now += duration_ms * TICKS_PER_MS
            case Do(act):
                if not self._act(act, thread):
                    return
            case LoopStart():
                thread.loops.append([thread.at, 0])
            case LoopEnd():
                self._loop_end(thread)
            case Fork(index):
                if run.threads >= run.program.reserved or len(self.threads) >= THREADS:
                    thread.now += FRAME
                    return
                self._new_thread(run, index, thread.now)
        thread.at += 1

    def _act(self, act: Act, thread: _Thread) -> bool:
        """Carry out a statement; False where it has to wait for its servo's last move."""
        run, name = thread.run, act.output
        if name not in run.owned:
            return True
        if isinstance(act, Move) and self.outputs.movers.get(name) is run:
            end = self.outputs.motion_end(name)
            if end > thread.now:
                thread.now = end
                return False
        self.outputs.act(act, thread.now, run, run.cue.name)
        return True

    def _loop_end(self, thread: _Thread) -> None:
        begin, done = thread.loops[-1]
        loop = thread.ops[begin]
        assert isinstance(loop, LoopStart)
        counted = loop.times is None or done + 1 < loop.times
        if thread.run.held if loop.while_held else counted:
            thread.loops[-1][1] += 1
            thread.at = begin
        else:
            thread.loops.pop()

    def _new_thread(self, run: _Run, index: int, at: int) -> None:
        number = next(n for n in range(THREADS) if n not in self.threads)
        self.threads[number] = _Thread(run, run.program.threads[index], at)
        run.threads += 1

    def _finish(self, number: int, thread: _Thread) -> None:
        run = thread.run
        del self.threads[number]
        run.threads -= 1
        run.end = max(run.end, thread.now)
        if run.threads:
            return
        if run.again and run.held:
            run.restarted = max(run.end, run.restarted + FRAME)
            self._new_thread(run, 0, run.restarted)
        else:
            self._end(run, run.end)
