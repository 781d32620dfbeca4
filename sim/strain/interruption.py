"""Moves that another cue cuts short: the worst that can happen to each servo.

A cue that takes over a servo in motion brakes it at the stated acceleration while (or before) the
new move runs; the board stretches the new move until speed and acceleration keep their limits.
The rule is that of the rehearsal and of a table's player (`sim.rehearsal.takeover`).

Two answers, and each says which it is:

* a bound in closed form: whatever is interrupted, and however often, the rule keeps the part's
  speed and acceleration within the servo's limits. The operating point with both at their limit,
  at the worst angle of the travel, cannot be passed.
* a search: every planned move, cut by every first move of every cue that may take over (and by
  the stop), at instants spread over the move and closed in on round the worst. It covers single
  interruptions; the bound covers chains of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np

from sim.arrays import Array
from sim.model import MINIMUM_JERK, NO_MARK, Cue, Gear, Law, Move, Rig, Servo, Show
from sim.rehearsal.fixed_motion import limits_of
from sim.rehearsal.motion import kinematics
from sim.rehearsal.takeover import POSITIONS_PER_DEG, REAL_ARRAYS, Takeover, take_over
from sim.rulebook import CLOCK_PER_MS, FRAME_S
from sim.score.law_numbers import law_numbers
from sim.score.laws import at_share, ramp_shares, shape
from sim.score.planned_moves import PlannedMove, glides
from sim.score.tree import acts_in_time
from sim.strain.envelope import OperatingPoints, operate
from sim.strain.reachable import Reachable

KEPT: Final = 256
"""Answers that are kept while a show is edited: those of the most servos, a few times over."""

STOP: Final = "stop"
"""In place of a cue's name: the controlled move to the safe pose."""

MOTIONS_KEPT: Final = 60
"""Motions of a servo that are taken as cut: the fastest ones (own limit)."""

ENTRIES_KEPT: Final = 33
"""Cues that may cut: those with the quickest first move (own limit)."""

PAIRS_KEPT: Final = 64
"""Pairs of moves that are searched: the fastest, and those that stretch longest (own limit)."""

_LONGEST_KEPT: Final = 8

_INSTANTS: Final = 9

MS_PER_S: Final = 1000.0

_Interrupting: TypeAlias = tuple[PlannedMove, str, Move]
_Cutting: TypeAlias = tuple[str, bool, Move]
"""A cue, whether it takes outputs over, and its first move of the servo."""


@dataclass(frozen=True, slots=True)
class Interruption:
    """The worst instant at which cue `by` takes over one servo from `cue`.

    `moving` is cut `at_ms` after its start; `then` is what `by` asks. The operating point of the
    horn at its worst (units as in `sim.strain.envelope`), the part's angle there, and `delay_ms`:
    how much longer than written the new move takes at the most.
    """

    servo: str
    cue: str
    by: str
    moving: PlannedMove
    then: Move
    at_ms: float
    share: float
    torque_nm: float
    speed_deg_s: float
    allowed_nm: float
    angle_deg: float
    delay_ms: float


@dataclass(frozen=True, slots=True)
class Cuts:
    """Interruptions of one servo.

    `bound_share`: no interruption, nor any chain of them, works the servo harder (closed form).
    `bound_keeps`: that alone keeps the margin. `found`: the worst of each pair of cues, hardest
    first (search); empty where there is none.
    """

    servo: str
    bound_share: float
    bound_keeps: bool
    found: tuple[Interruption, ...]


def interruptions(
    show: Show,
    voltage_v: Mapping[str, float] | None = None,
    states: Reachable | None = None,
) -> tuple[Cuts, ...]:
    """The worst interruptions of every servo of a show.

    `voltage_v`: what arrives, by board; None: as if each servo alone moved. `states`: what the
    show's planned moves reach, or those of them that are asked about.
    """
    states = Reachable(show) if states is None else states
    moves, limits, hardest = states.planned, states.table, states.in_motion
    own: dict[str, list[PlannedMove]] = {}
    for move in moves:
        own.setdefault(move.move.output, []).append(move)
    into_idle = glides(show)
    results = []
    for one in (o for o in show.rig.outputs if isinstance(o, Servo)):
        volts = None if voltage_v is None else voltage_v.get(one.board)
        table = limits[one.name]
        most = hardest.get(one.name, table)
        cutting = tuple(_cutting(show, one, into_idle.get(one.name, [])))
        results.append(_of_servo(show, one, own.get(one.name, []), cutting, table, most, volts))
    return tuple(results)


