"""Fuses against the trade's rules.

75 % of the rating for long at 25 deg C: fuse makers' guides (circuitprotection.ca/fuseology, read).
UL 248-14 test points, 135 % up to an hour, 200 % up to two minutes to 30 A: a fuse maker's
selection guide (read). Blade ratings: ISO 8820-3, from memory.
"""

from __future__ import annotations

import pytest

from sim.rig.fuse import CARRIES_FOR_AN_HOUR, CONTINUOUS, OPENS_IN_MINUTES, fuse_for


def test_a_five_ampere_fuse_carries_three_and_three_quarters_for_long() -> None:
    assert 5.0 * CONTINUOUS == 3.75
    assert fuse_for(3.75, 0.0).rating_a == 5.0
    assert fuse_for(3.76, 0.0).rating_a == 7.5


def test_test_points_are_the_standard_s() -> None:
    assert CARRIES_FOR_AN_HOUR == 1.35
    assert OPENS_IN_MINUTES == 2.0


def test_peaks_and_a_starting_servo_raise_the_rating() -> None:
    assert fuse_for(0.5, 6.0).rating_a == 5.0
    assert fuse_for(0.5, 1.0, start_a=9.0).rating_a == 5.0


def test_a_fuse_that_would_not_protect_the_wire_is_not_proposed() -> None:
    refused = fuse_for(4.0, 6.0, wire_carries_a=3.5)
    assert refused.rating_a is None
    assert "7.5 A" in refused.reason
    assert "3.5 A" in refused.reason
    assert fuse_for(4.0, 6.0, wire_carries_a=11.0).rating_a == 7.5


def test_a_load_beyond_the_largest_blade_fuse_is_told() -> None:
    found = fuse_for(40.0, 40.0)
    assert found.rating_a is None
    assert "53.3 A" in found.reason


@pytest.mark.parametrize("rms", [0.1, 1.0, 3.0, 11.0])
def test_the_proposed_fuse_is_the_least_that_serves(rms: float) -> None:
    rating = fuse_for(rms, rms).rating_a
    assert rating is not None
    assert rating * CONTINUOUS >= rms
