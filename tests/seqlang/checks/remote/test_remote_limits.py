"""What buttons may do, from both sides. A remote has buttons 1 to 31 (TABLE.md, bindings)."""

from __future__ import annotations

import pytest

from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import LAMP, SNAP, findings, show

INPUTS = "input 1: body pin PC0\ninput 3: body pin PC1\n"
THREE = INPUTS + "input 2: body pin PC2\n"


def remote(*lines: str, rig: str = "") -> str:
    return show(
        rig=LAMP + rig, cues={"snap": SNAP, "glow": "lure cut to 9%"}, remote="\n".join(lines)
    )


def buttons(last: int) -> list[str]:
    return [f"button {n}: go snap" for n in range(1, last + 1)]


LIMITS = (
    Limit(
        id="twice",
        name="button-bound-twice",
        passes=remote("button 1: go snap", "button 3: go glow", "stop button 2"),
        fails=remote("button 1: go snap", "button 1: go glow", "stop button 2"),
        says="button 1 already starts `snap`",
        asked=1,
        help="button 3 is free",
        fix="3",
        at="1",
    ),
    Limit(
        id="stop",
        name="button-bound-twice",
        passes=remote("button 1: go snap", "stop button 2"),
        fails=remote("button 2: go snap", "stop button 2"),
        says="button 2 is the stop button",
        asked=2,
        help="button 1 is free",
        fix="1",
    ),
    Limit(
        id="last-free",
        name="button-bound-twice",
        passes=remote(*buttons(30), "stop button 31"),
        fails=remote(*buttons(29), "button 29: go glow", "stop button 31"),
        says="button 29 already starts `snap`",
        asked=29,
        help="button 30 is free",
        fix="30",
    ),
    Limit(
        id="none-free",
        name="button-bound-twice",
        passes=remote(*buttons(30), "stop button 31"),
        fails=remote(*buttons(30), "button 30: go glow", "stop button 31"),
        says="button 30 already starts `snap`",
        asked=30,
    ),
    Limit(
        id="no-stop",
        name="no-stop-button",
        passes=remote("button 1: go snap", "stop button 2"),
        fails=remote("button 1: go snap"),
        says="the remote starts cues and has no stop button",
        severity="advice",
        help="button 2 is free: `stop button 2`",
        fix="stop button 2\n    ",
        at="button 1: go snap",
    ),
    Limit(
        id="no-stop-last-free",
        name="no-stop-button",
        passes=remote(*buttons(30), "stop button 31"),
        fails=remote(*buttons(30)),
        says="the remote starts cues and has no stop button",
        severity="advice",
        help="button 31 is free: `stop button 31`",
        fix="stop button 31\n    ",
    ),
    Limit(
        id="no-stop-none-free",
        name="no-stop-button",
        passes=remote(*buttons(30), "stop button 31"),
        fails=remote(*buttons(31)),
        says="the remote starts cues and has no stop button",
        severity="advice",
    ),
    Limit(
        id="starts-and-is-not-wired",
        name="button-not-wired",
        passes=remote("button 1: go snap", "stop button 3", rig=INPUTS),
        fails=remote(*("button 1: go snap", "button 4: go glow", "stop button 3"), rig=INPUTS),
        says="button 4 starts `glow` and is wired to no board",
        severity="warning",
        help="give a board an input for it, or use one of the buttons 1, 3",
        at="4",
    ),
    Limit(
        id="wired-and-starts-nothing",
        name="button-not-wired",
        passes=remote("button 1: go snap", "button 3: go glow", "stop button 2", rig=THREE),
        fails=remote("button 1: go snap", "stop button 2", rig=THREE),
        says="button 3 is wired to `body` and does nothing",
        severity="warning",
        at="3",
    ),
    Limit(
        id="stop-is-not-wired",
        name="button-not-wired",
        passes=remote("button 1: go snap", "button 3: go glow", "stop button 2", rig=THREE),
        fails=remote("button 1: go snap", "button 3: go glow", "stop button 2", rig=INPUTS),
        says="the stop button, button 2, is wired to no board",
        severity="warning",
        help="give a board an input for it: `input 2: BOARD pin PIN`",
        at="2",
    ),
)


@each(LIMITS)
def test_a_button_does_one_thing(limit: Limit) -> None:
    assert_holds(limit)


