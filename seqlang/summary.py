"""How hard each servo and each supply is worked, as data for the tail of `bellcrank check`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sim.arrays import Array
from sim.model import Adapter
from sim.rig import servo as lines

if TYPE_CHECKING:
    from seqlang.checks.context import Context
    from seqlang.checks.workload import ServoWorkload
    from sim.model import Supply


@dataclass(frozen=True, slots=True)
class Worst:
    """The greatest share of something over all planned moves, and the cue it occurs in."""

    share: float
    cue: str


@dataclass(frozen=True, slots=True)
class ServoSummary:
    """Shares of one servo's line at the voltage that arrives; 1 is all it has, margin included.

    `torque`: greatest torque over stall torque. `speed`: greatest speed over no-load speed.
    `line`: how far out on the torque-speed line the worst instant lies; `allowed` is 1 less the
    rig's margin, the most that passes.
    """

    servo: str
    torque: Worst
    speed: Worst
    line: Worst
    allowed: float


@dataclass(frozen=True, slots=True)
class SupplySummary:
    """The peak current of one supply against the limit that it comes nearest to.

    `limit_a` None: nothing limits it. `limit` names the part that does: `regulator`, `fuse`,
    `adapter`. `cues` run together at the peak; `lowest_v` is the lowest voltage, at `board`.
    """

    supply: str
    peak_a: float
    limit_a: float | None
    limit: str | None
    cues: tuple[str, ...]
    lowest_v: float
    board: str


@dataclass(frozen=True, slots=True)
class Summary:
    servos: tuple[ServoSummary, ...]
    supplies: tuple[SupplySummary, ...]


def summarise(context: Context) -> Summary:
    """The summary of a show under check, from what the checks have computed already."""
    kept = 1.0 - context.show.rig.wearer.margin
    servos = tuple(_servo(work, kept) for work in context.work.values())
    supplies = (_supply(context, supply) for supply in context.show.rig.supplies)
    return Summary(servos, tuple(work for work in supplies if work is not None))


def _supply(context: Context, supply: Supply) -> SupplySummary | None:
    sags = [sag for sag in context.sags if sag.supply == supply.name]
    if not sags:
        return None
    limits = [("fuse", supply.fuse_a, True)]
    if supply.regulator is not None:
        limits.append(("regulator", supply.regulator.current_a, False))
    if isinstance(supply.source, Adapter):
        limits.append(("adapter", supply.source.current_a, True))
    at_source, at_feed = (max(s.source_a for s in sags), max(s.supply_a for s in sags))
    shares = [
        ((at_source if behind else at_feed) / limit, name, limit, behind)
        for name, limit, behind in limits
        if limit is not None
    ]
    _, name, limit, behind = max(shares, default=(0.0, None, None, False))
    worst = max(sags, key=lambda sag: sag.source_a if behind else sag.supply_a)
    lowest = min(sags, key=lambda sag: sag.voltage_v)
    return SupplySummary(
        supply.name,
        at_source if behind else at_feed,
        limit,
        name,
        worst.cues,
        lowest.voltage_v,
        lowest.board,
    )


def _servo(work: ServoWorkload, allowed: float) -> ServoSummary:
    asked = work.assessment
    line = lines.line(work.servo, asked.voltage_v)
    return ServoSummary(
        work.servo.name,
        _worst(work, asked.peak_torque_nm / np.maximum(line.stall_nm, 1e-12)),
        _worst(work, asked.peak_speed_deg_s / np.maximum(line.speed_deg_s, 1e-12)),
        _worst(work, asked.peak_share),
        allowed,
    )


def _worst(work: ServoWorkload, shares: Array) -> Worst:
    way = int(np.argmax(shares))
    planned = work.asked[work.way_of.index(way)]
    return Worst(float(shares[way]), planned.cue)
