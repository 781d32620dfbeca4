"""What feeds a board gives, from both sides.

A fan that draws a stated current makes the sums easy: the board takes 30 mA for itself
(`firmware_gen/chips`), so a fan of 970 mA makes 1 A. Limits: blade fuses carry 100 % of their
rating for hours, 135 % for 0.75 s (ISO 8820-3), 20 AWG carries 11 A, li-ion cells stand twice their
capacity and have 80 % of it to use (`sim/rig`, where their sources stand).
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from seqlang.checks.figures import figure, figures
from seqlang.text.findings import Finding
from sim.rig.wire import carries_a
from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import findings, show

ADAPTER = "source adapter 6.0 V, 100 A"
CELLS = "source 2 li-ion cells, 3000 mAh"
SAG = (Path(__file__).parents[2] / "findings" / "voltage-sag.cues").read_text()
HOLDING = "while all parts hold their poses"
STRONGER = "use thicker or shorter wire, a stronger supply, or a supply of its own for the board"
COVERED = "covered wires carry less, local codes differ"


def fan(draws: str, supply: str = ADAPTER, feed: str = "", score: str = "", logic: str = "") -> str:
    return show(
        still=True,
        supply=supply,
        feed=said(feed, logic),
        rig=f"switch fan: body pin PD4\n    draws {draws}\n",
        cues={"snap": "fan on\nhold 60 s"},
        score=score,
    )


def said(feed: str, logic: str) -> str:
    """A feed with the line below it that says how the chip is fed."""
    return f"{feed or '1 mm of 10 AWG'}\n    logic {logic}" if logic else feed


def strip(supply: str, more: str = "", logic: str = "") -> str:
    """Ten pixels of 3 x 20 mA, and 1 mA each for their chips: 610 mA."""
    return show(
        still=True,
        supply=supply,
        feed=said("600 mm of 18 AWG", logic),
        rig=f"strip belly: body pin PD6\n    pixels 10, order grb, each 20 mA\n{more}",
        cues={"snap": "belly fade to #ffaa00 1% in 1 s"},
    )


def lasting(wanted: str, use: str = "snap 60 per hour", capacity: str = "1000 mAh") -> str:
    """1 A all the time from 0.8 Ah: 0.8 h."""
    score = f"usage\n    {use}\n    run time {wanted}\n"
    return fan("970 mA", f"source 2 li-ion cells, {capacity}", score=score)


def fused(amps: str, label: str) -> Limit:
    """A fan that stays on is no peak: over 100 % of its rating a blade fuse promises 0.75 s."""
    return Limit(
        id=f"fuse-{label}-A",
        name="fuse-blows",
        passes=fan("970 mA", f"{ADAPTER}\nfuse 1 A"),
        fails=fan(amps, f"{ADAPTER}\nfuse 1 A"),
        says=f"the fuse of supply `pack` is for 1 A, and {label} A flow {HOLDING}",
        asked=float(label),
        limit=1,
        fix="2 A",
        at="1 A",
    )


OVER = "servo `jaw` can get {} V from supply `pack`, and it is rated at 6 V"
WHITE = Limit(
    id="strip-by-adapter",
    name="strip-over-supply",
    passes=strip("source adapter 6.0 V, 610 mA"),
    fails=strip("source adapter 6.0 V, 600 mA"),
    says="strip `belly` draws 0.61 A when all is white, and supply `pack` gives 0.6 A",
    severity="warning",
    asked=0.61,
    limit=0.6,
    help="let the board keep it under half of that: `cap 0.3 A`",
    fix="cap 0.3 A\n    ",
    at="10",
)

LIMITS = (
    fused("980 mA", "1.01"),
    fused("1330 mA", "1.36"),
    Limit(
        id="adapter",
        name="supply-overload",
        passes=fan("970 mA", "source adapter 6.0 V, 1 A"),
        fails=fan("980 mA", "source adapter 6.0 V, 1 A"),
        says=f"supply `pack` must give 1.01 A {HOLDING}, and its adapter gives 1 A",
        asked=1.01,
        limit=1,
        help="use one for `2 A`, or let fewer parts move at once",
        fix="2 A",
        at="1 A",
    ),
    Limit(
        id="regulator",
        name="supply-overload",
        passes=fan("970 mA", "source adapter 12.0 V, 5 A\nregulator 6.0 V, 1.00 A"),
        fails=fan("980 mA", "source adapter 12.0 V, 5 A\nregulator 6.0 V, 1.00 A"),
        says=f"supply `pack` must give 1.01 A {HOLDING}, and its regulator gives 1 A",
        asked=1.01,
        limit=1,
        help="use one for `1.02 A`, or let fewer parts move at once",
        fix="1.02 A",
        at="1.00 A",
    ),
    Limit(
        # 5 V and 1.03 A through a regulator of 90 % are 5.722 W, 0.9537 A at 6 V
        id="adapter-before-a-regulator",
        name="supply-overload",
        passes=fan("1 A", "source adapter 6.0 V, 954 mA\nregulator 5.0 V, 1.03 A"),
        fails=fan("1 A", "source adapter 6.0 V, 953 mA\nregulator 5.0 V, 1.03 A"),
        says=f"supply `pack` must give 0.954 A {HOLDING}, and its adapter gives 0.953 A",
        asked=0.9537,
        limit=0.953,
        fix="954 mA",
        at="953 mA",
    ),
    Limit(
        # at a fifth of their charge 7.1 V; through 0.2 ohm they give 7.1**2 / 0.8 = 63.01 W at
        # most, 18.90 A at 3 V behind a regulator of 90 %
        id="battery",
        name="supply-overload",
        passes=fan("18.8 A", f"{CELLS}, 200 mohm\nregulator 3.0 V, 50 A"),
        fails=fan("19 A", f"{CELLS}, 200 mohm\nregulator 3.0 V, 50 A"),
        says=f"the battery of supply `pack` cannot give what the show takes {HOLDING}: its voltage "
        "collapses",
        help="use more or larger cells, or let fewer parts move at once",
    ),
    Limit(
        id="pack",
        name="pack-overload",
        passes=fan("5.97 A", CELLS),
        fails=fan("5.98 A", CELLS),
        says=f"the pack of supply `pack` must give 6.01 A {HOLDING}, and such a pack "
        "can give about 6 A",
        severity="warning",
        asked=6.01,
        limit=6,
        help="take cells of at least `3006 mAh`, or a pack whose maker states more",
        fix="3006 mAh",
        at="3000 mAh",
    ),
    Limit(
        id="wire-behind-a-fuse",
        name="wire-overload",
        passes=fan("1 A", f"{ADAPTER}\nfuse 11 A", "1 m of 20 AWG"),
        fails=fan("1 A", f"{ADAPTER}\nfuse 12 A", "1 m of 20 AWG"),
        says="the feed of board `body` carries 11 A, and its fuse of 12 A needs a wire for 12 A",
        asked=12,
        limit=11,
        help=f"use 18 AWG or thicker; {COVERED}",
        fix="18 AWG",
        at="20 AWG",
    ),
    Limit(
        id="wire-without-a-fuse",
        name="wire-overload",
        passes=fan("10.97 A", ADAPTER, "100 mm of 20 AWG"),
        fails=fan("10.98 A", ADAPTER, "100 mm of 20 AWG"),
        says="the feed of board `body` carries 11 A, and the show draws 11.01 A",
        asked=11.01,
        limit=11,
        help=f"use 18 AWG or thicker; {COVERED}",
        fix="18 AWG",
    ),
    Limit(
        id="no-wire-is-thick-enough",
        name="wire-overload",
        passes=fan("1 A", f"{ADAPTER}\nfuse 55 A", "1 m of 10 AWG"),
        fails=fan("1 A", f"{ADAPTER}\nfuse 60 A", "1 m of 10 AWG"),
        says="the feed of board `body` carries 55 A, and its fuse of 60 A needs a wire for 60 A",
        asked=60,
        limit=55,
        help="split the feed",
    ),
    Limit(
        id="clock",
        name="brown-out",
        passes=fan("1 A", "source adapter 4.5 V, 6 A"),
        fails=fan("1 A", "source adapter 4.49 V, 6 A"),
        says=f"the voltage at the chip of board `body` falls to 4.49 V {HOLDING}, and it is "
        "out of its limits below 4.5 V",
        severity="warning",
        asked=4.49,
        limit=4.5,
        help=STRONGER,
        at="feed pack",
    ),
    Limit(
        id="reset",
        name="brown-out",
        passes=fan("1 A", "source adapter 4.5 V, 6 A"),
        fails=fan("1 A", "source adapter 2.69 V, 6 A"),
        says=f"the voltage at the chip of board `body` falls to 2.69 V {HOLDING}, and it resets "
        "below 2.7 V",
        asked=2.69,
        limit=2.7,
        help=STRONGER,
    ),
    Limit(
        # 1 m of 28 AWG, there and back: 3.03 A lose 1.40 V (`test_wire_gauge.py`); over 5.5 V
        # the board's own regulator takes 1 V (`test_logic_voltages.py`)
        id="clock-behind-a-wire",
        name="brown-out",
        passes=fan("3 A", "source adapter 6.9 V, 6 A", "1 m of 28 AWG"),
        fails=fan("3 A", "source adapter 6.5 V, 6 A", "1 m of 28 AWG"),
        says=f"the voltage at the chip of board `body` falls to 4.1 V {HOLDING}, and it is "
        "out of its limits below 4.5 V",
        severity="warning",
        asked=6.5 - 3.03 * 2 * 0.2309 - 1.0,
        limit=4.5,
    ),
    Limit(
        id="volts-over-the-rating",
        name="servo-overvoltage",
        passes=show(supply="source adapter 6.9 V, 6 A"),
        fails=show(supply="source adapter 6.95 V, 6 A"),
        says=OVER.format("6.95"),
        severity="warning",
        asked=6.95,
        limit=6.9,
        at="jaw",
    ),
    Limit(
        id="volts-far-over-the-rating",
        name="servo-overvoltage",
        passes=show(supply="source adapter 6.9 V, 6 A"),
        fails=show(supply="source adapter 7.51 V, 6 A"),
        says=OVER.format("7.51"),
        asked=7.51,
        limit=6.9,
    ),
    Limit(
        id="volts-not-yet-an-error",
        name="servo-overvoltage",
        passes=show(supply="source adapter 12 V, 6 A\nregulator 6.9 V, 6 A"),
        fails=show(supply="source adapter 12 V, 6 A\nregulator 7.5 V, 6 A"),
        says=OVER.format("7.5"),
        severity="warning",
        asked=7.5,
        limit=6.9,
    ),
    Limit(
        id="run-time",
        name="battery-short",
        passes=lasting("48 min"),
        fails=lasting("49 min"),
        says="supply `pack` lasts 0.8 h, and the show is to run for 0.817 h",
        severity="warning",
        asked=49 / 60,
        limit=0.8,
        # 49 min of 1 A from 80 %, and a thousandth more
        help="take cells of at least `1022 mAh`",
        fix="1022 mAh",
        at="1000 mAh",
    ),
    Limit(
        id="run-time-of-a-cue-that-rests",
        name="battery-short",
        passes=lasting("1.5 h", "snap 30 per hour"),
        # half of the hour 1 A, the other half the board's 30 mA: 0.515 A
        fails=lasting("1.6 h", "snap 30 per hour"),
        says="supply `pack` lasts 1.55 h, and the show is to run for 1.6 h",
        severity="warning",
        asked=1.6,
        limit=0.8 / 0.515,
        fix="1032 mAh",
    ),
    WHITE,
    replace(
        WHITE,
        id="strip-by-fuse",
        passes=strip("source adapter 6.0 V, 6 A\nfuse 610 mA"),
        fails=strip("source adapter 6.0 V, 6 A\nfuse 600 mA"),
    ),
    replace(
        WHITE,
        id="strip-by-regulator",
        passes=strip("source adapter 12.0 V, 6 A\nregulator 6.0 V, 610 mA"),
        fails=strip("source adapter 12.0 V, 6 A\nregulator 6.0 V, 600 mA"),
    ),
    replace(
        WHITE,
        id="strip-by-nothing",
        passes=strip(CELLS),
        fails=strip(f"{CELLS}\nfuse 600 mA"),
    ),
    replace(
        WHITE,
        id="strip-with-a-cap",
        passes=strip("source adapter 6.0 V, 150 mA", "    cap 0.1 A\n"),
        fails=strip("source adapter 6.0 V, 150 mA"),
        says="strip `belly` draws 0.61 A when all is white, and supply `pack` gives 0.15 A",
        limit=0.15,
        help="let the board keep it under half of that: `cap 0.1 A`",
        fix="cap 0.1 A\n    ",
    ),
    Limit(
        # an ATmega328P works up to 5.5 V (its data sheet, 28.3, from memory)
        id="chip",
        name="chip-overvoltage",
        passes=fan("1 A", "source adapter 5.5 V, 6 A", logic="direct"),
        fails=fan("1 A", "source adapter 5.51 V, 6 A", logic="direct"),
        says="the chip of board `body` can get 5.51 V from supply `pack`, and can take 5.5 V",
        asked=5.51,
        limit=5.5,
        label="fed directly",
        help="feed it through the board's own regulator: `logic 5 V`",
        fix="5 V",
        at="direct",
    ),
    Limit(
        # fed at 5.5 V a usual regulator leaves 4.5 V, which the clock needs
        id="chip-fed-one-way-or-the-other",
        name="unsaid-logic",
        passes=fan("1 A", "source adapter 5.5 V, 6 A"),
        fails=fan("1 A", "source adapter 5.49 V, 6 A"),
        says="the chip of board `body` is assumed to be fed directly; through the board's own "
        "regulator it would get too little voltage",
        severity="advice",
        label="say how the chip is fed",
        help="`logic direct` where the feed goes to the chip's own supply pin, `logic 5 V` where "
        "it goes through the board's regulator",
        at="feed pack",
    ),
    Limit(
        id="chip-that-works-neither-way",
        name="unsaid-logic",
        passes=fan("1 A", "source adapter 4.49 V, 6 A"),
        fails=fan("1 A", "source adapter 4.5 V, 6 A"),
        says="the chip of board `body` is assumed to be fed directly; through the board's own "
        "regulator it would get too little voltage",
        severity="advice",
    ),
    Limit(
        # over 5.3 V the pixels have a converter of 5 V; 0.7 of their supply (from memory)
        id="strip-data",
        name="strip-data-low",
        passes=strip(ADAPTER, logic="3.5 V"),
        fails=strip(ADAPTER, logic="3.4 V"),
        says="the pin of strip `belly` gives 3.4 V, and its data line needs 3.5 V",
        severity="warning",
        asked=3.4,
        limit=3.5,
        help="put a level shifter into the data line and say `shifter`, or feed the chip with 5 V",
        at="PD6",
    ),
    Limit(
        id="strip-data-of-the-feed",
        name="strip-data-low",
        passes=strip("source adapter 5.3 V, 6 A", logic="3.71 V"),
        fails=strip("source adapter 5.3 V, 6 A", logic="3.7 V"),
        says="the pin of strip `belly` gives 3.7 V, and its data line needs 3.71 V",
        severity="warning",
        asked=3.7,
        limit=3.71,
    ),
    Limit(
        id="strip-data-shifted",
        name="strip-data-low",
        passes=strip(ADAPTER, "    shifter\n", logic="3.3 V"),
        fails=strip(ADAPTER, logic="3.3 V"),
        says="the pin of strip `belly` gives 3.3 V, and its data line needs 3.5 V",
        severity="warning",
        asked=3.3,
        limit=3.5,
    ),
    Limit(
        # the absolute maximum of 5 V pixels (data sheets of the WS2812 class, from memory)
        id="strip-over-what-pixels-take",
        name="strip-overvoltage",
        passes=strip("source adapter 5.3 V, 6 A"),
        fails=strip("source adapter 5.31 V, 6 A"),
        says="strip `belly` can get 5.31 V, and 5 V pixels can take 5.3 V",
        severity="warning",
        asked=5.31,
        limit=5.3,
        help="give it a converter of its own, and say `feed 5 V` below it",
        at="belly",
    ),
    Limit(
        id="strip-with-a-converter",
        name="strip-overvoltage",
        passes=strip(ADAPTER, "    feed 5.3 V\n"),
        fails=strip(ADAPTER, "    feed 5.4 V\n"),
        says="strip `belly` can get 5.4 V, and 5 V pixels can take 5.3 V",
        severity="warning",
        asked=5.4,
        limit=5.3,
        fix="5 V",
        at="5.4 V",
    ),
    Limit(
        id="strip-data-of-a-converter",
        name="strip-data-low",
        passes=strip(ADAPTER, "    feed 4.5 V\n", logic="3.15 V"),
        fails=strip(ADAPTER, "    feed 4.5 V\n", logic="3.14 V"),
        says="the pin of strip `belly` gives 3.14 V, and its data line needs 3.15 V",
        severity="warning",
        asked=3.14,
        limit=3.15,
    ),
    Limit(
        id="unfed",
        name="unfed-board",
        passes=show(),
        fails=show(supply=None),
        says="board `body` has no feed, so voltage and current are not checked",
        severity="advice",
        help="state a supply and `feed NAME, 600 mm of 20 AWG`",
        at="body",
    ),
    Limit(
        id="unloaded",
        name="unloaded-servo",
        passes=show(jaw={"load": None, "spring": "10 mN.m/deg, neutral at 0 deg"}),
        fails=show(jaw={"load": None}),
        says="servo `jaw` carries nothing, so its torque is hardly checked",
        severity="advice",
        help="weigh the part and state `load 140 g at 80 mm` (its centre of mass)",
        at="jaw",
    ),
)


@each(LIMITS)
def test_a_supply_gives_just_so_much(limit: Limit) -> None:
    assert_holds(limit)


@pytest.mark.parametrize("draws", ["980 mA", "1320 mA", "1321 mA"])
def test_no_fuse_is_said_to_bear_for_long_what_it_bears_as_a_peak(draws: str) -> None:
    (one,) = findings(fan(draws, f"{ADAPTER}\nfuse 1 A"), "fuse-blows")
    assert one.severity == "error"
    assert one.label == "opens while lights are on and parts are held"


def test_the_next_fuse_is_the_one_that_carries_the_peak() -> None:
    """Ratings of blade fuses: 1, 2, 3, 4, 5, 7.5 .. 40 A (ISO 8820-3, from memory)."""
    for draws, rating in (("1.97 A", "2 A"), ("1.98 A", "3 A"), ("39.97 A", "40 A")):
        (one,) = findings(fan(draws, f"{ADAPTER}\nfuse 1 A"), "fuse-blows")
        assert one.fix is not None
        assert one.fix.text == rating
    (one,) = findings(fan("39.98 A", f"{ADAPTER}\nfuse 1 A"), "fuse-blows")
    assert one.fix is None
    assert (one.help or "").startswith("split the supply")


def test_the_current_that_a_fuse_must_be_for_is_computed() -> None:
    (hot,) = findings(fan("1.17 A", f"{ADAPTER}\nfuse 1 A"), "fuse-blows")
    assert (hot.help or "").startswith("at least 1.2 A: ")
    (opens,) = findings(fan("2.67 A", f"{ADAPTER}\nfuse 1 A"), "fuse-blows")
    assert (opens.help or "").startswith("at least 2.7 A: ")  # no peak: it stays on


def starts(metres: str) -> list[Finding]:
    found = findings(show(feed=f"{metres} m of 28 AWG"), "brown-out")
    return [one for one in found if one.message.startswith("at power-up")]


def test_a_servo_that_starts_anywhere_may_reset_its_board() -> None:
    """It stalls: 2 A at 6 V, so 3 ohm, and 30 mA of the board, behind 2 x 0.2309 ohm/m.

    Over 5.5 V on its feed the board's own regulator takes 1 V.
    """
    assert starts("3.9") == []
    (one,) = starts("4")
    assert one.severity == "warning"
    ohm = 2 * 4 * 0.2309
    left_v = 3.0 * (6.0 - 0.03 * ohm) / (3.0 + ohm) - 1.0
    assert one.asked == pytest.approx(left_v, rel=0.01)
    assert one.limit == 2.7
    assert one.message == (
        "at power-up `jaw` may draw its stall current, and the chip of board `body` is "
        f"left with {figure(one.asked or 0.0)} V"
    )


def at_power_up(supply: str, name: str, feed: str = "600 mm of 18 AWG") -> list[Finding]:
    found = findings(show(supply=supply, feed=feed), name)
    return [one for one in found if one.message.startswith("at power-up")]


def test_a_start_that_only_asks_too_much_of_its_adapter_resets_no_board_and_says_so() -> None:
    """A stall of 2 A and 30 mA of the board, less what the feed takes of the voltage."""
    assert at_power_up("source adapter 6.0 V, 2.02 A", "supply-overload") == []
    limited = "source adapter 6.0 V, 1.9 A"
    assert at_power_up(limited, "brown-out") == []
    (one,) = at_power_up(limited, "supply-overload")
    assert one.severity == "warning"
    assert one.asked == pytest.approx(2.03, rel=0.02)
    assert one.limit == pytest.approx(1.9)
    assert one.message == (
        f"at power-up `jaw` may draw its stall current: supply `pack` must give "
        f"{figures(one.asked or 0.0, 1.9)[0]} A, and its adapter gives 1.9 A"
    )
    assert one.fix is not None
    mended = limited.replace("1.9 A", one.fix.text)
    assert at_power_up(mended, "supply-overload") == []


def test_a_start_that_asks_too_much_of_its_regulator_is_told_as_well() -> None:
    (one,) = at_power_up("source adapter 12 V, 6 A\nregulator 6.0 V, 1.9 A", "supply-overload")
    assert "and its regulator gives 1.9 A" in one.message


@pytest.mark.parametrize("regulator_a", [50, 10])
def test_a_battery_that_is_exhausted_is_blamed_whatever_its_regulator_stands(
    regulator_a: int,
) -> None:
    """At 3 V behind a regulator it gives 18.9 A at most, see `battery` above."""
    more = f"{CELLS}, 200 mohm\nregulator 3.0 V, {regulator_a} A"
    (found,) = findings(fan("60 A", more), "supply-overload")
    assert found.message.startswith("the battery of supply `pack` cannot give")


def test_a_start_that_resets_the_board_is_told_once() -> None:
    """Held at 1 A the servo of 3 ohm leaves 3 V; the board's own regulator takes one of them."""
    supply = "source adapter 6.0 V, 1 A"
    assert len(at_power_up(supply, "brown-out")) == 1
    assert at_power_up(supply, "supply-overload") == []


