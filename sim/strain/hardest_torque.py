"""The most torque that a show asks of each servo, whatever cuts its motions short.

A part that moves may be stopped or taken over at any moment, and the board then brakes and turns
it as hard as its table lets it: no motion asks for more than its limits do
(`sim.strain.interruption`). A part that no cue moves holds its hardest pose, also against what the
other parts of its chain do to it. A part that grips, or that carries one, is taken to grip, all of
them at once (`sim.rig.grip`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np

from sim.model import JointLimits, Law, Rig, Servo, Show
from sim.rig.grip import gripping
from sim.rig.holding_torque import worst_hold
from sim.rig.supply import highest_v
from sim.score.planned_moves import PlannedMove
from sim.strain.envelope import assess
from sim.strain.interruption import hardest_nm
from sim.strain.reachable import Reachable

MoveKey: TypeAlias = tuple[float, float, int, Law]
"""What of a planned move its torque hangs on: from and to (deg), duration (ms), law."""

ENDLESS_NM: Final = 1e9
"""In place of an infinite torque, which a drive at its dead point asks for; also a stalled horn."""


@dataclass(frozen=True, slots=True)
class Hardest:
    """The greatest horn torque (N.m) of one servo.

    `cue`: the cue with the servo's hardest planned move; None for a servo that only holds.
    """

    torque_nm: float
    cue: str | None

    @property
    def moves(self) -> bool:
        return self.cue is not None


def hardest_torques(
    show: Show,
    planned: Iterable[PlannedMove],
    peak_nm: Mapping[str, Mapping[MoveKey, float]] | None = None,
) -> dict[str, Hardest]:
    """By servo name, in the order of the rig.

    `planned`: the show's planned moves; `peak_nm` their greatest horn torques (N.m) by servo, if
    they are known already.
    """
    moves = [one for one in planned if one.move.duration_ms > 0]
    by_servo: dict[str, list[PlannedMove]] = {}
    for move in moves:
        by_servo.setdefault(move.move.output, []).append(move)
    limits = Reachable(show, moves).in_motion
    held = hold_nm(show.rig)
    found = {}
    for one in (o for o in show.rig.outputs if isinstance(o, Servo)):
        grip = gripping(show.rig, one)
        least = max(held[one.name], _finite(grip.torque_nm) if grip is not None else 0.0)
        if one.name not in limits:
            shaken = _finite(hardest_nm(show.rig, one, (0.0, 0.0)))
            found[one.name] = Hardest(max(least, shaken), None)
            continue
        own = by_servo[one.name]
        known = _peak_nm(show.rig, one, own) if peak_nm is None else peak_nm.get(one.name, {})
        cue = max(own, key=lambda move: known.get(_way(move), 0.0)).cue
        most = _finite(hardest_nm(show.rig, one, limits[one.name]))
        found[one.name] = Hardest(max(least, most), cue)
    return found


def hold_nm(rig: Rig) -> dict[str, float]:
    """Horn torque (N.m) of the hardest pose of every servo."""
    servos = [output for output in rig.outputs if isinstance(output, Servo)]
    return {one.name: _finite(worst_hold(one, rig.wearer).torque_nm) for one in servos}


def jarred_nm(rig: Rig, name: str, reach: JointLimits) -> dict[str, float]:
    """Horn torque (N.m) of the parts in one chain with a servo that jumps as `reach` says.

    Each of them stands anywhere in its travel and holds against weight and what the jump does to
    it: the servo stands on one, turns the others, and all feel the hinges' forces. Empty for a part
    alone.
    """
    jumps = next(o for o in rig.outputs if isinstance(o, Servo) and o.name == name)
    if jumps.load.coupled is None:
        return {}
    servos = {o.name: o for o in rig.outputs if isinstance(o, Servo)}
    found = {}
    links = jumps.load.coupled.links
    for link in links:
        one = servos.get(link.name)
        if one is None or one.load.coupled is None or one.name == name:
            continue
        reaches = tuple(
            reach if other.name == name else JointLimits(servos[other.name].travel_deg, 0.0, 0.0)
            for other in links
            if other.name in servos
        )
        if len(reaches) < len(links):
            continue
        shaken = replace(one.load, coupled=replace(one.load.coupled, reaches=reaches))
        found[one.name] = _finite(hardest_nm(rig, replace(one, load=shaken), (0.0, 0.0)))
    return found


def _finite(torque_nm: float) -> float:
    return torque_nm if np.isfinite(torque_nm) else ENDLESS_NM


def _way(planned: PlannedMove) -> MoveKey:
    move = planned.move
    return planned.from_deg, move.angle_deg, move.duration_ms, move.law


def _peak_nm(rig: Rig, one: Servo, planned: list[PlannedMove]) -> dict[MoveKey, float]:
    """The greatest horn torque of every different move; it does not hang on the voltage."""
    ways = list(dict.fromkeys(_way(move) for move in planned))
    start, end, lasts, laws = zip(*ways, strict=True)
    work = assess(rig, one, start, end, lasts, laws, highest_v(rig, one.board))
    return dict(zip(ways, work.peak_torque_nm.tolist(), strict=True))
