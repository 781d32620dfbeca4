"""Where a channel or a sensor is put, as people write it."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from seqlang.presses import parse_press
from seqlang.sources import parse_setting, written_setting
from sim.model import Band, Channel, Press, Rig, Score, Sensor, Show

SHOW = Show(
    Rig(
        channels=(Channel("stick", "box", 49, (Band(1700, 2100, 1),)),),
        sensors=(Sensor("voice", "box", 40),),
    ),
    Score("t"),
)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("stick 1700 us", 1700.0),
        ("stick 1700us", 1700.0),
        ("stick 1700", 1700.0),
        (" stick  1.7 ms ", 1700.0),
        ("stick 1512.5", 1512.5),
        ("stick 800", 800.0),
        ("stick 2200 us", 2200.0),
        ("stick none", None),
        ("voice 40 %", 0.4),
        ("voice 40%", 0.4),
        ("voice 40", 0.4),
        ("voice 0", 0.0),
        ("voice 100 %", 1.0),
    ],
)
def test_a_setting_is_read_as_written(text: str, value: float | None) -> None:
    name, found = parse_setting(text, SHOW)
    assert name == text.split()[0]
    assert found == value
    assert parse_setting(f"{name} {written_setting(SHOW, name, value)}", SHOW) == (name, value)
    assert parse_press(f"{text} at 2 s", SHOW) == Press(2000, source=name, value=value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("stick 799", "not a pulse of channel `stick`; write 800 us to 2200 us, or `stick none`"),
        ("stick 2200.5 us", "not a pulse of channel"),
        ("stick 40 %", "not a pulse of channel"),
        ("stick far", "`far` is not a pulse of channel"),
        ("stick", "the pulse of channel `stick` is missing; write 800 us to 2200 us"),
        ("voice none", "not a place of sensor `voice`; write 0 % to 100 % of the chip's supply"),
        ("voice 101 %", "not a place of sensor"),
        ("voice -1", "not a place of sensor"),
        ("voice 2 ms", "not a place of sensor"),
        ("stik 1700", "there is no channel or sensor `stik`; did you mean `stick`?"),
        ("nothing_like_it 3", "the show has stick, voice"),
    ],
)
def test_what_cannot_be_set_is_answered_with_what_would_do(text: str, words: str) -> None:
    with pytest.raises(ValueError, match=re.escape(words)):
        parse_setting(text, SHOW)


def test_a_show_without_a_radio_says_so() -> None:
    bare = replace(SHOW, rig=Rig())
    with pytest.raises(ValueError, match="the show has none"):
        parse_press("stick 1700 at 2 s", bare)
