"""Several boards, supplies, rows of cells and bundled wires: which of them a check speaks of.

A board takes 30 mA for itself (`firmware_gen/chips`), a fan what is stated; so a fan of 970 mA
makes 1 A. A servo that stalls at 6 V draws 2 A. Limits: `test_supply_limits.py`.
"""

from __future__ import annotations

import pytest

from seqlang.text.findings import Finding
from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import applied, block, checked, findings, servo, show

CELLS = "source 2 li-ion cells, 3000 mAh"
ADAPTER = "source adapter 6.0 V, 100 A"
SECOND = "button 1: go snap\nbutton 3: go flap\nstop button 2"


def fans(
    supply: str,
    body: str,
    head: str,
    feed: str = "1 mm of 10 AWG",
    other: str | None = None,
    score: str = "",
) -> str:
    """Two boards with a fan each, both on `pack`; or the second on `wall`, which is `other`."""
    wall = "" if other is None else block("supply wall", other)
    source = "pack" if other is None else "wall"
    return show(
        still=True,
        supply=supply,
        feed=feed,
        rig=(
            f"switch fan: body pin PD4\n    draws {body}\n",
            f"{wall}board head: atmega328p, address 2\n    feed {source}, {feed}\n",
            f"switch light: head pin PD4\n    draws {head}\n",
        ),
        cues={"snap": "fan and light on\nhold 60 s"},
        score=score,
    )


HOLDING = "while all parts hold their poses"

LIMITS = (
    Limit(
        id="adapter-of-two-boards",
        name="supply-overload",
        passes=fans("source adapter 6.0 V, 3.0 A", "970 mA", "1.97 A"),
        fails=fans("source adapter 6.0 V, 3.0 A", "970 mA", "1.98 A"),
        says=f"supply `pack` must give 3.01 A {HOLDING}, and its adapter gives 3 A",
        asked=3.01,
        limit=3,
        label="3.01 A needed",
        fix="3.1 A",
    ),
    Limit(
        id="adapter-of-the-second-supply",
        name="supply-overload",
        passes=fans(ADAPTER, "5 A", "1.97 A", other="source adapter 6.0 V, 2.0 A"),
        fails=fans(ADAPTER, "5 A", "1.98 A", other="source adapter 6.0 V, 2.0 A"),
        says=f"supply `wall` must give 2.01 A {HOLDING}, and its adapter gives 2 A",
        asked=2.01,
        limit=2,
        fix="2.1 A",
    ),
    Limit(
        id="fuse-of-the-second-supply",
        name="fuse-blows",
        passes=fans(ADAPTER, "5 A", "1.97 A", other=f"{ADAPTER}\nfuse 2 A"),
        fails=fans(ADAPTER, "5 A", "1.98 A", other=f"{ADAPTER}\nfuse 2 A"),
        says=f"the fuse of supply `wall` is for 2 A, and 2.01 A flow {HOLDING}",
        asked=2.01,
        limit=2,
        fix="3 A",
    ),
    Limit(
        id="pack-in-two-rows",
        name="pack-overload",
        passes=fans("source 2 li-ion cells in 2 rows, 3000 mAh", "5.97 A", "5.97 A"),
        fails=fans("source 2 li-ion cells in 2 rows, 3000 mAh", "5.98 A", "5.98 A"),
        says=f"the pack of supply `pack` must give 12.02 A {HOLDING}, and such a pack "
        "can give about 12 A",
        severity="warning",
        asked=12.02,
        limit=12,
        label="can give about 12 A",
        fix="3006 mAh",
    ),
    Limit(
        # 2 A from 80 % of 2 x 1000 mAh
        id="run-time-of-two-rows",
        name="battery-short",
        passes=fans(
            "source 2 li-ion cells in 2 rows, 1000 mAh",
            "970 mA",
            "970 mA",
            score="usage\n    snap 60 per hour\n    run time 48 min\n",
        ),
        fails=fans(
            "source 2 li-ion cells in 2 rows, 1000 mAh",
            "970 mA",
            "970 mA",
            score="usage\n    snap 60 per hour\n    run time 49 min\n",
        ),
        says="supply `pack` lasts 0.8 h, and the show is to run for 0.817 h",
        severity="warning",
        asked=49 / 60,
        limit=0.8,
        label="lasts 0.8 h",
        fix="1022 mAh",
        at="1000 mAh",
    ),
    Limit(
        # each feed alone, not the sum: 20 AWG carries 11 A
        id="wire-of-the-second-board",
        name="wire-overload",
        passes=fans(ADAPTER, "5 A", "10.97 A", feed="100 mm of 20 AWG"),
        fails=fans(ADAPTER, "5 A", "10.98 A", feed="100 mm of 20 AWG"),
        says="the feed of board `head` carries 11 A, and the show draws 11.01 A",
        asked=11.01,
        limit=11,
        fix="18 AWG",
    ),
    Limit(
        # 2 m of 28 AWG are 0.9236 ohm: the second board's 2.03 A lose 1.87 V
        id="brown-out-of-the-second-board",
        name="brown-out",
        passes=fans("source adapter 5.4 V, 9 A", "100 mA", "100 mA", feed="2 m of 28 AWG"),
        fails=fans("source adapter 5.4 V, 9 A", "100 mA", "2 A", feed="2 m of 28 AWG"),
        says=f"the voltage at the chip of board `head` falls to 3.53 V {HOLDING}, and it is out of "
        "its limits below 4.5 V",
        severity="warning",
        asked=5.4 - 2.03 * 0.9236,
        limit=4.5,
        label="2.03 A through this feed",
    ),
)


