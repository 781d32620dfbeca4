"""What checks of supplies share: the worst instant of a supply, in words and places."""

from __future__ import annotations

from typing import TYPE_CHECKING

from seqlang.checks.figures import listed
from seqlang.text.findings import Span
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
    if not sag.cues:
        return "while all parts hold their poses"
    return f"when the stop or another cue interrupts {listed(list(sag.cues))}"


def cues_running(context: Context, sag: Sag) -> tuple[tuple[Span, str], ...]:
    return tuple(
        (context.span(context.cues[name].mark, "name"), "has the hardest move of a servo")
        for name in sag.cues[:4]
        if name in context.cues
    )
