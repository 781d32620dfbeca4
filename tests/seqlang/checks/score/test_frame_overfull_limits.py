"""More than a board does in one frame: 64 steps (TABLE.md 2.3), counted by hand.

A fade of 1 ms is one step of its thread, which goes on 1 ms later. A cue begins at a frame, and its
first frame holds what falls due from 0 to 20 ms, ends included: 21 rows of three fades are 63.
"""

from __future__ import annotations

import pytest

from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import block, findings, show

PINS = {"one": "PD3", "two": "PD5", "three": "PD6", "four": "PB3"}
LAMPS = "".join(f"lamp {name}: body pin {pin}\n" for name, pin in PINS.items())
ROWS = 25


def level(row: int, of: int) -> str:
    """No row is like another one, so the compiler makes no repeat of them."""
    return f"{10 + (row * (7 + 4 * of) + row * row // 3) % 37 / 2:g} %"


def rows(names: tuple[str, ...], extra: int = 0, count: int = ROWS, late_ms: int = 0) -> str:
    """Fades of these lamps every ms; lamp `four` has one in the first `extra` rows."""
    lines = [f"hold {late_ms} ms"] if late_ms else []
    for row in range(count):
        here = (*names, "four") if row < extra else names
        fades = [f"{name} fade to {level(row, of)} in 1 ms" for of, name in enumerate(here)]
        lines += ["together", *(f"    {fade}" for fade in fades)]
    return "\n".join(lines)


THREE = ("one", "two", "three")


def of_cues(cues: dict[str, str], idle: str = "", **more: str) -> str:
    names = [name for name in cues if name not in idle]
    starts = [f"button {n}: go {name}" for n, name in enumerate(names, 3)]
    return show(
        still=True,
        rig=LAMPS,
        cues=cues,
        score=f"idle: go {idle}\n" if idle else "",
        remote="\n".join([*starts, "stop button 2"]),
        **more,
    )


def rows_of_two(extra: int) -> str:
    """21 rows of two fades are 42 steps."""
    return rows(("one", "two"), extra)


LIMITS = (
    Limit(
        id="alone-in-the-first-frame",
        name="frame-overfull",
        severity="warning",
        passes=of_cues({"dots": rows(THREE, 1)}),
        fails=of_cues({"dots": rows(THREE, 2)}),
        says="cue `dots` has 65 steps for board `body` in its first frame, and a board does at "
        "most 64",
        asked=65,
        limit=64,
        label="the first of 65 steps of `dots`",
    ),
    Limit(
        id="alone-in-a-later-frame",
        name="frame-overfull",
        severity="warning",
        # From 1001 to 1020 ms are 20 rows of three fades. Four more make 64, five 65.
        passes=of_cues({"dots": rows(THREE, 5, late_ms=1000)}),
        fails=of_cues({"dots": rows(THREE, 6, late_ms=1000)}),
        says="cue `dots` has 65 steps for board `body` in one frame, 1 s after it starts, and a "
        "board does at most 64",
        asked=65,
        limit=64,
    ),
)


@each(LIMITS)
def test_the_limit_is_kept_from_both_sides(limit: Limit) -> None:
    assert_holds(limit)


def test_cues_that_may_meet_in_one_frame_are_an_advice() -> None:
    cues = {f"of_{name}": rows((name,), count=16) for name in PINS}
    # 16 fades and the end are 17 steps; four times that are 68.
    (one,) = findings(of_cues(cues), "frame-overfull")
    assert one.severity == "advice"
    assert one.message == (
        "cues `of_one`, `of_two`, `of_three` and `of_four` may run side by side, with up to 68 "
        "steps for board `body` in one frame, and a board does at most 64"
    )
    assert [words for _, words in one.related] == [
        "up to 17 steps of `of_two`",
        "up to 17 steps of `of_three`",
        "up to 17 steps of `of_four`",
    ]
    fewer = {f"of_{name}": rows((name,), count=15) for name in PINS}
    assert findings(of_cues(fewer), "frame-overfull") == []


def test_of_cues_with_the_same_outputs_one_ends_when_the_other_starts() -> None:
    cues = {name: rows(("one", "two"), count=18) for name in ("left", "right")}
    assert findings(of_cues(cues), "frame-overfull") == []


def side_by_side(names: tuple[str, ...], repeats: int, fades: int) -> str:
    """Repeats, each with a thread of its own."""
    lines = ["together"]
    for n in range(repeats):
        name = names[n % len(names)]
        lines += ["    repeat 2 times"]
        lines += [f"        {name} fade to {level(row, n)} in 1 ms" for row in range(fades)]
        lines += [f"        hold {n + 1} s"]
    return "\n".join(lines)


def test_a_cue_that_needs_too_many_threads_hides_no_smaller_one_with_the_same_outputs() -> None:
    """`big` has the most steps of all, and 8 of the 10 threads: `other`, with 3, cannot run beside
    it, but it can beside `small`."""
    cues = {
        "big": side_by_side(("one", "two"), 8, 3),
        "small": rows(("one", "two"), count=16),
        "other": side_by_side(("three", "four"), 3, 10),
    }
    (one,) = findings(of_cues(cues), "frame-overfull")
    assert one.message.startswith("cues `small` and `other` may run side by side")


@pytest.mark.parametrize(("extra", "found"), [(1, 0), (2, 1)])
def test_a_cue_is_counted_with_the_most_that_idle_may_do_in_a_frame(extra: int, found: int) -> None:
    # 42 steps and the extra ones. Of the strand 20 fades and the wait behind them, from 0 to 20 ms.
    strand = rows(("three",), count=20) + "\nhold 3 s"
    cues = {"drift": strand, "dots": rows_of_two(extra)}
    got = findings(of_cues(cues, idle="drift"), "frame-overfull")
    assert len(got) == found
    for one in got:
        assert one.severity == "warning"
        assert one.message == (
            "cue `dots` has 44 steps for board `body` in its first frame, and idle up to 21 more; "
            "a board does at most 64"
        )


def test_idle_is_counted_where_it_overfills_a_frame_by_itself() -> None:
    strands = {f"of_{name}": rows((name,), count=30) + "\nhold 3 s" for name in PINS}
    text = show(
        still=True,
        rig=LAMPS,
        cues={**strands, "still_one": "one fade to 5 % in 1 s"},
        score=f"idle: go {', '.join(strands)}\n",
        remote="button 3: go still_one\nstop button 2",
    )
    (one,) = findings(text, "frame-overfull")
    assert one.message == (
        "idle has up to 84 steps for board `body` in one frame, and a board does at most 64"
    )
    assert text[one.span.start : one.span.end].startswith("idle")


def test_what_is_held_or_endless_is_counted_too() -> None:
    fast = "\n".join(
        f"repeat for ever\n    {name} fade to 10 % in 1 ms\n    {name} fade to 11 % in 1 ms"
        for name in THREE
    )
    body = block("together", fast)
    for words in ("for ever", "while held"):
        cues = {"glimmer": body.replace("for ever", words)}
        (one,) = findings(of_cues(cues), "frame-overfull")
        assert one.severity == "warning"
        assert one.asked == pytest.approx(3 * 31, abs=6)


def test_a_part_for_letting_go_is_counted_from_where_it_begins() -> None:
    part = rows(THREE, 2).replace("\n", "\n    ")
    body = f"one fade to 10 % in 1 s\nwhen let go\n    {part}"
    (one,) = findings(of_cues({"dots": body}), "frame-overfull")
    assert one.message == (
        "cue `dots` has 65 steps for board `body` in one frame, 0 ms after it is let go, and a "
        "board does at most 64"
    )
