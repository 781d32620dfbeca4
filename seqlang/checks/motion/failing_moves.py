"""Moves that ask too much of a servo: which way they fail, and in what time they would pass.

Shared by `servo_speed`, `servo_torque` and `servo_acceleration`, which say what each means.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from seqlang.checks.figures import figure
from seqlang.checks.rewrite import rewritten
from seqlang.text import units
from seqlang.text.findings import Fix, Span
from sim.model import MINIMUM_JERK, Law, Move
from sim.rig import servo as lines
from sim.rig.slide import of_horn, of_part
from sim.score.planned_moves import FOLLOWING
from sim.strain.hardest_torque import Hardest, hardest_torques
from sim.strain.sag import beside_others
from sim.strain.shortest import Impossible, shortest_duration_ms

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from seqlang.checks.context import Context
    from seqlang.checks.workload import ServoWorkload
    from sim.rig.supply import FallingVoltage
    from sim.score.planned_moves import PlannedMove

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
    """Why no duration passes, and what helps."""


Starts: TypeAlias = "list[tuple[PlannedMove, int]]"
"""One written move from each place it can start at, with the index of its way."""


def failures(context: Context) -> tuple[Failure, ...]:
    """Every written move that does not pass, once, in the order of the cues.

    Not what parts do that follow a source: `follow_overload` tells of that.

    A move that several cues play, and moves that share one number in the text, get one duration.
    """
    groups = [
        (work, starts)
        for work in context.work.values()
        for starts in _written(one for one in work.failing() if one[0].cue != FOLLOWING)
    ]
    alone = [_alone(context, *group) for group in groups[:MOST_FIXES]]
    hardest = _once_mended(context, groups, alone) if groups else {}
    found: list[Failure] = []
    for n, (work, starts) in enumerate(groups):
        planned, way = max(starts, key=lambda start: work.assessment.peak_share[start[1]])
        shortest, impossible = None, None
        if n < MOST_FIXES:
            known = alone[n]
            if isinstance(known, Impossible):
                impossible = f"{known.reason}; {known.remedy}"
            else:
                shortest = _slower_if_low(context, work, starts, known, hardest)
        trouble = _trouble(context, work, way)
        found.append(Failure(trouble, planned, work, way, shortest, impossible))
    return _one_duration_each(context, found)


def _written(failing: Iterable[tuple[PlannedMove, int]]) -> list[Starts]:
    """Gathered by the statement that they were written in, in whichever cue they are played."""
    starts: dict[int, Starts] = {}
    for planned, way in failing:
        starts.setdefault(planned.move.mark, []).append((planned, way))
    return list(starts.values())


def _one_duration_each(context: Context, found: list[Failure]) -> tuple[Failure, ...]:
    """Of failures at one number in the text, each with the duration that passes for all."""
    longest: dict[Span, int] = {}
    for one in found:
        span = pace_span(context, one.planned.move)
        longest[span] = max(longest.get(span, 0), one.shortest_ms or 0)
    return tuple(
        one
        if one.shortest_ms is None
        else replace(one, shortest_ms=longest[pace_span(context, one.planned.move)])
        for one in found
    )


def _law(context: Context, starts: Starts) -> Law:
    move = starts[0][0].move
    return move.law if has_law(context, move) else MINIMUM_JERK


def _alone(context: Context, work: ServoWorkload, starts: Starts) -> int | Impossible:
    """The shortest duration that passes from each start while the servo moves alone."""
    rig, law = context.sound_show.rig, _law(context, starts)
    try:
        return max(
            shortest_duration_ms(
                rig, work.servo, one.from_deg, one.move.angle_deg, law, work.voltage_v
            )
            for one, _ in starts
        )
    except Impossible as error:
        return error


def _once_mended(
    context: Context,
    groups: list[tuple[ServoWorkload, Starts]],
    alone: list[int | Impossible],
) -> Mapping[str, Hardest]:
    """The most that the show asks of each servo once every failing move lasts long enough alone.

    A failing move asks for more torque than it will once it is mended: that must not make the
    durations that are proposed for others longer.
    """
    mended: dict[int, PlannedMove] = {}
    unmended: set[int] = set()
    for (_, starts), known in zip(groups, alone, strict=False):
        for one, _ in starts:
            if isinstance(known, Impossible):
                unmended.add(id(one))
            else:
                move = replace(one.move, duration_ms=known, law=_law(context, starts))
                mended[id(one)] = replace(one, move=move)
    planned = [mended.get(id(one), one) for one in context.planned if id(one) not in unmended]
    return hardest_torques(context.sound_show, planned, context.peak_nm)


def _slower_if_low(
    context: Context,
    work: ServoWorkload,
    starts: Starts,
    alone_ms: int,
    hardest: Mapping[str, Hardest],
) -> int:
    """The shortest duration that passes alone and beside all the others at their hardest."""
    if work.voltage_v is not None:
        return alone_ms
    volts = beside_others(context.sound_show, hardest, work.servo.name)
    if volts is None:
        return alone_ms
    rig, law = context.sound_show.rig, _law(context, starts)
    try:
        return max(
            alone_ms,
            *(
                shortest_duration_ms(rig, work.servo, one.from_deg, one.move.angle_deg, law, volts)
                for one, _ in starts
            ),
        )
    except Impossible:  # that is for `voltage_sag` to say
        return alone_ms


def shortest_at_ms(
    context: Context, work: ServoWorkload, starts: Starts, voltage_v: FallingVoltage
) -> int | None:
    """The shortest duration that passes from each start, alone and at `voltage_v`; None: none."""
    alone = _alone(context, work, starts)
    if isinstance(alone, Impossible):
        return None
    rig, law = context.sound_show.rig, _law(context, starts)
    try:
        low = [
            shortest_duration_ms(rig, work.servo, one.from_deg, one.move.angle_deg, law, voltage_v)
            for one, _ in starts
        ]
    except Impossible:
        return None
    return max(alone, *low)


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
    part = "duration" if context.has_part(move.mark, "duration") else "pace"
    return context.span(move.mark, part)


def slower(context: Context, move: Move, duration_ms: int) -> Fix:
    """The move's pace rewritten to last `duration_ms`, rounded up as the text is written."""
    span = pace_span(context, move)
    if context.has_part(move.mark, "duration"):
        return rewritten(context, span, duration_ms, units.DURATION, "up")
    if not context.has_part(move.mark, "pace"):  # of what follows a source it may be left out
        return Fix(span, f"{context.text(span)}, in {duration_ms} ms")
    return Fix(span, f"in {duration_ms} ms")


