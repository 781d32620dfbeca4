"""What a cue may ask of one board's player at once, from both sides (TABLE.md, 2: 10 threads, loops
3 deep, a statement at least every frame)."""

from __future__ import annotations

import pytest

from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import SNAP, block, findings, show

LIGHTS = "lamp lure: body pin PD3\n    leds 1 of 3.0 V, 20 mA\nswitch bell: body pin PD4\n"
GLOW = "repeat for ever\n    lure fade to 60% in 1 s\n    lure fade to 20% in 1 s"
BOTH = "button 1: go snap\nbutton 3: go glow\nstop button 2"
PINS = ("PB2", "PB3", "PB4", "PB5", "PC0", "PC1", "PC2", "PC3", "PC4", "PC5", "PD2")


def cues(snap: str, glow: str | None = None, remote: str = BOTH, **more: str) -> str:
    both = {"snap": snap} if glow is None else {"snap": snap, "glow": glow}
    remote = remote if glow is not None else "button 1: go snap\nstop button 2"
    return show(rig=LIGHTS, cues={**both, **more}, remote=remote)


def beside(count: int) -> str:
    """So many repeats at once, each of a switch of its own; each needs a thread."""
    switches = "".join(f"switch w{n}: body pin {PINS[n]}\n" for n in range(count))
    blink = "\n".join(
        f"    repeat 2 times\n        w{n} on\n        hold 500 ms\n        w{n} off\n"
        "        hold 500 ms"
        for n in range(count)
    )
    return show(rig=switches, cues={"snap": f"together\n{blink}"})


def nested(depth: int) -> str:
    body = SNAP
    for _ in range(depth):
        body = block("repeat 2 times", body).rstrip()
    return show(cues={"snap": body})


def twice(first_ms: int) -> str:
    return show(
        cues={
            "snap": "together\n    jaw to 50 deg in 400 ms\n    in turn\n"
            f"        hold {first_ms} ms\n        jaw to 4 deg in 400 ms"
        }
    )


