"""Moves that ask too much of a servo: which way they fail, and in what time they would pass.

Shared by `servo_speed`, `servo_torque` and `servo_acceleration`, which say what each means.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from seqlang.checks.figures import figure
from seqlang.checks.rewrite import rewritten
from seqlang.text import units
from seqlang.text.findings import Fix, Span
from sim.model import MINIMUM_JERK, Law, Move
from sim.rig import servo as lines
from sim.strain.shortest import Impossible, shortest_duration_ms

if TYPE_CHECKING:
    from seqlang.checks.context import Context
    from seqlang.checks.workload import ServoWorkload
    from sim.score.tree import PlannedMove

Trouble: TypeAlias = Literal["speed", "torque", "acceleration"]

MOST_FIXES = 50
"""A show with more failing moves than this gets the rest listed without a computed duration."""


@dataclass(frozen=True, slots=True)
class Failure:
    """One written move that fails, with the start from which it fails worst."""

    trouble: Trouble
    planned: PlannedMove
    work: ServoWorkload
    way: int
    shortest_ms: int | None
    """The shortest duration that passes from each of its starts; None: not sought or none."""
    impossible: str | None
    """Why no duration passes."""

    @property
    def share(self) -> float:
        return float(self.work.assessment.peak_share[self.way])


def failures(context: Context) -> tuple[Failure, ...]:
    """Every move that does not pass, once, in the order of the cues."""
    found: list[Failure] = []
    for work in context.work.values():
        starts: dict[tuple[str, int], list[tuple[PlannedMove, int]]] = {}
        for planned, way in work.failing():
            starts.setdefault((planned.cue, id(planned.move)), []).append((planned, way))
        for those in starts.values():
            found.append(_failure(context, work, those, len(found) < MOST_FIXES))
    return tuple(found)


def _failure(
    context: Context, work: ServoWorkload, starts: list[tuple[PlannedMove, int]], seek: bool
) -> Failure:
    planned, way = max(starts, key=lambda start: work.assessment.peak_share[start[1]])
    shortest, impossible = None, None
    if seek:
        law = planned.move.law if has_law(context, planned.move) else MINIMUM_JERK
        try:
            shortest = max(_shortest_ms(context, work, one, law) for one, _ in starts)
        except Impossible as error:
            impossible = error.reason
    return Failure(_trouble(context, work, way), planned, work, way, shortest, impossible)


def _shortest_ms(context: Context, work: ServoWorkload, one: PlannedMove, law: Law) -> int:
    """The shortest duration that passes, alone and at the lowest voltage of the show."""
    way = context.sound_show.rig, work.servo, one.from_deg, one.move.angle_deg, law
    alone = shortest_duration_ms(*way, work.voltage_v)
    lowest_v = context.lowest_v.get(work.servo.board)
    if work.voltage_v is not None or lowest_v is None:
        return alone
    try:
        return max(alone, shortest_duration_ms(*way, lowest_v))
    except Impossible:  # that is for `voltage_sag` to say
        return alone


def _trouble(context: Context, work: ServoWorkload, way: int) -> Trouble:
    asked = work.assessment
    if asked.peak_share[way] <= 1.0 - context.show.rig.wearer.margin + 1e-6:
        return "acceleration"
    line = lines.line(work.servo, asked.voltage_v[way])
    of_speed = abs(asked.speed_deg_s[way]) / max(float(line.speed_deg_s), 1e-9)
    of_torque = abs(asked.torque_nm[way]) / max(float(line.stall_nm), 1e-9)
    return "speed" if of_speed > of_torque else "torque"


def speed_left_deg_s(context: Context, failure: Failure) -> float:
    """The horn speed that the servo has, margin kept, at the torque of the worst instant."""
    asked = failure.work.assessment
    line = lines.line(failure.work.servo, asked.voltage_v[failure.way])
    torque = asked.torque_nm[failure.way]
    kept = 1.0 - context.show.rig.wearer.margin
    if np.signbit(torque) != np.signbit(asked.speed_deg_s[failure.way]):
        return float(kept * line.speed_deg_s)
    of_torque = abs(torque) / float(line.stall_nm)
    return float(max(0.0, (kept - of_torque) * float(line.speed_deg_s)))


# -- the text ---------------------------------------------------------------------------------


def has_law(context: Context, move: Move) -> bool:
    """Whether the move keeps its law when its pace is rewritten; `within ...` brings its own."""
    return not context.text(context.span(move.mark, "pace")).startswith("within")


def pace_span(context: Context, move: Move) -> Span:
    for part in ("duration", "pace"):
        if context.has_part(move.mark, part):
            return context.span(move.mark, part)
    return context.span(move.mark)


def slower(context: Context, move: Move, duration_ms: int) -> Fix | None:
    """The move's pace rewritten to last `duration_ms`, rounded up as the text is written."""
    if context.has_part(move.mark, "duration"):
        span = context.span(move.mark, "duration")
        return rewritten(context, span, duration_ms, units.DURATION, "up")
    if context.has_part(move.mark, "pace"):
        return Fix(context.span(move.mark, "pace"), f"in {duration_ms} ms")
    return None


def start_places(context: Context, planned: PlannedMove) -> tuple[tuple[Span, str], ...]:
    """Where the angle that the move starts from was set."""
    name, from_deg = planned.move.output, planned.from_deg
    label = f"`{name}` comes from {from_deg:g} deg, set here"
    servo = context.servos[name]
    if planned.entry and servo.safe_deg == from_deg and context.has_part(servo.mark, "safe"):
        return ((context.span(servo.mark, "safe"), label),)
    where = None if planned.entry else planned.cue
    setting = context.settings.get((where, name, from_deg))
    return () if setting is None else ((context.span(setting.mark), label),)


def instant(context: Context, failure: Failure) -> str:
    """The worst instant in words: where, under which torque and speed, at which voltage."""
    asked, way = failure.work.assessment, failure.way
    kept = context.show.rig.wearer.margin
    at = f"worst {figure(asked.at_ms[way])} ms into the move, at {figure(asked.angle_deg[way])} deg"
    return (
        f"{at}: {figure(abs(asked.torque_nm[way]))} N.m at {figure(abs(asked.speed_deg_s[way]))} "
        f"deg/s on the horn, {figure(asked.voltage_v[way])} V arriving, "
        f"{figure(100 * kept)} % kept in hand"
    )


def advice(failure: Failure, fix: Fix | None) -> str:
    if failure.impossible is not None:
        return f"no duration passes: {failure.impossible}"
    if fix is None or failure.shortest_ms is None:
        return "give it more time, or `as fast as it can` to have the time computed"
    if fix.text == f"{failure.shortest_ms} ms":
        return f"`{fix.text}` is the shortest duration that passes"
    return f"the shortest duration that passes is {failure.shortest_ms} ms: `{fix.text}`"
