"""How hard and for how long a servo grips, from both sides; figures worked out here.

A servo of 10 kgf.cm (0.980665 N.m) with a fifth kept in hand has 0.784532 N.m: 13.07 N on a lever
of 60 mm. A stalled winding with a time constant of 10 s reaches in t what a third of the stall
torque brings it to for ever: 1 - exp(-t / 10 s) = 1 / 9, so t = 1.178 s (heat balance of a body of
one heat capacity; the time constant is from memory, `sim/strain/heat.py`).
"""

from __future__ import annotations

from dataclasses import replace
from math import exp, log, radians

import pytest

from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import applied, findings, servo, show

HAS_NM = 0.8 * 0.980665
REMOTE = "button 1: go close\nbutton 3: go open\nstop button 2"
CLOSE = {"close": "jaw to 60 deg in 2 s", "open": "jaw to 0 deg in 2 s"}


def finger(
    grip: str, supply: str | None = None, close: str = CLOSE["close"], poses: str = "", **jaw: str
) -> str:
    """A jaw that meets something at 40 deg of 60."""
    word, line = grip.split(" ", 1)
    return show(
        jaw={"load": None, word: line, **jaw},
        supply=supply,
        poses=poses,
        cues={**CLOSE, "close": close},
        remote=REMOTE,
    )


def presses(force: str, **jaw: str) -> str:
    return finger(f"grips {force} at 60 mm, past 40 deg, for 1.5 s", **jaw)


def stalls(time: str, **more: str) -> str:
    return finger(f"stalls past 40 deg, for {time}", **more)


def weak(asked: str) -> str:
    return f"`jaw` must give {asked} N.m to grip, and can give 0.785 N.m"


WEAK = Limit(
    id="force",
    name="grip-too-weak",
    passes=presses("13.0 N"),
    fails=presses("13.1 N"),
    says=weak("0.786"),
    asked=13.1 * 0.06,
    limit=HAS_NM,
    label="at 40 deg of `jaw`",
    fix="13.0 N",
    at="13.1 N",
)

LIMITS = (
    WEAK,
    replace(
        WEAK,
        id="force-geared-down",
        passes=presses("26.1 N", gear="2"),
        fails=presses("26.2 N", gear="2"),
        fix="26.1 N",
        at="26.2 N",
    ),
    replace(
        WEAK,
        id="force-geared-up-the-other-way-round",
        passes=presses("6.5 N", gear="-0.5"),
        fails=presses("6.6 N", gear="-0.5"),
        says=weak("0.792"),
        asked=6.6 * 0.06 / 0.5,
        fix="6.5 N",
        at="6.6 N",
    ),
    replace(
        WEAK,
        # 40 g at 100 mm pull with 0.0392 N.m where they lie level, at 50 deg
        id="force-beside-a-weight",
        passes=presses("12.4 N", load="40 g at 100 mm", level="at 50 deg"),
        fails=presses("12.5 N", load="40 g at 100 mm", level="at 50 deg"),
        says=weak("0.789"),
        asked=12.5 * 0.06 + 0.04 * 9.80665 * 0.1,
        label="at 50 deg of `jaw`",
        fix="12.4 N",
        at="12.5 N",
    ),
    replace(
        WEAK,
        # 0.2 N.m/rad, slack at 0 deg, pull it open with 0.2094 N.m at 60 deg
        id="force-against-a-spring",
        passes=presses("9.5 N", spring="0.2 N.m/rad, neutral at 0 deg"),
        fails=presses("9.6 N", spring="0.2 N.m/rad, neutral at 0 deg"),
        says="`jaw` must give 0.7854 N.m to grip, and can give 0.7845 N.m",
        asked=9.6 * 0.06 + 0.2 * radians(60),
        label="at 60 deg of `jaw`",
        fix="9.5 N",
        at="9.6 N",
    ),
    replace(
        WEAK,
        # slack at 80 deg it closes it, with at least 0.0698 N.m at 60 deg
        id="force-beside-a-spring",
        passes=presses("14.2 N", spring="0.2 N.m/rad, neutral at 80 deg"),
        fails=presses("14.3 N", spring="0.2 N.m/rad, neutral at 80 deg"),
        says=weak("0.788"),
        asked=14.3 * 0.06 - 0.2 * radians(20),
        label="at 60 deg of `jaw`",
        fix="14.2 N",
        at="14.3 N",
    ),
    Limit(
        id="stall",
        name="grip-too-long",
        passes=stalls("1.17 s"),
        fails=stalls("1.18 s"),
        says="`jaw` is worked at 100 % of its stall torque for 1.18 s while `jaw` grips, and "
        "can take that for about 1.178 s",
        severity="warning",
        asked=1.18,
        limit=-10 * log(1 - 1 / 9),
        fix="1.17 s",
        at="1.18 s",
    ),
    Limit(
        # 11.3 N on 60 mm: 69.14 % of the stall torque
        id="force-for-long",
        name="grip-too-long",
        passes=finger("grips 11.3 N at 60 mm, past 40 deg, for 2.6 s"),
        fails=finger("grips 11.3 N at 60 mm, past 40 deg, for 2.7 s"),
        says="`jaw` is worked at 69.1 % of its stall torque for 2.7 s while `jaw` grips, and "
        "can take that for about 2.65 s",
        severity="warning",
        asked=2.7,
        limit=-10 * log(1 - (0.980665 / 3 / 0.678) ** 2),
        fix="2.6 s",
        at="2.7 s",
    ),
)


