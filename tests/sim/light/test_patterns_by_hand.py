"""What of an effect's beats is looked at, and what of its light counts, worked by hand.

A saturated red has eight tenths of all its linear light in red (WCAG 2.2, red flash).
"""

from __future__ import annotations

from math import ceil

import numpy as np
import pytest

from sim.light.patterns import (
    FIRST_COLUMN_BEATS,
    FIRST_LOOK_BEATS,
    HOP_PARTS,
    TOO_CLOSE_MS,
    _first_look,
    _gliding,
    _redness,
)
from sim.model import Effect


def test_a_light_is_saturated_red_from_eight_tenths_of_its_own_light_on_and_dark_is_not() -> None:
    red = np.array([0.0, 0.8, 0.79, 0.08, 0.0])
    whole = np.array([0.0, 1.0, 1.0, 0.1, 1.0])
    assert _redness(red, whole).tolist() == [0.0, 1.0, 0.5, 1.0, 0.5]


def test_a_gliding_spot_is_the_mean_over_one_hop_and_a_still_one_itself() -> None:
    hop = np.zeros((1, 2 * HOP_PARTS, 1))
    hop[0, 0] = 1.0
    found = _gliding(hop)[0, :, 0].tolist()
    assert found == [1.0 / HOP_PARTS] * HOP_PARTS + [0.0] * HOP_PARTS
    still = np.full((2, 1, 3), 0.7)
    assert _gliding(still).tolist() == still.tolist()


@pytest.mark.parametrize("name", ["breathe", "run"])
def test_of_beats_that_are_alike_a_second_and_three_are_looked_at(name: str) -> None:
    effect = Effect("lure", name, 300)  # type: ignore[arg-type]
    enough = ceil(TOO_CLOSE_MS / 300) + 3
    for beats, looked_at in ((enough - 1, enough - 1), (enough, enough), (1000, enough)):
        assert _first_look(effect, beats) == (looked_at, looked_at)


def test_of_beats_that_differ_more_are_looked_at() -> None:
    effect = Effect("lure", "ember", 300)
    assert _first_look(effect, 10_000_000) == (FIRST_LOOK_BEATS, FIRST_COLUMN_BEATS)
    assert _first_look(effect, 3) == (3, FIRST_COLUMN_BEATS)
