"""What a strip with a converter of its own takes from its board's feed: power is kept."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.model import (
    Adapter,
    Board,
    Cells,
    Cue,
    Electrics,
    Fade,
    Hold,
    InTurn,
    Rig,
    Score,
    Show,
    Strip,
    StripLight,
    Supply,
)
from sim.rig import battery
from sim.rig.supply import CONVERTER_EFFICIENCY, feed_share, standing
from sim.strain.sag import sags, start_sags
from sim.strain.sizing import size
from tests.seqlang.show_text import findings, show

STRIP = Strip("belly", "b", 3, pixels=10, channel_a=0.02, feed_v=5.0)
WHITE_A, DARK_A = 10 * 0.061, 10 * 0.001
FADE = Fade("belly", StripLight((255, 255, 255)), 500)


def white(supply: Supply, strip: Strip = STRIP) -> Show:
    board = Board("b", "any", 1, "p", electrics=Electrics(0.0))
    return Show(
        Rig((supply,), (board,), (strip,)), Score("s", (Cue("c", "", InTurn((FADE, Hold(1000)))),))
    )


@pytest.mark.parametrize(
    ("volts", "share"),
    [
        (12.0, 1.0),
        (6.0, 1.0),
        (5.0 / CONVERTER_EFFICIENCY + 0.01, 1.0),
        (5.0, 1.0 / CONVERTER_EFFICIENCY),
        (4.0, 5.0 / (4.0 * CONVERTER_EFFICIENCY)),
    ],
)
def test_a_converter_that_raises_the_voltage_takes_more_than_its_strip(
    volts: float, share: float
) -> None:
    """P = V I / efficiency. One that lowers it takes what its strip does, as a linear one does."""
    supply = Supply("p", Adapter(volts, 20.0))
    lit = white(supply)
    assert feed_share(lit.rig, STRIP) == pytest.approx(share)
    assert float(standing(lit.rig, supply)["b"].fixed_a) == pytest.approx(WHITE_A * share)
    (worst,), (start,) = sags(lit), start_sags(lit)
    assert worst.board_a == pytest.approx(WHITE_A * share)
    assert start.board_a == pytest.approx(DARK_A * share)
    (found,) = size(lit).supplies
    assert found.peak_a == pytest.approx(WHITE_A * share)
    assert found.mean_a == pytest.approx(WHITE_A * share, rel=0.25)  # of a second and a half lit


def test_a_strip_without_a_converter_takes_its_own_current_whatever_the_feed() -> None:
    plain = replace(STRIP, feed_v=None)
    assert feed_share(white(Supply("p", Adapter(4.0, 20.0)), plain).rig, plain) == 1.0
    unknown = Rig((), (Board("b", "any", 1),), (STRIP,))
    assert feed_share(unknown, STRIP) == 1.0


def test_a_battery_counts_as_it_is_at_its_end() -> None:
    cells = Cells("nimh", 4, 2.0)
    supply = Supply("p", cells)
    empty_v = float(battery.rest_v(cells, battery.EMPTY_CHARGE))
    share = feed_share(white(supply).rig, STRIP)
    assert share == pytest.approx(5.0 / (CONVERTER_EFFICIENCY * empty_v))
    assert share > 1.0


@pytest.mark.parametrize(("volts", "told"), [(6.0, False), (4.0, True)])
def test_what_a_strip_may_draw_counts_at_the_feed(volts: float, told: bool) -> None:
    """10 white pixels take 0.61 A; from 4 V 0.9 A, so half of 0.8 A at the feed are 0.27 A."""
    text = show(
        supply=f"source adapter {volts:g} V, 800 mA",
        rig="strip belly: body pin PD7\n    pixels 10\n    feed 5 V\n",
    )
    found = findings(text, "strip-over-supply")
    assert [one.asked for one in found] == ([pytest.approx(0.61 * 5 / (0.85 * 4))] if told else [])
    assert [one.fix.text.strip() for one in found if one.fix] == (["cap 0.2 A"] if told else [])