@each(LIMITS)
def test_a_servo_grips_just_so_hard_and_so_long(limit: Limit) -> None:
    assert_holds(limit)


def test_a_pose_that_takes_all_the_torque_leaves_no_force_to_suggest() -> None:
    """900 g at 100 mm are 0.883 N.m."""
    (one,) = findings(presses("1 N", load="900 g at 100 mm", level="at 50 deg"), "grip-too-weak")
    assert one.fix is None
    assert one.asked == pytest.approx(0.06 + 0.9 * 0.980665)
    assert "what it can grip with" not in (one.help or "")


def test_the_voltage_that_the_show_leaves_counts_and_is_told() -> None:
    """At 5 V a servo rated at 6 V has five sixths of its torque."""
    text = presses("10.9 N", supply="source adapter 5 V, 6 A")
    (one,) = findings(text, "grip-too-weak")
    volts = float(one.notes[0].partition(" V")[0])
    assert 4.8 < volts < 5.0
    assert one.limit == pytest.approx(HAS_NM * volts / 6.0, rel=2e-3)
    assert one.notes[0].endswith("20 % kept as margin")
    assert findings(applied(text, one), "grip-too-weak") == []
    assert findings(presses("10.9 N", supply="source adapter 6 V, 6 A"), "grip-too-weak") == []


def test_a_stall_over_the_rated_voltage_heats_the_sooner() -> None:
    """7.4 V for 6 V: 123 % of the torque; less than a second is suggested in milliseconds."""
    text = stalls("4 s", supply="source adapter 7.4 V, 6 A")
    (one,) = findings(text, "grip-too-long")
    assert one.limit == pytest.approx(-10 * log(1 - (6 / 7.4 / 3) ** 2), rel=1e-3)
    assert one.message.startswith("`jaw` is worked at 123 % of its stall torque for 4 s")
    assert one.fix is not None
    assert one.fix.text == "758 ms"
    assert one.help is not None
    assert one.help.startswith("`758 ms` at one go")
    left = findings(applied(text, one), "grip-too-long")
    assert not any("is worked at" in other.message for other in left)


def test_how_long_a_grip_lasts_is_no_question_at_a_third_of_the_torque() -> None:
    third_n = 0.980665 / 3 / 0.06  # 5.448 N
    for force, found in ((f"{third_n - 0.01:.2f}", 0), (f"{third_n + 0.01:.2f}", 1)):
        text = finger(f"grips {force} N at 60 mm, past 40 deg, for 600 s")
        assert len(findings(text, "grip-too-long")) == found
    lasts_s = -10 * log(1 - (third_n / (third_n + 0.01)) ** 2)
    assert 50 < lasts_s < 70
    assert exp(-lasts_s / 10) < 0.01


