"""What each cue, and the stop, draws at its different moments, servo by servo.

While a move runs its servo is taken to draw the current of its hardest instant; a servo that does
not move holds its hardest pose. The moments of a cue are the starts of its moves: between them
nothing is added. Repeats that run side by side drift against one another, so a cue with such
repeats counts as one moment in which every servo is at its hardest.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from sim.model import MINIMUM_JERK, Cue, Law, Move, Repeat, Rig, Servo, Show, Step, Together
from sim.rig import servo
from sim.rig.holding_torque import worst_hold
from sim.rig.supply import highest_v
from sim.score.tree import PlannedMove, children, planned_moves, rest_angles
from sim.strain.envelope import assess

Array: TypeAlias = NDArray[np.float64]

Way: TypeAlias = tuple[float, float, int, Law]
"""What of a planned move its torque hangs on: from and to (deg), duration (ms), law."""

STOP: Final = "stop"
"""In place of a cue's name: the controlled move to the safe pose, all servos at once."""

ENDLESS_NM: Final = 1e9
"""In place of an infinite torque, which a drive at its dead point asks for; also a stalled horn."""


@dataclass(frozen=True)
class Moments:
    """Moments of one cue; arrays (moments, servos).

    `extra_a`: current over holding (A), 0 for a servo that does not move then; `torque_nm`: horn
    torque (N.m), 0 likewise.
    """

    extra_a: Array
    torque_nm: Array


@dataclass(frozen=True)
class CueCurrents:
    """All cues of a show and the stop. `hold_nm`: horn torque of each servo's hardest pose."""

    servos: tuple[str, ...]
    hold_nm: dict[str, float]
    moments: dict[str, Moments]


@dataclass(frozen=True, slots=True)
class _Peak:
    """A move, its hardest horn torque (N.m), and the current (A) that draws over holding."""

    planned: PlannedMove
    torque_nm: float
    extra_a: float


def cue_currents(
    show: Show,
    planned: Iterable[PlannedMove] | None = None,
    peak_nm: Mapping[str, Mapping[Way, float]] | None = None,
) -> CueCurrents:
    """The moments of every cue that moves something, and of the stop.

    `planned`: the show's planned moves, and `peak_nm` their greatest horn torques (N.m) by servo,
    if they are known already; a move without any way asks for no more than holding.
    """
    rig = show.rig
    servos = {o.name: o for o in rig.outputs if isinstance(o, Servo)}
    hold = hold_nm(rig)
    own: dict[str, list[PlannedMove]] = {name: [] for name in servos}
    for move in planned_moves(show) if planned is None else planned:
        if move.move.duration_ms > 0 and move.move.output in own:
            own[move.move.output].append(move)
    cues: dict[str, list[_Peak]] = {}
    for name, one in servos.items():
        known = None if peak_nm is None else peak_nm.get(name, {})
        for peak in _peaks(rig, one, own[name], known, hold[name]):
            cues.setdefault(peak.planned.cue, []).append(peak)
    order = tuple(servos)
    moments = {
        cue.name: _moments(cues[cue.name], order, drifts=_drifts(cue))
        for cue in show.score.cues
        if cue.name in cues
    }
    rest = rest_angles(show)
    stopped = [_stopping(show, one, rest[name], hold[name]) for name, one in servos.items()]
    if stopped:
        moments[STOP] = _moments(stopped, order, drifts=True)
    return CueCurrents(order, hold, moments)


def hold_nm(rig: Rig) -> dict[str, float]:
    """Horn torque (N.m) of the hardest pose of every servo."""
    servos = [output for output in rig.outputs if isinstance(output, Servo)]
    return {one.name: _finite(worst_hold(one, rig.wearer).torque_nm) for one in servos}


def _finite(torque: float) -> float:
    return torque if np.isfinite(torque) else ENDLESS_NM


def _peaks(
    rig: Rig,
    one: Servo,
    planned: list[PlannedMove],
    known_nm: Mapping[Way, float] | None,
    hold: float,
) -> list[_Peak]:
    """Every move of a servo with its hardest torque and the current that draws over holding."""
    if not planned:
        return []
    known = _peak_nm(rig, one, planned) if known_nm is None else known_nm
    torques = np.array([known.get(_way(move), hold) for move in planned])
    line = servo.thirstiest_line(one, highest_v(rig, one.board))
    going = [float(m.from_deg != m.move.angle_deg) for m in planned]
    extra = servo.current_a(line, torques, going) - servo.current_a(line, hold)
    more = np.maximum(extra, 0.0).tolist()
    finite = np.nan_to_num(torques, posinf=ENDLESS_NM).tolist()
    return [_Peak(m, t, a) for m, t, a in zip(planned, finite, more, strict=True)]


def _way(planned: PlannedMove) -> Way:
    move = planned.move
    return planned.from_deg, move.angle_deg, move.duration_ms, move.law


def _peak_nm(rig: Rig, one: Servo, planned: list[PlannedMove]) -> dict[Way, float]:
    """The greatest horn torque of every different move; it does not hang on the voltage."""
    ways = list(dict.fromkeys(_way(move) for move in planned))
    start, end, lasts, laws = zip(*ways, strict=True)
    work = assess(rig, one, start, end, lasts, laws, highest_v(rig, one.board))
    return dict(zip(ways, work.peak_torque_nm.tolist(), strict=True))


def _stopping(show: Show, one: Servo, starts: tuple[float, ...], hold: float) -> _Peak:
    """The hardest way to the safe pose over the stop time, from where the show leaves the part."""
    move = Move(one.name, one.safe_deg, max(show.score.stop_ms, 1), MINIMUM_JERK)
    ways = [PlannedMove(STOP, move, start, 0.0, True) for start in starts]
    return max(_peaks(show.rig, one, ways, None, hold), key=lambda peak: peak.extra_a)


def _moments(peaks: list[_Peak], order: tuple[str, ...], *, drifts: bool) -> Moments:
    """The moments at which a move starts, with what still runs then."""
    column = {name: n for n, name in enumerate(order)}
    active: dict[str, _Peak] = {}
    rows: list[dict[str, _Peak]] = []
    for peak in sorted(peaks, key=lambda p: (p.planned.start_ms, p.extra_a)):
        name = peak.planned.move.output
        if not drifts:
            start = peak.planned.start_ms
            active = {n: p for n, p in active.items() if _end_ms(p) > start}
        if name not in active or peak.extra_a >= active[name].extra_a:
            active = {**active, name: peak}
        rows.append(active)
    if drifts:
        rows = rows[-1:]
    extra, torque = np.zeros((len(rows), len(order))), np.zeros((len(rows), len(order)))
    for n, row in enumerate(rows):
        for name, peak in row.items():
            extra[n, column[name]], torque[n, column[name]] = peak.extra_a, peak.torque_nm
    return Moments(extra, torque)


def _end_ms(peak: _Peak) -> float:
    return peak.planned.start_ms + peak.planned.move.duration_ms


def _drifts(cue: Cue) -> bool:
    """Whether repeats run beside other statements: their offsets change from pass to pass."""
    stack: list[tuple[Step, bool]] = [(cue.body, False)]
    while stack:
        step, beside = stack.pop()
        if beside and isinstance(step, Repeat):
            return True
        beside = beside or (isinstance(step, Together) and len(step.children) > 1)
        stack.extend((child, beside) for child in children(step))
    return False