@each(LIMITS)
def test_each_supply_and_board_is_judged_by_itself(limit: Limit) -> None:
    assert_holds(limit)


def test_a_battery_that_collapses_is_named_and_its_boards_voltages_are_not() -> None:
    """At a fifth of its charge 7.1 V; through 0.2 ohm at most 63 W: 18.9 A at 3 V (90 %)."""
    text = fans(f"{CELLS}, 200 mohm\nregulator 3.0 V, 50 A", "10 A", "10 A", other=ADAPTER)
    assert "supply-overload" not in {one.name for one in findings(text)}
    text = fans(f"{CELLS}, 200 mohm\nregulator 3.0 V, 50 A", "10 A", "10 A")
    (one,) = findings(text, "supply-overload")
    assert one.fix is None
    assert "its voltage collapses" in one.message
    assert text[one.span.start :].startswith("source 2 li-ion")
    assert not {"brown-out", "pack-overload", "fuse-blows"} & {f.name for f in findings(text)}


def test_a_battery_without_a_regulator_sags_as_far_as_to_nothing() -> None:
    """7.1 V at a fifth of the charge through 0.2 ohm: 35.5 A at a short."""
    for draws, left in (("15 A", 7.1 - 30.06 * 0.2), ("20 A", 0.0)):
        text = fans(f"{CELLS}, 200 mohm", draws, draws)
        assert findings(text, "supply-overload") == []
        found = findings(text, "brown-out")
        assert [one.severity for one in found] == ["error", "error"]
        for one in found:
            # over 1 V the board's own regulator takes its part
            assert one.asked == pytest.approx(max(0.0, left - 1.0), abs=0.02)


def test_the_first_servos_of_all_boards_start_at_once_and_decide_what_an_adapter_gives() -> None:
    """The jaw stalls with 2 A, the tip on the second board with 4 A; 30 mA for either board. Each
    is the first of its board, so both get their first pulse in the same frame."""
    text = show(
        supply="source adapter 6.0 V, 100 mA",
        feed="1 mm of 10 AWG",
        rig=(
            "board head: atmega328p, address 2\n    feed pack, 1 mm of 10 AWG\n",
            servo("tip", "PB1", {"rating": "0.15 s/60deg, 10 kgf.cm, 4 A at 6.0 V"}, board="head"),
        ),
    )
    (one,) = findings(text, "supply-overload")
    assert one.fix is not None
    assert int(one.fix.text.removesuffix(" mA")) == pytest.approx(6060, rel=1e-3)
    assert "jumps to its safe pose: 6.06 A" in one.notes[0]
    assert findings(applied(text, one), "supply-overload") == []


