"""What a board reads of its battery, and how far off that may be, worked out by hand.

Resistors: IEC 60063, series E24. The converter's equations: ATmega2560 data sheet, "ADC Conversion
Result". Tolerances: the table at the head of `sim/rig/watch.py`.
"""

from __future__ import annotations

from itertools import product

import pytest

from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.model import Divider
from sim.rig.watch import Watched, divider_for, drain_a, watched

RIG = """\
supply pack
    source {cells}
{more}board box: atmega2560, address 1
    feed pack
{logic}    {watch}
lamp lure: box pin PB4
cue flare
    lure fade to 80 % in 2 s
    lure fade to off in 2 s
remote
    button 1: go flare
    stop button 5
"""
DIVIDER = "watch pin PF1, divider 18 kohm over 22 kohm"
E24 = (
    *(1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0),
    *(3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1),
)
OHMS = [float(round(step * decade)) for decade in (1e3, 1e4, 1e5) for step in E24]


def of(
    watch: str = DIVIDER, cells: str = "2 li-ion cells, 3000 mAh", logic: str = "", more: str = ""
) -> Watched:
    text = RIG.format(watch=watch, cells=cells, logic=logic, more=more)
    show = load_text(Source("test.cues", text)).show
    assert show is not None
    found = watched(show.rig, show.rig.boards[0])
    assert found is not None
    return found


def test_behind_a_divider_the_full_reading_is_the_chip_s_supply_over_its_share() -> None:
    one = of()
    assert (one.chip_v, one.dropout_v, one.full_v) == (5.0, 1.0, 8.4)
    assert not one.follows_battery
    assert one.scale_v == pytest.approx(5.0 * 40 / 22)
    readings = {8.4: 946, 7.0: 788, 20.0: 1023, 9.08: 1022, 9.1: 1023, 0.0: 0, -1.0: 0}
    assert {volts: one.reading(volts) for volts in readings} == readings


def test_a_chip_on_the_battery_reads_its_reference() -> None:
    one = of("watch direct", logic="    logic direct\n")
    assert one.follows_battery
    assert (one.chip_v, one.dropout_v, one.scale_v) == (8.4, 0.0, 1.1)
    # 1024 * 1.1 V / V
    readings = {8.4: 134, 6.0: 187, 1.2: 938, 1.1: 1023, 0.5: 1023, 0.0: 1023}
    assert {volts: one.reading(volts) for volts in readings} == readings
    measured = of("watch direct, reference 1.05 V", logic="    logic direct\n")
    assert measured.scale_v == 1.05
    assert measured.reading(6.0) == 179


def test_behind_a_divider_a_reading_is_off_by_regulator_resistors_and_two_steps() -> None:
    one = of(f"{DIVIDER}, stops below 3.2 V")
    step = 2 * (5 * 40 / 22) / 1024 / 6.4
    assert one.off == pytest.approx(0.02 + 0.02 * (18 / 40) + step)
    assert one.lowest_stop_v == pytest.approx(3.2 * (1 - one.off))
    assert one.held_v == pytest.approx((5 + 1) / 2 / (1 - one.off))


def test_by_its_reference_a_reading_is_off_by_that_and_two_steps() -> None:
    direct = "    logic direct\n"
    one = of("watch direct, stops below 3.2 V", logic=direct)
    assert one.off == pytest.approx(0.1 / 1.1 + 2 * 6.4 / (1.1 * 1024))
    measured = of("watch direct, reference 1.05 V, stops below 3.2 V", logic=direct)
    assert measured.off == pytest.approx(0.01 + 2 * 6.4 / (1.05 * 1024))


@pytest.mark.parametrize(
    ("cells", "stop", "warn"),
    [
        # the chip's regulator holds to 3.1 V a cell, over the 3.0 V at which a show would stop
        ("2 li-ion cells, 3000 mAh", 3.10, 3.4),
        ("3 li-ion cells, 3000 mAh", 3.0, 3.4),
        ("3 lipo cells, 3000 mAh", 3.3, 3.6),
        # held to 3.10 V: the warning comes a tenth of a volt before that
        ("2 lifepo4 cells, 3000 mAh", 3.10, 3.20),
        ("3 lifepo4 cells, 3000 mAh", 2.8, 3.0),
        ("7 nimh cells, 3000 mAh", 1.0, 1.1),
    ],
)
def test_without_limits_of_the_show_those_of_the_cells_hold_as_far_as_they_can_be_read(
    cells: str, stop: float, warn: float
) -> None:
    one = of("watch pin PF1, divider 39 kohm over 22 kohm" if cells[0] == "7" else DIVIDER, cells)
    assert (one.stop_v, one.warn_v) == (pytest.approx(stop), pytest.approx(warn))


