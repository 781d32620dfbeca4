"""Torque, heat over time, pinching and interruption, from both sides; figures worked out here.

A servo of 10 kgf.cm (0.980665 N.m) and 400 deg/s has, with a fifth kept in hand, at a speed w on
its horn (0.8 - w / 400) of its stall torque (MIT, Understanding D.C. Motor Characteristics).
"""

from __future__ import annotations

import re
from dataclasses import replace
from math import cos, radians, sqrt
from pathlib import Path

import numpy as np
import pytest

from seqlang.text.findings import Finding
from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import applied, findings, show

STALL_NM = 0.980665
SHOWS = Path(__file__).parents[2] / "findings"
PINCH = (SHOWS / "pinch-over-limit.cues").read_text()
CUT = (SHOWS / "interrupted-overload.cues").read_text()
WIDE = {"pulse": "900 us at -90 deg, 2100 us at 90 deg", "travel": "-60 deg to 60 deg"}


def lifted(grams: int, duration_ms: int = 2000, **jaw: str) -> str:
    """A weight on a lever of 100 mm, lifted 10 deg from level and let down."""
    return show(
        jaw={"load": f"{grams} g at 100 mm", "level": "at 0 deg", **jaw},
        cues={"snap": f"jaw to 10 deg in {duration_ms} ms\njaw to 0 deg in {duration_ms} ms"},
        supply=None,
    )


def down(duration_ms: int, **jaw: str) -> str:
    body = f"jaw to 60 deg in 2 s\njaw to 10 deg in {duration_ms} ms\njaw to 0 deg in 2 s"
    return show(jaw={"load": None, **jaw}, cues={"snap": body}, supply=None)


def swung(grams: float, times: str = "for ever") -> str:
    """A lever that swings through level between two poses in which it is half as heavy."""
    turn = "    jaw to 60 deg in 4 s\n    jaw to -60 deg in 4 s"
    return show(
        jaw={**WIDE, "load": f"{grams:.0f} g at 100 mm", "level": "at 0 deg"},
        poses="safe pose low\n    jaw -60 deg\n",
        cues={"snap": f"repeat {times}\n{turn}", "rest": "jaw to -60 deg in 9 s"},
        remote="button 1: go snap\nbutton 3: go rest\nstop button 2",
        supply=None,
    )


def nipped(at_mm: float) -> str:
    """9.4 kgf.cm stalled: 0.92183 N.m, so 140 N at 6.584 mm from the hinge."""
    return PINCH.replace("nip at 4 mm", f"nip at {at_mm} mm")


def rated(current: str) -> str:
    """0.980665 N.m times 400 deg/s are 6.846 W, which 1.141 A make of 6 V."""
    return show(jaw={"rating": f"0.15 s/60deg, 10 kgf.cm, {current}"}, supply=None)


IMPOSSIBLE = Limit(
    id="rating",
    name="rating-impossible",
    # without a stated running current there would be an advice
    passes=rated("1.142 A at 6.0 V, running 0.1 mA"),
    fails=rated("1.140 A at 6.0 V"),
    says="in the rating of `jaw`, stall torque times no-load speed is 100.1 % of "
    "voltage times stall current, and a motor "
    "reaches 100 % at most",
    severity="warning",
    asked=0.980665 * radians(400) / 6.84,
    limit=1.0,
    # sound sheets have half of it at the most
    fix="2.283 A",
    at="1.140 A",
)

