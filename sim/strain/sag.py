"""How low the voltage at each board can go in a show.

A bound on the safe side, without running the show. Every servo that any cue moves is taken at its
hardest, all at once (`sim.strain.hardest_torque`): cues may run side by side, start one another's
motions anew at any moment, and the stop brakes and moves everything together. The other servos hold
their hardest pose. Every light is at the brightest that the show ever makes it, every switch is on,
the battery is at the end of its usable part.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np

from sim.arrays import Array
from sim.light.lightness import channel_levels, luminance
from sim.model import (
    Adapter,
    Board,
    Fade,
    Lamp,
    Servo,
    Show,
    Strip,
    StripLight,
    Supply,
    Switch,
)
from sim.rig.supply import (
    PIXEL_IDLE_A,
    Demand,
    Solved,
    highest_v,
    of_board,
    solve,
    strip_full_a,
)
from sim.rulebook import LEVEL_STEPS_PER_PCT
from sim.score.tree import PlannedMove, acts, planned_moves
from sim.strain.hardest_torque import ENDLESS_NM, MoveKey, hardest_torques, hold_nm

__all__ = [
    "Sag",
    "lowest_voltages",
    "sags",
    "start_sags",
    "without_limits",
]

ENDLESS_A: Final = 1e6
"""In place of a limit, to learn what would be drawn without it."""


@dataclass(frozen=True, slots=True)
class Sag:
    """The worst instant of one board.

    `voltage_v` arrives there while all servos are at their hardest, whose moves are those of
    `cues`; the board then draws `board_a`, its supply gives `supply_a` at the feed and takes
    `source_a` from the battery, whose voltage is `source_v`.
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
    peak_nm: Mapping[str, Mapping[MoveKey, float]] | None = None,
) -> tuple[Sag, ...]:
    """The worst instant of every board that has a supply, in the rig's order.

    `planned`: the show's planned moves, and `peak_nm` their greatest horn torques (N.m) by servo,
    if they are known already; a move without any way asks for no more than holding.
    """
    moves = planned_moves(show) if planned is None else tuple(planned)
    hardest = hardest_torques(show, moves, peak_nm)
    found = []
    for board in show.rig.boards:
        _, supply = of_board(show.rig, board.name)
        if supply is None:
            continue
        fed = [b.name for b in show.rig.boards if b.supply == supply.name]
        own = {
            o.name: hardest[o.name]
            for o in show.rig.outputs
            if isinstance(o, Servo) and o.board in fed
        }
        torques = {name: one.torque_nm for name, one in own.items()}
        moving = [name for name, one in own.items() if one.moves]
        cues = tuple(dict.fromkeys(one.cue for one in own.values() if one.cue is not None))
        solved = solve(show.rig, supply, _demands(show, fed, torques, moving))
        found.append(_sag(board, supply, solved, None, cues))
    return tuple(found)


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
        # behind a regulator or a short wire all may leave the same voltage
        found.append(min(worst, key=lambda sag: (sag.voltage_v, -sag.supply_a)))
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


def _played(light: StripLight) -> Array:
    """Linear red, green, blue (0 to 1) of a light as a table holds it, maybe rounded up."""
    return luminance(np.array(channel_levels(light)) / LEVEL_STEPS_PER_PCT)


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
            channels[name] = np.maximum(channels.get(name, np.zeros(3)), _played(light))
        else:
            most[name] = max(most.get(name, 0.0), float(luminance(light)))
    for strip in (o for o in show.rig.outputs if isinstance(o, Strip)):
        full = float(channels[strip.name].sum()) * strip.channel_a * strip.pixels
        idle = strip.pixels * PIXEL_IDLE_A
        most[strip.name] = min(full + idle, strip_full_a(strip))
    return most
