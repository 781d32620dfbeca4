"""How much slower moves must be for a supply, from both sides: what is computed passes, and moves a
little quicker than that do not."""

from __future__ import annotations

import re

import pytest

from seqlang.checks.supply.slower import SlowEnough
from seqlang.remedy_rounds import Rounds
from seqlang.text.findings import Finding, Fix, Span
from tests.seqlang.show_text import applied, findings

PINS = ("PB1", "PB2", "PB0", "PD4", "PD5", "PD3")


def six(
    supply: str,
    *,
    running: str = "60 mA",
    load: str = "30 g at 60 mm",
    accel: bool = True,
    feed: str = "300 mm of 18 AWG",
) -> str:
    """Six light parts that move at once, some of them by a pose, a constant or a speed."""
    rows = ['show "Six"', "supply pack", f"    source {supply}"]
    rows += ["board body: atmega328p, address 1", f"    feed pack, {feed}"]
    rows += ["    logic 5 V, dropout 0.3 V"]
    for n, pin in enumerate(PINS):
        rows += [
            f"servo s{n}: body pin {pin}",
            "    pulse 900 us at 0 deg, 2100 us at 90 deg",
            "    travel 0 deg to 60 deg",
            f"    rating 0.12 s/60deg, 3 kgf.cm, 1 A at 6.0 V, running {running}",
            "    rotor 0 g.cm2",
            f"    load {load}",
            "    level at 10 deg",
        ]
        if n % 2 and accel:
            rows.append("    acceleration 20000 deg/s2")
    rows += [
        "given beat = 260 ms",
        "pose up",
        "    s0 50 deg, s1 50 deg, s2 40 deg",
        "cue lift",
        "    pose up in beat",
        "    s3 to 40 deg in 300 ms",
        "    s3 to 4 deg at 150 deg/s",
        "    together",
        "        s4 to 50 deg in 0.31 s",
        "        s5 to 30 deg in 240 ms",
        "    s0 to 4 deg, s1 to 4 deg in 2 s",
        "    s4 to 4 deg, s5 to 4 deg, s2 to 4 deg in 2 s",
        "remote",
        "    button 1: go lift",
        "    stop button 2",
    ]
    return "\n".join(rows) + "\n"


def the_one(text: str, name: str) -> Finding:
    (found,) = findings(text, name)
    return found


def mended(text: str, name: str) -> str:
    return applied(text, the_one(text, name))


def quicker(text: str, slow: str, factor: float) -> str:
    """The slow text with each changed number back by a share of its way, in the old one's unit."""
    before, after = text.split("\n"), slow.split("\n")
    rows = []
    for old, new in zip(before, after, strict=True):
        if old == new:
            rows.append(new)
            continue
        rows.append(re.sub(r"(\d+) ms", lambda m: f"{int(int(m[1]) * factor)} ms", new))
    return "\n".join(rows)


def errors(text: str, name: str) -> list[Finding]:
    return [one for one in findings(text, name) if one.severity == "error"]


@pytest.mark.parametrize(
    ("supply", "accel"),
    [
        ("adapter 6.0 V, 0.9 A", True),
        ("adapter 6.0 V, 1.0 A", True),
        ("adapter 6.0 V, 0.75 A", False),
        ("adapter 6.0 V, 0.8 A", False),
    ],
)
def test_an_overloaded_adapter_names_times_that_pass_and_shorter_ones_do_not(
    supply: str, accel: bool
) -> None:
    text = six(supply, accel=accel)
    one = the_one(text, "supply-overload")
    assert one.fix is not None
    assert "let moves take up to" in (one.help or "")
    assert "use one for" in (one.help or "")
    slow = mended(text, "supply-overload")
    assert "source " + supply in slow  # the adapter stays; the moves change
    assert slow.count("20000 deg/s2") == 0
    found = findings(slow, "supply-overload")
    assert all(each.severity != "error" for each in found)
    assert [
        each
        for each in findings(quicker(text, slow, 0.97), "supply-overload")
        if each.severity == "error"
    ]


@pytest.mark.parametrize("supply", ["adapter 6.0 V, 1.0 A", "adapter 6.0 V, 0.9 A"])
def test_a_chip_that_is_held_at_just_what_its_clock_needs_is_left_enough(supply: str) -> None:
    """4.5 V at 16 MHz (data sheet of the ATmega328P, from memory), which its board's regulator
    makes of whatever is left of 6 V: times are named as beside a regulator of 5 V."""
    usual = six(supply)
    held = usual.replace("logic 5 V, dropout 0.3 V", "logic 4.5 V, dropout 0.3 V")
    assert held != usual
    one, other = the_one(usual, "supply-overload"), the_one(held, "supply-overload")
    assert one.help == other.help
    assert "let moves take up to" in (other.help or "")


def test_slow_moves_stay_as_they_are() -> None:
    slow = mended(six("adapter 6.0 V, 1.0 A"), "supply-overload")
    assert "    s0 to 4 deg, s1 to 4 deg in 2 s" in slow
    assert "    s3 to 4 deg at 150 deg/s" in slow


