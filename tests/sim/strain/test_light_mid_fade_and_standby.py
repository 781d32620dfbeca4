"""Lights in the middle of a fade, standby right after limp, and three buttons in quick turn.

What counts as a change: a tenth of full light, the darker state under 0.80 (WCAG 2.2, 2.3.1).
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.light.lightness import lightness, luminance
from sim.model import (
    Binding,
    Board,
    CalibrationPoint,
    Cue,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Rating,
    Repeat,
    Rig,
    Score,
    Servo,
    Show,
    Step,
    Together,
)
from sim.rulebook import ENABLE_INTERVAL_FRAMES, FRAME_MS
from sim.strain.eye import Eye
from sim.strain.interrupted_light import interruptions
from sim.strain.light_states import STANDBY, LightStates
from sim.strain.quick_fingers import _three_in_turn, hurry, hurry_in_turn

LURE = Lamp("lure", "b", 9, safe_pct=100.0)
BOARD = Board("b", "atmega328p", 1)


def show(*cues: Cue, servos: int = 0, bound: bool = False, lamp: Lamp = LURE) -> Show:
    points = (CalibrationPoint(-45.0, 900.0), CalibrationPoint(45.0, 2100.0))
    rating = (Rating(6.0, 300.0, 1.0, 2.0),)
    parts = tuple(Servo(f"s{n}", "b", n, points, (-40, 40), rating) for n in range(servos))
    bindings = tuple(Binding(n, cue.name) for n, cue in enumerate(cues, 1)) if bound else ()
    return Show(Rig((), (BOARD,), (lamp, *parts)), Score("t", cues, bindings, stop_button=20))


def lure(to: float, ms: int = 0) -> Fade:
    return Fade("lure", to, ms)


def found_levels(*cues: Cue, lamp: Lamp = LURE) -> list[float]:
    entries = LightStates(show(*cues, lamp=lamp)).entries(cues[0])
    return [float(luminance(entry.lights["lure"])) for entry in entries]  # type: ignore[arg-type]


def test_a_cue_whose_first_light_is_bright_can_find_one_just_dark_enough_to_change_from() -> None:
    """95 % of full light: from more than 0.80 no change, from just less one."""
    bright = float(lightness(0.95))
    levels = found_levels(Cue("a", "", lure(bright)), Cue("b", "", lure(100.0, 500)))
    assert levels[-1] == pytest.approx(0.80, abs=0.02)
    assert levels[-1] < 0.80
    assert 1.0 in levels


def test_a_cue_whose_first_light_is_dim_can_find_one_a_tenth_under_it() -> None:
    """0.75 from 0.80 is no change (a twentieth); from just under 0.65 it is one."""
    dim = float(lightness(0.75))
    other = Cue("b", "", lure(float(lightness(0.8)), 500))
    levels = found_levels(Cue("a", "", lure(dim)), other, lamp=Lamp("lure", "b", 9))
    assert levels[-1] == pytest.approx(0.64, abs=0.02)


def test_lights_that_only_ever_jump_are_found_in_the_middle_of_nothing() -> None:
    bright = float(lightness(0.95))
    for ms, more in ((FRAME_MS, 0), (FRAME_MS + 1, 1)):
        levels = found_levels(Cue("a", "", lure(bright)), Cue("b", "", lure(100.0, ms)))
        assert sum(0.1 < level < 0.9 for level in levels) == more


@pytest.mark.parametrize("servos", [0, 3])
def test_standby_brings_dark_at_once_and_the_safe_light_when_all_servos_have_started(
    servos: int,
) -> None:
    body = LightStates(show(servos=servos)).standby().body
    assert isinstance(body, InTurn)
    dark, wait, safe = body.children
    assert dark == Together((lure(0.0),))
    assert safe == Together((lure(100.0),))
    assert wait == Hold(max(1, servos * ENABLE_INTERVAL_FRAMES) * FRAME_MS)


def blinks(times: int) -> Step:
    """So many times dark and back, 240 ms each."""
    return Repeat(InTurn((lure(0.0), Hold(120), lure(100.0), Hold(120))), times)


def test_standby_right_after_limp_can_be_the_flash_too_many() -> None:
    """Three are safe by themselves; the lights go dark and come back once more."""
    cue = Cue("three", "", InTurn((lure(100.0), Hold(1500), blinks(3), Hold(1500))), "refuse")
    eye = Eye(show(cue, servos=1, bound=True))
    assert not eye.flashes(cue)
    assert STANDBY in {one.then.name for one in interruptions(eye, (cue,))}
    calm = Cue("two", "", InTurn((lure(100.0), Hold(1500), blinks(2), Hold(1500))), "refuse")
    eye = Eye(show(calm, servos=1, bound=True))
    assert not list(interruptions(eye, (calm,)))


def wink(name: str) -> Cue:
    """Dark and back in 60 ms, then nothing for two seconds, in which it refuses to start."""
    return Cue(name, "", InTurn((lure(0.0), Hold(60), lure(100.0), Hold(2000))), "refuse")


FREES = Cue("lit", "", InTurn((lure(100.0), Hold(20))))


def test_a_cue_that_refuses_flashes_where_another_button_frees_its_light() -> None:
    cues = (wink("wink"), FREES)
    eye = Eye(show(*cues, bound=True))
    assert hurry(eye, cues[0]) is None
    found = hurry_in_turn(eye, cues)
    assert found is not None
    assert [cue.name for cue in found.cues] == ["wink", "lit"]
    assert hurry_in_turn(eye, (cues[0],)) is None


def test_three_buttons_in_turn_are_pressed_in_either_order() -> None:
    cues = (FREES, wink("one"), replace(wink("two"), conflict="take"))
    found = _three_in_turn(Eye(show(*cues, bound=True)), cues)
    assert found is not None
    assert {cue.name for cue in found.cues} == {"lit", "one", "two"}
    # three that only leave a light somewhere change it twice in three presses
    plain = tuple(Cue(str(to), "", InTurn((lure(to), Hold(2000)))) for to in (100.0, 0.0, 60.0))
    assert _three_in_turn(Eye(show(*plain, bound=True)), plain) is None
    for order in (plain, (plain[0], plain[2], plain[1])):
        assert Eye(show(*plain, bound=True)).watch_pressed(order, 120).flashing == ()