def bound_share(
    rig: Rig,
    one: Servo,
    limits: tuple[float, float],
    voltage_v: float | None = None,
    between_deg: tuple[float, float] | None = None,
) -> float:
    """Share of the servo's line that no motion within `limits` (deg/s, deg/s2) can exceed.

    The torque is affine in the acceleration and in the square of the speed, which a linkage's bend
    may take from it, and the share rises with the speed while driving. So the corners (both limits
    or hardly moving, both signs) hold the maximum for every angle; angles run in steps of at most
    0.5 deg over the travel, or `between_deg`.
    """
    points = _at_the_limits(rig, one, limits, voltage_v, between_deg)
    return max(float(p.share.max()) for p in points)


def _at_the_limits(
    rig: Rig,
    one: Servo,
    limits: tuple[float, float],
    voltage_v: float | None,
    between_deg: tuple[float, float] | None = None,
) -> Iterator[OperatingPoints]:
    """Operating points over the travel at the limits, and hardly moving, with all signs."""
    low, high = one.travel_deg if between_deg is None else between_deg
    angles = np.linspace(low, high, max(3, int(np.ceil(2.0 * (high - low))) + 1))
    for speed in _speeds(one, limits[0]):
        for accel in (limits[1], -limits[1]):
            yield operate(rig, one, angles, speed, accel, voltage_v)


def _speeds(one: Servo, most_deg_s: float) -> tuple[float, ...]:
    """Speeds (deg/s) at which a servo's torque can be greatest; behind a gear the greatest do."""
    if isinstance(one.drive, Gear) or most_deg_s == 0.0:
        return most_deg_s, -most_deg_s
    creep = 1e-6 * most_deg_s
    return most_deg_s, -most_deg_s, creep, -creep


@lru_cache(maxsize=KEPT)
def hardest_nm(rig: Rig, one: Servo, limits: tuple[float, float]) -> float:
    """The greatest horn torque (N.m) that any motion within `limits` (deg/s, deg/s2) can ask for.

    A bound as `bound_share` is, and with it for every interruption and the stop.
    """
    return max(float(points.greatest_nm.max()) for points in _at_the_limits(rig, one, limits, None))


def _of_servo(
    show: Show,
    one: Servo,
    planned: list[PlannedMove],
    cutting: tuple[_Cutting, ...],
    limits: tuple[int, int],
    hardest: tuple[float, float],
    voltage_v: float | None,
) -> Cuts:
    motions = {_unmarked(each): each for each in _motions(planned)}
    thens = {(cue, takes, replace(then, mark=NO_MARK)): then for cue, takes, then in cutting}
    cuts = _worst_cuts(
        *(show.rig, one, tuple(motions), tuple(thens), show.score.idle, show.score.stop_ms),
        *(limits, hardest, voltage_v),
    )
    asked = {(cue, unmarked): then for (cue, _, unmarked), then in thens.items()}
    found = (
        replace(cut, moving=motions[cut.moving], then=asked.get((cut.by, cut.then), cut.then))
        for cut in cuts.found
    )
    return replace(cuts, found=tuple(found))


def _unmarked(planned: PlannedMove) -> PlannedMove:
    """Without the place where it was written, which changes with every edit above it."""
    return replace(planned, move=replace(planned.move, mark=NO_MARK))


