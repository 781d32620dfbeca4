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
from math import inf
from typing import Final, TypeAlias

import numpy as np

from sim.arrays import Array
from sim.light.lightness import channel_levels, luminance
from sim.model import (
    Adapter,
    Board,
    Cells,
    Lamp,
    Rig,
    Servo,
    Show,
    Strip,
    StripLight,
    Supply,
    Switch,
)
from sim.rig.disturbance import settled
from sim.rig.supply import (
    PIXEL_IDLE_A,
    Demand,
    FallingVoltage,
    feed_share,
    highest_v,
    of_board,
    own_torques_nm,
    solve,
    strip_full_a,
)
from sim.rulebook import ENABLE_INTERVAL_FRAMES, FRAME_S, LEVEL_STEPS_PER_PCT
from sim.score.planned_moves import PlannedMove, planned_moves
from sim.strain.hardest_torque import (
    ENDLESS_NM,
    Hardest,
    MoveKey,
    hardest_torques,
    hold_nm,
    jarred_nm,
)
from sim.strain.light_states import LightStates
from sim.strain.reachable import Jump, Reachable

__all__ = [
    "Sag",
    "beside_others",
    "held_sags",
    "lowest_voltages",
    "sags",
    "start_sags",
    "without_limit",
    "without_limits",
]

ENABLE_S: Final = ENABLE_INTERVAL_FRAMES * FRAME_S
"""Between the first pulses of one servo and of the next of a board (s)."""

FULL_CHARGE: Final = 1.0


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
    supplies = tuple(without_limit(one) for one in show.rig.supplies)
    return replace(show, rig=replace(show.rig, supplies=supplies))


def without_limit(supply: Supply) -> Supply:
    """The supply with a regulator and an adapter that give any current; a battery stays as it is,
    because it has its own resistance and no limit."""
    source, regulator = supply.source, supply.regulator
    if isinstance(source, Adapter):
        source = replace(source, current_a=inf)
    if regulator is not None:
        regulator = replace(regulator, current_a=inf)
    return replace(supply, source=source, regulator=regulator)


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
    return sags_at(show, hardest_torques(show, moves, peak_nm))


def sags_at(show: Show, hardest: Mapping[str, Hardest]) -> tuple[Sag, ...]:
    """`sags` of a show whose servos' hardest torques are known."""
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
        moving = tuple(name for name, one in own.items() if one.moves)
        cues = tuple(dict.fromkeys(one.cue for one in own.values() if one.cue is not None))
        case = _Case(torques, moving, None, cues)
        demands = _demands(show, fed, [case])
        found.append(_worst_of(board, show.rig, supply, demands, [case]))
    return tuple(found)


def held_sags(show: Show) -> tuple[Sag, ...]:
    """What every board may draw without an end: all lights at their brightest, all switches on, all
    parts held in their hardest poses. Jolts of the wearer and moves do not last."""
    calm = replace(show, rig=replace(show.rig, wearer=settled(show.rig.wearer)))
    held = hold_nm(calm.rig)
    return sags_at(calm, {name: Hardest(torque, None) for name, torque in held.items()})


def beside_others(show: Show, hardest: Mapping[str, Hardest], name: str) -> FallingVoltage | None:
    """The voltage of one servo's board over its own torque, all the others at their hardest.

    A planned move takes its voltage by what it asks itself at each instant; what takes it beyond
    that, an interruption, is judged as such. None without a supply, or where the supply collapses
    even while this servo asks for nothing.
    """
    one = next(o for o in show.rig.outputs if isinstance(o, Servo) and o.name == name)
    _, supply = of_board(show.rig, one.board)
    if supply is None:
        return None
    fed = [b.name for b in show.rig.boards if b.supply == supply.name]
    servos = [o.name for o in show.rig.outputs if isinstance(o, Servo) and o.board in fed]
    others = {other: hardest[other].torque_nm for other in servos}
    moving = tuple({name, *(other for other in servos if hardest[other].moves)})
    torques = own_torques_nm(one, supply)
    cases = [_Case({**others, name: float(torque)}, moving, None) for torque in torques]
    solved = solve(show.rig, supply, _demands(show, fed, cases))
    if np.broadcast_to(solved.collapsed, torques.shape)[0]:
        return None
    return FallingVoltage(torques, np.broadcast_to(solved.board_v[one.board], torques.shape))


