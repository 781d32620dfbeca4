"""How low the voltage at each board can go in a show, and which cues together bring it there.

A bound on the safe side, without running the show. While a move runs its servo is taken to draw the
current of its hardest instant; a servo that does not move holds its hardest pose; every light is at
the brightest that the show ever makes it, every switch is on; the battery is at the end of its
usable part. Cues that share no output may run at once, at any offset from one another: of all such
sets the one that pulls a board lowest is found exactly (a table over sets of servos). Idle never
runs beside another cue.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np

from sim import battery, servo, wire
from sim.envelope import assess
from sim.holding import worst_hold
from sim.light import luminance, strip_linear
from sim.model import (
    Adapter,
    Board,
    Cells,
    Cue,
    Fade,
    Lamp,
    Law,
    Repeat,
    Rig,
    Servo,
    Show,
    Step,
    Strip,
    StripLight,
    Supply,
    Switch,
    Together,
)
from sim.score import PlannedMove, acts, children, outputs_used, planned_moves
from sim.supply import (
    BOARD_A,
    BROWN_OUT_V,
    PIXEL_IDLE_A,
    SAFE_CLOCK_V,
    Demand,
    Solved,
    highest_v,
    of_board,
    solve,
    strip_full_a,
)

__all__ = [
    "BROWN_OUT_V",
    "SAFE_CLOCK_V",
    "Sag",
    "lowest_voltages",
    "sags",
    "start_sags",
    "without_limits",
]

SUBSETS_KEPT: Final = 16
"""With more servos on a supply than this, all are taken to move at once."""


@dataclass(frozen=True, slots=True)
class Sag:
    """The worst instant of one board.

    `voltage_v` arrives there while `cues` run together; the board then draws `board_a`, its supply
    gives `supply_a` at the feed and takes `source_a` from the battery, whose voltage is `source_v`.
    `collapsed`: the limit of regulator or adapter, or what the battery can give, is exceeded.
    `starting`: the servo that starts up, for `start_sags`.
    """

    board: str
    supply: str
    voltage_v: float
    board_a: float
    supply_a: float
    source_a: float
    source_v: float
    cues: tuple[str, ...]
    collapsed: bool
    starting: str | None = None


def without_limits(show: Show) -> Show:
    """The show with regulators and adapters that give any current: what is asked of them?"""
    supplies = []
    for supply in show.rig.supplies:
        source, regulator = supply.source, supply.regulator
        if isinstance(source, Adapter):
            source = replace(source, current_a=_ENDLESS)
        if regulator is not None:
            regulator = replace(regulator, current_a=_ENDLESS)
        supplies.append(replace(supply, source=source, regulator=regulator))
    return replace(show, rig=replace(show.rig, supplies=tuple(supplies)))


def lowest_voltages(show: Show) -> dict[str, float]:
    """Per board, the lowest voltage (V) in the show; without a stated supply, the rated one."""
    found = {board.name: highest_v(show.rig, board.name) for board in show.rig.boards}
    found.update({sag.board: sag.voltage_v for sag in sags(show)})
    return found


def sags(
    show: Show,
    planned: Iterable[PlannedMove] | None = None,
    peak_nm: Mapping[str, Mapping[Way, float]] | None = None,
) -> tuple[Sag, ...]:
    """The worst instant of every board that has a supply, in the rig's order.

    `planned`: the show's planned moves, and `peak_nm` their greatest horn torques (N.m) by servo,
    if they are known already; a move without any way asks for no more than holding.
    """
    peaks = _Peaks(show, planned, peak_nm)
    found = []
    for board in show.rig.boards:
        _, supply = of_board(show.rig, board.name)
        if supply is not None:
            found.append(_worst(show, board, supply, peaks))
    return tuple(found)


def start_sags(show: Show) -> tuple[Sag, ...]:
    """The worst instant of power-up at every board that has a supply.

    Servos get their first pulses one after another, and each may then stand anywhere and jump to
    its safe pose at stall current, which no cue asks of it; the others hold, lights are dark.
    """
    rig = show.rig
    hold = _Peaks(show, ()).hold
    found = []
    for board in rig.boards:
        _, supply = of_board(rig, board.name)
        if supply is None:
            continue
        fed = [b.name for b in rig.boards if b.supply == supply.name]
        servos = [o.name for o in rig.outputs if isinstance(o, Servo) and o.board in fed]
        held = {name: hold[name] for name in servos}
        cases: list[tuple[str | None, _Torques]] = [
            (name, {**held, name: _ENDLESS}) for name in servos
        ]
        worst = [
            _sag(board, supply, solve(rig, supply, _demands(show, fed, torques, lit=False)), name)
            for name, torques in cases or [(None, held)]
        ]
        found.append(min(worst, key=lambda sag: sag.voltage_v))
    return tuple(found)


def _sag(
    board: Board, supply: Supply, solved: Solved, starting: str | None, cues: tuple[str, ...] = ()
) -> Sag:
    return Sag(
        board.name,
        supply.name,
        float(solved.board_v[board.name][0]),
        float(solved.board_a[board.name][0]),
        float(sum(float(amps[0]) for amps in solved.board_a.values())),
        float(solved.source_a[0]),
        float(solved.source_v[0]),
        cues,
        bool(solved.collapsed[0]),
        starting,
    )


_Torques: TypeAlias = dict[str, float]
"""Horn torque (N.m) by servo."""


class _Peaks:
    """What a show asks of each servo: holding, and each cue's moves with their peak torque."""

    def __init__(
        self,
        show: Show,
        planned: Iterable[PlannedMove] | None = None,
        peak_nm: Mapping[str, Mapping[Way, float]] | None = None,
    ) -> None:
        rig = show.rig
        self.servos = {o.name: o for o in rig.outputs if isinstance(o, Servo)}
        tilt = rig.wearer.tilt_deg
        self.hold = {n: _finite(worst_hold(o, tilt).torque_nm) for n, o in self.servos.items()}
        self.cues: dict[str, list[_Peak]] = {}
        own: dict[str, list[PlannedMove]] = {}
        for move in planned_moves(show) if planned is None else planned:
            if move.move.duration_ms > 0:
                own.setdefault(move.move.output, []).append(move)
        for name, one in self.servos.items():
            mine = own.get(name, [])
            known = _peak_nm(rig, one, mine) if peak_nm is None else peak_nm.get(name, {})
            for peak in _peaks(rig, one, mine, known, self.hold[name]):
                self.cues.setdefault(peak.planned.cue, []).append(peak)


