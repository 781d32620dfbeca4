"""RMS torque over the busiest ten minutes: of cues that begin quietly, last long or crowd an hour.

A part is turned half a turn, from hanging straight down over level to straight up, again and again.
Its weight is light where it stands and heavy between. Over a minimum-jerk move the mean square of
the weight's torque is that of cos(180 deg s - 90 deg), by `scipy`'s quadrature.
"""

from __future__ import annotations

from dataclasses import replace
from math import cos, pi

import pytest
from scipy.integrate import quad

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.source import Source
from sim.model import Show
from sim.strain.heat import Heat, heats
from sim.strain.usage import rounds_ms

HEAD = """
supply pack
    source adapter 6 V, 10 A
board body: atmega328p, address 1
    feed pack
servo arm: body pin PB1
    pulse 1000 us at -90 deg, 2000 us at 90 deg
    travel -90 deg to 90 deg
    rating 0.20 s/60deg, 10 kgf.cm, 1.8 A at 6 V
    level at 0 deg
    load 600 g at 100 mm
safe pose rest
    arm -90 deg
cue b
    hold 480 s
    arm to -90 deg in 2 s
"""
TO_AND_FRO = """
        arm to 90 deg in 20 s
        arm to -90 deg in 20 s
"""


def level_share() -> float:
    """RMS of a minimum-jerk half turn's weight, over the stall torque: 6 of 10 kgf.cm at level."""

    def square(x: float) -> float:
        return cos(pi * (10 * x**3 - 15 * x**4 + 6 * x**5) - pi / 2.0) ** 2

    return 0.6 * float(quad(square, 0.0, 1.0)[0]) ** 0.5


def show(cue: str, usage: str = "") -> Show:
    text = (
        HEAD + cue + usage + "remote\n    button 1: go a\n    button 2: go b\n    stop button 3\n"
    )
    made = load_text(Source("x.cues", text)).show
    assert made is not None
    return made


def heat(cue: str, usage: str = "") -> Heat:
    (found,) = heats(show(cue, usage))
    return found


def test_an_endless_cue_that_begins_quietly_counts_with_what_it_repeats() -> None:
    """Ten quiet seconds first: nothing of the load is seen in a short look."""
    cue = "cue a\n    hold 10 s\n    repeat for ever" + TO_AND_FRO
    assert heat(cue).rms_share == pytest.approx(level_share(), rel=2e-3)


def test_what_is_repeated_while_a_button_is_held_counts_as_held_for_long() -> None:
    cue = (
        "cue a\n    hold 200 s\n    repeat while held" + TO_AND_FRO + "    arm to -90 deg in 1 s\n"
    )
    assert heat(cue).rms_share == pytest.approx(level_share(), rel=2e-3)


def test_the_busiest_ten_minutes_of_a_long_cue_count_and_not_its_mean() -> None:
    cue = "cue a\n    repeat 15 times" + TO_AND_FRO + "    hold 20 min\n"
    assert heat(cue).rms_share == pytest.approx(level_share(), rel=2e-3)


@pytest.mark.parametrize(("rounds", "busy"), [(14, 560.0), (15, 600.0), (16, 600.0)])
def test_a_window_ends_where_ten_minutes_do(rounds: int, busy: float) -> None:
    cue = f"cue a\n    repeat {rounds} times" + TO_AND_FRO + "    hold 20 min\n"
    assert heat(cue).rms_share == pytest.approx(level_share() * (busy / 600.0) ** 0.5, rel=2e-3)


def test_of_more_runs_than_ten_minutes_hold_the_hottest_count() -> None:
    """480 s of work and 482 s of quiet: ten minutes may hold all of the work."""
    usage = "usage\n    a 1 per hour\n    b 1 per hour\n"
    found = heat("cue a\n    repeat 12 times" + TO_AND_FRO, usage)
    least = level_share() * (480.0 / 600.0) ** 0.5
    assert least * (1 - 2e-3) <= found.rms_share <= least * 1.05


def test_an_endless_cue_that_overheats_a_servo_behind_a_quiet_start_is_found() -> None:
    cue = "cue a\n    hold 10 s\n    repeat for ever" + TO_AND_FRO
    text = HEAD.replace("hold 480 s", "hold 1 s").replace("600 g", "640 g") + cue
    text += "remote\n    button 1: go a\n    button 2: go b\n    stop button 3\n"
    found = check(load_text(Source("x.cues", text))).findings
    assert "servo-heat" in {finding.name for finding in found}


