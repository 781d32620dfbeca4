"""Five boards, random buttons, losses: some minutes here, hours with `creature_hours`."""

from __future__ import annotations

import pytest

from tests.firmware_gen.creature_hours import HOUR, SECOND, run
from tests.firmware_gen.host.core import available

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")


@pytest.mark.parametrize(
    ("hours", "seed"), [(0.1, 11), (0.1, 12), pytest.param(3, 13, marks=pytest.mark.long)]
)
def test_no_limit_is_exceeded_and_no_board_is_out_of_step_for_a_second(
    hours: float, seed: int
) -> None:
    found = run(round(hours * HOUR), seed)
    assert found.presses > 1000 * hours
    assert found.lost > 100_000 * hours
    assert found.power_cuts > 100 * hours
    assert found.speed <= 1
    assert found.acceleration <= 1
    assert found.out_of_step <= SECOND
    assert found.beside_twin <= 2 * SECOND
    assert found.overruns == 0
