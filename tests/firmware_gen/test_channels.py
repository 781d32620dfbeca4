"""A radio's channels (TABLE.md, section 9): three players, and receivers at the edge of range."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest
from hypothesis import given, settings

from firmware_gen.chips.atmega2560 import CHIP
from firmware_gen.player.channels import Channels
from firmware_gen.player.player import Player
from firmware_gen.table.encode import encode
from firmware_gen.table.records import BandRecord, ChannelRecord
from sim.rulebook import CHANNEL_GOOD, CHANNEL_LOST_FRAMES, CHANNEL_SLACK
from tests.firmware_gen.host.boards import ApartPlayer
from tests.firmware_gen.host.core import available
from tests.firmware_gen.random_tables import (
    dices,
    random_requests,
    random_table,
    with_presses,
)
from tests.firmware_gen.second_presses import SecondPlayerWithSenses
from tests.firmware_gen.test_following import asked

BUTTON = 5
BAND = BandRecord(0, 3400, 4200, BUTTON)
"""1700 to 2100 us."""
SENSES = (ChannelRecord(CHIP.pin("PL0")), BAND)
DOWN, UP = (BUTTON, True), (BUTTON, False)


def live(width: int = 3000) -> Channels:
    channels = Channels(SENSES)
    assert played(channels, *[width] * (CHANNEL_GOOD + 3)) == []
    return channels


def played(channels: Channels, *widths: int) -> list[tuple[int, bool]]:
    return [one for width in widths for one in channels.frame([width])]


def test_a_channel_that_enters_its_band_presses_and_leaves_it_later() -> None:
    channels = live()
    assert played(channels, 3399, 3399, 3399) == []
    assert played(channels, 3400, 3400, 3400) == [DOWN]
    assert played(channels, *[3400 - CHANNEL_SLACK] * 9) == []
    assert played(channels, *[3400 - CHANNEL_SLACK - 1] * 3) == [UP]
    assert played(channels, *[3400 - 1] * 9) == []


def test_a_channel_that_trembles_about_the_edge_of_a_band_presses_once() -> None:
    """Receivers tremble by a few us; here it is ten."""
    dice = Random(3)
    channels = live()
    found = played(channels, *(3400 + dice.randint(-20, 20) for _ in range(2000)))
    assert found == [DOWN]


def test_one_wrong_pulse_presses_nothing() -> None:
    channels = live()
    for wrong in (3800, 4399, 1600, 0, 9000, 65535):
        assert played(channels, wrong, 3000, 3000, 3000) == []


@pytest.mark.parametrize("missing", [0.1, 0.3, 0.5, 0.7])
def test_pulses_that_are_missed_at_random_press_and_release_nothing(missing: float) -> None:
    """Ten minutes at the edge of range, the stick held in the band and then out of it."""
    dice = Random(7)
    for held, start in ((True, 3800), (False, 3000)):
        channels = live()
        first = played(channels, *[start] * 3)
        assert first == ([DOWN] if held else [])
        frames = (0 if dice.random() < missing else start for _ in range(30_000))
        assert played(channels, *frames) == []


def test_a_silent_channel_lets_go_once_and_what_it_holds_when_it_returns_presses_nothing() -> None:
    channels = live()
    assert played(channels, 3800, 3800) == [DOWN]
    assert played(channels, *[0] * (CHANNEL_LOST_FRAMES - 1)) == []
    assert channels.heard is False
    assert played(channels, 0) == [UP]
    assert played(channels, *[0] * 100) == []
    assert played(channels, *[3800] * 100) == []
    assert played(channels, *[3000] * 3) == []
    assert played(channels, *[3800] * 3) == [DOWN]


def test_a_channel_that_comes_and_goes_is_not_live() -> None:
    """Nine good pulses and four frames of nothing, for ever."""
    channels = Channels(SENSES)
    burst = [3000] * 4 + [3800] * 5 + [0] * 4
    assert played(channels, *burst * 100) == []


def test_pulses_every_25_ms_are_no_gaps() -> None:
    channels = Channels(SENSES)
    pattern = [3000, 3000, 3000, 3000, 0]
    assert played(channels, *pattern * 20) == []
    assert played(channels, *[3800 if one else 0 for one in pattern] * 4) == [DOWN]


def _width(dice: Random, last: int) -> int:
    what = dice.random()
    if what < 0.15:
        return 0
    if what < 0.2:
        return dice.randrange(65536)
    if what < 0.3:
        return dice.choice((1599, 1600, 2000, 2950, 3000, 3050, 3400, 4400, 4401))
    return last + dice.randint(-30, 30)


@pytest.mark.skipif(not available(), reason="there is no C compiler")
@pytest.mark.parametrize("seed", range(16))
def test_the_core_hears_channels_as_the_reference_does(seed: int) -> None:
    dice = Random(seed)
    table = with_presses(dice, replace(random_table(dice, CHIP), lost_time=3))
    count = sum(isinstance(one, ChannelRecord) for one in table.senses)
    reference, core = Player(table), ApartPlayer(table)
    widths = [3000] * count
    silent = 0
    for number in range(500):
        silent = max(0, silent - 1) if dice.random() < 0.99 else dice.choice((5, 24, 25, 26, 60))
        for channel in range(count):
            width = 0 if silent else _width(dice, widths[channel])
            widths[channel] = width if 1500 < width < 4500 else widths[channel]
            reference.channel(channel, width)
            core.channel(channel, width)
        assert reference.frame().raw == core.frame(), f"frame {number}"
        assert core.end[1:4] == [reference.live_runs, reference.running_cues, reference.refused]


@given(dices())
@settings(max_examples=20, deadline=None)
def test_the_second_player_hears_channels_as_the_reference_does(dice: Random) -> None:
    table = with_presses(dice, random_table(dice, CHIP))
    reference, second = Player(table), SecondPlayerWithSenses(encode(table))
    requests = [one for one in random_requests(dice, table, 200) if one[1] != "trigger"]
    count = len(second.channels)
    last = [3000] * count
    for number in range(200):
        widths = [_width(dice, one) for one in last]
        last = [w if 1500 < w < 4500 else one for w, one in zip(widths, last, strict=True)]
        now = [one[1:] for one in requests if one[0] == number]
        for one in now:
            asked(reference, *one)
        for channel, width in enumerate(widths):
            reference.channel(channel, width)
        assert reference.frame().raw == second.frame(now, widths), f"frame {number}"
