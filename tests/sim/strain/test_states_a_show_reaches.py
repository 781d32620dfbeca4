"""States that a show reaches, each worked out by hand from its cues and the parts' mechanics.

The jump at power-up: torque over inertia about the hinge (Newton's second law), the servo's torque
through the drive as its ratio, its own inertia with the ratio's square.
"""

from __future__ import annotations

from dataclasses import replace
from math import cos, degrees, e, inf, radians, sqrt

import pytest

from sim.model import (
    Cue,
    Follow,
    Gear,
    Hold,
    InTurn,
    JointLimits,
    Law,
    LeverPair,
    Load,
    Move,
    PointMass,
    Rating,
    Repeat,
    Show,
    Step,
    Wearer,
)
from sim.strain.reachable import HARDEST_DEG_S2, Reachable
from tests.sim.small_shows import FIN, JAW, show_of


def jaw(angle: float, ms: int = 1000, law: str = "3-4-5") -> Move:
    return Move("jaw", angle, ms, Law(law))  # type: ignore[arg-type]


def fin(angle: float) -> Move:
    return Move("fin", angle, 1000, Law("3-4-5"))


def states(*bodies: Step, idle: tuple[str, ...] = ()) -> Reachable:
    return Reachable(show_of(*(Cue(f"c{n}", "", body) for n, body in enumerate(bodies)), idle=idle))


def test_a_part_may_come_to_a_stand_at_the_target_of_any_move() -> None:
    found = states(InTurn((jaw(20), jaw(9), jaw(20))), InTurn((jaw(30), Hold(5)))).stands_deg
    assert found == {"jaw": (4.0, 20, 9, 30), "fin": (0.0,)}


@pytest.mark.parametrize(
    ("ends", "places"),
    [
        ((10.0, 11.0), (10.0, 10.5, 11.0)),
        ((11.0, 10.0), (10.0, 10.5, 11.0)),
        # 1.1 deg in three steps of less than half a degree
        ((10.0, 11.1), (10.0, 10.0 + 1.1 / 3.0, 10.0 + 2.2 / 3.0, 11.1)),
        ((10.0, 10.5), (10.0, 10.5)),
        ((10.0, 10.1), (10.0, 10.1)),
        ((10.0, 10.0), (10.0,)),
    ],
)
def test_a_part_that_follows_a_source_may_stand_anywhere_on_its_way(
    ends: tuple[float, float], places: tuple[float, ...]
) -> None:
    show = show_of(Cue("c", "", jaw(20)))
    follows = (Follow("jaw", "knob", 0.0, 1.0, *ends), Follow("lure", "knob", 0.0, 1.0, 0.0, 9.0))
    found = Reachable(replace(show, rig=replace(show.rig, follows=follows)))
    assert found.stands_deg["jaw"] == pytest.approx((4.0, 20.0, *places))
    for place in places:
        assert any(at == pytest.approx(place) for at in found.held_long_deg["jaw"])
    assert found.stands_deg["fin"] == (0.0,)


def test_what_no_servo_of_the_rig_is_stands_nowhere() -> None:
    lost = states(InTurn((Move("nobody", 9, 100), Hold(70_000), Move("nobody", 5, 100))))
    assert set(lost.stands_deg) == set(lost.held_long_deg) == {"jaw", "fin"}


@pytest.mark.parametrize(
    ("steps", "held"),
    [
        # where the cue ends, 20, and what it waits at for a minute
        ((jaw(9), Hold(59_999), jaw(20)), (4.0, 20)),
        ((jaw(9), Hold(60_000), jaw(20)), (4.0, 20, 9)),
        ((jaw(9), Hold(30_000), fin(5), Hold(29_000), jaw(20)), (4.0, 20, 9)),
        # the move's own time is no rest
        ((jaw(9, 60_000), jaw(20)), (4.0, 20)),
        # whatever ran before may have left it anywhere, and this cue waits
        ((Hold(60_000), jaw(9), jaw(20)), (4.0, 20, 9)),
        ((Hold(59_999), jaw(9), jaw(20)), (4.0, 20)),
    ],
)
def test_a_part_is_held_for_long_where_a_cue_waits_for_a_minute(
    steps: tuple[Step, ...], held: tuple[float, ...]
) -> None:
    assert states(InTurn(steps)).held_long_deg["jaw"] == held