def sagging(duration_ms: int) -> str:
    return re.sub(r"jaw to 50 deg in \d+ ms", f"jaw to 50 deg in {duration_ms} ms", SAG)


def test_a_move_beside_another_passes_in_the_time_that_is_suggested_and_in_no_less() -> None:
    (one,) = findings(SAG, "voltage-sag")
    assert one.fix is not None
    least_ms = int(one.fix.text.removesuffix(" ms"))
    assert findings(sagging(least_ms), "voltage-sag") == []
    (late,) = findings(sagging(least_ms - 1), "voltage-sag")
    assert late.fix is not None
    assert late.fix.text == f"{least_ms} ms"
    assert late.limit == pytest.approx(0.8)
    assert 0.8 < (late.asked or 0.0) < 0.8 * (1.0 + 2.0 / least_ms) ** 2
    asked, limit = figures(100 * (late.asked or 0.0), 80.0)
    assert late.message.startswith(f"`jaw` would go to {asked} % of its torque-speed line at the ")
    assert late.message.endswith(
        "left when the stop or another cue interrupts `snap` and `flap`, "
        f"and {limit} % keeps the margin"
    )


def test_the_suggested_supply_also_starts_the_servos() -> None:
    """The regulator that is suggested gives the stall current of the start as well."""
    text = show(supply="source adapter 12 V, 6 A\nregulator 6.0 V, 100 mA")
    (one,) = findings(text, "supply-overload")
    assert one.fix is not None
    assert one.notes == ("at power-up, while `jaw` jumps to its safe pose: 2.01 A",)
    assert one.fix.text == "2012 mA"


