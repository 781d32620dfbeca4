"""Flashes of whole cues, from both sides: more than three in any one second fail (WCAG 2.2, 2.3.1).

What is shown comes in frames of 20 ms, so a number of milliseconds between two frames may pass or
fail by the way it falls on them; what is advised is checked to pass.
"""

from __future__ import annotations

from tests.seqlang.checks.limits import Limit, each, holds
from tests.seqlang.show_text import LAMP, applied, findings, show

STRIP = "strip belly: body pin PD6\n    pixels 20, order grb, each 20 mA\n    cap 1 A\n"


def blink(times: int, each_ms: int, high_pct: int = 100) -> str:
    body = f"lure fade to {high_pct}% in {each_ms} ms\n    lure fade to 0% in {each_ms} ms"
    return show(still=True, rig=LAMP, cues={"snap": f"repeat {times} times\n    {body}"})


def red(each_ms: int, colour: str = "#ff0000") -> str:
    body = f"belly fade to {colour} 55% in {each_ms} ms\n    belly fade to off in {each_ms} ms"
    return show(still=True, rig=STRIP, cues={"snap": f"repeat 8 times\n    {body}"})


def breathe(every_ms: int, depth_pct: int = 100) -> str:
    body = f"lure fade to 100% in 1 s\nlure breathe every {every_ms} ms, depth {depth_pct} %"
    return show(still=True, rig=LAMP, cues={"snap": f"{body}\nhold 5 s\nlure fade to 0% in 1 s"})


def flashes(what: str, count: int) -> str:
    return f"{what} {count} times within one second of cue `snap`, and 3 times are safe"


LIMITS = (
    Limit(
        id="three-times",
        name="general-flash",
        passes=blink(3, 100),
        fails=blink(4, 100),
        says=flashes("`lure` flashes", 4),
        asked=4,
        limit=3,
        fix="193 ms",
        at="lure",
    ),
    Limit(
        id="period",
        name="general-flash",
        passes=blink(8, 170),
        fails=blink(8, 140),
        says=flashes("`lure` flashes", 4),
        asked=4,
        limit=3,
        fix="162 ms",
        at="lure",
    ),
    Limit(
        id="red",
        name="red-flash",
        passes=red(170),
        fails=red(160),
        says=flashes("`belly` flashes red", 4),
        asked=4,
        limit=3,
        fix="161 ms",
        at="belly",
    ),
    Limit(
        # every third of a second passes whatever the shape: three and no fourth in a second
        id="effect",
        name="general-flash",
        passes=breathe(334),
        fails=breathe(300),
        says=flashes("`lure` flashes", 4),
        asked=4,
        limit=3,
        help="the least that passes here is 334 ms: `334 ms`",
        fix="334 ms",
        at="lure",
    ),
)


@each(LIMITS)
def test_a_cue_flashes_just_so_often(limit: Limit) -> None:
    holds(limit)


def test_white_light_of_the_same_strip_is_no_red_flash() -> None:
    assert findings(red(160, "#ffffff"), "red-flash") == []
    assert findings(red(160, "#00ff00"), "red-flash") == []


def test_a_faint_change_is_no_flash() -> None:
    """A tenth of full light: L* 37 is 0.095, L* 39 is 0.107 (CIE 1976)."""
    assert findings(blink(8, 100, 37), "general-flash") == []
    assert len(findings(blink(8, 100, 39), "general-flash")) == 1


def test_a_shallow_effect_is_no_flash() -> None:
    assert findings(breathe(200, 3), "general-flash") == []
    assert len(findings(breathe(200, 50), "general-flash")) == 1


def test_two_lamps_that_take_turns_are_named_together() -> None:
    second = LAMP.replace("lure", "eye").replace("PD3", "PD5")
    beat = "{} cut to 100%\n    hold 110 ms\n    {} cut to 0%\n    hold 120 ms\n"
    body = "repeat 6 times\n    " + "    ".join(beat.format(name, name) for name in ("lure", "eye"))
    text = show(still=True, rig=LAMP + second, cues={"snap": body.rstrip()})
    (one,) = findings(text, "general-flash")
    assert one.message == flashes("`lure` and `eye` flash", 4)
    assert findings(applied(text, one), "general-flash") == []
    alone = text.replace("eye cut to 100%", "eye cut to 0%")
    assert findings(alone, "general-flash") == []
