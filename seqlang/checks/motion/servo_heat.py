"""servo-heat: a servo holds or works harder for minutes than it can take.

What: the torque a servo holds in any pose in which the show can leave it for a minute, and its RMS
torque over the busiest ten minutes, from whatever pose a cue begins and grips included, stay under
a third of its stall torque. Of cues that take more than ten minutes together only the poses are
checked, and advice says so.

Why: a servo's heat goes with the square of its torque; a pose that is hard to hold overheats it
although nothing moves.

Example: a heavy jaw that rests half open.

Instead: let it rest where the weight hangs straight down, add a spring against the weight, or take
a stronger servo.

Source of the limit: common practice, no source (see `sim/strain/heat.py`).
"""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil

from seqlang.checks.alike import told_once
from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.checks.passing import as_long_as_that, is_too_long, rehearsable
from seqlang.text.findings import Finding
from sim.rig.grip import presses
from sim.rig.servo import KGF_CM_NM
from sim.rig.slide import SPINNING, of_horn, of_part
from sim.strain.heat import CONTINUOUS, Heat, hardest_hold, heats, most_nm


def check(context: Context) -> Iterator[Finding]:
    held = context.states.held_long_deg
    cool: list[str] = []
    hot_holds: list[tuple[str, Finding]] = []
    for name in sorted(context.sound):
        hold = hardest_hold(context.servos[name], held[name], context.show.rig.wearer)
        if hold.share > CONTINUOUS:
            told = _finding(context, name, hold.share, _holding(context, name, hold.angle_deg))
            hot_holds.append((name, told))
        else:
            cool.append(name)
    yield from told_once(hot_holds)
    hot = [name for name in cool if _could_be_hot(context, name)]
    if not hot:
        return
    if not context.once(rehearsable):
        if context.once(is_too_long):
            yield _not_rehearsed(context, hot)
        return
    yield from told_once(
        (heat.servo, _finding(context, heat.servo, heat.rms_share, _over_time(heat)))
        for heat in heats(context.sound_show)
        if heat.servo in cool and heat.rms_share > heat.limit
    )


def _holding(context: Context, name: str, angle_deg: float) -> str:
    part = of_part(context.servos[name])
    verb = "turning at" if part is SPINNING else "holding"
    return f"{verb} {figure(angle_deg)} {part.place}"


def _could_be_hot(context: Context, name: str) -> bool:
    """Whether any move or a grip goes over the limit: then the show is rehearsed for it."""
    if name in presses(context.sound_show.rig):
        return True
    # a move's mean is under its greatest, and so is a stand's in between
    stands = context.states.stands_deg[name]
    one = context.servos[name]
    if hardest_hold(one, stands, context.show.rig.wearer).share > CONTINUOUS:
        return True
    if one.load.coupled is not None:
        # also while it holds still itself, the other parts of its chain shake it
        return context.once(_most_nm)[name] > CONTINUOUS * one.ratings[0].stall_nm
    work = context.work.get(name)
    if work is None:
        return False
    limit = CONTINUOUS * work.servo.ratings[0].stall_nm
    return float(work.assessment.rms_torque_nm.max()) > limit


def _not_rehearsed(context: Context, names: list[str]) -> Finding:
    takes_s, limit_s, too_long = as_long_as_that(context)
    one = f"`{names[0]}`" if len(names) == 1 else f"`{names[0]}` and {len(names) - 1} more"
    return Finding(
        "advice",
        "servo-heat",
        f"whether {one} gets too hot over minutes is not checked: {too_long}",
        context.span(context.servos[names[0]].mark, "name"),
        label="works hard at times",
        help="feel its servo after ten minutes of the real show, or check the busiest cues as a "
        "show of their own",
        asked=takes_s,
        limit=limit_s,
        unit="s",
    )


def _most_nm(context: Context) -> dict[str, float]:
    return most_nm(context.sound_show, context.states)


def _finding(context: Context, name: str, share: float, where: str) -> Finding:
    asked, limit = figures(100 * share, 100 * CONTINUOUS)
    servo = context.servos[name]
    stall, volts = servo.ratings[0].stall_nm, servo.ratings[0].voltage_v
    told = of_horn(servo)
    enough_nm = share * stall / CONTINUOUS
    enough = f"{figure(ceil(10.0 * enough_nm / KGF_CM_NM) / 10.0)} kgf.cm"
    if servo.linear:
        enough = f"{figure(ceil(10.0 * told.of_torque(enough_nm)) / 10.0)} N"
    return Finding(
        "warning",
        "servo-heat",
        f"`{name}` is loaded with {asked} % of its {told.strength} {where}, and can take about "
        f"{limit} % for long",
        context.span(servo.mark, "name"),
        label=f"{figure(told.of_torque(share * stall))} {told.effort} of "
        f"{figure(told.of_torque(stall))} {told.effort} at {figure(volts)} V",
        related=((context.span(servo.load.mark), f"what `{name}` carries"),),
        help="let it rest where less weight pulls, add a spring against the weight, or take a "
        f"servo of at least {enough} at {figure(volts)} V",
        asked=share,
        limit=CONTINUOUS,
        unit=f"of the {told.strength}",
    )


def _over_time(heat: Heat) -> str:
    over = (
        "over ten busy minutes"
        if heat.cue is None
        else f"while `{heat.cue}` repeats without a pause"
    )
    return f"{over}, RMS"
