"""What a slot holds, and names that come out as one number, from both sides.

A slot of this chip has 500 bytes (`firmware_gen/chips`). A move of no repeated kind takes four, so
102 of them fill it; that is the table's account, which `test_account.py` holds against the bytes.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from firmware_gen.chips import CHIPS
from firmware_gen.chips.atmega328p import CHIP
from firmware_gen.compiler import show as show_module
from firmware_gen.crc import cue_tag
from seqlang.checks.wiring import table_too_large
from tests.seqlang.checks.limits import Limit, assert_holds, each
from tests.seqlang.show_text import LAMP, SNAP, findings, show


def cues(moves: int, fades: int = 3) -> str:
    each_move = [f"jaw to {1 + 7 * n % 41} deg in {1000 + 13 * n} ms" for n in range(moves)]
    each_fade = [f"lure fade to {1 + 7 * n % 41}% in {1000 + 13 * n} ms" for n in range(fades)]
    return show(
        rig=LAMP,
        cues={"snap": SNAP, "long": "\n".join(each_move), "mid": "\n".join(each_fade)},
        remote="button 1: go snap\nbutton 3: go long\nbutton 4: go mid\nstop button 2",
    )


def named(*names: str) -> str:
    lines = [f"button {n}: go {name}" for n, name in enumerate(names, start=1)]
    return show(cues=dict.fromkeys(names, SNAP), remote="\n".join([*lines, "stop button 31"]))


MERGE = "put it on the board with `bellcrank flash FILE --merged`; to fit a slot, "
SHORTEN = "shorten the largest cues, or put a part of the rig on a second board"


LARGER = ", or take an `atmega2560`, which has room for it"


def fits_without(name: str) -> str:
    return f"{MERGE}leave out cue `{name}`"


LIMITS = (
    Limit(
        id="slot",
        name="table-too-large",
        severity="warning",
        passes=cues(102),
        fails=cues(103),
        says="the table of board `body` takes 504 bytes, and a slot holds 500",
        asked=504,
        limit=500,
        label="4 bytes too many for a slot",
        help=fits_without("snap"),  # 7 bytes
        at="body",
    ),
    Limit(
        id="slot-by-as-much-as-a-cue",
        name="table-too-large",
        severity="warning",
        passes=cues(102),
        fails=cues(105),
        says="the table of board `body` takes 512 bytes, and a slot holds 500",
        asked=512,
        limit=500,
        label="12 bytes too many for a slot",
        help=fits_without("mid"),  # 12 bytes
    ),
    Limit(
        id="slot-by-more-than-most-cues",
        name="table-too-large",
        severity="warning",
        passes=cues(102),
        fails=cues(106),
        says="the table of board `body` takes 516 bytes, and a slot holds 500",
        asked=516,
        limit=500,
        help=fits_without("long"),
    ),
    Limit(
        id="slot-by-more-than-any-cue",
        name="table-too-large",
        severity="warning",
        passes=cues(50, 50),
        fails=cues(140, 140),
        says="the table of board `body` takes 1195 bytes, and a slot holds 500",
        asked=1195,
        limit=500,
        help=MERGE + SHORTEN,
    ),
    Limit(
        id="tag",
        name="tag-clash",
        passes=named("tail_hip", "beak_turns"),
        fails=named("tail_hip", "beak_turn"),
        says="cues `tail_hip` and `beak_turn` have the same number on the link",
        label="0x5C13, like `tail_hip`",
        help="rename it, to `beak_turn_2` for example",
        at="beak_turn",
    ),
)


@each(LIMITS)
def test_a_slot_and_a_number_hold_just_so_much(limit: Limit) -> None:
    assert_holds(limit)


def messages(text: str) -> list[tuple[str, str, str | None]]:
    return [(f.severity, f.message, f.help) for f in findings(text, "table-too-large")]


def test_program_memory_holds_just_so_much(monkeypatch: pytest.MonkeyPatch) -> None:
    """Room for 512 bytes and the stamp's two, the last eight only where no boot loader is."""
    end = CHIP.memory.merged_start + 514
    memory = replace(CHIP.memory, flash=end, boot_start=end - 8)
    monkeypatch.setattr(show_module, "CHIPS", {CHIP.name: replace(CHIP, memory=memory)})
    says = "the table of board `body` takes {} bytes, and a slot holds 500"
    programmer = "merge it with `bellcrank firmware --with FILE --way isp`; to fit a slot, "
    assert messages(cues(103)) == [("warning", says.format(504), fits_without("snap"))]
    assert messages(cues(104)) == [
        ("warning", says.format(508), f"{programmer}leave out cue `mid`")
    ]
    assert messages(cues(105))[0][0] == "warning"
    says = "the table of board `body` takes 516 bytes, and its program memory has room for 512"
    ((severity, message, help),) = messages(cues(106))
    assert (severity, message) == ("error", says)
    assert (
        help == f"leave out cue `snap`{LARGER}; steps inside a `repeat` take their bytes only once"
    )