def test_a_battery_that_collapses_is_named_before_a_regulator_that_is_too_small() -> None:
    """A larger regulator would not help: 20.03 A at 3 V are more than the cells can give."""
    text = fans(f"{CELLS}, 200 mohm\nregulator 3.0 V, 15 A", "10 A", "10 A")
    (one,) = findings(text, "supply-overload")
    assert "its voltage collapses" in one.message
    small = fans(f"{CELLS}, 200 mohm\nregulator 3.0 V, 15 A", "8 A", "8 A")
    (one,) = findings(small, "supply-overload")
    assert "its regulator gives 15 A" in one.message


def test_a_supply_that_collapses_leaves_the_run_time_unasked() -> None:
    score = "usage\n    snap 60 per hour\n    run time 9 h\n"
    weak = fans(f"{CELLS}, 200 mohm\nregulator 3.0 V, 50 A", "10 A", "10 A", score=score)
    assert findings(weak, "battery-short") == []
    # the cues are rehearsed on all boards at once
    beside = fans(
        f"{CELLS}, 200 mohm\nregulator 3.0 V, 50 A", "20 A", "1 A", other=CELLS, score=score
    )
    assert findings(beside, "battery-short") == []
    both = fans(f"{CELLS}\nregulator 3.0 V, 50 A", "5 A", "1 A", other=CELLS, score=score)
    assert len(findings(both, "battery-short")) == 2
    good = fans(f"{CELLS}\nregulator 3.0 V, 50 A", "5 A", "5 A", score=score)
    assert len(findings(good, "battery-short")) == 1


def test_the_run_time_of_a_show_without_stated_use_says_what_was_assumed() -> None:
    text = fans(CELLS, "970 mA", "970 mA", score="usage\n    run time 9 h\n")
    (one,) = findings(text, "battery-short")
    assert one.notes == (
        "the text states no `usage`, so what takes more is counted: all cues that end, one after "
        "another without a pause; or, alone, what goes on without an end",
    )
    stated = text.replace("usage\n", "usage\n    snap 60 per hour\n")
    (one,) = findings(stated, "battery-short")
    assert one.notes == (
        "in each hour `snap` 60 times; for the rest standing by, or what goes on without an end if "
        "that takes more",
    )
    assert [words for _, words in one.related] == ["9 h are wanted"]
    ((span, _),) = one.related
    assert (
        stated[span.start : span.end].startswith("run time 9 h")
        or "9 h" in (stated[span.start : span.end])
    )


# -- servos: what the others take, and what the start takes --------------------------------------


def two_servos(supply: str, feed: str = "100 mm of 18 AWG") -> str:
    """Two heavy parts in two cues that may run together."""
    lines = {"load": "200 g at 100 mm", "level": "at 0 deg"}
    return show(
        supply=supply,
        feed=feed,
        jaw=lines,
        rig=servo("fin", "PB2", lines),
        cues={
            "snap": "jaw to 40 deg in 700 ms\njaw to 0 deg in 1 s",
            "flap": "fin to 40 deg in 700 ms\nfin to 0 deg in 1 s",
        },
        remote=SECOND,
    )


def overload(supply: str) -> tuple[str, Finding]:
    text = two_servos(supply)
    (one,) = findings(text, "supply-overload")
    return text, one


