"""interrupted-overload, interrupted-stretch: what happens when one cue takes over from another.

interrupted-overload: a cue that takes over asks more of a servo than any cue by itself.
interrupted-stretch: a cue that takes over makes its move last longer than written.

What: a cue that takes over a moving servo brakes it at the servo's acceleration. Then it makes its
own move, stretched if speed or acceleration would go over their limits. At the worst instant this
may ask more of the servo than any cue by itself (a warning). It also makes the new move last longer
than written (advice, if it is more than two frames). The part always stays in its travel.

Why: on the street buttons are pressed at any instant. A servo that cannot follow then arrives late
and with full force.

Example:

    cue snap
        jaw to 50 deg in 350 ms
    cue shut
        jaw to 4 deg in 350 ms

Instead: slower moves, or `acceleration 2000 deg/s2` on the servo, or `cue shut, if busy wait`.

Source of the limit: the servo's `rating` line with the rig's margin; the rule is TABLE.md, 3.2.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from math import ceil

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures, seconds
from seqlang.checks.motion.failing_moves import failures, pace_span, slower
from seqlang.checks.motion.follow_overload import overloads
from seqlang.checks.passing import interruptions_of_passing
from seqlang.checks.rewrite import measures, rewritten
from seqlang.text.findings import Finding, Fix, Span
from sim.model import Move, Servo, Show, Step
from sim.rig.slide import of_horn, of_part
from sim.rulebook import FRAME_MS
from sim.score.planned_moves import PlannedMove
from sim.score.tree import swapped
from sim.strain.envelope import assess
from sim.strain.interruption import STOP, Cuts, Interruption, interruptions
from sim.strain.reachable import Reachable

SLACK = 0.01
"""A share of the line by which an interruption may go over the margin without a word: a move at
its shortest has no more to spare, and single interruptions are rare."""

MOST_REMEDIES = 3
"""Servos for which a passing duration is searched: each takes a tenth of a second."""

LEAST_STRETCH_MS = 2 * FRAME_MS
"""A shorter stretch is not worth a word: two frames."""


def check(context: Context) -> Iterator[Finding]:
    failing = {failure.planned.move.output for failure in context.once(failures)}
    failing |= context.once(overloads).keys()
    sound = [
        cuts
        for cuts in context.once(interruptions_of_passing)
        if cuts.found and cuts.servo not in failing
    ]
    over = [cuts for cuts in sound if _goes_over(context, cuts)]
    for n, cuts in enumerate(over):
        yield _overload(context, cuts, is_remedied=n < MOST_REMEDIES)
    idle = context.show.score.idle
    longest = [max(cuts.found, key=lambda cut: cut.delay_ms) for cuts in sound]
    stretched = [
        cut
        for cut in longest
        # a way back into idle takes as long as it needs
        if cut.delay_ms > LEAST_STRETCH_MS and not (cut.cue in idle and cut.by in idle)
    ]
    if stretched:
        yield _stretch(context, sorted(stretched, key=lambda cut: -cut.delay_ms))


def _goes_over(context: Context, cuts: Cuts, slack: float = SLACK) -> bool:
    limit = 1.0 - context.show.rig.wearer.margin
    return not cuts.bound_keeps and max(cut.share for cut in cuts.found) > limit + slack


def _overload(context: Context, cuts: Cuts, is_remedied: bool) -> Finding:
    limit = 1.0 - context.show.rig.wearer.margin
    worst = max(cuts.found, key=lambda cut: cut.share)
    servo = context.servos[cuts.servo]
    part, horn = of_part(servo), of_horn(servo)
    torque, allowed = figures(
        horn.of_torque(abs(worst.torque_nm)), horn.of_torque(worst.allowed_nm)
    )
    speed = figure(horn.of_speed(abs(worst.speed_deg_s)))
    softer = _braking_softer(context, cuts.servo)
    slow = _slower(context, worst) if softer is None and is_remedied else None
    return Finding(
        "warning",
        "interrupted-overload",
        f"`{cuts.servo}` goes beyond its margin when {_taker(worst)} takes over from `{worst.cue}`",
        context.span(worst.moving.move.mark, "name"),
        label=f"interrupted {seconds(worst.at_ms)} after its start",
        related=_taking(context, worst),
        notes=(
            f"worst at {figure(worst.angle_deg)} {part.place}: {torque} {horn.effort} at "
            f"{speed} {horn.speed} {horn.where}, where {allowed} "
            f"{horn.effort} keep the margin",
        ),
        help=_ways_out(context, worst, softer, slow),
        fix=softer or slow,
        asked=worst.share,
        limit=limit,
        unit="of the servo's line",
    )


def _ways_out(context: Context, worst: Interruption, softer: Fix | None, slow: Fix | None) -> str:
    wait = "or let the second cue wait: `if busy wait`"
    if softer is not None:
        return (
            f"brake more gently, with `acceleration {softer.text}`, slow down one of the two "
            f"moves, {wait}"
        )
    if slow is None:
        return f"slow down one of the two moves, {wait}"
    if slow.more:
        (_, text), *_ = slow.more
        return (
            f"`{slow.text}` for the move that is interrupted and `{text}` for the one that takes "
            f"over keep the margin; {wait}"
        )
    first = slow.span == pace_span(context, worst.moving.move)
    which = "the move that is interrupted" if first else "the one that takes over"
    return f"`{slow.text}` for {which} keeps the margin; {wait}"


def _slower(context: Context, worst: Interruption) -> Fix | None:
    """The least slowing down, of a sixteenth and more, with which the margin is kept.

    Of the move that is interrupted, of the one that takes over, or of both: whichever takes the
    least time. Nothing beyond four times as long. The stop has no move to slow down.
    """
    first, then = worst.moving.move, worst.then
    tried = (
        [(first,)]
        if worst.by == STOP or then.mark == first.mark
        else [(first,), (then,), (first, then)]
    )
    found = []
    for moves in tried:
        factor = _least_factor(context, worst.servo, moves)
        if factor is not None:
            found.append((sum(move.duration_ms for move in moves) * (factor - 1.0), moves, factor))
    if not found:
        return None
    _, moves, factor = min(found, key=lambda one: one[0])
    fix, *others = [slower(context, m, ceil(m.duration_ms * factor)) for m in moves]
    if any(other.span.path != fix.span.path for other in others):
        return None
    return replace(fix, more=tuple(place for other in others for place in other.places))


def _least_factor(context: Context, name: str, moves: Sequence[Move]) -> float | None:
    def keeps(factor: float) -> bool:
        lasts = {move.mark: ceil(move.duration_ms * factor) for move in moves}
        show = _with_durations(context.sound_show, lasts)
        own = [replace(one, move=_lasting(one.move, lasts)) for one in planned]
        cuts = next(
            c for c in interruptions(show, context.rated_v, Reachable(show, own)) if c.servo == name
        )
        return not _goes_over(context, cuts, SLACK / 2.0) and _all_pass(context, name, own, lasts)

    planned = [one for one in context.planned if one.move.output == name]
    low, high = 1.0, 4.0
    if not keeps(high):
        return None
    while high - low > 1.0 / 16.0:
        middle = (low + high) / 2.0
        low, high = (low, middle) if keeps(middle) else (middle, high)
    return high


def _all_pass(
    context: Context, name: str, own: Iterable[PlannedMove], changed: Collection[int]
) -> bool:
    """Whether the changed moves pass by themselves: a slower one need not."""
    servo = context.servos[name]
    ways = [
        (one.from_deg, one.move.angle_deg, one.move.duration_ms, one.move.law)
        for one in own
        if one.move.mark in changed
    ]
    starts, ends, lasts, laws = zip(*ways, strict=True)
    rig = context.sound_show.rig
    volts = context.rated_v.get(servo.board)
    return bool(assess(rig, servo, starts, ends, lasts, laws, volts).passes.all())


def _lasting(move: Move, lasts_ms: Mapping[int, int]) -> Move:
    lasts = lasts_ms.get(move.mark)
    return move if lasts is None else replace(move, duration_ms=lasts)


def _with_durations(show: Show, lasts_ms: Mapping[int, int]) -> Show:
    """The show with moves, by their marks, that last so long."""

    def change(step: Step) -> Step:
        return _lasting(step, lasts_ms) if isinstance(step, Move) else step

    cues = tuple(replace(cue, body=swapped(cue.body, change)) for cue in show.score.cues)
    return replace(show, score=replace(show.score, cues=cues))


def _braking_softer(context: Context, name: str) -> Fix | None:
    """The servo's stated acceleration lowered until its interruptions keep the margin.

    Not below what the show's own moves reach; None where that does not help or none is stated.
    """
    servo = context.servos[name]
    if servo.accel_deg_s2 is None or not context.has_part(servo.mark, "acceleration"):
        return None
    own = [one for one in context.planned if one.move.output == name]
    limit = 1.0 - context.show.rig.wearer.margin
    low = float(context.work[name].assessment.peak_accel_deg_s2.max())
    high = servo.accel_deg_s2

    def keeps(accel_deg_s2: float) -> bool:
        show = _with_servo(context.sound_show, replace(servo, accel_deg_s2=accel_deg_s2))
        cuts = next(c for c in interruptions(show, states=Reachable(show, own)) if c.servo == name)
        return cuts.bound_keeps or max(cut.share for cut in cuts.found) <= limit + SLACK / 2.0

    if low >= high or not keeps(low):
        return None
    for _ in range(12):
        middle = (low + high) / 2.0
        low, high = (middle, high) if keeps(middle) else (low, middle)
    span = context.span(servo.mark, "acceleration")
    return rewritten(context, span, low, measures(servo).acceleration, "down")


def _with_servo(show: Show, servo: Servo) -> Show:
    outputs = tuple(servo if o.name == servo.name else o for o in show.rig.outputs)
    return replace(show, rig=replace(show.rig, outputs=outputs))


def _stretch(context: Context, cuts: list[Interruption]) -> Finding:
    """The longest stretch of the show, and that of every other servo in a note."""
    worst = cuts[0]
    written = _written_ms(context, worst)
    return Finding(
        "advice",
        "interrupted-stretch",
        f"where {_taker(worst)} takes over from `{worst.cue}`, `{worst.servo}` may take "
        f"{seconds(worst.delay_ms)} longer than the {seconds(written)} planned",
        pace_span(context, worst.moving.move if worst.by == STOP else worst.then),
        label=f"up to {seconds(written + worst.delay_ms)}",
        related=((context.span(worst.moving.move.mark), "the move it interrupts"),),
        notes=(
            "the part brakes first and keeps within its travel; nothing needs to be changed",
            *(
                f"`{cut.servo}`: up to {seconds(cut.delay_ms)} longer than the "
                f"{seconds(_written_ms(context, cut))} planned, {_taker(cut)} after `{cut.cue}`"
                for cut in cuts[1:]
            ),
        ),
        asked=worst.delay_ms,
        limit=float(LEAST_STRETCH_MS),
        unit="ms",
    )


def _written_ms(context: Context, cut: Interruption) -> int:
    return context.show.score.stop_ms if cut.by == STOP else cut.then.duration_ms


def _taker(cut: Interruption) -> str:
    return "the stop" if cut.by == STOP else f"`{cut.by}`"


def _taking(context: Context, cut: Interruption) -> tuple[tuple[Span, str], ...]:
    if cut.by == STOP:
        return ()
    return ((context.span(cut.then.mark), f"`{cut.by}` takes over with this"),)
