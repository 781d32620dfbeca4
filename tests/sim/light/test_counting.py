"""Changes counted in columns: a square between dark and full, each straight from value to value.

A change counts where it gets to a tenth (WCAG 2.2, general flash), so at a tenth of each way.
"""

from __future__ import annotations

from math import inf

import numpy as np
import pytest

from sim.light.counting import TOO_MANY, Counter

STEP_MS = 100.0


def span_and_start(rest: float, values: list[float]) -> tuple[float, float]:
    counter = Counter(np.array([rest]), np.array(values[:1]), 0.1)
    for number, value in enumerate(values[1:], start=1):
        counter.take(STEP_MS * number, np.array([value]))
    closest = counter.closest()
    return float(closest.span_ms[0]), float(closest.at_ms[0])


def test_a_light_that_is_dark_from_the_first_instant_changes_at_time_0() -> None:
    """The second change is at 10 ms, the third at 110, the eighth at 610."""
    span_ms, at_ms = span_and_start(1.0, [0.0, 1.0] * (TOO_MANY // 2))
    assert at_ms == 0.0
    assert span_ms == pytest.approx(610.0, abs=1e-4)


def test_a_light_that_rests_as_it_begins_changes_a_step_later() -> None:
    """At 10 ms, 110, and so on: the eighth at 710."""
    values = [1.0, 0.0] * (TOO_MANY // 2)
    span_ms, at_ms = span_and_start(1.0, [*values, 1.0])
    assert (span_ms, at_ms) == pytest.approx((700.0, 10.0), abs=1e-4)
    assert span_and_start(1.0, values) == (inf, 0.0), "seven changes are none too many"


def test_a_change_counts_where_its_own_way_gets_to_a_tenth() -> None:
    """Between dark and a half a tenth is a fifth of the way: at 20 ms, and so on; full is dark."""
    span_ms, at_ms = span_and_start(0.5, [0.0, 0.5] * (TOO_MANY // 2))
    assert at_ms == 0.0
    assert span_ms == pytest.approx(620.0, abs=1e-4)
