"""Rows of flashes and lights under busy fingers: what is named, and its figures worked by hand.

At most 30 s of flashes at a time: guidance for strobe lights at public events, as others report it.
More than three flashes in any one second: WCAG 2.2, success criterion 2.3.1.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from seqlang.checks.light import light_too_long
from seqlang.text.findings import Finding
from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import LAMP, findings, show

TOO_LONG = Path(__file__).parents[2] / "findings" / "light-too-long.cues"
PINS = ("PD3", "PD5", "PD6")
EYE = LAMP.replace("lure", "eye").replace("PD3", "PD5")


def row(times: str, ms: int = 200, high_pct: int = 100) -> str:
    up, down = (f"lure fade to {pct}% in {ms} ms" for pct in (high_pct, 0))
    return show(still=True, rig=LAMP, cues={"snap": f"repeat {times}\n    {up}\n    {down}"})


def strobe(rate: str, length: str) -> str:
    return (
        f"`lure` flashes {rate} times a second {length} in cue `snap`, and guidance for events "
        "allows 30 s at a time"
    )


LIMITS = (
    Limit(
        id="length",
        name="long-strobe",
        severity="warning",
        passes=row("75 times"),
        fails=row("77 times"),
        # 154 fades of 200 ms are 30.8 s, less what the first and the last take to count
        says=strobe("2.5", "for 31 s without a pause"),
        asked=30.54,
        limit=30,
        label="no pause of half a second or more",
        at="snap",
    ),
    Limit(
        id="for-ever",
        name="long-strobe",
        severity="warning",
        passes=row("for ever", 260),
        fails=row("for ever", 240),
        says=strobe("2.1", "without an end"),
        limit=30,
    ),
)


@each(LIMITS)
def test_a_light_flashes_no_longer_on_end(limit: Limit) -> None:
    assert_holds(limit)


def test_a_row_that_is_too_fast_is_named_as_that_alone() -> None:
    """Two lines for one light would be one too many."""
    quick = row("300 times", 100)
    assert len(findings(quick, "general-flash")) == 1
    assert findings(quick, "long-strobe") == []


def test_a_faint_row_is_none() -> None:
    """A tenth of full light: L* 37 is 0.095, L* 39 is 0.107 (CIE 1976)."""
    assert findings(row("90 times", 200, 37), "long-strobe") == []
    assert len(findings(row("90 times", 200, 39), "long-strobe")) == 1


def test_two_lamps_that_make_a_row_in_turn_are_named_together() -> None:
    """Each flashes once in 640 ms, which alone is not a row."""
    beat = "    {0} cut to 100%\n    hold 150 ms\n    {0} cut to 0%\n    hold 150 ms\n"
    body = "repeat 60 times\n" + beat.format("lure") + beat.format("eye").rstrip()
    (one,) = findings(show(still=True, rig=LAMP + EYE, cues={"snap": body}), "long-strobe")
    assert one.message.startswith("`lure` and `eye` flash 3.1 times a second for 38 s ")
    alone = body.replace("eye cut to 100%", "eye cut to 0%")
    assert findings(show(still=True, rig=LAMP + EYE, cues={"snap": alone}), "long-strobe") == []


def test_a_strip_makes_a_row_as_a_lamp_does() -> None:
    strip = "strip belly: body pin PD6\n    pixels 20, order grb, each 20 mA\n    cap 1 A\n"
    fades = "    belly fade to #ffffff 60% in 200 ms\n    belly fade to off in 200 ms"
    cues = {"snap": f"repeat 90 times\n{fades}"}
    (one,) = findings(show(still=True, rig=strip, cues=cues), "long-strobe")
    assert one.message.startswith("`belly` flashes 2.5 times a second for 36 s ")


def test_two_lamps_that_make_the_same_row_are_told_of_once() -> None:
    fades = "".join(
        f"    together\n        lure fade to {pct}% in 200 ms\n"
        f"        eye fade to {pct}% in 200 ms\n"
        for pct in (100, 0)
    )
    text = show(still=True, rig=LAMP + EYE, cues={"snap": "repeat 90 times\n" + fades.rstrip()})
    (one,) = findings(text, "long-strobe")
    assert one.message.startswith("`lure` flashes 2.5 times a second")
    assert "the same goes for `eye`" in one.notes


def test_a_cue_that_no_board_can_play_is_not_watched() -> None:
    """What follows two `while held` side by side is an error of its own."""
    beat = "            {0} fade to 100% in 200 ms\n            {0} fade to 0% in 200 ms\n"
    held = "    repeat while held\n        in turn\n"
    body = f"together\n{held}{beat.format('lure')}{held}{beat.format('eye')}lure fade to 5% in 1 s"
    text = show(still=True, rig=LAMP + EYE, cues={"snap": body})
    assert findings(text)
    assert findings(text, "long-strobe") == []
    assert findings(text, "general-flash") == []


# -- under a finger, and when cues meet -----------------------------------------------------------


def thrice(then: str = "") -> str:
    body = "lure fade to 100% in 140 ms\n    lure fade to 0% in 140 ms"
    return f"repeat 3 times\n    {body}{then}"


AGAIN = "let it end with a second of calm, and refuse to start again before: `if busy refuse`"


def test_a_cue_that_flashes_when_it_is_started_again_is_advised_to_refuse() -> None:
    text = show(still=True, rig=LAMP, cues={"snap": thrice()})
    (one, *_) = findings(text, "interrupted-flash")
    assert one.severity == "advice"
    assert "when `snap` is started again" in one.message
    assert one.message.endswith("and 3 times are safe")
    assert (one.help, one.label, one.related) == (AGAIN, "safe when it runs once", ())
    assert text[one.span.start : one.span.end] == "snap"
    assert (one.limit, one.unit) == (3, "flashes a second")
    assert one.asked == 4


def test_two_cues_that_flash_one_after_the_other_are_warned_of() -> None:
    cues = {"snap": thrice(), "greet": thrice("\nlure fade to 0% in 2 s")}
    remote = "button 1: go snap\nbutton 3: go greet\nstop button 2"
    text = show(still=True, rig=LAMP, cues=cues, remote=remote)
    meet = [one for one in findings(text, "interrupted-flash") if one.severity == "warning"]
    assert meet
    for one in meet:
        assert "`snap` starts" in one.message or "`greet` starts" in one.message
        assert one.label == "each of the two is safe by itself"
        assert [words for _, words in one.related] == ["the cue that runs already"]
        assert one.help is not None
        assert one.help.endswith("`if busy wait`")


def test_a_third_cue_that_runs_beside_two_that_meet_is_told_with_its_start() -> None:
    """Two flashes of the one and one of each other, in one second: no two of the cues make four."""
    beat = "    {0} cut to 100%\n    hold 60 ms\n    {0} cut to 0%\n    hold 440 ms"
    lamps = [LAMP.replace("lure", f"l{n}").replace("PD3", pin) for n, pin in enumerate(PINS)]
    cues = {f"c{n}": f"repeat {2 - min(n, 1)} times\n{beat.format(f'l{n}')}" for n in range(3)}
    remote = "button 1: go c0\nbutton 3: go c1\nbutton 4: go c2\nstop button 2"

    def met(names: str) -> list[Finding]:
        used = {name: body for name, body in cues.items() if name in names}
        lines = [line for line in remote.split("\n") if line.split()[-1] in (*used, "2")]
        text = show(still=True, rig=lamps, cues=used, remote="\n".join(lines))
        found = findings(text, "interrupted-flash")
        return [one for one in found if one.severity == "warning"]

    (one,) = met("c0 c1 c2")
    assert one.message.startswith("`l0`, `l1` and `l2` flash 4 times within one second when `c2` ")
    assert re.fullmatch(r"`c1` runs as well, from \d+ ms after the first on", one.notes[0])
    assert len(one.notes) == 2
    assert met("c0 c1") == met("c0 c2") == met("c1 c2") == []


def test_a_cue_that_no_button_or_row_reaches_meets_nothing() -> None:
    cues = {"snap": thrice(), "greet": thrice("\nlure fade to 0% in 2 s")}
    text = show(still=True, rig=LAMP, cues=cues)
    assert not any("greet" in one.message for one in findings(text, "interrupted-flash"))


@pytest.mark.parametrize("refuses", [False, True])
def test_one_finger_on_a_cue_that_goes_dark_and_comes_back(refuses: bool) -> None:
    body = "lure fade to 0% in 40 ms\nlure fade to 100% in 40 ms\nhold 2 s\nlure fade to 0% in 2 s"
    heading = 'snap "Goes dark", if busy refuse' if refuses else "snap"
    found = findings(show(still=True, rig=LAMP, cues={heading: body}), "interrupted-flash")
    if refuses:
        assert found == []
        return
    (one,) = found
    assert "while the button of `snap` is pressed every 120 ms" in one.message
    assert (one.severity, one.label) == ("advice", "safe when it is pressed once")
    assert one.related == ()
    assert one.help is not None
    assert "let the cue last half a second" in one.help


def test_no_finger_presses_a_cue_that_only_a_silence_starts() -> None:
    """The same light by a button, or by what the remote does not say."""
    dark = "lure fade to 0% in 40 ms\nlure fade to 100% in 40 ms\nhold 2 s\nlure fade to 0% in 2 s"
    cues = {"snap": "jaw to 20 deg in 2 s\njaw to 0 deg in 2 s", "dark": dark}
    for line, told in (("button 3: go dark", True), ("lost 5 s: go dark", False)):
        text = show(rig=LAMP, cues=cues, remote=f"button 1: go snap\n{line}\nstop button 2")
        found = findings(text, "interrupted-flash")
        assert any("the button of `dark`" in one.message for one in found) is told


def test_two_fingers_on_two_cues_that_bring_light_and_dark() -> None:
    """Light at once by one button and dark at once by the other: neither flashes by itself."""
    cues = {"snap": "lure cut to 100%\nhold 2 s", "dim": "lure cut to 0%\nhold 2 s"}
    remote = "button 1: go snap\nbutton 3: go dim\nstop button 2"
    (one,) = findings(show(still=True, rig=LAMP, cues=cues, remote=remote), "interrupted-flash")
    assert "while the buttons of `snap` and `dim` are pressed in turn every 120 ms" in one.message
    assert [words for _, words in one.related] == ["the other button's cue"]
    assert one.help is not None
    assert "let one of them" in one.help
    slow = {name: body.replace("cut", "fade") + "" for name, body in cues.items()}
    slow = {n: b.replace("%\n", "% in 2 s\n") for n, b in slow.items()}
    text = show(still=True, rig=LAMP, cues=slow, remote=remote)
    assert findings(text, "interrupted-flash") == []


def test_a_cue_that_one_finger_makes_flash_is_not_named_again_for_two() -> None:
    """`blink` goes dark and comes back; with `dim` beside it two fingers do no worse."""
    blink = "lure fade to 0% in 40 ms\nlure fade to 100% in 40 ms\nhold 2 s\nlure fade to 0% in 2 s"
    cues = {"blink": blink, "dim": "lure cut to 0%\nhold 2 s"}
    remote = "button 1: go blink\nbutton 3: go dim\nstop button 2"
    found = findings(show(still=True, rig=LAMP, cues=cues, remote=remote), "interrupted-flash")
    assert any("the button of `blink` is pressed every" in one.message for one in found)
    assert not any("in turn" in one.message for one in found)


# -- too much to watch ----------------------------------------------------------------------------


def flicker(times: int, fades: int, light: str) -> str:
    pair = f"    {light} fade to 20 % in 100 ms\n    {light} fade to 30 % in 100 ms\n"
    cuts = f"    {light} cut to 20 %\n" * fades
    return f"repeat {times} times\n{pair}{cuts}".rstrip()


@pytest.mark.parametrize("long_first", [True, False])
def test_the_longest_or_the_busiest_cue_is_named(
    long_first: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`long` takes 300 times 200 ms, a minute; `busy` 100 times 200 ms with 20 cuts in each."""
    cues = {"long": flicker(300, 0, "lure"), "busy": flicker(100, 20, "eye")}
    if not long_first:
        cues = dict(reversed(cues.items()))
    remote = "button 1: go long\nbutton 3: go busy\nstop button 2"
    text = show(still=True, rig=LAMP + EYE, cues=cues, remote=remote)
    assert findings(text, "light-too-long") == []
    with monkeypatch.context() as patched:
        patched.setattr(light_too_long, "MOST_FRAMES", 50 * 60)
        (one,) = findings(text, "light-too-long")
        assert text[one.span.start : one.span.end] == "long"
        assert (one.limit, one.unit) == (pytest.approx(1.0), "min")
        assert one.asked is not None
        # watched once from every light that it can find
        assert one.asked / (20 / 60) == pytest.approx(round(one.asked / (20 / 60)))
    monkeypatch.setattr(light_too_long, "MOST_STATEMENTS", 100)
    (one,) = findings(text, "light-too-long")
    assert text[one.span.start : one.span.end] == "busy"
    assert (one.limit, one.unit) == (100, "statements")
    # 22 statements of each of 100 passes, found dark and found lit; the other 2 of each of 300
    assert "4400 statements" in one.label
    assert one.asked == 2 * (22 * 100 + 2 * 300)