def test_a_fix_takes_the_times_into_the_file() -> None:
    rounds = Rounds("six.cues", six("adapter 6.0 V, 1.0 A"))
    for offer in rounds.offers():
        if offer.finding.name != "supply-overload" or offer.finding.severity != "error":
            rounds.leave(offer)
            continue
        rounds.take(offer)
    assert "pose up in beat" not in rounds.text
    assert "adapter 6.0 V, 1.0 A" in rounds.text
    assert not [f for f in findings(rounds.text) if f.severity == "error"]


def test_an_adapter_that_cannot_hold_the_parts_says_so_and_which_one_does() -> None:
    text = six("adapter 6.0 V, 0.4 A", load="120 g at 60 mm")
    one = the_one(text, "supply-overload")
    assert "even while all parts only hold their poses" in one.message
    assert "no slower move helps" in (one.help or "")
    assert one.fix is not None
    assert re.fullmatch(r"[0-9.]+ A", one.fix.text)
    assert not errors(applied(text, one), "supply-overload")
    assert any(note.endswith("interrupts `lift`") for note in one.notes)


def test_motors_that_take_too_much_at_any_speed_are_told() -> None:
    one = the_one(six("adapter 6.0 V, 1.0 A", running="300 mA"), "supply-overload")
    assert "only hold" not in one.message
    assert "take their running current at any speed" in (one.help or "")
    assert one.fix is not None
    assert one.fix.text.endswith(" A")


def test_a_battery_that_collapses_names_times_that_pass() -> None:
    text = six("3 li-ion cells, 900 mAh, 6 ohm\n    regulator 6 V, 6 A, efficiency 90 %")
    one = the_one(text, "supply-overload")
    assert "its voltage collapses" in one.message
    assert one.fix is not None
    assert not [
        f
        for f in findings(mended(text, "supply-overload"), "supply-overload")
        if f.severity == "error"
    ]


@pytest.mark.parametrize("metres", [4.0, 4.5])
def test_a_chip_that_is_left_too_little_names_times_that_pass(metres: float) -> None:
    text = six("adapter 6.0 V, 10 A", feed=f"{metres:g} m of 26 AWG")
    one = next(f for f in findings(text, "brown-out") if not f.message.startswith("at power-up"))
    assert "let moves take up to" in (one.help or "")
    slow = applied(text, one)
    left = findings(slow, "brown-out")
    assert all(each.message.startswith("at power-up") for each in left)
    back = findings(quicker(text, slow, 0.97), "brown-out")
    assert any(not each.message.startswith("at power-up") for each in back)


def test_a_chip_that_is_left_too_little_by_holding_says_so() -> None:
    text = six("adapter 5.0 V, 10 A", load="120 g at 60 mm", feed="8 m of 26 AWG")
    one = next(f for f in findings(text, "brown-out") if not f.message.startswith("at power-up"))
    assert "it is too low even while all parts only hold their poses" in one.notes
    assert one.fix is None


def test_a_chip_that_any_motion_leaves_too_little_says_so() -> None:
    text = six("adapter 6.0 V, 10 A", feed="6 m of 26 AWG")
    one = next(f for f in findings(text, "brown-out") if not f.message.startswith("at power-up"))
    assert "take their running current at any speed" in (one.help or "")
    assert one.fix is None


MOVES = tuple(f"`{n}00 ms` as `{n}50 ms`" for n in range(1, 6))


@pytest.mark.parametrize(
    ("named", "stated", "words"),
    [
        (3, (), f"let moves take up to 1.5 times as long: {', '.join(MOVES[:3])}"),
        (4, (), f"let moves take up to 1.5 times as long: {', '.join(MOVES[:3])}, and 1 more"),
        (5, (), f"let moves take up to 1.5 times as long: {', '.join(MOVES[:3])}, and 2 more"),
        (
            1,
            ("900 deg/s2", "80 deg/s2"),
            f"let moves take up to 1.5 times as long: {MOVES[0]}, with `acceleration 900 deg/s2`",
        ),
        (0, ("900 deg/s2",), "with `acceleration 900 deg/s2`"),
    ],
)
def test_three_moves_are_named_the_others_counted_and_a_lower_acceleration_told(
    named: int, stated: tuple[str, ...], words: str
) -> None:
    fix = Fix(Span("six.cues", 0, 1), "150 ms")
    assert SlowEnough(1.5, fix, MOVES[:named], stated).words == words


@pytest.mark.parametrize("accel", [True, False])
def test_the_moves_that_are_slowed_down_most_are_named_first(accel: bool) -> None:
    text = six("adapter 6.0 V, 0.75 A", accel=accel)
    one = the_one(text, "supply-overload")
    assert one.fix is not None
    words = (one.help or "").partition("let moves take up to ")[2]
    most = float(words.split()[0])
    pairs = re.findall(r"`([\d.]+) (m?s)` as `([\d.]+) (m?s)`", words)
    grown = [float(to) / float(was) for was, unit, to, new in pairs if unit == new]
    assert grown == sorted(grown, reverse=True)
    # rounded up to the last digit that is written
    assert all(1.0 < each <= most * 1.04 for each in grown)
    assert ("with `acceleration " in words) is accel
    left = re.search(r", and (\d+) more", words)
    changed = [new for _, new in one.fix.places if "deg/s2" not in new]
    told = words.count("` as `") + (int(left[1]) if left else 0)
    assert told == len(changed)