def start_sags(show: Show) -> tuple[Sag, ...]:
    """The worst instant of power-up, or of standby, at every board that has a supply.

    Servos get their first pulses one after another, and each may then stand anywhere and jump to
    its safe pose at stall current, which no cue asks of it. Parts that hang together with it hold
    against its jump, those that started before it may still be on their way, the others hold;
    lights are dark. A part that turns round and round is told to stand, and does not jump.
    """
    rig = show.rig
    hold = hold_nm(rig)
    states = Reachable(show)
    jumps = {name: states.jump(name) for name in states.servos}
    found = []
    for board in rig.boards:
        _, supply = of_board(rig, board.name)
        if supply is None:
            continue
        fed = [b.name for b in rig.boards if b.supply == supply.name]
        servos = [o.name for o in rig.outputs if isinstance(o, Servo) and o.board in fed]
        held = {name: hold[name] for name in servos}
        cases = [
            _start(rig, held, name, jumps) for name in servos if not states.servos[name].load.spins
        ] or [_Case(held, (), None)]
        demands = _demands(show, fed, cases, lit=False)
        found.append(_worst_of(board, rig, supply, demands, cases))
    return tuple(found)


def _start(rig: Rig, held: _Torques, name: str, jumps: Mapping[str, Jump | None]) -> _Case:
    """A servo that jumps, parts of its chain that feel that, and those that are still on their
    way: a heavy part comes to its speed long after its first pulse."""
    jump = jumps[name]
    jarred = {} if jump is None else jarred_nm(rig, name, jump.reach)
    most = {other: max(nm, jarred.get(other, 0.0)) for other, nm in held.items()}
    on_their_way = _on_their_way(rig, name, jumps)
    for other, ago_s in on_their_way.items():
        before = jumps[other]
        if other in most and before is not None:
            most[other] = max(most[other], before.after_nm(ago_s))
    return _Case({**most, name: ENDLESS_NM}, tuple(on_their_way), name)


def _on_their_way(rig: Rig, name: str, jumps: Mapping[str, Jump | None]) -> dict[str, float]:
    """Servos whose jump may not be over when this one gets its first pulse, and how long ago (s)
    each of them got its own.

    Boards start their servos in the order of the rig, each board for itself.
    """
    servos = [o for o in rig.outputs if isinstance(o, Servo)]
    place = {
        one.name: [o.name for o in servos if o.board == one.board].index(one.name) for one in servos
    }
    found = {}
    for other, jump in jumps.items():
        if other == name or jump is None:
            continue
        ago_s = (place[name] - place[other]) * ENABLE_S
        if 0.0 <= ago_s < jump.lasts_s:
            found[other] = ago_s
    return found


