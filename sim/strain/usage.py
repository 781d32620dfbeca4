"""How a show is used: what each cue takes, and the mix of cues in an hour.

Each cue is rehearsed on its own from a quiet start, once (a cue without end until each of its
loops has come round twice), and its averages are kept; for heat also from every other pose that it
can find (`sim.strain.reachable`). A cue that leaves a part gripping lasts until that grip is let
go. The stated mix
adds them up; the rest of the hour is idle or, without it, parts that hold and lights that
stand as after power-up. Beside a cue the strands of idle go on, on the outputs that it leaves them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import astuple, dataclass, replace
from functools import cached_property
from math import ceil, inf
from typing import Final

import numpy as np

from sim.arrays import Array
from sim.model import Cells, Cue, Move, Press, Repeat, Rig, Servo, Show, Supply
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import Samples, sample
from sim.rig import battery
from sim.rig.disturbance import settled, upright
from sim.rig.grip import pressing
from sim.score.planned_moves import FOLLOWING, following_cue, last_moves
from sim.score.tree import (
    LONGEST_HOLD_MS,
    Lengths,
    acts,
    duration_ms,
    idle_cue,
    outputs_used,
    passes,
    ready_ms,
    timeline,
)
from sim.strain.reachable import Reachable
from sim.strain.torque_and_current import RigWork, work

SAMPLE_MS: Final = 10
"""Averages are taken over samples this far apart (ms), each in the middle of its stretch: there a
current that swells and falls is not taken for less than it is, and no turn is hit by chance."""

FINE_MS: Final = 2
"""The same of what is rehearsed for `FINE_UP_TO_MS` at most. Laws whose acceleration jumps are met
more finely there: 10 ms took the RMS torque of moves of 120 ms for up to 4 % less than it is."""

FINE_UP_TO_MS: Final = 60_000

MIDDLE_CHARGE: Final = 0.5
"""State of charge at which averages of current are taken."""

HOUR_S: Final = 3600.0


@dataclass(frozen=True)
class CueAlone:
    """One cue on its own: its samples over one run, in the worst posture and upright.

    `lasts_s`: how long one run takes, infinite for a cue without end (then the samples show it
    until each of its loops has come round twice). `goes_round`: from and to which sample its
    longest loop without end comes round; of another cue all samples. `worst` is for torque and
    peaks, `settled` (without the wearer's jolts) for heat, `upright` for energy; each is worked
    out when first asked for.
    """

    cue: str | None
    lasts_s: float
    rig: Rig
    samples: Samples
    goes_round: tuple[int | None, int | None] = (None, None)
    step_ms: int = SAMPLE_MS

    @cached_property
    def worst(self) -> RigWork:
        return work(self.rig, self.samples)

    @cached_property
    def settled(self) -> RigWork:
        if self.rig.wearer == settled(self.rig.wearer):
            return self.worst
        return work(self.rig, self.samples, wearer=settled(self.rig.wearer))

    @cached_property
    def upright(self) -> RigWork:
        return work(self.rig, self.samples, MIDDLE_CHARGE, upright(self.rig.wearer))


def run_of(show: Show, cue: Cue | None, pose: Mapping[str, float] | None = None) -> CueAlone:
    """Rehearse one cue with idle beside it; None: a second of standing by without idle.

    `pose`: where the parts stand before (deg, by servo); None: in the safe pose.
    """
    start = ready_ms(show) + 100
    lasts = 1000.0 if cue is None else duration_ms(cue.body) + grip_ms(show.rig, cue)
    seen = max(int(lasts if cue is None else seen_ms(show.rig, cue)), SAMPLE_MS)
    quiet = _with_idle_beside(show if pose is None else _standing(show, pose), cue)
    presses = [] if cue is None else [Press(start, cue=cue.name)]
    trajectories = rehearse(quiet, presses, start + seen + 100)
    step = FINE_MS if seen <= FINE_UP_TO_MS else SAMPLE_MS
    # a run begins in the frame before the press is seen
    begun = (run.start_ms for run in trajectories.runs if cue is not None and run.cue == cue.name)
    first = min(begun, default=float(start))
    samples = sample(trajectories, np.arange(first + step / 2, first + seen, step))
    return CueAlone(
        None if cue is None else cue.name,
        lasts / 1000.0,
        show.rig,
        samples,
        (None, None) if cue is None else _goes_round(cue, step),
        step,
    )


def _goes_round(cue: Cue, step_ms: int) -> tuple[int | None, int | None]:
    """The samples in which the longest loop of a cue without end comes round the second time.

    What stands before the loop happens once: however long the cue goes on, it counts for nothing.
    """
    if duration_ms(cue.body) < inf:
        return None, None
    lengths = Lengths(cue.body)
    loops = [
        (lengths[step.body], start)
        for start, step in timeline(cue.body)
        if isinstance(step, Repeat)
        and passes(step) == inf
        and SAMPLE_MS <= lengths[step.body] < inf > start
    ]
    if not loops:
        return None, None
    once, start = max(loops)
    return int((start + once) // step_ms), int((start + 2.0 * once) // step_ms)


def seen_ms(rig: Rig, cue: Cue) -> float:
    """How long (ms) a cue is rehearsed: with its grips; one without end until each of its loops has
    come round twice."""
    lasts = duration_ms(cue.body) + grip_ms(rig, cue)
    if lasts < inf:
        return lasts
    return max((LONGEST_HOLD_MS, *(last for _, last in rounds_ms(cue))))


def rounds_ms(cue: Cue) -> tuple[tuple[float, float], ...]:
    """The stretches of a cue that may come again and again, for as long as it likes or is held.

    From and to (ms after its start): of a repeat without end the second pass, where the parts begin
    at the places that the first one left; of one while a button is held, its only planned one.
    """
    lengths = Lengths(cue.body)
    found = []
    for start, step in timeline(cue.body):
        if not isinstance(step, Repeat) or not 0.0 < lengths[step.body] < inf > start:
            continue
        once = lengths[step.body]
        if passes(step) == inf:
            found.append((start + once, start + 2.0 * once))
        elif step.while_held:
            found.append((start, start + once))
    return tuple(found)


def grip_ms(rig: Rig, cue: Cue) -> float:
    """How long (ms) parts grip on after a cue that leaves them past their contact, at the most."""
    ends = {name: move.angle_deg for name, move in last_moves(cue).items()}
    left = [
        1000.0 * one.grip.lasts_s
        for one in rig.outputs
        if isinstance(one, Servo)
        and one.grip is not None
        and one.name in ends
        and pressing(one.grip, ends[one.name])
    ]
    return max(left, default=0.0)


def _standing(show: Show, pose: Mapping[str, float]) -> Show:
    """The show whose parts stand so after power-up."""
    outputs = tuple(
        replace(o, safe_deg=pose.get(o.name, o.safe_deg)) if isinstance(o, Servo) else o
        for o in show.rig.outputs
    )
    return replace(show, rig=replace(show.rig, outputs=outputs))


def _with_idle_beside(show: Show, cue: Cue | None) -> Show:
    """The show in which the cue can be started; without idle where nothing runs, or idle itself."""
    score = show.score
    rest = idle_cue(score)
    if cue is None or rest is None or cue.name in (*score.idle, rest.name):
        idle: tuple[str, ...] = ()
    else:
        idle = score.idle
    cues = score.cues if cue is None or cue in score.cues else (*score.cues, cue)
    return replace(show, score=replace(score, cues=cues, idle=idle))


@dataclass(frozen=True, slots=True)
class Share:
    """How much of the time a cue (None: standing by) runs in the mix.

    `rests`: what is left of it by the stated runs. A stated cue without end may go on all that
    time (`Book.goes_on`).
    """

    cue: str | None
    share: float
    rests: bool = False


@dataclass(frozen=True, slots=True)
class Mix:
    """Shares of the time that add up to 1. `stated`: by the score's own figures.

    `crowded`: the stated runs take longer than the time there is; they are scaled down to fit, by
    `asked`: how many times that time they take.

    `alone`: where nothing is stated, what goes on without an end, idle among it: each may also
    take all of the time, because nobody says for how long it goes on.
    """

    shares: tuple[Share, ...]
    stated: bool
    crowded: bool
    asked: float = 1.0
    alone: tuple[str, ...] = ()

    @property
    def ways(self) -> tuple[tuple[Share, ...], ...]:
        """The ways in which the time may pass: that which takes most counts."""
        return (self.shares, *((Share(name, 1.0, rests=True),) for name in self.alone))


class Book:
    """The runs of all cues of a show, rehearsed when first asked for."""

    def __init__(self, show: Show) -> None:
        self.show = show
        self.cues = {cue.name: cue for cue in show.score.cues if cue.name not in show.score.idle}
        self.rest = idle_cue(show.score)
        """All of idle as one cue."""
        if self.rest is not None:
            self.cues[self.rest.name] = self.rest
        live = following_cue(show)
        if live is not None:
            self.cues[live.name] = live
        self.states = Reachable(show)
        self._runs: dict[str | None, CueAlone] = {}
        self._all: dict[str | None, tuple[CueAlone, ...]] = {}

    def __getitem__(self, cue: str | None) -> CueAlone:
        if cue not in self._runs:
            self._runs[cue] = run_of(self.show, None if cue is None else self.cues[cue])
        return self._runs[cue]

    def from_every_pose(self, cue: str | None) -> tuple[CueAlone, ...]:
        """Runs of a cue from every pose that it can find; from the safe pose first."""
        if cue not in self._all:
            written = None if cue is None else self.cues[cue]
            poses = [self._held_open(written, pose) for pose in self.states.poses()[1:]]
            different = {tuple(pose.items()): pose for pose in poses}
            more = (run_of(self.show, written, pose) for pose in different.values())
            self._all[cue] = (self[cue], *more)
        return self._all[cue]

    def _held_open(self, cue: Cue | None, pose: Mapping[str, float]) -> Mapping[str, float]:
        """The pose without grips but those that the cue lets go.

        How long the others last is said by the rig, and counted with the cues that close them.
        """
        to: dict[str, list[float]] = {}
        for act in () if cue is None else acts(cue.body):
            if isinstance(act, Move):
                to.setdefault(act.output, []).append(act.angle_deg)
        found = dict(pose)
        for name, one in self.states.servos.items():
            grip = one.grip
            if grip is None or not pressing(grip, pose[name]):
                continue
            if name not in to or any(pressing(grip, angle) for angle in to[name]):
                found[name] = one.safe_deg
        return found

    def mix(self, window_s: float = HOUR_S) -> Mix:
        """The mix over an hour, or over its busiest stretch of `window_s`.

        In a shorter window each cue runs as often as its hourly figure would have it, rounded up. A
        cue that never ends takes as long as it is rehearsed, and may go on in what is left. Without
        stated figures all cues that end run one after another without a pause, or what never ends
        runs alone, if that takes more.
        """
        score = self.show.score
        rest = None if self.rest is None else self.rest.name
        runs: dict[str, float] = {}
        for usage in score.usage:
            if usage.cue in self.cues:
                often = usage.per_hour * window_s / HOUR_S
                often = often if window_s >= HOUR_S else ceil(often - 1e-9)
                part = self.cues[usage.cue].let_go
                for name in (usage.cue, part) if part in self.cues else (usage.cue,):
                    runs[name] = runs.get(name, 0.0) + often
        if not runs:
            return self._one_after_another()
        busy = {name: often * self.seconds(name) for name, often in runs.items()}
        total = sum(busy.values())
        crowded = total > window_s * (1.0 + 1e-9)
        scale = 1.0 / total if crowded else 1.0 / window_s
        shares = [Share(cue, seconds * scale) for cue, seconds in busy.items()]
        left = 1.0 - sum(share.share for share in shares)
        if left > 1e-12:
            shares.append(Share(rest, left, rests=True))
        return Mix(tuple(shares), True, crowded, max(total / window_s, 1.0))

    def _one_after_another(self) -> Mix:
        """The mix where none is stated: what ends, or each thing without an end alone."""
        alone = tuple(name for name, cue in self.cues.items() if self._has_no_end(cue))
        busy = {name: self.seconds(name) for name in self.cues if name not in alone}
        total = sum(busy.values())
        shares = tuple(Share(name, seconds / total) for name, seconds in busy.items() if total)
        return Mix(shares or (Share(None, 1.0, rests=True),), False, False, alone=alone)

    def _has_no_end(self, cue: Cue) -> bool:
        return cue is self.rest or duration_ms(cue.body) == inf

    @cached_property
    def goes_on(self) -> tuple[str, ...]:
        """Cues of the stated mix that have no end: until something takes over they run on. So does
        what follows a source."""
        stated = [usage.cue for usage in self.show.score.usage if usage.per_hour > 0.0]
        stated.append(FOLLOWING)
        return tuple(
            name
            for name in dict.fromkeys(stated)
            if name in self.cues and duration_ms(self.cues[name].body) == inf
        )

    def seconds(self, cue: str) -> float:
        """How long one run of a cue takes (s); of an endless one, as long as it is rehearsed."""
        return seen_ms(self.show.rig, self.cues[cue]) / 1000.0


@dataclass(frozen=True, slots=True)
class Currents:
    """Currents of one supply over the mix, in ampere.

    At the feed (behind any regulator): greatest, mean and RMS. Of the source (before it): mean and
    RMS. The greatest is that of single cues, each on its own in the worst posture.
    """

    peak_a: float
    mean_a: float
    rms_a: float
    source_mean_a: float
    source_rms_a: float


def currents(book: Book, supply: Supply, mix: Mix) -> Currents:
    """Mean and RMS over the mix: weighted by time, squares for the RMS.

    Each is that of the way in which the time may pass (`Mix.ways`) that takes most.
    """
    ways = [_given(book, supply, shares) for shares in mix.ways]
    mean, square, source_mean, source_square = np.max(ways, axis=0).tolist()
    names: list[str | None] = [*book.cues, None]
    peak = max(float(np.max(book[n].worst.supplies[supply.name].feed_a)) for n in names)
    return Currents(peak, mean, square**0.5, source_mean, source_square**0.5)


def most_currents(books: Iterable[Book], supply: Supply) -> Currents:
    """Each of the currents as great as in any of the books; see `run_time`."""
    rows = [astuple(currents(book, supply, book.mix())) for book in books]
    return Currents(*np.max(rows, axis=0).tolist())


def source_mean_a(book: Book, supply: Supply, mix: Mix) -> float:
    """Mean current (A) of the source over the mix, as in `currents`, from the cues in it alone."""
    return max(_given(book, supply, shares)[2] for shares in mix.ways)


def _given(book: Book, supply: Supply, shares: Sequence[Share]) -> tuple[float, ...]:
    """Mean and mean square of a feed (A, A2), then of its source, over shares of the time."""
    found = np.zeros(4)
    for share in shares:
        for n, row in enumerate(_running(book, supply, share)):
            found[2 * n : 2 * n + 2] += share.share * np.array([np.mean(row), np.mean(row**2)])
    return tuple(found.tolist())


def _running(book: Book, supply: Supply, share: Share) -> tuple[Array, Array]:
    """What a supply and its source give (A, over time) in a part of the mix.

    While a cue runs; while the show stands by or is idle, in the worst of the poses that cues
    leave, because a part that was left raised is held for the rest of the hour; or while a cue that
    has no end goes on, if that takes more. Of what goes on without end only its loop counts.
    """
    cue = share.cue
    resting = cue is None or (book.rest is not None and cue == book.rest.name)
    moved = outputs_used(book.cues[cue].body) if cue is not None else frozenset()
    kept = book.states.servos.keys() - moved  # what stays as other cues left it
    runs = book.from_every_pose(cue) if resting and kept else (book[cue],)
    if share.rests:
        runs = (*runs, *(book[name] for name in book.goes_on))
    given = []
    for run in runs:
        loads = run.upright.supplies[supply.name]
        seen = slice(*run.goes_round) if share.rests else slice(None)
        given.append((loads.feed_a[seen], loads.source_a[seen]))
    return max(given, key=lambda one: float(np.mean(one[1])))


@dataclass(frozen=True, slots=True)
class RunTime:
    """How long (h) a battery lasts, and the mean current (A) that it gives over `mix`."""

    hours: float
    mean_a: float
    mix: Mix


def run_time(books: Iterable[Book], supply: Supply) -> RunTime | None:
    """How long a battery lasts, its usable part; None: the source is no battery.

    The one place that says so: whoever tells a run time asks here. `books`: of the show as it is
    looked at (`sim.score.draws.ways_to_look`); the one in which the battery is empty first
    counts. A wait is drawn evenly, so over many passes charge and time are halfway between those
    of the shortest and of the longest waits, and their ratio, the mean current, lies between them.
    """
    if not isinstance(supply.source, Cells):
        return None
    mixes = [(book, book.mix()) for book in books]
    mean_a, mix = max(
        ((source_mean_a(book, supply, mix), mix) for book, mix in mixes), key=lambda one: one[0]
    )
    return RunTime(battery.run_time_h(battery.pack_ah(supply.source), mean_a), mean_a, mix)
