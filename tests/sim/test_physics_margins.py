"""Small turns of the models that only a figure near its limit tells apart."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.model import (
    Adapter,
    Board,
    CalibrationPoint,
    Cue,
    InTurn,
    Law,
    Load,
    Move,
    PointMass,
    Rating,
    Rig,
    Score,
    Servo,
    Show,
    Supply,
    Wearer,
    Wire,
)
from sim.rig.holding_torque import holding_nm
from sim.rig.wire import loop_ohm
from sim.strain.heat import heats
from sim.strain.interruption import interruptions
from sim.strain.sag import sags
from sim.strain.shortest import Impossible, shortest_duration_ms

JAW = Servo(
    "jaw",
    "b",
    1,
    (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0)),
    (0.0, 60.0),
    (Rating(6.0, 353.0, 0.92, 2.1),),
    load=Load((PointMass(0.14, 0.08),)),
    safe_deg=4.0,
)


def show_of(*cues: Cue, servo: Servo = JAW, margin: float = 0.2) -> Show:
    rig = Rig((), (Board("b", "atmega328p", 1),), (servo,), wearer=Wearer(margin=margin))
    return Show(rig, Score("s", cues))


def test_the_bound_on_interruptions_is_held_against_the_margin() -> None:
    cues = (
        Cue("open", "", InTurn((Move("jaw", 55.0, 500),))),
        Cue("shut", "", InTurn((Move("jaw", 4.0, 500),))),
    )
    (cuts,) = interruptions(show_of(*cues))
    assert 0.1 < cuts.bound_share < 1.0
    just = 1.0 - cuts.bound_share
    (keeps,) = interruptions(show_of(*cues, margin=just - 0.005))
    (breaks,) = interruptions(show_of(*cues, margin=just + 0.005))
    assert keeps.bound_keeps
    assert not breaks.bound_keeps


def test_heat_is_judged_by_the_weaker_of_two_ratings() -> None:
    """What is held is a share of the stall torque at the lowest voltage rated (safe side)."""
    ratings = (Rating(4.8, 300.0, 0.6, 1.5), Rating(6.0, 380.0, 0.9, 2.0))
    (heat,) = heats(
        show_of(Cue("c", "", InTurn((Move("jaw", 4.0, 500),))), servo=replace(JAW, ratings=ratings))
    )
    held = float(holding_nm(JAW, 4.0, Wearer()))
    assert held == pytest.approx(0.14 * 9.80665 * 0.08 * 0.99756, rel=1e-4)  # m g r cos(4 deg)
    assert heat.hold_share == pytest.approx(held / 0.6, rel=1e-6)


def test_each_board_sags_most_under_what_passes_through_its_own_wire() -> None:
    """The plug-in supply has no resistance; only a board's own feed lowers its voltage."""
    here, there = Board("b", "atmega328p", 1, "p", Wire(2.0, 26)), Board("c", "atmega328p", 2, "p")
    there = replace(there, wire=Wire(2.0, 26))
    light = replace(JAW, load=Load((PointMass(0.05, 0.08),)))
    heavy = replace(JAW, name="arm", board="c", load=Load((PointMass(0.3, 0.08),)))
    cues = (
        Cue("quiet", "", InTurn((Move("jaw", 50.0, 700),))),
        Cue("loud", "", InTurn((Move("arm", 50.0, 700),))),
    )
    rig = Rig((Supply("p", Adapter(6.0, 10.0)),), (here, there), (light, heavy), wearer=Wearer())
    found = {s.board: s for s in sags(Show(rig, Score("s", cues, idle=("quiet",), stop_ms=4000)))}
    assert found["c"].board_a > found["b"].board_a
    assert found["c"].voltage_v < found["b"].voltage_v < 6.0
    ohm = loop_ohm(Wire(2.0, 26), 25.0)
    for sag in found.values():
        assert sag.voltage_v == pytest.approx(6.0 - ohm * sag.board_a, abs=2e-3)


def test_a_part_too_heavy_for_the_margin_is_impossible_at_any_pace() -> None:
    """m g r = 0.785 N.m held level is 85 % of 0.92 N.m: the servo could, the margin could not."""
    heavy = replace(JAW, load=Load((PointMass(1.0, 0.08),)))
    rig = show_of(servo=heavy).rig
    with pytest.raises(Impossible, match=r"carrying the part slowly .* 0\.78\d N\.m"):
        shortest_duration_ms(rig, heavy, 0.0, 30.0, Law("cycloidal"))