@pytest.mark.parametrize(("rounds", "severity"), [(14, "warning"), (15, "advice")])
def test_that_a_long_show_is_not_rehearsed_for_heat_is_told(rounds: int, severity: str) -> None:
    """40 s a round, 2 s of `b`: 562 s are rehearsed and found hot, 602 s are not rehearsed."""
    cue = f"cue a\n    repeat {rounds} times" + TO_AND_FRO
    text = HEAD.replace("    hold 480 s\n", "").replace("600 g", "640 g") + cue
    text += "remote\n    button 1: go a\n    button 2: go b\n    stop button 3\n"
    every = check(load_text(Source("x.cues", text))).findings
    (found,) = (one for one in every if one.name == "servo-heat")
    assert found.severity == severity
    assert ("602 s together, and up to 600 s" in found.message) is (severity == "advice")


@pytest.mark.parametrize(
    ("more", "named"),
    [(0, "`arm` gets"), (1, "`arm` and 1 more gets"), (2, "`arm` and 2 more gets")],
)
def test_all_parts_that_may_get_hot_unseen_are_told_of_in_one_finding(
    more: int, named: str
) -> None:
    """Times are in seconds beside a text that gives them in words."""
    servo = HEAD[HEAD.index("servo arm") : HEAD.index("safe pose")].replace("600 g", "640 g")
    rig = servo + "".join(
        servo.replace("arm", f"arm_{n}").replace("PB1", f"PB{n}") for n in range(2, 2 + more)
    )
    moves = "cue a\n    repeat 15 times" + TO_AND_FRO + "    hold 4 s\n"
    names = "".join(f" and arm_{n}" for n in range(2, 2 + more))
    rig += f"safe pose rest\n    arm{names} -90 deg\n"
    text = HEAD[: HEAD.index("servo arm")] + rig + moves.replace("arm to", f"arm{names} to")
    text += "remote\n    button 1: go a\n    stop button 3\n"
    (found,) = (
        one for one in check(load_text(Source("x.cues", text))).findings if one.name == "servo-heat"
    )
    assert named in found.message
    assert (found.asked, found.limit, found.unit) == (604.0, 600.0, "s")


def test_a_part_that_stands_still_while_what_carries_it_beats_is_found_hot() -> None:
    """Its own moves and poses ask for nothing: the chain's terms alone do."""
    text = """
supply pack
    source adapter 6 V, 40 A
board body: atmega328p, address 1
    feed pack
servo root: body pin PB1
    pulse 1000 us at -90 deg, 2000 us at 90 deg
    travel -90 deg to 90 deg
    rating 0.10 s/60deg, 60 kgf.cm, 20 A at 6 V
    axis upright
    load 50 g at 100 mm
servo tip: body pin PB2
    on root at 200 mm, weighs 20 g
    pulse 1000 us at -90 deg, 2000 us at 90 deg
    travel -90 deg to 90 deg
    rating 0.10 s/60deg, 1.6 kgf.cm, 1 A at 6 V
    load 40 g at 80 mm
cue a
    repeat for ever
        root to 12 deg in 160 ms
        root to -12 deg in 160 ms
cue b
    tip to 0 deg in 2 s
remote
    button 1: go a
    button 2: go b
    stop button 3
"""
    findings = check(load_text(Source("x.cues", text))).findings
    assert not [finding for finding in findings if finding.severity == "error"]
    assert ["tip" in f.message for f in findings if f.name == "servo-heat"] == [True]


def test_rounds_are_those_of_repeats_that_may_go_on() -> None:
    cues = {
        cue.name: cue
        for cue in show("cue a\n    hold 3 s\n    repeat for ever" + TO_AND_FRO).score.cues
    }
    assert rounds_ms(cues["a"]) == ((43_000.0, 83_000.0),)
    assert rounds_ms(cues["b"]) == ()
    ended = show("cue a\n    hold 3 s\n    repeat 9 times" + TO_AND_FRO).score.cues
    assert all(rounds_ms(cue) == () for cue in ended)
    assert rounds_ms(replace(cues["b"], body=cues["a"].body)) == rounds_ms(cues["a"])


def test_a_moment_that_is_held_at_the_end_of_a_cue_counts_as_nothing_more() -> None:
    """4 ms lie between two samples: the cue is judged without them."""
    quick = "cue a\n    arm to 0 deg in 1006 ms\n"
    held = f"{quick}    repeat while held\n        hold 4 ms\n"
    assert heat(held).rms_share == pytest.approx(heat(quick).rms_share, rel=1e-2)
