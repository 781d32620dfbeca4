"""What LANGUAGE.md says of limits is so: on either side of each, and in the tables of the code."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from show_text import block, findings, servo, show

import seqlang
from firmware_gen.chips import CHIPS
from firmware_gen.link.protocol import HELD_FRAMES
from sim import rulebook
from sim.rig.regions import REGIONS

PAGE = (Path(__file__).parents[2] / "seqlang" / "LANGUAGE.md").read_text(encoding="utf-8")
LIMITS = PAGE[PAGE.index("## 7. What a board holds") :]
HELD = re.search(r"### 5\.1.*?```cues\n(.*?)^```", PAGE, re.S | re.M)


def most(words: str) -> str:
    """The last column of a row that starts with these words."""
    found = re.search(rf"^\| {re.escape(words)}[^|]*\|(?:[^|]*\|)? ([^|]+) \|$", LIMITS, re.M)
    assert found is not None, words
    return found[1]


def of_boards(words: str) -> list[str]:
    """All columns of such a row of the first table: one a chip."""
    found = re.search(rf"^\| {re.escape(words)}[^|]*\|([^\n]+)\|$", LIMITS, re.M)
    assert found is not None, words
    return [cell.strip() for cell in found[1].split("|")]


def test_the_limits_of_a_board_are_those_of_its_chip_and_of_the_rule_book() -> None:
    chips = CHIPS.values()
    assert of_boards("of one board") == [f"{chip.title}, at most" for chip in chips]
    assert set(of_boards("outputs")) == {str(rulebook.OUTPUTS)}
    assert of_boards("servos") == [str(chip.servos) for chip in chips]
    assert of_boards("strips") == [str(chip.strips) for chip in chips]
    assert of_boards("pixels") == [str(chip.pixels) for chip in chips]
    assert set(of_boards("wired buttons")) == {str(rulebook.INPUTS)}
    assert set(of_boards("cues ")) == {str(rulebook.CUES)}
    assert set(of_boards("buttons that start")) == {str(rulebook.BINDINGS)}
    assert set(of_boards("cues that run")) == {str(rulebook.RUNS)}
    assert set(of_boards("threads")) == {str(rulebook.THREADS)}
    assert set(of_boards("repeats")) == {str(rulebook.LOOP_DEPTH)}
    assert set(of_boards("steps in one frame")) == {str(rulebook.OPS_A_FRAME)}
    assert of_boards("bytes of a table") == [str(chip.slot_bytes) for chip in chips]


def test_the_limits_of_times_are_those_of_the_rule_book() -> None:
    assert most("a move or a fade") == f"{rulebook.LONGEST_DURATION_MS / 1000:g} s"
    assert most("the move to the safe") == f"{rulebook.LONGEST_STOP_MS / 1000:g} s"
    assert most("the silence") == f"{rulebook.LONGEST_SILENCE_MS / 1000:g} s"
    assert most("a button's number") == str(rulebook.BUTTONS[-1])
    assert most("a pulse") == f"{rulebook.PULSE_RANGE_US[1]} us"
    assert f"| a pulse | {rulebook.PULSE_RANGE_US[0]} us |" in LIMITS
    assert f"to the safe pose | {rulebook.SHORTEST_STOP_MS} ms |" in LIMITS
    assert f"before `lost` | {rulebook.SHORTEST_SILENCE_MS} ms |" in LIMITS
    assert HELD_FRAMES * rulebook.FRAME_MS == 1000  # "for one second"


def strip(name: str, pin: str, pixels: int) -> str:
    return block(f"strip {name}: body pin {pin}", f"pixels {pixels}\ncap 200 mA")


@pytest.mark.parametrize(
    ("fits", "exceeds", "finding"),
    [
        (
            show(rig=strip("a", "PD5", 100)),
            show(rig=strip("a", "PD5", 101)),
            "number-out-of-range",
        ),
        (
            show(rig=[strip("a", "PD5", 50), strip("b", "PD6", 50)]),
            show(rig=[strip("a", "PD5", 50), strip("b", "PD6", 51)]),
            "board-overfull",
        ),
        (
            show(rig=[strip(n, p, 9) for n, p in (("a", "PD5"), ("b", "PD6"))]),
            show(rig=[strip(n, p, 9) for n, p in (("a", "PD5"), ("b", "PD6"), ("c", "PD7"))]),
            "board-overfull",
        ),
        (
            show(remote="button 1: go snap\nstop button 2\nstop in 5.1 s"),
            show(remote="button 1: go snap\nstop button 2\nstop in 5.12 s"),
            "duration-too-long",
        ),
        (
            show(remote="button 1: go snap\nlost 25.5 s: go snap\nstop button 2"),
            show(remote="button 1: go snap\nlost 25.6 s: go snap\nstop button 2"),
            "duration-too-long",
        ),
        (
            show(cues={"snap": "jaw to 40 deg in 65 s\njaw to 0 deg in 65 s"}),
            show(cues={"snap": "jaw to 40 deg in 66 s\njaw to 0 deg in 65 s"}),
            "duration-too-long",
        ),
        (
            show(supply="source 2 li-ion cells, 200 Ah"),
            show(supply="source 2 li-ion cells, 200.1 Ah"),
            "number-out-of-range",
        ),
    ],
    ids=[
        *("pixels of one strip", "pixels of all strips", "strips", "stop", "silence", "move"),
        "capacity",
    ],
)
def test_what_stands_on_the_page_passes_and_more_does_not(
    fits: str, exceeds: str, finding: str
) -> None:
    assert findings(fits, finding) == []
    assert findings(exceeds, finding) != []


def test_the_table_of_regions_is_that_of_the_check() -> None:
    rows = re.findall(r"^\| `(\w+)` \| ([\d.]+) N \| ([\d.]+) N/cm2 \|$", PAGE, re.M)
    assert {name: (float(force), float(pressure)) for name, force, pressure in rows} == {
        name: (region.force_n, region.pressure_n_cm2) for name, region in REGIONS.items()
    }


# -- holding a pose ---------------------------------------------------------------------------


def angles(text: str, held_ms: int, at_ms: list[int]) -> list[float]:
    """Where the jaw is at these times after its button went down."""
    played = seqlang.load_string(text).rehearse(f"1 at 1 s for {held_ms} ms")
    found = []
    for ms in at_ms:
        samples = played.samples(rate_hz=1000, from_ms=1000 + ms, to_ms=1000 + ms + 1)
        found.append(round(float(samples.servos["jaw"].angle_deg[0]), 1))
    return found


def test_a_held_pose_stays_while_the_button_is_down_and_ends_after_the_next_wait() -> None:
    assert HELD is not None
    assert angles(HELD[1], 3000, [1000, 2000, 2990]) == [40.0, 40.0, 40.0]
    (after,) = angles(HELD[1], 3000, [3000 + 100 + 900 + 100])
    assert after == 0.0


def test_a_button_let_go_early_still_opens_to_the_end_once() -> None:
    assert HELD is not None
    assert angles(HELD[1], 100, [950, 2200]) == [40.0, 0.0]


def test_a_binding_while_held_would_open_and_shut_again() -> None:
    assert HELD is not None
    again = HELD[1].replace("    repeat while held\n        hold 100 ms\n", "")
    again = again.replace("go gape", "go gape while held")
    assert angles(again, 3000, [920, 1850, 2750]) == pytest.approx([40.0, 0.0, 40.0], abs=1.5)


@pytest.mark.parametrize(
    ("wait", "is_hot"), [("repeat while held\n    hold 100 ms\n", True), ("", False)]
)
def test_a_pose_held_like_that_counts_as_held_for_long(wait: str, is_hot: bool) -> None:
    lines = {
        "load": "500 g at 90 mm",
        "travel": "-90 deg to 60 deg",
        "pulse": "700 us at -90 deg, 2200 us at 60 deg",
    }
    text = show(
        rig=servo("arm", "PB2", lines),
        poses="safe pose low\n    arm -85 deg\n",
        cues={"snap": f"arm to 20 deg in 3 s\n{wait}arm to -85 deg in 4 s"},
    )
    assert bool(findings(text, "servo-heat")) is is_hot
