"""Values of sources frame by frame, and what is made of them, worked by hand.

TABLE.md, sections 9, 10 and 14. A frame has 20 ms.
"""

from __future__ import annotations

from math import inf

import numpy as np
import pytest

from sim.model import (
    Band,
    Board,
    Channel,
    Follow,
    Press,
    Rig,
    Score,
    Sensor,
    Show,
)
from sim.rehearsal.channels import (
    channel_settings,
    pressing_bands,
    pulse_ticks,
    radio_of,
    radio_silence,
)
from sim.rehearsal.followers import (
    FollowedSpan,
    FollowNumbers,
    next_change,
    numbers_of_lamp,
    numbers_of_servo,
    value_at,
)
from sim.rehearsal.presses import Presses
from sim.rehearsal.requests import Hearing, Request, merged
from sim.rehearsal.sensing import quiet_reading, sensor_settings, sensor_values
from sim.rehearsal.shining import share
from sim.rehearsal.trajectories import CueRun, Fading, Throwing, takes_over
from sim.score.program import BoardProgram

STEPS: list[tuple[int, int | None]] = [(0, None), (5, 100), (9, 200)]


def test_a_value_is_that_of_the_last_step_that_has_come() -> None:
    found = [value_at(STEPS, frame) for frame in (0, 4, 5, 8, 9, 99)]
    assert found == [None, None, 100, 100, 200, 200]
    assert value_at([], 3) is None


def test_the_next_change_is_the_first_step_behind_a_frame_of_any_source() -> None:
    other: list[tuple[int, int | None]] = [(0, None), (7, 1)]
    found = [next_change([STEPS, other], frame) for frame in (-1, 0, 4, 5, 6, 7, 8, 9)]
    assert found == [0, 5, 5, 7, 7, 9, 9, inf]
    assert next_change([], 0) == inf


# -- channels and sensors --------------------------------------------------------------------------

STICK = Channel("stick", "a", 1, (Band(1700.0, 2100.0, 1),))
KNOB = Channel("knob", "b", 2, (Band(1700.0, 2100.0, 2),))
VOICE = Sensor("voice", "a", 3, quiet=0.1)
LIGHT = Sensor("light", "b", 4)


def show(*, leads: str | None = None) -> Show:
    boards = tuple(Board(n, "atmega2560", k, leads=n == leads) for k, n in enumerate("ab", start=1))
    return Show(Rig(boards=boards, channels=(STICK, KNOB), sensors=(VOICE, LIGHT)), Score("t"))


def put(source: str, at_ms: int, value: float | None) -> Press:
    return Press(at_ms, source=source, value=value)


def test_a_setting_counts_from_the_first_frame_that_is_not_before_it() -> None:
    presses = [put("stick", 41, 1500.0), put("stick", 40, 1600.0), put("stick", 60, None)]
    presses += [put("stick", -5, 1700.0), put("nothing", 0, 1.0), Press(0, button=1)]
    assert channel_settings(show(), presses) == {"stick": [(0, 3400), (2, 3200), (3, 3000), (3, 0)]}
    heard = [put("voice", 41, 0.5), put("voice", 40, 1.0), put("voice", 60, None)]
    assert sensor_settings(show(), heard) == {
        "voice": [(0, 0), (2, 1023), (3, 512)],
        "light": [(0, 0)],
    }


def test_a_pulse_counts_in_half_microseconds() -> None:
    assert [pulse_ticks(us) for us in (1500.0, 1500.5, 1500.2, 1500.3)] == [3000, 3001, 3000, 3001]
    (band,) = pressing_bands(STICK)
    assert (band.low, band.high, band.button) == (3400, 4200, 1)


def test_a_channel_has_its_value_from_its_tenth_pulse_on_and_25_frames_longer_than_its_pulses() -> (
    None
):
    """Set in frame 10, silent from frame 50 on."""
    presses = [put("stick", 200, 1500.0), put("stick", 1000, None)]
    radio = radio_of(show(), "a", presses)
    assert radio.values["stick"] == [(0, None), (19, 3000), (74, None)]
    assert radio.heard == ((19, 49),)
    assert radio.requests == {}


