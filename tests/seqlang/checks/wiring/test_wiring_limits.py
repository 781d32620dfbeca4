"""What a board, a pin and an address hold, from both sides.

The limits are the player's own (TABLE.md, 1 and 2) and the chip's (ATmega328P data sheet, "I/O
Multiplexing"): 18 pins that may be used, PWM on six of them, two of those on the pulses' timer.
"""

from __future__ import annotations

import pytest

from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import SNAP, findings, servo, show

PINS = (
    *("PB2", "PB3", "PB4", "PB5", "PC0", "PC1", "PC2", "PC3", "PC4", "PC5"),
    *("PD2", "PD3", "PD4", "PD5", "PD6", "PD7", "PB0"),
)


def servos(count: int) -> list[str]:
    return [servo(f"s{n}", PINS[n]) for n in range(count)]


def switches(count: int) -> str:
    return "".join(f"switch w{n}: body pin {PINS[n]}\n" for n in range(count))


def inputs(count: int) -> str:
    return "".join(f"input {n + 1}: body pin {PINS[n]}\n" for n in range(count))


def strips(*pixels: int) -> str:
    lines = zip(PINS[10:], "abc", pixels, strict=False)
    return "".join(
        f"strip {name}: body pin {pin}\n    pixels {count}, order grb, each 20 mA\n    cap 0.5 A\n"
        for pin, name, count in lines
    )


def cues(count: int) -> dict[str, str]:
    return {"snap": SNAP, **{f"c{n}": "jaw to 0 deg in 1 s" for n in range(count - 1)}}


def lamp(name: str, pin: str) -> str:
    return f"lamp {name}: body pin {pin}\n    leds 1 of 3.0 V, 20 mA\n"


def two_boards(address: int, cue: str = SNAP, head: str = "snap") -> str:
    tail = (f"board tail: atmega328p, address {address}\n    feed pack\n", servo("tip", "PB1", {}))
    rig = (tail[0], tail[1].replace("body", "tail"))
    return show(rig=rig, cues={head: cue})


LAMP_PINS = ("PD3", "PD5", "PD6", "PB3")
FITTING = "PB0, PB1, PB2, PB3, PB4, PB5, PC0, PC1, PC2, PC3, PC4, PC5, PD2, PD3, PD4, PD5, PD6, PD7"

