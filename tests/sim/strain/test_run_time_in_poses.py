"""Run time counts what the poses cost in which cues leave parts, not the safe pose alone.

A battery of C ampere-hours, of which a share u is used, lasts C u / I hours at a mean current of I.
Holding 300 g at 100 mm level takes 0.294 N.m; the motor's current is in proportion to torque
between its running and its stall current (the model of PHYSICS.md).
"""

from __future__ import annotations

from math import cos, radians
from pathlib import Path

import pytest

from seqlang.loading import load, load_text
from seqlang.text.source import Source
from sim.rig.battery import pack_ah, run_time_h
from sim.strain.heat import heats
from sim.strain.sizing import size
from sim.strain.usage import Book, Mix, Share, run_time, source_mean_a

SHOWS = Path(__file__).parents[3] / "shows"
ARM = """
supply pack
    source 2 li-ion cells, 2000 mAh
    regulator 6.0 V, 5 A
board body: atmega328p, address 1
    feed pack, 300 mm of 20 AWG
servo arm: body pin PB1
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 90 deg
    rating 0.17 s/60deg, 20 kgf.cm, 2.1 A at 6.0 V
    load 300 g at 100 mm
    level at 0 deg
safe pose hangs_up
    arm 90 deg
cue raise_it
    arm to 0 deg in 2 s
usage
    raise_it 1 per hour
"""
BACK = "cue raise_it\n    arm to 0 deg in 2 s\n    arm to 90 deg in 2 s\n"


def book(text: str) -> Book:
    found = load_text(Source("t.cues", text))
    assert found.show is not None
    assert found.findings == ()
    return Book(found.show)


def test_a_part_that_a_cue_leaves_level_is_held_for_the_rest_of_the_hour() -> None:
    made = book(ARM)
    supply = made.show.rig.supplies[0]
    mean = source_mean_a(made, supply, made.mix())
    stays = book(ARM.replace("in 2 s", "in 2 s\n    hold 100 ms"))
    held = stays["raise_it"].upright.supplies["pack"].source_a[-1]
    assert mean == pytest.approx(held, rel=0.02)
    assert mean > 0.25
    expected = run_time_h(pack_ah(supply.source), mean)  # type: ignore[arg-type]
    found = run_time((made,), supply)
    assert found is not None
    assert found.hours == pytest.approx(expected)


def test_a_cue_that_brings_the_part_back_costs_its_own_seconds_only() -> None:
    made = book(ARM.replace("cue raise_it\n    arm to 0 deg in 2 s\n", BACK))
    supply = made.show.rig.supplies[0]
    assert source_mean_a(made, supply, made.mix()) < 0.06


def test_an_idle_cue_that_moves_something_else_holds_what_it_finds() -> None:
    with_idle = (
        ARM + "lamp eye: body pin PD6\ncue glow\n    eye fade to 9 % in 1 s\nidle: go glow\n"
    )
    made = book(with_idle)
    supply = made.show.rig.supplies[0]
    assert source_mean_a(made, supply, made.mix()) > 0.25


NODS = (
    "cue raise_it\n    repeat for ever\n        arm to 0 deg in 2 s\n        arm to 90 deg in 2 s\n"
)


def test_a_cue_without_end_goes_on_for_the_rest_of_the_hour_however_rarely_it_is_started() -> None:
    endless = ARM.replace("cue raise_it\n    arm to 0 deg in 2 s\n", NODS)
    made = book(endless)
    supply = made.show.rig.supplies[0]
    nodding = float(made["raise_it"].upright.supplies["pack"].source_a.mean())
    assert made.goes_on == ("raise_it",)
    assert source_mean_a(made, supply, made.mix()) == pytest.approx(nodding, rel=1e-6)
    assert nodding > 0.1
    (feed,) = size(made.show).supplies[0].feeds
    once = book(endless.replace("    repeat for ever\n", "    repeat 2 times\n"))
    assert once.goes_on == ()
    assert feed.rms_a > 2.0 * size(once.show).supplies[0].feeds[0].rms_a


def test_a_cue_without_end_that_takes_less_than_what_others_leave_does_not_help() -> None:
    """What `raise_it` leaves takes more to hold than the glow that goes on beside it."""
    glow = "cue glow\n    repeat for ever\n        eye fade to 9 % in 1 s\n        eye off\n"
    more = ARM.replace("usage\n", f"lamp eye: body pin PD6\n{glow}usage\n    glow 1 per hour\n")
    made = book(more.replace("        eye off\n", "        eye fade to 0 % in 1 s\n"))
    supply = made.show.rig.supplies[0]
    assert made.goes_on == ("glow",)
    assert source_mean_a(made, supply, made.mix()) > 0.25


