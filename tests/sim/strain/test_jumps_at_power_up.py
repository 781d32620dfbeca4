"""A part's jump at power-up, integrated by itself from Newton's law and the motor's straight line:
how long it is on its way, how hard its motor still works when the next servo starts, how fast it
gets. (`scipy`'s integrator; T = Ts (1 - w / w0), as in MIT's Understanding D.C. Motor
Characteristics.)"""

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
    Gear,
    Load,
    PointMass,
    Rating,
    Rig,
    Score,
    Servo,
    Show,
    Supply,
)
from sim.strain.reachable import Jump, Reachable
from sim.strain.sag import ENABLE_S, start_sags

G = 9.80665
POINTS = (CalibrationPoint(-95.0, 800.0), CalibrationPoint(95.0, 2200.0))
STALL_NM, NO_LOAD_DEG_S = 0.9, 500.0
BOARD = Board("b", CHIP.name, 1, "p", electrics=CHIP.electrics)


def part(
    name: str, kg: float, arm_m: float, ratio: float = 1.0, friction_nm: float = 0.0, **load: object
) -> Servo:
    rating = (Rating(6.0, NO_LOAD_DEG_S, STALL_NM, 3.0),)
    carried = Load((PointMass(kg, arm_m),), friction_nm=friction_nm, **load)  # type: ignore[arg-type]
    return Servo(
        *(name, "b", 1, POINTS, (-90.0, 90.0), rating, carried),
        drive=Gear(ratio),
        rotor_kg_m2=2e-5,
    )


def show(*servos: Servo) -> Show:
    rig = Rig((Supply("p", Adapter(6.0, 40.0)),), (BOARD,), servos)
    return Show(rig, Score("Jump", ()))


def jump(one: Servo) -> Jump:
    found = Reachable(show(one)).jump(one.name)
    assert found is not None
    return found


def thrown(
    kg: float, arm_m: float, ratio: float, friction_nm: float, start: float, up: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times (s), horn torques (N.m) and speeds of the part (deg/s) until it reaches 90 deg.

    `up`: 1 where it is thrown up against its weight, -1 down, 0 about an upright hinge line.
    """
    inertia = kg * arm_m**2 + 2e-5 * ratio**2
    top = np.radians(NO_LOAD_DEG_S)

    def torque(w: float) -> float:
        return STALL_NM * (1.0 - w * ratio / top)

    def slope(_: float, state: np.ndarray) -> list[float]:
        p, w = state
        weight = up * kg * arm_m * G * np.cos(p)
        driven = ratio * torque(w) - weight - friction_nm * np.tanh(1e4 * w)
        return [w, driven / inertia]

    def end(_: float, state: np.ndarray) -> float:
        return float(state[0] - np.pi / 2.0)

    end.terminal = True  # type: ignore[attr-defined]
    at = [np.radians(start), 0.0]
    run = solve_ivp(slope, (0, 20), at, rtol=1e-7, atol=1e-9, max_step=0.01, events=end)
    assert run.status == 1
    speeds = run.y[1]
    return run.t, STALL_NM * (1.0 - speeds * ratio / top), np.degrees(speeds)


def test_no_jump_lasts_longer_works_harder_or_goes_faster_than_foretold() -> None:
    chance = np.random.default_rng(7)
    nearest = 0.0
    for _ in range(60):
        ratio = float(chance.choice((0.5, 1.0, 2.0)))
        friction = float(chance.choice((0.0, 0.05)))
        arm = float(chance.uniform(0.03, 0.3))
        most = (0.9 * STALL_NM * ratio - friction) / (arm * G)
        kg, level = float(chance.uniform(0.0, most)), bool(chance.random() < 0.7)
        one = part("one", kg, arm, ratio, friction, axis="level" if level else "upright")
        told = jump(one)
        start = float(chance.uniform(-90.0, 60.0))
        up = float(chance.choice((-1.0, 1.0))) if level else 0.0
        times, torques, speeds = thrown(kg, arm, ratio, friction, start, up)
        assert times[-1] <= told.lasts_s * (1.0 + 1e-5)
        assert np.abs(speeds).max() <= told.reach.speed_deg_s * (1.0 + 1e-5)
        for time, torque in zip(times, torques, strict=True):
            assert torque <= told.after_nm(float(time)) + 1e-5 * STALL_NM
        nearest = max(nearest, times[-1] / told.lasts_s)
    assert nearest > 0.8, "the bound is of use"


def test_without_weight_and_friction_the_jump_is_as_foretold() -> None:
    """J w0 / Ts = 0.3 x 0.2 x 0.2 x 8.727 / 0.9 s, near enough."""
    told = jump(part("one", 0.3, 0.2, axis="upright"))
    assert told.constant_s == pytest.approx((0.3 * 0.04 + 2e-5) * np.radians(500.0) / 0.9)
    times, torques, _ = thrown(0.3, 0.2, 1.0, 0.0, -90.0, 0.0)
    assert times[-1] == pytest.approx(told.lasts_s, rel=1e-4)
    assert [told.after_nm(float(t)) for t in times] == pytest.approx(torques.tolist(), rel=1e-3)


def test_a_weight_that_falls_with_its_motor_is_faster_than_without_load() -> None:
    one = part("one", 0.6, 0.13)
    *_, speeds = thrown(0.6, 0.13, 1.0, 0.0, -90.0, -1.0)
    assert speeds.max() > 1.2 * NO_LOAD_DEG_S
    assert speeds.max() <= jump(one).reach.speed_deg_s
    assert jump(one).reach.speed_deg_s == pytest.approx(
        NO_LOAD_DEG_S * (1.0 + 0.6 * 0.13 * G / STALL_NM), rel=1e-6
    )


def test_a_part_that_its_servo_cannot_lift_is_never_there() -> None:
    told = jump(part("one", 1.0, 0.1))
    assert told.lasts_s == float("inf")
    assert told.after_nm(100.0) == STALL_NM


def test_a_heavy_part_still_draws_nearly_its_stall_current_when_the_next_servo_starts() -> None:
    """Both of 3 A: the first gives exp(-0.2 / 0.7) of its stall torque when the second starts."""
    heavy = part("one", 1.8, 0.2, axis="upright")
    light = part("two", 0.01, 0.01, axis="upright")
    (start,) = start_sags(show(heavy, light))
    assert start.starting == "two"
    share = np.exp(-ENABLE_S / jump(heavy).constant_s)
    asked = 3.0 + 3.0 * (0.35 + 0.65 * share) + BOARD.electrics.idle_a
    assert share > 0.75
    assert start.supply_a == pytest.approx(asked, rel=1e-6)
    # started the other way round, the light one is at its place by then
    (other,) = start_sags(show(replace(light, name="two"), heavy))
    assert other.supply_a < 5.0