Way: TypeAlias = tuple[float, float, int, Law]
"""What of a planned move its torque hangs on: from and to (deg), duration (ms), law."""


def _way(planned: PlannedMove) -> Way:
    move = planned.move
    return planned.from_deg, move.angle_deg, move.duration_ms, move.law


def _peak_nm(rig: Rig, one: Servo, planned: list[PlannedMove]) -> dict[Way, float]:
    """The greatest horn torque of every different move; it does not hang on the voltage."""
    if not planned:
        return {}
    ways = list(dict.fromkeys(_way(move) for move in planned))
    start, end, lasts, laws = zip(*ways, strict=True)
    work = assess(rig, one, start, end, lasts, laws, highest_v(rig, one.board))
    return dict(zip(ways, work.peak_torque_nm.tolist(), strict=True))


def _peaks(
    rig: Rig,
    one: Servo,
    planned: list[PlannedMove],
    known_nm: Mapping[Way, float],
    hold_nm: float,
) -> list[_Peak]:
    """Every move of a servo with its hardest torque and the current that draws over holding."""
    torques = np.array([known_nm.get(_way(move), hold_nm) for move in planned])
    line = servo.line(one, highest_v(rig, one.board))
    extra = servo.current_a(line, torques) - servo.current_a(line, hold_nm)
    more = np.maximum(extra, 0.0).tolist()
    finite = np.nan_to_num(torques, posinf=_ENDLESS).tolist()
    return [_Peak(m, t, a) for m, t, a in zip(planned, finite, more, strict=True)]


_ENDLESS: Final = 1e9
"""In place of an infinite torque, which a drive at its dead point asks for."""


@dataclass(frozen=True, slots=True)
class _Peak:
    """A move, its hardest horn torque (N.m), and the current (A) that draws over holding."""

    planned: PlannedMove
    torque_nm: float
    extra_a: float


def _finite(torque: float) -> float:
    return torque if np.isfinite(torque) else _ENDLESS


def _worst(show: Show, board: Board, supply: Supply, peaks: _Peaks) -> Sag:
    """The set of cues that pulls `board` lowest: currents weighted by the resistance they pass."""
    rig = show.rig
    fed = {b.name for b in rig.boards if b.supply == supply.name}
    inner = battery.pack_ohm(supply.source) if isinstance(supply.source, Cells) else 0.0
    own = wire.loop_ohm(board.wire, rig.wearer.temperature_c)
    weights = {
        name: inner + 1e-3 + (own if one.board == board.name else 0.0)
        for name, one in peaks.servos.items()
        if one.board in fed
    }
    demanded = [_hardest_instant(cue, peaks, weights) for cue in show.score.cues]
    names, torques = _combine(show, demanded, peaks, weights)
    demands = _demands(show, fed, {**{n: peaks.hold[n] for n in weights}, **torques})
    return _sag(board, supply, solve(rig, supply, demands), None, names)


def _hardest_instant(
    cue: Cue, peaks: _Peaks, weights: Mapping[str, float]
) -> tuple[float, _Torques]:
    """The greatest weighted current over holding within a cue, and the torques then."""
    moves = [p for p in peaks.cues.get(cue.name, []) if p.planned.move.output in weights]
    if _drifts(cue):
        return _all_at_once(moves, weights)
    active: dict[str, _Peak] = {}
    best, then = 0.0, _Torques()
    for peak in sorted(moves, key=lambda p: (p.planned.start_ms, p.extra_a)):
        start, name = peak.planned.start_ms, peak.planned.move.output
        active = {n: p for n, p in active.items() if _end_ms(p) > start}
        if name not in active or peak.extra_a >= active[name].extra_a:
            active[name] = peak
        total = sum(weights[n] * p.extra_a for n, p in active.items())
        if total > best:
            best, then = total, {n: p.torque_nm for n, p in active.items()}
    return best, then


