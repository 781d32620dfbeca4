"""Power-up of a part that stands on another: its jump loads what carries it.

The jump is integrated here by itself, from Newton's law of the two-link arm with its root held
(closed equations by Spong, Hutchinson and Vidyasagar, Robot Modeling and Control, 2006, as in
`tests/references/test_chain_lagrange.py`), with the motor on its straight line.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from firmware_gen.chips.atmega328p import CHIP
from sim.model import (
    Adapter,
    Board,
    CalibrationPoint,
    Cue,
    JointLimits,
    Load,
    Mount,
    Move,
    Rating,
    Rig,
    Rod,
    Score,
    Servo,
    Show,
    Supply,
)
from sim.score.planned_moves import planned_moves
from sim.strain.coupling import coupled_show
from sim.strain.hardest_torque import hardest_torques, jarred_nm
from sim.strain.reachable import Reachable
from sim.strain.sag import sags, start_sags

G = 9.80665
POINTS = (CalibrationPoint(-95.0, 800.0), CalibrationPoint(95.0, 2200.0))
RATING = (Rating(6.0, 400.0, 2.0, 5.0),)
ROOT = Servo("root", "b", 1, POINTS, (-60.0, 60.0), RATING, Load((Rod(0.06, 0.3),)))
TIP = Servo(
    "tip",
    "b",
    2,
    POINTS,
    (-90.0, 90.0),
    RATING,
    Load((Rod(0.08, 0.25),)),
    mount=Mount("root", 0.3, mass_kg=0.02),
    rotor_kg_m2=4e-4,
)
BOARD = Board("b", CHIP.name, 1, "p", electrics=CHIP.electrics)


def wing(*outputs: Servo) -> Show:
    rig = Rig((Supply("p", Adapter(6.0, 40.0)),), (BOARD,), outputs)
    return coupled_show(Show(rig, Score("Wing", ())))


def jumped_nm(root_deg: float, from_deg: float, way: float) -> float:
    """The greatest torque on the held root while the tip is thrown `way` (+1, -1) to its end."""
    m, l1, l2, j = 0.08, 0.3, 0.25, 4e-4
    lc, inertia = l2 / 2, m * l2**2 / 12
    root = np.radians(root_deg)
    base = (0.06 * 0.15 + (0.02 + m) * l1) * G * np.cos(root)

    def torque(w: float) -> float:
        return float(2.0 * (way - np.degrees(w) / 400.0))

    def slope(_: float, state: np.ndarray) -> list[float]:
        q, w = state
        weight = m * lc * G * np.cos(root + q)
        return [w, (torque(w) - weight) / (inertia + m * lc**2 + j)]

    def end(_: float, state: np.ndarray) -> float:
        return float(abs(state[0]) - np.radians(90.0))

    end.terminal = True  # type: ignore[attr-defined]
    run = solve_ivp(slope, (0, 1), [np.radians(from_deg), 0.0], rtol=1e-8, events=end)
    q, w = run.y
    a = np.array([slope(0.0, state)[1] for state in run.y.T])
    still = base + m * lc * G * np.cos(root + q)
    moving = (inertia + m * lc**2 + m * l1 * lc * np.cos(q)) * a - m * l1 * lc * np.sin(q) * w**2
    return float(np.abs(still + moving).max())


def test_what_carries_a_part_feels_its_jump_at_power_up() -> None:
    show = wing(ROOT, TIP)
    jump = Reachable(show).jump("tip")
    assert jump is not None
    jarred = jarred_nm(show.rig, "tip", jump.reach)
    assert jarred.keys() == {"root"}, "what jumps jars others, not itself"
    bound = jarred["root"]
    seen = [
        jumped_nm(root, start, way)
        for root in (-60.0, 0.0, 60.0)
        for start in (-80.0, -30.0, 0.0, 40.0)
        for way in (-1.0, 1.0)
    ]
    assert max(seen) <= bound
    assert max(seen) >= 0.3 * bound, "the bound is of use"
    held = 0.06 * 0.15 * G + 0.02 * 0.3 * G + 0.08 * (0.3 + 0.125) * G
    assert max(seen) > 2.0 * held, "the jump must matter"


def test_the_current_of_what_carries_a_jumping_part_counts_at_power_up() -> None:
    """Both stall at 5 A: the tip jumps, and its jump asks the root for more than its 2 N.m."""
    (start,) = start_sags(wing(ROOT, TIP))
    assert start.supply_a == pytest.approx(10.0 + BOARD.electrics.idle_a, rel=1e-6)
    loose = replace(TIP, mount=None)
    (apart,) = start_sags(wing(ROOT, loose))
    assert apart.supply_a < 8.0
    assert start.voltage_v == pytest.approx(6.0)
    assert sags(wing(ROOT, TIP))[0].supply_a < start.supply_a


def test_a_part_alone_jars_no_other() -> None:
    show = wing(ROOT, replace(TIP, mount=None))
    jump = Reachable(show).jump("tip")
    assert jump is not None
    assert jarred_nm(show.rig, "tip", jump.reach) == {}
    # 2 N.m on the rod's inertia and the motor's
    assert jump.reach.accel_deg_s2 == pytest.approx(
        np.degrees((2.0 + 0.08 * 0.125 * G) / (0.08 * 0.25**2 / 3 + 4e-4)), rel=1e-3
    )
    # its weight pushes it beyond the no-load speed, along the motor's line
    weight = 0.08 * 0.125 * G
    assert jump.reach.speed_deg_s == pytest.approx(400.0 * (1.0 + weight / 2.0), rel=1e-3)
    assert jump.lasts_s > 180.0 / 400.0


def test_a_part_beside_a_chain_neither_jars_it_nor_is_jarred() -> None:
    loose = replace(TIP, name="loose", mount=None)
    reach = JointLimits((-90.0, 90.0), 400.0, 20_000.0)
    alone = jarred_nm(wing(ROOT, TIP).rig, "tip", reach)
    for outputs in ((loose, ROOT, TIP), (ROOT, TIP, loose)):
        rig = wing(*outputs).rig
        assert jarred_nm(rig, "tip", reach) == pytest.approx(alone)
        assert jarred_nm(rig, "loose", reach) == {}


def test_of_a_chain_that_is_not_all_there_nothing_is_said() -> None:
    """What stands on the tip would jar the others as well."""
    crest = replace(TIP, name="crest", mount=Mount("tip", 0.2))
    rig = wing(ROOT, TIP, crest).rig
    reach = JointLimits((-90.0, 90.0), 400.0, 20_000.0)
    assert jarred_nm(rig, "tip", reach).keys() == {"root", "crest"}
    assert jarred_nm(replace(rig, outputs=rig.outputs[:2]), "tip", reach) == {}


@pytest.mark.parametrize(("lasts_ms", "cue"), [(0, None), (1, "kick")])
def test_a_move_of_a_millisecond_counts_and_one_of_none_does_not(
    lasts_ms: int, cue: str | None
) -> None:
    kick = Cue("kick", "", Move("root", 10.0, lasts_ms))
    show = replace(wing(ROOT), score=Score("Wing", (kick,)))
    assert hardest_torques(show, planned_moves(show))["root"].cue == cue