def test_minutes_to_watch_are_those_of_the_cues() -> None:
    """Six cues of 3000 times 200 ms, an hour, each found in two ways: dark, or lit by itself."""
    (one,) = findings(TOO_LONG.read_text(), "light-too-long")
    assert one.asked == pytest.approx(120, rel=1e-5)
    assert one.limit == pytest.approx(100, rel=1e-5)


def test_the_cue_that_takes_most_looks_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    strip = "strip belly: body pin PD6\n    pixels 20, order grb, each 20 mA\n    cap 1 A\n"
    white = "belly fade to white 40 % in 1 s\nrepeat for ever\n"
    run = "    belly run every {} ms, width 3\n    hold 2 s\n"
    cues = {
        "some": white + run.format(100),
        "most": white + run.format(100) + run.format(110),
        "few": "belly fade to white 30 % in 2 s",
    }
    remote = "button 1: go some\nbutton 3: go most\nbutton 4: go few\nstop button 2"
    text = show(still=True, rig=strip, cues={n: c.rstrip() for n, c in cues.items()}, remote=remote)
    monkeypatch.setattr(light_too_long, "MOST_LOOKS", 1)
    (one,) = findings(text, "light-too-long")
    assert text[one.span.start : one.span.end] == "most"
    of_cue = float(one.label.split()[-2])
    assert (one.asked or 0) / 2 < of_cue < (one.asked or 0)


