"""A rehearsal of boards that follow is what they play, whatever is pressed and steered in one take.

The board that leads tells of one run a frame. So of two cues that a stick and a button start
together, the others hear one after the other, and begin the second a frame late. A board also
hears of some only when it is ready itself. `compare` plays the compiled tables.
"""

from __future__ import annotations

from random import Random

import pytest
from led_shows import led_show, led_take
from played_both_ways import compare

TICK_US = 0.5
LENGTH_MS = 8000


def assert_rehearsed(seed: int) -> None:
    dice = Random(seed)
    show = led_show(dice)
    found = compare(show, led_take(show, dice, LENGTH_MS), LENGTH_MS)
    assert found.at == [], seed
    assert found.pulse_us <= TICK_US, seed
    assert found.lamp < 0.002, seed


@pytest.mark.parametrize("seed", range(24))
def test_all_boards_of_a_led_show_play_what_is_rehearsed(seed: int) -> None:
    assert_rehearsed(seed)


@pytest.mark.long
def test_all_boards_of_very_many_led_shows_play_what_is_rehearsed() -> None:
    for seed in range(1000, 3000):
        assert_rehearsed(seed)