@lru_cache(maxsize=KEPT)
def _worst_cuts(
    rig: Rig,
    one: Servo,
    motions: tuple[PlannedMove, ...],
    cutting: tuple[_Cutting, ...],
    idle: tuple[str, ...],
    stop_ms: int,
    limits: tuple[int, int],
    hardest: tuple[float, float],
    voltage_v: float | None,
) -> Cuts:
    """The worst of all pairs, unmarked; found again while a text is edited elsewhere."""
    bound = bound_share(rig, one, hardest, voltage_v)
    keeps = bound <= 1.0 - rig.wearer.margin
    pairs = _selected(one, _pairs(one, motions, cutting, idle, stop_ms), limits)
    found: dict[tuple[str, str], Interruption] = {}
    # where the bound alone keeps the margin, one look says enough
    for cut in _search(rig, one, pairs, limits, voltage_v, rounds=1 if keeps else 3):
        known = found.get((cut.cue, cut.by))
        if known is None:
            found[cut.cue, cut.by] = cut
        else:
            worse = cut if cut.share > known.share else known
            longer = max(cut.delay_ms, known.delay_ms)
            found[cut.cue, cut.by] = replace(worse, delay_ms=longer)
    ordered = sorted(found.values(), key=lambda cut: -cut.share)
    return Cuts(one.name, bound, keeps, tuple(ordered))


def _cutting(show: Show, one: Servo, into_idle: list[PlannedMove]) -> Iterator[_Cutting]:
    """The cues that may cut a servo's moves, with their first moves; the quickest if too many.

    A strand of idle cuts nothing by its own moves, and by gliding back only moves of idle; it may
    have a button or be the cue for a lost remote as well.
    """
    idle = show.score.idle
    started = {*show.score.unasked, *(binding.cue for binding in show.score.bindings)}
    entries = sorted(_entries(show.score.cues, one.name), key=lambda e: e[1].duration_ms)
    for cue, then in entries[:ENTRIES_KEPT]:
        if cue.name not in idle or cue.name in started:
            yield cue.name, cue.conflict == "take", then
    for glide in into_idle[:ENTRIES_KEPT]:
        yield glide.cue, False, glide.move


def _pairs(
    one: Servo,
    motions: Iterable[PlannedMove],
    cutting: tuple[_Cutting, ...],
    idle: tuple[str, ...],
    stop_ms: int,
) -> list[_Interrupting]:
    """Moves that can be cut, with the cue that cuts and its first move."""
    stop = Move(one.name, one.safe_deg, stop_ms, MINIMUM_JERK, NO_MARK)
    pairs: list[_Interrupting] = []
    for moving in motions:
        for cue, takes, then in cutting:
            if takes or moving.cue in idle:
                pairs.append((moving, cue, then))
        pairs.append((moving, STOP, stop))
    return pairs


def _motions(planned: list[PlannedMove]) -> list[PlannedMove]:
    """The different motions of a servo, the fastest if too many."""
    different: dict[tuple[object, ...], PlannedMove] = {}
    for one in planned:
        move = one.move
        if move.angle_deg != one.from_deg and move.duration_ms > 0:
            key = one.cue, one.from_deg, move.angle_deg, move.duration_ms, move.law
            different.setdefault(key, one)
    motions = list(different.values())
    if len(motions) > MOTIONS_KEPT:
        motions.sort(key=lambda m: -abs(m.move.angle_deg - m.from_deg) / m.move.duration_ms)
    return motions[:MOTIONS_KEPT]


def _selected(
    one: Servo, pairs: list[_Interrupting], limits: tuple[int, int]
) -> list[_Interrupting]:
    """The fastest pairs, and those whose second move stretches longest."""
    if len(pairs) <= PAIRS_KEPT:
        return pairs
    hastes = [-_haste(pair) for pair in pairs]
    fastest = sorted(range(len(pairs)), key=hastes.__getitem__)[: PAIRS_KEPT - _LONGEST_KEPT]
    delays = np.zeros(len(pairs))
    shares = np.linspace(1e-6, 1.0 - 1e-6, _INSTANTS)
    for (law, then_law), rows in _by_law(pairs).items():
        chosen = [pairs[row] for row in rows]
        run, nominal = _second_moves(one, chosen, law, then_law, limits, shares[None, :])
        delays[rows] = (run.end - nominal).max(axis=1)
    longest = np.argsort(-delays, kind="stable")[:_LONGEST_KEPT].tolist()
    return [pairs[index] for index in dict.fromkeys([*fastest, *longest])]