def start_places(context: Context, planned: PlannedMove) -> tuple[tuple[Span, str], ...]:
    """Where the angle that the move starts from was set."""
    name, from_deg = planned.move.output, planned.from_deg
    servo = context.servos[name]
    label = f"`{name}` comes from {from_deg:g} {of_part(servo).place}, set here"
    if planned.entry and servo.safe_deg == from_deg and context.has_part(servo.mark, "safe"):
        return ((context.span(servo.mark, "safe"), label),)
    where = None if planned.entry else planned.cue
    setting = context.settings.get((where, name, from_deg))
    return () if setting is None else ((context.span(setting.mark), label),)


def instant(context: Context, failure: Failure) -> str:
    """The worst instant in words: where, under which torque and speed, at which voltage."""
    asked, way = failure.work.assessment, failure.way
    kept = context.show.rig.wearer.margin
    part, horn = of_part(failure.work.servo), of_horn(failure.work.servo)
    where = f"{figure(asked.angle_deg[way])} {part.place}"
    at = f"worst {figure(asked.at_ms[way])} ms into the move, at {where}"
    effort = figure(horn.of_torque(abs(asked.torque_nm[way])))
    speed = figure(horn.of_speed(abs(asked.speed_deg_s[way])))
    return (
        f"{at}: {effort} {horn.effort} at {speed} "
        f"{horn.speed} {horn.where}, {figure(asked.voltage_v[way])} V at the servo, "
        f"{figure(100 * kept)} % kept as margin"
    )


def advice(failure: Failure, fix: Fix | None) -> str:
    if failure.impossible is not None:
        return f"no duration passes: {failure.impossible}"
    if fix is None:
        return "give it more time, or `as fast as it can` to have the time computed"
    if fix.text == f"{failure.shortest_ms} ms":
        return f"`{fix.text}` is the shortest duration that passes"
    return f"`{fix.text}` passes; the shortest duration that does is {failure.shortest_ms} ms"
