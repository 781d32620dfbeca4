"""A lamp that shines with a move does so alike in rehearsal and player, whatever is pressed."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from played_both_ways import compare
from small_shows import FIN, JAW, LURE, rehearsals, shows

from firmware_gen.chips.atmega2560 import CHIP
from sim.model import Lamp, Shine, Show

LENGTH_MS = 9000
JAWS = st.builds(
    lambda low, way, dark, light: Shine(LURE.name, JAW.name, low, low + way, dark, light),
    *(st.integers(2, 40), st.integers(1, 40), st.integers(0, 100), st.integers(0, 100)),
)
FINS = st.builds(
    lambda low, way, dark, light: Shine(LURE.name, FIN.name, low, low + way, dark, light, True),
    *(st.integers(0, 100), st.integers(20, 300), st.integers(0, 100), st.integers(0, 100)),
)


def shining(show: Show, shine: Shine) -> Show:
    """The show on a chip that has senses, its lamp shining with a move."""
    boards = tuple(replace(board, chip=CHIP.name) for board in show.rig.boards)
    lamps = iter(CHIP.pin(name) for name in ("PE3", "PE4"))
    others = iter(CHIP.pin(f"PA{n}") for n in range(8))
    outputs = tuple(
        replace(one, pin=next(lamps if isinstance(one, Lamp) else others))
        for one in show.rig.outputs
    )
    rig = replace(show.rig, boards=boards, outputs=outputs, shines=(shine,))
    return replace(show, rig=rig)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_show_under_any_presses_shines_alike(data: st.DataObject) -> None:
    show = data.draw(shows())
    shown = shining(show, data.draw(st.one_of(JAWS, FINS)))
    presses = data.draw(rehearsals(shown, LENGTH_MS))
    found = compare(shown, presses, LENGTH_MS)
    lamps = [one for one in found.at if one.startswith(LURE.name)]
    assert lamps == []


@pytest.mark.parametrize(
    ("place", "level"), [(-5.0, 20.0), (10.0, 20.0), (20.0, 50.0), (30.0, 80.0), (90.0, 80.0)]
)
def test_a_level_lies_between_its_ends_in_proportion(place: float, level: float) -> None:
    assert Shine("lure", "jaw", 10.0, 30.0, 20.0, 80.0).level_pct(place) == level


def test_a_speed_counts_either_way() -> None:
    shine = Shine("lure", "jaw", 0.0, 100.0, 0.0, 80.0, by_speed=True)
    assert shine.level_pct(-50.0) == shine.level_pct(50.0) == 40.0
