"""Findings whose words hang on the case: each case in its own, with the place that it points at.

Beside each case stands its sibling, so that neither gets the words of the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from tests.seqlang.checks.motion.test_interruption_limits import computed
from tests.seqlang.checks.wiring.test_line_and_timer_pins import broken
from tests.seqlang.show_text import LAMP, along, applied, findings, show


@dataclass(frozen=True, kw_only=True)
class Case:
    id: str
    name: str
    text: str
    at: str
    help: str
    label: str
    severity: str = "error"
    fix: str | None = None
    related: tuple[str, ...] = ()


TURNS = "measure the dead band and say it, such as `dead band 10 us`"
FASTEST = 30
"""rpm: a travel whose ends lie in a dead band of 220 us, which reaches to 33 rpm."""


def turning(rpm: int, dead_band: str, travel: int = 60) -> str:
    return broken(
        "speed-in-dead-band",
        ("rotor to 2 rpm", f"rotor to {rpm} rpm"),
        ("dead band   20 us", f"dead band   {dead_band}"),
        ("travel      -60 rpm to 60 rpm", f"travel      -{travel} rpm to {travel} rpm"),
    )


def dead(rpm: int, fix: str | None, text: str) -> Case:
    return Case(
        id=f"dead-band-{rpm}-{'told' if fix else 'beyond-the-travel'}",
        name="speed-in-dead-band",
        text=text,
        severity="warning",
        at=f"{rpm} rpm",
        label="too slow to turn at all",
        help=TURNS if fix is None else f"`{fix}` is the slowest that turns; or {TURNS}",
        fix=fix,
        related=("the calibration points",),
    )


def sensed(kind: str) -> str:
    """A lamp and a part that follow a sensor all the time, while idle means them too."""
    line = "glow fade to 30 % in 2 s" if kind == "fades" else "neck to 20 deg in 2 s"
    jaw = """servo neck: body pin PA0
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
    load 60 g at 60 mm
    follows voice from 10 % to 60 %, 0 deg to 40 deg, in 3 s
lamp glow: body pin PE3
    follows voice from 10 % to 60 %, 0 % to 40 %, in 4 s
sensor voice: body pin PF0
"""
    text = show(
        still=True,
        rig=("switch fan: body pin PA2\n", jaw),
        cues={"snap": "fan on\nhold 1 s\nfan off", "dream": f"{line}\nhold 1 s"},
        score="idle: go dream\n",
    )
    return text.replace("atmega328p", "atmega2560")


def unseen(kind: str, name: str, more: str) -> Case:
    return Case(
        id=f"idle-{kind}",
        name="idle-unseen",
        text=sensed(kind),
        severity="warning",
        at=name,
        label="does nothing",
        help=f"take `{name}` out of `dream`{more}",
        related=("follows `voice` all the time",),
    )


WATCH = "    watch pin PF1, divider 22 kohm over 15 kohm\n"
PAIR = """board hub: atmega2560, address 2, leads
    feed pack, 600 mm of 20 AWG
switch fan: hub pin PA2
"""
LED = """board tail: atmega2560, address 2
    feed pack, 600 mm of 20 AWG
switch fan: tail pin PA2
"""
SHINES = """lamp throat: tail pin PE3
    follows fin from 5 deg to 40 deg, 10 % to 30 %