def _haste(pair: _Interrupting) -> float:
    moving, _, then = pair
    first = abs(moving.move.angle_deg - moving.from_deg) / moving.move.duration_ms
    second = abs(then.angle_deg - moving.move.angle_deg) / max(then.duration_ms, 1)
    return first + second


def _entries(cues: Iterable[Cue], servo: str) -> Iterable[tuple[Cue, Move]]:
    """The first move of a servo in each cue that has one."""
    for cue in cues:
        every = acts_in_time(cue.body)
        first = next((a for a in every if isinstance(a, Move) and a.output == servo), None)
        if first is not None:
            yield cue, first


def _by_law(pairs: list[_Interrupting]) -> dict[tuple[Law, Law], list[int]]:
    """Rows of `pairs` by the laws of the move that is cut and of the one that cuts."""
    groups: dict[tuple[Law, Law], list[int]] = {}
    for row, pair in enumerate(pairs):
        groups.setdefault((pair[0].move.law, pair[2].law), []).append(row)
    return groups


# -- interrupted moves, as arrays -----------------------------------------------------------------


def taken_over(
    one: Servo,
    angle_deg: Array,
    speed_deg_s: Array,
    target_deg: Array,
    nominal_s: Array,
    law: Law,
    limits: tuple[int, int],
) -> Takeover:
    """Moves to `target_deg` over `nominal_s` from a part in motion, in degrees and seconds.

    `limits`: speed in deg/s and acceleration in deg/s2. Arrays of shapes that go together.
    """
    run = take_over(
        angle_deg * POSITIONS_PER_DEG,
        speed_deg_s * (POSITIONS_PER_DEG / MS_PER_S),
        target_deg * POSITIONS_PER_DEG,
        nominal_s * (MS_PER_S * CLOCK_PER_MS),
        law_numbers(law),
        limits_of(one, limits),
        REAL_ARRAYS,
    )
    return run.scaled(1.0 / POSITIONS_PER_DEG, 1.0 / (MS_PER_S * CLOCK_PER_MS))


# -- the search -----------------------------------------------------------------------------------


def _search(
    rig: Rig,
    one: Servo,
    pairs: list[_Interrupting],
    limits: tuple[int, int],
    voltage_v: float | None,
    rounds: int,
) -> list[Interruption]:
    """The worst instant of each pair: first spread, then closed in on round after round."""
    if not pairs:
        return []
    low = np.full(len(pairs), 1e-6)
    high = np.full(len(pairs), 1.0 - 1e-6)
    best: dict[int, Interruption] = {}
    longest = np.zeros(len(pairs))
    corners = np.stack([_corners(pair[0].move.law) for pair in pairs])
    for turn in range(rounds):
        shares = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, _INSTANTS)
        if turn == 0 and any(_jumps(pair[0].move.law) for pair in pairs):
            shares = np.sort(np.concatenate([shares, corners], axis=1), axis=1)
        angles, speeds, accels, delay = _outcomes(one, pairs, limits, shares)
        points = operate(rig, one, angles, speeds, accels, voltage_v)
        longest = np.maximum(longest, delay.max(axis=1))
        flat = points.share.reshape(len(pairs), -1)
        instant, point = np.unravel_index(np.argmax(flat, axis=1), points.share.shape[1:])
        for row, (i, k) in enumerate(zip(instant.tolist(), point.tolist(), strict=True)):
            if row not in best or points.share[row, i, k] > best[row].share:
                share = float(shares[row, i])
                best[row] = _cut(pairs[row], share, points, angles, (row, i, k))
        rows = np.arange(len(pairs))
        low = shares[rows, np.maximum(instant - 1, 0)]
        high = shares[rows, np.minimum(instant + 1, shares.shape[1] - 1)]
    return [replace(best[row], delay_ms=float(longest[row])) for row in range(len(pairs))]