def test_a_servo_that_works_in_a_cue_without_end_gets_as_hot_as_if_nothing_else_ran() -> None:
    endless = ARM.replace("cue raise_it\n    arm to 0 deg in 2 s\n", NODS)
    (stated,) = heats(book(endless).show)
    (alone,) = heats(book(endless.partition("usage\n")[0]).show)
    assert stated.cue is None
    assert stated.rms_share == pytest.approx(alone.rms_share, rel=1e-2)
    ended = endless.replace("    repeat for ever\n", "    repeat 2 times\n")
    (rarely,) = heats(book(ended).show)
    assert rarely.rms_share < 0.5 * stated.rms_share


def test_what_stands_before_a_loop_without_end_does_not_lengthen_the_run_time() -> None:
    """Ten seconds of rest, once, are nothing in an hour of nodding."""
    endless = ARM.replace("cue raise_it\n    arm to 0 deg in 2 s\n", NODS)
    made = book(endless + "idle: go raise_it\n")
    waits = NODS.replace("cue raise_it\n", "cue raise_it\n    hold 10 s\n")
    late = book(ARM.replace("cue raise_it\n    arm to 0 deg in 2 s\n", waits))
    supply = made.show.rig.supplies[0]
    without = source_mean_a(made, supply, made.mix())
    (rest,) = [share for share in late.mix().shares if share.rests]
    assert rest.share > 0.99
    assert source_mean_a(late, supply, late.mix()) == pytest.approx(without, rel=0.01)


def by_hand_a(cell_v: float, light_a: float) -> float:
    """The pack's current while the anglerfish dozes, from the figures written in its show.

    Each servo takes its running current and, with the torque T that holds its part, T / Ts of what
    is left up to its stall current. The jaw's 120 g at 80 mm swing by 5 deg, 3.5 deg in the mean
    off the level (at 10 deg). Each fin is a plate of 18 g whose middle is 60 mm out, within 8 deg
    of the level. Both are so slow that inertia takes nothing (the jaw: 6 deg/s2). The board has 30
    mA, each of 30 pixels 1 mA in the dark. The regulator keeps power, at 92 %.
    """
    g, kgf_cm = 9.80665, 0.0980665
    jaw = 0.24 + (2.1 - 0.24) * 0.120 * g * 0.080 * cos(radians(3.5)) / (9.4 * kgf_cm)
    fin = 0.09 + (0.8 - 0.09) * 0.018 * g * 0.060 * cos(radians(5.0)) / (2.2 * kgf_cm)
    at_6_v = jaw + 2.0 * fin + 0.030 + 30 * 0.001 + light_a
    return at_6_v * 6.0 / 0.92 / (2.0 * cell_v)


def test_the_run_time_of_the_demo_is_that_of_its_idle_cue_worked_out_by_hand() -> None:
    """Between lights out on a fresh half of the pack, and both lights at their brightest.

    A li-ion cell has 3.65 V to 3.75 V at half its charge (common practice, no source). The lure's
    two LEDs of 20 mA at L* 35 % give at most 8.5 % of their light; 30 pixels of #0030a0 at 45 %
    give 38 % of one colour's 20 mA, times 14.5 % (CIE L* and sRGB).
    """
    show = load(SHOWS / "anglerfish" / "anglerfish.cues").show
    assert show is not None
    made = Book(show)
    supply = show.rig.supplies[0]
    dozes = Share("doze", 1.0, rests=True)
    mean = source_mean_a(made, supply, Mix((dozes,), True, False))
    brightest_a = 0.040 * 0.085 + 30 * 0.020 * 0.38 * 0.145
    least, most = by_hand_a(3.75, 0.0), by_hand_a(3.65, brightest_a)
    assert least < mean < most
    assert most < 1.09 * least
    share = next(one.share for one in made.mix().shares if one.rests)
    assert share > 0.85  # the acts take a seventh of the hour, and about as much current
    found = run_time((made,), supply)
    assert found is not None
    assert 3.0 * 0.8 / most < found.hours < 1.04 * 3.0 * 0.8 / least
