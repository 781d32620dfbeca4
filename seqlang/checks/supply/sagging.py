"""What checks of supplies share: the worst instant of a supply, in words and places."""

from __future__ import annotations

from typing import TYPE_CHECKING

from seqlang.checks.figures import listed
from seqlang.text.findings import Span
from sim.strain.cue_currents import STOP
from sim.strain.sag import Sag

if TYPE_CHECKING:
    from seqlang.checks.context import Context
    from sim.model import Supply


def of_supply(context: Context, supply: Supply) -> list[Sag]:
    """The worst instant of each board that the supply feeds."""
    return [sag for sag in context.sags if sag.supply == supply.name]


def standing(context: Context, supply: Supply) -> list[Sag]:
    """The same, or nothing if the supply collapses: its currents and voltages then mean nothing."""
    own = of_supply(context, supply)
    return [] if any(sag.collapsed for sag in own) else own


def while_running(sag: Sag) -> str:
    if sag.cut:
        return "where the stop or another cue cuts all motions short"
    if not sag.cues:
        return "while all parts hold their poses"
    if sag.cues == (STOP,):
        return "while the stop brings all parts to their safe pose"
    return f"while {listed(list(sag.cues))} run{'s' if len(sag.cues) == 1 else ''}"


def cues_running(context: Context, sag: Sag) -> tuple[tuple[Span, str], ...]:
    return tuple(
        (context.span(context.cues[name].mark, "name"), "runs at that time")
        for name in sag.cues[:4]
        if name in context.cues
    )
