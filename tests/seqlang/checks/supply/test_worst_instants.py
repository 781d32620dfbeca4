"""The worst instants of a supply, as several checks of supplies ask for them: by hand."""

from __future__ import annotations

from dataclasses import replace
from math import nextafter

import pytest

from seqlang.checks.context import Context
from seqlang.checks.supply.sagging import chip_v, cues_running, resets, standing
from sim.model import Adapter, Board, Cue, Electrics, Hold, Rig, Score, Show, Supply
from sim.strain.sag import Sag

PACK = Supply("pack", Adapter(5.0, 6.0))
BOARDS = (
    Board("left", "atmega328p", 1, supply="pack", electrics=Electrics(brown_out_v=2.7)),
    Board("right", "atmega328p", 2, supply="pack"),
)
CUES = tuple(Cue(f"cue{n}", "", Hold(100), mark=n) for n in range(1, 7))


def sag(board: str = "left", voltage_v: float = 4.0, **more: object) -> Sag:
    found = Sag(board, "pack", voltage_v, 1.0, 2.0, 2.0, 5.0, (), collapsed=False)
    return replace(found, **more)  # type: ignore[arg-type]


def context(*sags: Sag) -> Context:
    found = Context(Show(Rig((PACK,), BOARDS), Score("", CUES)), {}, {}, {})
    found.__dict__["sags"] = sags  # in place of those that it would work out
    return found


@pytest.mark.parametrize("first", ["left", "right"])
def test_nothing_is_said_of_a_supply_that_collapses_on_one_board_of_two(first: str) -> None:
    other = "right" if first == "left" else "left"
    fine, gone = sag(first), sag(other, collapsed=True)
    assert standing(context(fine, gone), PACK) == []
    assert standing(context(fine, sag(other)), PACK) == [fine, sag(other)]


def test_a_board_resets_below_its_brown_out_and_not_at_it() -> None:
    show = context()
    limit_v = show.boards["left"].electrics.brown_out_v
    at = sag(voltage_v=limit_v)
    assert chip_v(show, at) == limit_v
    assert not resets(show, at)
    assert resets(show, sag(voltage_v=nextafter(limit_v, 0.0)))


def test_four_cues_are_pointed_at_and_none_that_the_show_has_not() -> None:
    names = ("stop", *(cue.name for cue in CUES))
    assert len(cues_running(context(), sag(cues=names[1:]))) == 4
    assert len(cues_running(context(), sag(cues=names[:4]))) == 3
