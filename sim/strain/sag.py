"""How low the voltage at each board can go in a show, and which cues together bring it there.

A bound on the safe side, without running the show. Every light is at the brightest that the show
ever makes it, every switch is on, the battery is at the end of its usable part. A cue that starts
takes the servos it uses and leaves the others to the cues that run, so any number of cues may each
move a share of the servos, at any offset from one another: the shares that pull a board lowest are
found over all ways to share out the servos, each cue at one of its moments
(`sim.strain.cue_currents`). Idle never runs beside another cue, and the stop ends all.

The stop, and cues that take over, cut motions short at any moment, and the board then brakes and
turns parts as hard as its table lets it. So besides, every servo that any cue moves is taken at the
limits of its table, all at once (`sim.strain.interruption`): the worse of the two is the answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from sim.light.lightness import luminance, strip_linear
from sim.model import (
    Adapter,
    Board,
    Cells,
    Fade,
    Lamp,
    Servo,
    Show,
    Strip,
    StripLight,
    Supply,
    Switch,
)
from sim.rig import battery, wire
from sim.rig.supply import (
    PIXEL_IDLE_A,
    Demand,
    Solved,
    highest_v,
    of_board,
    solve,
    strip_full_a,
)
from sim.score.tree import PlannedMove, acts, planned_moves
from sim.strain.cue_currents import ENDLESS_NM, STOP, CueCurrents, Way, cue_currents, hold_nm
from sim.strain.interruption import hardest_nm, limits_in_motion

Array: TypeAlias = NDArray[np.float64]
Integers: TypeAlias = NDArray[np.int64]

__all__ = [
    "Sag",
    "lowest_voltages",
    "sags",
    "start_sags",
    "without_limits",
]

SUBSETS_KEPT: Final = 9
"""With more servos on a supply than this, each is at its hardest, whatever the cues' moments."""

ENDLESS_A: Final = 1e6
"""In place of a limit, to learn what would be drawn without it."""


