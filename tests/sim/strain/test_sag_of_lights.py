"""What lights and switches take at their most and at start, for the supply's worst instant."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.light.lightness import channel_levels, luminance
from sim.model import (
    Adapter,
    Board,
    CalibrationPoint,
    Cue,
    Electrics,
    Fade,
    InTurn,
    Lamp,
    Load,
    PointMass,
    Rating,
    Rig,
    Score,
    Servo,
    Show,
    Strip,
    StripLight,
    Supply,
    Switch,
)
from sim.strain.sag import brightest, dark, sags, start_sags

LURE = Lamp("lure", "b", 9, safe_pct=50.0)
BELLY = Strip("belly", "b", 3, pixels=10, channel_a=0.02)


def show(*lights: Lamp | Strip, fades: tuple[Fade, ...] = ()) -> Show:
    return Show(Rig((), (), lights), Score("t", (Cue("c", "", InTurn(fades)),)))


@pytest.mark.parametrize(("target", "most"), [(20.0, 50.0), (80.0, 80.0), (50.0, 50.0)])
def test_a_lamp_is_brightest_in_its_safe_light_or_a_cues(target: float, most: float) -> None:
    found = brightest(show(LURE, fades=(Fade("lure", target, 100),)))
    assert found == {"lure": pytest.approx(float(luminance(most)))}


def test_a_lamp_that_no_cue_lights_still_has_its_safe_light() -> None:
    assert brightest(show(LURE)) == {"lure": pytest.approx(0.1842, abs=1e-3)}  # L* 50 (CIE 1976)
    assert brightest(show(replace(LURE, safe_pct=0.0))) == {"lure": 0.0}


def test_a_strip_is_brightest_channel_by_channel() -> None:
    """Red in its safe pose and blue in a cue: as if both were on."""
    safe = replace(BELLY, safe=StripLight((255, 0, 0), 100.0))
    blue = Fade("belly", StripLight((0, 0, 255), 100.0), 100)
    alone = brightest(show(safe))["belly"]
    assert alone == pytest.approx(10 * 0.02 + 10 * 0.001)
    assert brightest(show(safe, fades=(blue,)))["belly"] == pytest.approx(2 * 0.2 + 0.01)
    capped = replace(safe, cap_a=0.25)
    assert brightest(show(capped, fades=(blue,)))["belly"] == pytest.approx(0.25 + 0.01)


@pytest.mark.parametrize("colour", [(0, 48, 160), (17, 93, 201), (250, 120, 3), (64, 64, 64)])
def test_a_strip_takes_no_more_than_foretold_where_a_table_rounds_its_light_up(
    colour: tuple[int, int, int],
) -> None:
    """A table holds half percents of L*: dim light may be more than what was written."""
    for level in range(1, 101, 3):
        light = StripLight(colour, float(level))
        held = luminance(np.array(channel_levels(light)) / 2.0)
        found = brightest(show(replace(BELLY, safe=light)))["belly"]
        assert found >= 10 * 0.02 * held.sum() + 10 * 0.001 - 1e-12


@pytest.mark.parametrize("trims", [(), (0.5, 0.5, 0.5), (1.0, 0.25, 0.0)])
def test_a_strip_takes_what_its_trims_leave(trims: tuple[float, ...]) -> None:
    """Full white takes 0.2 A a colour; what a chip takes in the dark is not trimmed."""
    white = replace(BELLY, safe=StripLight((255, 255, 255), 100.0), trims=trims)
    lit = sum(trims) if trims else 3.0
    assert brightest(show(white))["belly"] == pytest.approx(0.2 * lit + 0.01)
    capped = brightest(show(replace(white, cap_a=0.4)))["belly"]
    assert capped == pytest.approx(min(0.2 * lit, 0.4) + 0.01)


def test_a_lamp_takes_what_its_trim_leaves() -> None:
    assert brightest(show(replace(LURE, safe_pct=100.0, trims=(0.25,)))) == {"lure": 0.25}


def test_a_board_starts_dark() -> None:
    assert dark(show(LURE, BELLY)) == {"lure": 0.0, "belly": pytest.approx(0.01)}


def test_a_board_starts_with_the_switches_that_are_on_when_safe_and_shows_with_all() -> None:
    fan = Switch("fan", "b", 4, safe_on=True, current_a=0.7)
    horn = Switch("horn", "b", 5, current_a=0.4)
    board = Board("b", "atmega328p", 1, "p", electrics=Electrics(idle_a=0.03))
    rig = Rig((Supply("p", Adapter(6.0, 20.0)),), (board,), (fan, horn))
    (start,), (worst,) = start_sags(Show(rig, Score("t"))), sags(Show(rig, Score("t")))
    assert start.board_a == pytest.approx(0.03 + 0.7)
    assert worst.board_a == pytest.approx(0.03 + 0.7 + 0.4)


POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))
HEAVY = Load((PointMass(0.2, 0.1),), level_deg=30.0)


def servo(name: str, board: str = "b") -> Servo:
    rating = (Rating(6.0, 400.0, 1.0, 2.0),)
    return Servo(name, board, 1, POINTS, (0.0, 60.0), rating, load=HEAVY, safe_deg=0.0)


def test_lamps_between_two_servos_do_not_change_when_the_second_one_starts() -> None:
    """Servos get their first pulses one after another; a lamp has none, so it takes no turn."""
    board = Board("b", "any", 1, "p", electrics=Electrics(0.03))
    supply = Supply("p", Adapter(6.0, 50.0))
    lamps = tuple(replace(LURE, name=f"l{n}") for n in range(3))

    def worst(*outputs: Servo | Lamp) -> tuple[float, str | None]:
        (sag,) = start_sags(Show(Rig((supply,), (board,), outputs), Score("t")))
        return sag.board_a, sag.starting

    first, second = servo("first"), servo("second")
    assert worst(first, *lamps, second) == worst(first, second)
    assert worst(first, second)[0] > worst(first)[0] + 0.5, "the first must still be on its way"


def test_of_starts_that_leave_one_voltage_each_board_is_told_of_its_hardest() -> None:
    """Two boards with a servo each on one stiff supply: one is as good as the other."""
    boards = tuple(
        Board(name, "any", n, "p", electrics=Electrics(0.03)) for n, name in enumerate("bc")
    )
    for outputs in ((servo("x", "b"), servo("y", "c")), (servo("y", "c"), servo("x", "b"))):
        rig = Rig((Supply("p", Adapter(6.0, 50.0)),), boards, outputs)
        found = {sag.board: sag for sag in start_sags(Show(rig, Score("t")))}
        assert found["b"].board_a == pytest.approx(found["c"].board_a)
        assert found["b"].board_a > 2.0
