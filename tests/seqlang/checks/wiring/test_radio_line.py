"""A radio in place of the cable between boards: its rate, and who hears it.

Rates and errors at 16 MHz: ATmega640 to 2561 data sheet, "Examples of UBRRn Settings for Commonly
Used Oscillator Frequencies"; what a receiver stands: "Asynchronous Operational Range" (both from
memory).
"""

from __future__ import annotations

import pytest

from seqlang.loading import load_string
from seqlang.meaning.write_show import text_of
from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import applied, findings, show

MADE = "19200, 38400, 57600, 76800, 250000 baud"


def told(radio: str, *, chip: str = "atmega2560", arm: str = "") -> str:
    """A show whose jaw hears the hub over a radio."""
    hub = f"board hub: atmega2560, address 2, leads\n    feed pack\n    radio {radio}\n"
    text = show(rig=[hub]).replace("body: atmega328p, address 1", f"body: {chip}, address 1")
    return text.replace("address 1\n", f"address 1\n{arm}", 1)


def rate(baud: int, nearest: int, why: str) -> Limit:
    return Limit(
        id=str(baud),
        name="radio-rate",
        passes=told(f"{nearest} baud"),
        fails=told(f"{baud} baud"),
        says=f"the radio cannot have {baud} baud: {why}",
        asked=baud,
        limit=nearest,
        label=f"{nearest} baud is near and made well",
        help=f"set the radios to one of these rates: {MADE}",
        fix=f"{nearest} baud",
        at=f"{baud} baud",
    )


LIMITS = (
    rate(115_200, 76_800, "the nearest that ATmega2560 makes is 2.1 % off"),
    rate(230_400, 76_800, "the nearest that ATmega2560 makes is 3.5 % off"),
    rate(9_600, 19_200, "a state of the show takes longer than a frame then"),
    rate(500_000, 250_000, "radios do not usually have this rate"),
)


@each(LIMITS)
def test_a_rate_is_one_that_the_ports_make(limit: Limit) -> None:
    assert_holds(limit)


@pytest.mark.parametrize("baud", [19_200, 38_400, 57_600, 76_800, 250_000])
def test_rates_that_are_made_pass(baud: int) -> None:
    assert findings(told(f"{baud} baud"), "radio-rate") == []


def test_each_board_that_hears_on_its_port_to_the_computer_hears_no_radio() -> None:
    """Of four boards that follow, the two of the smaller chip, in the order of the text."""
    more = "".join(
        f"board {name}: {chip}, address {address}\n    feed pack\n"
        for name, chip, address in (
            ("left", "atmega2560", 3),
            ("right", "atmega328p", 4),
            ("tail", "atmega2560", 5),
        )
    )
    text = told("38400 baud", chip="atmega328p") + more
    found = findings(text, "radio-beyond-board")
    assert [(one.severity, one.message) for one in found] == [
        (
            "error",
            f"board `{name}` hears the others on its port to the computer, at 250000 baud alone",
        )
        for name in ("body", "right")
    ]
    for one in found:
        assert one.help == (
            "give it the chip `atmega2560`, or lay a cable to all boards and leave out `radio`"
        )
        assert text[one.span.start : one.span.end] == "atmega328p"
        ((span, _),) = one.related
        assert text[span.start : span.end] == "radio 38400 baud"
    assert findings(text.replace("atmega328p", "atmega2560"), "radio-beyond-board") == []


def test_only_the_board_that_leads_has_a_radio() -> None:
    text = told("38400 baud", arm="    radio 38400 baud\n")
    (one,) = findings(text, "radio-beyond-board")
    assert one.message == (
        "board `body` does not lead, so it tells the others nothing over a radio"
    )
    assert one.help == (
        "let it lead (`address 1, leads`), or move the line below the board that leads"
    )
    assert text[one.span.start : one.span.end] == "radio 38400 baud"
    assert [text[span.start : span.end].split(":")[0] for span, _ in one.related] == ["board body"]


def test_a_radio_is_late_by_60_ms_at_most() -> None:
    assert findings(told("38400 baud, late by 60 ms"), "number-out-of-range") == []
    (one,) = findings(told("38400 baud, late by 61 ms"), "number-out-of-range")
    assert one.message == "the delay must be at most 60 ms, but `61 ms` is written"


@pytest.mark.parametrize("radio", ["38400 baud", "57600 baud, late by 12 ms"])
def test_a_radio_is_written_back_as_it_was_read(radio: str) -> None:
    loaded = load_string(told(radio), "a.cues")
    assert loaded.show is not None
    assert f"    radio {radio}\n" in text_of(loaded.show)


@pytest.mark.parametrize("written", ["38400 bps", "38400 bit/s", "38400 Bd"])
def test_other_words_for_baud_are_answered_with_it(written: str) -> None:
    (one,) = findings(told(written), "unknown-unit")
    assert findings(applied(told(written), one)) == findings(told("38400 baud"))


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("radio: 38400 baud", "radio 38400 baud"),
        ("radio at 38400", "radio 38400 baud"),
        ("baud rate 38400", "radio 38400 baud"),
        ("line 38.4 kbaud", "radio 38.4 kbaud"),
        ("radio 38400 baud, delay 15 ms", "radio 38400 baud, late by 15 ms"),
        ("radio 38400 baud, latency of 15 ms", "radio 38400 baud, late by 15 ms"),
        ("radio 38400 baud, 15 ms late", "radio 38400 baud, late by 15 ms"),
    ],
)
def test_a_radio_said_otherwise_is_answered_with_the_line_that_passes(
    written: str, meant: str
) -> None:
    text = told("9 baud").replace("    radio 9 baud", f"    {written}")
    (one,) = findings(text, "syntax")
    assert applied(text, one) == text.replace(written, meant)
    assert findings(applied(text, one), "syntax") == []
