"""What lamps that shine with a move are written out as, beside the moves: levels and times by hand.

The greatest speed of a move is that of its law over the longest way to its target: 15/8 of the mean
for 3-4-5 and pi/2 for the harmonic one, from memory of handbooks on cams, and worked
out again here from the laws' own formulas. Luminance over L* is CIE 15: L* 8 is 8 / 903.3.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.model import (
    UNIFORM,
    CalibrationPoint,
    Cue,
    Drawn,
    Effect,
    Fade,
    Hold,
    InTurn,
    Lamp,
    Law,
    Move,
    Repeat,
    Rig,
    Score,
    Servo,
    Shine,
    Show,
    Step,
    Together,
)
from sim.strain.shining_light import AT_REST, lit_at_rest, lit_by_moves

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))
JAW = Servo("jaw", "b", 1, POINTS, (-10.0, 80.0), (), safe_deg=15.0)
FIN = Servo("fin", "b", 2, POINTS, (-20.0, 40.0), ())
LURE, EAR = Lamp("lure", "b", 9), Lamp("ear", "b", 10)

PLACED = Shine("lure", "jaw", 10.0, 30.0, 20.0, 60.0, mark=7)
"""2 % of L* to each degree from 10 on."""
SPED = Shine("lure", "jaw", 0.0, 400.0, 0.0, 100.0, by_speed=True, mark=8)
"""A quarter of a percent to each deg/s."""


def show_of(*steps: Step, shines: tuple[Shine, ...] = (PLACED,), glide_ms: int = 300) -> Show:
    score = Score("t", (Cue("c", "", InTurn(steps)),), glide_ms=glide_ms)
    return Show(Rig(outputs=(JAW, FIN, LURE, EAR), shines=shines), score)


def lit(*steps: Step, shines: tuple[Shine, ...] = (PLACED,)) -> Step:
    (cue,) = lit_by_moves(show_of(*steps, shines=shines)).score.cues
    return cue.body


@pytest.mark.parametrize(
    ("angle_deg", "level_pct"),
    [(0.0, 20.0), (10.0, 20.0), (15.0, 30.0), (20.0, 40.0), (30.0, 60.0), (31.0, 60.0)],
)
def test_beside_a_move_its_lamp_goes_where_the_part_goes_in_its_time_by_its_law(
    angle_deg: float, level_pct: float
) -> None:
    move = Move("jaw", angle_deg, 700, Law("cycloidal"), mark=3)
    beside = Fade("lure", level_pct, 700, Law("cycloidal"), 3)
    assert lit(Hold(50), move) == InTurn((Hold(50), Together((move, beside))))


def test_what_moves_no_lamp_and_no_show_without_such_lamps_is_changed() -> None:
    other, step = Move("fin", 20.0, 700), Fade("ear", 20.0, 100)
    show = show_of(other, step)
    assert lit_by_moves(show) == show
    bare = show_of(Move("jaw", 20.0, 700), shines=())
    assert lit_by_moves(bare) is bare
    assert lit_at_rest(bare) is bare


def test_of_several_lamps_each_follows_its_own_part() -> None:
    tail = Shine("ear", "fin", 0.0, 40.0, 0.0, 100.0)
    jaw, fin = Move("jaw", 20.0, 700), Move("fin", 10.0, 500)
    found = lit(jaw, fin, shines=(PLACED, tail))
    law = jaw.law
    assert found == InTurn(
        (
            Together((jaw, Fade("lure", 40.0, 700, law))),
            Together((fin, Fade("ear", 25.0, 500, law))),
        )
    )


def test_a_lamp_whose_part_is_left_out_is_left_out_with_it() -> None:
    show = show_of(Move("fin", 20.0, 700), shines=(PLACED,))
    without = replace(show, rig=replace(show.rig, outputs=(FIN, LURE, EAR)))
    assert lit_by_moves(without) == without
    assert lit_at_rest(without) is without


@pytest.mark.parametrize(
    ("angle_deg", "most", "levels"),
    [
        (15.0, 25.0, (30.0, 50.0)),
        # drawn downwards: a fade is drawn from its lower level up
        (25.0, 15.0, (30.0, 50.0)),
        (40.0, 50.0, (60.0, 60.0)),
    ],
)
def test_a_target_that_is_drawn_is_drawn_of_the_lamp_by_the_same_key(
    angle_deg: float, most: float, levels: tuple[float, float]
) -> None:
    move = Move("jaw", angle_deg, 400, drawn=Drawn(5, 900, 6, most))
    (both,) = lit(move).children  # type: ignore[union-attr]
    fade = both.children[1]  # type: ignore[union-attr]
    assert (fade.light, fade.drawn) == (levels[0], Drawn(5, 900, 6, levels[1]))


def test_a_time_that_is_drawn_alone_leaves_the_level_as_it_is() -> None:
    drawn = Drawn(5, 900)
    (both,) = lit(Move("jaw", 25.0, 400, drawn=drawn)).children  # type: ignore[union-attr]
    fade = both.children[1]  # type: ignore[union-attr]
    assert (fade.light, fade.drawn) == (50.0, drawn)


# -- by speed -------------------------------------------------------------------------------------


def peak_of(law: str) -> float:
    """Greatest slope of a law's way over its time, by differences of its formula."""
    x = np.linspace(0.0, 1.0, 200_001)
    ways = {
        "3-4-5": 10 * x**3 - 15 * x**4 + 6 * x**5,
        "harmonic": (1.0 - np.cos(np.pi * x)) / 2.0,
        "uniform": x,
    }
    return float(np.max(np.diff(ways[law])) * 200_000)


