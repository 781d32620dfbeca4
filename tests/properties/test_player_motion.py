"""A move keeps position, speed and every limit, whatever it interrupts."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_gen.player.pulses import PulseLine
from firmware_gen.table.laws import law_by_id
from firmware_gen.table.records import ServoRecord
from sim.rehearsal.fixed_motion import FixedMotion, servo_limits, start_motion
from sim.rehearsal.takeover import ServoLimits, least_time
from sim.rulebook import ANGLE_BITS
from sim.score.fixed_laws import FixedLaw
from tests.firmware_gen.random_tables import dices

ONE_DEG = 100 << ANGLE_BITS
SPEED_BITS = ANGLE_BITS
PER_DEG_S = (1 << SPEED_BITS) / 10
"""Speed in the player's unit (0.01 deg per ms, Q15) of one degree a second."""
SHAPES = st.one_of(
    st.integers(1, 8).filter(lambda n: n != 2).map(law_by_id),
    st.integers(2000, 32768).map(lambda alpha: law_by_id(2, alpha)),
    st.tuples(st.integers(4000, 32768), st.integers(1000, 32768)).map(
        lambda pair: law_by_id(9, *pair)
    ),
)


@dataclass(frozen=True)
class Part:
    """A servo and the laws and limits to try it with."""

    record: ServoRecord

    @property
    def limits(self) -> ServoLimits:
        one = self.record
        return servo_limits(one.speed_limit, one.acceleration_limit, one.travel)

    @property
    def speed(self) -> float:
        return self.record.speed_limit * PER_DEG_S

    @property
    def acceleration(self) -> float:
        """Speed units per ms."""
        return self.record.acceleration_limit * PER_DEG_S / 1000


PARTS = st.builds(
    lambda low, span, speed, acceleration: Part(
        ServoRecord(
            1,
            (low, low + span),
            speed,
            acceleration,
            low,
            ((low - 100, 1200), (low + span + 100, 4300)),
        )
    ),
    st.integers(-16000, 0),
    st.integers(500, 16000),
    st.integers(20, 900),
    st.integers(100, 20000),
)


def chain(part: Part, laws: list[FixedLaw], data: st.DataObject) -> list[tuple[int, FixedMotion]]:
    """Moves one after another, each begun somewhere within the one before; (start, motion)."""
    low, high = part.record.travel
    p, v, time = low << ANGLE_BITS, 0, 0
    chained: list[tuple[int, FixedMotion]] = []
    for law in laws:
        target = data.draw(st.integers(low, high)) << ANGLE_BITS
        nominal = data.draw(st.integers(0, 400_000))
        motion = start_motion(part.limits, p, v, time, target, nominal, law)
        chained.append((time, motion))
        time = data.draw(st.integers(time, motion.end))
        p, v = motion.state(time) if time < motion.end else (motion.target, 0)
    return chained


