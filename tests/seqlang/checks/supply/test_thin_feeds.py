"""Feeds far too thin: what is said of the wire, and nothing of servos that get no voltage.

What a wire may carry: `sim/rig/wire.py`, with its source.
"""

from __future__ import annotations

import pytest

from seqlang.check import check
from seqlang.loading import load_text
from seqlang.text.findings import Finding, applied
from seqlang.text.source import Source
from sim.strain.sizing import size
from tests.seqlang.mistakes.base import with_line


def errors(text: str) -> list[Finding]:
    found = check(load_text(Source("test.cues", text))).findings
    return [one for one in found if one.severity == "error"]


def fed(gauge: str) -> str:
    return with_line("feed", f"feed pack, 600 mm of {gauge}")


@pytest.mark.parametrize(
    ("gauge", "carries"),
    [
        ("32 AWG", "0.53 A"),
        ("33 AWG", "0.33 A"),
        ("34 AWG", "0.33 A"),
        ("36 AWG", "0.21 A"),
        ("40 AWG", "0.09 A"),
    ],
)
def test_a_wire_thinner_than_any_that_is_proposed_carries_what_the_table_says(
    gauge: str, carries: str
) -> None:
    text = fed(gauge)
    (found,) = [one for one in errors(text) if one.name == "wire-overload"]
    assert found.message == (
        f"the feed of board `body` carries {carries}, and its fuse of 5 A needs a wire for 5 A"
    )
    assert found.fix is not None
    assert found.fix.text == "22 AWG"
    assert errors(applied(text, found.fix)) == []


def test_where_the_feed_takes_the_whole_voltage_only_the_feed_is_blamed() -> None:
    wire, chip = sorted(errors(fed("40 AWG")), key=lambda one: one.name, reverse=True)
    assert wire.name == "wire-overload"
    assert chip.name == "brown-out"
    assert chip.message == (
        "nothing is left for the chip of board `body` when the stop or another cue interrupts "
        "`act` and `bite`: its feed takes the whole voltage"
    )


def test_what_moves_at_a_volt_is_not_told_to_move_slower() -> None:
    """38 AWG leaves 0.97 V: no duration makes that a rig."""
    assert {one.name for one in errors(fed("38 AWG"))} == {"brown-out", "wire-overload"}


BEHIND = """
supply pack
    source adapter 24 V, 3 A
    regulator 6 V, 6 A
    fuse 3 A
board body: atmega328p, address 1
    feed pack, 300 mm of {} AWG
switch fan: body pin PD4
    draws 4.6 A
cue blow
    fan on
    hold 120 s
    fan off
    hold 20 s
remote
    button 1: go blow
    stop button 2
usage
    blow 2 per hour
"""


@pytest.mark.parametrize(("gauge", "passes"), [(24, False), (22, True)])
def test_a_feed_behind_a_regulator_carries_more_than_the_fuse_before_it(
    gauge: int, passes: bool
) -> None:
    """24 AWG carries the 3 A of the fuse and not the 4.6 A of the fan."""
    found = [one for one in errors(BEHIND.format(gauge)) if one.name == "wire-overload"]
    assert (found == []) is passes
    for one in found:
        assert one.message.endswith("behind the regulator its fuse of 3 A lets through 6 A")
        assert one.fix is not None
        assert errors(applied(BEHIND.format(gauge), one.fix)) == []


def test_the_gauge_that_is_told_suits_the_fuse_that_is_told_beside_it() -> None:
    """The fuse of 1 A is too small for the fan, so it will be changed."""
    text = BEHIND.format(26).replace("    regulator 6 V, 6 A\n", "").replace("24 V", "6 V, 8 A #")
    small = load_text(Source("test.cues", text.replace("fuse 3 A", "fuse 1 A"))).show
    assert small is not None
    (supply,) = size(small).supplies
    (feed,) = supply.feeds
    assert feed.gauge_awg is not None
    wired = BEHIND.format(feed.gauge_awg).replace("    regulator 6 V, 6 A\n", "")
    wired = wired.replace("24 V", "6 V, 8 A #").replace("fuse 3 A", "fuse 5 A")
    assert errors(wired) == []