@pytest.mark.parametrize(
    ("law", "angle_deg", "way_deg"),
    [
        ("3-4-5", 20.0, 60.0),
        ("3-4-5", 60.0, 70.0),
        ("harmonic", 40.0, 50.0),
        ("harmonic", 80.0, 90.0),
        ("uniform", 0.0, 80.0),
    ],
)
def test_by_speed_a_lamp_goes_up_to_the_peak_from_anywhere_and_down_again(
    law: str, angle_deg: float, way_deg: float
) -> None:
    move = Move("jaw", angle_deg, 1001, Law(law), mark=3)  # type: ignore[arg-type]
    (both,) = lit(move, shines=(SPED,)).children  # type: ignore[union-attr]
    up, down = both.children[1].children  # type: ignore[union-attr]
    assert both.children[0] == move  # type: ignore[union-attr]
    level = min(peak_of(law) * way_deg / 1.001 / 4.0, 100.0)
    assert up == Fade("lure", pytest.approx(level, rel=1e-6), 500, UNIFORM, 3)  # type: ignore[arg-type]
    assert down == Fade("lure", 0.0, 501, UNIFORM, 3)


@pytest.mark.parametrize(
    ("drawn", "way_deg"),
    [
        (Drawn(0, 0, 4, 70.0), 80.0),
        (Drawn(0, 0, 4, 5.0), 75.0),
        (Drawn(0, 0, 4, 35.0), 50.0),
        (Drawn(4, 2000), 50.0),
    ],
)
def test_by_speed_the_longest_way_is_that_to_whatever_is_drawn(
    drawn: Drawn, way_deg: float
) -> None:
    move = Move("jaw", 30.0, 2000, UNIFORM, drawn=drawn)
    (both,) = lit(move, shines=(SPED,)).children  # type: ignore[union-attr]
    up, _ = both.children[1].children  # type: ignore[union-attr]
    assert up.light == pytest.approx(way_deg / 2.0 / 4.0)


@pytest.mark.parametrize(("lasts_ms", "level"), [(0, 50.0), (1, 50.0), (2, 25.0)])
def test_a_jump_is_as_fast_as_a_move_of_a_millisecond(lasts_ms: int, level: float) -> None:
    slow = replace(SPED, high=180_000.0)
    move = Move("jaw", 80.0, lasts_ms, UNIFORM)
    (both,) = lit(move, shines=(slow,)).children  # type: ignore[union-attr]
    up, down = both.children[1].children  # type: ignore[union-attr]
    assert up.light == pytest.approx(level)
    assert (up.duration_ms, down.duration_ms) == (lasts_ms // 2, lasts_ms - lasts_ms // 2)


# -- given back -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low_pct", "high_pct", "last_pct", "back_pct"),
    [
        (20.0, 60.0, 80.0, 20.0),
        (20.0, 60.0, 0.0, 60.0),
        (60.0, 20.0, 0.0, 60.0),
        # 40 % of L* is 0.113 of full light, 20 % is 0.030, and 60 % is 0.281, which is farther
        (20.0, 60.0, 40.0, 60.0),
        (20.0, 60.0, 45.0, 60.0),
        # 50 % is 0.184: 0.154 over the one, 0.097 under the other
        (20.0, 60.0, 50.0, 20.0),
    ],
)
def test_a_lamp_that_a_cue_had_goes_back_by_the_greater_change_of_light(
    low_pct: float, high_pct: float, last_pct: float, back_pct: float
) -> None:
    shine = replace(PLACED, low_pct=low_pct, high_pct=high_pct)
    steps = (Move("jaw", 20.0, 700), Fade("lure", 99.0, 50), Fade("lure", last_pct, 100))
    found = lit(*steps, shines=(shine,))
    assert found == InTurn((InTurn(steps), Together((Fade("lure", back_pct, 300, mark=7),))))


def test_a_cue_without_an_end_gives_no_lamp_back() -> None:
    steps = (Move("jaw", 20.0, 700), Repeat(InTurn((Fade("lure", 80.0, 100), Hold(50))), None))
    assert lit(*steps) == InTurn(steps)
    ends = Repeat(InTurn((Fade("lure", 80.0, 100), Hold(50))), 3)
    assert lit(ends) == InTurn((InTurn((ends,)), Together((Fade("lure", 20.0, 300, mark=7),))))


def test_a_cue_of_one_lamp_leaves_the_others_to_their_moves() -> None:
    ear = replace(PLACED, output="ear", mark=9)
    move, own = Move("jaw", 20.0, 700), Fade("lure", 80.0, 100)
    found = lit(move, own, shines=(PLACED, ear))
    beside = Together((move, Fade("ear", 40.0, 700, move.law)))
    back = Together((Fade("lure", 20.0, 300, mark=7),))
    assert found == InTurn((InTurn((beside, own)), back))


def test_a_pattern_on_a_lamp_leaves_it_to_its_moves() -> None:
    move, pattern = Move("jaw", 20.0, 700), Effect("lure", "breathe", 3000, 50.0)
    beside = Together((move, Fade("lure", 40.0, 700, move.law)))
    assert lit(move, pattern) == InTurn((beside, pattern))


# -- at rest --------------------------------------------------------------------------------------


def test_at_rest_lamps_are_as_bright_as_the_safe_pose_makes_them() -> None:
    """15 deg make 30 %; a part that stands still makes what no speed does."""
    still = Shine("ear", "jaw", 0.0, 80.0, 70.0, 10.0, by_speed=True, mark=9)
    show = show_of(Hold(10), shines=(PLACED, still))
    *cues, last = lit_at_rest(show).score.cues
    assert tuple(cues) == show.score.cues
    assert last.name == AT_REST
    assert last.body == Together((Fade("lure", 30.0, 300, mark=7), Fade("ear", 70.0, 300, mark=9)))