def test_what_a_chip_loses_on_its_board_is_told() -> None:
    (one,) = findings(fan("1 A", "source adapter 5.4 V, 6 A", logic="5 V"), "brown-out")
    assert one.severity == "warning"
    (note,) = one.notes
    assert note.startswith("5.4 V arrive at the board")
    (usual,) = findings(fan("3 A", "source adapter 6.5 V, 6 A", "1 m of 28 AWG"), "brown-out")
    assert usual.notes[0].partition(" V")[2] != note.partition(" V")[2]
    (direct,) = findings(fan("1 A", "source adapter 4.4 V, 6 A", logic="direct"), "brown-out")
    assert direct.notes == ()
    assert (direct.label or "").startswith("1.03 A")


def test_a_chip_that_is_fed_too_low_on_purpose_is_told_so_and_no_cue_is_blamed() -> None:
    """No wire and no supply mends a board's regulator of 3.3 V; one of 5 V passes."""
    (one,) = findings(fan("1 A", "source adapter 9 V, 6 A", logic="3.3 V"), "brown-out")
    assert one.message == (
        "the chip of board `body` is fed with 3.3 V, and it is out of its limits below 4.5 V"
    )
    assert one.related == ()
    assert "wire" not in (one.help or "")
    assert findings(fan("1 A", "source adapter 9 V, 6 A", logic="5 V"), "brown-out") == []


