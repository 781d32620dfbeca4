"""brown-out: the voltage that arrives at a board is too low for its chip.

What: at each board the voltage stays over the chip's brown-out level (an error), and over what the
chip needs at its clock (a warning), while the cues that can run together do.

Why: a board that browns out resets in the middle of a move; the parts drop.

Example:

    feed pack, 3 m of 28 AWG

Instead:

    feed pack, 600 mm of 20 AWG

Source of the limit: the chip's data sheet, as stated in `sim/rig/supply.py`.
"""

from __future__ import annotations

from collections.abc import Iterator

from seqlang.checks.context import Scene
from seqlang.checks.figures import figure, figures
from seqlang.checks.supply.sagging import cues_running, standing, while_running
from seqlang.text.findings import Finding
from sim.model import Supply
from sim.rig.supply import BROWN_OUT_V, SAFE_CLOCK_V
from sim.strain.sag import Sag


def check(scene: Scene) -> Iterator[Finding]:
    for supply in scene.show.rig.supplies:
        own = standing(scene, supply)
        yield from _brown_outs(scene, own)
        low = {sag.board for sag in own if sag.voltage_v < BROWN_OUT_V}
        if own:
            yield from _at_power_up(scene, supply, low)


def _at_power_up(scene: Scene, supply: Supply, low: set[str]) -> Iterator[Finding]:
    """A servo's first pulse may find the part anywhere: it jumps to its safe pose at stall current.

    `low`: boards with an error already.
    """
    for sag in scene.start_sags:
        if sag.supply != supply.name or sag.board in low:
            continue
        if sag.voltage_v >= BROWN_OUT_V and not sag.collapsed:
            continue
        board = scene.boards[sag.board]
        yield Finding(
            "warning",
            "brown-out",
            f"at power-up `{sag.starting}` may draw its stall current, and board `{sag.board}` "
            f"is left with {figure(sag.voltage_v)} V",
            scene.span(board.mark, "name"),
            label=f"the chip resets below {figure(BROWN_OUT_V)} V",
            related=(
                ()
                if sag.starting is None
                else ((scene.span(scene.servos[sag.starting].mark), "jumps to its safe pose"),)
            ),
            help="bring the parts near their safe pose before switching on, or use a stronger "
            "supply or thicker wire",
            asked=sag.voltage_v,
            limit=BROWN_OUT_V,
            unit="V",
        )


def _brown_outs(scene: Scene, own: list[Sag]) -> Iterator[Finding]:
    for sag in own:
        if sag.voltage_v >= SAFE_CLOCK_V:
            continue
        resets = sag.voltage_v < BROWN_OUT_V
        limit = BROWN_OUT_V if resets else SAFE_CLOCK_V
        asked_text, limit_text = figures(sag.voltage_v, limit)
        board = scene.boards[sag.board]
        yield Finding(
            "error" if resets else "warning",
            "brown-out",
            f"the voltage at board `{sag.board}` falls to {asked_text} V {while_running(sag)}, "
            f"and the chip {'resets' if resets else 'is out of its limits'} below {limit_text} V",
            scene.span(board.mark, "feed"),
            label=f"{figure(sag.board_a)} A through this feed",
            related=cues_running(scene, sag),
            help="use thicker or shorter wire, a stronger supply, or a supply of its own for the "
            "board",
            asked=sag.voltage_v,
            limit=limit,
            unit="V",
        )