@pytest.mark.parametrize(
    ("supply", "what"),
    [
        ("source adapter 6.0 V, 100 mA", "adapter"),
        ("source adapter 12.0 V, 100 mA\nregulator 6.0 V, 9 A", "adapter"),
        ("source adapter 12.0 V, 9 A\nregulator 6.0 V, 100 mA", "regulator"),
        ("source adapter 12.0 V, 90 mA\nregulator 6.0 V, 100 mA", "regulator"),
        ("source adapter 12.0 V, 20 mA\nregulator 6.0 V, 1.9 A", "adapter"),
    ],
)
def test_of_regulator_and_adapter_the_one_that_falls_shorter_is_named(
    supply: str, what: str
) -> None:
    text, one = overload(supply)
    assert f"and its {what} gives" in one.message
    # it cannot even hold the parts; what moving them takes is a note
    assert "even while all parts only hold their poses" in one.message
    assert any("interrupts `snap` and `flap`" in note for note in one.notes)
    assert [words for _, words in one.related] == ["has the hardest move of a servo"] * 2
    for (span, _), name in zip(one.related, ("snap", "flap"), strict=True):
        assert text[span.start : span.end] == name


def test_the_adapter_that_is_suggested_also_starts_the_servos() -> None:
    """A stall of 2 A at 6 V and 30 mA of the board; the other servo is still on its way with 35 %
    of 2 A, and 1.3 A times what its part held level asks of 10 kgf.cm, 2 kgf.cm."""
    text, one = overload("source adapter 12.0 V, 100 mA\nregulator 6.0 V, 9 A")
    text_6v, one_6v = overload("source adapter 6.0 V, 100 mA")
    assert one.fix is not None
    assert one_6v.fix is not None
    start_a = int(one_6v.fix.text.removesuffix(" mA")) / 1000
    assert 2.03 + 0.7 + 1.3 * 0.2 * 0.9 < start_a < 2.03 + 0.7 + 1.3 * 0.2 * 1.1
    behind = int(one.fix.text.removesuffix(" mA")) / 1000
    # a regulator of 90 %
    assert behind == pytest.approx(start_a / 2 / 0.9, rel=0.03)
    for before, finding in ((text, one), (text_6v, one_6v)):
        mended = applied(before, finding)
        assert findings(mended, "supply-overload") == []
        assert not any(f.message.startswith("at power-up") for f in findings(mended, "brown-out"))


def test_a_board_that_resets_anyway_is_not_told_of_its_start() -> None:
    text = two_servos("source adapter 6.0 V, 9 A", "9 m of 28 AWG")
    found = findings(text, "brown-out")
    assert [one.severity for one in found] == ["error"]
    long = show(feed="4 m of 28 AWG")
    starts = [f for f in findings(long, "brown-out") if f.message.startswith("at power-up")]
    assert len(starts) == 1
    ((span, words),) = starts[0].related
    assert words == "jumps to its safe pose"
    assert long[span.start :].startswith("servo ")


def test_bundled_feeds_need_thicker_wire_that_is_suggested_to_suit() -> None:
    """Behind a fuse to IEC 60127, which opens late, 45 % more; 16 A of 18 AWG, less in a bundle."""
    alone = fans(f"{ADAPTER}\nfuse 11 A, IEC fast", "1 A", "1 A", feed="1 m of 18 AWG")
    assert findings(alone, "wire-overload") == []
    text = alone.replace("of 18 AWG", "of 18 AWG, bundled 4")
    found = findings(text, "wire-overload")
    assert len(found) == 2
    for one in found:
        assert one.asked == pytest.approx(1.45 * 11, rel=2e-3)
        assert "in a bundle of 4" in one.message
        assert one.label.endswith("in a bundle of 4")
        assert one.limit == pytest.approx(0.65 * 16)
    mended = applied(text, found[0])
    assert len(findings(mended, "wire-overload")) == 1