RACK = {
    "pulse": "900 us at 0 mm, 2100 us at 60 mm",
    "travel": "0 mm to 55 mm",
    "rack": "94 mm per turn",
    "load": "50 g",
    "slope": "0 deg",
}
ROD = {
    **{word: line for word, line in RACK.items() if word != "rack"},
    "rating": "40 mm/s, 60 N, 2 A at 6.0 V",
    "rotor": None,
}


@pytest.mark.parametrize(
    ("lines", "grip", "helps"),
    [
        ({}, "grips 11.3 N at 60 mm, past 40 deg, for 60 s", True),
        ({}, "stalls past 40 deg, for 60 s", False),
        (RACK, "grips 55 N, past 40 mm, for 60 s", False),
        (RACK, "stalls past 40 mm, for 60 s", False),
        (ROD, "grips 46 N, past 40 mm, for 60 s", False),
    ],
)
def test_a_shorter_lever_is_only_advised_where_it_takes_less_torque(
    lines: dict[str, str | None], grip: str, helps: bool
) -> None:
    """Torque is force times lever: a stalled servo gives all of its own, a line has no lever."""
    unit = "mm" if "mm, for" in grip and lines else "deg"
    word, line = grip.split(" ", 1)
    text = show(
        jaw={"load": None, **lines, word: line},
        supply=None,
        cues={"close": f"jaw to 50 {unit} in 3 s", "open": f"jaw to 0 {unit} in 3 s"},
        remote=REMOTE,
    )
    worked = [one for one in findings(text, "grip-too-long") if "is worked at" in one.message]
    (one,) = worked
    assert ("closer to the hinge" in (one.help or "")) is helps
    assert (one.help or "").endswith("or take a stronger servo")


# -- what is closed for longer than it was declared ----------------------------------------------


def kept(hold: str, declared: str = "2 s") -> str:
    """Past 40 of 60 deg for the last 30 % of a minimum-jerk move of 2 s, and of the way back."""
    close = f"jaw to 60 deg in 2 s\nhold {hold}\njaw to 0 deg in 2 s"
    return finger(f"grips 2 N at 60 mm, past 40 deg, for {declared}", close=close)


def test_a_cue_keeps_a_part_closed_for_no_longer_than_declared() -> None:
    """Minimum jerk passes two thirds of its way after 59.2 % of its time: 0.816 s are left."""
    assert findings(kept("300 ms"), "grip-too-long") == []
    (one,) = findings(kept("500 ms"), "grip-too-long")
    assert one.asked == pytest.approx(0.5 + 2 * 0.816, abs=0.03)
    assert (one.limit, one.unit, one.severity) == (2.0, "s", "warning")
    assert f"keeps `jaw` closed for {one.asked:.2f} s" in one.message
    assert "declared for 2 s" in one.message
    assert [words for _, words in one.related] == ["keeps it closed"]


@pytest.mark.parametrize("holds", [("500 ms", "20 ms"), ("20 ms", "500 ms")])
def test_of_several_times_at_which_a_cue_keeps_a_part_closed_the_longest_counts(
    holds: tuple[str, str],
) -> None:
    grips = "jaw to 60 deg in 2 s\nhold {}\njaw to 0 deg in 2 s\nhold 1 s"
    close = "\n".join(grips.format(hold) for hold in holds)
    text = finger("grips 2 N at 60 mm, past 40 deg, for 2 s", close=close)
    (one,) = findings(text, "grip-too-long")
    assert one.asked == pytest.approx(0.5 + 2 * 0.816, abs=0.03)


def test_of_several_cues_that_keep_a_part_closed_the_longest_is_named_once() -> None:
    text = kept("4 s").replace(
        "cue open",
        "cue shut\n    jaw to 55 deg in 2 s\n    hold 2 s\n    jaw to 0 deg in 2 s\ncue open",
    )
    text = text.replace("stop button", "button 4: go shut\n    stop button")
    (one,) = findings(text, "grip-too-long")
    assert one.message.startswith("`close` keeps `jaw` closed for 5.6")


