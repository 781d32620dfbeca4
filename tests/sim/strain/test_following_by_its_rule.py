"""The right-hand side of following, worked out anew from its description for one servo at a time.

Newton's second law about the hinge: acceleration is torque over inertia, the horn's own inertia
seen through the drive with the square of its ratio. The torque line: stall torque at rest and while
braking, none at the no-load speed (MIT, Understanding D.C. Motor Characteristics).
"""

from __future__ import annotations

from dataclasses import replace
from math import cos, degrees, radians, sin, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.model import (
    Board,
    CalibrationPoint,
    Gear,
    LeverPair,
    Load,
    PointMass,
    Rating,
    Rig,
    Servo,
    Spring,
)
from sim.strain import response

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))
KG, RADIUS_M, ROTOR = 0.12, 0.09, 3e-5
GEARED = Servo(
    *("jaw", "b", 1, POINTS, (-10.0, 60.0), (Rating(6.0, 300.0, 0.8, 2.0),)),
    load=Load((PointMass(KG, RADIUS_M),), level_deg=5.0, springs=(Spring(0.04, 25.0),),
              friction_nm=0.02),
    drive=Gear(-1.5),
    dead_band_us=6.0,
    rotor_kg_m2=ROTOR,
)  # fmt: skip
LEVERS = replace(GEARED, drive=LeverPair(0.03, 0.024, square_deg=20.0))
RIG = Rig(boards=(Board("b", "any", 1),), outputs=(GEARED,))


def ratio_of(one: Servo, angle: float) -> float:
    if isinstance(one.drive, Gear):
        return 1.5
    p = radians(angle - 20.0)
    return 0.8 * cos(p) / sqrt(1.0 - (0.8 * sin(p)) ** 2)


def slope_of(one: Servo, command: float, angle: float, speed: float, volts: float) -> float:
    here = min(max(angle, -10.0), 60.0)
    ratio = ratio_of(one, here)
    inertia = KG * RADIUS_M**2 + ROTOR * ratio**2
    weight = -KG * 9.80665 * RADIUS_M * cos(radians(here - 5.0))
    pull = degrees((weight - 0.04 * radians(here - 25.0)) / inertia)
    reach = degrees(0.8 * volts / 6.0 * ratio / inertia)
    half_band = 3.0 * 90.0 / 1200.0
    error = command - angle
    error = 0.0 if abs(error) <= half_band else error - np.copysign(half_band, error)
    horn_top = 300.0 * volts / 6.0
    gain, top = horn_top / 4.0, horn_top / ratio
    wanted = min(max(gain * error, -top), top)
    rubbing = rub_of(one) * min(max(speed, -1.0), 1.0)
    most = pull - rubbing + reach * min(1.0 - speed / top, 1.0)
    least = pull - rubbing - reach * min(1.0 + speed / top, 1.0)
    return min(max((wanted - speed) * 4.0 * gain, least), most)


def rub_of(one: Servo) -> float:
    """By the mean inertia over the travel and a tenth of it and 2 deg more at either end."""
    angles = np.clip(np.linspace(-19.0, 69.0, 721), -10.0, 60.0)
    inertia = [KG * RADIUS_M**2 + ROTOR * ratio_of(one, a) ** 2 for a in angles]
    return degrees(0.02 / float(np.mean(inertia)))


@pytest.mark.parametrize("one", [GEARED, LEVERS], ids=["gear", "levers"])
@given(
    st.floats(-15.0, 65.0),
    st.floats(-18.5, 68.5),
    st.floats(-500.0, 500.0) | st.floats(-2.0, 2.0),
    st.sampled_from([4.8, 6.0]),
)
@settings(max_examples=150)
def test_a_part_accelerates_by_newton_s_law_within_what_the_line_gives(
    one: Servo, command: float, angle: float, speed: float, volts: float
) -> None:
    model = response.follower(RIG, [one], volts)
    rates = response.slopes(model, *(np.array([v]) for v in (command, angle, speed)))
    assert rates[0] == speed
    expected = slope_of(one, command, angle, speed, volts)
    # between the rows of its table a straight line stands for the weight's cosine
    assert float(rates[1][0]) == pytest.approx(expected, rel=2e-4, abs=0.3)


