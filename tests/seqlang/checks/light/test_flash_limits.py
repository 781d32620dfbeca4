"""Flashes of whole cues, from both sides: more than three in any one second fail (WCAG 2.2, 2.3.1).

What is shown comes in frames of 20 ms, so a number of milliseconds between two frames may pass or
fail by the way it falls on them; what is advised is checked to pass.
"""

from __future__ import annotations

import pytest

from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import LAMP, SNAP, applied, findings, show

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
        fix="198 ms",
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
        fix="167 ms",
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
        help="`334 ms` is the shortest time that passes here",
        fix="334 ms",
        at="lure",
    ),
)


@each(LIMITS)
def test_a_cue_flashes_just_so_often(limit: Limit) -> None:
    assert_holds(limit)


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


# -- where it is, and what it finds ---------------------------------------------------------------

QUICK = "repeat 5 times\n    lure fade to 90% in 100 ms\n    lure fade to 0% in 100 ms"


def pointed_at(cue: str, rig: str = LAMP) -> str:
    """The line of the cue that the one finding points at."""
    text = show(still=True, rig=rig, cues={"snap": cue})
    (one,) = findings(text, "general-flash")
    start = text.rindex("\n", 0, one.span.start) + 1
    return text[start : text.index("\n", start)].strip()


def test_of_slow_and_quick_fades_a_quick_one_is_pointed_at() -> None:
    slow = "lure fade to 70% in 1 s\nlure fade to 0% in 1 s\n"
    assert pointed_at(f"{slow}{QUICK}\nlure fade to 40% in 2 s") == "lure fade to 90% in 100 ms"


def test_an_effect_is_pointed_at_rather_than_a_fade_or_what_comes_later() -> None:
    body = "lure fade to 100% in 1 s\nlure breathe every 200 ms\nhold 4 s\nlure fade to 0% in 1 s"
    assert pointed_at(body) == "lure breathe every 200 ms"
    later = f"{body}\nhold 2 s\nlure breathe every 900 ms\nhold 3 s\nlure steady"
    assert pointed_at(later) == "lure breathe every 200 ms"


def test_another_lights_statement_is_not_pointed_at() -> None:
    second = LAMP.replace("lure", "eye").replace("PD3", "PD5")
    body = f"eye fade to 30% in 10 ms\ntogether\n    {QUICK.replace(chr(10), chr(10) + '    ')}"
    assert pointed_at(f"{body}\n    eye fade to 40% in 3 s", LAMP + second).startswith("lure fade")


def test_the_second_and_the_stretch_that_is_too_fast_are_told() -> None:
    """Ten fades of 100 ms after two seconds of calm."""
    slow = "lure fade to 70% in 1 s\nlure fade to 0% in 1 s\n"
    (one,) = findings(show(still=True, rig=LAMP, cues={"snap": slow + QUICK}), "general-flash")
    assert one.label == "the second from 2.04 s on"
    assert one.notes[0] == "too fast from 2.04 s to 2.9 s"
    assert one.notes[1].startswith("thresholds of WCAG 2.2")


def test_what_the_cue_finds_is_told_where_it_matters() -> None:
    """Three flashes and a rise; where the light is on already, its fall makes a fourth of them."""
    down, up = (f"lure fade to {pct}% in 100 ms\n" for pct in (0, 100))
    (one,) = findings(
        show(
            still=True,
            rig=LAMP,
            cues={"snap": down + "hold 10 ms\n" + (up + down) * 3 + up.rstrip()},
        ),
        "general-flash",
    )
    assert "`lure` at 100 %" in one.notes[1]
    assert one.fix is None
    assert one.help == "slow it down, or let it change by less than a tenth of its light"


def test_pixels_of_a_pattern_are_named_with_the_distance_they_are_seen_from() -> None:
    """A run of 20 pixels in 200 ms: each lights up five times a second."""
    body = "belly fade to #ffffff 100% in 1 s\nbelly run every 200 ms\nhold 5 s\nbelly steady"
    (one,) = findings(show(still=True, rig=STRIP, cues={"snap": body}), "general-flash")
    assert one.notes[0] == "pixel 1, seen from 500 mm"
    assert len(one.notes) == 2
    assert one.fix is not None
    assert one.fix.text == "334 ms"


def test_only_the_lights_that_flash_are_told_of() -> None:
    second = LAMP.replace("lure", "eye").replace("PD3", "PD5")
    down, up = (f"lure fade to {pct}% in 100 ms\n" for pct in (0, 100))
    body = "eye fade to 70% in 1 s\n" + down + "hold 10 ms\n" + (up + down) * 3 + up.rstrip()
    found = findings(show(still=True, rig=LAMP + second, cues={"snap": body}), "general-flash")
    assert found
    for one in found:
        assert "`lure` flashes" in one.message
        assert not any("eye" in note for note in one.notes)


