"""How hard each servo and each supply is worked, as data for the tail of `bellcrank check`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sim import servo as lines

if TYPE_CHECKING:
    from seqlang.checks.scene import Scene
    from seqlang.checks.workload import Work


@dataclass(frozen=True, slots=True)
class Worst:
    """The greatest share of something over all planned moves, and the cue it occurs in."""

    share: float
    cue: str


@dataclass(frozen=True, slots=True)
class ServoWork:
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
class SupplyWork:
    """The peak current of one supply against the least of its limits.

    `limit_a` None: nothing limits it. `limit` names the part that does: `regulator`, `fuse`,
    `adapter`. `cue` is the cue of the peak; `lowest_v` the lowest voltage at `board`.
    """

    supply: str
    peak_a: float
    limit_a: float | None
    limit: str | None
    cue: str
    lowest_v: float
    board: str


@dataclass(frozen=True, slots=True)
class Summary:
    servos: tuple[ServoWork, ...]
    supplies: tuple[SupplyWork, ...]


def summarise(scene: Scene) -> Summary:
    """The summary of a show under check, from what the checks have computed already."""
    kept = 1.0 - scene.show.rig.wearer.margin
    servos = tuple(_servo(work, kept) for work in scene.work.values())
    return Summary(servos, ())


def _servo(work: Work, allowed: float) -> ServoWork:
    asked = work.assessment
    line = lines.line(work.servo, asked.voltage_v)
    return ServoWork(
        work.servo.name,
        _worst(work, asked.peak_torque_nm / np.maximum(line.stall_nm, 1e-12)),
        _worst(work, asked.peak_speed_deg_s / np.maximum(line.speed_deg_s, 1e-12)),
        _worst(work, asked.peak_share),
        allowed,
    )


def _worst(work: Work, shares: lines.Array) -> Worst:
    way = int(np.argmax(shares))
    planned = work.asked[work.way_of.index(way)]
    return Worst(float(shares[way]), planned.cue)
