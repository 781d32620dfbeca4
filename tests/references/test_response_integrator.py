"""The following of servos against a general integrator of the same model.

Reference: `scipy.integrate.solve_ivp`, RK45, tolerances 1e-6; required agreement 0.05 deg.
The right-hand side here is written out anew for one servo, from the model's description.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from sim.model import (
    Board,
    CalibrationPoint,
    FourBar,
    Gear,
    Law,
    Load,
    PointMass,
    Rating,
    Rig,
    Servo,
    Spring,
)
from sim.rig import drive, load, servo
from sim.score import laws
from sim.strain import response

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))

SERVOS = [
    Servo(
        "jaw", "b", 1, POINTS, (0.0, 60.0), (Rating(6.0, 350.0, 0.9, 2.0),),
        load=Load((PointMass(0.14, 0.08),), level_deg=10.0, friction_nm=0.01),
    ),
    Servo(
        "weak", "b", 2, POINTS, (0.0, 60.0), (Rating(6.0, 500.0, 0.2, 0.8),),
        load=Load((PointMass(0.12, 0.10),), level_deg=30.0, springs=(Spring(0.05, 20.0),)),
        drive=Gear(1.5), dead_band_us=8.0,
    ),
    Servo(
        "linked", "b", 3, POINTS, (0.0, 50.0), (Rating(6.0, 350.0, 0.5, 1.2),),
        load=Load((PointMass(0.05, 0.09),), level_deg=0.0),
        drive=FourBar(0.06, 0.02, 0.063, 0.03, arm_zero_deg=65.0), rotor_kg_m2=2e-5,
    ),
]  # fmt: skip

RIG = Rig(boards=(Board("b", "atmega328p", 1),), outputs=tuple(SERVOS))


def commands(milliseconds: int, seed: int) -> np.ndarray:
    """Random moves and holds for every servo, as pulses once a frame."""
    random = np.random.default_rng(seed)
    columns = []
    for one in SERVOS:
        column, here = [], one.travel_deg[0] + 5.0
        while sum(map(len, column)) < milliseconds:
            there = random.uniform(*one.travel_deg)
            x = np.arange(1, random.integers(250, 900)) / 900.0
            column.append(here + (there - here) * laws.position(Law("3-4-5"), x / x[-1]))
            column.append(np.full(random.integers(1, 700), there))
            here = there
        columns.append(np.concatenate(column)[:milliseconds])
    return response.held(np.stack(columns, axis=1))


def by_hand(one: Servo, command: np.ndarray) -> np.ndarray:
    """The model of `sim.strain.response`, integrated by scipy; angles at every millisecond."""
    line = servo.line(one, 6.0)
    stall, top_horn = float(line.stall_nm), float(line.speed_deg_s)
    dead = one.dead_band_us / 2.0 * 90.0 / 1200.0
    gain = top_horn / response.FULL_DRIVE_DEG
    lag = 0.25 / gain
    inertia_part = load.mass(one.load).inertia_kg_m2
    middle = np.linspace(*one.travel_deg, 401)
    mean_ratio2 = float(np.mean(drive.horn(one, middle).ratio ** 2))
    rub = np.degrees(one.load.friction_nm / (inertia_part + one.rotor_kg_m2 * mean_ratio2))

    def slope(t: float, state: np.ndarray) -> list[float]:
        angle, speed = state
        here = min(max(angle, one.travel_deg[0]), one.travel_deg[1])
        ratio = abs(float(drive.horn(one, here).ratio))
        inertia = inertia_part + one.rotor_kg_m2 * ratio**2
        weight = float(load.gravity_nm(one.load, here)[0] + load.spring_nm(one.load, here))
        error = command[min(int(t * 50.0 + 1e-9) * 20, len(command) - 1)] - angle
        error -= min(max(error, -dead), dead)
        top = top_horn / ratio
        wanted = min(max(gain * error, -top), top)
        free = np.degrees(weight / inertia) - rub * min(max(speed, -1.0), 1.0)
        reach = np.degrees(stall * ratio / inertia)
        most = free + reach * min(1.0 - speed / top, 1.0)
        least = free - reach * min(1.0 + speed / top, 1.0)
        return [speed, min(max((wanted - speed) / lag, least), most)]

    # one integration a pulse: over many, the integrator now and then steps across a pulse unseen
    state, angles = np.array([command[0], 0.0]), []
    for first in range(0, len(command), 20):
        times = np.arange(first, first + 21) / 1000.0
        inside = times - 1e-12 * (times == times[-1])
        part = solve_ivp(slope, inside[[0, -1]], state, t_eval=inside, rtol=1e-6, atol=1e-6)
        angles.append(part.y[0, :-1])
        state = part.y[:, -1]
    return np.concatenate(angles)[: len(command)]


@pytest.mark.parametrize("number", range(len(SERVOS)))
def test_following_agrees_with_a_general_integrator(number: int) -> None:
    command = commands(2600, seed=3)
    ours = response.follow(RIG, SERVOS, command, 6.0).angle_deg[:, number]
    assert ours == pytest.approx(by_hand(SERVOS[number], command[:, number]), abs=0.05)


@pytest.mark.long
@pytest.mark.parametrize("number", range(len(SERVOS)))
def test_following_agrees_with_a_general_integrator_over_a_minute(number: int) -> None:
    command = commands(60_000, seed=4)
    ours = response.follow(RIG, SERVOS, command, 6.0).angle_deg[:, number]
    assert ours == pytest.approx(by_hand(SERVOS[number], command[:, number]), abs=0.05)


def test_cutting_time_into_stretches_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    command = commands(9000, seed=5)
    cut = response.follow(RIG, SERVOS, command, 6.0)
    monkeypatch.setattr(response, "_STRETCH", 9000)
    whole = response.follow(RIG, SERVOS, command, 6.0)
    assert cut.angle_deg == pytest.approx(whole.angle_deg, abs=0.01)
