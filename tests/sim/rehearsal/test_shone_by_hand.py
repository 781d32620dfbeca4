"""What is seen of a lamp that shines with a move, worked by hand from TABLE.md, section 12.

A level is in half percents of L*: 20 % are 40. The move's light comes in over the glide, from when
the lamp is nobody's, and is gone at once when somebody takes the lamp.
"""

from __future__ import annotations

import numpy as np
import pytest

from sim.model import Board, Lamp, Rig, Score, Shine, Show
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.shining import ShiningRow, shone
from sim.rehearsal.takeover import POSITIONS_PER_DEG
from sim.rehearsal.trajectories import TimeSpan
from sim.rulebook import CLOCK_PER_MS
from tests.sim.small_shows import JAW, TAIL

BY_PLACE = Shine("lure", "jaw", 10.0, 30.0, 20.0, 80.0)
BY_SPEED = Shine("lure", "jaw", 0.0, 100.0, 80.0, 20.0, by_speed=True)
OWN = 10.0
SPANS = (TimeSpan(1000.0, 3000.0), TimeSpan(5000.0, 9000.0))


@pytest.mark.parametrize(
    ("time_ms", "level"),
    [
        (999.0, OWN),
        (1000.0, OWN),
        (1200.0, OWN + (100.0 - OWN) * 0.5),
        (1400.0, 100.0),
        (2999.0, 100.0),
        (3000.0, OWN),
        (5100.0, OWN + (100.0 - OWN) * 0.25),
        (8999.0, 100.0),
        (9000.0, OWN),
    ],
)
def test_the_light_of_a_move_comes_in_over_the_glide_and_goes_at_once(
    time_ms: float, level: float
) -> None:
    """At 20 deg of 10 to 30 it is half-way from 20 % to 80 %: 50 %."""
    own, at = np.array([OWN]), np.array([time_ms])
    (seen,) = shone(own, at, BY_PLACE, SPANS, 400.0, np.array([20.0]), np.array([500.0]))
    assert seen == pytest.approx(level)


@pytest.mark.parametrize(
    ("shine", "angle_deg", "speed_deg_s", "level"),
    [
        (BY_PLACE, 5.0, 0.0, 40.0),
        (BY_PLACE, 15.0, 0.0, 70.0),
        (BY_PLACE, 31.0, 0.0, 160.0),
        (BY_SPEED, 5.0, 0.0, 160.0),
        (BY_SPEED, 5.0, -25.0, 130.0),
        (BY_SPEED, 5.0, 25.0, 130.0),
        (BY_SPEED, 5.0, -150.0, 40.0),
    ],
)
def test_samples_and_single_instants_show_the_same_light(
    shine: Shine, angle_deg: float, speed_deg_s: float, level: float
) -> None:
    """Between the ends in proportion, beyond them as at them; a speed counts either way."""
    state = np.array([angle_deg]), np.array([speed_deg_s])
    (seen,) = shone(np.array([OWN]), np.array([2500.0]), shine, SPANS, 400.0, *state)
    assert seen == pytest.approx(level)
    row = ShiningRow(shine, 400.0)
    now = 2500 * CLOCK_PER_MS
    board = round(angle_deg * POSITIONS_PER_DEG), round(speed_deg_s * POSITIONS_PER_DEG / 1000.0)
    assert row.seen(OWN, now, board) == OWN
    row.begin(1000.0)
    assert row.seen(OWN, now, board) == pytest.approx(level, abs=1e-2)


def test_without_a_glide_the_light_of_a_move_is_there_at_once() -> None:
    still = np.array([30.0]), np.array([0.0])
    for time_ms in (1000.0, 1500.0):
        (seen,) = shone(np.array([OWN]), np.array([time_ms]), BY_PLACE, SPANS, 0.0, *still)
        assert seen == 160.0


@pytest.mark.parametrize(
    ("time_ms", "share"), [(1000, 0.0), (1100, 0.25), (1400, 1.0), (1500, 1.0)]
)
def test_at_a_single_instant_the_light_comes_in_over_the_glide_too(
    time_ms: int, share: float
) -> None:
    row = ShiningRow(BY_PLACE, 400.0)
    row.begin(1000.0)
    seen = row.seen(OWN, time_ms * CLOCK_PER_MS, (20 * POSITIONS_PER_DEG, 0))
    assert seen == pytest.approx(OWN + (100.0 - OWN) * share)


def test_a_lamp_that_shines_again_has_a_span_of_its_own_for_that() -> None:
    """An end where it does not shine, and a beginning where it does, change nothing."""
    row = ShiningRow(BY_PLACE, 400.0)
    for begin, end in ((100.0, 200.0), (400.0, 500.0)):
        row.begin(begin)
        row.begin(begin + 50.0)
        row.end(end)
        row.end(end + 50.0)
    assert row.spans == [TimeSpan(100.0, 200.0), TimeSpan(400.0, 500.0)]


def test_a_lamp_that_is_taken_before_it_shines_shines_for_no_time() -> None:
    row = ShiningRow(BY_PLACE, 400.0)
    row.begin(100.0)
    row.end(90.0)
    assert row.spans == [TimeSpan(100.0, 100.0)]


def test_a_lamp_that_never_shines_shows_its_own_light() -> None:
    still = np.array([30.0]), np.array([0.0])
    (seen,) = shone(np.array([OWN]), np.array([1000.0]), BY_PLACE, (), 400.0, *still)
    assert seen == OWN


def test_a_lamp_shines_on_the_board_that_has_it_from_the_frame_on_in_which_that_is_ready() -> None:
    """One servo takes ten frames. The end of a rehearsal is a frame behind its length."""
    lure, eye = (Lamp(name, board, 5) for name, board in (("lure", "head"), ("eye", "back")))
    boards = tuple(Board(name, "atmega2560", n) for n, name in enumerate(("head", "back"), 1))
    rig = Rig(boards=boards, outputs=(JAW, lure, TAIL, eye), shines=(BY_PLACE,))
    played = rehearse(Show(rig, Score("one", (), ())), (), 1000)
    assert dict(played.shining) == {"lure": (TimeSpan(200.0, 1020.0),)}
