"""What a part that follows a source may be asked for: both sides of the limit, and in company."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.findings import Finding, applied
from seqlang.text.source import Source
from sim.model import Show
from sim.score.planned_moves import (
    FOLLOWING,
    follow_limits,
    followed_deg,
    followed_ms,
    following_cue,
    motion_limits,
    planned_moves,
)
from sim.strain.envelope import operate
from sim.strain.interruption import bound_share
from sim.strain.reachable import Reachable

SHOW = """supply pack
    source adapter 6 V, 6 A
board box: atmega2560, address 1
    feed pack, 300 mm of 18 AWG
servo neck: box pin PA0
    pulse 900 us at -45 deg, 2100 us at 45 deg
    travel -40 deg to 40 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
    load {load}
    {more}
    follows stick from 1000 us to 2000 us, -30 deg to 20 deg{pace}
channel stick: box pin PL0
cue nod
    neck to 10 deg in 2 s
    neck to 0 deg in 2 s
cue sway
    neck to 8 deg in 3 s
    neck to -14 deg in 3 s
{idle}
remote
    button 1: go nod
    button 2: go sway
    stop button 3
"""


def text(pace: str = "", load: str = "300 g at 70 mm", more: str = "axis upright") -> str:
    return SHOW.format(pace=pace, load=load, more=more, idle="")


def findings(written: str, *names: str) -> list[Finding]:
    found = check(load_text(Source("test.cues", written))).findings
    return [one for one in found if one.name in names]


def show(written: str) -> Show:
    made = load_text(Source("test.cues", written)).show
    assert made is not None
    return made


def test_a_part_that_follows_is_refused_up_to_the_time_that_is_told_and_passes_from_there() -> None:
    (found,) = findings(text(", in 200 ms"), "follow-overload")
    assert found.fix is not None
    assert found.limit is not None
    passing_ms = round(float(found.fix.text.removesuffix(" ms")))
    assert findings(text(f", in {passing_ms} ms"), "follow-overload") == []
    assert findings(text(f", in {passing_ms - 20} ms"), "follow-overload") != []


def test_without_a_time_the_proposal_adds_one() -> None:
    heavy = text(load="6 kg at 150 mm")
    (found,) = findings(heavy, "follow-overload")
    assert found.fix is not None
    mended = applied(heavy, found.fix)
    assert "20 deg, in " in mended
    assert findings(mended, "follow-overload") == []


def test_a_part_that_no_time_helps_is_told_so() -> None:
    (found,) = findings(text(load="900 g at 200 mm", more="axis level"), "follow-overload")
    assert found.fix is None
    assert found.help is not None
    assert "no duration passes" in found.help


def test_one_mistake_is_told_once() -> None:
    quick = text(", in 100 ms")
    names = [one.name for one in check(load_text(Source("x.cues", quick))).findings]
    moves = ("servo-speed", "servo-torque", "servo-acceleration", "interrupted-overload")
    told = [n for n in names if n in ("follow-overload", "voltage-sag", *moves)]
    assert told == ["follow-overload"]


@settings(max_examples=200, deadline=None)
@given(st.integers(150, 3000), st.floats(0, 1), st.floats(-1, 1), st.floats(-1, 1), st.booleans())
def test_no_place_speed_and_acceleration_of_following_asks_for_more_than_the_bound(
    way_ms: int, place: float, fast: float, hard: float, level: bool
) -> None:
    made = show(text(f", in {way_ms} ms", more="axis level" if level else "axis upright"))
    one = made.rig.outputs[0]
    low, high = followed_deg(made)["neck"]
    speed, accel = follow_limits(made.rig.follows[0], motion_limits(made)["neck"])
    bound = bound_share(made.rig, one, (speed, accel), None, (low, high))  # type: ignore[arg-type]
    at = np.array([low + (high - low) * place])
    asked = operate(made.rig, one, at, speed * fast, accel * hard, None)  # type: ignore[arg-type]
    assert float(asked.share[0]) <= bound * (1.0 + 1e-4)


def test_following_takes_its_limits_from_its_ends_and_its_time() -> None:
    made = show(text(", in 1 s"))
    own = [one for one in planned_moves(made) if one.cue == FOLLOWING]
    assert [(one.from_deg, one.move.angle_deg, one.move.duration_ms) for one in own] == [
        (-30.0, 20.0, 1000),
        (20.0, -30.0, 1000),
    ]
    # a minimum-jerk move peaks at 15/8 of its mean speed, 10/sqrt(3) of way/time2 (Flash, Hogan)
    speed, accel = motion_limits(made)["neck"]
    assert 15 / 8 * 50 <= speed <= 15 / 8 * 50 + 3
    assert 10 / 3**0.5 * 50 <= accel <= 10 / 3**0.5 * 50 + 3


def test_a_stated_acceleration_makes_its_moves_as_long_as_they_then_take() -> None:
    made = show(text(", in 1 s", more="acceleration 100 deg/s2"))
    lasts = followed_ms(made)["neck"]
    assert lasts == pytest.approx(1000 * (10 / 3**0.5 * 50 / 100) ** 0.5, abs=2)
    assert findings(text(", in 1 s", more="acceleration 100 deg/s2"), "servo-acceleration") == []


def test_mixed_with_idle_it_may_be_as_far_beyond_its_ends_as_idle_moves_it() -> None:
    mixed = SHOW.format(
        pace=", in 1 s, mixed with idle", load="100 g at 30 mm", more="", idle="idle: go sway"
    )
    assert followed_deg(show(mixed)) == {"neck": (-40.0, 28.0)}  # the travel ends at -40 deg
    assert followed_deg(show(mixed.replace(", mixed with idle", ""))) == {"neck": (-30.0, 20.0)}


def test_it_may_stand_anywhere_between_its_ends_for_long() -> None:
    made = show(text(", in 1 s"))
    states = Reachable(made)
    for stands in (states.stands_deg["neck"], states.held_long_deg["neck"]):
        row = np.sort(np.array(stands))
        assert (row[0], row[-1]) == (-30.0, 20.0)
        assert float(np.diff(row).max()) <= 0.5
    # 3 % of speed and acceleration are to spare, so it may pass an end by v2/2 (1/a - 1/b)
    low, high = states.reaches["neck"].angle_deg
    assert -30.5 < low <= -30.0
    assert 20.0 <= high < 20.5


def test_what_holds_a_lever_that_follows_past_the_level_is_judged_there() -> None:
    """No cue and no end of its way stands where it pulls most, at 0 deg."""
    hanging = text(", in 3 s", load="320 g at 100 mm", more="level at 0 deg")
    hanging = hanging.replace("to 10 deg", "to 39 deg").replace("to 0 deg", "to 40 deg")
    (found,) = findings(hanging, "servo-heat")
    assert "holding 0 deg" in found.message


def test_all_that_follow_go_to_and_fro_together_for_heat_and_battery() -> None:
    cue = following_cue(show(text(", in 1 s")))
    assert cue is not None
    assert cue.name == FOLLOWING
    made = show(text())
    assert following_cue(replace(made, rig=replace(made.rig, follows=()))) is None