@pytest.mark.parametrize("way", [1.0, -1.0])
@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 0.9])
def test_a_heavy_part_is_driven_by_what_the_line_leaves_and_braked_by_all(
    share: float, way: float
) -> None:
    """1.5 kg at 90 mm, hung so that its weight takes nothing at 20 deg; no spring, no friction.

    At u of its top speed the line leaves 1 - u of the stall torque to drive, all of it to brake.
    """
    hung = Load((PointMass(1.5, RADIUS_M),), level_deg=-70.0)
    model = response.follower(RIG, [replace(GEARED, load=hung)], 6.0)
    inertia = 1.5 * RADIUS_M**2 + ROTOR * 1.5**2
    most = degrees(0.8 * 1.5 / inertia)
    speed = np.array([way * share * 300.0 / 1.5])
    for towards, left in ((way, 1.0 - share), (-way, 1.0)):
        command = np.array([20.0 + towards * 40.0])
        _, accel = response.slopes(model, command, np.array([20.0]), speed)
        assert accel == pytest.approx([towards * left * most], rel=1e-3)


def test_beyond_its_table_a_part_is_pulled_as_at_its_end() -> None:
    model = response.follower(RIG, [GEARED], 6.0)
    for angle, end in ((-40.0, -19.0), (100.0, 69.0)):
        there = [response.slopes(model, *(np.array([v]) for v in (a + 9.0, a, 0.0)))[1][0]
                 for a in (angle, end)]  # fmt: skip
        assert there[0] == pytest.approx(there[1], rel=1e-6)


def test_a_short_travel_is_followed_a_little_beyond_its_ends_too() -> None:
    """A tenth of the travel and 2 deg: a part that overshoots is still pulled as at its end."""
    short = replace(GEARED, travel_deg=(0.0, 8.0))
    model = response.follower(RIG, [short], 6.0)
    assert model.low_deg == pytest.approx([-2.8])
    assert model.per_deg == pytest.approx([720.0 / 13.6])
    for angle, end in ((-2.0, 0.0), (10.0, 8.0)):
        there = [response.slopes(model, *(np.array([v]) for v in (a + 9.0, a, 0.0)))[1][0]
                 for a in (angle, end)]  # fmt: skip
        assert there[0] == pytest.approx(there[1], rel=1e-6)


def test_each_servo_of_several_has_its_own_voltage_and_numbers() -> None:
    both = response.follower(RIG, [GEARED, LEVERS], [6.0, 4.8])
    for n, (one, volts) in enumerate(((GEARED, 6.0), (LEVERS, 4.8))):
        alone = response.follower(RIG, [one], volts)
        for name in ("top_deg_s", "gain", "lag_s", "dead_deg", "rub", "free", "reach", "ratio"):
            assert getattr(both, name)[n] == pytest.approx(getattr(alone, name)[0])
    unstated = response.follower(RIG, [GEARED])
    assert unstated.top_deg_s == pytest.approx([300.0])


def test_a_part_without_mass_is_shaped_by_the_lag_alone() -> None:
    """Gain times lag is a quarter: a double root, 1 - (1 + t / 2 lag) exp(-t / 2 lag) of the way.

    20 deg/s at an error of 4 deg make a gain of 5 and a lag of 50 ms; 1 deg is within the line. A
    method of fourth order (classical Runge-Kutta) is off by the fifth power of 1 ms over 50.
    """
    bare = replace(
        GEARED, load=Load(), drive=Gear(1.0), dead_band_us=0.0, rotor_kg_m2=0.0,
        ratings=(Rating(6.0, 20.0, 0.8, 2.0),),
    )  # fmt: skip
    command = np.full((900, 1), 11.0)
    command[0] = 10.0
    found = response.follow(RIG, [bare], command, 6.0)
    t = np.arange(899) / 1000.0
    ideal = 11.0 - np.exp(-10.0 * t) * (1.0 + 10.0 * t)
    assert found.angle_deg[1:, 0] == pytest.approx(ideal, abs=2e-8)
    assert found.speed_deg_s[1:, 0] == pytest.approx(100.0 * t * np.exp(-10.0 * t), abs=4e-7)


