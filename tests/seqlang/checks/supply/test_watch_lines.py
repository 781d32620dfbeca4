"""The limits of a board's watch and of its divider, from both sides.

By hand: 18 kohm over 22 kohm let 0.55 through, so 5 V at the pin are 9.09 V; two lithium cells are
full at 8.4 V and harmed below 2.75 V each. The chip's regulator needs 1 V more than its 5 V.
"""

from __future__ import annotations

import pytest

from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import findings
from tests.seqlang.test_watch_said import RIG, WATCH, told

THREE = RIG.replace("2 li-ion", "3 li-ion")
AT_THREE = "watch pin PF1, divider 33 kohm over 15 kohm"
FITS = "divider 18 kohm over 22 kohm"


def three(limits: str) -> str:
    return THREE.replace(WATCH, f"{AT_THREE}, {limits}")


LIMITS = (
    Limit(
        id="warns-before-it-stops",
        name="watch-limits",
        passes=told(f"{WATCH}, warns below 3.2 V, stops below 3.2 V"),
        fails=told(f"{WATCH}, warns below 3.19 V, stops below 3.2 V"),
        says="the board stops below 3.2 V a cell, and warns below 3.19 V",
        asked=3.19,
        limit=3.2,
        label="the warning comes after the stop",
        help="the limits are those of one cell; the warning's is the higher one",
        at="3.19 V",
    ),
    Limit(
        id="a-full-battery-is-above",
        name="watch-limits",
        passes=told(f"{WATCH}, warns below 4.19 V"),
        fails=told(f"{WATCH}, warns below 4.2 V"),
        says="a full battery is below this limit of 4.2 V a cell",
        asked=4.2,
        limit=4.2,
        label="always reached",
        help="a full li-ion cell has 4.2 V; limits are of one cell",
        at="4.2 V",
    ),
    # 5.4 V of two cells are 2.7 V, which harms them: that was not meant
    Limit(
        id="no-limit-of-the-pack-that-harms",
        name="watch-limits",
        passes=told(f"{WATCH}, warns below 4.19 V"),
        fails=told(f"{WATCH}, warns below 5.5 V"),
        says="a full battery is below this limit of 5.5 V a cell",
        asked=5.5,
        limit=4.2,
        help="a full li-ion cell has 4.2 V; limits are of one cell",
    ),
    Limit(
        id="a-limit-of-the-pack",
        name="watch-limits",
        passes=told(f"{WATCH}, warns below 4.19 V"),
        fails=told(f"{WATCH}, warns below 8.3 V"),
        says="a full battery is below this limit of 8.3 V a cell",
        asked=8.3,
        limit=4.2,
        help="a full li-ion cell has 4.2 V; limits are of one cell, and 8.3 V of 2 are 4.15 V of "
        "each",
        fix="4.15 V",
    ),
    Limit(
        id="the-regulator-holds",
        name="watch-limits",
        passes=told(f"{WATCH}, stops below 3.1 V"),
        fails=told(f"{WATCH}, stops below 3.09 V"),
        says="the chip's regulator holds 5 V as long as a cell has 3.1 V, and the board is to stop "
        "below 3.09 V",
        asked=3.09,
        # (5 + 1) / 2 over 1 - (0.02 + 0.02 * 0.45 + 2 * 9.0909 / 1024 / 6.18)
        limit=3.0987,
        label="never reached: below that cell voltage the reading stays the same",
        help="stop below 3.1 V or more",
        fix="3.1 V",
        at="3.09 V",
    ),
    # 15 of 48 are 0.3125: 16 V at the full reading. Off by 0.02 + 0.02 * 33/48 + 2 * 16 / 1024
    # over 8.52 V: 3.742 %; 2.75 V over 1 - 0.03742 are 2.857 V
    Limit(
        id="harm",
        name="watch-limits",
        passes=three("stops below 2.86 V"),
        fails=three("stops below 2.85 V"),
        says="the board stops below 2.85 V a cell, and a reading may be off by 3.74 %: a cell "
        "may have 2.74 V then",
        asked=2.7433,
        limit=2.75,
        label="harmed below 2.75 V",
        help="stop below 2.86 V or more",
        fix="2.86 V",
        at="2.85 V",
    ),
    Limit(
        id="the-pin-stands-the-full-battery",
        name="watch-unfit",
        passes=told("watch pin PF1, divider 13 kohm over 19 kohm"),  # 4.99 V
        fails=told("watch pin PF1, divider 12 kohm over 18 kohm"),  # 5.04 V
        says="a full battery brings 5.04 V to the pin, and the chip runs from 5 V",
        label="the pin can take 5 V",
        help=f"`{FITS}` fits, of resistors of the E24 series",
        fix=FITS,
        at="divider 12 kohm over 18 kohm",
    ),
    Limit(
        id="the-pin-looks-into-10-kohm",
        name="watch-unfit",
        passes=told("watch pin PF1, divider 20 kohm over 20 kohm"),
        fails=told("watch pin PF1, divider 20.4 kohm over 20.4 kohm"),
        says="the pin looks into 10.2 kohm, and the converter reads right up to 10 kohm",
        label="both resistors in parallel",
        help=f"`{FITS}` fits, of resistors of the E24 series",
        fix=FITS,
        at="divider 20.4 kohm over 20.4 kohm",
    ),
    # 5 V over a share of 1/13 are 65 V; of 1/14, 70 V
    Limit(
        id="a-table-states-65-v",
        name="watch-unfit",
        passes=told("watch pin PF1, divider 12 kohm over 1 kohm"),
        fails=told("watch pin PF1, divider 13 kohm over 1 kohm"),
        says="at the pin's full reading the battery would have 70 V, and a table states 65.5 V at "
        "most",
        label="lets too little through",
        help=f"`{FITS}` fits, of resistors of the E24 series",
        fix=FITS,
        at="divider 13 kohm over 1 kohm",
    ),
)


