"""Supplies against circuit arithmetic and a general root finder.

Ohm's and Kirchhoff's laws; wire drops recomputed from IEC 60028 (see test_wire_gauge.py); constant
power behind a source: the upper root of V2 - V0 V + R P = 0. Reference for the coupled solution:
`scipy.optimize.brentq` on the circuit's own equation.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from sim.model import (
    Adapter,
    Board,
    CalibrationPoint,
    Cells,
    Lamp,
    Rating,
    Regulator,
    Rig,
    Servo,
    Supply,
    Wire,
)
from sim.rig import battery, wire
from sim.rig.supply import Demand, lamp_series, open_v, solve

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))


def rig_with(supply: Supply, feed: Wire | None = None, servos: int = 1) -> Rig:
    outputs = tuple(
        Servo(f"s{n}", "b", n, POINTS, (0, 90), (Rating(6.0, 360.0, 1.0, 2.0),), idle_a=0.0)
        for n in range(servos)
    )
    board = Board("b", "atmega328p", 1, supply.name, feed)
    return Rig((supply,), (board,), (*outputs, Lamp("lamp", "b", 9)))


def test_a_feed_loses_what_the_wire_table_says() -> None:
    """3 A through 1.5 m of AWG 22, there and back, at 25 deg C."""
    supply = Supply("p", Adapter(5.0, 10.0))
    rig = rig_with(supply, Wire(1.5, 22, solid=True))
    solved = solve(rig, supply, {"b": Demand(fixed_a=3.0)})
    drop = 3.0 * wire.loop_ohm(Wire(1.5, 22, solid=True), rig.wearer.temperature_c)
    assert drop == pytest.approx(0.47667046 * (1 + 0.00393 * 5.0), rel=1e-7)
    assert float(solved.board_v["b"][0]) == pytest.approx(5.0 - drop, abs=1e-7)


def test_a_battery_sags_by_its_resistance() -> None:
    cells = Cells("nimh", 5, 2.0, resistance_ohm=0.25)
    supply = Supply("p", cells)
    solved = solve(rig_with(supply), supply, {"b": Demand(fixed_a=[0.0, 1.0, 4.0])}, charge=0.5)
    rest = float(battery.rest_v(cells, 0.5))
    assert solved.feed_v == pytest.approx(rest - 0.25 * np.array([0.0, 1.0, 4.0]), abs=1e-6)
    assert solved.source_a == pytest.approx([0.0, 1.0, 4.0])


def test_a_regulator_takes_constant_power() -> None:
    cells = Cells("lipo", 2, 2.0, resistance_ohm=0.1)
    supply = Supply("p", cells, Regulator(5.0, 5.0, dropout_v=0.3, efficiency=0.9))
    solved = solve(rig_with(supply), supply, {"b": Demand(fixed_a=3.0)}, charge=0.6)
    rest, power = float(battery.rest_v(cells, 0.6)), 5.0 * 3.0 / 0.9
    root = (rest + np.sqrt(rest**2 - 4.0 * 0.1 * power)) / 2.0
    assert float(solved.source_v[0]) == pytest.approx(root, rel=1e-9)
    assert float(solved.source_a[0]) == pytest.approx(power / root, rel=1e-9)
    assert float(solved.feed_v[0]) == pytest.approx(5.0, abs=1e-6)


def test_a_regulator_without_headroom_gives_its_input_less_the_dropout() -> None:
    cells = Cells("nimh", 4, 2.0, resistance_ohm=0.2)
    supply = Supply("p", cells, Regulator(5.0, 5.0, dropout_v=0.5, efficiency=1.0))
    solved = solve(rig_with(supply), supply, {"b": Demand(fixed_a=1.0)}, charge=0.5)
    rest = float(battery.rest_v(cells, 0.5))

    def gap(feed: float) -> float:
        root = (rest + np.sqrt(rest**2 - 4.0 * 0.2 * feed)) / 2.0
        return root - 0.5 - feed

    assert float(solved.feed_v[0]) == pytest.approx(brentq(gap, 1.0, 5.0), abs=1e-6)


def test_beyond_the_limit_the_voltage_falls_until_the_limit_is_met() -> None:
    """Two stalled servos of 2 A at 6 V (3 ohm each) on a 3 A supply: 4.5 V."""
    supply = Supply("p", Adapter(6.0, 3.0))
    rig = rig_with(supply, servos=2)
    solved = solve(rig, supply, {"b": Demand({"s0": 9.0, "s1": 9.0}, fixed_a=0.0)})
    assert float(solved.feed_v[0]) == pytest.approx(4.5, abs=1e-4)
    assert bool(solved.collapsed[0])
    fine = solve(rig, supply, {"b": Demand({"s0": 9.0}, fixed_a=0.0)})
    assert float(fine.feed_v[0]) == pytest.approx(6.0)
    assert not bool(fine.collapsed[0])


def test_more_power_than_a_battery_has_is_a_collapse() -> None:
    """V0**2 / (4 R) is the most a source of resistance R gives: 36 / 4 = 9 W here."""
    cells = Cells("nimh", 5, 2.0, resistance_ohm=1.0)
    supply = Supply("p", cells, Regulator(5.0, 50.0, dropout_v=0.0, efficiency=1.0))
    solved = solve(rig_with(supply), supply, {"b": Demand(fixed_a=[1.0, 4.0])}, charge=0.5)
    assert solved.collapsed.tolist() == [False, True]


@settings(max_examples=60)
@given(
    st.floats(0.0, 3.0),
    st.floats(0.0, 1.0),
    st.floats(0.0, 3.0),
    st.floats(0.05, 1.5),
    st.floats(0.1, 4.0),
    st.integers(18, 30),
)
def test_voltage_and_current_are_solved_together(
    torque: float, duty: float, fixed: float, inner: float, length: float, gauge: int
) -> None:
    """The circuit's one equation, V = V0 - (R + Rw) I(V), solved by brentq."""
    cells = Cells("li-ion", 2, 3.0, resistance_ohm=inner)
    supply = Supply("p", cells)
    rig = rig_with(supply, Wire(length, gauge))
    demand = Demand({"s0": torque}, {"lamp": duty}, fixed)
    solved = solve(rig, supply, {"b": demand}, charge=0.3)
    ohm = inner + wire.loop_ohm(Wire(length, gauge), 25.0)
    lamp = next(o for o in rig.outputs if isinstance(o, Lamp))
    series = lamp_series(rig, lamp)
    assert series is not None

    def current(volts: float) -> float:
        stall = max(volts, 0.0) / 3.0
        lit = duty * max(volts - lamp.forward_v, 0.0) / series.preferred_ohm
        return min(2.0 * torque, stall) + lit + fixed

    rest = float(battery.rest_v(cells, 0.3))
    gap = rest - ohm * current(0.0)
    expected = brentq(lambda v: rest - ohm * current(v) - v, 0.0, rest) if gap > 0.0 else 0.0
    assert float(solved.board_v["b"][0]) == pytest.approx(expected, abs=2e-5)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_fuller_battery_never_gives_less(one: float, other: float) -> None:
    supply = Supply("p", Cells("lipo", 3, 1.3), Regulator(6.0, 5.0))
    low, high = sorted((one, other))
    assert open_v(supply, low) <= open_v(supply, high) <= 6.0


