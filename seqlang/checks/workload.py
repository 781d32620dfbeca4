"""How hard the planned moves work each servo, found once for all checks and the summary.

Many lines of a show ask for the same move; each different one is assessed once.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from sim.model import Law, Rig, Servo
from sim.strain.envelope import Assessment, assess

if TYPE_CHECKING:
    from collections.abc import Iterable

    from sim.score.planned_moves import PlannedMove


KEPT: Final = 256
"""Answers that are kept while a show is edited: those of the most servos, a few times over."""


class WorkedWay(NamedTuple):
    """What of a planned move the physics looks at."""

    from_deg: float
    to_deg: float
    duration_ms: int
    law: Law


@dataclass(frozen=True, slots=True)
class ServoWorkload:
    """All different moves of one servo, and who asks for them."""

    servo: Servo
    ways: tuple[WorkedWay, ...]
    assessment: Assessment
    """One value per way."""
    asked: tuple[PlannedMove, ...]
    way_of: tuple[int, ...]
    """Per planned move, the index of its way."""
    voltage_v: float | None = None
    """What was taken to arrive; None: as if the servo moved alone."""

    def failing(self) -> Iterator[tuple[PlannedMove, int]]:
        """Planned moves that do not pass, with the index of their way."""
        fails = ~self.assessment.passes
        if not fails.any():
            return
        for planned, index in zip(self.asked, self.way_of, strict=True):
            if fails[index]:
                yield planned, index


def workload(
    rig: Rig,
    servos: Iterable[Servo],
    planned: Iterable[PlannedMove],
    voltage_v: Mapping[str, float],
) -> dict[str, ServoWorkload]:
    """By servo name. Moves of no way or no duration are left out: they have no torque or speed.

    `voltage_v`: by board; on a board that is not named, as if each servo moved alone.
    """
    by_servo: dict[str, list[PlannedMove]] = {servo.name: [] for servo in servos}
    for one in planned:
        move = one.move
        if move.output in by_servo and move.duration_ms > 0 and move.angle_deg != one.from_deg:
            by_servo[move.output].append(one)
    return {
        servo.name: _work(rig, servo, by_servo[servo.name], voltage_v.get(servo.board))
        for servo in servos
        if by_servo[servo.name]
    }


def _work(
    rig: Rig, servo: Servo, asked: list[PlannedMove], voltage_v: float | None
) -> ServoWorkload:
    index: dict[WorkedWay, int] = {}
    way_of = tuple(
        index.setdefault(
            WorkedWay(one.from_deg, one.move.angle_deg, one.move.duration_ms, one.move.law),
            len(index),
        )
        for one in asked
    )
    ways = tuple(index)
    assessment = _assessed(rig, servo, ways, voltage_v)
    return ServoWorkload(servo, ways, assessment, tuple(asked), way_of, voltage_v)


@lru_cache(maxsize=KEPT)
def _assessed(
    rig: Rig, servo: Servo, ways: tuple[WorkedWay, ...], voltage_v: float | None
) -> Assessment:
    """How hard the ways work the servo; found again while a text is edited elsewhere."""
    return assess(
        rig,
        servo,
        np.array([way.from_deg for way in ways]),
        np.array([way.to_deg for way in ways]),
        np.array([way.duration_ms for way in ways], dtype=np.float64),
        [way.law for way in ways],
        voltage_v,
    )
