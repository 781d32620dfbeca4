"""What a channel's pulses come to, at both sides of each limit: TABLE.md, section 9, by hand.

Pulses count in ticks of half a microsecond: good ones have 800 to 2200 us.
"""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from sim.rehearsal.channels import PressingBand, RadioChannel

GOOD = 10
"""Good pulses without a gap until a channel is live."""
MIDDLE = 3000
UP, DOWN = [(7, False)], [(7, True)]


def channel(low: int = 3400, high: int = 3800) -> RadioChannel:
    return RadioChannel((PressingBand(low, high, 7),))


def take(radio: RadioChannel, widths: Iterable[int]) -> list[list[tuple[int, bool]]]:
    return [radio.take(width) for width in widths]


@pytest.mark.parametrize(
    ("width", "is_good"), [(0, False), (1599, False), (1600, True), (4400, True), (4401, False)]
)
def test_a_good_pulse_has_800_to_2200_us(width: int, is_good: bool) -> None:
    radio = channel()
    take(radio, [width] * GOOD)
    assert radio.live == is_good
    assert radio.heard == is_good


def test_a_channel_is_live_with_the_tenth_good_pulse() -> None:
    radio = channel()
    take(radio, [MIDDLE] * (GOOD - 1))
    assert not radio.live
    radio.take(MIDDLE)
    assert radio.live


@pytest.mark.parametrize(("gap", "is_live"), [(0, True), (1, True), (3, True), (4, False)])
def test_three_missing_pulses_are_no_gap_and_four_are(gap: int, is_live: bool) -> None:
    radio = channel()
    take(radio, [MIDDLE] * (GOOD - 1) + [0] * gap + [MIDDLE])
    assert radio.live == is_live


def test_gaps_are_counted_one_by_one() -> None:
    """Three are missing twice; that is not six."""
    radio = channel()
    take(radio, [MIDDLE] * 4 + [0] * 3 + [MIDDLE] * 5 + [0] * 3 + [MIDDLE])
    assert radio.live


def test_a_live_channel_is_lost_in_the_25th_frame_without_a_pulse_and_lets_go() -> None:
    radio = channel()
    take(radio, [MIDDLE] * GOOD)
    assert take(radio, [3600, 3600]) == [[], DOWN]
    assert take(radio, [0] * 24) == [[]] * 24
    assert (radio.live, radio.heard) == (True, False)
    assert radio.take(0) == UP
    assert not radio.live
    # what it pressed before is forgotten: as it comes back it presses nothing
    assert take(radio, [3600] * (GOOD + 3)) == [[]] * (GOOD + 3)
    assert radio.live
    assert take(radio, [0] * 30) == [[]] * 30


def test_a_pulse_in_time_begins_the_count_anew() -> None:
    radio = channel()
    take(radio, [MIDDLE] * GOOD + [0] * 24 + [MIDDLE] + [0] * 24)
    assert radio.live


def test_the_value_is_the_middle_one_of_the_last_three_good_widths() -> None:
    radio = channel()
    take(radio, [MIDDLE] * GOOD)
    values = []
    for width in (3300, 3100, 0, 5000, 2000, 3200, 3150):
        radio.take(width)
        values.append(radio.value)
    assert values == [3000, 3100, 3100, 3100, 3100, 3100, 3150]


@pytest.mark.parametrize(
    ("width", "is_in"), [(3399, False), (3400, True), (3800, True), (3801, False)]
)
def test_a_band_is_entered_at_its_very_ends(width: int, is_in: bool) -> None:
    radio = channel()
    take(radio, [MIDDLE] * GOOD)
    assert take(radio, [width] * 3) == ([[], DOWN, []] if is_in else [[]] * 3)


@pytest.mark.parametrize(
    ("width", "leaves"), [(3349, True), (3350, False), (3850, False), (3851, True)]
)
def test_a_band_is_left_more_than_25_us_beyond_its_ends(width: int, leaves: bool) -> None:
    radio = channel()
    take(radio, [MIDDLE] * GOOD + [3600] * 3)
    assert take(radio, [width] * 3) == ([[], UP, []] if leaves else [[]] * 3)


def test_what_stands_in_a_band_from_the_start_presses_only_when_it_comes_back() -> None:
    radio = channel()
    assert take(radio, [3600] * (GOOD + 3)) == [[]] * (GOOD + 3)
    assert take(radio, [MIDDLE] * 3) == [[]] * 3
    assert take(radio, [3600] * 3) == [[], DOWN, []]
    assert take(radio, [MIDDLE] * 3) == [[], UP, []]


def test_of_two_bands_each_has_a_button_of_its_own() -> None:
    radio = RadioChannel((PressingBand(3400, 3800, 7), PressingBand(2000, 2600, 9)))
    take(radio, [MIDDLE] * GOOD)
    assert take(radio, [3600] * 3 + [2300] * 2) == [[], DOWN, [], [], [(7, False), (9, True)]]
