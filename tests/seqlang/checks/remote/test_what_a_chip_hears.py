"""Presses, wires and followers that a board's chip or place does not let it have, from both sides.

What the ATmega328P's firmware leaves out: `firmware_gen/FIRMWARE.md`. A level counts there after
two looks 16 ms apart, 32 ms.
"""

from __future__ import annotations

import pytest

from tests.seqlang.checks.wiring.test_line_and_timer_pins import broken
from tests.seqlang.show_text import applied, findings

LONG = "button 1 long 600 ms: go gape"


@pytest.mark.parametrize(
    ("line", "at", "cannot"),
    [
        (LONG, "long 600 ms", "tell this kind of press"),
        ("button 1 twice: go gape", "twice", "tell this kind of press"),
        ("button 1 let go: go gape", "let go", "tell this kind of press"),
        (
            "button 2: go gape until pressed again",
            "until pressed again",
            "let a cue go by a second",
        ),
        ("button 2: go gape", None, ""),
        ("button 2 while held: go gape", None, ""),
    ],
)
def test_the_small_chip_knows_a_button_that_goes_down_and_one_that_is_held(
    line: str, at: str | None, cannot: str
) -> None:
    text = broken("press-beyond-chip", (LONG, line))
    found = [one for one in findings(text) if one.name == "press-beyond-chip"]
    assert [text[one.span.start : one.span.end] for one in found] == ([] if at is None else [at])
    for one in found:
        assert one.message.startswith(
            f"board `body` plays `gape`, and the ATmega328P cannot {cannot}"
        )
        assert one.help == (
            "give `body` the chip `atmega2560`, or bind the cue to a button of its own: "
            "`button N: go gape`"
        )
        assert findings(applied(text, one), "press-beyond-chip") == []


@pytest.mark.parametrize(("ms", "is_told"), [(32, False), (33, True), (100, True)])
def test_the_small_chip_waits_for_a_contact_32_ms(ms: int, is_told: bool) -> None:
    text = broken("press-beyond-chip-by-settling", ("settles 100 ms", f"settles {ms} ms"))
    found = findings(text, "press-beyond-chip")
    assert len(found) == is_told
    for one in found:
        assert one.message == (
            "the ATmega328P looks at each contact alike: a level counts after 32 ms"
        )
        assert text[one.span.start : one.span.end] == f"settles {ms} ms"
        assert findings(applied(text, one), "press-beyond-chip") == []


def test_a_channel_has_no_timer_on_the_small_chip() -> None:
    text = broken("press-beyond-chip-by-channel")
    (one,) = findings(text, "press-beyond-chip")
    assert one.message == ("the ATmega328P has no timer left that measures the pulses of a channel")
    assert one.help == "give `body` the chip `atmega2560`"


@pytest.mark.parametrize(
    ("name", "button", "does"),
    [
        ("button-on-follower", 1, "do nothing"),
        ("button-on-follower-to-stop", 2, "stop only `arm`"),
    ],
)
def test_a_button_of_a_board_that_follows_moves_to_the_one_that_leads(
    name: str, button: int, does: str
) -> None:
    text = broken(name)
    (one,) = findings(text, "button-on-follower")
    assert one.message == f"button {button} is wired to `arm`, which follows `hub`"
    assert one.label == f"there it would {does}"
    assert one.help == "wire it to a free pin of `hub`"
    assert one.fix is not None
    assert one.fix.bench is not None
    assert one.fix.bench.startswith(f"the wire of button {button} moves to ")
    mended = applied(text, one)
    assert findings(mended, "button-on-follower") == []
    assert findings(mended, "pin-clash") == []
    alone = text.replace(", leads", "")
    assert findings(alone, "button-on-follower") == []


def test_what_is_mixed_with_an_idle_that_moves_nothing_loses_just_those_words() -> None:
    text = broken("mixed-without-idle")
    (one,) = findings(text, "mixed-without-idle")
    assert one.message == "`neck` is mixed with idle, and idle does not move it"
    assert one.help == "or let a strand of idle move `neck`"
    assert applied(text, one) == text.replace("in 1.2 s, mixed with idle", "in 1.2 s")
    spaced = text.replace("in 1.2 s, mixed", "in 1.2 s  ,  mixed")
    (one,) = findings(spaced, "mixed-without-idle")
    assert applied(spaced, one) == text.replace("in 1.2 s, mixed with idle", "in 1.2 s")
    moved = text.replace("remote\n", "idle: go nod\n\nremote\n", 1)
    assert findings(moved, "mixed-without-idle") == []


def test_an_output_follows_a_source_of_its_own_board() -> None:
    text = broken("follow-elsewhere")
    (one,) = findings(text, "follow-elsewhere")
    assert one.message == "`neck` hangs on `tail`, and `stick` arrives at `hub`"
    assert one.label == "not heard there"
    assert one.help == "give `neck` a pin of `hub`, or let `stick` arrive at `tail`"
    assert [words for _, words in one.related] == [
        "the output's board",
        "the board that hears it",
    ]
