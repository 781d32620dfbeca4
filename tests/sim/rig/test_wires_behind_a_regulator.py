"""What flows in a wire behind a fuse and a regulator: power is kept (P = V I, any textbook)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.model import Adapter, Cells, Regulator, Supply
from sim.rig.supply import open_v, wire_needs_a

DOWN = Supply("p", Adapter(24.0, 3.0), Regulator(6.0, 6.0, 0.5, 0.9), 3.0)


@pytest.mark.parametrize(
    ("fuse_a", "needs_a"),
    [
        (0.5, 0.5 * 24.0 * 0.9 / 6.0),
        (1.5, 1.5 * 24.0 * 0.9 / 6.0),
        (3.0, 6.0),  # the regulator gives no more
        (7.5, 7.5),  # the lead of the fuse itself
    ],
)
def test_a_regulator_that_lowers_the_voltage_lets_more_through_than_its_fuse_carries(
    fuse_a: float, needs_a: float
) -> None:
    assert wire_needs_a(DOWN, fuse_a) == pytest.approx(needs_a)


def test_without_a_regulator_or_with_one_that_raises_the_voltage_the_fuse_itself_counts() -> None:
    assert wire_needs_a(replace(DOWN, regulator=None), 3.0) == 3.0
    up = replace(DOWN, source=Adapter(5.0, 9.0), regulator=Regulator(12.0, 9.0, 0.0, 0.9))
    assert wire_needs_a(up, 3.0) == 3.0


def test_a_battery_counts_while_it_is_full() -> None:
    cells = Cells("lipo", 4, 3.0)
    full_v = open_v(Supply("p", cells))
    pack = Supply("p", cells, Regulator(6.0, 20.0, 0.5, 0.9))
    assert full_v > 14.0
    assert wire_needs_a(pack, 3.0) == pytest.approx(3.0 * full_v * 0.9 / 6.0)


def test_a_cartridge_that_opens_late_lets_its_share_through_the_regulator_as_well() -> None:
    """45 % more behind IEC 60127 (`sim.rig.fuse.I2_SHARE`)."""
    slow = replace(DOWN, fuse_kind="IEC slow")
    share = wire_needs_a(replace(slow, regulator=None), 1.0)
    assert share == pytest.approx(2.1 / 1.45, rel=1e-3)
    assert wire_needs_a(slow, 1.0) == pytest.approx(share * 24.0 * 0.9 / 6.0)