def sampled(
    start: int, motion: FixedMotion, until: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times (ms), positions and speeds of a motion, from its start on."""
    times = np.unique(np.linspace(start, min(until, motion.end - 1), 300).astype(int))
    states = [motion.state(int(time)) for time in times]
    return times / 256, np.array([p for p, _ in states]), np.array([v for _, v in states])


@given(PARTS, st.lists(SHAPES, min_size=2, max_size=5), st.data())
@settings(max_examples=150)
def test_speed_acceleration_and_travel_keep_their_limits(
    part: Part, laws: list[FixedLaw], data: st.DataObject
) -> None:
    low, high = (angle << ANGLE_BITS for angle in part.record.travel)
    for start, motion in chain(part, laws, data):
        times, positions, speeds = sampled(start, motion, motion.end)
        assert np.abs(speeds).max() <= part.speed * 1.003 + 40
        assert positions.min() >= low - ONE_DEG // 50
        assert positions.max() <= high + ONE_DEG // 50
        if times.size > 1:
            gained = np.abs(np.diff(speeds))
            # a speed is known to some units of the last place of slope and progress
            grain = 6e-4 * part.speed + 40
            assert (gained <= part.acceleration * np.diff(times) * 1.01 + grain).all()


@given(PARTS, st.lists(SHAPES, min_size=2, max_size=4), st.data())
@settings(max_examples=150)
def test_position_and_speed_go_on_where_they_were(
    part: Part, laws: list[FixedLaw], data: st.DataObject
) -> None:
    low, high = part.record.travel
    # a position is known to some 1/65536 of the way; a brake that must end at the travel's end
    # takes that for speed, v = sqrt(2 a x)
    blur = ((high - low) << SPEED_BITS) / 30000
    for (_, motion), (start, follower) in pairwise(chain(part, laws, data)):
        p, v = motion.state(start) if start < motion.end else (motion.target, 0)
        after_p, after_v = follower.state(start)
        assert abs(after_p - p) <= 1
        # the brake's time is cut to 1/256 ms
        assert abs(after_v - v) <= part.acceleration / 128 + (2 * part.acceleration * blur) ** 0.5


@given(PARTS, SHAPES, st.data())
@settings(max_examples=150)
def test_a_move_from_rest_takes_its_time_or_as_long_as_the_limits_ask(
    part: Part, law: FixedLaw, data: st.DataObject
) -> None:
    low, high = part.record.travel
    here, there = (data.draw(st.integers(low, high)) << ANGLE_BITS for _ in range(2))
    nominal = data.draw(st.integers(256, 1_000_000))
    motion = start_motion(part.limits, here, 0, 1000, there, nominal, law)
    way_deg = abs(there - here) / ONE_DEG
    by_speed_ms = 1000 * law.cv / 4096 * way_deg / part.record.speed_limit
    by_acceleration_ms = 1000 * (law.ca / 4096 * way_deg / part.record.acceleration_limit) ** 0.5
    wanted = max(nominal, 256 * by_speed_ms, 256 * by_acceleration_ms)
    assert abs(motion.end - 1000 - wanted) <= 2 + 2e-4 * wanted
    assert motion.state(motion.end - 1)[0] - there <= abs(there - here) / 64 + 8
    assert motion.position(1000) == here


@given(st.integers(1, 65535), st.integers(1, 2**31), st.integers(4 * 4096, 2**23))
@settings(max_examples=500)
def test_the_time_by_an_acceleration_is_known_to_a_few_parts_in_ten_thousand(
    limit: int, way: int, ca: int
) -> None:
    # No law has less than Ca = 4. T = sqrt(Ca way / limit) in 1/256 ms; limit in deg/s^2
    ideal = 256_000 * (ca / 4096 * way / ONE_DEG / limit) ** 0.5
    assert -2e-4 * ideal <= least_time(limit, way, ca) - ideal <= 1 + 1e-9 * ideal


@given(PARTS, SHAPES, st.data())
@settings(max_examples=100)
def test_a_target_ahead_is_reached_without_turning_back(
    part: Part, law: FixedLaw, data: st.DataObject
) -> None:
    if law.overlap == 0:
        return
    low, high = part.record.travel
    first = start_motion(
        part.limits, low << ANGLE_BITS, 0, 0, high << ANGLE_BITS, 200_000, law_by_id(5)
    )
    time = data.draw(st.integers(first.end // 5, first.end // 2))
    p, v = first.state(time)
    second = start_motion(part.limits, p, v, time, high << ANGLE_BITS, 300_000, law)
    if second.start != time:
        return  # the brake alone would pass the target
    _, _, speeds = sampled(time, second, second.end)
    assert (speeds >= 0).all()


@given(PARTS, dices())
@settings(max_examples=60)
def test_pulses_follow_the_calibration_to_half_a_tick(part: Part, dice) -> None:
    count = dice.randint(2, 8)
    low, high = part.record.travel
    inner = sorted(dice.sample(range(low, high), count - 2)) if count > 2 else []
    angles = [low - 100, *inner, high + 100]
    pulses = sorted(dice.sample(range(800, 5201), count), reverse=dice.random() < 0.5)
    line = PulseLine(
        ServoRecord(1, part.record.travel, 1, 1, low, tuple(zip(angles, pulses, strict=True)))
    )
    for _ in range(50):
        p = dice.randint(low << ANGLE_BITS, high << ANGLE_BITS)
        ideal = np.interp(p / (1 << ANGLE_BITS), angles, pulses)
        steepest = max(
            abs(b - a) / (d - c)
            for (a, b), (c, d) in zip(pairwise(pulses), pairwise(angles), strict=True)
        )
        assert abs(line.ticks(p) - ideal) <= 0.5 + steepest / 8 + 1e-6
    assert line.ticks((high + 5000) << ANGLE_BITS) == line.ticks(high << ANGLE_BITS)
    assert line.ticks((low - 5000) << ANGLE_BITS) == line.ticks(low << ANGLE_BITS)
