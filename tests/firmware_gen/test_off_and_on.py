"""A part loses its power at any moment of a cue, on the core: limits hold, nobody else notices."""

from __future__ import annotations

import pytest

from tests.firmware_gen.host.core import available
from tests.firmware_gen.off_and_on import (
    CUE,
    OFF_AT,
    PART,
    PICTURE,
    Rows,
    fastest,
    picture,
    play,
    twin,
)
from tests.firmware_gen.test_following import FASTEST

pytestmark = pytest.mark.skipif(not available(), reason="there is no C compiler")

TENTH_DEG = 5
"""Ticks."""


def assert_quiet_and_joined(rows: Rows, off_at: int, off_for: int) -> None:
    assert fastest(rows) <= FASTEST
    others = [n for n in range(len(rows[0])) if n != PART]
    for row, other in zip(rows, twin(), strict=True):
        assert [row[n] for n in others] == [other[n] for n in others]
    assert all(rows[off_at + n][PART] == 0 for n in range(off_for))
    late = zip(rows[-100:], twin()[-100:], strict=True)
    assert max(abs(one[PART] - other[PART]) for one, other in late) <= TENTH_DEG


@pytest.mark.parametrize("off_at", range(0, CUE, 15))
def test_a_part_that_loses_its_power_in_a_cue_joins_it_again(off_at: int) -> None:
    assert_quiet_and_joined(play(off_at), off_at, 10)


@pytest.mark.long
@pytest.mark.parametrize("off_for", [1, 10, 90])
def test_a_part_may_lose_its_power_in_every_frame_of_a_cue(off_for: int) -> None:
    for off_at in range(CUE):
        assert_quiet_and_joined(play(off_at, off_for), off_at, off_for)


def test_the_picture_of_it_is_the_one_that_the_core_plays() -> None:
    assert PICTURE.read_text("utf-8") == picture()
    assert play(OFF_AT)[OFF_AT][PART] == 0