def test_a_strip_points_at_the_chips_supply_where_it_is_said() -> None:
    (one,) = findings(strip(ADAPTER, logic="3.3 V"), "strip-data-low")
    assert [words for _, words in one.related] == ["what the chip gets"]


def test_a_fuse_says_what_its_standard_promises() -> None:
    """A blade fuse: at 135 % of its rating 0.75 s, open within 600 s; at 160 % 0.25 s and 50 s."""
    for draws, words in (
        ("1.17 A", "at 120 % of its rating a blade fuse (ISO 8820-3) carries 0.75 s at least"),
        (
            "1.47 A",
            "at 150 % of its rating a blade fuse (ISO 8820-3) carries 0.25 s at least, and opens "
            "within 600 s",
        ),
        (
            "3.97 A",
            "at 400 % of its rating a blade fuse (ISO 8820-3) may open at once, and opens within "
            "0.5 s",
        ),
    ):
        (one,) = findings(fan(draws, f"{ADAPTER}\nfuse 1 A"), "fuse-blows")
        assert one.notes == (words,)


def test_a_wire_of_too_few_strands_is_told_by_its_copper() -> None:
    """Seven strands of 34 AWG are a wire of 26 AWG (`test_wire_gauge.py`), which carries 2.2 A."""
    text = fan("1 A", f"{ADAPTER}\nfuse 3 A", "1 m of 18 AWG, strands 7 of 34 AWG")
    (one,) = findings(text, "wire-overload")
    assert one.limit == carries_a(26)
    assert one.notes == ("7 strands of 34 AWG have the copper of 26 AWG, not of 18 AWG",)
    whole = fan("1 A", f"{ADAPTER}\nfuse 3 A", "1 m of 18 AWG, strands 16 of 30 AWG")
    assert findings(whole, "wire-overload") == []