LIMITS = (
    Limit(
        id="threads",
        name="too-many-threads",
        passes=beside(10),
        fails=beside(11),
        says="cue `snap` needs 11 threads, and a board has 10",
        asked=11,
        limit=10,
        help="put repeats that take the same time into one `repeat`",
        at="snap",
    ),
    Limit(
        id="depth",
        name="too-many-threads",
        passes=nested(3),
        fails=nested(4),
        says="repeats of cue `snap` nest more than 3 deep",
        asked=4,
        limit=3,
        help="multiply two of the counts into one repeat",
    ),
    Limit(
        id="depth-is-said-once",
        name="too-many-threads",
        passes=show(cues={"snap": f"{block('repeat 2 times', SNAP)}" * 4}),
        fails=nested(6),
        says="repeats of cue `snap` nest more than 3 deep",
        asked=4,
        limit=3,
    ),
    Limit(
        id="open-ends",
        name="too-many-threads",
        passes=cues(
            "together\n    repeat while held\n        lure cut to 9%\n        hold 1 s\n"
            "    repeat while held\n        bell on\n        hold 1 s"
        ),
        fails=cues(
            "together\n    repeat while held\n        lure cut to 9%\n        hold 1 s\n"
            "    repeat while held\n        bell on\n        hold 1 s\njaw to 4 deg in 1 s"
        ),
        says="something follows two `while held` repeats that run side by side",
        help="put both into one `repeat while held`, or end the cue with them",
    ),
    Limit(
        id="driven-twice",
        name="output-driven-twice",
        passes=twice(400),
        fails=twice(399),
        says="`jaw` is driven twice at once in cue `snap`: this starts at 399 ms, and an earlier "
        "statement drives it until 400 ms",
        asked=399,
        limit=400,
        help="start `jaw` 1 ms later",
        fix="hold 1 ms\n            ",
        at="jaw",
    ),
    Limit(
        id="driven-twice-side-by-side",
        name="output-driven-twice",
        passes=show(cues={"snap": "in turn\n    jaw to 50 deg in 400 ms\n    jaw to 4 deg in 1 s"}),
        fails=show(cues={"snap": "together\n    jaw to 50 deg in 400 ms\n    jaw to 4 deg in 1 s"}),
        says="`jaw` is driven twice at once in cue `snap`: this starts at 0 ms, and an earlier "
        "statement drives it until 400 ms",
        asked=0,
        limit=400,
        help="start `jaw` 400 ms later",
        fix="in turn\n            hold 400 ms\n            jaw to 4 deg in 1 s",
    ),
    Limit(
        id="driven-twice-without-end",
        name="output-driven-twice",
        passes=cues(SNAP, GLOW),
        fails=cues(
            SNAP,
            f"together\n    {GLOW.replace(chr(10), chr(10) + '    ')}\n    lure fade to 10% in 1 s",
        ),
        says="`lure` is driven twice at once in cue `glow`: this starts at 0 ms, and an earlier "
        "statement drives it without end",
        asked=0,
        limit=float("inf"),
        help="take one of the two out, or put one after the other",
    ),
    Limit(
        id="no-time",
        name="repeat-without-time",
        passes=cues("repeat 2 times\n    bell on\n    hold 1 ms"),
        fails=cues("repeat 2 times\n    bell on\n    bell off"),
        says="the body of this repeat takes no time",
        asked=0,
        limit=20,
        help="add a hold to its body, one frame at least: `hold 20 ms`",
        fix="hold 20 ms\n        ",
        at="repeat 2",
    ),
    Limit(
        id="no-time-once",
        name="repeat-without-time",
        passes=cues("repeat 1 times\n    bell on\n    bell off"),
        fails=cues("repeat for ever\n    bell on\n    bell off"),
        says="the body of this repeat takes no time",
        asked=0,
        limit=20,
        fix="hold 20 ms\n        ",
    ),
    Limit(
        id="no-time-while-held",
        name="repeat-without-time",
        passes=cues("repeat while held\n    bell on\n    hold 20 ms"),
        fails=cues("repeat while held\n    bell on"),
        says="the body of this repeat takes no time",
        asked=0,
        limit=20,
        fix="hold 20 ms\n        ",
    ),
    Limit(
        id="endless",
        name="endless-cue",
        passes=cues(f"{SNAP}\nlure cut to 0%", GLOW),
        fails=cues(SNAP, GLOW),
        says="cue `glow` never ends: no other cue of the remote takes over `lure`",
        severity="warning",
        help="give the repeat a count, or let idle play it: `idle: go glow`; or bind a cue "
        "that uses `lure`",
        at="repeat for ever",
    ),
    Limit(
        id="endless-counted",
        name="endless-cue",
        passes=cues(SNAP, GLOW.replace("for ever", "1000 times")),
        fails=cues(SNAP, GLOW.replace("lure fade to 20%", "jaw to 9 deg").replace("60%", "0%")),
        says="cue `glow` never ends: no other cue of the remote takes over `lure`",
        severity="warning",
    ),
    Limit(
        id="endless-taken-by-a-cue-that-nothing-starts",
        name="endless-cue",
        passes=cues(SNAP, GLOW, f"{BOTH}\nbutton 4: go dark", dark="lure cut to 0%"),
        fails=cues(SNAP, GLOW, dark="lure cut to 0%"),
        says="cue `glow` never ends: no other cue of the remote takes over `lure`",
        severity="warning",
    ),
    Limit(
        id="endless-while-held",
        name="endless-cue",
        passes=cues(
            SNAP,
            GLOW.replace("for ever", "while held"),
            f"{BOTH} ".replace("go glow", "go glow while held"),
        ),
        fails=cues(f"{SNAP}\nlure cut to 0%", GLOW, BOTH.replace("go glow", "go glow while held")),
        says="cue `glow` is to run while its button is held, but repeats for ever by itself",
        severity="warning",
        help="write `repeat while held`, or take the repeat out",
    ),
    Limit(
        id="endless-without-outputs",
        name="endless-cue",
        passes=cues(SNAP, "hold 5 s"),
        fails=cues(SNAP, "repeat for ever\n    hold 5 s"),
        says="cue `glow` never ends: it uses no output that another cue could take over",
        severity="warning",
        help="give the repeat a count, or let idle play it: `idle: go glow`",
    ),
    Limit(
        id="endless-when-lost",
        name="endless-cue",
        passes=cues(f"{SNAP}\nlure cut to 0%", GLOW, f"{BOTH}\nlost 2 s: go snap"),
        fails=cues(f"{SNAP}\nlure cut to 0%", GLOW, f"{BOTH}\nlost 2 s: go glow"),
        says="cue `glow`, for a lost remote, never ends",
        severity="warning",
        help="let it end in the safe pose",
        at="glow",
    ),
    Limit(
        id="unreachable",
        name="unreachable-cue",
        passes=cues(SNAP, "lure cut to 9%"),
        fails=cues(SNAP, "lure cut to 9%", "button 1: go snap\nstop button 2"),
        says="nothing starts cue `glow`",
        severity="warning",
        help="bind it under `remote`: `button 3: go glow`",
        fix="button 3: go glow\n    ",
        at="glow",
    ),
    Limit(
        id="unreachable-but-played",
        name="unreachable-cue",
        passes=cues(f"{SNAP}\nplay glow", "lure cut to 9%", "button 1: go snap\nstop button 2"),
        fails=cues(f"{SNAP}\nlure cut to 9%", "lure cut to 9%", "button 1: go snap\nstop button 2"),
        says="nothing starts cue `glow`",
        severity="warning",
        fix="button 3: go glow\n    ",
    ),
    Limit(
        id="unreachable-but-for-a-lost-remote",
        name="unreachable-cue",
        passes=cues(SNAP, "lure cut to 9%", "button 1: go snap\nstop button 2\nlost 2 s: go glow"),
        fails=cues(SNAP, "lure cut to 9%", "button 1: go snap\nstop button 2\nlost 2 s: go snap"),
        says="nothing starts cue `glow`",
        severity="warning",
        fix="button 3: go glow\n    ",
    ),
)