def test_a_channel_that_is_set_again_goes_there_in_its_second_frame() -> None:
    """The middle one of the last three: two must be there."""
    presses = [put("stick", 0, 1500.0), put("stick", 1000, 1800.0), put("stick", 2000, 1500.0)]
    radio = radio_of(show(), "a", presses)
    assert radio.values["stick"] == [(0, None), (9, 3000), (51, 3600), (101, 3000)]
    assert radio.requests == {51: [Request("down", button=1)], 101: [Request("up", button=1)]}
    assert radio.heard == ((9, inf),)


def test_each_board_hears_its_own_channels_and_all_are_pressed_by_those_of_one_that_leads() -> None:
    presses = [put("stick", 0, 1500.0), put("knob", 0, 1500.0)]
    presses += [put("stick", 1000, 1800.0), put("knob", 2000, 1800.0)]
    stick = {51: [Request("down", button=1)]}
    knob = {101: [Request("down", button=2)]}
    for leads, a, b in ((None, stick, knob), ("a", stick, stick), ("b", knob, knob)):
        radios = [radio_of(show(leads=leads), board, presses) for board in "ab"]
        assert [radio.requests for radio in radios] == [a, b], leads
        assert [set(radio.values) for radio in radios] == [{"stick"}, {"knob"}], leads


def test_only_the_radio_steers_from_when_a_channel_is_set_that_does() -> None:
    presses = [put("knob", 400, 1500.0), put("stick", 1000, 1500.0)]
    assert radio_silence(show(), presses) == [(400.0, inf)]
    assert radio_silence(show(leads="a"), presses) == [(1000.0, inf)]
    assert radio_silence(show(leads="a"), presses[:1]) == []
    assert radio_silence(show(), []) == []


def test_a_sensor_without_times_has_its_value_at_once_and_below_its_quiet_0() -> None:
    """A tenth of 1024 is 102.4: readings up to 101 are quiet."""
    assert quiet_reading(VOICE) == 102
    presses = [put("voice", 100, 0.5), put("voice", 200, 101 / 1024), put("voice", 300, 102 / 1024)]
    values = sensor_values(show(), "a", presses)
    assert values == {"voice": [(0, None), (0, 0), (5, 512), (10, 0), (15, 102)]}
    assert set(sensor_values(show(), "b", presses)) == {"light"}


# -- when something is heard -----------------------------------------------------------------------


def test_a_silence_may_reach_a_length_so_long_after_whatever_was_heard() -> None:
    """Silent from frame 5 on; asked in frame 12; the radio is heard up to frame 20."""
    hearing = Hearing([(100.0, inf)], requests=[12], radio=[(10, 20.0)])
    found = [hearing.reaches(frame, 50) for frame in (0, 54, 55, 61, 62, 69, 70)]
    assert found == [55, 55, 62, 62, 70, 70, inf]
    assert Hearing([], requests=[12], radio=[(10, 20.0)]).reaches(0, 50) == inf


def test_of_one_frame_the_second_side_comes_behind() -> None:
    a, b, c = (Request("trigger", name) for name in "abc")
    assert merged({3: [a], 1: [b]}, {3: [c], 2: [c]}) == {1: [b], 2: [c], 3: [a, c]}
    assert list(merged({3: [a]}, {1: [b]})) == [1, 3]


# -- what follows ----------------------------------------------------------------------------------