def test_each_angle_that_a_part_is_left_at_is_in_a_pose() -> None:
    found = states(jaw(20), jaw(9), fin(-7)).poses()
    assert found == ({"jaw": 4.0, "fin": 0.0}, {"jaw": 9, "fin": -7}, {"jaw": 20, "fin": -7})
    assert states(Hold(5)).poses() == ({"jaw": 4.0, "fin": 0.0},)


def test_a_part_in_motion_keeps_its_tables_limits() -> None:
    """46 deg from the safe 4 in 1 s: 1.875 * 46 = 86.25 deg/s, 5.7735 * 46 = 265.6 deg/s2."""
    found = states(jaw(50))
    assert found.in_motion == {"jaw": (88, 267)}
    assert found.reaches["jaw"] == JointLimits((4.0, 50), 88.0, 267.0)
    assert found.reaches["fin"] == JointLimits((0.0, 0.0), 1.0, 1.0)
    assert Reachable(found.show, ()).in_motion == {}
    assert states(jaw(4)).in_motion == {}


def test_a_uniform_move_reaches_its_speed_within_a_frame() -> None:
    """47 deg/s in 20 ms are 2350 deg/s2, unless the table allows more already."""
    assert states(jaw(50, law="uniform")).in_motion == {"jaw": (47, 2350.0)}
    both = states(InTurn((jaw(50, law="uniform"), jaw(4, 100))))
    assert both.in_motion["jaw"] == pytest.approx((864, 43_200.0))


def reached(cue: Step, **servo: object) -> JointLimits:
    show = show_of(Cue("c", "", cue))
    outputs = (replace(JAW, **servo), FIN)  # type: ignore[arg-type]
    return Reachable(replace(show, rig=replace(show.rig, outputs=outputs))).reaches["jaw"]


WIDE = {"travel_deg": (0.0, 60.0), "safe_deg": 20.0}


@pytest.mark.parametrize("to_deg", [8.0, 40.0])
def test_a_part_that_is_taken_over_may_brake_beyond_its_target(to_deg: float) -> None:
    """v2 / (2 a): a `uniform` move jumps to v; it brakes as minimum jerk does, 5.7735 way / T2."""
    way = abs(to_deg - 20.0)
    found = reached(jaw(to_deg, law="uniform"), **WIDE)
    low, high = found.angle_deg
    # a table rounds both limits up, by less than two
    least = way**2 / (2.0 * (5.7735 * way + 2.0))
    most = (way + 2.0) ** 2 / (2.0 * 5.7735 * way)
    assert least < min(to_deg, 20.0) - low < most
    assert least < high - max(to_deg, 20.0) < most
    assert reached(jaw(to_deg), **WIDE).angle_deg == (min(to_deg, 20.0), max(to_deg, 20.0))


@pytest.mark.parametrize("to_deg", [8.0, 40.0])
def test_a_move_that_stops_harder_than_the_part_may_brake_passes_its_target(to_deg: float) -> None:
    """3-4-5 stops at 5.7735 way / T2 (10 / sqrt(3))."""
    peak = 10.0 / sqrt(3.0) * abs(to_deg - 20.0)
    softer = reached(jaw(to_deg), **WIDE, accel_deg_s2=0.8 * peak)
    harder = reached(jaw(to_deg), **WIDE, accel_deg_s2=1.2 * peak)
    assert harder.angle_deg == (min(to_deg, 20.0), max(to_deg, 20.0))
    assert softer.angle_deg[0] < min(to_deg, 20.0) - 1.0
    assert softer.angle_deg[1] > max(to_deg, 20.0) + 1.0


def test_a_brake_ends_within_the_travel_or_where_the_part_stands_beyond_it() -> None:
    body = InTurn((jaw(21, law="uniform", ms=40), jaw(40, law="uniform"), jaw(1, law="uniform")))
    assert reached(body, travel_deg=(0.0, 41.0), safe_deg=20.0).angle_deg == (0.0, 41.0)
    assert reached(body, travel_deg=(2.0, 39.0), safe_deg=20.0).angle_deg == (1.0, 40.0)


# -- power-up -------------------------------------------------------------------------------------

RATING = Rating(6.0, 300.0, 0.8, 2.0)
PART = replace(
    JAW,
    travel_deg=(-10.0, 50.0),
    ratings=(RATING,),
    load=Load((PointMass(0.2, 0.08),), level_deg=10.0, friction_nm=0.05),
    rotor_kg_m2=4e-5,
)
HELD_NM = 0.2 * 9.80665 * 0.08
"""Level at 10 deg, within the travel."""


