"""What a supply's boards take while nothing moves, piece by piece, and what it leaves a move."""

from __future__ import annotations

import pytest

from sim.model import (
    Adapter,
    Board,
    CalibrationPoint,
    Electrics,
    Lamp,
    Load,
    PointMass,
    Rating,
    Rig,
    Servo,
    Strip,
    Supply,
    Switch,
    Wire,
)
from sim.rig import servo as lines
from sim.rig import wire
from sim.rig.supply import highest_v, moving_v, standing, strip_full_a

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))
RATING = Rating(6.0, 400.0, 1.0, 2.0)
FEED = Wire(2.0, 24, solid=True)
SUPPLY = Supply("p", Adapter(6.0, 20.0))
JAW = Servo("jaw", "b", 1, POINTS, (0.0, 60.0), (RATING,), load=Load((PointMass(0.1, 0.1),)))
STRIP = Strip("belly", "b", 3, pixels=10, channel_a=0.02)


def rig(*outputs: Servo | Lamp | Strip | Switch) -> Rig:
    boards = (
        Board("b", "atmega328p", 1, "p", FEED, electrics=Electrics(idle_a=0.03)),
        Board("other", "atmega328p", 2, "p", electrics=Electrics(idle_a=0.04)),
    )
    return Rig((SUPPLY,), boards, outputs)


@pytest.mark.parametrize(
    ("output", "amps"),
    [
        (Switch("fan", "b", 4, current_a=0.7), 0.7),
        (Switch("fan", "other", 4, current_a=0.7), 0.0),
        (STRIP, 10 * 3 * 0.02 + 10 * 0.001),
        (Strip("belly", "b", 3, pixels=10, channel_a=0.02, cap_a=0.25), 0.25 + 0.01),
        (Strip("belly", "b", 3, pixels=10, channel_a=0.02, cap_a=9.0), 0.61),
        (Lamp("lure", "b", 9), 0.0),
    ],
)
def test_each_output_adds_what_it_takes(output: Lamp | Strip | Switch, amps: float) -> None:
    demands = standing(rig(output), SUPPLY)
    assert float(demands["b"].fixed_a) == pytest.approx(0.03 + amps)


def test_switches_add_up_and_lamps_are_full() -> None:
    fans = [Switch(f"fan{n}", "b", n, current_a=0.1 * n) for n in (1, 2, 3)]
    demands = standing(rig(*fans, Lamp("lure", "b", 9), STRIP, JAW), SUPPLY)
    assert float(demands["b"].fixed_a) == pytest.approx(0.03 + 0.6 + 0.61)
    assert demands["b"].duty == {"lure": 1.0}
    assert list(demands["b"].torque_nm) == ["jaw"]
    assert float(demands["b"].torque_nm["jaw"]) == pytest.approx(0.1 * 9.80665 * 0.1)
    assert float(demands["other"].fixed_a) == pytest.approx(0.04)
    assert strip_full_a(STRIP) == pytest.approx(0.61)


def test_a_move_gets_what_its_own_current_and_the_switches_leave() -> None:
    """A switch takes its 0.7 A through the feed beside the servo, whatever the servo takes."""
    fan = Switch("fan", "b", 4, current_a=0.7)
    ohm = wire.loop_ohm(FEED, 25.0)
    volts = float(moving_v(rig(JAW, fan), JAW, 0.5))
    amps = float(lines.current_a(lines.line(JAW, volts), 0.5)) + 0.73
    assert volts <= 6.0 - ohm * amps + 2e-3
    alone = float(moving_v(rig(JAW), JAW, 0.5))
    # the servo takes a little less at the lower voltage
    assert alone - volts == pytest.approx(0.7 * ohm, rel=0.04)
    assert float(moving_v(rig(JAW), JAW, -0.5)) == pytest.approx(alone)


def test_a_board_without_a_supply_has_the_lowest_voltage_its_servos_are_rated_at() -> None:
    loose = Board("c", "atmega328p", 3)
    five = Servo("a", "c", 1, POINTS, (0.0, 60.0), (Rating(5.0, 400.0, 1.0, 2.0),))
    seven = Servo("z", "c", 2, POINTS, (0.0, 60.0), (Rating(7.4, 400.0, 1.0, 2.0),))
    assert highest_v(Rig((), (loose,), (seven, five)), "c") == 5.0
    assert highest_v(Rig((), (loose,), ()), "c") == 5.0
    assert highest_v(Rig((), (loose,), (seven,)), "c") == 7.4
    assert float(moving_v(Rig((), (loose,), (seven,)), seven, 0.2)) == 7.4


def test_each_servo_of_a_rig_has_a_voltage_of_its_own() -> None:
    """Behind the wire, a stalled servo of 4 A sags more than one of 2 A, whichever comes first."""
    small = Servo("small", "b", 1, POINTS, (0.0, 60.0), (RATING,))
    large = Servo("large", "b", 2, POINTS, (0.0, 60.0), (Rating(6.0, 400.0, 1.0, 4.0),))
    for row in ((small, large), (large, small), (Lamp("lure", "b", 9), small, large)):
        one = rig(*row)
        assert float(moving_v(one, large, 1.0)) < float(moving_v(one, small, 1.0)) - 0.1
