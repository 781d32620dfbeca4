"""A rehearsal of boards that follow is what they play, whatever is pressed and steered in one take.

The board that leads tells of one run a frame. So of two cues that a stick and a button start
together, the others hear one after the other, and begin the second a frame late. A board also
hears of some only when it is ready itself. `compare` plays the compiled tables.
"""

from __future__ import annotations

from dataclasses import replace
from math import inf
from random import Random

import numpy as np
import pytest
from led_shows import led_show, led_take
from played_both_ways import compare

from sim.rehearsal import rehearse
from sim.rehearsal.trajectories import Trajectories

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


def assert_followed_alike(whole: Trajectories, short: Trajectories) -> None:
    """Where what follows has come to rest, its places are not written down again."""
    assert whole.followed.keys() == short.followed.keys()
    for name, spans in whole.followed.items():
        for one, other in zip(spans, short.followed[name], strict=True):
            assert (one.times_ms[0], one.end_ms) == (other.times_ms[0], other.end_ms)
            times = np.array(one.times_ms)
            for row, less in zip(one.motion(times), other.motion(times), strict=True):
                assert row == pytest.approx(less, abs=1e-6)


@pytest.mark.parametrize("seed", range(40, 52))
def test_frames_in_which_nothing_can_happen_are_left_out_without_a_trace(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    dice = Random(seed)
    show = led_show(dice)
    take = led_take(show, dice, LENGTH_MS)
    played: list[int] = []
    frame = rehearse._PlayedBoard.frame

    def counted(board: rehearse._PlayedBoard, number: int) -> None:
        played.append(number)
        frame(board, number)

    monkeypatch.setattr(rehearse._PlayedBoard, "frame", counted)
    short = rehearse.rehearse(show, take, 10 * LENGTH_MS)
    frames = len(played)
    monkeypatch.setattr(rehearse, "RUNS", inf)  # so none is left out
    whole = rehearse.rehearse(show, take, 10 * LENGTH_MS)
    assert replace(whole, followed={}) == replace(short, followed={})
    assert_followed_alike(whole, short)
    assert len(played) > 2 * frames


@pytest.mark.long
def test_all_boards_of_very_many_led_shows_play_what_is_rehearsed() -> None:
    for seed in range(1000, 3000):
        assert_rehearsed(seed)