def _worst_of(
    board: Board, rig: Rig, supply: Supply, demands: Mapping[str, Demand], cases: list[_Case]
) -> Sag:
    """The case in which the voltage falls lowest, with what that case draws at the most.

    Voltages are lowest while the battery is nearly empty, currents of servos and lamps greatest
    while it is full; those of the source of a regulator somewhere between. A board of several draws
    most while the others do nothing. `demands`: arrays of one value for each case.
    """
    lowest = solve(rig, supply, demands)
    full = [solve(rig, supply, demands, charge) for charge in _charges(supply)]
    own = [lowest, *full]
    if len(demands) > 1:
        alone = {board.name: demands[board.name]}
        own.append(solve(rig, supply, alone, FULL_CHARGE))
    size = len(cases)

    def most(rows: Iterable[Array]) -> Array:
        return np.asarray(np.max([np.broadcast_to(row, size) for row in rows], axis=0))

    volts = np.broadcast_to(lowest.board_v[board.name], size)
    at_board = most(each.board_a[board.name] for each in own)
    at_feed = most(np.asarray(sum(each.board_a.values())) for each in (lowest, *full))
    at_source = most(each.source_a for each in (lowest, *full))
    # behind a regulator or a short wire, or in a collapse, all may leave the same voltage, and
    # rounding does not decide between them
    n = int(np.lexsort((-at_board, -at_feed.round(9), volts.round(9)))[0])
    return Sag(
        board.name,
        supply.name,
        float(volts[n]),
        float(at_board[n]),
        float(at_feed[n]),
        float(at_source[n]),
        float(np.broadcast_to(lowest.source_v, size)[n]),
        cases[n].cues,
        bool(np.broadcast_to(lowest.collapsed, size)[n]),
        cases[n].starting,
    )


def _charges(supply: Supply) -> tuple[float, ...]:
    """States of charge at which a supply's currents may be greatest, beside that of `lowest`."""
    if not isinstance(supply.source, Cells):
        return ()
    return (FULL_CHARGE,) if supply.regulator is None else (0.5, FULL_CHARGE)


_Torques: TypeAlias = dict[str, float]
"""Horn torque (N.m) by servo."""


@dataclass(frozen=True, slots=True)
class _Case:
    """What the servos of a supply do at one instant: torques at their horns, and which move."""

    torques: _Torques
    moving: tuple[str, ...]
    starting: str | None
    cues: tuple[str, ...] = ()


def _demands(
    show: Show, fed: Iterable[str], cases: list[_Case], lit: bool = True
) -> dict[str, Demand]:
    """By board, what its outputs ask in each case."""
    levels = brightest(show) if lit else dark(show)
    demands: dict[str, Demand] = {}
    idle_a = {board.name: board.electrics.idle_a for board in show.rig.boards}
    for name in fed:
        outputs = [o for o in show.rig.outputs if o.board == name]
        on = [o.current_a for o in outputs if isinstance(o, Switch) and (lit or o.safe_on)]
        fixed = idle_a[name] + sum(on)
        strips = [o for o in outputs if isinstance(o, Strip)]
        fixed += sum(levels[o.name] * feed_share(show.rig, o) for o in strips)
        servos = [o.name for o in outputs if o.name in cases[0].torques]
        demands[name] = Demand(
            {servo: np.array([case.torques[servo] for case in cases]) for servo in servos},
            {o.name: levels[o.name] for o in outputs if isinstance(o, Lamp)},
            fixed,
            {servo: np.array([float(servo in case.moving) for case in cases]) for servo in servos},
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
    the lights that the show can leave are enough. Boards trim all that they show, so light counts
    as it is trimmed.
    """
    most: dict[str, float] = {}
    channels: dict[str, np.ndarray[tuple[int], np.dtype[np.float64]]] = {}
    lights: list[tuple[str, float | StripLight]] = []
    states = LightStates(show)
    for name in states.lights:
        lights += [(name, light) for light in states.left(name)]
    for name, light in lights:
        if isinstance(light, StripLight):
            channels[name] = np.maximum(channels.get(name, np.zeros(3)), _played(light))
        else:
            most[name] = max(most.get(name, 0.0), float(luminance(light)))
    for lamp in (o for o in show.rig.outputs if isinstance(o, Lamp)):
        most[lamp.name] *= (lamp.trims or (1.0,))[0]
    for strip in (o for o in show.rig.outputs if isinstance(o, Strip)):
        trimmed = channels[strip.name] * np.array(strip.trims or (1.0,))
        full = float(trimmed.sum()) * strip.channel_a * strip.pixels
        idle = strip.pixels * PIXEL_IDLE_A
        most[strip.name] = min(full + idle, strip_full_a(strip))
    return most