LIMITS = (
    IMPOSSIBLE,
    replace(
        IMPOSSIBLE,
        id="rating-like-no-sound-sheet",
        passes=rated("2.283 A at 6.0 V"),
        fails=rated("2.281 A at 6.0 V"),
        says="in the rating of `jaw`, stall torque times no-load speed is 50.02 % of "
        "voltage times stall current, and "
        "sound data sheets have 50 % at most",
        severity="advice",
        asked=0.980665 * radians(400) / (6.0 * 2.281),
        limit=0.5,
        fix=None,
        at="2.281 A",
    ),
    replace(
        IMPOSSIBLE,
        id="rating-with-a-no-load-current",
        # (1 - I0 / Is)**2 of 2 A and 6 V: I0 of 0.489 A leave 6.846 W
        passes=rated("2 A at 6.0 V, running 488 mA"),
        fails=rated("2 A at 6.0 V, running 492 mA"),
        says="in the rating of `jaw`, stall torque times no-load speed is 57.1 % of "
        "voltage times stall current, and a "
        "motor reaches 56.9 % at most",
        asked=0.980665 * radians(400) / 12,
        limit=(1 - 0.246) ** 2,
        fix="3 A",
        at="2 A",
    ),
    Limit(
        id="speed-down",
        name="servo-speed",
        passes=down(293),
        fails=down(292),
        says="`jaw` must turn at 321 deg/s, and can do 320 deg/s",
        asked=1.875 * 50 / 0.292,
        limit=320,
        label="50 deg in 292 ms",
        fix="293 ms",
    ),
    Limit(
        id="acceleration-down",
        name="servo-acceleration",
        passes=down(538, acceleration="1000 deg/s2"),
        fails=down(537, acceleration="1000 deg/s2"),
        says="`jaw` would accelerate at 1001 deg/s2, and its limit is 1000 deg/s2",
        asked=10 / sqrt(3) * 50 / 0.537**2,
        limit=1000,
        label="50 deg in 537 ms",
        fix="538 ms",
    ),
    Limit(
        id="nip",
        name="pinch-over-limit",
        passes=nipped(6.6),
        fails=nipped(6.5),
        says="`jaw` presses with 142 N at its nip when it stalls, and 140 N are published for "
        "hands and fingers",
        severity="warning",
        asked=9.4 * 0.0980665 / 0.0065,
        limit=140,
        label="6.5 mm from the hinge",
        help="guard the gap and say from where on something can be caught, `nip at 7 mm`; or take "
        "a weaker servo or a lower gear ratio, let a weak link give way, or press with a broader, "
        "softer edge",
    ),
)


@each(LIMITS)
def test_a_servo_stands_just_so_much(limit: Limit) -> None:
    assert_holds(limit)


def torques(text: str) -> list[Finding]:
    return findings(text, "servo-torque")


@pytest.mark.parametrize(("grams", "gear"), [(790, 1.0), (1550, 2.0), (1550, -2.0), (396, 0.5)])
def test_the_torque_that_is_asked_and_left_is_that_of_the_line(grams: int, gear: float) -> None:
    found = torques(lifted(grams, gear=f"{gear:g}"))
    assert found
    worst = re.search(r"at ([\d.]+) deg: ([\d.]+) N.m at ([\d.]+) deg/s", found[0].notes[0])
    assert worst is not None
    angle_deg, torque_nm, speed_deg_s = map(float, worst.groups())
    weight_nm = grams / 1000 * 9.80665 * 0.1 * cos(radians(angle_deg)) / abs(gear)
    assert torque_nm == pytest.approx(weight_nm, rel=5e-3)
    assert found[0].asked == pytest.approx(weight_nm, rel=5e-3)
    assert found[0].limit == pytest.approx((0.8 - speed_deg_s / 400) * STALL_NM, rel=2e-3)
    assert found[0].notes[0].endswith("6 V at the servo, 20 % kept as margin")


@pytest.mark.parametrize("gear", [1.0, 2.0, 0.5])
def test_a_weight_that_the_line_leaves_passes(gear: float) -> None:
    """At 10 deg in 2 s the horn turns 9.4 deg/s at the most, without gears."""
    left = (0.8 - gear * 9.4 / 400) * STALL_NM / 9.80665 / 0.1 * 1000 * gear
    assert torques(lifted(int(0.995 * left), gear=f"{gear:g}")) == []
    assert torques(lifted(int(1.02 * left), gear=f"{gear:g}"))


def test_a_slower_move_is_computed_that_passes_and_none_quicker() -> None:
    text = lifted(780)
    one = torques(text)[0]
    assert one.fix is not None
    least_ms = int(one.fix.text.removesuffix(" ms"))
    assert torques(lifted(780, least_ms)) == []
    assert torques(lifted(780, least_ms - 1))


def test_a_weight_that_the_servo_cannot_hold_passes_in_no_time() -> None:
    """Four fifths of 10 kgf.cm hold 800 g at 100 mm."""
    one = torques(lifted(801))[0]
    assert one.fix is None
    assert one.label == "too much for this load"
    assert (one.help or "").startswith("no duration passes: ")
    assert all(each.fix for each in torques(lifted(790)))


def test_the_torque_of_a_part_that_swings_on_and_on_counts_as_heat() -> None:
    """RMS of cos(angle) over a minimum-jerk swing, by a fine sum; a third of the stall torque."""
    share = np.linspace(0.0, 1.0, 20001)
    way = 10 * share**3 - 15 * share**4 + 6 * share**5
    rms = float(np.sqrt(np.mean(np.cos(np.radians(-60.0 + 120.0 * way)) ** 2)))
    most_g = 10_000 / 3.0 / rms / 10.0
    assert findings(swung(0.985 * most_g), "servo-heat") == []
    (one,) = findings(swung(1.02 * most_g), "servo-heat")
    assert one.asked == pytest.approx(1.02 / 3.0, rel=0.01)
    assert one.limit == pytest.approx(1.0 / 3.0)
    assert "while `snap` repeats without a pause, RMS" in one.message


