"""Which servos and moves physics is asked about: those whose own lines make sense."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.model import (
    Adapter,
    Board,
    CalibrationPoint,
    Cue,
    Fade,
    InTurn,
    LeverPair,
    Move,
    Rating,
    Rig,
    Score,
    Servo,
    Show,
    Strip,
    StripLight,
    Supply,
)
from sim.rig.supply import strip_full_a
from sim.strain.sag import sags
from sim.strain.soundness import is_sound, sound_moves, sound_show

POINTS = (CalibrationPoint(0.0, 900.0), CalibrationPoint(90.0, 2100.0))
RATING = Rating(6.0, 400.0, 1.0, 2.0)
JAW = Servo("jaw", "b", 1, POINTS, (5.0, 60.0), (RATING,), safe_deg=5.0)
LEVERS = LeverPair(0.02, 0.02)
"""Equal levers turn alike, up to their dead point at 90 deg from the square position."""
STRIP = Strip("belly", "b", 3, pixels=10, channel_a=0.02)


@pytest.mark.parametrize(
    ("servo", "sound"),
    [
        (JAW, True),
        (replace(JAW, ratings=()), False),
        (replace(JAW, points=POINTS[:1]), False),
        (replace(JAW, points=()), False),
        (replace(JAW, travel_deg=(60.0, 60.0)), False),
        (replace(JAW, travel_deg=(60.0, 5.0)), False),
        (replace(JAW, travel_deg=(59.9, 60.0)), True),
        (replace(JAW, travel_deg=(0.0, 90.0)), True),
        (replace(JAW, travel_deg=(-0.1, 60.0)), False),
        (replace(JAW, travel_deg=(5.0, 90.1)), False),
        (replace(JAW, drive=LEVERS), True),
        (replace(JAW, drive=LeverPair(0.01, 0.03)), False),
    ],
)
def test_a_servo_is_asked_about_if_rated_and_calibrated_through_a_travel_that_its_drive_reaches(
    servo: Servo, sound: bool
) -> None:
    assert is_sound(servo) is sound


def show(*outputs: Servo | Strip, moves: tuple[Move | Fade, ...] = ()) -> Show:
    rig = Rig((Supply("p", Adapter(5.0, 9.0)),), (Board("b", "any", 1, "p"),), outputs)
    return Show(rig, Score("s", (Cue("c", "", InTurn(moves)),)))


def test_what_is_not_sound_is_left_out_and_all_else_stays() -> None:
    bare = replace(JAW, name="bare", ratings=())
    kept = sound_show(show(JAW, bare, STRIP)).rig.outputs
    assert [one.name for one in kept] == ["jaw", "belly"]
    assert kept[0] == JAW


@pytest.mark.parametrize(
    ("drive", "targets", "asked"),
    [
        # a gear goes on where the travel ends
        (JAW.drive, (50.0, 70.0, 20.0), [50.0, 70.0, 20.0]),
        (LEVERS, (50.0, 20.0), [50.0, 20.0]),
        (LEVERS, (60.0, 5.0), [60.0, 5.0]),
        # a linkage may not: neither to there nor from there
        (LEVERS, (50.0, 60.1, 20.0, 30.0), [50.0, 30.0]),
        (LEVERS, (50.0, 4.9, 20.0, 30.0), [50.0, 30.0]),
    ],
)
def test_moves_of_a_linkage_are_asked_about_within_its_travel_only(
    drive: LeverPair, targets: tuple[float, ...], asked: list[float]
) -> None:
    one = replace(JAW, drive=drive)
    moves = tuple(Move("jaw", angle, 1000) for angle in targets)
    # back in between, so that no other start comes in
    found = sound_moves(show(one, moves=moves))
    assert [
        each.move.angle_deg for each in found if not each.entry or each.from_deg == 5.0
    ] == asked


def test_moves_of_what_is_not_sound_are_not_asked_about() -> None:
    bare = replace(JAW, ratings=())
    assert sound_moves(show(bare, moves=(Move("jaw", 50.0, 1000),))) == ()
    assert sound_moves(show(moves=(Move("ghost", 50.0, 1000),))) == ()


def test_a_strip_counts_with_the_most_that_the_show_makes_of_it() -> None:
    """One colour at full light: 10 times 20 mA, and 1 mA of each dark pixel beside it."""
    red = Fade("belly", StripLight((255, 0, 0)), 500)
    (strip,) = sound_show(show(STRIP, moves=(red,))).rig.outputs
    assert isinstance(strip, Strip)
    assert strip.cap_a == pytest.approx(0.2)
    assert strip_full_a(strip) == pytest.approx(0.21)
    (worst,) = sags(sound_show(show(STRIP, moves=(red,))))
    assert worst.board_a == pytest.approx(0.21 + Board("b", "any", 1).electrics.idle_a)


def test_a_strip_that_is_never_lit_keeps_a_cap_and_draws_next_to_nothing() -> None:
    (strip,) = sound_show(show(STRIP)).rig.outputs
    assert isinstance(strip, Strip)
    assert strip.cap_a is not None
    assert 0.0 < strip.cap_a < 1e-3
    assert strip_full_a(strip) == pytest.approx(0.01, rel=1e-3)