def test_two_strips_that_flash_red_in_turn_are_named_together_from_the_start() -> None:
    """Each goes red at once for 120 ms and dark for 120 ms, then the other."""
    beat = "    {0} cut to #ff0000 55%\n    hold 120 ms\n    {0} cut to off\n    hold 120 ms\n"
    body = "repeat 8 times\n" + beat.format("belly") + beat.format("tail").rstrip()
    both = STRIP + STRIP.replace("belly", "tail").replace("PD6", "PD7")
    (one,) = findings(show(still=True, rig=both, cues={"snap": body}), "red-flash")
    assert one.message == flashes("`belly` and `tail` flash red", 4)
    assert one.label == "the second from 0 ms on"
    assert one.notes[0].startswith("too fast from 0 ms to ")


def test_what_a_strip_is_found_with_is_told_by_its_colour() -> None:
    down, up = (f"belly fade to #ffffff {pct}% in 100 ms\n" for pct in (0, 100))
    body = down + "hold 10 ms\n" + (up + down) * 3 + up.rstrip()
    (one,) = findings(show(still=True, rig=STRIP, cues={"snap": body}), "general-flash")
    assert "`belly` at #ffffff 100 %" in one.notes[1]


def test_pixels_are_seen_from_the_distance_that_the_rig_states() -> None:
    body = "belly fade to #ffffff 100% in 1 s\nbelly run every 200 ms\nhold 5 s\nbelly steady"
    text = show(still=True, rig="wearer\n    viewed from 600 mm\n" + STRIP, cues={"snap": body})
    found = findings(text, "general-flash")
    assert found
    assert found[0].notes[0].endswith("seen from 600 mm")


# -- which number of a cue is slowed down ---------------------------------------------------------


def rewritten_at(cue: str, rig: str = LAMP) -> str | None:
    """The text in whose place the one finding suggests another; None: it suggests none."""
    text = show(still=True, rig=rig, cues={"snap": cue})
    (one,) = findings(text, "general-flash")
    if one.fix is None:
        return None
    assert findings(applied(text, one), "general-flash") == []
    return text[one.fix.span.start : one.fix.span.end]


def test_the_longest_time_of_a_repeat_is_made_longer() -> None:
    fades = "    lure fade to 100% in 60 ms\n    hold 40 ms\n    lure fade to 0% in 80 ms"
    assert rewritten_at(f"repeat 8 times\n{fades}\n    hold 20 ms") == "80 ms"


def test_a_strand_of_idle_begins_again_at_its_end_without_a_repeat() -> None:
    """The same two fades as a button's cue flash once; the longer of them is slowed down."""
    cues = {"snap": SNAP, "glow": "lure fade to 100% in 90 ms\nlure fade to 0% in 100 ms"}
    asked = "button 1: go snap\nbutton 3: go glow\nstop button 2"
    assert findings(show(rig=LAMP, cues=cues, remote=asked), "general-flash") == []
    text = show(rig=LAMP, cues=cues, score="idle: go glow\n")
    (one,) = findings(text, "general-flash")
    assert one.fix is not None
    assert text[one.fix.span.start : one.fix.span.end] == "100 ms"
    assert findings(applied(text, one), "general-flash") == []


@pytest.mark.parametrize(("calm", "place"), [(7, "200 ms"), (8, None)])
def test_eight_numbers_are_tried(calm: int, place: str | None) -> None:
    """Slow effects of the same light come first, and slowing them down helps nothing."""
    slow = "lure breathe every 3 s\nhold 3 s\n" * calm
    quick = "lure breathe every 200 ms\nhold 4 s\nlure steady"
    assert rewritten_at(f"lure fade to 100% in 1 s\n{slow}{quick}") == place


def test_another_lights_numbers_are_not_tried() -> None:
    eye = LAMP.replace("lure", "eye").replace("PD3", "PD5")
    slow = "eye breathe every 3 s\nhold 3 s\n" * 9
    quick = "lure breathe every 200 ms\nhold 4 s\nlure steady"
    body = f"eye fade to 50% in 2 s\nlure fade to 100% in 1 s\n{slow}{quick}"
    assert rewritten_at(body, LAMP + eye) == "200 ms"
    calm = "repeat 2 times\n" + "    eye fade to 50% in 2 s\n    eye fade to 0% in 2 s\n" * 5
    assert rewritten_at(f"{QUICK}\n{calm.rstrip()}", LAMP + eye) == "100 ms"
