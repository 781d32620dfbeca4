"""The player's motions and effects at single instants, worked by hand from TABLE.md, section 3."""

from __future__ import annotations

import pytest

from firmware_gen.player.light import PlayedLight, RunningEffect, StripPainter
from firmware_gen.player.outputs import TableOutputs
from firmware_gen.player.pulses import PulseLine
from firmware_gen.table.laws import law_by_id
from firmware_gen.table.layout import EFFECTS, ORDERS
from firmware_gen.table.ops import ActOp, Modulate, Turn
from firmware_gen.table.records import ServoRecord, StripRecord
from sim.light.effects import FULL, noise
from sim.model import MINIMUM_JERK, Fade, Move, Throw
from sim.rehearsal.fixed_motion import FixedMotion
from sim.rehearsal.outputs import OutputRows
from sim.rulebook import ANGLE_BITS
from tests.firmware_gen.tables_by_hand import LAMP, SWITCH, table
from tests.sim.small_shows import show_of

UNIFORM = law_by_id(0)
MS = 256
"""Units of the clock in a millisecond."""

# -- motions --------------------------------------------------------------------------------------

WAITING = FixedMotion(
    target=3_000_000,
    way=2_000_000,
    start=100 * MS,
    duration=400 * MS,
    law=UNIFORM,
    residual=-65_536,
    brake_start=60 * MS,
    brake=40 * MS,
    end=500 * MS,
)
"""A uniform move of 2,000,000 after a brake that still goes 65,536 the other way."""


def test_a_motion_that_waits_brakes_to_where_the_move_starts() -> None:
    """The way left of a brake is that of y squared, y the share of its time that is left."""
    start = WAITING.target - WAITING.way
    assert WAITING.position(60 * MS) == start + 65_536
    assert WAITING.position(80 * MS) == start + 16_384
    assert WAITING.position(90 * MS) == start + 4_096
    assert WAITING.position(100 * MS) == start


def test_a_brake_s_speed_falls_in_a_straight_line_the_way_it_goes() -> None:
    """Twice its way over its time at first: 2 * 65,536 / 40 ms, half of it half-way."""
    for at_ms, speed in ((60, 3276), (80, 1638), (90, 819)):
        assert WAITING.state(at_ms * MS)[1] == pytest.approx(-speed, abs=1)


def test_a_uniform_move_has_no_speed_before_it_starts_and_all_of_it_after() -> None:
    """2,000,000 in 400 ms are 5,000 a ms; the law's slope is 1 from its first instant on."""
    assert WAITING.state(100 * MS)[1] == 0
    assert WAITING.state(100 * MS + 1)[1] == pytest.approx(5_000, abs=1)
    assert WAITING.state(500 * MS - 1)[1] == pytest.approx(5_000, abs=1)
    assert WAITING.state(500 * MS)[1] == 0


def test_a_move_is_at_its_target_when_its_duration_is_over() -> None:
    """A quarter of the way after a quarter of the time."""
    assert WAITING.position(200 * MS) == pytest.approx(1_500_000, abs=1)
    assert WAITING.position(500 * MS) == 3_000_000
    assert WAITING.position(900 * MS) == 3_000_000


def test_a_brake_lies_over_a_move_that_swells_meanwhile() -> None:
    both = FixedMotion(8_000, 8_000, 0, 100 * MS, UNIFORM, 400, 0, 50 * MS, 100 * MS)
    # half of the brake's time: a quarter of its way is left
    assert both.position(25 * MS) == pytest.approx(2_000 - 100, abs=1)
    assert both.state(25 * MS)[1] == pytest.approx(8_000 / 100 + 400 / 50, abs=1)


SERVO = ServoRecord(1, (-1000, 2000), 300, 3000, 0, ((-2000, 1000), (0, 2000), (3000, 5000)))


@pytest.mark.parametrize(
    ("angle", "ticks"),
    [
        # 1000 ticks below 0 over 20 deg, 3000 above it over 30 deg; the travel ends at -10 and 20
        (-2000, 1500),
        (-1000, 1500),
        (-500, 1750),
        (0, 2000),
        (1, 2001),
        (1500, 3500),
        (2000, 4000),
        (2500, 4000),
    ],
)
def test_a_pulse_is_that_of_its_segment_within_the_travel(angle: int, ticks: int) -> None:
    assert PulseLine(SERVO).ticks(angle << ANGLE_BITS) == ticks


# -- effects --------------------------------------------------------------------------------------


def effect(name: str, depth: int = 200, pixels: int = 1, width: int = 0) -> RunningEffect:
    """An effect of 1 s from time 0, seed 7."""
    op = Modulate(0, EFFECTS.index(name), 1000, depth, 7, width)
    return RunningEffect(op, 0, pixels)


