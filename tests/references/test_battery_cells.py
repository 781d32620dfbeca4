"""Batteries against arithmetic and the limits the trade names.

Run time t = C k / I: recomputed; k = 0.8: common practice, no source. Lithium cells: 4.20 V full
and about 3.0 V empty, from memory; never over 4.23 V nor under 2.75 V a cell: one handling page
(read).
Cell curves are common practice, from memory: only their ends, order and plausibility are tested.
"""

from __future__ import annotations

import numpy as np
import pytest

from sim.model import Cells
from sim.rig import battery


def test_run_time_is_usable_capacity_over_current() -> None:
    assert battery.run_time_h(2.0, 0.5, usable=1.0) == pytest.approx(4.0)
    assert battery.run_time_h(2.0, 0.5) == pytest.approx(3.2)
    assert 60.0 * battery.run_time_h(2.2, 1.5) == pytest.approx(70.4)
    assert battery.capacity_for_ah(70.4 / 60.0, 1.5) == pytest.approx(2.2)
    assert battery.run_time_h(2.0, 0.0) == float("inf")


@pytest.mark.parametrize("name", battery.CHEMISTRIES)
def test_a_cell_s_voltage_rises_with_what_is_left(name: str) -> None:
    kind = battery.CHEMISTRIES[name]
    assert kind.charge[0] == 0.0
    assert kind.charge[-1] == 1.0
    assert np.all(np.diff(kind.charge) > 0.0)
    assert np.all(np.diff(kind.rest_v) > 0.0)
    assert kind.rest_v[0] <= kind.cutoff_v * 1.05


def test_lithium_cells_stay_within_the_handling_limits() -> None:
    for name in ("li-ion", "lipo"):
        kind = battery.CHEMISTRIES[name]
        assert kind.lithium
        assert kind.rest_v[-1] == 4.20
        assert kind.rest_v[0] >= 2.75
        assert kind.rest_v[-1] <= 4.23


def test_cells_in_series_add_voltage_and_resistance_and_rows_share_the_current() -> None:
    one = Cells("li-ion", 1, 3.0)
    three = Cells("li-ion", 3, 3.0)
    twin = Cells("li-ion", 3, 3.0, parallel=2)
    assert float(battery.rest_v(three, 0.5)) == pytest.approx(3 * float(battery.rest_v(one, 0.5)))
    assert battery.pack_ohm(three) == pytest.approx(3 * battery.pack_ohm(one))
    assert battery.pack_ohm(twin) == pytest.approx(battery.pack_ohm(three) / 2)
    assert battery.pack_ah(twin) == 6.0
    assert battery.stands_a(twin) == pytest.approx(2 * battery.stands_a(three))


def test_a_measured_resistance_beats_the_usual_one() -> None:
    assert battery.pack_ohm(Cells("nimh", 5, 2.0, resistance_ohm=0.2)) == 0.2


FULL = {
    # what rests in a full cell (V), continuous current over capacity (1/h), resistance times
    # capacity (ohm Ah), whether lithium: common practice, from memory
    "li-ion": (4.20, 2.0, 0.15, True),
    "lipo": (4.20, 20.0, 0.02, True),
    "lifepo4": (3.40, 5.0, 0.05, True),
    "nimh": (1.40, 3.0, 0.05, False),
    "alkaline": (1.58, 0.4, 0.45, False),
}


@pytest.mark.parametrize("name", battery.CHEMISTRIES)
def test_a_full_cell_gives_what_is_usual(name: str) -> None:
    volts, c_rate, ohm_ah, lithium = FULL[name]
    cell = Cells(name, 1, 2.0)  # type: ignore[arg-type]
    assert float(battery.rest_v(cell, 1.0)) == volts
    assert battery.stands_a(cell) == pytest.approx(2.0 * c_rate)
    assert battery.pack_ohm(cell) == pytest.approx(ohm_ah / 2.0)
    assert battery.CHEMISTRIES[name].lithium is lithium


EMPTYING = {
    # the end is near, where to stop (V): common practice, from memory; harm (V): lithium see
    # above, a pouch and an iron cell common practice, no source
    "li-ion": (3.4, 3.0, 2.75),
    "lipo": (3.6, 3.3, 3.0),
    "lifepo4": (3.0, 2.8, 2.5),
    "nimh": (1.1, 1.0, 0.9),
    "alkaline": (1.05, 0.9, 0.8),
}


@pytest.mark.parametrize("name", battery.CHEMISTRIES)
def test_a_cell_is_said_to_be_low_then_empty_then_harmed(name: str) -> None:
    kind = battery.CHEMISTRIES[name]
    assert (kind.low_v, kind.cutoff_v, kind.harm_v) == EMPTYING[name]
    assert kind.rest_v[-1] > kind.low_v > kind.cutoff_v > kind.harm_v


@pytest.mark.parametrize("name", battery.CHEMISTRIES)
def test_a_cell_is_flat_in_its_middle_and_falls_off_at_both_ends(name: str) -> None:
    """Makers' plots (from memory): no value lies far out of line with the two beside it."""
    kind = battery.CHEMISTRIES[name]
    charge, volts = np.array(kind.charge), np.array(kind.rest_v)
    for n in range(2, len(charge) - 1):
        between = np.interp(charge[n], charge[[n - 1, n + 1]], volts[[n - 1, n + 1]])
        assert abs(volts[n] - between) < 0.06
    steps = np.diff(charge)
    assert steps == pytest.approx([0.05, 0.05, *[0.1] * 9])


def test_a_pack_that_is_empty_still_has_the_fifth_that_is_not_counted_on() -> None:
    assert pytest.approx(0.2) == battery.EMPTY_CHARGE
    assert battery.USABLE == 0.8
