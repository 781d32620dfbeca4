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

from collections.abc import Iterator
from dataclasses import replace

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures, seconds
from seqlang.checks.motion.failing_moves import failures, pace_span
from seqlang.checks.passing import interruptions_of_passing
from seqlang.checks.rewrite import measures, rewritten
from seqlang.text.findings import Finding, Fix, Span
from sim.model import Servo, Show
from sim.rig.slide import of_horn, of_part
from sim.rulebook import FRAME_MS
from sim.strain.interruption import STOP, Cuts, Interruption, interruptions

SLACK = 0.01
"""A share of the line by which an interruption may go over the margin without a word: a move at
its shortest has no more to spare, and single interruptions are rare."""

LEAST_STRETCH_MS = 2 * FRAME_MS
"""A shorter stretch is not worth a word: two frames."""


def check(context: Context) -> Iterator[Finding]:
    failing = {failure.planned.move.output for failure in context.once(failures)}
    sound = [
        cuts
        for cuts in context.once(interruptions_of_passing)
        if cuts.found and cuts.servo not in failing
    ]
    for cuts in sound:
        yield from _overload(context, cuts)
    longest = [max(cuts.found, key=lambda cut: cut.delay_ms) for cuts in sound]
    stretched = [cut for cut in longest if cut.delay_ms > LEAST_STRETCH_MS]
    if stretched:
        yield _stretch(context, sorted(stretched, key=lambda cut: -cut.delay_ms))


def _overload(context: Context, cuts: Cuts) -> Iterator[Finding]:
    limit = 1.0 - context.show.rig.wearer.margin
    worst = max(cuts.found, key=lambda cut: cut.share)
    if cuts.bound_keeps or worst.share <= limit + SLACK:
        return
    servo = context.servos[cuts.servo]
    part, horn = of_part(servo), of_horn(servo)
    torque, allowed = figures(
        horn.of_torque(abs(worst.torque_nm)), horn.of_torque(worst.allowed_nm)
    )
    speed = figure(horn.of_speed(abs(worst.speed_deg_s)))
    fix = _braking_softer(context, cuts.servo)
    yield Finding(
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
        help="slow down one of the two moves, or let the second cue wait: `if busy wait`"
        if fix is None
        else f"brake more gently, with `acceleration {fix.text}`, slow down one of the two moves, "
        "or let the second cue wait: `if busy wait`",
        fix=fix,
        asked=worst.share,
        limit=limit,
        unit="of the servo's line",
    )


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
        cuts = next(c for c in interruptions(show, planned=own) if c.servo == name)
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
        f"where {_taker(worst)} takes over from `{worst.cue}`, its move of `{worst.servo}` may "
        f"take {seconds(worst.delay_ms)} longer than the {seconds(written)} planned",
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
