"""Speeds at which a servo that turns round and round still stands, from both sides.

200 us for 60 rpm: 10 us, half of a dead band of 20 us, are 3 rpm; the edge itself still stands.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import applied, findings

SHOW = (Path(__file__).parents[2] / "findings" / "speed-in-dead-band.cues").read_text()


def turning(speed: str, **lines: str) -> str:
    text = SHOW.replace("rotor to 2 rpm", f"rotor to {speed}")
    for word, line in lines.items():
        words = word.replace("_", " ")
        (old,) = [one for one in text.splitlines() if one.strip().startswith(f"{words} ")]
        text = text.replace(old, f"    {words} {line}")
    return text


def stands(at: str) -> str:
    return (
        f"`rotor` stands still at {at} rpm: its pulse is 10 us from that of standstill, and its "
        "dead band reaches to 10 us"
    )


FORWARD = Limit(
    id="forward",
    name="speed-in-dead-band",
    passes=turning("3.1 rpm"),
    fails=turning("3.0 rpm"),
    says=stands("3"),
    severity="warning",
    asked=10,
    limit=10,
    fix="3.1 rpm",
    at="3.0 rpm",
)

LIMITS = (
    FORWARD,
    replace(
        FORWARD,
        id="backward",
        passes=turning("-3.1 rpm"),
        fails=turning("-3.0 rpm"),
        says=stands("-3"),
        fix="-3.1 rpm",
        at="-3.0 rpm",
    ),
    replace(
        FORWARD,
        id="falling-pulses",
        passes=turning("3.1 rpm", pulse="1700 us at -60 rpm, 1500 us at 0 rpm, 1300 us at 60 rpm"),
        fails=turning("3.0 rpm", pulse="1700 us at -60 rpm, 1500 us at 0 rpm, 1300 us at 60 rpm"),
    ),
    replace(
        FORWARD,
        id="a-narrower-band",
        passes=turning("0.7 rpm", dead_band="4 us"),
        fails=turning("0.6 rpm", dead_band="4 us"),
        says="`rotor` stands still at 0.6 rpm: its pulse is 2 us from that of standstill, and its "
        "dead band reaches to 2 us",
        asked=2,
        limit=2,
        fix="0.7 rpm",
        at="0.6 rpm",
    ),
)


@each(LIMITS)
def test_a_servo_turns_from_just_this_speed_on(limit: Limit) -> None:
    assert_holds(limit)


def test_standstill_itself_is_no_slow_turn() -> None:
    assert findings(turning("0 rpm"), "speed-in-dead-band") == []


@pytest.mark.parametrize(
    ("speed", "lines"),
    [
        ("2 rpm", {"travel": "-60 rpm to 3 rpm"}),  # the edge is 3 rpm, and just more is needed
        ("-2 rpm", {"travel": "-3 rpm to 60 rpm"}),
        ("50 rpm", {"dead_band": "420 us"}),  # wider than all that is calibrated
    ],
)
def test_where_no_speed_passes_none_is_suggested(speed: str, lines: dict[str, str]) -> None:
    (one,) = findings(turning(speed, **lines), "speed-in-dead-band")
    assert one.fix is None
    assert one.help is not None
    assert one.help.startswith("measure the dead band")
    wide = turning("2 rpm", travel="-60 rpm to 4 rpm")
    (near,) = findings(wide, "speed-in-dead-band")
    assert near.help is not None
    assert near.help.startswith("`4 rpm` is the slowest that turns")
    assert findings(applied(wide, near), "speed-in-dead-band") == []


def test_a_statement_that_two_cues_play_is_told_of_once_and_two_statements_twice() -> None:
    both = SHOW.replace("remote\n", "cue again\n    play whirl\n\nremote\n").replace(
        "stop button 2", "button 3: go again\n    stop button 2"
    )
    assert len(findings(both, "speed-in-dead-band")) == 1
    twice = SHOW.replace("    hold 2 s\n", "    hold 2 s\n    rotor to 1 rpm in 1 s\n")
    assert len(findings(twice, "speed-in-dead-band")) == 2