@each(LIMITS)
def test_a_cue_asks_just_so_much(limit: Limit) -> None:
    assert_holds(limit)


def test_a_cue_that_waits_or_refuses_takes_nothing_back() -> None:
    for way in ("wait", "refuse"):
        text = cues(f"{SNAP}\nlure cut to 0%", GLOW).replace("cue snap", f"cue snap, if busy {way}")
        assert len(findings(text, "endless-cue")) == 1
    assert findings(cues(f"{SNAP}\nlure cut to 0%", GLOW), "endless-cue") == []


def test_every_output_of_an_endless_cue_must_be_taken_back() -> None:
    text = cues("lure cut to 0%", f"{GLOW}\n    bell on\n    jaw to 5 deg in 1 s")
    (one,) = findings(text, "endless-cue")
    assert one.message.endswith("takes over `bell` and `jaw`")


@pytest.mark.parametrize(
    ("starts", "found"), [("button 1: go glow", 0), ("button 1: go snap\nlost 2 s: go glow", 2)]
)
def test_a_cue_ends_as_it_is_let_go_only_where_a_button_of_its_own_holds_it(
    starts: str, found: int
) -> None:
    """Somebody else's button lets go of nothing: it is told of the cue, and of the lost remote."""
    glow = f"{GLOW}\nwhen let go\n    lure fade to 0 % in 1 s"
    text = cues(SNAP, glow, f"{starts}\nstop button 2")
    assert len(findings(text, "endless-cue")) == found


def test_the_idle_cue_may_be_endless() -> None:
    text = show(
        rig=LIGHTS,
        cues={"snap": SNAP, "glow": GLOW},
        score="idle: go glow\n",
        remote="button 1: go snap\nstop button 2",
    )
    assert findings(text, "endless-cue") == []
    assert findings(text, "unreachable-cue") == []


def test_a_show_without_a_remote_has_no_cue_out_of_reach() -> None:
    text = show(rig=LIGHTS, cues={"snap": SNAP, "glow": "lure cut to 9%"}, remote=None)
    assert findings(text, "unreachable-cue") == []


def test_cues_out_of_reach_are_given_different_free_buttons() -> None:
    bodies = {f"c{n}": "lure cut to 9%" for n in range(31)}
    found = findings(show(rig=LIGHTS, cues={"snap": SNAP, **bodies}), "unreachable-cue")
    assert len(found) == 31
    free = [one.fix.text.split(":")[0] for one in found if one.fix]
    assert free == [f"button {n}" for n in range(3, 32)]
    assert {one.help for one in found[29:]} == {"all buttons are taken"}


def test_the_statement_that_drives_an_output_first_is_pointed_at() -> None:
    text = twice(399)
    (one,) = findings(text, "output-driven-twice")
    ((span, words),) = one.related
    assert text[span.start : span.end] == "jaw to 50 deg in 400 ms"
    assert words == "drives `jaw` until 400 ms"
