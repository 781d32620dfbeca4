"""`at TIME` waits for the cue's clock; what starts late is switched on earlier.

The rules are the project's own: LANGUAGE.md 4.4. Figures are worked by hand.
"""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from seqlang.loading import Loaded, load_text
from seqlang.text.source import Source
from sim.model import Hold, InTurn, Move, Step, Throw, Together
from sim.rehearsal.run_through import played_out
from sim.score.tree import timeline

RIG = """\
supply pack
    source adapter 6 V, 5 A
board body: atmega328p, address 1
    feed pack
servo jaw: body pin PB1
    pulse 900 us at 0 deg, 2100 us at 90 deg
    travel 0 deg to 60 deg
    rating 0.17 s/60deg, 9.4 kgf.cm, 2.1 A at 6 V
    load 20 g at 50 mm
lamp eye: body pin PD6
switch player: body pin PD4
    starts after 180 ms
switch smoke: body pin PD7
    starts after 1.5 s
switch fan: body pin PB0
given beat = 500 ms
given bar = (4 * beat)
"""


def loaded(*lines: str) -> Loaded:
    cue = "".join(f"    {line}\n" for line in lines)
    return load_text(Source("t.cues", f"{RIG}cue song\n{cue}idle: go song\n"))


def starts(*lines: str) -> list[tuple[float, str]]:
    """When each move and switch of a cue starts, in the order of time."""
    found = loaded(*lines)
    assert found.findings == ()
    assert found.show is not None
    acts = [
        (at, act.output)
        for at, act in timeline(found.show.score.cues[0].body)
        if isinstance(act, Move | Throw)
    ]
    return sorted(acts)


def finding_names(*lines: str) -> list[str]:
    return [finding.name for finding in loaded(*lines).findings]


# -- the clock -----------------------------------------------------------------------------------


def test_a_statement_behind_a_time_starts_at_that_time() -> None:
    assert starts(
        "at 1 s", "jaw to 30 deg in 400 ms", "at (2 * bar + 1 * beat)", "jaw to 0 deg in 1 s"
    ) == [(1000, "jaw"), (4500, "jaw")]


def test_a_change_above_moves_nothing_below() -> None:
    for first in ("jaw to 30 deg in 400 ms", "hold 700 ms", "play_nothing off"):
        lines = [first.replace("play_nothing", "fan"), "at 2 s", "jaw to 9 deg in 1 s"]
        assert (2000, "jaw") in starts(*lines)


def test_the_clock_counts_from_the_cues_start_in_blocks_as_well() -> None:
    assert starts(
        "hold 500 ms",
        "together",
        "    in turn",
        "        at 800 ms",
        "        jaw to 30 deg in 400 ms",
        "    hold 2 s",
        "stagger 300 ms",
        "    eye fade to 50 % in 100 ms",
        "    in turn",
        "        at 3 s",
        "        fan on",
        "at 4 s",
        "fan off",
    ) == [(800, "jaw"), (3000, "fan"), (4000, "fan")]


def test_counted_repeats_keep_the_clock_going() -> None:
    lines = ("repeat 3 times", "    hold 400 ms", "at 1.2 s", "fan on")
    assert starts(*lines) == [(1200, "fan")]


@pytest.mark.parametrize(("at", "found"), [("1 s", []), ("999 ms", ["behind-time"])])
def test_a_time_may_be_reached_exactly_and_not_be_over(at: str, found: list[str]) -> None:
    assert finding_names("hold 1 s", f"at {at}", "fan on") == found


def test_a_time_that_is_over_is_proposed_as_the_earliest_that_is_not() -> None:
    late = loaded("hold 1.25 s", "at 1 s", "fan on")
    (finding,) = late.findings
    assert finding.fix is not None
    assert (finding.asked, finding.limit, finding.fix.text) == (1000, 1250, "1.25 s")
    source = late.sources["t.cues"]
    assert source.text[finding.span.start : finding.span.end] == "1 s"


@pytest.mark.parametrize(
    "lines",
    [
        ("together", "    at 1 s", "    fan on"),
        ("stagger 1 s", "    at 1 s", "    fan on"),
        ("repeat 2 times", "    at 1 s", "    fan on"),
        ("repeat 2 times", "    in turn", "        at 1 s", "    fan on"),
        ("repeat while held", "    hold 1 s", "at 9 s"),
        ("repeat for ever", "    hold 1 s", "at 9 s"),
        ("together", "    repeat while held", "        hold 1 s", "at 9 s"),
    ],
)
def test_where_no_clock_is_known_a_time_is_refused(lines: tuple[str, ...]) -> None:
    assert finding_names(*lines) == ["wrong-kind"]