def test_the_thinnest_wire_that_carries_just_the_fuse_is_named() -> None:
    """18 AWG carries 16 A, 16 AWG 22 A (`test_wire_gauge.py`)."""
    for fuse, gauge in (("16 A", "18 AWG"), ("17 A", "16 AWG"), ("22 A", "16 AWG")):
        text = fan("1 A", f"{ADAPTER}\nfuse {fuse}", "1 m of 20 AWG")
        (one,) = findings(text, "wire-overload")
        assert one.fix is not None
        assert one.fix.text == gauge


def test_a_chip_short_of_what_its_own_board_takes_is_told_so() -> None:
    """5 V arrive, less the wire's loss; the board's regulator takes 1 V of them by default."""
    text = show(supply="source adapter 5 V, 6 A", feed="100 mm of 18 AWG\n    logic 5 V")
    (one,) = [x for x in findings(text, "brown-out") if not x.message.startswith("at power-up")]
    assert one.help is not None
    assert one.help.startswith("take a board whose regulator has a dropout of 0.")
    _, logic, _ = one.help.split("`")
    mended = text.replace("logic 5 V", logic)
    assert not [x for x in findings(mended, "brown-out") if "falls to" in x.message]


@pytest.mark.parametrize(
    ("gives", "cap"),
    [("150 mA", "0.1 A"), ("600 mA", "0.3 A"), ("1.9 A", "0.9 A"), ("3.5 A", "1.7 A")],
)
def test_a_strip_s_cap_is_half_of_what_the_supply_gives_in_whole_tenths(
    gives: str, cap: str
) -> None:
    text = strip(f"source adapter 6.0 V, {gives}").replace("pixels 10", "pixels 60")
    (one,) = findings(text, "strip-over-supply")
    assert one.asked == pytest.approx(60 * 0.061)
    assert one.fix is not None
    assert one.fix.text.strip() == f"cap {cap}"


@pytest.mark.parametrize(
    ("line", "whose"),
    [("", "a usual regulator"), ("    logic 5 V, dropout 1 V\n", "the board's own")],
)
def test_what_a_regulator_takes_is_told_of_the_stated_one_or_of_a_usual_one(
    line: str, whose: str
) -> None:
    wire = "1 m of 28 AWG\n"
    text = fan("3 A", "source adapter 6.5 V, 6 A", wire.strip()).replace(wire, wire + line, 1)
    (one,) = findings(text, "brown-out")
    assert [whose in note for note in one.notes if "takes the rest" in note] == [True]