@dataclass(frozen=True, slots=True)
class Sag:
    """The worst instant of one board.

    `voltage_v` arrives there while `cues` run together; the board then draws `board_a`, its supply
    gives `supply_a` at the feed and takes `source_a` from the battery, whose voltage is `source_v`.
    `collapsed`: the limit of regulator or adapter, or what the battery can give, is exceeded.
    `starting`: the servo that starts up, for `start_sags`. `cut`: the stop, or cues that take over
    again and again, bring it there.
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
    cut: bool = False


def without_limits(show: Show) -> Show:
    """The show with regulators and adapters that give any current: what is asked of them?"""
    supplies = []
    for supply in show.rig.supplies:
        source, regulator = supply.source, supply.regulator
        if isinstance(source, Adapter):
            source = replace(source, current_a=ENDLESS_A)
        if regulator is not None:
            regulator = replace(regulator, current_a=ENDLESS_A)
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
    moves = planned_moves(show) if planned is None else tuple(planned)
    cues = cue_currents(show, moves, peak_nm)
    cut = {**cues.hold_nm, **_cut_nm(show, moves, cues.hold_nm)}
    found = []
    for board in show.rig.boards:
        _, supply = of_board(show.rig, board.name)
        if supply is None:
            continue
        worst = _worst(show, board, supply, cues)
        fed = [b.name for b in show.rig.boards if b.supply == supply.name]
        solved = solve(show.rig, supply, _demands(show, fed, cut))
        all_cut = replace(_sag(board, supply, solved, None, worst.cues), cut=True)
        found.append(min(worst, all_cut, key=_how_well))
    return tuple(found)


def _how_well(sag: Sag) -> tuple[bool, float, float]:
    """The less, the worse an instant is for its board."""
    return not sag.collapsed, sag.voltage_v, -sag.supply_a


def _cut_nm(
    show: Show, planned: Iterable[PlannedMove], hold: Mapping[str, float]
) -> dict[str, float]:
    """Horn torque (N.m) by servo that no interruption exceeds, of the servos that cues move.

    While the stop or another cue cuts motions short, every part that moves may brake and turn at
    its table's limits at once, and a part that nobody owns any more moves on beside them.
    """
    limits = limits_in_motion(show, planned)
    return {
        one.name: max(hold[one.name], _finite(hardest_nm(show.rig, one, limits[one.name])))
        for one in show.rig.outputs
        if isinstance(one, Servo) and one.name in limits
    }


def _finite(torque_nm: float) -> float:
    return torque_nm if np.isfinite(torque_nm) else ENDLESS_NM


def start_sags(show: Show) -> tuple[Sag, ...]:
    """The worst instant of power-up at every board that has a supply.

    Servos get their first pulses one after another, and each may then stand anywhere and jump to
    its safe pose at stall current, which no cue asks of it; the others hold, lights are dark.
    """
    rig = show.rig
    hold = hold_nm(rig)
    found = []
    for board in rig.boards:
        _, supply = of_board(rig, board.name)
        if supply is None:
            continue
        fed = [b.name for b in rig.boards if b.supply == supply.name]
        servos = [o.name for o in rig.outputs if isinstance(o, Servo) and o.board in fed]
        held = {name: hold[name] for name in servos}
        cases: list[tuple[str | None, _Torques]] = [
            (name, {**held, name: ENDLESS_NM}) for name in servos
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


def _worst(show: Show, board: Board, supply: Supply, cues: CueCurrents) -> Sag:
    """The set of cues that pulls `board` lowest: currents weighted by the resistance they pass."""
    rig = show.rig
    fed = {b.name for b in rig.boards if b.supply == supply.name}
    inner = battery.pack_ohm(supply.source) if isinstance(supply.source, Cells) else 0.0
    own = wire.loop_ohm(board.wire, rig.wearer.temperature_c)
    weights = {
        o.name: inner + 1e-3 + (own if o.board == board.name else 0.0)
        for o in rig.outputs
        if isinstance(o, Servo) and o.board in fed
    }
    names, torques = _heaviest(show.score.idle, cues, weights)
    held = {name: cues.hold_nm[name] for name in weights}
    demands = _demands(show, fed, {**held, **torques}, moving=torques)
    return _sag(board, supply, solve(rig, supply, demands), None, names)


def _heaviest(
    idle: str | None, cues: CueCurrents, weights: Mapping[str, float]
) -> tuple[tuple[str, ...], _Torques]:
    """The cues that together weigh most, each at one of its moments, and the torques then."""
    names = [n for n in cues.servos if n in weights]
    columns = [cues.servos.index(name) for name in names]
    weigh = np.array([weights[name] for name in names])
    weighed = {
        cue: moments.extra_a[:, columns] * weigh
        for cue, moments in cues.moments.items()
        if (moments.extra_a[:, columns] > 0.0).any()
    }
    together = [cue for cue in weighed if cue not in (idle, STOP)]
    if len(names) > SUBSETS_KEPT:
        chosen = _each_at_its_hardest({cue: weighed[cue] for cue in together})
    else:
        chosen = _shared_out([(cue, weighed[cue]) for cue in together], len(names))
    sets = [chosen, *([(cue, (1 << len(names)) - 1)] for cue in (idle, STOP) if cue in weighed)]
    best = max(sets, key=lambda one: sum(_gain(weighed[cue], mask)[0] for cue, mask in one))
    torques: _Torques = {}
    for cue, mask in best:
        moment = _gain(weighed[cue], mask)[1]
        for n, name in enumerate(names):
            if mask >> n & 1 and weighed[cue][moment, n] > 0.0:
                torques[name] = float(cues.moments[cue].torque_nm[moment, columns[n]])
    return tuple(cue for cue, _ in best), torques


_Owned: TypeAlias = list[tuple[str, int]]
"""Cues with the servos that each moves: bits, in the order of the servos."""


def _gain(weighed: Array, mask: int) -> tuple[float, int]:
    """What a cue weighs at its heaviest moment with the servos of `mask`, and that moment."""
    own = np.array([mask >> n & 1 for n in range(weighed.shape[1])], dtype=np.float64)
    sums = weighed @ own
    moment = int(np.argmax(sums))
    return float(sums[moment]), moment


def _each_at_its_hardest(weighed: Mapping[str, Array]) -> _Owned:
    """Every servo given to the cue that works it hardest."""
    owned: dict[str, int] = {}
    peaks = {cue: moments.max(axis=0) for cue, moments in weighed.items()}
    for n in range(next((p.size for p in peaks.values()), 0)):
        cue = max(peaks, key=lambda name: peaks[name][n])
        if peaks[cue][n] > 0.0:
            owned[cue] = owned.get(cue, 0) | 1 << n
    return list(owned.items())


def _shared_out(weighed: list[tuple[str, Array]], servos: int) -> _Owned:
    """Servos shared out among cues so that the sum is greatest.

    A table over sets of servos: with each further cue, the best for a set is the best split of it
    between that cue and those before.
    """
    whole = (1 << servos) - 1
    sets, parts, first = _splits(servos)
    bits = (np.arange(whole + 1)[:, None] >> np.arange(servos)) & 1
    gains = [(moments @ bits.T.astype(np.float64)).max(axis=0) for _, moments in weighed]
    best = [np.zeros(whole + 1)]
    for gain in gains:
        best.append(np.maximum.reduceat(best[-1][sets ^ parts] + gain[parts], first))
    owned: _Owned = []
    left = whole
    for n in range(len(gains) - 1, -1, -1):
        part = max(parts[sets == left].tolist(), key=lambda p: best[n][left ^ p] + gains[n][p])
        if gains[n][part] > 0.0 and best[n + 1][left] > best[n][left] + 1e-12:
            owned.append((weighed[n][0], part))
            left ^= part
    return owned[::-1]


@lru_cache(maxsize=8)
def _splits(servos: int) -> tuple[Integers, Integers, Integers]:
    """All pairs of a set and a part of it, by set; and where each set's pairs begin."""
    pairs = [
        (whole, part)
        for whole in range(1 << servos)
        for part in range(whole + 1)
        if part & whole == part
    ]
    sets, parts = np.array(pairs, dtype=np.int64).T
    return sets, parts, np.searchsorted(sets, np.arange(1 << servos))


def _demands(
    show: Show,
    fed: Iterable[str],
    torques: Mapping[str, float],
    moving: Iterable[str] = (),
    lit: bool = True,
) -> dict[str, Demand]:
    levels = brightest(show) if lit else dark(show)
    demands: dict[str, Demand] = {}
    idle_a = {board.name: board.electrics.idle_a for board in show.rig.boards}
    for name in fed:
        outputs = [o for o in show.rig.outputs if o.board == name]
        on = [o.current_a for o in outputs if isinstance(o, Switch) and (lit or o.safe_on)]
        fixed = idle_a[name] + sum(on)
        fixed += sum(levels[o.name] for o in outputs if isinstance(o, Strip))
        demands[name] = Demand(
            {o.name: torques[o.name] for o in outputs if o.name in torques},
            {o.name: levels[o.name] for o in outputs if isinstance(o, Lamp)},
            fixed,
            dict.fromkeys(moving, 1.0),
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