@pytest.mark.parametrize(
    # of 200 half percents to 256 parts, to the nearest: 1.28, 49.92, 128, 254.72
    ("depth", "parts"),
    [(0, 0), (1, 1), (39, 50), (100, 128), (199, 255), (200, 256)],
)
def test_a_depth_counts_to_the_nearest_part(depth: int, parts: int) -> None:
    assert effect("run", depth, pixels=3, width=1).multipliers(0)[1:] == [FULL - parts] * 2


def test_a_breath_goes_down_and_comes_back_as_a_harmonic() -> None:
    """(1 - cos) / 2: a quarter of the beat is half of the depth, half of it all."""
    breath = effect("breathe", 200)
    assert breath.multipliers(0) == [256]
    assert breath.multipliers(250 * MS)[0] == pytest.approx(128, abs=1)
    assert breath.multipliers(500 * MS)[0] <= 2
    assert breath.multipliers(750 * MS)[0] == pytest.approx(128, abs=4)
    assert breath.multipliers(1000 * MS) == [256]
    shallow = effect("breathe", 100)
    assert shallow.multipliers(500 * MS)[0] == pytest.approx(128, abs=1)


def test_a_running_spot_trails_behind_itself_over_its_width() -> None:
    """Four pixels in 1 s: after 250 ms the head is on pixel 1, and half gone from pixel 0."""
    spot = effect("run", pixels=4, width=2)
    assert spot.multipliers(0) == [256, 0, 0, 128]
    assert spot.multipliers(250 * MS) == [128, 256, 0, 0]
    assert spot.multipliers(1000 * MS) == [256, 0, 0, 128]


def test_an_ember_goes_from_one_number_of_the_noise_to_the_next() -> None:
    now, then = noise(7, 0, 0), noise(7, 1, 0)
    ember = effect("ember")
    assert ember.multipliers(0) == [256 - now]
    assert ember.multipliers(500 * MS)[0] == pytest.approx(256 - (now + then) / 2, abs=1)
    assert ember.multipliers(1000 * MS) == [256 - then]


def test_a_sparkle_lights_a_share_of_the_pixels_which_then_fade() -> None:
    """A pixel is lit where its noise, of 256, is below the width, of 100."""
    for width in (1, 30, 99, 100):
        sparkle = effect("sparkle", 100, pixels=64, width=width)
        lit = [100 * noise(7, 0, pixel) < 256 * width for pixel in range(64)]
        assert sparkle.multipliers(0) == [256 if one else 128 for one in lit]
        assert sparkle.multipliers(500 * MS) == [192 if one else 128 for one in lit]


# -- strips ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cap", "byte"),
    [
        (0, 255),
        # 12 bytes of 255 are 3,060: eleven times 256 are less, twelve are enough
        (12, 255),
        # (11 << 15) // (3060 / 2) = 235: 255 * 235 >> 8 = 234
        (11, 234),
        (6, 127),
    ],
)
def test_a_cap_bounds_the_sum_of_all_bytes(cap: int, byte: int) -> None:
    light = PlayedLight(3, 4)
    light.jump((200 << 8,) * 3)
    painted = StripPainter(StripRecord(5, 4, ORDERS.index("rgb"), cap, 0)).paint(light, 0)
    assert painted == bytes([byte] * 12)
    assert not cap or sum(painted) <= 256 * cap


def test_a_strip_sends_its_colours_in_its_own_order() -> None:
    light = PlayedLight(3, 1)
    light.jump((200 << 8, 0, 0))
    for order, name in enumerate(ORDERS):
        painted = StripPainter(StripRecord(5, 1, order, 0, 0)).paint(light, 0)
        assert list(painted) == [255 if letter == "r" else 0 for letter in name]


# -- what is caught up on ------------------------------------------------------------------------


@pytest.mark.parametrize(("late_ms", "left_ms"), [(0, 100), (99, 1), (100, 0), (101, 0)])
def test_what_is_begun_late_takes_what_is_left_of_its_time(late_ms: int, left_ms: int) -> None:
    """On the player of a table and in a rehearsal; what takes no time is as it was."""
    played = TableOutputs(table((LAMP, SWITCH), ((),)))
    fade, turn = ActOp(0, 200, 100), Turn(1, True)
    assert played.shortened(fade, late_ms) == ActOp(0, 200, left_ms)
    assert played.shortened(turn, late_ms) == turn
    rehearsed = OutputRows(show_of(), "back", {})
    for whole, left in (
        (Fade("lure", 60.0, 100), Fade("lure", 60.0, left_ms)),
        (Move("jaw", 9.0, 100, MINIMUM_JERK), Move("jaw", 9.0, left_ms, MINIMUM_JERK)),
        (Throw("fan", True), Throw("fan", True)),
    ):
        assert rehearsed.shortened(whole, late_ms) == left