def test_limits_of_the_show_are_taken_as_they_are() -> None:
    one = of(f"{DIVIDER}, warns below 3.6 V, stops below 2.5 V")
    assert (one.warn_v, one.stop_v) == (3.6, 2.5)


def test_the_supply_s_regulator_lies_before_the_board_s() -> None:
    both = of(more="    regulator 6.0 V, 5 A\n")
    alone = of(more="    regulator 6.0 V, 5 A\n", logic="    logic direct\n")
    regulator_v = both.dropout_v - 1.0
    assert regulator_v > 0.0
    assert (both.chip_v, alone.chip_v, alone.dropout_v) == (5.0, 6.0, pytest.approx(regulator_v))
    assert not alone.follows_battery


def test_who_is_fed_by_no_battery_watches_none() -> None:
    text = RIG.format(watch=DIVIDER, cells="adapter 6 V, 3 A", logic="", more="")
    show = load_text(Source("test.cues", text)).show
    assert show is not None
    assert watched(show.rig, show.rig.boards[0]) is None


@pytest.mark.parametrize(
    ("full_v", "chip_v"),
    [
        *((8.4, 5.0), (12.6, 5.0), (16.8, 5.0), (8.4, 3.3), (25.2, 3.3), (5.3, 5.0)),
        *((33.6, 3.3), (50.4, 3.3), (50.4, 5.0)),
    ],
)
def test_a_divider_fits_and_of_those_that_do_drains_least(full_v: float, chip_v: float) -> None:
    def fits(upper: float, lower: float) -> bool:
        share = lower / (upper + lower)
        return share * full_v <= 0.95 * chip_v and upper * lower / (upper + lower) <= 10e3

    fitting = [pair for pair in product(OHMS, OHMS) if fits(*pair)]
    shares = {pair: pair[1] / sum(pair) for pair in fitting}
    near = [pair for pair in fitting if shares[pair] >= 0.9 * max(shares.values())]
    found = divider_for(full_v, chip_v)
    assert (found.upper_ohm, found.lower_ohm) in near
    assert found.upper_ohm + found.lower_ohm == pytest.approx(max(map(sum, near)))


def test_the_divider_of_twelve_cells_at_3_3_v_has_a_resistor_of_the_highest_decade() -> None:
    """10 / 170 of 50.4 V are 2.96 V, under 3.135 V; 10 and 150 kohm would let 3.15 V through."""
    assert divider_for(50.4, 3.3) == Divider(160_000, 10_000)


@pytest.mark.parametrize(
    ("full_v", "upper", "lower"),
    # half of 9.5 V is 4.75 V, which is 0.95 of 5 V; 20 and 20 kohm in parallel are 10 kohm
    [(9.49, 20_000, 20_000), (9.5, 20_000, 20_000), (9.51, 22_000, 18_000)],
)
def test_a_divider_may_bring_as_much_to_the_pin_as_it_is_allowed(
    full_v: float, upper: float, lower: float
) -> None:
    assert divider_for(full_v, 5.0) == Divider(upper, lower)


@pytest.mark.parametrize("full_v", [4.2, 8.4, 12.6, 16.8, 25.2, 33.6, 42.0, 50.4])
@pytest.mark.parametrize("chip_v", [3.3, 5.0])
def test_a_divider_has_whole_ohms_as_its_resistors_have(full_v: float, chip_v: float) -> None:
    """1.1 times 100,000 is 110000.00000000001 in binary."""
    found = divider_for(full_v, chip_v)
    assert (found.upper_ohm % 100, found.lower_ohm % 100) == (0, 0)


def test_the_divider_of_two_cells_at_5_v() -> None:
    """0.55 of 8.4 V are 4.62 V, under 4.75 V; 18 and 22 kohm in parallel are 9.9 kohm."""
    assert divider_for(8.4, 5.0) == Divider(18_000, 22_000)
    assert drain_a(Divider(18_000, 22_000), 8.4) == pytest.approx(210e-6)
