"""Whatever is pressed, whenever: limits and travel hold, and no part jumps while it has pulses.

Where a move takes over, a row may step by what the board's integers and the closed forms differ
(`test_motion.py`): a step of a table's angles, and 0.1 deg/s.
"""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from small_shows import rehearsals, shows

from sim.model import Servo, Show
from sim.rehearsal.rehearse import rehearse
from sim.rehearsal.sampling import motion, sample, within
from sim.rehearsal.trajectories import Trajectories
from sim.rulebook import ANGLE_STEP_DEG, CLOCK_PER_MS
from sim.score.laws import LAW_NAMES
from sim.score.planned_moves import motion_limits

LENGTH_MS = 8000
SMOOTH = tuple(name for name in LAW_NAMES if name != "uniform")


@st.composite
def played(draw: st.DrawFn, laws: tuple[str, ...] = SMOOTH) -> tuple[Show, Trajectories]:
    show = draw(shows(laws))
    return show, rehearse(show, draw(rehearsals(show, LENGTH_MS)), LENGTH_MS)


def servos(show: Show) -> list[Servo]:
    return [output for output in show.rig.outputs if isinstance(output, Servo)]


def times_of(trajectories: Trajectories, name: str) -> np.ndarray:
    row = trajectories.motions[name]
    seams = [edge for one in row for edge in (one.start_ms, one.begin_ms, one.end_ms)]
    near = [seam + shift for seam in seams for shift in (-1e-6, 0.0, 1e-6)]
    times = np.unique(np.concatenate([near, np.arange(0.0, LENGTH_MS, 2.0)]))
    times = times[(times >= 0.0) & (times < LENGTH_MS)]
    return times[within(trajectories.powered[name], times)]


@settings(max_examples=40)
@given(played())
def test_speed_and_acceleration_keep_the_tables_limits(case: tuple) -> None:
    show, trajectories = case
    limits = motion_limits(show)
    for servo in servos(show):
        times = times_of(trajectories, servo.name)
        _, speed, acceleration = motion(trajectories.motions[servo.name], times)
        most_v, most_a = limits[servo.name]
        assert np.abs(speed).max(initial=0.0) <= most_v * (1.0 + 1.0 / CLOCK_PER_MS) + 1e-6
        for one in trajectories.motions[servo.name]:
            if 0.0 < one.brake_ms < 1.0:  # rounded to whole 1/256 ms; no servo can tell
                end = one.start_ms + one.brake_ms
                acceleration[(times >= one.start_ms) & (times <= end)] = 0.0
        assert np.abs(acceleration).max(initial=0.0) <= most_a * (1.0 + 2.0 / CLOCK_PER_MS) + 1e-6


@settings(max_examples=40)
@given(played(LAW_NAMES))
def test_travel_holds_by_any_law(case: tuple) -> None:
    show, trajectories = case
    for servo in servos(show):
        low, high = servo.travel_deg
        times = times_of(trajectories, servo.name)
        angle = sample(trajectories, times).servos[servo.name].angle_deg
        assert angle.min(initial=low) >= low
        assert angle.max(initial=high) <= high


@settings(max_examples=40)
@given(played())
def test_no_part_jumps_while_it_has_pulses(case: tuple) -> None:
    show, trajectories = case
    limits = motion_limits(show)
    for servo in servos(show):
        most_v, most_a = limits[servo.name]
        for span in trajectories.powered[servo.name]:
            times = times_of(trajectories, servo.name)
            times = times[(times >= span.start_ms) & (times < span.end_ms)]
            angle, speed, _ = motion(trajectories.motions[servo.name], times)
            gap_s = np.diff(times) / 1000.0
            assert (np.abs(np.diff(angle)) <= most_v * 1.01 * gap_s + ANGLE_STEP_DEG).all()
            one_tick = most_a / CLOCK_PER_MS / 1000.0
            assert (np.abs(np.diff(speed)) <= most_a * 1.01 * gap_s + 2.0 * one_tick + 0.1).all()