@pytest.mark.parametrize(("amps", "volts"), [(5.0, 1.0), (6.0, 0.0), (7.0, 0.0)])
def test_a_battery_that_is_asked_for_more_than_a_short_circuit_gives_has_no_voltage(
    amps: float, volts: float
) -> None:
    """Ohm's law, 6 V behind 1 ohm: never below nothing."""
    cells = Cells("nimh", 5, 2.0, resistance_ohm=6.0 / 6.0)
    rest = float(battery.rest_v(cells, 0.5))
    supply = Supply("p", cells)
    solved = solve(rig_with(supply), supply, {"b": Demand(fixed_a=amps + rest - 6.0)}, charge=0.5)
    for found in (solved.feed_v, solved.source_v, solved.board_v["b"]):
        assert float(found[0]) == pytest.approx(volts, abs=1e-6)


@pytest.mark.parametrize(("stated_a", "collapses"), [(1.2, False), (1.19, True)])
def test_an_adapter_before_a_regulator_has_its_own_limit(stated_a: float, collapses: bool) -> None:
    """5 V and 2 A through 70 % are 14.29 W: 1.190 A at 12 V."""
    supply = Supply("p", Adapter(12.0, stated_a), Regulator(5.0, 5.0, 0.3, efficiency=0.7))
    solved = solve(rig_with(supply), supply, {"b": Demand(fixed_a=2.0)})
    assert bool(solved.collapsed[0]) is collapses
    assert float(solved.source_v[0]) == 12.0
    if not collapses:
        assert float(solved.source_a[0]) == pytest.approx(10.0 / 0.7 / 12.0)


@pytest.mark.parametrize("ohm", [0.5, 1.4, 1.6, 3.0, 40.0])
def test_a_stalled_servo_and_its_feed_share_the_voltage(ohm: float) -> None:
    """Two resistances in a row: 6 V over 1.5 ohm of the stalled servo (4 A at 6 V) and the wire.

    With more ohm in the wire than in the servo, what each voltage asks for grows without bound
    when it is put in again, so that another way must find the point where both agree.
    """
    per_m = wire.loop_ohm(Wire(1.0, 30, solid=True), 25.0)
    feed = Wire(ohm / per_m, 30, solid=True)
    supply = Supply("p", Adapter(6.0, 50.0))
    one = Servo("s", "b", 1, POINTS, (0, 90), (Rating(6.0, 360.0, 1.0, 4.0),), idle_a=0.0)
    rig = Rig((supply,), (Board("b", "any", 1, "p", feed),), (one,))
    solved = solve(rig, supply, {"b": Demand({"s": [9.0, 9.0]})})
    assert solved.board_v["b"] == pytest.approx(6.0 * 1.5 / (1.5 + ohm), abs=1e-6)
    assert solved.board_a["b"] == pytest.approx(6.0 / (1.5 + ohm), abs=1e-6)
