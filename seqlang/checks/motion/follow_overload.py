"""follow-overload: a part that follows a source may need more than its servo has.

What: at every place between its targets, at the greatest speed and the greatest acceleration with
which the part follows, both at once, the servo's line leaves the margin.

Why: a hand turns a stick at any moment, also while the part is under way. Some day a hand turns the
part round at full speed where its weight pulls most. A servo that stalls then draws its full
current, heats up within seconds and strips its gears.

Example:

    follows stick from 1000 us to 2000 us, 0 deg to 50 deg, in 150 ms

Instead:

    follows stick from 1000 us to 2000 us, 0 deg to 50 deg, in 600 ms

Source of the limit: the servo's `rating` line (straight torque-speed line; MIT, Understanding D.C.
Motor Characteristics); Newton's second law about the hinge; the margin is the rig's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import ceil

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.rewrite import measures, rewritten
from seqlang.text import units
from seqlang.text.findings import Finding, Fix
from sim.model import Follow, Servo
from sim.rig.slide import of_part
from sim.rulebook import LONGEST_DURATION_MS
from sim.score.planned_moves import follow_limits, followed_deg
from sim.strain.envelope import TOLERANCE
from sim.strain.interruption import bound_share


def check(context: Context) -> Iterator[Finding]:
    limit = 1.0 - context.show.rig.wearer.margin
    overloaded = context.once(overloads)
    for follow in context.show.rig.follows:
        if follow.output in overloaded:
            servo = context.servos[follow.output]
            yield _finding(context, servo, follow, overloaded[follow.output], limit)


def overloads(context: Context) -> dict[str, float]:
    """By servo that may be asked for too much while it follows, what share of its line that is."""
    limit = 1.0 - context.show.rig.wearer.margin
    followed = [one for one in context.show.rig.follows if one.output in context.sound]
    shares = {one.output: _share(context, context.servos[one.output], one) for one in followed}
    return {name: share for name, share in shares.items() if share > limit + TOLERANCE}


def _share(context: Context, servo: Servo, follow: Follow) -> float:
    """The most of the servo's line that following asks for."""
    speed, accel = follow_limits(follow, context.states.table[servo.name])
    volts = context.rated_v.get(servo.board, context.lowest_v.get(servo.board))
    between = followed_deg(context.sound_show)[servo.name]
    rig = context.sound_show.rig
    sound = next(o for o in rig.outputs if o.name == servo.name)
    assert isinstance(sound, Servo)
    return bound_share(rig, sound, (float(speed), float(accel)), volts, between)


def _finding(context: Context, servo: Servo, follow: Follow, share: float, limit: float) -> Finding:
    speed, accel = follow_limits(follow, context.states.table[servo.name])
    unit, harder = of_part(servo).speed, measures(servo).acceleration.unit
    passing_ms = _shortest_ms(context, servo, follow, limit)
    fix = None if passing_ms is None else slower(context, follow, passing_ms)
    asked, most = figures(100.0 * share, 100.0 * limit)
    return Finding(
        "error",
        "follow-overload",
        f"`{follow.source}` may ask `{servo.name}` for {asked} % of what its servo can do, and "
        f"{most} % keeps the margin",
        context.span(follow.mark, "duration"),
        label=f"at {figure(speed)} {unit} and {figure(accel)} {harder}, at once",
        related=((context.span(servo.mark, "name"), "this part"),),
        help="no duration passes: take a stronger servo, a lighter part or a spring for "
        f"`{servo.name}`"
        if passing_ms is None
        else f"`in {passing_ms} ms` from end to end passes, however the hand moves",
        fix=fix,
        asked=share,
        limit=limit,
        unit="of the servo's line",
    )


def _shortest_ms(context: Context, servo: Servo, follow: Follow, limit: float) -> int | None:
    """The shortest way that passes, to 10 ms; None: none does."""

    def passes(ms: int) -> bool:
        return _share(context, servo, replace(follow, way_ms=ms)) <= limit

    low, high = follow.way_ms, LONGEST_DURATION_MS
    if not passes(high):
        return None
    while high - low > 10:
        middle = (low + high) // 2
        low, high = (low, middle) if passes(middle) else (middle, high)
    return 10 * ceil(high / 10)


def slower(context: Context, follow: Follow, way_ms: int) -> Fix:
    """The line with that time from end to end."""
    if context.has_part(follow.mark, "duration"):
        return rewritten(
            context, context.span(follow.mark, "duration"), way_ms, units.DURATION, "up"
        )
    line = context.span(follow.mark)
    return Fix(line, f"{context.text(line)}, in {way_ms} ms")
