"""Shortest durations against a time-optimal trajectory generator.

Reference: the `ruckig` library (one degree of freedom, rest to rest, limits on speed, acceleration
and jerk). An unloaded servo is limited by its speed and its stated acceleration, so a double-S
whose shape comes from those limits must come out as the time-optimal duration, to the millisecond.
"""

from __future__ import annotations

from math import ceil, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruckig import InputParameter, Ruckig, Trajectory

from sim.model import Board, CalibrationPoint, Law, Load, PointMass, Rating, Rig, Servo, Wearer
from sim.score.laws import coefficients, double_s
from sim.strain.shortest import shortest_duration_ms

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(180.0, 2100.0))


def time_optimal_s(stroke: float, speed: float, accel: float, jerk: float) -> float:
    given_ = InputParameter(1)
    given_.current_position, given_.target_position = [0.0], [stroke]
    given_.max_velocity, given_.max_acceleration, given_.max_jerk = [speed], [accel], [jerk]
    path = Trajectory(1)
    Ruckig(1).calculate(given_, path)
    return float(path.duration)


def unloaded(speed_deg_s: float, accel_deg_s2: float | None, margin: float) -> tuple[Rig, Servo]:
    rating = (Rating(6.0, speed_deg_s / (1.0 - margin), 1.0, 2.0),)
    one = Servo("s", "b", 1, POINTS, (0.0, 180.0), rating, accel_deg_s2=accel_deg_s2)
    return Rig(
        boards=(Board("b", "atmega328p", 1),), outputs=(one,), wearer=Wearer(margin=margin)
    ), one


@settings(max_examples=60)
@given(
    st.floats(5.0, 180.0),
    st.floats(50.0, 600.0),
    st.floats(500.0, 8000.0),
    st.floats(10.0, 40.0),
    st.sampled_from([0.0, 0.2, 0.3]),
)
def test_an_unloaded_double_s_is_time_optimal(
    stroke: float, speed: float, accel: float, jerk_share: float, margin: float
) -> None:
    jerk = accel * jerk_share
    optimal = time_optimal_s(stroke, speed, accel, jerk)
    duration, law = double_s(stroke, speed, accel, jerk)
    assert duration == pytest.approx(optimal, rel=1e-6)
    rig, one = unloaded(speed, accel, margin)
    found = shortest_duration_ms(rig, one, 0.0, stroke, law)
    peaks = coefficients(law)
    reaches = max(peaks.cv * stroke / speed, sqrt(peaks.ca * stroke / accel))
    if reaches > optimal * (1.0 - 1e-6):  # all-jerk moves reach neither limit: law alone, no jerk
        assert abs(found - 1000.0 * optimal) < 1.0 + 1e-3 * optimal
    assert found <= ceil(1000.0 * optimal + 1e-3)


@pytest.mark.parametrize(
    ("stroke", "speed", "accel", "jerk", "seconds"),
    [
        (60.0, 300.0, 2000.0, 20000.0, 0.4605551275),
        (90.0, 200.0, 1500.0, 30000.0, 0.6333333333),
        (180.0, 353.0, 4000.0, 80000.0, 0.6481650142),
    ],
)
def test_worked_double_s_moves_come_out(
    stroke: float, speed: float, accel: float, jerk: float, seconds: float
) -> None:
    """Durations of ruckig 0.19 and the closed form (Biagiotti and Melchiorri 3.4), recomputed."""
    _, law = double_s(stroke, speed, accel, jerk)
    rig, one = unloaded(speed, accel, 0.0)
    assert shortest_duration_ms(rig, one, 0.0, stroke, law) == ceil(1000.0 * seconds)


@pytest.mark.parametrize("name", ["parabolic", "harmonic", "cycloidal", "3-4-5", "4-5-6-7"])
def test_an_unloaded_move_takes_its_handbook_coefficient_over_the_speed(name: str) -> None:
    """T = Cv h / v (cam handbooks; coefficients of `tests/references/test_motion_laws.py`)."""
    law = Law(name)  # type: ignore[arg-type]
    rig, one = unloaded(300.0, None, 0.2)
    expected = ceil(1000.0 * coefficients(law).cv * 77.0 / 300.0 - 1e-6)
    assert shortest_duration_ms(rig, one, 10.0, 87.0, law) == expected


def test_inertia_makes_a_move_longer_than_time_optimal() -> None:
    rig, one = unloaded(300.0, None, 0.2)
    loaded = Servo(
        "s",
        "b",
        1,
        POINTS,
        (0.0, 180.0),
        one.ratings,
        Load((PointMass(0.4, 0.15),), axis="upright"),
    )
    law = Law("double-S", 0.4, 0.3)
    free = shortest_duration_ms(rig, one, 0.0, 60.0, law)
    rig = Rig(boards=rig.boards, outputs=(loaded,), wearer=rig.wearer)
    assert shortest_duration_ms(rig, loaded, 0.0, 60.0, law) > free
