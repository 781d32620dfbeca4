"""A part that follows a source, whatever the source does (TABLE.md, section 10)."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from sim.rehearsal.tracking import (
    FollowSpan,
    PaceLimits,
    held_value,
    pace_limits,
    stepped,
    tracked,
)
from sim.rulebook import ANGLE_BITS, FOLLOW_PLAY, FRAME_MS

FRAME_S = FRAME_MS / 1000.0
UNIT = 100 << ANGLE_BITS
"""Positions in a degree."""

limits = st.tuples(st.integers(1, 65535), st.integers(1, 65535)).map(sorted)


@st.composite
def followers(draw: st.DrawFn) -> tuple[PaceLimits, int, int]:
    """Limits, and a speed (deg/s) and an acceleration (deg/s2) that they state."""
    low = draw(st.integers(-32768, 32767))
    high = draw(st.integers(low, 32767))
    speed = draw(st.sampled_from((1, 60, 400, 3000, 65535)) | st.integers(1, 65535))
    acceleration, hardest = draw(limits)
    travel = low << ANGLE_BITS, high << ANGLE_BITS
    return pace_limits(speed, acceleration, hardest, travel), speed, acceleration


def way_to_halt(speed: int, gain: int) -> int:
    """How far a part goes that loses `gain` of its speed in each frame, the rest in the last."""
    steps = speed // gain
    return 10 * (speed + steps * (2 * speed - (steps + 1) * gain))


def places(one: PaceLimits) -> st.SearchStrategy[int]:
    return st.sampled_from((one.low, one.high)) | st.integers(one.low, one.high)


@given(followers(), st.data())
@settings(max_examples=300, deadline=None)
def test_a_part_that_follows_keeps_to_speed_acceleration_and_travel_whatever_is_wanted(
    follower: tuple[PaceLimits, int, int], data: st.DataObject
) -> None:
    one, speed_deg_s, acceleration_deg_s2 = follower
    position, speed = data.draw(places(one)), 0
    wanted = data.draw(
        st.lists(st.tuples(places(one), st.integers(1, 30)), min_size=1, max_size=12)
    )
    for target, frames in wanted:
        for _ in range(frames):
            before, was = position, speed
            position, speed = tracked(one, position, speed, target)
            assert one.low <= position <= one.high
            assert abs(speed) * 1000 / UNIT <= speed_deg_s
            assert abs(speed - was) * 1000 / UNIT <= acceleration_deg_s2 * FRAME_S
            assert position - before == 10 * (was + speed)  # as speed grows evenly: no jump


@given(followers(), st.data())
@settings(max_examples=300, deadline=None)
def test_a_part_goes_to_where_it_is_wanted_never_beyond_and_stays(
    follower: tuple[PaceLimits, int, int], data: st.DataObject
) -> None:
    one, speed_deg_s, acceleration_deg_s2 = follower
    position, speed = data.draw(places(one)), 0
    target = data.draw(places(one))
    start = position
    way_deg = abs(target - start) / UNIT
    quickest_s = way_deg / speed_deg_s + 2 * (way_deg / acceleration_deg_s2) ** 0.5
    for _ in range(min(4000, 10 + int(1.1 * quickest_s / FRAME_S))):
        position, speed = tracked(one, position, speed, target)
        assert min(start, target) <= position <= max(start, target)
    if quickest_s < 60:
        assert speed == 0
        assert abs(target - position) < 20
        assert tracked(one, position, 0, target) == (position, 0)


@given(followers(), st.data())
@settings(max_examples=300, deadline=None)
def test_a_part_that_comes_too_fast_brakes_harder_and_stays_in_its_travel(
    follower: tuple[PaceLimits, int, int], data: st.DataObject
) -> None:
    one, _, _ = follower
    position = data.draw(places(one))
    room = one.high - position
    most = 0
    while way_to_halt(most + one.hard_gain // 4 + 1, one.hard_gain) <= room and most < 1 << 26:
        most += one.hard_gain // 4 + 1
    speed = data.draw(st.integers(0, most))
    for _ in range(80):
        was = speed
        position, speed = tracked(one, position, speed, data.draw(places(one)))
        assert one.low <= position <= one.high
        assert was - speed <= one.hard_gain
        assert speed - was <= one.gain


@given(st.integers(0, 5000), st.lists(st.integers(-FOLLOW_PLAY, FOLLOW_PLAY)))
def test_a_source_that_trembles_moves_nothing(value: int, tremble: list[int]) -> None:
    held = held_value(value, None)
    assert all(held_value(value + by, held) == held for by in tremble)


@given(st.lists(st.integers(1600, 4400), min_size=1))
def test_a_source_that_moves_is_never_further_off_than_its_play(values: list[int]) -> None:
    held = None
    for value in values:
        held = held_value(value, held)
        assert abs(held - value) <= FOLLOW_PLAY


@given(
    st.integers(0, 4400),
    st.integers(1, 2800),
    *[st.integers(-(2**30), 2**30)] * 2,
    st.integers(0, 9000),
)
def test_what_is_wanted_goes_in_proportion_and_no_further_than_both_ends(
    low: int, width: int, one: int, other: int, value: int
) -> None:
    span = FollowSpan(low, low + width, one, other)
    wanted = span.wanted(value)
    assert min(one, other) <= wanted <= max(one, other)
    assert (span.wanted(low), span.wanted(low + width)) == (one, other)
    share = min(1.0, max(0.0, (value - low) / width))
    assert abs(wanted - (one + (other - one) * share)) <= abs(other - one) / 65536 + 1


@given(st.integers(0, 51200), st.integers(0, 51200), st.integers(1, 65535))
def test_a_lamp_that_follows_changes_by_its_step_at_most(at: int, wanted: int, most: int) -> None:
    level = at
    for _ in range(3):
        new = stepped(level, wanted, most)
        assert abs(new - level) <= most
        assert abs(wanted - new) == max(0, abs(wanted - level) - most)
        level = new
