"""Motions and following, held against a second reading of TABLE.md, sections 3.2 and 10.2.

`tests/firmware_gen/second_player.py` and `second_tracking.py` are written from the page alone and
share no code with the tool.
"""

from __future__ import annotations

from dataclasses import dataclass

from hypothesis import example, given, settings
from hypothesis import strategies as st

from sim.model import Law, LawName
from sim.rehearsal.fixed_motion import FixedMotion, halt_motion, servo_limits, start_motion
from sim.rehearsal.tracking import FollowSpan, held_value, pace_limits, tracked
from sim.score.fixed_laws import FixedLaw, fixed_law
from tests.firmware_gen import second_player as second
from tests.firmware_gen.second_tracking import HeldFollow

NUMBERS: dict[LawName, int] = {
    "uniform": second.UNIFORM,
    "harmonic": second.HARMONIC,
    "3-4-5": second.FIFTH_DEGREE,
}
PEAKS = (0.375, 0.5, 0.625)

laws = st.tuples(st.sampled_from(list(NUMBERS)), st.sampled_from(PEAKS))


def both_laws(name: LawName, peak: float) -> tuple[FixedLaw, second.Law]:
    if name == "uniform":
        peak = 0.5
    law = Law(name, peak=peak)
    return fixed_law(law), second.Law(NUMBERS[name], peak=round(65536 * peak))


@dataclass
class Known(second.Motion):
    """A part with a speed."""

    speed: int = 0

    def at(self, t: int) -> tuple[int, int]:
        return self.target, self.speed


def fields(motion: FixedMotion | second.Motion) -> tuple[int, ...]:
    if isinstance(motion, FixedMotion):
        brake = motion.residual, motion.brake_start, motion.brake
    else:
        brake = motion.residual, motion.residual_start, motion.residual_time
    return (motion.target, motion.way, motion.start, motion.duration, *brake, motion.end)


places = st.integers(0, 6000 << 15) | st.sampled_from((0, 1 << 15, (6000 << 15) - 1, 6000 << 15))
speeds = st.integers(-(1 << 21), 1 << 21) | st.sampled_from((0, 1, 255, 256, -255, -256))


@settings(max_examples=150, deadline=None)
@given(
    places, speeds, st.integers(0, 6000), st.integers(0, 400_000), laws, st.integers(300, 30_000)
)
@example(3000 << 15, -400_000, 1000, 0, ("3-4-5", 0.5), 2000)
@example(3000 << 15, 400_000, 5000, 0, ("3-4-5", 0.375), 2000)
@example(100 << 15, -(1 << 20), 0, 0, ("harmonic", 0.625), 600)
def test_a_move_starts_brakes_and_goes_as_the_page_says(
    position: int, speed: int, goal: int, asked: int, stated: tuple[LawName, float], most: int
) -> None:
    law, other_law = both_laws(*stated)
    limits = servo_limits(400, most, (0, 6000))
    servo = second.Output(second.SERVO, high=6000 << 15, speed=400, acceleration=most)
    made = start_motion(limits, position, speed, 7777, goal << 15, asked, law)
    other = second.move(
        servo, Known(position, speed=speed), 7777, goal << 15, asked, other_law, None
    )
    assert fields(made) == fields(other)
    ends = made.end, made.start, made.brake_start, made.brake_start + made.brake
    times = {end + by for end in ends for by in (-256, -1, 0, 1, 256)}
    times |= {7777 + (made.end - 7777) * part // 9 for part in range(10)}
    for time in sorted(time for time in times if time >= 7777):
        assert made.state(time) == other.at(time), time


@settings(max_examples=100, deadline=None)
@given(places, speeds, st.integers(300, 30_000))
@example(100 << 15, -(1 << 20), 600)
@example(5900 << 15, 1 << 20, 600)
def test_what_is_held_brakes_as_the_page_says(position: int, speed: int, most: int) -> None:
    limits = servo_limits(400, most, (0, 6000))
    servo = second.Output(second.SERVO, high=6000 << 15, speed=400, acceleration=most)
    held = HeldFollow(0, False, 0, 0, 1023, 0, 1, 400, most, output=servo, place=(position, speed))
    assert fields(halt_motion(limits, position, speed, 7777)) == fields(held.halted(7777))


@settings(max_examples=150, deadline=None)
@given(
    st.integers(0, 6000 << 15),
    st.integers(-(1 << 22), 1 << 22),
    st.integers(0, 6000 << 15),
    st.tuples(st.integers(1, 30_000), st.integers(1, 30_000)),
    st.integers(1, 20_000),
)
@example(5990 << 15, 1 << 20, 6000 << 15, (400, 4000), 400)
@example(10 << 15, -(1 << 20), 0, (400, 4000), 400)
def test_a_part_that_follows_steps_as_the_page_says(
    position: int, speed: int, wanted: int, accelerations: tuple[int, int], most: int
) -> None:
    gain, hardest = sorted(accelerations)
    pace = pace_limits(most, gain, hardest, (0, 6000 << 15))
    servo = second.Output(second.SERVO, high=6000 << 15, speed=1, acceleration=hardest)
    held = HeldFollow(0, False, 0, 0, 1023, 0, 1, most, gain, output=servo)
    for _ in range(12):
        held.place = position, speed
        position, speed = tracked(pace, position, speed, wanted)
        assert (position, speed) == held.servo_step(wanted)


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.integers(0, 1023) | st.none(), min_size=1, max_size=8),
    st.tuples(st.integers(0, 500), st.integers(501, 1023)),
    st.tuples(st.integers(0, 200), st.integers(0, 200)),
)
def test_a_source_is_held_and_wants_a_place_as_the_page_says(
    values: list[int | None], ends: tuple[int, int], levels: tuple[int, int]
) -> None:
    lamp = second.Output(second.LAMP)
    other = HeldFollow(0, False, 0, *ends, *levels, 1, 0, output=lamp, since=0)
    span = FollowSpan(*ends, levels[0] << 8, levels[1] << 8)
    held: int | None = None
    for value in values:
        other.hear(value)
        held = None if value is None else held_value(value, held)
        assert held == other.value
        if held is not None:
            assert span.wanted(held) == other.wanted(0, 100, 0)
