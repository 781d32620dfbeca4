"""What a chip, its pins and what hangs on them see, against their data sheets' rules.

ATmega328P: 1.8 to 5.5 V, 4.5 V at 16 MHz, pins tested at 20 mA (data sheet, from memory). On-board
regulators of the 1117 class: 1.0 to 1.2 V of headroom (data sheets, from memory). Pixels of the 5 V
class: data high from 0.7 of their supply, at most 5.3 V (data sheets, from memory). Resistors: E24
(IEC 60063), Ohm's law.
"""

from __future__ import annotations

import numpy as np
import pytest

from firmware_gen.chips.atmega328p import CHIP
from sim.model import Adapter, Board, Direct, Lamp, Logic, OnBoard, Rig, Strip, Supply
from sim.rig.logic import DROPOUT_V, REGULATOR_V, USUAL, chip_v, logic_of
from sim.rig.supply import Demand, at_chip_v, lamp_feed, lamp_series, solve, strip_data


def rig_of(feed_v: float, *outputs: Lamp | Strip, logic: Logic | None = None) -> Rig:
    board = Board("b", CHIP.name, 1, "p", electrics=CHIP.electrics, logic=logic)
    return Rig((Supply("p", Adapter(feed_v, 10.0)),), (board,), outputs)


EYE = Lamp("eye", "b", 22, forward_v=2.0, current_a=0.02)


def test_a_regulator_holds_its_voltage_down_to_its_dropout_and_then_follows() -> None:
    seen = chip_v(OnBoard(5.0, 1.2), np.array([12.0, 6.2, 6.0, 4.6, 1.0]))
    assert seen == pytest.approx([5.0, 5.0, 4.8, 3.4, 0.0])
    assert chip_v(Direct(), 4.6) == pytest.approx(4.6)


@pytest.mark.parametrize(
    ("feed_v", "direct"), [(4.6, True), (5.5, True), (5.51, False), (24, False)]
)
def test_without_a_word_a_chip_is_fed_directly_up_to_what_it_stands(
    feed_v: float, direct: bool
) -> None:
    (board,) = rig_of(feed_v).boards
    assert logic_of(board, feed_v) == (Direct() if direct else USUAL)
    assert OnBoard(REGULATOR_V, DROPOUT_V) == USUAL


def test_what_is_said_counts() -> None:
    (board,) = rig_of(4.6, logic=OnBoard(5.0, 1.0)).boards
    assert at_chip_v(rig_of(4.6, logic=board.logic), board, 4.6) == pytest.approx(3.6)


def test_a_lamp_on_a_24_v_feed_hangs_on_the_pin_s_5_v_or_behind_a_transistor() -> None:
    """(5 - 2) / 20 mA = 150 ohm on the pin; two LEDs of 20 mA are over a pin's 20 mA: 24 V then."""
    fed = lamp_feed(rig_of(24.0, EYE), EYE)
    assert (fed.from_pin, fed.voltage_v) == (True, 5.0)
    assert lamp_series(rig_of(24.0, EYE), EYE).preferred_ohm == 150.0  # type: ignore[union-attr]
    pair = Lamp("pair", "b", 22, forward_v=2.0, current_a=0.02, count=2)
    fed = lamp_feed(rig_of(24.0, pair), pair)
    assert (fed.from_pin, fed.voltage_v) == (False, 24.0)
    assert lamp_series(rig_of(24.0, pair), pair).preferred_ohm == 1100.0  # type: ignore[union-attr]


def test_leds_above_the_pin_s_voltage_go_behind_a_transistor_too() -> None:
    chain = Lamp("chain", "b", 22, forward_v=9.0, current_a=0.01)
    fed = lamp_feed(rig_of(12.0, chain), chain)
    assert (fed.from_pin, fed.voltage_v) == (False, 12.0)


def test_a_lamp_on_its_pin_draws_by_the_pin_s_voltage() -> None:
    rig = rig_of(12.0, EYE)
    solved = solve(rig, rig.supplies[0], {"b": Demand(duty={"eye": 1.0})})
    assert float(solved.board_a["b"][0]) == pytest.approx((5.0 - 2.0) / 150.0)


@pytest.mark.parametrize(
    ("feed_v", "logic", "enough"),
    [
        (5.0, None, True),
        (5.0, OnBoard(5.0, 1.0), True),  # 4.0 V of 5.0 V
        (5.0, OnBoard(3.5, 0.5), True),  # 0.7 of 5 V, just
        (5.0, OnBoard(3.49, 0.5), False),
        (5.3, OnBoard(3.7, 0.5), False),  # 0.7 of 5.3 V is 3.71 V
        (7.4, OnBoard(3.5, 0.5), True),  # a converter of 5 V for the pixels
        (7.4, OnBoard(3.3, 0.5), False),
    ],
)
def test_a_strip_s_data_line_needs_70_percent_of_its_supply(
    feed_v: float, logic: Logic | None, enough: bool
) -> None:
    belly = Strip("belly", "b", 23, 10)
    data = strip_data(rig_of(feed_v, belly, logic=logic), belly)
    assert (data.high_v >= data.needs_v * (1.0 - 1e-9)) == enough


def test_a_lamp_on_a_board_that_is_not_there_is_taken_to_hang_on_its_pin() -> None:
    """That the board is missing is another fault; 5 V is what a small board has."""
    found = lamp_feed(Rig((), (), ()), Lamp("lost", "nowhere", 3))
    assert (found.from_pin, found.voltage_v) == (True, 5.0)