def braked(accel_deg_s2: int) -> list[Finding]:
    text = CUT.replace("20000 deg/s2", f"{accel_deg_s2} deg/s2")
    return findings(text, "interrupted-overload")


def test_a_braking_is_suggested_that_keeps_the_margin() -> None:
    (one,) = braked(20000)
    assert one.fix is not None
    gentle = int(one.fix.text.removesuffix(" deg/s2"))
    assert braked(gentle) == []
    # half of the slack is kept in hand; all of it is too much
    assert braked(round(1.02 * gentle))
    assert one.limit == pytest.approx(0.8)
    assert (one.asked or 0.0) > 0.81
    assert findings(applied(CUT, one), "interrupted-overload") == []


def stretched(duration_ms: int) -> list[Finding]:
    """A move that is cut short and started again; 40 ms are two frames."""
    body = f"jaw to 20 deg in {duration_ms} ms\nhold 2 s\njaw to 0 deg in 10 s"
    text = show(jaw={"acceleration": "3000 deg/s2"}, cues={"snap": body}, supply=None)
    return findings(text, "interrupted-stretch")


def test_a_move_that_takes_two_frames_longer_is_not_worth_a_word() -> None:
    delays = {ms: found[0].asked for ms in range(200, 400, 10) if (found := stretched(ms))}
    assert all(delay is not None and delay > 40.0 for delay in delays.values())
    assert 0 < len(delays) < 20
    assert min(delay or 0.0 for delay in delays.values()) < 45.0


# -- words and figures ----------------------------------------------------------------------------


def lowered(duration_ms: int) -> Finding:
    """Past its highest point, 300 g at 100 mm push the part up again while it goes down."""
    jaw = {"load": "300 g at 100 mm", "level": "at -120 deg"}
    body = f"jaw to 60 deg in 2 s\njaw to 0 deg in {duration_ms} ms"
    found = findings(show(jaw=jaw, cues={"snap": body}, supply=None), "servo-speed")
    (one,) = [each for each in found if each.label == f"60 deg in {duration_ms} ms"]
    return one


def test_the_speed_that_is_left_is_that_of_the_line_at_the_torque_asked() -> None:
    """A torque along the motion takes its share of the line, whichever way both point."""
    one = lowered(330)
    worst = re.search(r": ([\d.]+) N.m at ([\d.]+) deg/s", one.notes[0])
    assert worst is not None
    torque_nm, speed_deg_s = map(float, worst.groups())
    assert torque_nm > 0.1
    assert one.limit == pytest.approx(400 * (0.8 - torque_nm / STALL_NM), rel=3e-3)
    assert one.asked == pytest.approx(speed_deg_s, rel=3e-3)


def test_a_move_that_starts_from_the_safe_pose_points_at_it() -> None:
    text = show(
        jaw={"load": None},
        poses="safe pose low\n    jaw 10 deg\n",
        cues={"snap": "jaw to 60 deg in 200 ms\njaw to 10 deg in 2 s"},
        supply=None,
    )
    (one,) = findings(text, "servo-speed")
    ((span, words),) = one.related
    assert words == "`jaw` comes from 10 deg, set here"
    assert text[: span.start].count("\n") == text[: text.index("jaw 10 deg")].count("\n")


def test_a_move_that_starts_where_another_ended_points_at_that() -> None:
    text = show(
        jaw={"load": None},
        cues={"snap": "jaw to 60 deg in 2 s\njaw to 5 deg in 200 ms"},
        supply=None,
    )
    (one,) = findings(text, "servo-speed")
    ((span, words),) = one.related
    assert words == "`jaw` comes from 60 deg, set here"
    assert text[span.start :].startswith("jaw to 60 deg")


def test_a_duration_in_tenths_is_suggested_in_tenths_and_told_to_the_millisecond() -> None:
    """60 deg take at least 1.875 * 60 / 320 = 351.6 ms."""
    body = "jaw to 60 deg in 0.3 s\njaw to 0 deg in 2.0 s"
    text = show(jaw={"load": None}, cues={"snap": body}, supply=None)
    (one,) = findings(text, "servo-speed")
    assert one.help == "`0.4 s` passes; the shortest duration that does is 352 ms"