def jump_of(one: object, wearer: Wearer | None = None):
    show = show_of(Cue("c", "", Hold(5)))
    rig = replace(show.rig, outputs=(one, FIN), wearer=wearer or Wearer())  # type: ignore[arg-type]
    return Reachable(Show(rig, show.score)).jump("jaw")


@pytest.mark.parametrize("ratio", [1.0, -2.0, 0.5])
def test_a_jump_has_all_torque_of_servo_weight_and_friction(ratio: float) -> None:
    found = jump_of(replace(PART, drive=Gear(ratio)))
    n = abs(ratio)
    torque = 0.8 * n + HELD_NM + 0.05
    inertia = 0.2 * 0.08**2 + 4e-5 * n**2
    assert found.reach.angle_deg == (-10.0, 50.0)
    # on the motor's line the weight pushes it beyond its no-load speed
    assert found.reach.speed_deg_s == pytest.approx(300.0 * (1.0 + HELD_NM / n / 0.8) / n)
    assert found.reach.accel_deg_s2 == pytest.approx(degrees(torque / inertia), rel=1e-9)
    assert found.torque_nm == pytest.approx(0.8 * n)
    # against all of it, from rest: way / speed and one time constant more, but for exp(-t / tau)
    against = (HELD_NM + 0.05) / n
    tau = (0.2 * 0.08**2 / n**2 + 4e-5) * radians(300.0) / 0.8
    slow = 300.0 * (1.0 - against / 0.8)
    assert (found.against_nm, found.constant_s) == pytest.approx((against, tau))
    assert found.lasts_s == pytest.approx(60.0 * n / slow + tau, rel=1e-3)
    assert found.after_nm(tau) == pytest.approx(against + (0.8 - against) / e)


def test_a_jump_through_levers_is_as_fast_as_the_least_ratio_and_as_hard_as_the_greatest() -> None:
    """Ratio 1.5 at square (20 deg), most at both ends: 1.5 cos 30 / sqrt(1 - (1.5 sin 30)**2)."""
    levers = LeverPair(0.02, 0.03, square_deg=20.0)
    found = jump_of(replace(PART, drive=levers, load=Load(), rotor_kg_m2=1e-4))
    most = 1.5 * cos(radians(30.0)) / sqrt(1.0 - 0.75**2)
    assert found.reach.speed_deg_s == pytest.approx(300.0 / 1.5)
    assert found.torque_nm == pytest.approx(0.8 * most)
    tau = 1e-4 * radians(300.0) / 0.8
    assert found.lasts_s == pytest.approx(60.0 * most / 300.0 + tau)
    # nothing but the rotor: stall n / (J n**2) is most where n is least
    assert found.reach.accel_deg_s2 == pytest.approx(degrees(0.8 / 1.5 / 1e-4))


def test_a_leaning_or_moving_wearer_makes_a_jump_harder() -> None:
    """A jump of the wearer is 4 g beside the weight (`sim.rig.disturbance`)."""
    still, jumping = jump_of(PART), jump_of(PART, Wearer(gait="jumps"))
    more = degrees(4.0 * HELD_NM / (0.2 * 0.08**2 + 4e-5))
    assert jumping.reach.accel_deg_s2 - still.reach.accel_deg_s2 == pytest.approx(more)


def test_what_weighs_nothing_or_has_no_rating_jumps_within_bounds() -> None:
    weightless = jump_of(replace(PART, load=Load(), rotor_kg_m2=0.0))
    assert weightless.reach.accel_deg_s2 == HARDEST_DEG_S2
    assert jump_of(replace(PART, ratings=())) is None
    locked = jump_of(replace(PART, drive=LeverPair(0.01, 0.04, square_deg=20.0)))
    assert locked.reach.speed_deg_s == pytest.approx(2.0 * 300.0 / 1e-6)
    # its motor stalls against the dead point
    assert (locked.lasts_s, locked.after_nm(9.0)) == pytest.approx((inf, 0.8))


def test_a_repeat_without_end_may_leave_a_part_for_long_anywhere_in_it() -> None:
    found = states(Repeat(InTurn((jaw(9), jaw(20))), None))
    assert found.held_long_deg["jaw"] == (4.0, 9, 20)
