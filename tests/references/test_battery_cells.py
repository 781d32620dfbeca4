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