def test_of_force_and_pressure_the_one_farther_over_its_limit_is_named() -> None:
    """At 4 mm 230 N on 1 cm2: 1.65 times 140 N, and 1.21 times 190 N/cm2."""
    (one,) = findings(nipped(4), "pinch-over-limit")
    assert one.unit == "N"
    assert one.asked == pytest.approx(9.4 * 0.0980665 / 0.004)
    thin = nipped(6.6).replace(", 20 mm by 10 mm", ", 10 mm by 5 mm")
    (pressed,) = findings(thin, "pinch-over-limit")
    assert pressed.unit == "N/cm2"
    assert pressed.asked == pytest.approx(9.4 * 0.0980665 / 0.0066 / 0.5)
    assert pressed.limit == 190


def test_a_jump_of_speed_is_named_once_from_wherever_it_starts() -> None:
    """0.003 kg m2 brought to 40 deg in 0.4 s, from 0 and from 1 deg."""
    cues = {
        "snap": "jaw to 40 deg in 400 ms, uniform\njaw to 0 deg in 3 s",
        "peep": "jaw to 1 deg in 3 s",
    }
    remote = "button 1: go snap\nbutton 3: go peep\nstop button 2"
    jaw = {"load": "300 g at 100 mm", "level": "at -50 deg"}
    text = show(jaw=jaw, cues=cues, remote=remote, supply=None)
    assert len(findings(text, "speed-jump")) == 1
    eased = text.replace(", uniform", "")
    assert findings(eased, "speed-jump") == []


@pytest.mark.parametrize("running", ["492 mA", "1 A", "1.99 A"])
def test_the_stall_current_that_is_suggested_can_be(running: str) -> None:
    (one,) = findings(rated(f"2 A at 6 V, running {running}"), "rating-impossible")
    assert one.fix is not None
    mended = rated(f"{one.fix.text} at 6 V, running {running}")
    assert findings(mended, "rating-impossible") == []


def test_what_sound_sheets_claim_is_told() -> None:
    """29 to 50 % of the sheets that were looked at (`sim/rig/ratings.py`)."""
    (one,) = findings(rated("1.140 A at 6.0 V"), "rating-impossible")
    assert one.notes[0].endswith("sheets have 29 to 50 %")


@pytest.mark.parametrize("running", ["2 A", "2.4 A"])
def test_a_servo_cannot_run_free_on_more_than_it_stalls_with(running: str) -> None:
    (one,) = findings(rated(f"2 A at 6 V, running {running}"), "rating-impossible")
    assert one.message.startswith(f"`jaw` is rated to draw {running} while it turns without a load")
    assert one.fix is None


def test_a_move_without_energy_has_no_figure_of_it() -> None:
    """5 ug at 1 mm: what moves then has less than 10 nJ."""
    still = show(jaw={"load": "0.005 g at 1 mm"}, cues={"snap": "jaw to 1 deg in 4 s"})
    heavy = show(jaw={"load": "60 g at 60 mm"}, cues={"snap": "jaw to 50 deg in 1 s"})
    assert "mJ" not in findings(still, "caution-pinch")[0].notes[0]
    assert "mJ" in findings(heavy, "caution-pinch")[0].notes[0]


def test_an_easy_move_beside_it_does_not_hide_one_that_heats() -> None:
    """At 55 to 60 deg the weight pulls but half."""
    hot = swung(465, "for ever")
    assert len(findings(hot, "servo-heat")) == 1
    nod = "cue nod\n    jaw to -55 deg in 4 s\n    jaw to -60 deg in 4 s\n\ncue rest"
    both = hot.replace("cue rest", nod).replace(
        "stop button 2", "button 4: go nod\n    stop button 2"
    )
    assert both.count("go nod") == 1
    assert len(findings(both, "servo-heat")) == 1


@pytest.mark.parametrize(
    ("near", "hands"), [("near chest", True), ("near hand", False), ("tilt 5 deg", False)]
)
def test_a_finger_in_the_nip_is_held_against_a_hand_whatever_the_region(
    near: str, hands: bool
) -> None:
    """A nip's 130 N/cm2 are no `all under 120 N/cm2`: they are no chest's business."""
    text = f"wearer\n    {near}\n" + show(jaw={"load": "60 g at 60 mm"})
    (found,) = findings(text, "caution-pinch")
    said = [note for note in found.notes if "published for" in note]
    assert len(said) == (2 if hands else 1)
    assert said[0].startswith("at their tips ") is hands
    assert ("published for hands" in said[-1]) is (hands or near != "near chest")