@pytest.mark.parametrize(
    "close",
    [
        "jaw to 60 deg in 2 s\nrepeat for ever\n    hold 1 s",
        "repeat for ever\n    jaw to 50 deg in 1 s\n    jaw to 60 deg in 2 s",
        "jaw to 45 deg in 2 s\nrepeat for ever\n    jaw to 60 deg in 1 s\n    jaw to 45 deg in 1 s",
    ],
)
def test_a_part_that_never_lets_go_again_is_told_of_however_long_its_grip_may_last(
    close: str,
) -> None:
    """Longer than a look at a cue without an end, which is 8 s."""
    text = finger("grips 2 N at 60 mm, past 40 deg, for 20 s", close=close)
    (one,) = findings(text, "grip-too-long")
    assert "`close` keeps `jaw` closed without end" in one.message
    assert (one.asked, one.limit) == (None, 20.0)


def test_a_part_that_opens_in_each_pass_is_closed_for_that_long_at_one_go() -> None:
    """Past 40 of 60 deg for the last 40.8 % of the way there, and as long on the way back."""
    again = "repeat for ever\n    jaw to 60 deg in 2 s\n    jaw to 0 deg in 2 s"
    (one,) = findings(
        finger("grips 2 N at 60 mm, past 40 deg, for 1 s", close=again), "grip-too-long"
    )
    assert one.asked == pytest.approx(2 * 0.816, abs=0.03)
    long = finger("grips 2 N at 60 mm, past 40 deg, for 2 s", close=again)
    assert findings(long, "grip-too-long") == []


def test_a_safe_pose_that_grips_never_lets_go() -> None:
    (one,) = findings(stalls("1 s", poses="safe pose shut\n    jaw 50 deg\n"), "grip-too-long")
    assert "in its safe pose" in one.message
    assert (one.asked, one.limit) == (None, 1.0)
    assert [words for _, words in one.related] == ["closed here"]
    unsaid = finger("stalls below 40 deg, for 1 s")
    (rests,) = findings(unsaid, "grip-too-long")
    assert [words for _, words in rests.related] == ["rests as near to 0 deg as it can"]
    ((span, _),) = rests.related
    assert unsaid[span.start : span.end] == "jaw"


# -- over minutes --------------------------------------------------------------------------------


@pytest.mark.parametrize(("force", "told"), [("11 N", True), ("2 N", False)])
def test_a_grip_that_never_lasts_too_long_may_heat_the_servo_over_minutes(
    force: str, told: bool
) -> None:
    """11 N on 60 mm are 67 % of the stall torque. Past 40 of 60 deg it is for the hold of 500 ms
    and for 0.408 s on the way there and back: for 1.32 s of 2.5 s, so 49 % in the mean square."""
    close = "jaw to 60 deg in 1 s\nhold 500 ms\njaw to 0 deg in 1 s"
    text = finger(f"grips {force} at 60 mm, past 40 deg, for 1.5 s", close=close)
    assert findings(text, "grip-too-long") == []
    found = findings(text, "servo-heat")
    assert len(found) == told
    for one in found:
        assert "while `close` repeats without a pause, RMS" in one.message
        assert one.asked == pytest.approx(0.66 / 0.980665 * (1.316 / 2.5) ** 0.5, rel=0.02)


# -- a part that carries the one that grips ------------------------------------------------------


def hand(force_n: float, arm_kgf_cm: float = 30) -> str:
    """A finger whose hinge stands 140 mm out on an arm: 200 mm from the arm's hinge to the grip."""
    return show(
        jaw={"load": "10 g at 50 mm", "rating": f"0.15 s/60deg, {arm_kgf_cm} kgf.cm, 2 A at 6.0 V"},
        rig=servo(
            "tip",
            "PB2",
            {
                "on": "jaw at 140 mm",
                "load": None,
                "grips": f"{force_n} N at 60 mm, past 40 deg, for 600 ms",
            },
        ),
        supply=None,
        cues={"close": "tip to 60 deg in 2 s", "open": "tip to 0 deg in 2 s\njaw to 9 deg in 4 s"},
        remote=REMOTE,
    )


