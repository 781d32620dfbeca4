"""A sensor reads from the first frame on, whether somebody touches it or not: TABLE.md, 10.1."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from sim.model import Board, Press, Rig, Score, Sensor, Show
from sim.rehearsal.sensing import reading_of, sensor_settings, sensor_values
from tests.sim.small_shows import FAN

VOICE = Sensor("voice", "head", 54)
SHOW = Show(
    Rig(boards=(Board("head", "atmega2560", 1),), outputs=(FAN,), sensors=(VOICE,)),
    Score("one", (), ()),
)


def put(at_ms: int, share: float) -> Press:
    return Press(at_ms, source="voice", value=share)


def value_at(frame: int, *presses: Press) -> int | None:
    steps = sensor_values(SHOW, "head", presses)["voice"]
    return [value for at, value in steps if at <= frame][-1]


def test_a_sensor_that_nobody_has_touched_reads_0_from_the_first_frame_on() -> None:
    assert sensor_settings(SHOW, ()) == {"voice": [(0, 0)]}
    assert value_at(0) == 0
    assert [value_at(frame, put(1000, 0.5)) for frame in (0, 49, 50)] == [0, 0, 512]


@given(share=st.floats(0.0, 1.0))
def test_a_sensor_that_is_put_somewhere_at_power_up_begins_there(share: float) -> None:
    """Nothing of the 0 is left: also where it falls slowly, it comes from no other place."""
    slow = replace(VOICE, rises_s=5.0, falls_s=5.0)
    show = replace(SHOW, rig=replace(SHOW.rig, sensors=(slow,)))
    steps = sensor_values(show, "head", [put(0, share)])["voice"]
    assert steps[-1] == (0, reading_of(share))
