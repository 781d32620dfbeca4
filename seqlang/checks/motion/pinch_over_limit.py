"""pinch-over-limit: a part presses harder than what is published for the body region near it.

What: where `wearer` names a region, no stalled servo puts more force or pressure on it than
ISO/TS 15066 lists for that region: at the part's tip and, where the servo says `nip at ...`, in the
nip, where the force grows towards the hinge (a warning).

Why: the torque that lifts a jaw becomes ten times the tip's force close to its hinge.

Example:

    near hand
    nip  at 4 mm

Instead: a guard or a soft edge that keeps things farther out, and its distance stated:

    nip  at 20 mm

Source of the limit: ISO/TS 15066:2016, table A.2, as stated in `sim/rig/regions.py`: for adult
workers beside industrial robots. A lower figure does not prove that a part is safe.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil

from seqlang.checks.context import Context
from seqlang.checks.figures import figure, figures
from seqlang.text.findings import Finding
from sim.rig.pinch import Excess, Pinch, excesses, pinch
from sim.rig.regions import REGIONS, STATUS
from sim.rig.spin import RPM_DEG_S
from sim.rig.supply import highest_v


def pinches(context: Context) -> tuple[Pinch, ...]:
    """What each part that has a tip does to what it catches, hardest first."""
    states, rig = context.states, context.show.rig
    found = []
    for name, servo in states.servos.items():
        jump, reach = states.jump(name), states.reaches[name]
        thrown = 0.0 if jump is None else jump.reach.speed_deg_s
        # the places of one that turns round and round are its speeds
        turns = RPM_DEG_S * max(map(abs, reach.angle_deg))
        fastest = turns if servo.load.spins else reach.speed_deg_s
        found.append(pinch(servo, highest_v(rig, servo.board), fastest, rig.wearer, thrown))
    return tuple(sorted((one for one in found if one), key=lambda one: -one.tip.force_n))


def check(context: Context) -> Iterator[Finding]:
    region = context.show.rig.wearer.region
    if region is None:
        return
    for one in context.once(pinches):
        over = excesses(one, region)
        if over:
            worst = max(over, key=lambda excess: excess.value / excess.limit)
            yield _finding(context, one, region, worst)


def _finding(context: Context, one: Pinch, region: str, worst: Excess) -> Finding:
    servo = context.servos[one.servo]
    asked, limit = figures(worst.value, worst.limit)
    where = "" if one.straight else f" at its {worst.where}"
    least_m = worst.at_m * worst.value / worst.limit
    wearer = context.show.rig.wearer.mark
    return Finding(
        "warning",
        "pinch-over-limit",
        f"`{one.servo}` presses with {asked} {worst.unit}{where} when it stalls, and "
        f"{limit} {worst.unit} are published for {REGIONS[region].title}",
        context.span(servo.mark, "nip" if context.has_part(servo.mark, "nip") else "name"),
        label="" if one.straight else f"{figure(1000 * worst.at_m)} mm from the hinge",
        related=((context.span(wearer, "region"), "is near"),),
        notes=(STATUS,),
        help="take a weaker servo, let a weak link give way first, or press with a broader, softer "
        "edge"
        if one.straight
        else f"guard the gap and say from where on something can be caught, "
        f"`nip at {ceil(1000 * least_m)} mm`; or take a weaker servo or a lower gear ratio, let a "
        "weak link give way, or press with a broader, softer edge",
        asked=worst.value,
        limit=worst.limit,
        unit=worst.unit,
    )
