"""grip-too-long: a servo presses on what it holds for longer than its winding stands.

What: at the torque of the grip, the winding of the servo that grips (and of one that carries it)
gets no hotter in one grip than at the torque that the servo can hold for ever (a warning). And no
cue, nor the safe pose, keeps a part closed for longer than its grip is declared for (a warning).
Cues that take more than ten minutes together are not rehearsed for it (advice says so).

Why: a stalled servo turns its whole current into heat, in a few grams of copper; it smokes within
seconds.

Example:

    stalls past 40 deg, for 10 s

Instead: grip for as long as it stands, let a spring hold, or take a stronger servo:

    stalls past 40 deg, for 1 s

Source of the limit: heat balance of a winding (`sim/strain/heat.py`), its time constant from
makers' sheets of small motors, from memory; a third of the stall torque for ever is common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf, isfinite

from seqlang.checks.alike import told_once
from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.passing import as_long_as_that, is_too_long, rehearsable
from seqlang.checks.rewrite import rewritten
from seqlang.text import units
from seqlang.text.findings import Finding
from sim.rig.grip import pressing
from sim.rig.slide import STRAIGHT, of_horn, of_part
from sim.score.tree import duration_ms
from sim.strain.heat import GripHeat, Overstay, closed_when_safe, grip_heats, overstays
from sim.strain.usage import Book


def check(context: Context) -> Iterator[Finding]:
    if not any(servo.grip is not None for servo in context.servos.values()):
        return
    yield from told_once(
        (heat.servo, _too_hot(context, heat))
        for heat in grip_heats(context.sound_show)
        if heat.lasts_s > heat.longest_s
    )
    show = context.sound_show
    rehearsed = context.once(rehearsable)
    seen: dict[str, Finding] = {}
    for stay in overstays(show, Book(show)) if rehearsed else closed_when_safe(show):
        if stay.servo not in seen:
            seen[stay.servo] = _overstay(context, stay)
    yield from told_once(seen.items())
    if not rehearsed and context.once(is_too_long):
        open_ones = [name for name in _closed_by_cues(context) if name not in seen]
        if open_ones:
            yield _not_rehearsed(context, open_ones)


def _closed_by_cues(context: Context) -> list[str]:
    """Servos that some cue moves past their contact and that takes longer than they grip."""
    found = []
    for planned in context.planned:
        name, servo = planned.move.output, context.servos.get(planned.move.output)
        if servo is None or servo.grip is None or name in found or name not in context.sound:
            continue
        cue = context.cues.get(planned.cue)
        lasts_s = inf if cue is None else duration_ms(cue.body) / 1000.0
        if pressing(servo.grip, planned.move.angle_deg) and lasts_s > servo.grip.lasts_s:
            found.append(name)
    return found


def _not_rehearsed(context: Context, names: list[str]) -> Finding:
    takes_s, limit_s, too_long = as_long_as_that(context)
    grip = context.servos[names[0]].grip
    assert grip is not None
    one = f"`{names[0]}`" if len(names) == 1 else f"`{names[0]}` and {len(names) - 1} more"
    return Finding(
        "advice",
        "grip-too-long",
        f"whether cues keep {one} closed for longer than declared is not checked: {too_long}",
        context.span(grip.mark, "time"),
        label="declared for so long",
        help="take the time while the real show runs, or check the cues that grip as a show of "
        "their own",
        asked=takes_s,
        limit=limit_s,
        unit="s",
    )


def _too_hot(context: Context, heat: GripHeat) -> Finding:
    grip = context.servos[heat.gripper].grip
    assert grip is not None
    asked, limit = figures(heat.lasts_s, heat.longest_s)
    told = of_horn(context.servos[heat.servo])
    # a stall is one wherever it happens, and along a line a force takes the same everywhere
    by_lever = grip.force_n is not None and of_part(context.servos[heat.gripper]) is not STRAIGHT
    where = context.span(grip.mark, "time")
    fix = rewritten(context, where, heat.longest_s, units.SECONDS, "down")
    if not any(digit in fix.text for digit in "123456789"):  # rounded to nothing
        fix = rewritten(context, where, 1000 * heat.longest_s, units.DURATION, "down")
    return Finding(
        "warning",
        "grip-too-long",
        f"`{heat.servo}` is worked at {figure(100 * heat.share)} % of its {told.strength} for "
        f"{asked} s while `{heat.gripper}` grips, and can take that for about {limit} s",
        where,
        label="too long at one go",
        related=((context.span(context.servos[heat.servo].mark, "name"), "gets hot"),),
        help=f"`{fix.text}` at one go; or let a spring or a catch hold what is gripped, "
        f"{'grip closer to the hinge, ' if by_lever else ''}or take a stronger servo",
        fix=fix,
        asked=heat.lasts_s,
        limit=heat.longest_s,
        unit="s",
    )


def _overstay(context: Context, stay: Overstay) -> Finding:
    servo = context.servos[stay.servo]
    assert servo.grip is not None
    where = context.span(servo.grip.mark, "time")
    declared = f"its grip is declared for {figure(servo.grip.lasts_s)} s at one go"
    if stay.cue is None:
        what = f"`{stay.servo}` stands closed in its safe pose, and {declared}"
        related = (
            (context.span(servo.mark, "safe"), "closed here")
            if context.has_part(servo.mark, "safe")
            else (
                context.span(servo.mark, "name"),
                f"rests as near to 0 {of_part(servo).place} as it can",
            ),
        )
        helped = "let the safe pose be open"
    else:
        how = f"for {figure(stay.seconds)} s" if isfinite(stay.seconds) else "without end"
        what = f"`{stay.cue}` keeps `{stay.servo}` closed {how}, and {declared}"
        cue = context.cues.get(stay.cue)
        keeps = servo.grip.mark if cue is None else cue.mark  # what follows is no cue
        related = ((context.span(keeps, "name"), "keeps it closed"),)
        helped = "open it earlier, or declare how long it really grips"
    return Finding(
        "warning",
        "grip-too-long",
        what,
        where,
        label="less than the show asks for",
        related=related,
        help=helped,
        asked=stay.seconds if isfinite(stay.seconds) else None,
        limit=servo.grip.lasts_s,
        unit="s",
    )
