"""What checks of supplies share: the worst instant of a supply, in words and places."""

from __future__ import annotations

from typing import TYPE_CHECKING

from seqlang.checks.figures import listed
from seqlang.text.findings import Span
from sim.rig.supply import at_chip_v
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


def chip_v(context: Context, sag: Sag) -> float:
    """What is left at the chip of what arrives at the board."""
    return at_chip_v(context.sound_show.rig, context.boards[sag.board], sag.voltage_v)


def resets(context: Context, sag: Sag) -> bool:
    """Whether the chip browns out at that instant."""
    return chip_v(context, sag) < context.boards[sag.board].electrics.brown_out_v


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