"""
ELSEWHERE = "servo fin: tail pin PA1"

NEAR = "wearer\n    near hand\n"


def lit_fan(draws: str, fuse: str, supply: str = "source adapter 6.0 V, 80 A") -> str:
    return show(
        still=True,
        supply=f"{supply}\n{fuse}".rstrip(),
        feed="100 mm of 10 AWG",
        rig=f"switch fan: body pin PD4\n    draws {draws}\n",
        cues={"snap": "fan on\nhold 5 s\nfan off"},
    )


CASES = (
    dead(2, "4 rpm", turning(2, "20 us")),
    dead(-2, "-4 rpm", turning(-2, "20 us")),
    dead(20, "34 rpm", turning(20, "220 us")),
    dead(20, None, turning(20, "220 us", FASTEST)),
    unseen("fades", "glow", ""),
    unseen("moves", "neck", ", or write `, mixed with idle` behind this line"),
    Case(
        id="a-button-that-does-nothing",
        name="button-on-follower",
        text=broken("button-on-follower"),
        at="1",
        label="there it would do nothing",
        help="wire it to a free pin of `hub`",
        fix="hub",
        related=("this board hears the remote",),
    ),
    Case(
        id="a-button-that-stops-one-board",
        name="button-on-follower",
        text=broken("button-on-follower-to-stop"),
        at="2",
        label="there it would stop only `arm`",
        help="wire it to a free pin of `hub`",
        fix="hub",
        related=("this board hears the remote",),
    ),
    Case(
        id="a-stick-is-not-heard",
        name="follow-elsewhere",
        text=broken("follow-elsewhere"),
        at="stick",
        label="not heard there",
        help="give `neck` a pin of `hub`, or let `stick` arrive at `tail`",
        related=("the output's board", "the board that hears it"),
    ),
    Case(
        id="a-move-is-not-known",
        name="follow-elsewhere",
        text=broken(
            "follow-elsewhere",
            ("channel stick: hub", f"{SHINES.replace('tail', 'hub')}channel stick: tail"),
        ),
        at="fin",
        label="not known there",
        help="give `throat` a pin of `tail`, or give `fin` one of `hub`",
        related=("the output's board", "the board that has it"),
    ),
    Case(
        id="a-chip-that-cannot-tell-presses",
        name="press-beyond-chip",
        text=broken("press-beyond-chip"),
        at="long 600 ms",
        label="asks for a chip that can",
        help="give `body` the chip `atmega2560`, or bind the cue to a button of its own: "
        "`button N: go gape`",
        fix="atmega2560",
        related=("this chip",),
    ),
    Case(
        id="a-chip-beside-one-that-could-lead",
        name="press-beyond-chip",
        text=broken("press-beyond-chip", ("servo jaw", LED + "servo jaw")),
        at="long 600 ms",
        label="asks for a chip that can",
        help="give `body` the chip `atmega2560`, or let board `tail` lead, or bind the cue to a "
        "button of its own: `button N: go gape`",
        related=("this chip",),
    ),
    Case(
        id="no-board-watches",
        name="battery-unanswered",
        text=broken("battery-unanswered-unwatched"),
        severity="warning",
        at="warn",
        label="never starts",
        help="give a board a `watch` line, such as `watch pin PF1, divider 22 kohm over 15 kohm`",
    ),
    Case(
        id="only-a-board-that-follows-watches",
        name="battery-unanswered",
        text=broken(
            "battery-unanswered-unwatched", ("    logic 5 V\n", f"    logic 5 V\n{WATCH}{PAIR}")
        ),
        severity="warning",
        at="warn",
        label="never starts",
        help="let the board that leads watch its battery",
    ),
    Case(
        id="an-address-that-is-taken",
        name="address-clash",
        text=broken("address-clash"),
        at="1",
        label="taken",
        help="address 2 is free",
        fix="2",
        related=("the other board",),
    ),
    Case(
        id="a-grip-on-a-lever",
        name="grip-too-weak",
        text=broken("grip-too-weak"),
        at="14 N",
        label="at 50 deg of `finger`",
        help="`12 N` is what it can grip with; or grip closer to the hinge, gear down, or take a "
        "stronger servo",
        fix="12 N",
        related=("the servo that bears it",),
    ),
    Case(
        id="a-grip-along-a-line",
        name="grip-too-weak",
        text=show(
            jaw={
                "pulse": "900 us at 0 mm, 2100 us at 60 mm",
                "travel": "0 mm to 55 mm",
                "rating": "40 mm/s, 60 N, 2 A at 6.0 V",
                "load": "50 g",
                "slope": "0 deg",
                "rotor": None,
                "grips": "49 N, past 40 mm, for 0.1 s",
            },
            supply=None,
            cues={"close": "jaw to 50 mm in 3 s", "open": "jaw to 0 mm in 3 s"},
            remote="button 1: go close\nbutton 3: go open\nstop button 2",
        ),
        at="49 N",
        label="at 40 mm of `jaw`",
        help="`48 N` is what it can grip with; or take a stronger servo",
        fix="48 N",
        related=("the servo that bears it",),
    ),
    Case(
        id="too-little-current-for-a-rod",
        name="rating-impossible",
        text=along(rating="400 mm/s, 60 N, 2 A at 6.0 V"),
        severity="warning",
        at="2 A",
        label="too little current for that force and speed",
        help="hold the rod for a second and measure the current; for the printed force and speed "
        "`8 A` are likely",
        fix="8 A",
    ),
    Case(
        id="too-little-current-for-a-horn",
        name="rating-impossible",
        text=show(jaw={"rating": "0.15 s/60deg, 10 kgf.cm, 1 A at 6.0 V"}),
        severity="warning",
        at="1 A",
        label="too little current for that torque and speed",
        help="hold the horn for a second and measure the current; for the printed torque and speed "
        "`3 A` are likely",
        fix="3 A",
    ),
    Case(
        id="a-move-beside-another",
        name="voltage-sag",
        text=broken("voltage-sag"),
        severity="warning",
        at="379 ms",
        label="passes by itself, not beside other parts",
        help="`390 ms` passes at that voltage; thicker or shorter wire, or a stronger supply, "
        "helps too",
        fix="390 ms",
        related=("has the hardest move of a servo",) * 2,
    ),
    Case(
        id="a-fuse-that-there-is",
        name="fuse-blows",
        text=lit_fan("7 A", "fuse 5 A"),
        at="5 A",
        label="opens while lights are on and parts are held",
        help="at least 7.03 A: take the next blade fuse (ISO 8820-3), `7.5 A`, and wire that "
        "carries it",
        fix="7.5 A",
    ),
    Case(
        id="a-fuse-that-there-is-not",
        name="fuse-blows",
        text=lit_fan("45 A", "fuse 30 A"),
        at="30 A",
        label="opens while lights are on and parts are held",
        help="split the supply: no blade fuse (ISO 8820-3) is that large",
    ),
    Case(
        id="a-rod-that-presses",
        name="pinch-over-limit",
        text=NEAR + along(rating="40 mm/s, 200 N, 8 A at 6.0 V"),
        severity="warning",
        at="jaw",
        label="",
        help="take a weaker servo, let a weak link give way first, or press with a broader, softer "
        "edge",
        related=("is near",),
    ),
    Case(
        id="a-pin-of-a-chip-that-cannot-lead",
        name="pin-unfit",
        text=broken("pin-unfit", ("address 1", "address 1, leads")),
        at="PD2",
        label="no pin for a lamp",
        help="first give `body` a chip that can lead, or leave out `leads`",
    ),
    Case(
        id="a-pin-that-is-free",
        name="pin-unfit",
        text=broken("pin-unfit"),
        at="PD2",
        label="no pin for a lamp",
        help="PD3 is free and can do it",
        fix="PD3",
    ),
    Case(
        id="a-pin-that-measures-no-battery",
        name="pin-unfit",
        text=broken("battery-unanswered", ("watch pin PF1", "watch pin PB1")),
        at="PB1",
        label="no pin for a sensor",
        help="PF0 is free and can do it",
        fix="PF0",
    ),
    Case(
        id="a-cut-that-pulls-the-cord-slack",
        name="cord-slack",
        text=broken("cord-slack", ("slope       0 deg", "slope       0.25 deg")),
        severity="warning",
        at="curtain",
        label="a cord cannot push",
        help="let more weight or a spring pull the cord tight, move the part more gently, or take "
        "a rack",
        related=("winds a cord",),
    ),
    Case(
        id="a-load-that-takes-more-time",
        name="servo-torque",
        text=broken("servo-torque"),
        at="260 ms",
        label="too quick for this load",
        help="`355 ms` is the shortest duration that passes",
        fix="355 ms",
        related=("`jaw` comes from 4 deg, set here", "what `jaw` carries"),
    ),
)


def interrupted(close: str) -> str:
    again = "jaw to 55 deg as fast as it can\njaw to 5 deg as fast as it can"
    first = "jaw to 55 deg in 390 ms\njaw to 5 deg in 400 ms"
    return computed(again if close.startswith("as") else first, f"jaw to 0 deg {close}")


MOTIONS = (
    Case(
        id="a-load-that-no-time-moves",
        name="servo-torque",
        text=broken(
            "servo-torque",
            ("140 g at 120 mm", "400 g at 120 mm"),
            ("    jaw to 4 deg in 600 ms\n", ""),
        ),
        at="260 ms",
        label="too much for this load",
        help="no duration passes: ",
        related=("`jaw` comes from 4 deg, set here", "what `jaw` carries"),
    ),
    Case(
        id="a-softer-brake",
        name="interrupted-overload",
        text=broken("interrupted-overload"),
        severity="warning",
        at="jaw",
        label="interrupted 436 ms after its start",
        help="brake more gently, with `acceleration 11377 deg/s2`, slow down one of the two moves, "
        "or let the second cue wait: `if busy wait`",
        fix="11377 deg/s2",
        related=("`snap` takes over with this",),
    ),
    Case(
        id="both-moves-slower",
        name="interrupted-overload",
        text=interrupted("as fast as it can"),
        severity="warning",
        at="jaw",
        label="interrupted 112 ms after its start",
        help="`in 499 ms` for the move that is interrupted and `in 62 ms` for the one that takes "
        "over keep the margin; or let the second cue wait: `if busy wait`",
        fix="in 499 ms",
        related=("`shut` takes over with this",),
    ),
    Case(
        id="the-second-move-slower",
        name="interrupted-overload",
        text=interrupted("in 50 ms"),
        severity="warning",
        at="jaw",
        label="interrupted 91.4 ms after its start",
        help="`55 ms` for the one that takes over keeps the margin; or let the second cue wait: "
        "`if busy wait`",
        fix="55 ms",
        related=("`shut` takes over with this",),
    ),
)


LIGHTS = tuple(
    Case(
        id=f"flashes-written-as-{up.replace(' ', '-')}",
        name="general-flash",
        text=show(
            still=True,
            rig=LAMP,
            cues={
                "snap": f"repeat 8 times\n    lure fade to 100% in {up}\n"
                "    lure fade to 0% in 100 ms"
            },
        ),
        at="lure",
        label="the second from 20 ms on",
        help=words,
        fix=fix,
    )
    for up, fix, words in (
        ("100 ms", "198 ms", "`198 ms` is the shortest time that passes here"),
        ("0.1 s", "0.2 s", "`0.2 s` passes; the shortest time that does here is 198 ms"),
        ("0.100 s", "0.198 s", "`0.198 s` passes; the shortest time that does here is 198 ms"),
    )
)


EVERY = CASES + MOTIONS + LIGHTS


@pytest.mark.parametrize("case", EVERY, ids=[one.id for one in EVERY])
def test_a_finding_says_what_helps_in_its_case(case: Case) -> None:
    (one,) = findings(case.text, case.name)
    assert (one.severity, one.label) == (case.severity, case.label)
    assert one.help is not None
    assert one.help == case.help if case.help[-1] != " " else one.help.startswith(case.help)
    assert case.text[one.span.start : one.span.end] == case.at
    assert (one.fix and one.fix.text) == case.fix
    assert tuple(words for _, words in one.related) == case.related
    if one.fix is not None:
        assert findings(applied(case.text, one), case.name) == []


@pytest.mark.parametrize(("slope", "is_told"), [("0 deg", False), ("0.25 deg", True)])
def test_it_is_said_whether_a_cord_goes_slack_in_a_move_or_when_one_is_cut_short(
    slope: str, is_told: bool
) -> None:
    (one,) = findings(
        broken("cord-slack", ("slope       0 deg", f"slope       {slope}")), "cord-slack"
    )
    assert one.message.endswith(", when a stop or another cue cuts a move short") is is_told


@pytest.mark.parametrize("kind", ["fades", "moves"])
def test_idle_beside_a_sensor_is_told_once_and_not_where_it_is_seen(kind: str) -> None:
    """Not where another cue moves it, and not of a part that is mixed with idle."""
    text = sensed(kind)
    line = text[text.index("cue dream") :].split("\n")[1]
    twice = text.replace(f"{line}\n", f"{line}\n{line.replace('in 2 s', 'in 3 s')}\n")
    assert [one.message for one in findings(twice, "idle-unseen")] == [
        one.message for one in findings(text, "idle-unseen")
    ]
    asked = text.replace("stop button", "button 3: go dream\n    stop button")
    assert findings(asked, "idle-unseen") == []
    assert findings(text.replace("idle: go dream\n", ""), "idle-unseen") == []
    mixed = text.replace(", 0 deg to 40 deg, in 3 s", ", 0 deg to 40 deg, in 3 s, mixed with idle")
    assert len(findings(mixed, "idle-unseen")) == (kind == "fades")


@pytest.mark.parametrize(
    ("logic", "words"),
    [
        ("", "a usual regulator (there is no `logic` line)"),
        ("    logic 5 V, dropout 1 V\n", "the board's own regulator"),
    ],
)
def test_what_is_lost_on_a_board_is_said_of_the_regulator_that_takes_it(
    logic: str, words: str
) -> None:
    """9 A through 4 m of 28 AWG, there and back, of 9 V."""
    text = lit_fan("9 A", "", "source adapter 9.0 V, 20 A").replace("100 mm of 10", "2 m of 28")
    text = text.replace("28 AWG\n", f"28 AWG\n{logic}")
    (one,) = findings(text, "brown-out")
    assert len(one.notes) == 1
    assert one.notes[0].endswith(f" V arrive at the board; {words} takes the rest; see `logic`")
    assert 0.0 < float(one.notes[0].split()[0]) < 1.0


CELLS = "source 2 li-ion cells, 3000 mAh"
MANY_CELLS = "source 12 lipo cells in 100 rows, 200 Ah"


@pytest.mark.parametrize("amps", [100, 9_900, 10_100, 20_000, 2_000_000])
@pytest.mark.parametrize(
    ("supply", "limits"),
    [
        ("source adapter 6.0 V, 80 A", ["its adapter gives 80 A"]),
        # 6 V from 6.1 V at 90 % take 1.09 times the current, from 60 V a ninth
        ("source adapter 6.1 V, 80 A\nregulator 6.0 V, 90 A", ["adapter", "regulator"]),
        ("source adapter 60 V, 5 A\nregulator 6.0 V, 90 A", ["adapter", "regulator"]),
        ("source adapter 60 V, 80 A\nregulator 6.0 V, 90 A", ["regulator", "adapter"]),
        (f"{MANY_CELLS}\nregulator 6.0 V, 90 A", ["its regulator gives 90 A"]),
    ],
)
def test_what_limits_a_supply_is_named_however_much_is_drawn(
    supply: str, limits: list[str], amps: int
) -> None:
    """An adapter is no battery: nothing in it takes its voltage. Each limit is told in its turn."""
    text = lit_fan(f"{amps} A", "", supply)
    for limit in limits:
        told = findings(text, "supply-overload")
        if not told:  # 100 A from 60 V leave the adapter enough
            assert (amps, limit) == (100, limits[-1])
            return
        (one,) = told
        assert limit in one.message.rsplit(", and ", 1)[1]
        text = applied(text, one)
    assert findings(text, "supply-overload") == []


@pytest.mark.parametrize("amps", [100, 9_900, 10_100, 20_000, 2_000_000])
@pytest.mark.parametrize("regulator", ["", "\nregulator 6.0 V, 50 A"])
def test_a_battery_that_cannot_give_it_is_named_however_much_is_drawn(
    regulator: str, amps: int
) -> None:
    """Without a regulator it has no limit: it sags, as far as to nothing."""
    text = lit_fan(f"{amps} A", "", CELLS + regulator)
    assert [one.message for one in findings(text, "supply-overload")] == (
        [
            "the battery of supply `pack` cannot give what the show takes while all parts hold "
            "their poses: its voltage collapses"
        ]
        if regulator
        else []
    )