def test_code_that_no_memory_holds_is_not_made_into_a_table(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    memory = replace(CHIP.memory, flash=CHIP.memory.merged_start + 258)
    monkeypatch.setattr(show_module, "CHIPS", {CHIP.name: replace(CHIP, memory=memory)})
    (one,) = findings(cues(105), "table-too-large")
    assert one.severity == "error"
    assert one.message == (
        "the cues of board `body` take 434 bytes, and its program memory has room for 256"
    )
    assert one.label == "178 bytes too many"
    assert [words for _, words in one.related][:1] == ["takes 415 bytes of it"]
    assert one.help == SHORTEN + LARGER


def test_a_chip_is_a_way_out_only_if_it_has_the_room(monkeypatch: pytest.MonkeyPatch) -> None:
    """A table of more bytes than the larger chip's memory has; and one that just fits there."""
    for room, said in ((6000, ""), (11000, LARGER)):
        memory = CHIPS["atmega2560"].memory
        larger = replace(memory, boot_start=memory.merged_start + room + 2)
        chips = {**CHIPS, "atmega2560": replace(CHIPS["atmega2560"], memory=larger)}
        monkeypatch.setattr(table_too_large, "CHIPS", chips)
        (one,) = findings(cues(800, 800), "table-too-large")
        assert (one.severity, one.help) == ("error", SHORTEN + said)


def test_what_takes_the_bytes_is_listed() -> None:
    text = cues(105)
    (one,) = findings(text, "table-too-large")
    named_cues = [(text[span.start : span.end], words) for span, words in one.related]
    assert named_cues == [
        ("long", "takes 415 bytes of it"),
        ("mid", "takes 12 bytes of it"),
        ("snap", "takes 7 bytes of it"),
    ]
    sizes = [int(note.split(": ")[1].removesuffix(" bytes")) for note in one.notes]
    assert sum(sizes) == 512
    assert 0 not in sizes


@pytest.mark.parametrize("last", [True, False])
def test_a_suggested_name_clashes_with_no_cue_before_or_after(last: bool) -> None:
    """A check sum takes the same letters in the same way, so `_2` behind both clashes again."""
    assert cue_tag("tail_hip_2") == cue_tag("beak_turn_2")
    names = ("tail_hip", "beak_turn", "tail_hip_2")
    order = names if last else (names[2], *names[:2])
    (one,) = findings(named(*order), "tag-clash")
    assert one.help == "rename it, to `beak_turn_3` for example"


def test_a_show_with_errors_and_too_many_cues_makes_no_table() -> None:
    bodies = {"snap": "jaw to 95 deg in 1 s", **{f"c{n}": SNAP for n in range(32)}}
    found = {one.name for one in findings(show(cues=bodies)) if one.severity == "error"}
    assert found == {"board-overfull", "target-outside-travel"}


@pytest.mark.parametrize(("over", "words"), [(0, LARGER), (1, "")])
def test_a_larger_chip_is_offered_while_it_has_room_for_more_than_cues(
    over: int, words: str
) -> None:
    """Beside its cues a table takes 4 kB at most (own limit)."""
    room = CHIPS["atmega2560"].memory.merged_room() - 4096
    assert table_too_large._roomier(room + over) == words


def test_of_the_chips_with_room_the_smallest_is_offered() -> None:
    room = CHIPS["atmega328p"].memory.merged_room() - 4096
    assert "`atmega328p`" in table_too_large._roomier(room)
    assert table_too_large._roomier(room + 1) == LARGER
