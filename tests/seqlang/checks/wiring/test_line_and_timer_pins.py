"""Pins that the line between boards, a channel's timer or a chip without voltages takes.

The pins: ATmega640/1280/1281/2560/2561 data sheet, "Alternate Port Functions": TXD1 is PD3, RXD1
is PD2; OC4A to OC4C are PH3 to PH5, OC2B is PH6, and ICP5, whose timer 5 has OC5A to OC5C at PL3 to
PL5, is PL1, as ICP4 is PL0 (from memory).
"""

from __future__ import annotations

from pathlib import Path

import pytest

from firmware_gen.chips.atmega2560 import CHIP
from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import findings

FINDINGS = Path(__file__).parents[2] / "findings"
ARM = "board arm: atmega2560, address 2\n    feed pack, 600 mm of 20 AWG\n"


def broken(name: str, *changes: tuple[str, str]) -> str:
    """The small broken show of a finding, with changes in its text."""
    text = (FINDINGS / f"{name}.cues").read_text("utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return text


ANSWERS = (ARM, f"{ARM}    answers\n")
HUB, NODE = "line-pin-taken", "line-pin-taken-by-follower"


def taken(board: str, pin: str, free: str, does: str, passes: str, fails: str) -> Limit:
    return Limit(
        id=f"{board}-{pin}-{does}",
        name="line-pin-taken",
        passes=passes,
        fails=fails,
        says=f"pin {pin} of `{board}` cannot be used for `jaw`: there it {does}",
        label="belongs to the line between the boards",
        help=f"{free} is free and can do it",
        fix=free,
        at=pin,
    )


@each(
    [
        taken(
            *("hub", "PD3", "PD2", "tells the other boards"),
            passes=broken(HUB, ("address 1, leads", "address 1")),
            fails=broken(HUB),
        ),
        taken(
            *("hub", "PD2", "PD1", "hears the boards that answer"),
            passes=broken(HUB, ("hub pin PD3", "hub pin PD2")),
            fails=broken(HUB, ("hub pin PD3", "hub pin PD2"), ANSWERS),
        ),
        taken(
            *("arm", "PD2", "PD1", "hears the board that leads"),
            passes=broken(NODE, ("address 1, leads", "address 1")),
            fails=broken(NODE),
        ),
        taken(
            *("arm", "PD3", "PD4", "answers the board that leads"),
            passes=broken(NODE, ("arm pin PD2", "arm pin PD3")),
            fails=broken(NODE, ("arm pin PD2", "arm pin PD3"), ANSWERS),
        ),
    ]
)
def test_the_line_between_boards_takes_the_pins_that_each_board_uses_of_it(limit: Limit) -> None:
    assert_holds(limit)


def timed(lamp: str, channel: str = "PL0") -> str:
    return broken(
        "channel-timer", ("body pin PH4", f"body pin {lamp}"), ("pin PL0", f"pin {channel}")
    )


@each(
    [
        Limit(
            id=f"{lamp}-{channel}",
            name="channel-timer",
            passes=timed(lamp, other),
            fails=timed(lamp, channel),
            says=f"lamp `eye` hangs on timer {timer} of `body`, which measures channel `stick`",
            label="cannot be dimmed there",
            help=f"{free} is free and can do it",
            fix=free,
            at=lamp,
        )
        for lamp, channel, other, timer, free in [
            ("PH3", "PL0", "PL1", 4, "PH6"),
            ("PH4", "PL0", "PL1", 4, "PH6"),
            ("PH5", "PL0", "PL1", 4, "PH6"),
            ("PL3", "PL1", "PL0", 5, "PH6"),
            ("PL4", "PL1", "PL0", 5, "PH6"),
            ("PL5", "PL1", "PL0", 5, "PH6"),
        ]
    ]
)
def test_a_channel_s_timer_dims_no_lamp(limit: Limit) -> None:
    assert_holds(limit)


@pytest.mark.parametrize("user", ["input 5: body pin PL0\n", "switch fan: body pin PL0\n"])
def test_only_a_channel_takes_the_timer_of_its_pin(user: str) -> None:
    """Something else on that pin leaves the lamp its timer; the channel has another one."""
    assert len(findings(broken("channel-timer"), "channel-timer")) == 1
    text = timed("PH4", "PL1").replace("channel stick", f"{user}channel stick")
    assert findings(text, "channel-timer") == []


def test_a_channel_on_a_pin_that_cannot_measure_takes_no_timer() -> None:
    text = broken("channel-timer", ("pin PL0", "pin PA0"))
    assert findings(text, "channel-timer") == []
    assert len(findings(text, "pin-unfit")) == 1


def test_two_lamps_of_a_channel_s_timer_are_moved_to_two_pins() -> None:
    second = "lamp nose: body pin PH5\n\nchannel stick"
    one, other = findings(broken("channel-timer", ("channel stick", second)), "channel-timer")
    assert [one.fix and one.fix.text, other.fix and other.fix.text] == ["PH6", "PG5"]
    assert "lamp `nose`" in other.message


def test_where_all_other_pins_dim_lamps_already_none_of_the_channel_s_timer_is_offered() -> None:
    """The two other pins of timer 4 are free, and could do it no better."""
    measured = {CHIP.pin(name) for name in ("PH3", "PH4", "PH5")}
    others = sorted(CHIP.pins_for("lamp") - measured)
    lamps = "".join(f"lamp l{pin}: body pin {CHIP.pin_name(pin)}\n" for pin in others)
    text = broken("channel-timer", ("channel stick", f"{lamps}\nchannel stick"))
    (one,) = findings(text, "channel-timer")
    assert one.fix is None
    assert one.help == "give the channel or the lamp another board"


def test_each_board_that_leads_beside_the_first_is_told_of() -> None:
    leg = "board leg: atmega2560, address 3, leads\n    feed pack, 600 mm of 20 AWG\n\nservo jaw"
    text = broken("two-leaders", ("servo jaw", leg))
    found = findings(text, "two-leaders")
    assert [one.message for one in found] == [
        "boards `hub` and `arm` both lead",
        "boards `hub` and `leg` both lead",
    ]
    assert [one.help for one in found] == [
        f"let `{name}` follow: leave out `leads` here" for name in ("arm", "leg")
    ]
    for one in found:
        assert one.fix is not None
        assert text[one.fix.span.start : one.fix.span.end] == ", leads"
        assert (
            text[: one.span.end].count("leads")
            == 1 + ["arm", "leg"].index(one.message.split("`")[3]) + 1
        )
        ((first, _),) = one.related
        assert text[: first.end].count(", leads") == 1
    assert findings(broken("two-leaders", ("2, leads", "2")), "two-leaders") == []


@pytest.mark.parametrize(
    ("name", "at"), [("analog-beyond-chip", "PC0"), ("analog-beyond-chip-by-watch", "PC1")]
)
def test_a_chip_whose_firmware_measures_no_voltage_gets_another(name: str, at: str) -> None:
    text = broken(name)
    (one,) = findings(text, "analog-beyond-chip")
    assert one.message == "the firmware of the ATmega328P measures no voltage"
    assert one.help == ("give `body` the chip `atmega2560`, or put this on a board that has it")
    assert text[one.span.start : one.span.end] == at
    larger = text.replace("atmega328p", "atmega2560").replace(at, at.replace("PC", "PF"))
    assert findings(larger, "analog-beyond-chip") == []


def test_a_battery_that_is_watched_directly_asks_for_such_a_chip_as_well() -> None:
    text = broken("analog-beyond-chip-by-watch").replace(
        "watch pin PC1, divider 22 kohm over 15 kohm", "watch direct"
    )
    (one,) = findings(text, "analog-beyond-chip")
    assert text[one.span.start : one.span.end] == "watch direct"
    assert findings(text.replace("atmega328p", "atmega2560"), "analog-beyond-chip") == []