def test_the_highest_of_several_ratings_decides_what_a_servo_stands() -> None:
    two = "0.15 s/60deg, 10 kgf.cm, 2 A at 6.0 V\nrating 0.12 s/60deg, 12 kgf.cm, 2.4 A at 7.4 V"
    for volts, found in (("8.5", 0), ("8.6", 1)):
        text = show(supply=f"source adapter {volts} V, 6 A", jaw={"rating": two})
        assert len(findings(text, "servo-overvoltage")) == found


def test_a_part_that_only_carries_others_is_not_called_unloaded() -> None:
    tip = servo("tip", "PB2", {"on": "jaw at 80 mm"})
    assert findings(show(jaw={"load": None}, rig=tip), "unloaded-servo") == []
    free = servo("tip", "PB2")
    (one,) = findings(show(jaw={"load": None}, rig=free), "unloaded-servo")
    assert "`jaw`" in one.message


ALONG = {
    "pulse": "1000 us at 0 mm, 2000 us at 50 mm",
    "travel": "2 mm to 48 mm",
    "rating": "40 mm/s, 60 N, 2 A at 6.0 V",
    "rotor": None,
}
ROUND = {
    "pulse": "1300 us at -60 rpm, 1500 us at 0 rpm, 1700 us at 60 rpm",
    "travel": "-50 rpm to 50 rpm",
    "rating": "110 rpm, 4 kgf.cm, 1.8 A at 6 V",
}


@pytest.mark.parametrize(
    ("lines", "to", "words"),
    [
        ({}, "40 deg", "`load 140 g at 80 mm` (its centre of mass)"),
        (ALONG, "40 mm", "what is moved, such as `load 140 g`"),
        (ROUND, "0 rpm", "its size, such as `load plate 20 g, 80 mm by 80 mm, from -40 mm`"),
    ],
)
def test_a_load_is_asked_for_in_the_words_of_its_kind_of_part_and_those_pass(
    lines: dict[str, str | None], to: str, words: str
) -> None:
    cues = {"snap": f"jaw to {to} in 4 s"}
    text = show(jaw={"load": None, **lines}, cues=cues)
    (one,) = findings(text, "unloaded-servo")
    assert one.help == f"weigh the part and state {words}"
    line = words.split("`")[1].removeprefix("load ")
    told = show(jaw={"load": line, **lines}, cues=cues)
    assert findings(told, "unloaded-servo") == []
    spring = "0.05 N/mm" if lines is ALONG else "10 mN.m/deg"
    if lines is not ROUND:
        sprung = {"load": None, "spring": f"{spring}, neutral at 0 {to.split()[1]}", **lines}
        assert findings(show(jaw=sprung, cues=cues), "unloaded-servo") == []


def test_a_board_that_drives_nothing_needs_no_feed() -> None:
    spare = "board spare: atmega328p, address 2\n"
    assert findings(show(rig=spare), "unfed-board") == []
    used = f"{spare}switch fan: spare pin PD4\n    draws 1 A\n"
    (one,) = findings(show(rig=used), "unfed-board")
    assert "`spare`" in one.message


def test_a_run_time_asks_nothing_of_an_adapter_or_of_a_pack_that_feeds_no_board() -> None:
    score = "usage\n    snap 60 per hour\n    run time 49 min\n"
    spare = block("supply spare", "source 2 li-ion cells, 10 mAh")
    pack = "source 2 li-ion cells, 1000 mAh"
    text = fans(ADAPTER, "970 mA", "970 mA", other=pack, score=score + spare)
    (one,) = findings(text, "battery-short")
    assert "supply `wall` lasts 0.8 h" in one.message
    assert text[one.span.start : one.span.end] == "1000 mAh"


