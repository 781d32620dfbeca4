"""What arrives at one servo's board over its own torque, by Ohm's law, beside all the others.

A servo of 1 N.m and 2 A at 6 V, without running current, draws 2 A for each N.m, up to the stall
current of what arrives: U / 3 ohm (PHYSICS.md). Wires are 2 m of 26 AWG, there and back.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf

import numpy as np
import pytest

from sim.model import (
    Adapter,
    Board,
    CalibrationPoint,
    Cells,
    Electrics,
    Rating,
    Regulator,
    Rig,
    Score,
    Servo,
    Show,
    Supply,
    Switch,
    Wire,
)
from sim.rig.wire import loop_ohm
from sim.strain.hardest_torque import Hardest
from sim.strain.sag import beside_others, lowest_voltages, start_sags, without_limits

POINTS = (CalibrationPoint(-90.0, 900.0), CalibrationPoint(90.0, 2100.0))
RATING = Rating(6.0, 400.0, 1.0, 2.0, 0.0)
FEED = Wire(2.0, 26, solid=True)
OHM = loop_ohm(FEED, 25.0)
BOARDS = (
    Board("b", "any", 1, "p", FEED, electrics=Electrics(0.03)),
    Board("c", "any", 2, "p", FEED, electrics=Electrics(0.04)),
    Board("d", "any", 3, "q", FEED, electrics=Electrics(0.05)),
    Board("e", "any", 4, electrics=Electrics(0.05)),
)
FANS = tuple(
    Switch(f"fan_{board}", board, 4, current_a=amps)
    for board, amps in (("b", 0.1), ("c", 0.2), ("d", 0.4))
)


def servo(name: str, board: str, rating: Rating = RATING) -> Servo:
    return Servo(name, board, 1, POINTS, (-60.0, 60.0), (rating,), idle_a=0.0)


SERVOS = (
    *(servo("jaw", "b"), servo("ear", "b"), servo("tail", "c"), servo("fin", "d")),
    servo("loose", "e"),
)
HARDEST = {
    "jaw": Hardest(9.0, "wave"),
    "ear": Hardest(0.25, None),
    "tail": Hardest(0.5, "wave"),
    "fin": Hardest(1.0, None),
    "loose": Hardest(1.0, None),
}


def show(current_a: float = 50.0) -> Show:
    supplies = (Supply("p", Adapter(6.0, current_a)), Supply("q", Adapter(6.0, 50.0)))
    return Show(Rig(supplies, BOARDS, (*FANS, *SERVOS)), Score("s"))


def at(name: str, torque_nm: float, current_a: float = 50.0) -> float:
    found = beside_others(show(current_a), HARDEST, name)
    assert found is not None
    return float(found.at(torque_nm))


@pytest.mark.parametrize("torque_nm", [0.0, 0.2, 0.4, -0.4])
@pytest.mark.parametrize(
    ("name", "beside_a"),
    [
        # the board, its fan and the ear; its own hardest torque is not asked for besides
        ("jaw", 0.03 + 0.1 + 2.0 * 0.25),
        ("tail", 0.04 + 0.2),
        ("fin", 0.05 + 0.4),
    ],
)
def test_a_servo_s_own_torque_takes_its_board_s_voltage_beside_what_the_others_draw(
    name: str, beside_a: float, torque_nm: float
) -> None:
    """Each board has a wire of its own, and the adapter holds its 6 V."""
    expected = 6.0 - OHM * (beside_a + 2.0 * abs(torque_nm))
    assert at(name, torque_nm) == pytest.approx(expected, rel=1e-4)


def test_over_its_stall_torque_a_servo_draws_no_more() -> None:
    """3 ohm behind the wire, beside 0.45 A; torques past those of the table are like its last."""
    stalled = (6.0 - OHM * 0.45) * 3.0 / (3.0 + OHM)
    assert at("fin", 1.2) == pytest.approx(stalled, rel=1e-4)
    assert at("fin", 99.0) == pytest.approx(stalled, rel=1e-4)


@pytest.mark.parametrize(("share", "gives"), [(1.02, True), (0.98, False)])
def test_where_the_supply_collapses_before_the_servo_asks_for_anything_there_is_none(
    share: float, gives: bool
) -> None:
    """Beside the jaw: two boards, their fans, the ear and the tail; its own current may collapse
    the supply later."""
    beside_a = 0.03 + 0.1 + 0.04 + 0.2 + 2.0 * 0.25 + 2.0 * 0.5
    found = beside_others(show(share * beside_a), HARDEST, "jaw")
    assert (found is not None) is gives


def test_a_board_without_a_supply_has_no_voltage_that_falls_and_no_start_that_sags() -> None:
    assert beside_others(show(), HARDEST, "loose") is None
    assert [sag.board for sag in start_sags(show())] == ["b", "c", "d"]
    assert lowest_voltages(show())["e"] == 6.0


def test_a_servo_that_moves_has_its_running_current_besides() -> None:
    """0.5 A in motion without torque; a part that only holds has none of it."""
    runs = Rating(6.0, 400.0, 1.0, 2.0, 0.5)
    servos = tuple(replace(one, ratings=(runs,)) for one in SERVOS)
    there = show()
    there = replace(there, rig=replace(there.rig, outputs=(*FANS, *servos)))
    alone = {**HARDEST, "ear": Hardest(0.0, None)}
    found, beside = (
        beside_others(there, {**alone, "ear": ear}, "jaw")
        for ear in (Hardest(0.0, None), Hardest(0.0, "wave"))
    )
    assert found is not None
    assert beside is not None
    drops = [6.0 - float(one.at(0.0)) for one in (found, beside)]
    assert drops == pytest.approx([OHM * (0.13 + 0.5), OHM * (0.13 + 2 * 0.5)], rel=1e-3)


@pytest.mark.parametrize(
    "regulator", [None, Regulator(5.0, 2.0, 0.3, 0.8)], ids=["plain", "regulated"]
)
def test_without_limits_adapters_and_regulators_give_any_current_and_a_battery_is_itself(
    regulator: Regulator | None,
) -> None:
    plug, pack = Adapter(6.0, 3.0), Cells("li-ion", 2, 2.0)
    supplies = (Supply("p", plug, regulator), Supply("q", pack, regulator))
    found = without_limits(Show(Rig(supplies, (), ()), Score("s"))).rig.supplies
    free = None if regulator is None else replace(regulator, current_a=inf)
    assert found[0] == replace(supplies[0], source=replace(plug, current_a=inf), regulator=free)
    assert found[1] == replace(supplies[1], regulator=free)


def test_a_table_of_voltages_falls_all_the_way() -> None:
    found = beside_others(show(), HARDEST, "jaw")
    assert found is not None
    assert np.all(np.diff(found.voltage_v) <= 1e-9)
    assert found.torque_nm[0] == 0.0
