"""The rehearsal: what a show does when its buttons are pressed at given times.

Each board plays for itself by the rules of the table's specification, section 2
(`sim.rehearsal.scheduler`). Requests are taken at the player's frames, as on the board; between
the frames at which something happens nothing is computed. Motions are planned in the board's
integers; they and the light come out as closed-form pieces (`sim.rehearsal.trajectories`).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from math import inf

from sim.model import Press, Show
from sim.rehearsal.channels import radio_of, radio_silence
from sim.rehearsal.followers import next_change, value_at
from sim.rehearsal.outputs import OutputRows
from sim.rehearsal.requests import Hearing, Request, merged, requests_by_frame
from sim.rehearsal.scheduler import Journal, Mode, Run, Scheduler
from sim.rehearsal.sensing import sensor_values
from sim.rehearsal.trajectories import CueRun, ModeSpan, Refusal, Trajectories
from sim.rulebook import CLOCK_PER_MS, FRAME_CLOCK
from sim.score.program import BoardProgram, PlayedCue
from sim.score.threads import board_program
from sim.score.tree import Act, motion_limits


def rehearse(
    show: Show,
    presses: Iterable[Press],
    length_ms: int,
    silences: Iterable[tuple[float, float]] | None = None,
) -> Trajectories:
    """Play `presses` on every board of the show, for `length_ms` from power-up.

    The remote is heard all the time but for the spans `silences` (from, to, in ms). None: the show
    is steered by the radio from when a channel is set, so that nothing else is heard from then on
    but what is pressed; without channels it is heard all the time. Raises
    `sim.score.threads.ThreadError` for a cue that no board could run.
    """
    pressed = tuple(sorted(presses, key=lambda press: press.at_ms))
    requests = requests_by_frame(pressed)
    spans = tuple(radio_silence(show, pressed) if silences is None else silences)
    limits = motion_limits(show)
    names = [board.name for board in show.rig.boards]
    boards = [
        _Board(board_program(show, name), OutputRows(show, name, limits), name) for name in names
    ]
    for board in boards:
        radio = radio_of(show, board.name, pressed)
        hearing = Hearing(spans, requests, radio.heard)
        values = {**radio.values, **sensor_values(show, board.name, pressed)}
        board.play(merged(requests, radio.requests), hearing, values, length_ms)
    return Trajectories(
        show,
        length_ms,
        {name: tuple(row) for board in boards for name, row in board.outputs.motions.items()},
        {name: tuple(row) for board in boards for name, row in board.outputs.powered.items()},
        {name: tuple(row) for board in boards for name, row in board.outputs.lights.items()},
        {name: tuple(row) for board in boards for name, row in board.outputs.effects.items()},
        {name: tuple(row) for board in boards for name, row in board.outputs.switches.items()},
        tuple(run for board in boards for run in board.diary.runs),
        tuple(mode for board in boards for mode in board.diary.modes),
        tuple(refusal for board in boards for refusal in board.diary.refusals),
        pressed,
        {name: tuple(one.spans) for board in boards for name, one in board.outputs.shining.items()},
        {
            name: tuple(one.spans)
            for board in boards
            for name, one in board.outputs.followers.items()
            if one.spans
        },
    )


class _Diary(Journal[Act]):
    """What ran on one board, from when to when."""

    def __init__(self, board: str) -> None:
        self._board = board
        self.runs: list[CueRun] = []
        self.modes: list[ModeSpan] = []
        self.refusals: list[Refusal] = []
        self._mode: Mode = "starting"
        self._since = 0.0

    def entered(self, mode: Mode, time: int) -> None:
        at = time / CLOCK_PER_MS
        if at > self._since:
            self.modes.append(ModeSpan(self._board, self._mode, self._since, at))
        self._mode, self._since = mode, at

    def ended(self, run: Run[Act], time: int) -> None:
        begin = max(0, run.began) / CLOCK_PER_MS
        name = str(run.cue.name)
        self.runs.append(CueRun(name, self._board, begin, max(begin, time / CLOCK_PER_MS)))

    def refused(self, cues: Sequence[PlayedCue[Act]], time: int) -> None:
        at = time / CLOCK_PER_MS
        self.refusals += [Refusal(self._board, at, str(cue.name)) for cue in cues]


class _Board:
    """One board of a rehearsal."""

    def __init__(self, program: BoardProgram[Act], outputs: OutputRows, name: str) -> None:
        self.name = name
        self.outputs = outputs
        self.diary = _Diary(name)
        self._scheduler = Scheduler(program, outputs, self.diary)
        self._lost_frames = 0 if program.lost is None else program.lost_frames

    def play(
        self,
        requests: Mapping[int, list[Request]],
        hearing: Hearing,
        values: Mapping[str, Sequence[tuple[int, int | None]]],
        length_ms: int,
    ) -> None:
        """Play every frame in which something can happen, up to the length.

        `values`: by source, steps of its value.
        """
        length = length_ms * CLOCK_PER_MS
        last = length // FRAME_CLOCK
        asked = sorted(requests)
        followed = {one.follow.source for one in self.outputs.followers.values()}
        sources = {name: steps for name, steps in values.items() if name in followed}
        frame: float = 0
        while frame <= last:
            number = int(frame)
            heard = number - hearing.silent_frames(number) if self._lost_frames else -1
            self.outputs.shown = (number - 1) * FRAME_CLOCK
            now = {name: value_at(steps, number) for name, steps in sources.items()}
            for name in self.outputs.listen(now):
                self._scheduler.source_is_lost(name, number * FRAME_CLOCK)
            self._scheduler.frame(number, requests.get(number, ()), heard)
            if self._scheduler.mode == "ready":
                self.outputs.follow(self._scheduler.taken, number * FRAME_CLOCK)
                self.outputs.shine(self._scheduler.taken, number * FRAME_CLOCK)
            waiting = bisect_right(asked, number)
            frame = min(
                self._scheduler.next_frame(number),
                asked[waiting] if waiting < len(asked) else inf,
                hearing.reaches(number, self._lost_frames) if self._lost_frames else inf,
                next_change(sources.values(), number),
                inf if self.outputs.settled else number + 1,
            )
        for run in self._scheduler.runs.values():
            self.diary.ended(run, length)
        self.diary.entered(self._scheduler.mode, length)
        self.outputs.shown = length
        self.outputs.cut_power(length + FRAME_CLOCK)
        for shining in self.outputs.shining.values():
            shining.end((length + FRAME_CLOCK) / CLOCK_PER_MS)
