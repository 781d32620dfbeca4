"""At which charge a supply's currents are looked at: it follows from Ohm's law and from power.

What servos draw when they stall grows with the voltage that arrives, so cells straight on the
boards give the most when they are full. A regulator holds its voltage; what it takes from its cells
grows as theirs falls, until they cannot hold it up. So in between is looked at as well.
"""

from __future__ import annotations

import pytest

from sim.model import Adapter, Cells, Regulator, Supply
from sim.strain.sag import FULL_CHARGE, _charges

CELLS = Cells("li-ion", 2, 2.6)
HELD = Regulator(5.0, 10.0)


@pytest.mark.parametrize(
    ("supply", "charges"),
    [
        (Supply("pack", CELLS), (FULL_CHARGE,)),
        (Supply("pack", CELLS, HELD), (0.5, FULL_CHARGE)),
        (Supply("plug", Adapter(5.0, 4.0)), ()),
        (Supply("plug", Adapter(12.0, 4.0), HELD), ()),
    ],
)
def test_cells_alone_are_looked_at_full_and_behind_a_regulator_half_full_too(
    supply: Supply, charges: tuple[float, ...]
) -> None:
    """A plug has no charge: it is looked at once."""
    assert _charges(supply) == charges
