"""Servos of 270 degrees and of nearly two turns: the widest travel that a table holds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.model import (
    Board,
    CalibrationPoint,
    Cue,
    FourBar,
    InTurn,
    Load,
    Move,
    PointMass,
    Press,
    Rating,
    Rig,
    Score,
    Servo,
    Show,
    Spring,
    Wearer,
)
from sim.pictures.creature import creature
from sim.rig import drive, load
from sim.rig.holding_torque import worst_hold
from sim.rig.pinch import pinch
from sim.rulebook import LARGEST_ANGLE_DEG
from tests.sim.played_both_ways import compare

WIDEST = float(LARGEST_ANGLE_DEG)
POINTS = (CalibrationPoint(-WIDEST, 600.0), CalibrationPoint(WIDEST, 2400.0))
REEL = Servo("reel", "b", 1, POINTS, (-WIDEST, WIDEST), (Rating(6.0, 600.0, 1.0, 2.0),))
BOARD = Board("b", "atmega328p", 1)
TICK_US = 0.5


def show(one: Servo = REEL) -> Show:
    there = Cue("there", "", InTurn((Move("reel", WIDEST, 2500),)))
    back = Cue("back", "", InTurn((Move("reel", -WIDEST, 5000),)))
    return Show(Rig(boards=(BOARD,), outputs=(one,)), Score("s", (there, back)))


@pytest.mark.parametrize("cut_ms", [600, 1800, 2480, 3020, 4000, 7990])
def test_the_widest_move_plays_as_rehearsed_wherever_it_is_cut(cut_ms: int) -> None:
    presses = (Press(500, cue="there"), Press(3040, cue="back"), Press(cut_ms, cue="there"))
    ordered = tuple(sorted(presses, key=lambda press: press.at_ms))
    found = compare(show(), ordered, 14_000)
    assert found.at == []
    assert found.pulse_us <= TICK_US


def test_the_hardest_pose_over_more_than_a_turn_is_that_of_a_fine_search() -> None:
    """A spring that winds up over both turns; the weight goes round with the part."""
    carried = Load((PointMass(0.1, 0.05, 20.0),), springs=(Spring(0.004, -100.0),))
    one = replace(REEL, load=carried)
    wearer = Wearer(tilt_deg=15.0)
    low, high = load.held_nm(carried, np.linspace(-WIDEST, WIDEST, 400_001), 15.0)
    fine = np.maximum(np.abs(low), np.abs(high))
    assert worst_hold(one, wearer).torque_nm == pytest.approx(float(fine.max()), rel=1e-9)


def test_a_drag_link_turns_its_horn_as_often_as_its_part() -> None:
    """A double crank (Grashof: the ground is the shortest, 10 + 60 < 40 + 50): both turn fully."""
    bar = FourBar(0.010, 0.040, 0.050, 0.060)
    one = replace(REEL, drive=bar)
    assert drive.reach(one).stuck_deg is None
    angles = np.linspace(-WIDEST, WIDEST, 6541)
    at = drive.horn(one, angles)
    assert np.all(np.isfinite(at.angle_deg))
    assert float(np.abs(np.diff(at.angle_deg)).max()) < 1.0
    turn = drive.horn(one, np.array([-180.0, 180.0])).angle_deg
    assert float(turn[1] - turn[0]) == pytest.approx(360.0)
    slope = np.gradient(at.angle_deg, angles)[1:-1]
    assert slope == pytest.approx(at.ratio[1:-1], rel=1e-3)


def test_a_part_that_goes_round_lets_a_finger_in_as_near_as_half_a_turn_does() -> None:
    """A gap opened by half a turn is 2 r wide; farther round it does not open more."""
    half = pinch(replace(REEL, travel_deg=(0.0, 180.0), tip_m=0.1), 6.0)
    round_ = pinch(replace(REEL, tip_m=0.1), 6.0)
    assert half is not None
    assert round_ is not None
    assert half.nip is not None
    assert round_.nip == half.nip


@pytest.mark.parametrize("travel", [(-135.0, 135.0), (-WIDEST, WIDEST)])
def test_the_preview_has_a_travel_and_angles_of_any_width(travel: tuple[float, float]) -> None:
    one = replace(REEL, travel_deg=travel)
    moved = Cue("there", "", InTurn((Move("reel", travel[1], 2500),)))
    whole = replace(show(one), score=Score("s", (moved,)))
    (part,) = creature(whole)
    assert part.travel == travel
    assert part.held is not None
    assert (part.held.poses[0], part.held.poses[-1]) == travel