LIMITS = (
    Limit(
        id="servos",
        name="board-overfull",
        passes=show(rig=servos(7)),
        fails=show(rig=servos(8)),
        says="board `body` has 9 servos, and its player holds 8",
        asked=9,
        limit=8,
        label="number 9",
        help="put `s7` and what follows it on a second board",
        at="s7",
    ),
    Limit(
        id="outputs",
        name="board-overfull",
        passes=show(rig=switches(15)),
        fails=show(rig=switches(16)),
        says="board `body` has 17 outputs, and its player holds 16",
        asked=17,
        limit=16,
        label="number 17",
        help="put `w15` and what follows it on a second board",
        at="w15",
    ),
    Limit(
        id="inputs",
        name="board-overfull",
        passes=show(rig=inputs(16)),
        fails=show(rig=inputs(17)),
        says="board `body` has 17 inputs, and its player holds 16",
        asked=17,
        limit=16,
        help="put button 17 and what follows it on a second board",
    ),
    Limit(
        id="strips",
        name="board-overfull",
        passes=show(rig=strips(10, 10)),
        fails=show(rig=strips(10, 10, 10)),
        says="board `body` has 3 strips, and its player holds 2",
        asked=3,
        limit=2,
        help="put `c` and what follows it on a second board",
        at="c",
    ),
    Limit(
        id="pixels",
        name="board-overfull",
        passes=show(rig=strips(40, 60)),
        fails=show(rig=strips(40, 61)),
        says="the strips of board `body` have 101 pixels up to `b`, and its player holds 100",
        asked=101,
        limit=100,
        label="60 left here",
        help="cut it to 60 pixels, or put it on a second board",
        fix="60",
        at="61",
    ),
    Limit(
        id="pixels-none-left",
        name="board-overfull",
        passes=show(rig=strips(100)),
        fails=show(rig=strips(100, 1)),
        says="the strips of board `body` have 101 pixels up to `b`, and its player holds 100",
        asked=101,
        limit=100,
        label="none left",
        help="put it on a second board",
    ),
    Limit(
        id="pixels-one-left",
        name="board-overfull",
        passes=show(rig=strips(99, 1)),
        fails=show(rig=strips(99, 2)),
        says="the strips of board `body` have 101 pixels up to `b`, and its player holds 100",
        asked=101,
        limit=100,
        help="cut it to 1 pixels, or put it on a second board",
        fix="1",
    ),
    Limit(
        id="cues",
        name="board-overfull",
        passes=show(cues=cues(32)),
        fails=show(cues=cues(33)),
        says="board `body` takes part in 33 cues, and its player holds 32",
        asked=33,
        limit=32,
        label="number 33",
        help="play what belongs together in one cue, or put parts on a second board",
        at="c31",
    ),
    Limit(
        id="address",
        name="address-clash",
        passes=two_boards(2),
        fails=two_boards(1),
        says="boards `body` and `tail` both have address 1",
        asked=1,
        help="address 2 is free",
        fix="2",
        at="1",
    ),
    Limit(
        id="pin-taken",
        name="pin-clash",
        passes=show(rig=lamp("a", "PD3") + lamp("b", "PD5")),
        fails=show(rig=lamp("a", "PD3") + lamp("b", "PD3")),
        says="pin PD3 of `body` has both `a` and `b`",
        help="PD5 is free and can do it",
        fix="PD5",
        at="PD3",
    ),
    Limit(
        id="pin-taken-by-a-button",
        name="pin-clash",
        passes=show(rig="input 1: body pin PB2\ninput 5: body pin PB4\n"),
        fails=show(rig="input 1: body pin PB2\ninput 5: body pin PB2\n"),
        says="pin PB2 of `body` has both button 1 and button 5",
        help="PB3 is free and can do it",
        fix="PB3",
        at="PB2",
    ),
    Limit(
        id="pwm",
        name="pin-unfit",
        passes=show(rig=lamp("a", "PD3")),
        fails=show(rig=lamp("a", "PD2")),
        says="pin PD2 of `body` cannot be used for `a`: it has no hardware PWM channel",
        help="PD3 is free and can do it",
        fix="PD3",
        at="PD2",
    ),
    Limit(
        id="timer-of-the-pulses",
        name="pin-unfit",
        passes=show(rig=lamp("a", "PB3")),
        fails=show(rig=lamp("a", "PB2")),
        says="pin PB2 of `body` cannot be used for `a`: its PWM channel belongs to the timer of "
        "the servo pulses",
        help="PB3 is free and can do it",
        fix="PB3",
        at="PB2",
    ),
    Limit(
        id="reset",
        name="pin-unfit",
        passes=show(rig="switch fan: body pin PC5\n"),
        fails=show(rig="switch fan: body pin PC6\n"),
        says="pin PC6 of `body` cannot be used for `fan`: it is the reset pin",
        help="PC5 is free and can do it",
        fix="PC5",
        at="PC6",
    ),
    Limit(
        id="link",
        name="pin-unfit",
        passes=show(rig="switch fan: body pin PD2\n"),
        fails=show(rig="switch fan: body pin PD0\n"),
        says="pin PD0 of `body` cannot be used for `fan`: the link receives on it",
        help="PD2 is free and can do it",
        fix="PD2",
    ),
)


@each(LIMITS)
def test_a_board_holds_just_so_much(limit: Limit) -> None:
    assert_holds(limit)


