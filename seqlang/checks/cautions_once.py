"""caution-pinch, caution-turning, caution-lithium, caution-heat, caution-flashing,
caution-getting-out: what to mind where parts move, turn, heat, flash or are worn.

What: each caution that the show's own parts give reason for, once, as advice.

Why: a part that moves, heats, flashes or is worn can hurt; the tool says so where it matters.

Example: any show with a servo.

Instead: nothing to change; read and heed.

Source of the limit: common practice, no source (see `seqlang/cautions.py`); contact limits as
named in `sim/rig/regions.py`. Local codes, venue rules and licensed practice come first: the last
of a run's cautions says so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from seqlang import cautions
from seqlang.checks.context import Context
from seqlang.checks.figures import counted, figure, listed
from seqlang.checks.motion.pinch_over_limit import pinches
from seqlang.text.findings import Finding, Span
from sim.model import Cells, Lamp, Servo, Strip, Supply
from sim.rig import battery
from sim.rig.pinch import LOW_ENERGY_J, Pinch, excesses, finger_excesses
from sim.rig.regions import REGIONS, STATUS
from sim.strain.reachable import Reachable

LITHIUM = frozenset({"li-ion", "lipo", "lifepo4"})

_NAMED = 3
"""Packs that are named with what they hold; others are counted."""


def check(context: Context) -> Iterator[Finding]:
    shown = list(_cautions(context))
    last = max(shown, key=lambda finding: finding.span.start, default=None)
    for finding in shown:
        if finding is last:
            yield replace(finding, notes=(*finding.notes, cautions.DEFER))
        else:
            yield finding


def _cautions(context: Context) -> Iterator[Finding]:
    """Each caution with the figure that tells how much there is to mind."""
    rig = context.show.rig
    packs = [(supply.name, cells) for supply in rig.supplies if (cells := _lithium(supply))]
    if packs:
        packs.sort(key=lambda pack: -_energy_wh(pack[1]))
        cells = packs[0][1]
        every = [f"`{name}` holds {figure(_energy_wh(one), 2)} Wh" for name, one in packs]
        more = [f"and {len(every) - _NAMED} more"] if len(every) > _NAMED else []
        holds = ", ".join([*every[:_NAMED], *more])
        yield _caution(cautions.LITHIUM, context.span(cells.mark, "chemistry"), holds)
    if context.servos:
        hottest = max(context.servos.values(), key=_stall_a)
        stalls = f"`{hottest.name}` stalls at {figure(_stall_a(hottest))} A"
        yield _caution(cautions.HEAT, context.span(hottest.mark, "name"), stalls)
    yield from _pinch(context)
    turning = [one for one in context.servos.values() if one.load.spins]
    if turning:
        reaches = Reachable(context.show).reaches
        rpm = {one.name: max(map(abs, reaches[one.name].angle_deg)) for one in turning}
        fastest = max(turning, key=lambda one: rpm[one.name])
        turns = f"`{fastest.name}` at {figure(rpm[fastest.name])} rpm"
        yield _caution(cautions.TURNING, context.span(fastest.mark, "name"), turns)
    driven = {output for names in context.uses.values() for output in names}
    # no cue need fade these
    driven |= {one.output for one in rig.follows} | {one.output for one in rig.shines}
    driven |= {bar.strip for bar in rig.bars}
    lights = [one for one in rig.outputs if isinstance(one, Lamp | Strip) and one.name in driven]
    if lights:
        play = counted(len(lights), "light plays", "lights play")
        yield _caution(cautions.FLASHING, context.span(lights[0].mark, "name"), play)
    if context.servos and _worn(context):
        move = counted(len(context.servos), "part moves", "parts move")
        yield _caution(cautions.GETTING_OUT, context.place("show", "title"), move)


def _lithium(supply: Supply) -> Cells | None:
    source = supply.source
    return source if isinstance(source, Cells) and source.chemistry in LITHIUM else None


def _energy_wh(cells: Cells) -> float:
    """What a full pack holds: its capacity at the voltage that it has half-way."""
    return float(battery.rest_v(cells, 0.5)) * battery.pack_ah(cells)


def _stall_a(servo: Servo) -> float:
    return max((rating.stall_a for rating in servo.ratings), default=0.0)


def _pinch(context: Context) -> Iterator[Finding]:
    """The caution stands at the part that pinches hardest; every other part has its force noted."""
    found = context.once(pinches)
    if not found:
        if context.servos:
            first = next(iter(context.servos.values()))
            yield _caution(cautions.PINCH, context.span(first.mark, "name"))
        return
    worst, servo = found[0], context.servos[found[0].servo]
    yield Finding(
        "advice",
        cautions.PINCH.name,
        f"{cautions.PINCH.title}: `{worst.servo}` with {figure(worst.tip.force_n)} N"
        f"{'' if worst.straight else ' at its tip'}",
        context.span(servo.mark, "name"),
        notes=(*map(_pressing, found), *_published(context, found), *cautions.PINCH.words),
        asked=worst.tip.force_n,
        unit="N",
    )


_LEAST_J = 1e-5
"""Less energy (J) than this is left out: its figures would be noise."""


def _pressing(one: Pinch) -> str:
    """Force at the tip and in the nip, and energy, of one part."""
    where = ""
    if one.grip is not None and not one.straight:
        where = f" {figure(1000 * one.grip.at_m)} mm from its hinge"
    gripping = (
        ""
        if one.grip is None
        else f"grips with {figure(one.grip.force_n)} N{where} as long as its spring or soft tip "
        "yields; "
    )
    words = f"`{one.servo}`: {gripping}when it stalls, {figure(one.tip.force_n)} N"
    words += "" if one.straight else " at its tip"
    if one.nip is not None:
        caught = "on what is caught" if one.nip_stated else "on a finger"
        words += (
            f", {figure(one.nip.force_n)} N ({figure(one.nip.pressure_n_cm2)} N/cm2) {caught} "
            f"{figure(1000 * one.nip.at_m)} mm from its hinge"
        )
    if one.energy_j < _LEAST_J:
        return words
    thrown = (
        f", {figure(1000 * one.jump_j)} mJ when it jumps at power-up"
        if one.jump_j > one.energy_j
        else ""
    )
    return f"{words}; up to {figure(1000 * one.energy_j)} mJ in motion{thrown}"


def _published(context: Context, found: Sequence[Pinch]) -> Iterator[str]:
    """The limits of the declared region, or of a hand, and whether a part goes over them.

    A nip into which only a finger gets is held against those of a hand, whatever the region.
    """
    region = context.show.rig.wearer.region or "hand"
    fingers = region != "hand" and any(one.nip and not one.nip_stated for one in found)
    where = "at their tips " if fingers else ""
    yield f"{where}{_against([o.servo for o in found if excesses(o, region)], region)}: {STATUS}"
    if fingers:
        caught = [one.servo for one in found if finger_excesses(one)]
        yield f"on a finger {_against(caught, 'hand')}"
    fast = [one.servo for one in found if max(one.energy_j, one.jump_j) > LOW_ENERGY_J]
    if fast:
        yield (
            f"{listed(fast)} over the {figure(LOW_ENERGY_J)} J of a door that counts as low-energy "
            "(ANSI/BHMA A156.19, by a door maker's manual)"
        )


def _against(over: list[str], region: str) -> str:
    limits = REGIONS[region]
    words = f"{listed(over)} over" if over else "all under"
    return (
        f"{words} the {figure(limits.force_n)} N and {figure(limits.pressure_n_cm2)} N/cm2 "
        f"published for {limits.title}"
    )


def _worn(context: Context) -> bool:
    """A wearer is described, or the parts live on batteries."""
    rig = context.show.rig
    wearer = rig.wearer
    described = wearer.tilt_deg > 0.0 or wearer.region is not None or wearer.gait != "stands"
    return described or any(isinstance(supply.source, Cells) for supply in rig.supplies)


def _caution(caution: cautions.Caution, span: Span, figures: str = "") -> Finding:
    title = f"{caution.title}: {figures}" if figures else caution.title
    return Finding("advice", caution.name, title, span, notes=caution.words)