@each(LIMITS)
def test_a_watch_keeps_its_limits(limit: Limit) -> None:
    assert_holds(limit)


def test_a_direct_watch_asks_for_the_reference_to_be_measured() -> None:
    """1.1 V may be 1.2 V, 9.09 % off; 2 * 8.4 V over 1.1 V * 1024 are 1.49 % more."""
    text = THREE.replace(WATCH, "watch direct, stops below 2.8 V").replace(
        "    feed pack\n", "    feed pack\n    logic direct\n"
    )
    (one,) = findings(text, "watch-limits")
    assert one.message == (
        "the board stops below 2.8 V a cell, and a reading may be off by 10.6 %: a cell may have "
        "2.5 V then"
    )
    assert one.help == (
        "stop below 3.08 V or more, or measure the chip's reference (1 to 1.2 V, taken for 1.1 V) "
        "and state it: `reference 1.08 V`"
    )
    measured = text.replace("watch direct", "watch direct, reference 1.1 V")
    (one,) = findings(measured, "watch-limits")
    assert one.help == "stop below 2.83 V or more"  # off by 1 % and those 1.49 %


@pytest.mark.parametrize(("leads", "says"), [("", True), (", leads", False)])
def test_a_battery_of_a_board_that_follows_starts_no_cue(leads: str, says: bool) -> None:
    """Where no board leads, each hears the remote itself."""
    hub = f"board hub: atmega2560, address 2{leads}\n    feed pack\nlamp lure"
    silent = RIG.replace("lamp lure", hub).replace("    battery low: go flare\n", "")
    assert [one.message for one in findings(silent, "battery-unanswered")] == (
        ["board `box` watches its battery, and a low one starts nothing"] if says else []
    )
    asked = findings(RIG.replace("lamp lure", hub), "battery-unanswered")
    assert [(one.message, one.help) for one in asked] == (
        []
        if says
        else [
            (
                "nothing starts `flare`: no board that may start it watches a battery",
                "let the board that leads watch its battery",
            )
        ]
    )