@pytest.mark.parametrize(
    ("volts", "spare"), [("4.58", None), ("4.61", "0.1"), ("4.72", "0.2"), ("5.01", "0.5")]
)
def test_how_little_a_board_s_regulator_may_take_is_told_in_tenths(
    volts: str, spare: str | None
) -> None:
    """A usual one takes 1 V, and the clock needs 4.5 V at the chip."""
    text = show(
        still=True,
        supply=f"source adapter {volts} V, 6 A",
        feed="1 mm of 10 AWG\n    logic 5 V",
        rig="switch fan: body pin PD4\n    draws 100 mA\n",
        cues={"snap": "fan on\nhold 60 s"},
    )
    (one,) = findings(text, "brown-out")
    assert one.help is not None
    if spare is None:
        assert "wire" in one.help
        return
    logic = f"logic 5 V, dropout {spare} V"
    assert f"has a dropout of {spare} V or less, and write `{logic}`" in one.help
    mended = text.replace("logic 5 V", logic)
    assert findings(mended, "brown-out") == []


def gripping(lasts: str, board: str, fan: str, force: str = "1 N") -> str:
    """A blade fuse of 3 A carries 135 % for 0.75 s, and 100 % for hours.

    The fan is on for as long as the jaw may grip: what flows for longer warms the fuse as well.
    """
    grip = {"load": None, "grips": f"{force} at 60 mm, past 40 deg, for {lasts}"}
    return show(
        still=True,
        supply=f"{ADAPTER}\nfuse 3 A",
        feed="1 mm of 10 AWG",
        rig=(
            f"switch fan: body pin PD4\n    draws {fan}\n",
            block("supply wall", ADAPTER),
            "board head: atmega328p, address 2\n    feed wall, 1 mm of 10 AWG\n",
            servo("jaw", "PB1", grip, board=board),
            servo("tip", "PB2", {"load": None}, board="head" if board == "body" else "body"),
        ),
        cues={"snap": f"jaw to 60 deg in 4 s\nfan on\nhold {lasts}\nfan off\njaw to 0 deg in 4 s"},
    )


@pytest.mark.parametrize(
    ("lasts", "board", "fan", "severity"),
    [
        ("600 ms", "body", "2.9 A", "warning"),
        ("9 s", "body", "2.9 A", "error"),
        ("9 s", "head", "2.9 A", None),  # on another supply
    ],
)
def test_a_fuse_carries_its_peaks_for_as_long_as_its_own_boards_grip(
    lasts: str, board: str, fan: str, severity: str | None
) -> None:
    found = findings(gripping(lasts, board, fan), "fuse-blows")
    if severity is None:
        assert found == []
        return
    (one,) = found
    assert one.limit == 3
    assert 1.1 < (one.asked or 0) / 3 < 1.35
    assert one.severity == severity


@pytest.mark.parametrize(
    ("force", "label", "severity"),
    [
        ("5.2 N", "runs hot on the show's own peaks", "warning"),
        ("5.3 N", "opens on the show's own peaks", "error"),
    ],
)
def test_a_blade_fuse_bears_peaks_of_135_percent(force: str, label: str, severity: str) -> None:
    """The board takes 30 mA, the fan 2.9 A; the jaw turns with 0.7 A, and with 1.3 A times its
    share of 0.980665 N.m: 4.05 A at 5.28 N."""
    (one,) = findings(gripping("500 ms", "body", "2.9 A", force), "fuse-blows")
    assert (one.label, one.severity) == (label, severity)
    newtons = float(force.split()[0])
    assert one.asked == pytest.approx(3.63 + 1.3 * newtons * 0.06 / 0.980665, abs=0.01)


def test_a_strip_is_told_of_the_supply_that_gives_it_too_much() -> None:
    text = show(
        supply="source adapter 5.31 V, 6 A", rig="strip belly: body pin PD7\n    pixels 10\n"
    )
    (one,) = findings(text, "strip-overvoltage")
    ((span, words),) = one.related
    assert text[span.start : span.end] == "pack"
    assert words == "its highest voltage, without a load"


def test_a_servo_without_a_rating_has_no_voltage_that_is_too_much() -> None:
    text = show(supply="source adapter 12 V, 6 A", jaw={"rating": None})
    found = [one.name for one in checked(text).findings]
    assert "servo-overvoltage" not in found
