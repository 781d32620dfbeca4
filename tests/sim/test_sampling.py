"""Samples: any times, in any order, equal to the closed forms and to one another's derivatives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from one_motion import limits_by_deg, state
from small_shows import BELLY, move, rehearsals, show_of, shows

from sim.light.lightness import channel_levels, luminance
from sim.model import Cue, Effect, Fade, InTurn, Law, Press, Repeat, StripLight, Together
from sim.rehearsal.motion import begin, resting
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import BLOCK, motion, sample, within
from sim.rehearsal.trajectories import TimeSpan

LIMITS = limits_by_deg(900, 9000, (-90.0, 90.0))

SHOW = show_of(
    Cue(
        "all",
        "",
        Together(
            (
                InTurn((move("jaw", 50, 400, "cycloidal"), move("jaw", 9, 600, "double-S"))),
                Repeat(
                    InTurn((move("fin", 30, 300, "parabolic"), move("fin", -30, 500, "uniform"))), 3
                ),
                Fade("belly", StripLight((255, 191, 0), 80.0), 900),
                Effect("belly", "run", 700, 80.0, width=3),
                Fade("lure", 90.0, 1200, Law("harmonic")),
                Effect("lure", "ember", 300, 60.0, seed=4),
            )
        ),
    ),
    Cue("turn", "", Together((move("jaw", 20, 300), move("fin", 0, 350), Fade("lure", 0.0, 500)))),
)
PRESSES = (
    Press(600, button=1),
    Press(1500, button=2),
    Press(2100, button=1),
    Press(2333, button=2),
)
PLAYED = rehearse(SHOW, PRESSES, 5000)


@pytest.mark.parametrize("name", ["jaw", "fin"])
def test_samples_are_the_closed_forms(name: str) -> None:
    row = PLAYED.motions[name]
    times = np.linspace(0.0, 5000.0, 1777)
    angle, speed = motion(row, times, 1)
    for time, a, v in zip(times.tolist(), angle.tolist(), speed.tolist(), strict=True):
        piece = next(one for one in reversed(row) if one.start_ms <= time)
        at = state(piece, time)
        assert a == pytest.approx(at.angle_deg, abs=1e-9)
        assert v == pytest.approx(1000.0 * at.speed_deg_ms, abs=1e-6)


def test_rates_are_the_derivatives_of_what_is_before_them() -> None:
    times = np.arange(0.0, 5000.0, 0.25)
    angle, speed, acceleration, jerk = motion(PLAYED.motions["jaw"], times, 3)
    for value, rate, least in ((angle, speed, 0.99), (speed, acceleration, 0.99)):
        central = (value[2:] - value[:-2]) / (2 * 0.25e-3)
        near = np.abs(central - rate[1:-1]) < 4e-3 * np.abs(rate).max()
        assert near.mean() > least
    central = (acceleration[2:] - acceleration[:-2]) / (2 * 0.25e-3)
    assert (np.abs(central - jerk[1:-1]) < 2e-2 * np.abs(jerk).max()).mean() > 0.98


@settings(max_examples=25)
@given(st.data())
def test_times_in_any_order_give_the_same_samples(data: st.DataObject) -> None:
    times = np.array(data.draw(st.lists(st.floats(0.0, 5000.0), min_size=1, max_size=40)))
    ordered = np.sort(times)
    mixed, straight = sample(PLAYED, times), sample(PLAYED, ordered)
    back = np.searchsorted(ordered, times)
    for name in PLAYED.motions:
        for field in ("angle_deg", "velocity_deg_s", "acceleration_deg_s2", "jerk_deg_s3"):
            one = getattr(mixed.servos[name], field)
            assert np.array_equal(one, getattr(straight.servos[name], field)[back])
    assert np.array_equal(mixed.strips["belly"].linear, straight.strips["belly"].linear[back])
    assert np.array_equal(mixed.lamps["lure"].luminance, straight.lamps["lure"].luminance[back])


@settings(max_examples=25)
@given(st.data())
def test_a_denser_grid_changes_no_sample(data: st.DataObject) -> None:
    show = data.draw(shows())
    played = rehearse(show, data.draw(rehearsals(show, 4000)), 4000)
    fine = np.arange(0.0, 4000.0, 1.0)
    for row in played.motions.values():
        every, some = motion(row, fine), motion(row, fine[::37])
        for whole, part in zip(every, some, strict=True):
            assert part == pytest.approx(whole[::37], rel=1e-9, abs=1e-9)


def test_a_move_longer_than_a_block_is_seamless() -> None:
    row = [
        resting(0, 0.0),
        begin(resting(0, 0.0), 0, 80.0, 9000 * 256, Law(), LIMITS, None),
    ]
    times = np.linspace(0.0, 9000.0, 5 * BLOCK)
    angle, *_ = motion(row, times)
    x = times / 9000.0
    assert angle == pytest.approx(80.0 * x**3 * (10 - 15 * x + 6 * x**2), abs=1e-9)


def test_an_angle_beyond_the_travel_is_held_at_its_end_as_a_board_clamps_its_pulse() -> None:
    """The jaw travels from 2 to 55 deg."""
    for asked, shown in ((60.0, 55.0), (55.0, 55.0), (54.0, 54.0), (2.0, 2.0), (-3.0, 2.0)):
        stands = replace(PLAYED, motions={**PLAYED.motions, "jaw": [resting(0, asked)]})
        assert sample(stands, [2000.0]).servos["jaw"].angle_deg == pytest.approx([shown])


def test_no_times_give_no_samples() -> None:
    seen = sample(PLAYED, [])
    assert seen.servos["jaw"].angle_deg.shape == (0,)
    assert seen.strips["belly"].linear.shape == (0, BELLY.pixels, 3)


def test_fades_are_even_to_the_eye() -> None:
    show = show_of(Cue("up", "", Fade("lure", 100.0, 1000)))
    seen = sample(rehearse(show, (Press(600, button=1),), 3000), 580.0 + np.arange(0, 1001, 100.0))
    steps = np.diff(seen.lamps["lure"].level_pct)
    assert steps[1:] == pytest.approx([9.5] * 9)
    assert seen.lamps["lure"].luminance == pytest.approx(luminance(seen.lamps["lure"].level_pct))


def test_a_strip_shows_its_colour() -> None:
    light = StripLight((255, 191, 0), 80.0)
    show = show_of(Cue("up", "", Fade("belly", light, 100)))
    seen = sample(rehearse(show, (Press(600, button=1),), 3000), [2000.0]).strips["belly"]
    wanted = luminance(np.array(channel_levels(light)) / 2.0)
    assert seen.linear[0] == pytest.approx(np.tile(wanted, (BELLY.pixels, 1)))
    assert seen.luminance.shape == (1, BELLY.pixels)


def test_a_cap_dims_the_whole_strip() -> None:
    show = show_of(Cue("up", "", Fade("belly", StripLight((255, 255, 255)), 100)))
    cap = 0.5 * BELLY.pixels * 3 * BELLY.channel_a
    outputs = tuple(replace(o, cap_a=cap) if o == BELLY else o for o in show.rig.outputs)
    capped = replace(show, rig=replace(show.rig, outputs=outputs))
    seen = sample(rehearse(capped, (Press(600, button=1),), 3000), [0.0, 2000.0]).strips["belly"]
    assert seen.linear[1] == pytest.approx(np.full((BELLY.pixels, 3), 0.5))
    assert not seen.linear[0].any()


def test_within_tells_spans_apart() -> None:
    spans = (TimeSpan(10.0, 20.0), TimeSpan(20.0, 30.0), TimeSpan(50.0, 60.0))
    assert within(spans, np.array([9.0, 10.0, 20.0, 29.9, 30.0, 55.0, 60.0])).tolist() == [
        False,
        True,
        True,
        True,
        False,
        True,
        False,
    ]


def test_before_its_first_piece_a_part_rests_where_that_begins() -> None:
    row = PLAYED.motions["jaw"]
    moving = next(n for n, piece in enumerate(row) if piece.way_deg)
    late = row[moving:]
    begins_ms = late[0].start_ms
    angle, speed = motion(late, [begins_ms - 500.0, begins_ms - 1.0, begins_ms + 100.0], 1)
    assert angle[:2].tolist() == [late[0].target_deg - late[0].way_deg] * 2
    assert speed[:2].tolist() == [0.0, 0.0]
    assert speed[2] != 0.0