def test_what_cannot_be_moved_on_a_full_board_is_said() -> None:
    lamps = "".join(lamp(name, pin) for name, pin in zip("abcd", LAMP_PINS, strict=True))
    unfit = findings(show(rig=lamps + lamp("e", "PB2")), "pin-unfit")
    taken = findings(show(rig=lamps + lamp("e", "PD3")), "pin-clash")
    for found in (unfit, taken):
        (one,) = found
        assert one.help == "no pin of `body` is left that can do it; use a second board"
        assert one.fix is None


def test_a_pin_that_cannot_do_it_lists_those_that_can() -> None:
    (one,) = findings(show(rig=lamp("a", "PD2")), "pin-unfit")
    assert one.notes == ("pins that can: PB3, PD3, PD5, PD6",)
    assert one.label == "no pin for a lamp"
    (one,) = findings(show(rig="input 1: body pin PD1\n"), "pin-unfit")
    assert one.notes == (f"pins that can: {FITTING}",)
    assert one.label == "no pin for an input"


def test_two_things_that_must_move_are_sent_to_different_pins() -> None:
    found = findings(show(rig=lamp("a", "PB2") + lamp("b", "PC0")), "pin-unfit")
    assert [one.fix.text for one in found if one.fix] == ["PB3", "PD3"]
    found = findings(show(rig="".join(lamp(name, "PD3") for name in "abc")), "pin-clash")
    assert [one.fix.text for one in found if one.fix] == ["PD5", "PD6"]


def test_a_pin_that_is_unfit_anyway_is_not_called_taken_as_well() -> None:
    text = show(rig="switch fan: body pin PC6\nswitch bell: body pin PC6\n")
    assert {one.name for one in findings(text) if one.severity == "error"} == {"pin-unfit"}


def test_a_board_holds_only_the_cues_that_use_its_outputs() -> None:
    tail = "board tail: atmega328p, address 2\n    feed pack\n"
    tip = servo("tip", "PB1", board="tail")
    more = {f"d{n}": "tip to 10 deg in 1 s" for n in range(16)}
    assert findings(show(rig=(tail, tip), cues={**cues(32), **more}), "board-overfull") == []


def test_a_board_of_a_strand_holds_its_own_cues_only() -> None:
    tail = "board tail: atmega328p, address 2\n    feed pack\n"
    tip = servo("tip", "PB1", board="tail")
    idle = {"doze": "repeat for ever\n    tip to 10 deg in 1 s\n    tip to 0 deg in 1 s"}
    text = show(rig=(tail, tip), cues={**cues(32), **idle}, score="idle: go doze\n")
    assert findings(text, "board-overfull") == []


@pytest.mark.parametrize(("address", "word"), [(0, "at least 1"), (255, "at most 254")])
def test_an_address_outside_of_the_range_is_no_address(address: int, word: str) -> None:
    (one,) = [one for one in findings(two_boards(address)) if one.severity == "error"]
    assert one.message == f"the address must be {word}, but `{address}` is written"
    assert findings(two_boards(254), "number-out-of-range") == []


def test_three_boards_with_one_address_get_different_free_ones() -> None:
    boards = [f"board b{n}: atmega328p, address 1\n    feed pack\n" for n in range(2)]
    found = findings(show(rig=boards), "address-clash")
    assert [one.help for one in found] == ["address 2 is free", "address 3 is free"]
    assert all(one.related[0][1] == "the other board" for one in found)
    assert {one.label for one in found} == {"taken"}


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ("switch one: body pin PC6\n", "a switch"),
        ("strip one: body pin PC6\n    pixels 3, order grb, each 20 mA\n", "a strip"),
        ("lamp one: body pin PC6\n    leds 1 of 3.0 V, 20 mA\n", "a lamp"),
        ("input 1: body pin PC6\n", "an input"),
        (servo("one", "PC6"), "a servo"),
    ],
)
def test_the_reset_pin_is_for_nothing(line: str, kind: str) -> None:
    (one,) = findings(show(rig=line), "pin-unfit")
    assert one.label == f"no pin for {kind}"