def _cut(
    pair: _Interrupting,
    share: float,
    points: OperatingPoints,
    angles: Array,
    at: tuple[int, int, int],
) -> Interruption:
    """The pair's first move cut at a share of it, as one operating point tells; no delay yet."""
    moving, by, then = pair
    return Interruption(
        servo=moving.move.output,
        cue=moving.cue,
        by=by,
        moving=moving,
        then=then,
        at_ms=share * moving.move.duration_ms,
        share=float(points.share[at]),
        torque_nm=float(points.torque_nm[at]),
        speed_deg_s=float(points.speed_deg_s[at]),
        allowed_nm=float(points.allowed_nm[at]),
        angle_deg=float(angles[at]),
        delay_ms=0.0,
    )


def _jumps(law: Law) -> bool:
    """Whether the law's acceleration jumps inside the move: there its operating point does."""
    return law.name in ("parabolic", "trapezoid")


_NEAR: Final = 1e-9
"""Share of a move by which both sides of a jump are told apart."""


def _corners(law: Law) -> Array:
    """Both sides of each inner jump of a law's acceleration, four shares; 1/2 where it has none."""
    if not _jumps(law):
        return np.full(4, 0.5)
    alpha = ramp_shares(law)[0]
    breaks = at_share(law, [alpha, 1.0 - alpha])
    return np.concatenate([breaks - _NEAR, breaks + _NEAR])


_BRAKING: Final = np.clip(np.linspace(0.0, 1.0, 7), 1e-9, 1.0 - 1e-9)
_MOVING: Final = np.clip(np.linspace(0.0, 1.0, 25), 1e-9, 1.0 - 1e-9)
"""Shares of the brake and of the move at which its operating points are looked at."""


def _outcomes(
    one: Servo, pairs: list[_Interrupting], limits: tuple[int, int], shares: Array
) -> tuple[Array, Array, Array, Array]:
    """Angle, speed and acceleration of every pair cut at `shares` of its first move.

    Shape (pairs, instants, times); then the delays in ms, shape (pairs, instants).
    """
    jumps = any(_jumps(pair[2].law) for pair in pairs)
    size = (*shares.shape, _BRAKING.size + _MOVING.size + (4 if jumps else 0))
    angle, speed, accel = np.empty(size), np.empty(size), np.empty(size)
    delay = np.empty(shares.shape)
    for (law, then_law), rows in _by_law(pairs).items():
        chosen = [pairs[row] for row in rows]
        run, nominal = _second_moves(one, chosen, law, then_law, limits, shares[rows])
        deep = Takeover(*(part[..., None] for part in run))
        moving = np.concatenate([_MOVING, _corners(then_law)]) if jumps else _MOVING
        times = np.concatenate([deep.brake * _BRAKING, deep.wait + deep.duration * moving], axis=-1)
        to_go, speed[rows], accel[rows] = kinematics(deep, then_law, times)
        angle[rows] = _column(pair[2].angle_deg for pair in chosen)[..., None] - to_go
        if then_law.name == "uniform":
            jump = run.way / run.duration / FRAME_S
            accel[rows, :, _BRAKING.size] += jump
            accel[rows, :, _BRAKING.size + _MOVING.size - 1] -= jump
        delay[rows] = MS_PER_S * (run.end - nominal)
    return angle, speed, accel, delay


def _second_moves(
    one: Servo,
    pairs: list[_Interrupting],
    law: Law,
    then_law: Law,
    limits: tuple[int, int],
    shares: Array,
) -> tuple[Takeover, Array]:
    """The second move of every pair, the first cut at `shares`, and its written duration (s).

    Shape (pairs, instants) and (pairs, 1).
    """

    start = _column(p[0].from_deg for p in pairs)
    stroke = _column(p[0].move.angle_deg for p in pairs) - start
    seconds = _column(p[0].move.duration_ms for p in pairs) / MS_PER_S
    cut = shape(law, shares)
    nominal = _column(p[2].duration_ms for p in pairs) / MS_PER_S
    run = taken_over(
        one,
        start + stroke * cut.s,
        stroke * cut.v / seconds,
        _column(p[2].angle_deg for p in pairs),
        nominal,
        then_law,
        limits,
    )
    return run, nominal


def _column(values: Iterable[float]) -> Array:
    return np.array(list(values), dtype=np.float64)[:, None]
