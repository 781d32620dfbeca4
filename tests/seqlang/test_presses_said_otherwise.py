"""Kinds of presses as hands write them that know other words, and what passes instead."""

from __future__ import annotations

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.findings import Finding, applied
from seqlang.text.source import Source

SHOW = """supply pack
    source adapter 6 V, 5 A
board box: atmega2560, address 1
    feed pack
lamp eye: box pin PB7
cue snap
    eye fade to 80 % in 400 ms
cue bow
    eye fade to 20 % in 600 ms
remote
    button 2: go bow
    {line}
    stop button 4
"""


def errors(text: str) -> list[Finding]:
    found = check(load_text(Source("test.cues", text))).findings
    return [one for one in found if one.severity == "error"]


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        ("button 1 double: go snap", "button 1 twice: go snap"),
        ("button 1 two times: go snap", "button 1 twice: go snap"),
        ("button 1 double-click: go snap", "button 1 twice: go snap"),
        ("button 1: go snap twice", "button 1 twice: go snap"),
        ("button 1: go snap on double press", "button 1 twice: go snap"),
        ("button 1 held 800 ms: go snap", "button 1 long 800 ms: go snap"),
        ("button 1 hold for 1 s: go snap", "button 1 long 1 s: go snap"),
        ("button 1: go snap long 800 ms", "button 1 long 800 ms: go snap"),
        ("button 1: go snap when held for 2 s", "button 1 long 2 s: go snap"),
        ("button 1 released: go snap", "button 1 let go: go snap"),
        ("button 1: go snap on release", "button 1 let go: go snap"),
        ("button 1 pressed: go snap", "button 1: go snap"),
        ("button 1 down: go snap", "button 1: go snap"),
        ("button 1: toggle snap", "button 1: go snap until pressed again"),
        ("button 1: go snap toggle", "button 1: go snap until pressed again"),
        ("button 1: go snap until pressed", "button 1: go snap until pressed again"),
        ("button 1: go snap until next press", "button 1: go snap until pressed again"),
        ("button 1 while held: go snap", "button 1: go snap while held"),
        ("button 1 while down: go snap", "button 1: go snap while held"),
        ("button 1 as long as it is held: go snap", "button 1: go snap while held"),
        ("button 1 until pressed again: go snap", "button 1: go snap until pressed again"),
        ("button 1 until next press: go snap", "button 1: go snap until pressed again"),
        ("button 1: go next snap, bow", "button 1: go next of snap, bow"),
        ("button 1: go next of snap and bow", "button 1: go next of snap, bow"),
        ("button 1: cycle snap, bow", "button 1: go next of snap, bow"),
        ("button 1: go next of snap", "button 1: go snap"),
        ("button 1 (long): go snap", "button 1 long: go snap"),
        ("long button 1: go snap", "button 1 long: go snap"),
        ("double click button 1: go snap", "button 1 twice: go snap"),
        ("button 1 twice 300 ms: go snap", "button 1 twice: go snap"),
        ("button 1 long press: go snap", "button 1 long: go snap"),
        ("button 1 long pressed: go snap", "button 1 long: go snap"),
        ("button 1 long-press: go snap", "button 1 long: go snap"),
        ("button 1 longpress: go snap", "button 1 long: go snap"),
        ("button 1 long hold: go snap", "button 1 long: go snap"),
        ("button 1 short press: go snap", "button 1: go snap"),
        ("button 1 twise: go snap", "button 1 twice: go snap"),
    ],
)
def test_a_press_in_other_words_is_answered_by_the_line_that_passes(wrong: str, right: str) -> None:
    text = SHOW.format(line=wrong)
    (found,) = errors(text)
    assert "unit" not in found.message
    assert found.fix is not None
    mended = applied(text, found.fix)
    assert mended == SHOW.format(line=right)
    assert errors(mended) == []


@pytest.mark.parametrize("does", ["go snap, bow", "go snap and bow"])
def test_a_list_without_a_word_is_asked_about_because_it_may_mean_all_at_once(does: str) -> None:
    (found,) = errors(SHOW.format(line=f"button 1: {does}"))
    assert found.message == "a press starts one cue"
    assert found.fix is None
    assert found.help is not None
    assert "`go next of snap, bow`" in found.help
    assert "`together`" in found.help


@pytest.mark.parametrize(
    "board",
    [
        "board box: atmega2560, leads, address 1",
        "board box: atmega2560, address 1, main",
        "board box: atmega2560, address 1, leads arm",
    ],
)
def test_a_board_that_leads_in_other_words_is_answered_by_the_line_that_passes(board: str) -> None:
    text = SHOW.format(line="button 1: go snap")
    usual = "board box: atmega2560, address 1"
    (found,) = errors(text.replace(usual, board))
    assert found.fix is not None
    mended = applied(text.replace(usual, board), found.fix)
    assert mended == text.replace(usual, f"{usual}, leads")


@pytest.mark.parametrize(
    "band",
    [
        *("1700 us to 2100 us", ": 1700 us to 2100 us", "1700 us - 2100 us"),
        *("above 1700 us", "over 1700 us", "from 1700 us - 2100 us", "from 1700 to 2100"),
    ],
)
def test_a_band_without_its_word_is_answered_by_the_line_that_passes(band: str) -> None:
    text = SHOW.format(line="button 1: go snap")
    channel = "channel stick: box pin PL0\n    button 1 {}\nremote\n"
    wrong = text.replace("remote\n", channel.format(band).replace(" :", ":"))
    (found,) = errors(wrong)
    assert found.fix is not None
    mended = applied(wrong, found.fix)
    assert mended == text.replace("remote\n", channel.format("from 1700 us to 2100 us"))
    assert errors(mended) == []


@pytest.mark.parametrize("press", ["three times", "thrice", "triple click", "4x", "5 times"])
def test_more_than_two_presses_are_no_press_and_no_unit_either(press: str) -> None:
    (found,) = errors(SHOW.format(line=f"button 1 {press}: go snap"))
    assert found.message == "a board tells one press from two, and no more"
    assert found.fix is None


@pytest.mark.parametrize(
    ("line", "message", "change"),
    [
        ("button 1: go snap", "what a button starts is written below `remote`", None),
        (
            *("button 1: 1700 us", "a channel has a name, a board and a pin"),
            "button 1 from 1700 us to 2100 us",
        ),
    ],
)
def test_a_line_below_a_channel_that_is_no_band_says_what_belongs_there(
    line: str, message: str, change: str | None
) -> None:
    text = SHOW.format(line="button 1: go snap")
    channel = f"channel stick: box pin PL0\n    {line}\nremote\n"
    (found,) = errors(text.replace("remote\n", channel))
    assert found.message.startswith(message)
    assert (found.fix.text if found.fix else None) == change