def test_three_lines_for_a_button_are_sent_to_different_free_ones() -> None:
    text = remote(*["button 1: go snap"] * 3, "stop button 2")
    found = findings(text, "button-bound-twice")
    assert [one.help for one in found] == ["button 3 is free", "button 4 is free"]
    assert [words for one in found for _, words in one.related] == ["bound here first"] * 2


def test_wired_buttons_of_a_show_that_binds_none_are_one_thing_to_say() -> None:
    assert [
        one.message for one in findings(remote("stop in 1 s", rig=THREE), "button-not-wired")
    ] == ["buttons 1, 3 and 2 are wired, and no line under `remote` uses a button"]


@pytest.mark.parametrize(
    ("wired", "words"),
    [
        ((1, 2), "1 and 2"),
        ((2, 1), "2 and 1"),
        ((1, 2, 3), "1 to 3"),
        ((1, 2, 4), "1, 2 and 4"),
        ((4, 5, 6, 7), "4 to 7"),
        ((4, 6, 5, 7), "4, 6, 5 and 7"),
    ],
)
def test_three_buttons_and_more_in_a_row_are_told_by_their_ends(
    wired: tuple[int, ...], words: str
) -> None:
    wires = "".join(f"input {button}: body pin PC{n}\n" for n, button in enumerate(wired))
    text = remote("stop in 1 s", rig=wires)
    (one,) = findings(text, "button-not-wired")
    assert one.message.startswith(f"buttons {words} are wired, ")
    first = text.index(f"input {wired[0]}: ") + len("input ")
    assert (one.span.start, one.span.end) == (first, first + 1)


def test_where_buttons_are_wired_or_stand_for_a_channel_only_those_are_offered() -> None:
    """Of the inputs and of the bands of a channel together, the first that nothing uses."""
    wires = "".join(f"input {button}: hub pin PA{button}\n" for button in (2, 3))
    bands = "    button 5 from 1700 us to 2000 us\n    button 4 from 1000 us to 1300 us\n"
    hub = f"board hub: atmega2560, address 2\n    feed pack\n{wires}"
    channel = f"channel stick: hub pin PL0\n{bands}"
    for rig, free in ((hub, None), (hub + channel, 4), (channel.join((hub, "")), 4)):
        text = remote("button 3: go snap", "button 3: go glow", "stop button 2", rig=rig)
        (one,) = findings(text, "button-bound-twice")
        assert one.help == (None if free is None else f"button {free} is free")
        assert (one.fix and one.fix.text) == (None if free is None else str(free))


def test_wired_buttons_of_one_line_are_told_once() -> None:
    row = "row of 3\n    input (3, step 1): body pin (PC0, PC1, PC2)\n"
    wires = "input 1: body pin PC3\ninput 2: body pin PC4\n"
    text = remote("button 1: go snap", "stop button 2", rig=row + wires)
    assert [one.message for one in findings(text, "button-not-wired")] == [
        "buttons 3 to 5 are wired to `body` and do nothing"
    ]


def test_without_wires_every_button_may_come_over_the_link() -> None:
    assert findings(remote("button 9: go snap", "stop button 2"), "button-not-wired") == []


def test_a_show_without_servos_needs_no_stop_button() -> None:
    text = remote("button 1: go glow")
    servo = text[text.index("servo jaw") : text.index("lamp lure")]
    still = text.replace(servo, "").replace(SNAP.replace("\n", "\n    "), "lure cut to 1%")
    assert findings(still, "no-stop-button") == []
    assert len(findings(text, "no-stop-button")) == 1


def test_a_remote_that_starts_nothing_needs_no_stop_button() -> None:
    assert findings(remote("stop in 1 s"), "no-stop-button") == []


@pytest.mark.parametrize(("band", "told"), [(3, False), (4, True)])
def test_a_button_that_a_channel_stands_for_is_wired(band: int, told: bool) -> None:
    """Beside a wired one, the end of a channel's travel counts as the button that it says."""
    rig = (
        "board hub: atmega2560, address 2\n    feed pack\ninput 2: hub pin PA0\n"
        f"channel stick: hub pin PL0\n    button {band} from 1700 us to 2000 us\n"
    )
    remote = "button 3: go snap\nstop button 2"
    found = findings(show(rig=rig, remote=remote), "button-not-wired")
    unwired = "button 3 starts `snap` and is wired to no board"
    assert (unwired in [one.message for one in found]) is told
