"""The rehearsal: what a show does when its buttons are pressed at given times.

Each board plays for itself by the rules of the table's specification, section 2
(`sim.rehearsal.scheduler`). Requests are taken at the player's frames, as on the board; between
the frames at which something happens nothing is computed. Where a board leads, it alone takes
requests. The others hear in each frame what it tells, on a line that loses nothing, by section 7:
it tells of one run a frame, so of two that start together they hear one after the other.

Motions are planned in the board's integers; they and the light come out as closed-form pieces
(`sim.rehearsal.trajectories`).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from math import inf

from sim.model import Board, Press, Show
from sim.rehearsal.channels import radio_of, radio_silence
from sim.rehearsal.followers import next_change, value_at
from sim.rehearsal.following import FollowingScheduler
from sim.rehearsal.leading import Leader
from sim.rehearsal.outputs import OutputRows
from sim.rehearsal.requests import Hearing, Request, merged, requests_by_frame
from sim.rehearsal.scheduler import Journal, Mode, Run, Scheduler
from sim.rehearsal.sensing import sensor_values
from sim.rehearsal.trajectories import CueRun, ModeSpan, Refusal, Trajectories
from sim.rulebook import CLOCK_PER_MS, FRAME_CLOCK, RUNS
from sim.score.planned_moves import motion_limits
from sim.score.program import PlayedCue
from sim.score.threads import board_program
from sim.score.tree import Act


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
    boards: list[_PlayedBoard] = []
    for one in show.rig.boards:
        outputs = OutputRows(show, one.name, limits)
        radio = radio_of(show, one.name, pressed)
        hearing = Hearing(spans, requests, radio.heard)
        values = {**radio.values, **sensor_values(show, one.name, pressed)}
        asked = merged(requests, radio.requests)
        boards.append(_PlayedBoard(show, one, outputs, asked, hearing, values))
    last = length_ms * CLOCK_PER_MS // FRAME_CLOCK
    if show.rig.leader is None:
        for board in boards:
            board.play(last)
    else:
        _play_led(boards, last)
    for board in boards:
        board.finish(length_ms * CLOCK_PER_MS)
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
        end = max(begin, time / CLOCK_PER_MS)
        self.runs.append(CueRun(name, self._board, begin, end, run.scale))

    def refused(self, cues: Sequence[PlayedCue[Act]], time: int) -> None:
        at = time / CLOCK_PER_MS
        self.refusals += [Refusal(self._board, at, str(cue.name)) for cue in cues]


class _PlayedBoard:
    """One board of a rehearsal.

    Args:
        requests: what is asked of it, by frame; a board that follows is asked nothing.
        values: by source, steps of its value.
    """

    def __init__(
        self,
        show: Show,
        board: Board,
        outputs: OutputRows,
        requests: Mapping[int, list[Request]],
        hearing: Hearing,
        values: Mapping[str, Sequence[tuple[int, int | None]]],
    ) -> None:
        self.outputs = outputs
        self.diary = _Diary(board.name)
        program = board_program(show, board.name)
        leader = show.rig.leader
        self.leader: Leader[Act] | None = None
        self.follower: FollowingScheduler[Act] | None = None
        self._scheduler: Scheduler[Act]
        if leader is None:
            self._scheduler = Scheduler(program, outputs, self.diary)
        elif leader.name == board.name:
            self._scheduler = self.leader = Leader(program, outputs, self.diary)
        else:
            self._scheduler = self.follower = FollowingScheduler(
                program, outputs, self.diary, joins=board.joins
            )
        self._requests = {} if self.follower else requests
        self._asked = sorted(self._requests)
        self._hearing = hearing
        loses = program.lost is not None and not self.follower  # one that follows hears each frame
        self._lost_frames = program.lost_frames if loses else 0
        followed = {one.follow.source for one in outputs.followers.values()}
        followed |= {str(cue.scale.source) for cue in program.cues if cue.scale is not None}
        self._sources = {name: steps for name, steps in values.items() if name in followed}

    def play(self, last: int) -> None:
        """Play every frame in which something can happen, up to the last one."""
        frame: float = 0
        while frame <= last:
            self.frame(int(frame))
            frame = self.next_frame(int(frame))

    def next_frame(self, number: int) -> float:
        """The next frame in which something can happen on this board by itself."""
        waiting = bisect_right(self._asked, number)
        return min(
            self._scheduler.next_frame(number),
            self._asked[waiting] if waiting < len(self._asked) else inf,
            self._hearing.reaches(number, self._lost_frames) if self._lost_frames else inf,
            next_change(self._sources.values(), number),
            inf if self.outputs.settled else number + 1,
        )

    def frame(self, number: int) -> None:
        """Play one frame."""
        heard = number - self._hearing.silent_frames(number) if self._lost_frames else -1
        self.outputs.shown = (number - 1) * FRAME_CLOCK
        now = {name: value_at(steps, number) for name, steps in self._sources.items()}
        self._scheduler.source_values = dict(now)
        for name in self.outputs.listen(now):
            self._scheduler.source_is_lost(name, number * FRAME_CLOCK)
        self._scheduler.frame(number, self._requests.get(number, ()), heard)
        if self._scheduler.mode == "ready":
            self.outputs.follow(self._scheduler.taken, number * FRAME_CLOCK)
            self.outputs.shine(self._scheduler.taken, number * FRAME_CLOCK)

    def finish(self, length: int) -> None:
        """Bring everything to its end at a time, in units of the player's clock."""
        for run in self._scheduler.runs.values():
            self.diary.ended(run, length)
        self.diary.entered(self._scheduler.mode, length)
        self.outputs.shown = length
        self.outputs.cut_power(length + FRAME_CLOCK)
        for shining in self.outputs.shining.values():
            shining.end((length + FRAME_CLOCK) / CLOCK_PER_MS)


def _play_led(boards: Sequence[_PlayedBoard], last: int) -> None:
    """Play all boards frame by frame: whoever leads tells of another run in each of them.

    Once all that runs has been told without any change, the frames until something is planned are
    left out: as many as bring the same run to its turn.
    """
    leading = next(board for board in boards if board.leader is not None)
    assert leading.leader is not None
    following = [board for board in boards if board is not leading]
    number = quiet = 0
    while number <= last:
        leading.frame(number)
        state = leading.leader.told
        for board in following:
            if board.follower is not None and state is not None:
                board.follower.hear(state, number)
            board.frame(number)
        coming = min(last + 1, *(board.next_frame(number) for board in boards))
        quiet = quiet + 1 if coming > number + 1 else 0
        number += 1
        if quiet > RUNS:
            turns = leading.leader.turns
            number += int(coming - number) // turns * turns