def test_what_carries_a_grip_bears_its_force_on_a_longer_lever() -> None:
    """10 N on 200 mm and the arm's own weight: over 80 % of 25 kgf.cm, under those of 30."""
    assert findings(hand(10, 30), "grip-too-weak") == []
    text = hand(10, 25)
    (one,) = findings(text, "grip-too-weak")
    assert one.message.startswith("`jaw` must give 2 N.m")
    assert one.limit == pytest.approx(2.5 * HAS_NM)
    assert 10 * 0.2 < (one.asked or 0.0) < 10 * 0.2 + 0.05
    assert one.fix is None
    assert text[one.span.start : one.span.end].startswith("grips 10 N")
    assert [words for _, words in one.related] == ["the servo that bears it"]
    ((span, _),) = one.related
    assert text[span.start : span.end] == "jaw"


def test_a_grip_heats_what_carries_it_as_well() -> None:
    text = hand(10, 25).replace("for 600 ms", "for 5 s")
    found = findings(text, "grip-too-long")
    worked = [one for one in found if "is worked at" in one.message]
    assert {one.message.partition(" is worked")[0] for one in worked} == {"`jaw`", "`tip`"}
    carrier = next(one for one in worked if one.message.startswith("`jaw`"))
    assert "while `tip` grips" in carrier.message


@pytest.mark.parametrize(("hold", "told"), [("590 s", False), ("600 s", True)])
def test_a_show_too_long_to_rehearse_has_its_grips_left_open_and_says_so(
    hold: str, told: bool
) -> None:
    """10 s of moves and the hold; ten minutes are rehearsed."""
    long = f"jaw to 60 deg in 2 s\njaw to 0 deg in 2 s\nhold {hold}"
    text = finger("grips 5 N at 60 mm, past 40 deg, for 2 s", close=long)
    found = [one for one in findings(text, "grip-too-long") if one.severity == "advice"]
    assert bool(found) is told
    for one in found:
        assert one.message.startswith(
            "whether cues keep `jaw` closed for longer than declared is not checked: the cues take"
        )
        assert text[one.span.start : one.span.end] == "2 s"
        assert one.limit == 600.0
        assert (one.asked or 0.0) > 600.0


def test_of_a_long_show_each_part_that_grips_is_counted_once_and_no_other() -> None:
    """Both cues close the jaw; the tail grips nothing, whatever moves it."""
    shut = "jaw to 60 deg in 2 s\njaw to 0 deg in 2 s\ntail to 9 deg in 2 s\ntail to 0 deg in 2 s"
    text = show(
        jaw={"load": None, "grips": "5 N at 60 mm, past 40 deg, for 2 s"},
        rig=servo("tail", "PB2", {"load": None}),
        cues={"close": f"{shut}\nhold 700 s", "open": shut},
        remote=REMOTE,
    )
    (one,) = [each for each in findings(text, "grip-too-long") if each.severity == "advice"]
    assert one.message.startswith("whether cues keep `jaw` closed for longer")


def test_only_parts_that_a_cue_closes_are_left_open_in_a_long_show() -> None:
    opens = "jaw to 20 deg in 2 s\njaw to 0 deg in 2 s\nhold 700 s"
    cues = {"close": opens, "open": "jaw to 0 deg in 2 s"}
    jaw = {"load": None, "grips": "5 N at 60 mm, past 40 deg, for 2 s"}
    assert findings(show(jaw=jaw, cues=cues, remote=REMOTE), "grip-too-long") == []


def test_a_safe_pose_that_grips_is_told_however_long_the_show_is() -> None:
    long = "jaw to 60 deg in 2 s\njaw to 0 deg in 2 s\nhold 700 s"
    shut = "safe pose shut\n    jaw 50 deg\n"
    text = finger("grips 5 N at 60 mm, past 40 deg, for 2 s", close=long, poses=shut)
    (one,) = findings(text, "grip-too-long")
    assert "stands closed in its safe pose" in one.message