def test_where_its_drive_is_out_of_reach_a_part_is_followed_as_by_a_plain_horn() -> None:
    locked = replace(GEARED, drive=LeverPair(0.01, 0.04, square_deg=20.0), load=Load())
    model = response.follower(RIG, [locked], 6.0)
    at_end, square = model.ratio[0][0], model.ratio[0][360 - 41]
    assert at_end == 1.0
    assert square == pytest.approx(4.0, rel=0.02)
    dead = replace(GEARED, drive=LeverPair(0.02, 0.04, square_deg=20.0), travel_deg=(-10.0, 50.0))
    assert np.isfinite(response.follower(RIG, [dead], 6.0).ratio).all()


def test_a_pulse_is_held_for_a_frame_however_coarse_the_steps() -> None:
    command = np.arange(6.0)[:, None]
    assert response.held(command, 0.050)[:, 0].tolist() == [0, 1, 2, 3, 4, 5]
    assert response.held(command, 0.010)[:, 0].tolist() == [0, 0, 2, 2, 4, 4]


# -- stretches ------------------------------------------------------------------------------------

SINKING = replace(GEARED, load=Load((PointMass(1.5, 0.09),), level_deg=5.0), dead_band_us=40.0)


def test_a_run_in_stretches_is_the_run_from_start_to_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """What each stretch must take over: a part that sinks for long, that rests off the middle of
    its dead band, that is in full motion, or that is drawn along."""
    count = 5300
    t = np.arange(count) / 1000.0
    wide = replace(GEARED, dead_band_us=40.0)
    runs = (
        (SINKING, np.where(t < 0.5, 20.0, 50.0)),
        (SINKING, 10.0 + 3.0 * t),
        (wide, np.interp(t, [0.3, 0.7, 0.9, 4.4, 4.6], [10.0, 42.0, 41.0, 41.0, 44.0])),
        (wide, np.interp(t, [2.6, 3.0], [10.0, 42.0])),
        # at rest off the middle of the dead band, then away just as a stretch begins, either way
        (wide, np.where(t < 3.0, np.interp(t, [0.3, 0.7, 0.9], [10.0, 42.0, 41.0]), 20.0)),
        (wide, np.where(t < 3.0, np.interp(t, [0.3, 0.7, 0.9], [42.0, 10.0, 11.0]), 30.0)),
        (wide, 25.0 + 22.0 * np.sin(2.0 * np.pi * 0.9 * t)),
        (wide, 10.0 + 3.0 * t),
        (GEARED, 40.0 - 3.0 * t),
    )
    servos, command = [one for one, _ in runs], np.stack([row for _, row in runs], axis=1)
    cut = response.follow(RIG, servos, command, 6.0)
    # a stretch that runs again for one servo does so for all: alone, each is looked at for itself
    alone = [response.follow(RIG, [one], row[:, None], 6.0) for one, row in runs]
    monkeypatch.setattr(response, "_STRETCH", count)
    whole = response.follow(RIG, servos, command, 6.0)
    for n, by_itself in enumerate(alone):
        assert by_itself.angle_deg[:, 0] == pytest.approx(whole.angle_deg[:, n], abs=3e-3)
        assert by_itself.speed_deg_s[:, 0] == pytest.approx(whole.speed_deg_s[:, n], abs=0.3)
    assert cut.angle_deg == pytest.approx(whole.angle_deg, abs=3e-3)
    assert cut.speed_deg_s == pytest.approx(whole.speed_deg_s, abs=0.3)
    assert cut.error_deg == pytest.approx(command - cut.angle_deg)
    assert cut.angle_deg.shape == command.shape