def test_behind_a_cue_that_a_button_holds_no_clock_is_known() -> None:
    held = "cue held\n    repeat while held\n        hold 1 s\n"
    for played, found in (("held", ["wrong-kind"]), ("short", [])):
        cues = (
            f"{held}cue short\n    hold 1 s\ncue song\n    play {played}\n    at 9 s\n    fan on\n"
        )
        text = f"{RIG}{cues}idle: go song\n"
        assert [f.name for f in load_text(Source("t.cues", text)).findings] == found


@given(st.lists(st.tuples(st.integers(0, 900), st.integers(1, 900)), min_size=1, max_size=8))
def test_any_row_of_times_is_kept_or_found_late(rows: list[tuple[int, int]]) -> None:
    lines, due, at = [], [], 0
    for gap, lasts in rows:
        at += gap
        lines += [f"at {at} ms", f"jaw to {9 + len(lines)} deg in {lasts} ms"]
        due.append((at, lasts))
    late = [t for (before, lasts), (t, _) in pairwise(due) if before + lasts > t]
    if late:
        assert "behind-time" in finding_names(*lines)
    else:
        assert starts(*lines) == [(t, "jaw") for t, _ in due]


# -- what starts late ----------------------------------------------------------------------------


def test_what_starts_late_is_switched_on_earlier_in_a_wait() -> None:
    assert starts("hold 1 s", "player on", "jaw to 9 deg in 1 s") == [
        (820, "player"),
        (1000, "jaw"),
    ]
    assert starts("at 2 s", "smoke on", "player on", "jaw to 9 deg in 1 s", "player off") == [
        (500, "smoke"),
        (1820, "player"),
        (2000, "jaw"),
        (3000, "player"),
    ]


def test_at_a_cues_start_everything_waits_for_the_sound_and_so_does_the_clock() -> None:
    assert starts("player on", "jaw to 9 deg in 1 s", "at 3 s", "fan on") == [
        (0, "player"),
        (180, "jaw"),
        (3180, "fan"),
    ]


@pytest.mark.parametrize(("hold", "found"), [("180 ms", []), ("179 ms", ["starts-late"])])
def test_a_wait_must_be_as_long_as_the_start_takes(hold: str, found: list[str]) -> None:
    lines = ("fan on", f"hold {hold}", "player on", "jaw to 9 deg in 1 s")
    assert finding_names(*lines) == found


@pytest.mark.parametrize(
    "lines",
    [
        ("jaw to 9 deg in 1 s", "player on"),
        ("together", "    player on", "    jaw to 9 deg in 1 s"),
        ("in turn", "    player on", "    hold 1 s"),
        ("repeat 2 times", "    player on", "    hold 1 s"),
    ],
)
def test_without_a_wait_before_it_a_late_start_is_a_warning(lines: tuple[str, ...]) -> None:
    (finding,) = loaded(*lines).findings
    assert (finding.name, finding.severity, finding.limit) == ("starts-late", "warning", 180)


def test_switching_off_and_what_starts_at_once_are_left_where_they_are() -> None:
    assert finding_names("jaw to 9 deg in 1 s", "player off", "fan on", "eye on") == []


def test_what_takes_different_times_to_start_needs_lines_of_its_own() -> None:
    assert finding_names("hold 2 s", "player and smoke on") == ["wrong-kind"]
    assert finding_names("hold 2 s", "player and fan on") == ["wrong-kind"]


@pytest.mark.parametrize(
    ("time", "found"),
    [
        ("1 ms", []),
        ("10 s", []),
        ("0 ms", ["number-out-of-range"]),
        ("10.1 s", ["number-out-of-range"]),
        ("3 V", ["unit-mismatch"]),
    ],
)
def test_a_start_takes_up_to_ten_seconds(time: str, found: list[str]) -> None:
    text = RIG.replace("starts after 180 ms", f"starts after {time}")
    text += "cue song\n    hold 20 s\n    player on\n    hold 1 s\nidle: go song\n"
    assert [f.name for f in load_text(Source("t.cues", text)).findings] == found


def test_the_board_closes_the_contact_so_that_the_sound_starts_in_time() -> None:
    """Within a frame of 20 ms, as everything on a board."""
    found = loaded("at 2 s", "player on", "jaw to 30 deg in 400 ms", "player off")
    assert found.show is not None
    played = played_out(found.show, ())
    began = played.runs[0].start_ms
    closed = next(row.shown_ms for row in played.switches["player"] if row.on)
    moved = next(row.start_ms for row in played.motions["jaw"] if row.start_ms > began)
    assert closed - began == pytest.approx(1820, abs=20)
    assert moved - began == pytest.approx(2000, abs=20)


def test_holds_that_are_used_up_leave_no_empty_step() -> None:
    found = loaded("hold 180 ms", "player on", "jaw to 9 deg in 1 s")
    assert found.show is not None

    def holds(step: Step) -> list[int]:
        inner = step.children if isinstance(step, InTurn | Together) else ()
        own = [step.duration_ms] if isinstance(step, Hold) else []
        return own + [ms for child in inner for ms in holds(child)]

    assert holds(found.show.score.cues[0].body) == [180]