def _end_ms(peak: _Peak) -> float:
    return peak.planned.start_ms + peak.planned.move.duration_ms


def _all_at_once(moves: Iterable[_Peak], weights: Mapping[str, float]) -> tuple[float, _Torques]:
    """Each servo at its hardest, whatever the times."""
    top: dict[str, _Peak] = {}
    for peak in moves:
        name = peak.planned.move.output
        if name not in top or peak.extra_a > top[name].extra_a:
            top[name] = peak
    total = sum(weights[name] * peak.extra_a for name, peak in top.items())
    return total, {name: peak.torque_nm for name, peak in top.items()}


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


def _combine(
    show: Show,
    demanded: list[tuple[float, _Torques]],
    peaks: _Peaks,
    weights: Mapping[str, float],
) -> tuple[tuple[str, ...], _Torques]:
    """The heaviest set of cues that can run at once, and its torques."""
    if len(weights) > SUBSETS_KEPT:
        every = [peak for cue in show.score.cues for peak in peaks.cues.get(cue.name, [])]
        fed = [peak for peak in every if peak.planned.move.output in weights]
        cues = tuple(dict.fromkeys(peak.planned.cue for peak in fed))
        return cues, _all_at_once(fed, weights)[1]
    outputs = {o.name: 1 << i for i, o in enumerate(show.rig.outputs)}
    best: dict[int, tuple[float, tuple[int, ...]]] = {0: (0.0, ())}
    alone: list[tuple[float, tuple[int, ...]]] = []
    for i, cue in enumerate(show.score.cues):
        gain = demanded[i][0]
        if gain <= 0.0:
            continue
        if cue.name == show.score.idle:
            alone.append((gain, (i,)))
            continue
        mask = sum(outputs[name] for name in outputs_used(cue.body) if name in outputs)
        for used, (total, chosen) in list(best.items()):
            if not used & mask and total + gain > best.get(used | mask, (0.0, ()))[0]:
                best[used | mask] = (total + gain, (*chosen, i))
    _, chosen = max([*best.values(), *alone], key=lambda entry: entry[0])
    torques: _Torques = {}
    for i in chosen:
        torques.update(demanded[i][1])
    return tuple(show.score.cues[i].name for i in chosen), torques


def _demands(
    show: Show, fed: Iterable[str], torques: Mapping[str, float], lit: bool = True
) -> dict[str, Demand]:
    levels = brightest(show) if lit else dark(show)
    demands: dict[str, Demand] = {}
    for name in fed:
        outputs = [o for o in show.rig.outputs if o.board == name]
        on = [o.current_a for o in outputs if isinstance(o, Switch) and (lit or o.safe_on)]
        fixed = BOARD_A + sum(on)
        fixed += sum(levels[o.name] for o in outputs if isinstance(o, Strip))
        demands[name] = Demand(
            {o.name: torques[o.name] for o in outputs if o.name in torques},
            {o.name: levels[o.name] for o in outputs if isinstance(o, Lamp)},
            fixed,
        )
    return demands


def dark(show: Show) -> dict[str, float]:
    """Duties of lamps and currents of strips (A) while a board starts: dark."""
    outputs = show.rig.outputs
    levels = {o.name: o.pixels * PIXEL_IDLE_A for o in outputs if isinstance(o, Strip)}
    return {**levels, **{o.name: 0.0 for o in outputs if isinstance(o, Lamp)}}


def brightest(show: Show) -> dict[str, float]:
    """Per lamp the greatest duty (0 to 1), per strip the greatest current (A), of the whole show.

    Effects only take light away, and a fade is never brighter than its brighter end per channel, so
    the ends are enough: safe light and every fade's target.
    """
    most: dict[str, float] = {}
    channels: dict[str, np.ndarray[tuple[int], np.dtype[np.float64]]] = {}
    lights: list[tuple[str, float | StripLight]] = []
    for output in show.rig.outputs:
        if isinstance(output, Lamp):
            lights.append((output.name, output.safe_pct))
        elif isinstance(output, Strip):
            lights.append((output.name, output.safe))
    for cue in show.score.cues:
        lights += [(a.output, a.light) for a in acts(cue.body) if isinstance(a, Fade)]
    for name, light in lights:
        if isinstance(light, StripLight):
            channels[name] = np.maximum(channels.get(name, np.zeros(3)), strip_linear(light))
        else:
            most[name] = max(most.get(name, 0.0), float(luminance(light)))
    for strip in (o for o in show.rig.outputs if isinstance(o, Strip)):
        full = float(channels[strip.name].sum()) * strip.channel_a * strip.pixels
        idle = strip.pixels * PIXEL_IDLE_A
        most[strip.name] = min(full + idle, strip_full_a(strip))
    return most
