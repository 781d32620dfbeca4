"""A jog on a board that was stopped as soon as it had power (TABLE.md, 2.8)."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from firmware_gen.link.protocol import ReportedMode
from firmware_gen.player.player import Player
from tests.firmware_gen.test_following import boards

HELD = 50
"""Frames of the rest that follows a jog that was ended."""


def frames(player: Player, count: int) -> None:
    for _ in range(count):
        player.frame()


@pytest.mark.parametrize("ends", [Player.stop, Player.limp])
def test_a_stop_in_the_first_frame_ends_no_jog_so_none_has_to_wait(
    ends: Callable[[Player], None],
) -> None:
    player = Player(boards(1)[0])
    ends(player)
    frames(player, 1)
    while player.mode != ReportedMode.LIMP:
        player.frame()
    assert player.jog(0, 4000)


@pytest.mark.parametrize("ends", [Player.stop, Player.limp])
def test_a_stop_that_ends_a_jog_is_followed_by_a_rest_of_50_frames(
    ends: Callable[[Player], None],
) -> None:
    player = Player(boards(1)[0])
    player.limp()
    frames(player, 2)
    assert player.jog(0, 4000)
    frames(player, 1)
    ends(player)
    taken = []
    for _ in range(HELD + 5):
        player.frame()
        taken.append(player.jog(0, 4000))
        if taken[-1]:
            break
    assert taken == [False] * (HELD - 1) + [True]


def test_a_jog_lasts_50_frames_and_a_stop_after_it_ends_none() -> None:
    for lasts, rests in ((HELD - 1, True), (HELD, False)):
        player = Player(boards(1)[0])
        player.limp()
        frames(player, 2)
        assert player.jog(0, 4000)
        frames(player, lasts - 1)
        player.limp()
        frames(player, 1)
        assert player.jog(0, 4000) is not rests