@pytest.mark.parametrize(("stop", "told"), [("1500 ms", False), ("100 ms", True)])
def test_a_cue_that_is_cut_short_while_it_is_bright_is_told_by_what_cuts_it(
    stop: str, told: bool
) -> None:
    """Three flashes and a rise in 1.06 s: a stop that darkens soon makes the fourth, as does limp.

    A stop of 1.5 s lets the first flash slip out of the second before the light is down.
    """
    body = thrice("\nlure fade to 100% in 160 ms\nhold 3 s\nlure fade to 0% in 2 s")
    body = body.replace("140 ms", "150 ms")
    text = show(
        still=True,
        rig=LAMP,
        cues={'snap "Snaps", if busy refuse': body},
        remote=f"button 1: go snap\nstop button 2\nstop in {stop}",
    )
    found = {one.label: one for one in findings(text, "interrupted-flash")}
    limp = found["safe when it is not cut short"]
    assert "when the board goes limp and back to standby" in limp.message
    assert ("safe when it is not stopped" in found) is told
    if told:
        stopped = found["safe when it is not stopped"]
        assert "when everything is stopped" in stopped.message
        assert (stopped.asked, stopped.limit, stopped.severity) == (4, 3, "advice")
        assert text[stopped.span.start : stopped.span.end] == "snap"