def test_a_lamp_that_follows_goes_its_whole_way_in_the_time_for_it() -> None:
    """120 half percents in 200 ms are 12 a frame, in 1/256: 3072. The slowest is one part."""
    follow = Follow("lamp", "voice", 0.25, 1.0, 20.0, 80.0, way_ms=200)
    assert numbers_of_lamp(follow, True) == FollowNumbers(256, 1023, 40, 160, 3072, 0)
    down = Follow("lamp", "stick", 1000.0, 2000.0, 80.0, 20.0, way_ms=200)
    assert numbers_of_lamp(down, False) == FollowNumbers(2000, 4000, 160, 40, 3072, 0)
    slow = Follow("lamp", "stick", 1000.0, 2000.0, 20.0, 20.5, way_ms=6_000_000)
    assert numbers_of_lamp(slow, False).speed == 1


def test_a_part_that_follows_keeps_to_the_peaks_of_a_move_of_the_usual_law() -> None:
    """30 deg in 0.5 s by 3-4-5: 1.875 times 60 deg/s, and 5.7735 times 120 deg/s2."""
    follow = Follow("jaw", "voice", 0.0, 1.0, 10.0, 40.0, way_ms=500)
    assert numbers_of_servo(follow, True, (400, 9000)) == FollowNumbers(
        0, 1023, 1000, 4000, 112, 692
    )
    assert numbers_of_servo(follow, True, (100, 500))[4:] == (100, 500)


def test_between_the_frames_of_a_span_the_level_goes_evenly_and_a_part_gains_speed_evenly() -> None:
    span = FollowedSpan([100.0, 120.0, 140.0], [10.0, 12.0, 12.0], [0.0, 200.0, 0.0])
    times = np.array([90.0, 100.0, 105.0, 110.0, 120.0, 130.0, 140.0, 200.0])
    assert span.level(times) == pytest.approx([10, 10, 10.5, 11, 12, 12, 12, 12])
    assert span.changes(times).tolist()[1:] == [True] * 5 + [False] * 2
    angle, speed, gain = span.motion(times)
    assert angle[1:5] == pytest.approx([10.0, 10.125, 10.5, 12.0])
    assert speed[1:] == pytest.approx([0, 50, 100, 200, 100, 0, 0])
    assert gain[1:] == pytest.approx([10_000] * 3 + [-10_000] * 2 + [0, 0])


@pytest.mark.parametrize(
    ("since_ms", "glide_ms", "come"),
    [
        (-1, 100, 0),
        (0, 100, 0),
        (25, 100, 0.25),
        (100, 100, 1),
        (101, 100, 1),
        (0, 0, 1),
        (9, 0, 1),
    ],
)
def test_the_light_of_a_move_comes_evenly_over_the_glide(
    since_ms: float, glide_ms: float, come: float
) -> None:
    assert share(float(since_ms), float(glide_ms)) == come
    assert share(np.array([float(since_ms)]), float(glide_ms)).tolist() == [come]


# -- what is down, and what ran --------------------------------------------------------------------


def test_a_button_may_be_stuck_after_half_a_minute() -> None:
    presses = Presses(BoardProgram(()))
    presses.note_down(1, 10)
    presses.note_down(3, 11)
    presses.note_down(1, 900)  # it is down already
    assert [presses.stuck(frame) for frame in (1509, 1510, 1511)] == [0, 0b10, 0b1010]
    presses.note_up(1)
    assert (presses.stuck(5000), presses.is_down(1), presses.is_down(3)) == (0b1000, False, True)


def test_a_run_is_named_with_how_far_it_goes_if_that_is_not_all_the_way() -> None:
    runs = [CueRun("a", "b", 0.0, 1.0, scale) for scale in (256, 128, 0)]
    assert [run.words for run in runs] == ["a", "a at 50 %", "a at 0 %"]
    assert CueRun("a", "b", 0.0, 1.0).words == "a"


def test_pieces_take_over_when_they_are_seen_and_never_before_those_in_front_of_them() -> None:
    row = [Throwing(0.0, 0.0, False), Throwing(30.0, 40.0, True), Throwing(20.0, 20.0, False)]
    assert takes_over(row).tolist() == [0.0, 40.0, 40.0]
    assert Fading(30.0, 40.0, (0.0,), (1.0,), 100.0).end_ms == 130.0
